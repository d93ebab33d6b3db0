"""Notebooks in JupyterLab: open, run all, move every kind of control.

The list of notebooks is that of the folder, and controls are found by what they are: a
new notebook is tested as soon as it is there. Those named below are looked at in each run
by something else, and here with COREWARD_FULL=1.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path

import pytest

from support.exercise import exercise, how_many
from support.workbench import NotebookPage, panels_in

OpenNotebook = Callable[[str], NotebookPage]
# Every control of these in each run; of all notebooks with COREWARD_FULL=1.
EXERCISED = ("why-the-stall",)
# All are run by tests/notebooks and shown in the app view, which draws with the same code.
ELSEWHERE = {
    "does-it-solve-its-equations": "only cards of a lesson, as start",
    "how-far-to-trust-it": "only cards of a lesson, as start",
    "how-good-are-the-forecasts": "only cards of a lesson, as start",
    "teach-the-stall": "the panel and cards of why-the-stall",
    "lesson-hold": "the panel of is-this-hold-enough and cards",
    "lesson-log": "panels of the app view and cards",
    "lesson-plan": "the panel of plan-the-day and cards",
    "lesson-rest": "the panel of rest-and-carryover and cards",
    "my-log": "its one panel is shown in the app view",
    "the-pit": "its one panel is shown in the app view",
    "plan-the-day": "its one panel is shown in the app view",
    "is-this-hold-enough": "test_verdict_page",
    "rest-and-carryover": "test_rest_page",
}
NAMES = sorted(path.stem for path in (Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))


@pytest.mark.parametrize("name", NAMES)
def test_a_notebook_runs_and_answers(open_notebook: OpenNotebook, name: str) -> None:
    if name in ELSEWHERE and not os.environ.get("COREWARD_FULL"):
        pytest.skip(f"{ELSEWHERE[name]}; part of the full list: set COREWARD_FULL=1")
    notebook = open_notebook(f"{name}.ipynb")
    assert notebook.errors() == []
    notebook.keep_picture(f"lab-{name}")
    # A question over the first page would cover it; `coreward` has answered it.
    assert notebook.page.get_by_text("Jupyter news").count() == 0
    if name in EXERCISED or os.environ.get("COREWARD_FULL"):
        for panel in panels_in(notebook.page):
            exercise(panel, how_many())
    assert notebook.errors() == []
    assert [line for line in notebook.console_errors if "widget" in line.lower()] == []
    notebook.keep_picture(f"lab-{name}-used")
