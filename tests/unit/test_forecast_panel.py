"""The panel of a running cook: answers, edits of events, following, code, mapping."""

from __future__ import annotations

import json
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import numpy as np
import openpyxl
import pytest

from coreward.events.found import Event
from coreward.logs import Channel, ProbeLog, read_log
from coreward.logs.demo import demo_logs
from coreward.logs.read import COLUMN_ROLES
from coreward.questions.forecast.panel import (
    ForecastPanel,
    ForecastState,
    _open_question,
    forecast_panel,
)
from coreward.widgets.controls import ChoiceControl
from coreward.widgets.log_source import _ROLE_WORDS
from coreward.words import CUSTOMARY
from support.pictures import is_drawn

SUPPER = demo_logs()["harvest-supper.csv"]


@pytest.fixture(scope="module", autouse=True)
def few_draws(tmp_path_factory: pytest.TempPathFactory) -> Iterator[None]:
    with pytest.MonkeyPatch.context() as patch:
        # Units chosen here are not a choice for whoever runs the tests.
        patch.setenv("COREWARD_CONFIG_DIR", str(tmp_path_factory.mktemp("settings")))
        patch.setattr(ForecastPanel, "members", 40)
        patch.setattr(ForecastPanel, "way_members", 15)
        yield


@pytest.fixture(scope="module")
def shoulder() -> ForecastPanel:
    return forecast_panel(moment=0.45, remember=False)


def test_it_answers_in_words_and_a_picture(shoulder: ForecastPanel) -> None:
    assert shoulder.state.error is None, shoulder.state.detail
    assert "Ready about" in shoulder.status_text
    assert "nine times in ten between" in shoulder.status_text
    assert is_drawn(shoulder.picture)
    assert "wrap in foil now" in shoulder._ways_box.value
    assert "doubt left" in shoulder._tables.value


def test_the_moment_replays_the_log(shoulder: ForecastPanel) -> None:
    answer = shoulder.state.outcome.answer
    log = shoulder.state.outcome.log
    assert answer.now_s == pytest.approx(0.45 * log.duration_s, abs=120.0)
    assert all(event.time_s <= answer.now_s for event in shoulder.state.outcome.events)


def test_a_person_has_the_last_word_on_events(shoulder: ForecastPanel) -> None:
    before = len(shoulder.state.outcome.events)
    shoulder.event_kind.value = "wrapped"
    shoulder.event_hours.value = 4.0
    shoulder._add()
    shoulder.settle()
    events = shoulder.state.outcome.events
    assert len(events) == before + 1
    assert "added" in events.marks
    assert shoulder.state.outcome.answer.fitted.past.wraps[0][1] == "foil"
    shoulder._undo()
    shoulder.settle()
    assert len(shoulder.state.outcome.events) == before
    assert shoulder.state.outcome.answer.fitted.past.wraps == ()


def test_the_copied_code_says_the_same(shoulder: ForecastPanel) -> None:
    space: dict[str, object] = {}
    exec(compile(shoulder.code(), "copied", "exec"), space)
    # The panel of this test has fewer draws than the code; the same fit, the same draws.
    answer, shown = space["answer"], shoulder.state.outcome.answer
    assert np.allclose(answer.fitted.best, shown.fitted.best)  # type: ignore[attr-defined]
    assert answer.median_s == pytest.approx(shown.median_s, rel=0.15)  # type: ignore[attr-defined]


def test_a_hotter_pit_is_sooner_even_while_the_fire_is_low() -> None:
    # At 42 % of this log the air stands at 80 °C in a dip; "hotter" is meant of its level.
    panel = forecast_panel(moment=0.42, remember=False)
    ways = panel.state.outcome.ways
    assert ways["hotter"].median_s < ways["hold"].median_s
    assert ways["cooler"].median_s > ways["hold"].median_s


def test_it_asks_of_a_late_opening_whether_it_was_a_wrap() -> None:
    on, lid = Event("meat_on", 1200.0, 1200.0), Event("lid_opened", 9000.0, 9060.0)
    through = Event("lid_opened", 1200.0, 1200.0)
    assert _open_question([on, through, lid], 9600.0) is lid
    # Not of the one through which the meat went on, nor once a wrap is known.
    assert _open_question([on, through], 1500.0) is None
    assert _open_question([on, lid, Event("wrapped", 9000.0, 9000.0)], 9600.0) is None


def test_no_log_yet_asks_for_one() -> None:
    panel = forecast_panel(source="path", remember=False)
    assert "Type the path" in panel.status_text
    assert panel.picture == b""


def test_a_missing_file_is_a_sentence(tmp_path: Path) -> None:
    panel = forecast_panel(tmp_path / "nowhere.csv", remember=False)
    assert panel.state.error is not None
    assert "nowhere.csv" in panel.state.error


def test_unknown_columns_are_asked_for_and_then_read(tmp_path: Path) -> None:
    # The demo log with headings that say nothing.
    text = SUPPER.read_text(encoding="utf-8")
    body = "\n".join(line for line in text.splitlines() if not line.startswith("#"))
    strange = tmp_path / "strange.csv"
    strange.write_text("a,b,c,d\n" + body.split("\n", 1)[1], encoding="utf-8")
    panel = forecast_panel(strange, moment=0.4, remember=False)
    assert panel.state.error is not None
    assert "Columns" in panel.state.error
    panel._toggle_columns()
    assert set(panel.column_choices) == {"a", "b", "c", "d"}
    for name, role in zip("abcd", ("time", "air", "meat", "ignore"), strict=True):
        panel.column_choices[name].value = role
    panel._use_columns()
    panel.state.file_unit = "C"
    panel.settle()
    assert panel.state.error is None, panel.state.error
    assert json.loads(panel.state.mapping)["b"] == "air"
    assert "Ready about" in panel.status_text


def test_what_a_file_does_not_say_is_asked_for_beside_the_columns(tmp_path: Path) -> None:
    book = openpyxl.Workbook()
    notes = book.active
    notes.title = "crew"
    notes.append(["who", "when"])
    notes.append(["Ada", "night"])
    sheet = book.create_sheet("probes")
    sheet.append(["time", "air °C", "meat °C"])
    for i in range(90):
        minutes = 23 * 60 + 2 * i
        clock = f"{minutes // 60 % 24:02d}:{minutes % 60:02d}"
        sheet.append([clock, 110 + i % 3, 5.0 + 0.3 * i])
    file = tmp_path / "night.xlsx"
    book.save(file)
    panel = forecast_panel(file, remember=False)
    assert panel.state.error is not None
    assert "Columns" in panel.state.error
    panel._toggle_columns()
    panel.answer_entries["sheet"].value = "probes"
    panel.answer_entries["start_date"].value = "2026-10-24"
    panel.answer_entries["zone"].value = "Europe/London"
    panel._use_columns()
    panel.settle()
    assert panel.state.error is None, panel.state.error
    # The clocks went back in that night, at two: the log says so, and the code repeats it.
    code = panel.code()
    for said in ("sheet='probes'", "zone='Europe/London'", "start_date='2026-10-24'"):
        assert said in code
    panel._toggle_columns()
    panel.answer_entries["zone"].value = "Lower Wending"
    panel._use_columns()
    panel.settle()
    assert panel.state.error is not None
    assert "Lower Wending" in panel.state.error


def test_a_jump_that_is_real_can_be_said_to_be(tmp_path: Path) -> None:
    rows = [f"{60 * i},{110 + i % 2},{5 + 0.5 * i:.1f}" for i in range(120)]
    rows += [f"{60 * i},{110 + i % 2},{149 + 0.1 * (i - 120):.1f}" for i in range(120, 160)]
    file = tmp_path / "jump.csv"
    file.write_text("time_s,air_c,meat_c\n" + "\n".join(rows), encoding="utf-8")
    panel = forecast_panel(file, remember=False)
    assert panel.state.error is not None
    assert "jump" in panel.state.error
    panel._toggle_columns()
    panel.answer_entries["accept_jumps"].value = "yes"
    panel._use_columns()
    panel.settle()
    assert "mixed units" not in (panel.state.error or "")
    assert "accept_jumps=True" in panel.code()


def test_a_growing_file_is_followed(tmp_path: Path) -> None:
    lines = SUPPER.read_text(encoding="utf-8").splitlines(keepends=True)
    growing = tmp_path / "growing.csv"
    growing.write_text("".join(lines[:600]), encoding="utf-8")
    panel = forecast_panel(growing, remember=False)
    panel.follow_switch.value = True
    panel.settle()
    first = panel.state.outcome.answer.now_s
    with growing.open("a", encoding="utf-8") as file:
        file.write("".join(lines[600:900]) + lines[900][:9])
    panel.follow_once()
    panel.settle()
    later = panel.state.outcome.answer.now_s
    assert later - first == pytest.approx(300 * 30.0, abs=60.0)
    panel.follow_switch.value = False
    assert panel._follower is None


def test_a_worker_that_nobody_waits_for_leaves_nothing_behind() -> None:
    """Failed before: its answer counted as the one shown before."""
    panel = forecast_panel(moment=0.3, remember=False)
    shown = panel._earlier
    panel.compute_long(panel.state.saved() | {"moment": 0.5}, lambda share, words: None, bool)
    assert panel._earlier is shown
    panel.state.moment = 0.4
    panel.settle()
    assert "moved" in panel.state.outcome.moved


def test_a_fit_is_never_taken_for_that_of_another_log(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    """Failed before: fits were kept by the place of their log in memory, used again later."""
    panel = forecast_panel(moment=0.3, remember=False)
    inputs = panel.state.saved()
    first = read_log(SUPPER)
    warmer = tuple(
        Channel(one.name, one.role, one.temperature_c + 2.0) for one in first.channels
    )

    def pasts(log: ProbeLog) -> list[float]:
        monkeypatch.setattr(panel, "_log", lambda inputs: log)
        outcome = panel.compute_long(inputs, lambda share, words: None, bool)
        monkeypatch.undo()
        return outcome.answer.fitted.past.reading_c.tolist()

    log = replace(first)
    place, cold = id(log), pasts(log)
    panel._earlier = None
    del log
    others = []
    for _ in range(50):
        others.append(replace(first, channels=warmer))
        if id(others[-1]) == place:
            break
    assert pasts(others[-1])[0] == pytest.approx(cold[0] + 2.0)


def test_a_later_moment_says_how_it_moved() -> None:
    panel = forecast_panel(moment=0.3, remember=False)
    panel.state.moment = 0.4
    panel.settle()
    moved = panel.state.outcome.moved
    assert "moved" in moved
    # Another question is no later view of the same.
    panel.state.target_c = 80.0
    panel.settle()
    assert panel.state.outcome.moved == ""


def test_too_early_asks_for_patience(tmp_path: Path) -> None:
    # The first five minutes of the demo log.
    young = tmp_path / "young.csv"
    lines = SUPPER.read_text(encoding="utf-8").splitlines(keepends=True)
    young.write_text("".join(lines[:13]), encoding="utf-8")
    panel = forecast_panel(young, remember=False)
    assert panel.state.error is not None
    assert "Wait a little" in panel.state.error


def test_units_change_words_only(shoulder: ForecastPanel) -> None:
    median = shoulder.state.outcome.answer.median_s
    shoulder.state.units = CUSTOMARY
    shoulder.settle()
    assert "°F" in shoulder.status_text
    assert "°C" not in shoulder.status_text
    assert shoulder.state.outcome.answer.median_s == median


def test_what_can_be_chosen_is_named_in_the_readers_units() -> None:
    state = ForecastState()
    state.plan = "cooler"
    control = ChoiceControl(state, "plan")
    assert "pit 10 K hotter now" in dict(control.list.options)
    state.units = CUSTOMARY
    assert dict(control.list.options)["pit 18 °F cooler now"] == "cooler"
    assert state.plan == control.list.value == "cooler"


def test_every_role_of_a_column_has_words() -> None:
    """They were looked up under names that no role has."""
    assert set(_ROLE_WORDS) == set(COLUMN_ROLES)
    assert len(set(_ROLE_WORDS.values())) == len(_ROLE_WORDS)


def test_the_report_button_offers_a_page_and_a_pdf(shoulder: ForecastPanel) -> None:
    shoulder._offer_report()
    shoulder.settle()
    links = shoulder._report_line.value
    assert shoulder.state.error is None, shoulder.state.detail
    assert "forecast-report.html" in links
    assert "forecast-report.pdf" in links
    shoulder.run(False)
    shoulder.settle()
    assert shoulder._report_line.value == ""
