"""The panel of the front door: the answer, and the few controls that it cannot do without."""

from __future__ import annotations

from pathlib import Path

import ipywidgets as W
import pytest

from coreward import person
from coreward.pages.front import front_panel


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own settings out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))


def _all_in(widget: W.Widget) -> list[W.Widget]:
    inside = [each for child in getattr(widget, "children", ()) for each in _all_in(child)]
    return [widget, *inside]


def test_the_front_door_shows_an_answer_and_few_controls() -> None:
    panel = front_panel()
    assert panel.state.error is None
    assert panel.picture
    assert panel.status_text.startswith("Light the fire at")
    shown = _all_in(panel.widget)
    in_sight = {name for name, control in panel.controls.items() if control.widget in shown}
    assert {"cut", "mass", "serve"} <= in_sight <= {"cut", "mass", "day", "serve"}
    # No button, no table, no code: the page of the plan has those.
    buttons = [each for each in shown if isinstance(each, W.Button)]
    assert buttons == [panel._progress_bar.stop_button]


def test_a_control_of_the_front_door_moves_its_answer() -> None:
    panel = front_panel()
    before = panel.status_text
    panel.controls["mass"].give(2.0)
    panel.settle()
    assert panel.state.error is None
    assert panel.status_text != before
