"""``coreward plan``: a file or one line, its refusals and what it writes."""

from __future__ import annotations

import json
from functools import partial
from pathlib import Path

import pytest

import coreward as cw
from coreward import person
from coreward.cli import EXIT_ERROR, EXIT_FINE, main
from coreward.questions.plan import file as plan_file
from coreward.questions.plan.answer import plan

SUPPER = str(Path(__file__).parents[2] / "data" / "demo" / "village-hall-supper.toml")
ONE = (
    "plan", "--piece", "pork loin, 1.5 kg, 4 C", "--core", "145F", "--serve",
    "2026-12-05 18:30", "--zone", "Europe/London",
)  # fmt: skip


@pytest.fixture(autouse=True)
def few_draws(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Forty draws are plan enough for words; and keep the person's own settings out."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    few = partial(plan, members=40)
    monkeypatch.setattr(cw, "plan", few)
    monkeypatch.setattr(plan_file, "plan", few)


def test_one_piece_gives_an_hour_and_writes_its_sheet_and_alarms(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    sheet, alarms = tmp_path / "day.html", tmp_path / "day.ics"
    more = ("--wrap", "paper", "--wrap-at", "50", "--pit", "230F", "--chance", "0.8")
    written = ("-o", str(sheet), "--calendar", str(alarms), "--show-units", "F")
    assert main([*ONE, *more, *written]) == EXIT_FINE
    said = capsys.readouterr().out
    assert said.startswith("Light the fire at ")
    assert "to serve at 18:30 on Saturday 5 December" in said
    assert "in paper, core 122 °F" in said
    assert "°C" not in said
    assert "ready by then in 8" in said
    assert "light the fire" in sheet.read_text(encoding="utf-8").lower()
    assert b"DTSTART:20261205T" in alarms.read_bytes()
    assert b"BEGIN:VALARM" in alarms.read_bytes()


def test_a_file_is_planned_at_its_own_hour_or_at_another(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["plan", SUPPER, "--json"]) == EXIT_FINE
    at_home = json.loads(capsys.readouterr().out)
    moved = ("--serve", "2026-10-24 20:30", "--zone", "Europe/London", "--json")
    assert main(["plan", SUPPER, *moved]) == EXIT_FINE
    later = json.loads(capsys.readouterr().out)
    assert at_home["serve_at"] == "2026-10-24T18:30:00+01:00"
    assert later["serve_at"] == "2026-10-24T20:30:00+01:00"
    assert [one["item"]["name"] for one in later["pieces"]] == ["shoulder", "brisket", "turkey"]


@pytest.mark.parametrize(
    ("given", "words"),
    [
        (["plan"], "needs a FILE, or --piece and --core and --serve"),
        (["plan", "no-such.toml"], "no-such.toml cannot be read"),
        (["plan", SUPPER, "--core", "90"], "leave out --core, or the file"),
        ([*ONE, "--wrap-at", "70"], "--wrap foil or --wrap paper"),
        ([*ONE, "--zone", "Mars"], "'Mars' is no zone"),
        ([*ONE, "--serve", "18:30"], "'18:30' is no date with an hour"),
        ([*ONE, "--serve", "tomorrow at six or so"], "is no date with an hour"),
        ([*ONE, "--chance", "2"], "between 0.5 and 0.99"),
        ([*ONE, "--piece", "pork loin, 150 kg, 4 C"], "no weight that is sold"),
    ],
)
def test_what_cannot_be_planned_is_said_in_one_line(
    given: list[str], words: str, capsys: pytest.CaptureFixture[str]
) -> None:
    assert main(given) == EXIT_ERROR
    printed = capsys.readouterr()
    assert printed.out == ""
    assert words in printed.err
    assert printed.err.count("\n") == 1


def test_an_hour_with_its_own_offset_needs_no_zone(capsys: pytest.CaptureFixture[str]) -> None:
    given = [*ONE[:6], "2026-12-05T18:30:00+02:00"]
    assert main(given) == EXIT_FINE
    assert "to serve at 18:30" in capsys.readouterr().out
