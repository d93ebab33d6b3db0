"""What is left of a long computation when the page or the kernel goes in the middle of it."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Callable
from pathlib import Path

import nbformat
import pytest
from playwright.sync_api import expect

from support.workbench import (
    CHANGE_TIMEOUT_MS,
    NotebookPage,
    Panel,
    Server,
    clear_numbers,
)

OpenNotebook = Callable[[str], NotebookPage]
NAME = "harness-slow.ipynb"
# The panel of the harness, but its answer takes some seconds on any machine.
SLOW = """
import time

from support.toy_panel import ToyPanel, ToyState


class SlowPanel(ToyPanel):
    takes_long = True

    def compute_long(self, inputs, progress, cancelled):
        for step in range(50):
            progress(step / 50, "computing slowly")
            time.sleep(0.1)
        return self.compute(False)


panel = SlowPanel(ToyState(), "C")
panel
"""


@pytest.fixture(autouse=True)
def slow_notebook(workbench_folder: Path) -> None:
    """Put a notebook with a slow panel beside the copies of the real ones."""
    find = f"import sys\n\nsys.path.insert(0, {str(Path(__file__).parents[1])!r})"
    notebook = nbformat.v4.new_notebook(
        cells=[nbformat.v4.new_code_cell(find), nbformat.v4.new_code_cell(SLOW)],
        metadata={"kernelspec": {"name": "python3", "display_name": "Python 3"}},
    )
    nbformat.write(notebook, workbench_folder / "notebooks" / NAME)


def panel_of(notebook: NotebookPage) -> Panel:
    """Return the panel; its picture is none that a browser can draw."""
    return notebook.panel(".coreward-control-pit")


def under_way(notebook: NotebookPage, steps: int) -> Panel:
    """Move the pit, and return when the answer to it is being computed."""
    panel = panel_of(notebook)
    panel.await_settled()
    panel.step("pit", steps)
    bar = panel.root.locator(".coreward-progress [role=progressbar]")
    expect(bar).to_be_visible(timeout=CHANGE_TIMEOUT_MS)
    return panel


def await_answer(panel: Panel, pit: float) -> None:
    """Wait for the full answer to a pit, and look at the control."""
    expect(panel.root.locator(".coreward-status [data-stage=full]")).to_have_text(
        f"pit {pit:.0f}", timeout=CHANGE_TIMEOUT_MS
    )
    assert panel.value("pit") == pit


@pytest.mark.parametrize("saved", [True, False], ids=["saved", "not saved"])
def test_a_reload_in_mid_computation_loses_nothing(
    open_notebook: OpenNotebook, lab: Server, saved: bool
) -> None:
    notebook = open_notebook(NAME)
    if saved:
        notebook.save()
    under_way(notebook, 7)
    kernel = lab.kernel_process()
    notebook.reload()
    assert lab.kernel_process() == kernel
    if not saved:
        # What was not saved is not on the page; the cells bring the panel back as it was.
        notebook.run_all()
    panel = panel_of(notebook)
    assert panel.value("pit") == 117
    await_answer(panel, 117)
    # It goes on as before: the same panel computes again.
    panel.step("pit", -2)
    await_answer(panel, 115)
    assert notebook.errors() == []


def test_a_kernel_killed_in_mid_computation_costs_only_the_answer(
    open_notebook: OpenNotebook, lab: Server, workbench_folder: Path
) -> None:
    notebook = open_notebook(NAME)
    under_way(notebook, 7)
    os.kill(lab.kernel_process(), signal.SIGKILL)
    told = notebook.page.get_by_role("dialog").or_(notebook.page.locator(".Toastify__toast"))
    expect(told.first).to_contain_text(
        re.compile("kernel.*(restart|died)", re.IGNORECASE | re.DOTALL),
        timeout=CHANGE_TIMEOUT_MS,
    )
    lab.stop_kernels()
    clear_numbers(workbench_folder)
    again = open_notebook(NAME)
    panel = panel_of(again)
    await_answer(panel, 117)
    expect(panel.root.locator(".coreward-note").first).to_contain_text("as you left it")
