"""Panels without a browser: state, latest wins, refusals, units, errors in place."""

from __future__ import annotations

import asyncio
import dataclasses
import datetime as dt
import json
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from coreward import person
from coreward.errors import InputError
from coreward.questions.review.panel import log_panel
from coreward.questions.stall.panel import StallPanel, dew_point_of, stall_panel
from coreward.widgets import controls, settings
from coreward.widgets.controls import NumberControl, UnitsControl
from coreward.widgets.schedule import LatestWins
from coreward.widgets.settings_panel import settings_panel
from coreward.words import CUSTOMARY, METRIC, UnitChoice
from support.pictures import is_drawn
from support.toy_panel import ToyPanel, ToyState
from support.trying import try_ends


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Keep the person's own settings out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))
    return tmp_path


@pytest.fixture
def panel() -> ToyPanel:
    return ToyPanel(ToyState(), "C")


# Values keep still ---------------------------------------------------------------------


@pytest.mark.parametrize("metres", [0.03, 0.0337, 0.11])
def test_a_change_of_unit_moves_no_value_though_the_browser_answers(metres: float) -> None:
    """A slider in a browser stands at whole steps only, and says so to each value between."""
    panel = stall_panel("C", thickness_m=metres, remember=False)
    control = panel.controls["thickness"]
    for units in (CUSTOMARY, METRIC, CUSTOMARY, METRIC):
        panel.state.units = units
        # Long after the change, when no echo is waited for any more.
        control._echo = None
        shown, step = control.slider.value, control.slider.step
        control.slider.value = round(shown / step) * step
        assert panel.state.thickness_m == metres
        control.entry.value = control.entry.value
        assert panel.state.thickness_m == metres
    # A person's step is none of that.
    step = control.slider.step
    control.slider.value = (round(control.slider.value / step) + 2) * step
    assert panel.state.thickness_m > metres


@pytest.mark.parametrize(
    ("quantity", "value", "units", "shown"),
    [
        (controls.LENGTH, 0.03, METRIC, "30 mm"),
        (controls.LENGTH, 0.03, CUSTOMARY, "1.181 in"),
        (controls.HOURS, 900.0, METRIC, "0.25 h"),
        (controls.HOURS, 3600.0, METRIC, "1.0 h"),
        (controls.TEMPERATURE, 67.5, METRIC, "67.5 °C"),
        (controls.TEMPERATURE, 110.04, METRIC, "110 °C"),
        (controls.TEMPERATURE, 93.0, CUSTOMARY, "199.4 °F"),
        (controls.TEMPERATURE, 100.0, CUSTOMARY, "212 °F"),
        (controls.PERCENT, 0.905, METRIC, "90.5 %"),
        (controls.MASS, 3.5, CUSTOMARY, "7.72 lb"),
    ],
)
def test_digits_do_not_round_to_another_value(
    quantity: controls.Quantity, value: float, units: UnitChoice, shown: str
) -> None:
    assert quantity.text(value, units) == shown


# Schedule --------------------------------------------------------------------------


def test_without_a_loop_a_request_runs_at_once_and_in_full() -> None:
    seen: list[bool] = []
    schedule = LatestWins(seen.append)
    schedule.request()
    schedule.request()
    assert seen == [False, False]
    assert not schedule.is_waiting


def test_latest_wins_and_a_drag_never_queues() -> None:
    """Fifty values within one turn of the loop: one preview, then one full run."""
    values: list[int] = []
    seen: list[tuple[bool, int]] = []

    async def drag() -> None:
        schedule = LatestWins(
            lambda preview: seen.append((preview, values[-1])), pause_s=0.0, quiet_s=0.03
        )
        for value in range(1, 51):
            values.append(value)
            schedule.request()
        while schedule.is_waiting:
            await asyncio.sleep(0.01)

    asyncio.run(drag())
    assert seen == [(True, 50), (False, 50)]


def test_the_full_run_waits_until_it_is_quiet() -> None:
    stamps: list[tuple[bool, float]] = []

    async def drag() -> float:
        loop = asyncio.get_running_loop()
        schedule = LatestWins(
            lambda preview: stamps.append((preview, loop.time())), pause_s=0.0, quiet_s=0.1
        )
        for _ in range(10):
            schedule.request()
            await asyncio.sleep(0.02)
        last = loop.time()
        while schedule.is_waiting:
            await asyncio.sleep(0.01)
        return last

    last = asyncio.run(drag())
    full = [stamp for preview, stamp in stamps if not preview]
    assert len(full) == 1
    assert full[0] > last
    assert sum(preview for preview, _ in stamps) >= 2


def test_settle_runs_what_waits_once_and_only_then() -> None:
    seen: list[bool] = []

    async def cell() -> None:
        schedule = LatestWins(seen.append, quiet_s=0.02)
        schedule.settle()
        assert seen == []
        schedule.request()
        schedule.settle()
        assert seen == [False]
        await asyncio.sleep(0.05)

    asyncio.run(cell())
    assert seen == [False]


# Controls --------------------------------------------------------------------------


def test_a_change_of_units_keeps_the_stored_value(panel: ToyPanel) -> None:
    control = panel.controls["size"]
    assert isinstance(control, NumberControl)
    panel.state.size_m = 0.0831
    for units in (CUSTOMARY, UnitChoice("F", "mm", "kg"), METRIC, CUSTOMARY, METRIC):
        panel.state.units = units
        assert panel.state.size_m == 0.0831
        assert panel.state.pit_c == 110.0
    panel.state.units = CUSTOMARY
    assert control.entry.value == "3.272"
    assert control.unit.value == "in"
    assert panel.controls["pit"].slider.value == pytest.approx(230.0)
    # Leaving the entry without changing it must not store the rounded 3.272 in.
    control.entry.value = "3.272 in"
    control.entry.value = "3.27"
    assert panel.state.size_m == pytest.approx(0.0831, abs=1e-4)


def test_a_typed_value_is_understood_in_the_shown_unit(panel: ToyPanel) -> None:
    panel.state.units = CUSTOMARY
    panel.controls["pit"].entry.value = "250"
    assert panel.state.pit_c == pytest.approx(121.111, abs=1e-3)
    panel.state.units = METRIC
    panel.controls["pit"].entry.value = "99,5"
    assert panel.state.pit_c == 99.5


@pytest.mark.parametrize("units", [METRIC, CUSTOMARY])
def test_every_end_of_the_slider_is_an_allowed_value(units: UnitChoice) -> None:
    panel = ToyPanel(ToyState(), units)
    for name in ("size", "pit"):
        control = panel.controls[name]
        for end in (control.slider.min, control.slider.max):
            control.slider.value = end
            assert control.refusal.layout.display == "none"


def test_a_refused_value_says_range_reason_and_unit_and_changes_nothing(
    panel: ToyPanel,
) -> None:
    panel.state.units = CUSTOMARY
    control = panel.controls["size"]
    control.entry.value = "12"
    assert panel.state.size_m == 0.08
    said = control.refusal.value
    assert "12.00 in is refused" in said
    assert "0.787 in to 7.874 in" in said
    assert "because the toy box ends there" in said
    assert 'role="alert"' in said
    control.entry.value = "3"
    assert control.refusal.layout.display == "none"
    assert panel.state.size_m == pytest.approx(0.0762)


@pytest.mark.parametrize("typed", ["", "abc", "nan", "inf", "1e999", "1 2", "<b>"])
def test_what_is_no_number_is_refused(panel: ToyPanel, typed: str) -> None:
    panel.controls["size"].entry.value = typed
    assert panel.state.size_m == 0.08
    assert panel.controls["size"].refusal.layout.display == ""
    assert "<b>" not in panel.controls["size"].refusal.value


@pytest.mark.parametrize("typed", ["-1e300", "7" * 400, "oven " * 100, "1e12"])
def test_a_refusal_stays_short(panel: ToyPanel, typed: str) -> None:
    control = panel.controls["size"]
    control.entry.value = typed
    assert panel.state.size_m == 0.08
    assert 40 < len(control.refusal.value) < 250


@pytest.mark.parametrize("typed", ["95 mm", "95mm", "95,0", "95.0", " 95 "])
def test_a_number_may_be_typed_with_its_unit(panel: ToyPanel, typed: str) -> None:
    control = panel.controls["size"]
    control.entry.value = typed
    assert panel.state.size_m == pytest.approx(0.095)
    assert control.entry.value == "95"
    assert control.refusal.layout.display == "none"


def test_a_change_of_units_takes_a_refusal_back(panel: ToyPanel) -> None:
    control = panel.controls["size"]
    control.entry.value = "9000"
    assert "9000 mm is refused" in control.refusal.value
    panel.state.units = CUSTOMARY
    assert control.refusal.layout.display == "none"
    assert (control.entry.value, panel.state.size_m) == ("3.15", 0.08)


def test_the_state_refuses_too_with_a_reason() -> None:
    state = ToyState()
    with pytest.raises(InputError, match=r"pit: 300 °C is refused; it goes from 80 °C"):
        state.pit_c = 300.0
    with pytest.raises(InputError, match="not a finite number"):
        state.pit_c = float("nan")
    with pytest.raises(InputError, match="take one of a, b"):
        state.kind = "c"
    assert state.pit_c == 110.0


def test_units_control_changes_one_unit_and_leaves_the_others() -> None:
    state = ToyState()
    control = UnitsControl(state)
    control.lists["length"].value = "in"
    assert state.units == UnitChoice("C", "in", "kg")
    state.units = CUSTOMARY
    assert [menu.value for menu in control.lists.values()] == ["F", "in", "lb"]
    assert state.units == CUSTOMARY


def test_sliders_follow_the_drag_and_entries_wait_for_the_end(panel: ToyPanel) -> None:
    control = panel.controls["pit"]
    assert control.slider.continuous_update is True
    assert control.entry.continuous_update is False


def test_the_digits_beside_a_slider_follow_its_picture(panel: ToyPanel) -> None:
    control = panel.controls["pit"]

    async def page() -> tuple[str, str]:
        control.slider.value = 120.0
        at_once = control.entry.value
        while panel.schedule.is_waiting or control.entry.value == at_once:
            await asyncio.sleep(0.01)
        return at_once, control.entry.value

    assert asyncio.run(page()) == ("110", "120")
    assert panel.state.pit_c == 120.0


def test_what_is_typed_is_not_put_off_nor_overwritten(panel: ToyPanel) -> None:
    control = panel.controls["pit"]

    async def page() -> None:
        control.slider.value = 120.0
        control.entry.value = "hot"
        await asyncio.sleep(0.15)

    asyncio.run(page())
    assert control.entry.value == "hot"
    assert "not a number" in control.refusal.value


def test_every_control_can_be_found_by_its_class(panel: ToyPanel) -> None:
    for name in ("size", "pit", "kind", "on"):
        assert f"coreward-control-{name}" in panel.controls[name].widget._dom_classes
    assert "coreward-panel" in panel.widget._dom_classes


# Panel ------------------------------------------------------------------------------


def test_a_moved_slider_changes_picture_and_words(panel: ToyPanel) -> None:
    panel.controls["pit"].slider.value = 150.0
    assert panel.state.outcome["pit"] == 150.0
    assert panel.status_text == "pit 150"
    assert 'alt="pit &amp; 150.0"' in panel._picture_box.value
    assert 'class="coreward-picture"' in panel._picture_box.value


def test_the_picture_is_sent_first_and_only_what_changed(
    panel: ToyPanel, monkeypatch: pytest.MonkeyPatch
) -> None:
    sent: list[str] = []
    for name in ("_picture_box", "_explanation_line", "_status_line"):
        getattr(panel, name).observe(lambda _, name=name: sent.append(name), names="value")
    plain = panel.view
    monkeypatch.setattr(
        panel,
        "view",
        lambda outcome: dataclasses.replace(
            plain(outcome), explanation="As ever.", below=lambda: sent.append("below")
        ),
    )
    panel.state.pit_c = 120.0
    assert sent == ["_picture_box", "_explanation_line", "below", "_status_line"]
    sent.clear()
    panel.state.pit_c = 130.0
    # The same sentence is not sent again, and nobody waits for a table.
    assert sent == ["_picture_box", "below", "_status_line"]


def test_an_error_is_a_sentence_and_the_last_picture_is_marked_as_old(
    panel: ToyPanel,
) -> None:
    panel.state.pit_c = 178.0
    assert panel.state.error == "The toy is too hot: lower the pit."
    assert panel.state.detail == ""
    assert "coreward-stale" in panel.widget._dom_classes
    assert "the last good one" in panel._status_line.value
    assert panel.state.outcome["pit"] == 110.0
    panel.state.pit_c = 120.0
    assert panel.state.error is None
    assert "coreward-stale" not in panel.widget._dom_classes
    assert panel._error_line.layout.display == "none"


def test_an_unexpected_exception_is_called_internal_and_folded_away(panel: ToyPanel) -> None:
    panel.state.on = False
    panel.state.kind = "b"
    assert panel.state.error is not None
    assert panel.state.error.startswith("Internal error")
    assert "a slip in the toy" in panel.state.detail
    assert "<details>" in panel._error_line.value
    assert "slip" not in panel._error_line.value.split("<details>")[0]


def test_try_ends_reports_the_ends_that_fail_and_goes_back(panel: ToyPanel) -> None:
    trouble = try_ends(panel)
    assert set(trouble) == {"pit"}
    assert "too hot" in trouble["pit"]
    assert panel.state.inputs() == ToyState().inputs()
    assert panel.state.error is None


def test_reset_goes_back_in_one_go(panel: ToyPanel) -> None:
    panel.state.pit_c = 130.0
    panel.state.kind = "b"
    panel.controls["size"].entry.value = "900"
    outcomes: list[Any] = []
    panel.state.observe(lambda change: outcomes.append(change["new"]), names="outcome")
    panel.reset()
    assert len(outcomes) == 1
    assert panel.state.inputs() == ToyState().inputs()
    assert panel.controls["size"].refusal.layout.display == "none"
    assert panel.controls["size"].entry.value == "80"
    assert panel.status_text == "pit 110"


def test_keep_and_drop(panel: ToyPanel) -> None:
    panel.keep()
    panel.state.pit_c = 140.0
    assert panel.state.kept["pit"] == 110.0
    panel.keep()
    assert panel.state.kept is None


def test_the_code_shown_follows_the_values(panel: ToyPanel) -> None:
    panel._code_button.click()
    assert panel._code_area.value == "pit = 110.0"
    panel.state.pit_c = 150.0
    assert panel._code_area.value == "pit = 150.0"
    panel._code_button.click()
    assert panel._code_area.layout.display == "none"


def test_one_bundle_carries_widget_picture_and_words(panel: ToyPanel) -> None:
    bundle = panel._repr_mimebundle_()
    assert "application/vnd.jupyter.widget-view+json" in bundle
    assert bundle["image/png"]
    assert bundle["text/plain"] == "Toy: pit 110"


# Settings ----------------------------------------------------------------------------


def test_units_are_kept_for_the_next_notebook(own_settings: Path) -> None:
    first = settings_panel()
    first.units_control.lists["temperature"].value = "F"
    assert settings.read().units == UnitChoice("F", "mm", "kg")
    assert ToyPanel(ToyState()).state.units.temperature == "F"
    assert "230 °F" in first.state.status
    written = json.loads((own_settings / "settings.json").read_text())
    assert written["version"] == 1


def test_a_broken_settings_file_is_refused_with_a_reason(own_settings: Path) -> None:
    for text in ("{", "[]", '{"schema": "coreward settings", "version": 99}', "\x00"):
        (own_settings / "settings.json").write_text(text)
        found = settings.read()
        assert found.units == METRIC
        assert "cannot be used" in found.problem


def test_a_folder_that_cannot_be_written_costs_only_the_keeping(tmp_path: Path) -> None:
    # A file where the folder should be stops even an administrator.
    blocked = tmp_path / "blocked"
    blocked.write_text("")
    kept = settings.write(CUSTOMARY, blocked / "inside")
    assert kept.units == CUSTOMARY
    assert "this notebook only" in kept.problem
    assert settings.read(blocked / "inside").units == METRIC


def test_the_settings_panel_tries_every_unit_and_keeps_nothing(own_settings: Path) -> None:
    assert try_ends(settings_panel()) == {}
    assert not (own_settings / "settings.json").exists()


# The stall ----------------------------------------------------------------------------

STALL_CONTROLS = {
    "cut", "shape", "thickness", "mass", "start", "pit", "fresh-air", "pan-water", "dew-point",
    "air-speed", "altitude", "wrap", "wrap-core", "evaporation", "transport", "target",
    "profile-time",
}  # fmt: skip


@pytest.fixture(scope="module")
def stall() -> StallPanel:
    return stall_panel("C")


def test_the_stall_panel_opens_without_error_and_with_a_picture(stall: StallPanel) -> None:
    stall.reset()
    assert stall.state.error is None, stall.state.detail
    assert is_drawn(stall.picture)
    assert set(stall.controls) >= STALL_CONTROLS


def test_switching_evaporation_off_takes_the_stall_away(stall: StallPanel) -> None:
    stall.reset()
    assert stall.state.outcome.explanation.stalls
    with_stall = stall.picture
    stall.state.evaporation = False
    assert not stall.state.outcome.explanation.stalls
    assert stall.picture != with_stall
    assert "Evaporation is off" in stall.status_text


def test_looking_inside_at_another_time_computes_nothing_new(stall: StallPanel) -> None:
    stall.reset()
    before = stall.state.outcome
    stall.state.profile_time_s = 9.0 * 3600.0
    assert stall.state.outcome.result is before.result
    assert stall.state.outcome.at_time_s == 9.0 * 3600.0
    stall.state.profile_time_s = 24.0 * 3600.0
    assert stall.state.outcome.at_time_s == stall.state.duration_s


def test_a_preview_is_close_to_the_full_answer(stall: StallPanel) -> None:
    stall.reset()
    stall.settle()
    full = stall.state.outcome.result
    stall.state.pit_c = 108.0
    stall.settle()
    stall.state.pit_c = 107.0
    stall.schedule.cancel()
    stall._known = None
    stall.run(True)
    assert stall.state.stage == "preview"
    coarse = stall.state.outcome.result
    assert len(coarse.position_m) < len(full.position_m)
    # Half a degree is the width of a line in the picture.
    core = np.interp(full.time_s, coarse.time_s, coarse.core_c)
    assert np.abs(core - full.core_c).max() < 0.5


def test_the_copied_code_gives_the_same_cook(stall: StallPanel) -> None:
    stall.reset()
    for wrap, when, damp in (
        ("none", "core", "fresh air"),
        ("foil", "core", "dew point"),
        ("paper", "hours", "fresh air"),
    ):
        stall.state.wrap, stall.state.wrap_when, stall.state.humidity = wrap, when, damp
        stall.settle()
        space: dict[str, Any] = {"print": lambda *words: None}
        exec(stall.code(), space)
        shown = stall.state.outcome.result
        assert float(space["result"].core_c[-1]) == pytest.approx(shown.core_c[-1], abs=0.02)
        assert space["result"].time_s[-1] == pytest.approx(shown.time_s[-1], abs=1.0)


def test_a_wrap_asks_when_and_only_then(stall: StallPanel) -> None:
    stall.reset()
    shown = {name for name, each in stall.controls.items() if not each.widget.layout.display}
    assert not {"wrap-core", "wrap-after", "wrap-when"} & shown
    stall.state.wrap = "foil"
    assert stall.controls["wrap-core"].widget.layout.display == ""
    stall.state.wrap_when = "hours"
    assert stall.controls["wrap-core"].widget.layout.display == "none"
    assert stall.controls["wrap-after"].widget.layout.display == ""


def test_the_stall_panel_tells_what_can_be_done_where_there_is_a_stall(
    stall: StallPanel,
) -> None:
    stall.reset()
    stall.settle()
    choices = stall.state.outcome.choices
    shown = stall._choices_box.value
    for row in choices.rows:
        assert f"<b>{row.name}</b>" in shown
        assert f"{100.0 * row.loss:.0f} % lost" in shown
    # The longest bar is that of what takes longest; foil is a fraction of it.
    longest = max(row.takes_s for row in choices.rows)
    wide = round(100.0 * choices.row("foil").takes_s / longest)
    assert f"width:{wide}%" in shown
    assert stall.reported() is choices
    stall.state.evaporation = False
    stall.settle()
    assert stall.state.outcome.choices is None
    assert stall._choices_box.value == ""


def test_the_damp_is_made_by_the_meat_or_given(stall: StallPanel) -> None:
    stall.reset()
    stall.settle()
    visible = {name: control.widget for name, control in stall.controls.items()}
    assert visible["fresh-air"].layout.display == ""
    assert visible["dew-point"].layout.display == "none"
    made = stall.state.outcome.result.dew_point_c
    assert made.max() > made[0] + 40.0
    stall.state.humidity = "dew point"
    stall.settle()
    assert visible["fresh-air"].layout.display == "none"
    assert visible["dew-point"].layout.display == ""
    given = stall.state.outcome.result.dew_point_c
    assert given == pytest.approx(np.full(given.size, stall.state.dew_point_c), abs=0.01)


def test_damp_may_be_given_as_relative_humidity() -> None:
    inputs = {
        "humidity": "relative humidity",
        "relative_humidity": 0.5,
        "humidity_at_c": 20.0,
        "altitude_m": 0.0,
    }
    # 9.3 °C: dew point of air at 20 °C and 50 % (any psychrometric chart, from memory).
    assert dew_point_of(inputs) == pytest.approx(9.3, abs=0.1)


def test_the_words_follow_the_units(stall: StallPanel) -> None:
    stall.reset()
    stall.state.units = CUSTOMARY
    assert "°C" not in stall.status_text
    assert "°F" in stall.status_text
    stall.state.units = METRIC


def test_an_unknown_start_value_is_refused_by_name() -> None:
    with pytest.raises(InputError, match="no input pit_f"):
        stall_panel("C", pit_f=230)


# The log ------------------------------------------------------------------------------


def write_log(folder: Path, heading: str = "time,pit (°C),meat (°C)") -> Path:
    rows = [f"{m // 60}:{m % 60:02d}:00,{108 + m % 3},{5 + 0.2 * m:.1f}" for m in range(300)]
    rows[100] = "1:40:00,108,---"
    file = folder / "cook.csv"
    file.write_text("\n".join([heading, *rows]), encoding="utf-8")
    return file


def test_a_log_is_shown_with_its_repairs_and_the_caution(tmp_path: Path) -> None:
    panel = log_panel(write_log(tmp_path), "C")
    assert panel.state.error is None, panel.state.detail
    assert is_drawn(panel.picture)
    tables = panel._tables.value
    assert ">102</td>" in tables  # the row of the dash, counted with the heading
    assert "Caution" in tables
    assert "does not replace a calibrated thermometer" in tables
    assert "rounded down" in panel.status_text


def test_a_log_without_a_unit_is_asked_about(tmp_path: Path) -> None:
    panel = log_panel(write_log(tmp_path, "time,pit,meat"), "C")
    assert "in the list 'its unit'" in (panel.state.error or "")
    panel.state.file_unit = "F"
    assert panel.state.error is None
    assert panel.state.outcome.log.meats[0].temperature_c[0] == pytest.approx(-15.0)


@pytest.mark.parametrize("content", [b"", b"\x00\xff" * 500, b"once upon a time\n" * 20])
def test_what_is_no_log_is_a_sentence_and_never_a_traceback(
    tmp_path: Path, content: bytes
) -> None:
    file = tmp_path / "broken.csv"
    file.write_bytes(content)
    panel = log_panel(file, "C")
    assert panel.state.error is not None
    assert "broken.csv" in panel.state.error
    assert panel.state.detail == ""


def test_an_unreadable_log_leaves_no_old_table_looking_new(tmp_path: Path) -> None:
    panel = log_panel(write_log(tmp_path), "C")
    panel.path_entry.value = str(tmp_path / "missing.csv")
    assert "no such file" in (panel.state.error or "")
    assert "coreward-stale" in panel.widget._dom_classes
    panel.export_button.click()
    assert "no log to export" in panel._export_line.value


def test_an_uploaded_file_is_read_and_its_path_is_not_trusted(tmp_path: Path) -> None:
    panel = log_panel(units="C")
    panel.state.source = "upload"
    assert panel.status_text.startswith("No log yet")
    panel.uploader.value = (
        {
            "name": "../../cook.csv",
            "type": "text/csv",
            "size": 1,
            "content": memoryview(write_log(tmp_path).read_bytes()),
            "last_modified": dt.datetime(2026, 1, 1, tzinfo=dt.UTC),
        },
    )
    assert panel.state.error is None, panel.state.error
    assert panel.status_text.startswith("cook.csv")
    exported = panel.export(tmp_path / "out.csv")
    assert len(exported.read_text().splitlines()) > 300


def test_the_browsers_answer_to_new_units_moves_no_value() -> None:
    panel = stall_panel()
    control = panel.controls["start"]
    before = panel.state.start_c
    old = control.slider.value
    panel.state.units = dataclasses.replace(panel.state.units, temperature="F")
    # Seen in Chromium: the handle's old place, pushed to the new low end, comes back as if
    # it had been moved.
    control.slider.value = max(old, control.slider.min)
    assert panel.state.start_c == before
    assert control.slider.value == pytest.approx(before * 1.8 + 32.0)
    # A hand moves it as ever.
    control.slider.value = control.slider.value + 9.0
    assert panel.state.start_c == pytest.approx(before + 5.0)
