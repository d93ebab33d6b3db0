"""The notebooks as a person meets them: open, run all, move a control, see it answer."""

from __future__ import annotations

from collections.abc import Callable

import pytest

from support.workbench import NotebookPage, Panel

OpenNotebook = Callable[[str], NotebookPage]


def _opened(open_notebook: OpenNotebook, name: str) -> tuple[NotebookPage, Panel]:
    """Open a notebook; its first panel must show a picture, words and no error."""
    notebook = open_notebook(f"{name}.ipynb")
    assert notebook.errors() == []
    panel = notebook.panel()
    panel.await_calm()
    assert panel.error() == ""
    assert panel.status() != ""
    assert panel.picture_is_drawn()
    # Somebody who cannot see the picture must still learn what it says.
    assert len(panel.picture_text()) > 20
    notebook.keep_picture(f"{name}-opened")
    return notebook, panel


def _assert_answers(
    notebook: NotebookPage, panel: Panel, control: str, fraction: float
) -> None:
    """Step a slider by keys, then drag it; both times text and picture must follow."""
    status, picture, value = panel.status(), panel.picture(), panel.value(control)
    panel.step(control, 3)
    panel.await_change(status=status, picture=picture)
    panel.await_calm()
    assert panel.value(control) != value
    assert panel.error() == ""

    status, picture = panel.status(), panel.picture()
    panel.drag(control, fraction)
    panel.await_change(status=status, picture=picture)
    panel.await_calm()
    assert panel.picture_is_drawn()
    assert notebook.errors() == []
    assert [line for line in notebook.console_errors if "widget" in line.lower()] == []


def test_start(open_notebook: OpenNotebook) -> None:
    notebook, panel = _opened(open_notebook, "start")
    assert "pit" in panel.slider_names()
    _assert_answers(notebook, panel, "pit", 0.75)
    assert panel.error() == ""
    notebook.keep_picture("start-moved")


def test_start_says_in_which_units(open_notebook: OpenNotebook) -> None:
    notebook = open_notebook("start.ipynb")
    panel = notebook.panel(".coreward-control-units-temperature")
    before = panel.status()
    assert "°C" in before
    panel.choose("units-temperature", "°F")
    panel.await_change(status=before)
    assert "°F" in panel.status()
    assert notebook.errors() == []


@pytest.mark.parametrize("control", ["pit", "dew-point", "thickness"])
def test_why_the_stall(open_notebook: OpenNotebook, control: str) -> None:
    notebook, panel = _opened(open_notebook, "why-the-stall")
    assert control in panel.slider_names()
    _assert_answers(notebook, panel, control, 0.6)
    notebook.keep_picture(f"why-the-stall-{control}")


def test_why_the_stall_survives_both_ends_of_every_slider(open_notebook: OpenNotebook) -> None:
    notebook, panel = _opened(open_notebook, "why-the-stall")
    names = panel.slider_names()
    assert names
    for name in names:
        for fraction in (0.0, 1.0):
            panel.drag(name, fraction)
            panel.await_calm()
            # An impossible choice may be refused, in words; it may never break.
            assert panel.status() != ""
            assert "Traceback" not in panel.error()
            assert "internal" not in panel.error().lower()
    assert notebook.errors() == []


def test_my_log(open_notebook: OpenNotebook) -> None:
    notebook, panel = _opened(open_notebook, "my-log")
    for name in panel.slider_names():
        _assert_answers(notebook, panel, name, 0.4)
    notebook.keep_picture("my-log-moved")
