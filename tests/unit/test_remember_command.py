"""``coreward remember``, the button of the log's panel, and the pit that a forecast names."""

from __future__ import annotations

import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from coreward import cli, person
from coreward.errors import InputError
from coreward.events.listed import Event
from coreward.experience import own_cooks
from coreward.experience.own_cooks import OwnCook, keep
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.keep.answer import Finished, Wrapping, own_cook
from coreward.questions.review.panel import log_panel
from support.own_shelf import past_cook

pytestmark = pytest.mark.quick

DEMO = Path(__file__).parents[2] / "data" / "demo"
SUPPER, SUNDAY = DEMO / "harvest-supper.csv", DEMO / "quiet-sunday.csv"
SAID = ("--cut", "pork loin", "--thickness", "80", "--pit", "oven", "--set", "230F")
TARGET = ("--target", "145F")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path / "own"))
    for name in (person.SERVES, person.LAB_PAGE, person.APP_PAGE):
        monkeypatch.delenv(name, raising=False)
    return tmp_path / "own" / "cooks"


def run(*arguments: object) -> int:
    return cli.main(["remember", *map(str, arguments)])


def test_a_log_is_kept_with_what_it_tells(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(SUNDAY, *SAID, *TARGET, "--show-units", "F") == 0
    said = capsys.readouterr().out
    assert "pork loin, 3.15 in, 3 h 40 min to 145 °F" in said
    assert "Of the pit 'oven' 1 cook is kept" in said
    (cook,) = own_cooks.own_cooks()
    assert cook.name == "2026-09-06 pork loin oven"
    assert cook.cut == "pork loin"
    assert cook.thickness_m == pytest.approx(0.08)
    assert cook.pit_set_c == pytest.approx(110.0)
    assert cook.finish_s == pytest.approx(13200.0, abs=60.0)
    assert 4.0 < cook.start_c < 10.0
    assert (cook.wrap, cook.wrap_s) == (None, None)
    ready = np.interp(cook.finish_s, cook.time_s, cook.core_c)
    assert ready == pytest.approx(cook.target_c, abs=0.3)
    assert "lid opened" in (folder / f"{cook.name}.csv").read_text(encoding="utf-8")


def test_what_the_log_cannot_tell_is_asked_for_by_its_option(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert run(SUNDAY, "--cut", "pork loin") == cli.EXIT_ERROR
    said = capsys.readouterr().err
    for option in ("--mass KG or --thickness MM", "--pit NAME", "--set", "--target"):
        assert option in said
    assert own_cooks.own_cooks() == ()


def test_a_wrap_that_shows_is_asked_about(capsys: pytest.CaptureFixture[str]) -> None:
    said = ("--cut", "boston butt", "--mass", "5.2", "--pit", "drum", "--set", "110")
    assert run(SUPPER, *said, "--target", "90") == cli.EXIT_ERROR
    assert "looks as if the meat was wrapped 7 h 36 min after" in capsys.readouterr().err
    assert run(SUPPER, *said, "--target", "90", "--wrap", "paper") == 0
    (cook,) = own_cooks.own_cooks()
    assert cook.cut == "pork shoulder"
    assert cook.wrap == "paper"
    assert cook.wrap_s == pytest.approx(7.6 * 3600.0, abs=300.0)
    # The log has no date: that of today stands for it.
    assert cook.name.startswith("20")


def test_a_reading_that_never_was_is_said(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(SUNDAY, *SAID, "--target", "90C") == 0
    said = capsys.readouterr().out
    assert "never showed 90 °C" in said
    assert own_cooks.own_cooks()[0].finish_s is None


def test_list_export_and_forget(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(SUNDAY, *SAID, *TARGET)
    assert run("--export", tmp_path / "out") == 0
    assert [file.name for file in (tmp_path / "out").iterdir()] == [
        "2026-09-06 pork loin oven.csv"
    ]
    capsys.readouterr()
    assert run("--list") == 0
    said = capsys.readouterr().out
    assert said.startswith("1 cook of your own is kept in ")
    assert "oven at 110 °C" in said
    assert run("--list", "--json") == 0
    answer = json.loads(capsys.readouterr().out)
    assert answer["kept"][0]["cook"]["finish_s"] == pytest.approx(13200.0, abs=60.0)
    assert "core_c" not in answer["kept"][0]["cook"]
    assert run("--forget", "2026-09-06 pork loin oven") == 0
    assert own_cooks.own_cooks() == ()
    assert run("--forget", "2026-09-06 pork loin oven") == cli.EXIT_ERROR


def test_a_damaged_file_is_listed_by_name(
    folder: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder.mkdir(parents=True)
    (folder / "old one.csv").write_text("x")
    assert run("--list") == 0
    assert "The cook 'old one.csv' cannot be used (its first line" in capsys.readouterr().out


@pytest.mark.parametrize("given", [(), ("--list", "--forget", "x"), (str(SUNDAY), "--list")])
def test_one_thing_at_a_time(
    given: tuple[str, ...], capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(*given) == cli.EXIT_ERROR
    assert "Give either a LOG to keep, or one of --list" in capsys.readouterr().err


@pytest.mark.parametrize("wrap", ["tin", "foil@", "@5:20", "foil@noon"])
def test_a_wrap_that_is_none_is_refused(wrap: str) -> None:
    with pytest.raises(SystemExit) as left:
        run(SUNDAY, *SAID, *TARGET, "--wrap", wrap)
    assert left.value.code == cli.EXIT_USAGE


# -- what is made of a log ----------------------------------------------------------------


def a_log(end_h: float = 6.0, gap: bool = False) -> ProbeLog:
    time = np.arange(0.0, end_h * 3600.0 + 1.0, 30.0)
    core = 5.0 + 15.0 * time / 3600.0
    if gap:
        core[(time > 7200.0) & (time < 10800.0)] = np.nan
    air = np.full(time.shape, 110.0)
    return ProbeLog(time, None, (Channel("pit", "air", air), Channel("meat", "meat", core)))


GIVEN: dict[str, Any] = {
    "cut": "pork shoulder",
    "target_c": 80.0,
    "pit": "drum",
    "pit_set_c": 110.0,
    "mass_kg": 4.0,
}


def test_the_finish_is_that_of_the_reading_from_meat_on() -> None:
    on = Event("meat_on", 1800.0, 1800.0, channel="meat")
    kept = own_cook(a_log(), Finished(**GIVEN), events=(on,)).cook
    # 80 °C stands at 5 h of the log, half an hour of which the probe lay on the table.
    assert kept.finish_s == pytest.approx(4.5 * 3600.0, abs=30.0)
    assert kept.time_s[-1] == pytest.approx(5.0 * 3600.0, abs=60.0)
    assert kept.time_s[0] == 0.0


def test_a_gap_stays_a_gap() -> None:
    kept = own_cook(a_log(gap=True), Finished(**GIVEN), events=()).cook
    hole = (kept.time_s > 7200.0) & (kept.time_s < 10800.0)
    assert np.isnan(kept.core_c[hole]).all()
    assert np.isfinite(kept.core_c[~hole][2:]).all()
    assert np.isfinite(kept.air_c).all()


def test_one_reading_alone_is_no_finish() -> None:
    log = a_log(4.0)
    core = log.meats[0].temperature_c.copy()
    core[100] = 95.0
    slip = ProbeLog(
        log.time_s, None, (log.channels[0], Channel("meat", "meat", core)), start_clock=None
    )
    assert own_cook(slip, Finished(**GIVEN), events=()).cook.finish_s is None


@pytest.mark.parametrize(
    ("wrapping", "expected_s"),
    [
        (Wrapping("foil", at_s=7200.0), 7200.0),
        (Wrapping("paper", at_core_c=65.0), 4.0 * 3600.0),
        (Wrapping("none"), None),
    ],
)
def test_a_wrap_goes_by_time_or_by_reading(
    wrapping: Wrapping, expected_s: float | None
) -> None:
    kept = own_cook(a_log(), Finished(wrapping=wrapping, **GIVEN), events=()).cook
    assert kept.wrap_s == (expected_s if expected_s is None else pytest.approx(expected_s))
    assert kept.wrap == (None if expected_s is None else wrapping.what)


@pytest.mark.parametrize(
    ("changes", "why"),
    [
        ({"cut": "dragon"}, "No cut is called 'dragon'"),
        ({"pit": " "}, "name of 1 to 60 letters"),
        ({"pit_set_c": 400.0}, "set to 400 °C"),
        ({"target_c": 200.0}, "wanted was 200 °C"),
        ({"mass_kg": None}, "how heavy or how thick"),
        ({"mass_kg": 900.0}, "900.0 kg"),
        ({"mass_kg": None, "thickness_m": 3.0}, "3000 mm"),
        ({"wrapping": Wrapping("foil")}, "does not tell when it was wrapped"),
        ({"wrapping": Wrapping("foil", at_core_c=99.0)}, "never showed 99 °C"),
        ({"wrapping": Wrapping("foil", at_s=90000.0)}, "not while it cooked"),
        ({"meat": 2}, "no meat probe 2"),
    ],
)
def test_what_does_not_fit_is_refused(changes: dict[str, Any], why: str) -> None:
    given = GIVEN | changes
    meat = given.pop("meat", 1)
    with pytest.raises(InputError, match=why):
        own_cook(a_log(), Finished(**given), meat=meat, events=())


def test_a_log_without_the_pit_teaches_nothing() -> None:
    log = a_log()
    with pytest.raises(InputError, match="readings of its meat and of its pit"):
        own_cook(ProbeLog(log.time_s, None, log.meats), Finished(**GIVEN), events=())


# -- forecast and panel -------------------------------------------------------------------


def test_a_forecast_names_its_pit(capsys: pytest.CaptureFixture[str]) -> None:
    for number in range(3):
        keep(OwnCook(past_cook(number, 0.2 + 0.01 * number), f"2026-01-0{number + 1}"))
    asked = ["forecast", str(SUPPER), "--target", "90", "--until", "5", "--members", "20"]
    asked += ["--piece", "pork shoulder, cylinder, 125 mm, 6.5 C", "--pit", "Drum"]
    assert cli.main(asked) == 0
    assert "Learned from 3 cooks in the pit 'drum'" in capsys.readouterr().out
    assert cli.main([*asked, "--json"]) == 0
    told = json.loads(capsys.readouterr().out)["learned"]
    assert told["cooks"] == ["cook 00", "cook 01", "cook 02"]
    assert told["time_against_usual"]["p50"] == pytest.approx(1.21, abs=0.03)
    assert told["said"][0].startswith("Learned from 3 cooks")


def test_the_button_of_the_panel_keeps_a_cook() -> None:
    panel = log_panel(SUNDAY, "F")
    shown = panel.beside()
    assert panel.form.button in shown
    form = panel.form
    form.button.click()
    assert form.entries["set"].placeholder == "230 °F"
    form.cut.value = "pork loin"
    press(form)
    assert "say also weight, or thickness; name of the pit" in form.said
    for name, value in {
        "thickness": "3.15",
        "pit": "oven",
        "set": "230",
        "target": "145",
    }.items():
        form.entries[name].value = value
    press(form)
    assert "Kept as &#x27;2026-09-06 pork loin oven&#x27;" in form.said
    (cook,) = own_cooks.own_cooks()
    assert cook.thickness_m == pytest.approx(0.08, abs=1e-4)
    assert cook.target_c == pytest.approx(62.8, abs=0.1)
    press(form)
    assert 'role="alert"' in form.said
    assert "kept already" in form.said


def press(form: object) -> None:
    form._press()  # type: ignore[attr-defined]


def test_no_button_where_many_share_a_server(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(person.SERVES, "many")
    panel = log_panel(SUNDAY)
    shown = panel.beside()
    assert panel.form.button not in shown
