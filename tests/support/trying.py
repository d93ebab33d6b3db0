"""Every control of a page at both its ends, every choice of a card."""

from __future__ import annotations

import tempfile
from dataclasses import astuple
from pathlib import Path
from typing import Any

from coreward.lessons.lesson import shown_number
from coreward.pages.lesson_cards import CheckCard, ExerciseCard, LessonCards, LessonState
from coreward.physics.lethality import kinetics_names
from coreward.questions.plan import panel as plan_panel_module
from coreward.widgets import settings
from coreward.widgets.controls import Choice, Control, Day, Toggle
from coreward.widgets.panel import Panel
from coreward.widgets.settings_panel import SettingsPanel

# Of a long list two or three that lie far apart; other tests try them all. A log need not have
# more than one probe, and °C against a file that says otherwise is an error on purpose.
TRIED = {
    ("rest", "cut"): ("beef brisket flat", "salmon side"),
    ("rest", "place"): ("tent", "ice bath", "box"),
    ("plan", "cut"): ("pork shoulder", "turkey breast"),
    ("plan", "second"): ("none", "beef brisket flat"),
    ("forecast", "probe"): ("1",),
    ("verdict", "cut"): ("pork loin", "beef brisket flat", "turkey breast"),
    ("verdict", "condition"): ("intact", "ground"),
    ("verdict", "standard"): ("all", "us kitchen", "uk 70 for 2 min"),
    ("verdict", "organism"): ("usual", kinetics_names()[0], kinetics_names()[-1]),
}


def ends(panel: Panel, control: Control) -> tuple[object, ...]:
    """Return both ends of a control's range, or the choices to try."""
    spec = control.spec
    if isinstance(spec, Choice):
        return (
            ("file",)
            if control.name == "file-unit"
            else TRIED.get((panel.kind, control.name), tuple(spec.options))
        )
    if isinstance(spec, Toggle):
        return (False, True)
    if isinstance(spec, Day):
        return (spec.low.isoformat(), spec.high.isoformat())
    return (spec.low, spec.high)


def few_draws() -> None:
    """Let plans be made of so few draws that an end of a control costs no seconds."""
    whole = plan_panel_module.plan

    def few(*asked: Any, **more: Any) -> Any:
        return whole(*asked, **more | {"members": 40})

    setattr(plan_panel_module, "plan", few)  # noqa: B010


_UNSOLD = "is no weight that is sold"


def try_ends(panel: Panel | SettingsPanel) -> dict[str, str]:
    """Set each control to both ends, run, and go back; return what went wrong by control."""
    if isinstance(panel, SettingsPanel):
        return _try_units()
    trouble: dict[str, str] = {}
    panel._memory = None  # a trial is not what a person leaves
    for name, control in panel.controls.items():
        before = control.value
        for end in ends(panel, control):
            if not control.give(end):
                trouble[name] = control.refusal.value
            panel.settle()
            # One range of weights serves all cuts: what no such cut weighs is said in place.
            if panel.state.error is not None and _UNSOLD not in panel.state.error:
                trouble[name] = f"{end}: {panel.state.error} {panel.state.detail}"
        control.give(before)
        panel.schedule.cancel()
    panel.run(False)
    panel.settle()
    return trouble


def _try_units() -> dict[str, str]:
    """Choose every unit once, in a folder that is thrown away."""
    trouble: dict[str, str] = {}
    with tempfile.TemporaryDirectory() as folder:
        trial = SettingsPanel(Path(folder))
        for name, menu in trial.units_control.lists.items():
            for _, unit in menu.options:
                menu.value = unit
                if trial.state.error or unit not in astuple(settings.read(Path(folder)).units):
                    trouble[name] = trial.state.error or f"{unit} was not kept"
    return trouble


def try_all(cards: LessonCards) -> dict[str, str]:
    """Choose and commit every choice, solve every exercise, on fresh cards.

    Returns what went wrong by question or exercise.
    """
    trouble: dict[str, str] = {}
    for question in cards.lesson.questions:
        asked = cards.checks.get(question.name)
        right = 0
        for key in question.choices:
            state = LessonState()
            state.chosen, state.committed = {question.name: key}, True
            card = CheckCard(question, state, cards.units, asked.given if asked else None)
            card.press()
            if card.problem:
                trouble[question.name] = card.problem
            right += card.right is True
        if right != 1:
            trouble.setdefault(question.name, f"{right} choices are right")
    for exercise in cards.lesson.exercises:
        shown = cards.exercise_cards.get(exercise.name)
        part = ExerciseCard(exercise, cards.units, shown.given if shown else None)
        found = exercise.find() if part.given is None else exercise.find(part.given)
        truth = shown_number(exercise, found, cards.units)
        part.give(f"{truth:.6g}")
        solved = part.right
        part.give(f"{truth + 10.0 * (abs(truth) + 1.0):.6g}")
        if not solved or part.right or part.problem:
            trouble[exercise.name] = part.problem or "the check does not tell them apart"
    return trouble
