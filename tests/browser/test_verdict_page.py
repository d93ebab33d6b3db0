"""The page of the hold as a person meets it: move a control, and text and pictures answer."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager

import pytest
from playwright.sync_api import expect

from support.workbench import RUN_TIMEOUT_MS, NotebookPage, Panel

NotebookOpener = Callable[[str], AbstractContextManager[NotebookPage]]
NAME = "is-this-hold-enough"


@pytest.fixture(scope="module")
def opened(notebook_opener: NotebookOpener) -> Iterator[tuple[NotebookPage, Panel]]:
    """Open and run the notebook, once for all tests here."""
    with notebook_opener(f"{NAME}.ipynb") as notebook:
        assert notebook.errors() == []
        panel = notebook.panel()
        panel.await_settled()
        assert panel.error() == ""
        yield notebook, panel


def test_two_sliders_move_text_and_picture(opened: tuple[NotebookPage, Panel]) -> None:
    notebook, panel = opened
    assert "Does not meet" in panel.status()
    assert panel.picture_is_drawn()
    assert "hold time" in panel.picture_text()
    notebook.keep_picture(f"{NAME}-opened")
    for control, steps in (("hold", 3), ("bath", 3), ("probe-error", -2)):
        status, picture, value = panel.status(), panel.picture(), panel.value(control)
        panel.step(control, steps)
        panel.await_change(status=status, picture=picture)
        panel.await_settled()
        assert panel.value(control) != value
        assert panel.error() == ""
        assert panel.picture_is_drawn()
    status = panel.status()
    panel.drag("hold", 0.3)
    panel.await_change(status=status)
    panel.await_settled()
    # Under the standard of the notebook's example the drag has made it enough.
    letters = panel.root.locator(".coreward-explanation")
    expect(letters).to_contain_text("eets A United States meat table, 6.5 log of Salmonella")
    assert notebook.errors() == []
    assert [line for line in notebook.console_errors if "widget" in line.lower()] == []
    notebook.keep_picture(f"{NAME}-moved")


def test_nothing_hangs_over_the_edge_and_the_caution_is_there(
    opened: tuple[NotebookPage, Panel],
) -> None:
    _, panel = opened
    over = panel.root.evaluate("root => root.scrollWidth - root.clientWidth")
    assert over <= 1
    expect(panel.root.locator(".coreward-caution").first).to_contain_text(
        "does not replace a calibrated thermometer"
    )


def test_the_map_by_thickness_and_a_log(opened: tuple[NotebookPage, Panel]) -> None:
    notebook, panel = opened
    panel.control("by-thickness").get_by_role("checkbox").focus()
    panel.root.page.keyboard.press("Space")
    words = panel.root.locator(".coreward-map-words")
    expect(words).to_contain_text("from the fridge", timeout=RUN_TIMEOUT_MS)
    before = words.inner_text()
    panel.step("thickness", 4)
    expect(words).not_to_have_text(before, timeout=RUN_TIMEOUT_MS)
    panel.await_settled()
    panel.root.locator(".coreward-map").scroll_into_view_if_needed()
    notebook.keep_picture(f"{NAME}-thickness")

    status = panel.status()
    panel.choose("source", "demo log: harvest-supper.csv")
    panel.await_change(status=status)
    panel.await_settled()
    assert "lowest of the probes" in panel.status()
    assert panel.error() == ""
    assert notebook.errors() == []
    panel.root.scroll_into_view_if_needed()
    notebook.keep_picture(f"{NAME}-log")
