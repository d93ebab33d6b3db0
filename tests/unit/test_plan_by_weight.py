"""A plan of pieces that were weighed: what weight and thickness do to the hour of lighting."""

from __future__ import annotations

import datetime as dt
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

import coreward as cw
from coreward import person, tables
from coreward.errors import InputError
from coreward.questions.plan.answer import Plan
from coreward.questions.plan.document import plan_code
from coreward.questions.plan.file import read_plan_file
from coreward.questions.plan.inputs import Hold, PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.panel import plan_panel
from coreward.words import shown

SERVE = dt.datetime(2026, 7, 11, 18, 30, tzinfo=ZoneInfo("Europe/London"))


def planned(mass_kg: float, thickness_m: float | None = None) -> Plan:
    piece = PlannedPiece(
        "shoulder",
        cw.piece("pork shoulder", mass_kg, thickness_m=thickness_m),
        Wanted(93.0, lethality=False),
        wrap="foil",
        wrap_at_core_c=70.0,
        hold=Hold("kitchen", 1800.0, 1800.0),
    )
    return cw.plan([piece], SERVE, pit=PitPlan(110.0), members=40, chance=0.9)


def hours_before(answer: Plan) -> float:
    return (SERVE - answer.light.planned).total_seconds() / 3600.0


def test_a_heavier_shoulder_is_lit_earlier() -> None:
    """3, 3.5 and 5 kg once were lit at the same minute, because weight was only the box's."""
    hours = [hours_before(planned(mass)) for mass in (3.0, 3.5, 5.0)]
    assert hours == sorted(hours)
    assert 0.5 < hours[1] - hours[0] < 2.0
    assert 2.0 < hours[2] - hours[0] < 5.0


def test_a_thicker_shoulder_of_the_same_weight_is_nearly_as_soon_done() -> None:
    """110 to 170 mm moved the fire by twelve hours and more while it meant a heavier one."""
    hours = [hours_before(planned(5.0, thick)) for thick in (0.11, 0.14, 0.17)]
    assert max(hours) - min(hours) < 3.0


def test_the_plan_says_what_it_took_the_piece_for_and_repeats_itself() -> None:
    answer = planned(3.5)
    told = " ".join(shown(words, "C") for words in answer.assumptions)
    assert "Shoulder: Pork shoulder of 3.5 kg is taken for a block" in told
    assert "is reckoned with for this weight" in told
    assert answer.pieces[0].item.mass_kg == 3.5
    code = plan_code(answer)
    assert "cw.piece('pork shoulder', 3.5, start_c=4.0)" in code
    made: dict[str, object] = {}
    exec(code.replace("print(", "str("), made)
    assert made["answer"].light == answer.light


FILE = """
serve_at = 2026-07-11T18:30:00
zone = "Europe/London"
[pit]
air = 110
[[piece]]
name = "shoulder"
cut = "boston butt"
mass = 5.2
thickness = 120
bone = true
start = 4
core = 93
lethality = false
wrap = "foil"
wrap_at = 70
"""


def written(folder: Path, text: str) -> Path:
    path = folder / "day.toml"
    path.write_text(text, encoding="utf-8")
    return path


def test_the_plan_file_takes_a_weight(tmp_path: Path) -> None:
    (item,) = read_plan_file(written(tmp_path, FILE)).pieces
    assert item.piece == cw.piece("pork shoulder", 5.2, bone=True, thickness_m=0.12)
    assert item.mass_kg == 5.2


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("mass = 5.2", "mass = 20.0", "no weight that is sold"),
        ("mass = 5.2\n", "", "mass is missing"),
        ("thickness = 120", "thickness = 300", "would weigh about"),
        ("thickness = 120", "thickness = 1", "thickness is 1 mm"),
        ("bone = true", "bone = 1", "write true or false"),
        ("thickness = 120", 'shape = "slab"\nsize = 90', "bone goes with a mass"),
    ],
)
def test_slips_in_the_file(tmp_path: Path, old: str, new: str, words: str) -> None:
    with pytest.raises(InputError, match=words):
        read_plan_file(written(tmp_path, FILE.replace(old, new)))


def test_the_panel_takes_a_weight_and_draws_the_piece(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    panel = plan_panel("C", day=dt.date(2026, 7, 11), mass_kg=5.0, remember=False)
    controls = panel.controls
    assert controls["mass"].widget.layout.display != "none"
    assert controls["thickness"].widget.layout.display == "none"
    assert "5.0 kg" in panel._outline.value
    assert "119 mm thick" in panel._outline.value
    first = panel.status_text
    panel.state.shape = "taped"
    panel.state.thickness_m = 0.09
    assert controls["thickness"].widget.layout.display != "none"
    assert "90 mm thick" in panel._outline.value
    assert panel.status_text != first
    # Endless shapes have no drawing.
    panel.state.shape = "slab"
    assert panel._outline.value == ""
    # A cut comes at its usual weight; one that it never has is said, not planned.
    panel.state.shape = "weighed"
    panel.state.cut = "chicken thigh"
    assert panel.state.error is None
    assert panel.state.mass_kg == tables.load("piece", "chicken thigh")["mass"]
    panel.state.mass_kg = 5.0
    assert "no weight that is sold" in str(panel.state.error)
