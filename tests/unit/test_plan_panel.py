"""The picture, the sheet and the panel of a plan, without a browser."""

from __future__ import annotations

import base64
import dataclasses
import datetime as dt
import itertools
import re
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg

import coreward as cw
from coreward import person
from coreward.errors import InputError
from coreward.questions.plan.answer import Hold, PitPlan, Plan, PlannedPiece, Step, Wanted, plan
from coreward.questions.plan.document import plan_code
from coreward.questions.plan.figure import (
    PlanPicture,
    alt_text,
    clock_marks,
    figure_plan,
    figure_timeline,
)
from coreward.questions.plan.panel import (
    PlanPanel,
    PlanState,
    _serve_at,
    next_weekend,
    plan_panel,
)
from coreward.questions.plan.ways import Way, compare_ways
from coreward.questions.plan.ways_table import ways_table
from coreward.reports.write import report_bytes
from support.greys import lightness
from support.pictures import is_drawn

LONDON = ZoneInfo("Europe/London")
DAY = dt.date(2026, 10, 24)


@pytest.fixture(autouse=True)
def own_settings(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Keep the person's own settings out of the tests."""
    monkeypatch.setenv(person.FOLDER_VARIABLE, str(tmp_path))


def piece(name: str = "flat", **changes) -> PlannedPiece:
    fields = {
        "piece": cw.Piece(cw.Slab(0.04), cw.meat("beef brisket flat"), 4.0),
        "wanted": Wanted(85.0, lethality=False),
        "wrap": "foil",
        "wrap_at_core_c": 65.0,
        "hold": Hold("kitchen", 600.0, 600.0),
        "mass_kg": 2.0,
    } | changes
    return PlannedPiece(name, **fields)


@pytest.fixture(scope="module")
def planned() -> Plan:
    bare = piece("loin", wrap=None, wrap_at_core_c=None)
    third = piece("third", not_before=dt.datetime(2026, 10, 25, 8, 0, tzinfo=LONDON))
    pit = PitPlan(105.0, turn_up_c=130.0, turn_up_after_s=3 * 3600.0)
    return plan(
        [piece(), bare, third],
        dt.datetime(2026, 10, 25, 12, 0, tzinfo=LONDON),
        pit=pit,
        members=20,
    )


# -- the picture ---------------------------------------------------------------------------


def test_each_piece_has_its_bars_at_its_times(planned: Plan) -> None:
    upper = figure_plan(planned).axes[0]
    assert [t.get_text() for t in upper.get_yticklabels()] == ["fire", "flat", "loin", "third"]
    starts = {round(bar.get_x() * 3600.0) for bar in upper.patches}
    for one in planned.pieces:
        for kind in ("on", "pull"):
            assert round(one.step(kind).planned.timestamp()) in starts


@pytest.mark.parametrize("draw", [figure_plan, figure_timeline])
@pytest.mark.parametrize("gap_min", [1, 5, 40])
def test_no_label_runs_into_another_or_over_the_serving_hour(
    planned: Plan, draw, gap_min: int
) -> None:
    """A wrap a minute before the pull, and a pit turned up just after it was lit."""
    soon = dt.timedelta(minutes=gap_min)

    def hurried(step: Step) -> Step:
        if step.kind == "pull":
            wrap = planned.piece(step.piece).step("wrap")
            return (
                step if wrap is None else dataclasses.replace(step, planned=wrap.planned + soon)
            )
        if step.kind == "turn up":
            return dataclasses.replace(step, planned=planned.light.planned + soon)
        return step

    pieces = tuple(
        dataclasses.replace(one, steps=tuple(map(hurried, one.steps))) for one in planned.pieces
    )
    hurry = dataclasses.replace(
        planned, pieces=pieces, steps=tuple(map(hurried, planned.steps))
    )
    figure = draw(hurry, "F")
    FigureCanvasAgg(figure).draw()
    upper = figure.axes[0]
    boxes = [(t.get_text(), t.get_window_extent()) for t in upper.texts]
    assert sum(words.startswith("pull ") for words, _ in boxes) == 3
    for (one, box), (other, beside) in itertools.combinations(boxes, 2):
        assert not box.overlaps(beside), (one, other)
    serve_px = upper.transData.transform((planned.serve_at.timestamp() / 3600.0, 0))[0]
    for words, box in boxes:
        assert words.startswith("serve") or not box.x0 < serve_px < box.x1, words


def test_axes_are_labelled_with_units(planned: Plan) -> None:
    upper, lower = figure_plan(planned).axes
    assert "clock time" in upper.get_xlabel()
    assert lower.get_ylabel() == "chance (%)"


def test_bars_and_curves_stay_apart_in_grey() -> None:
    from coreward.drawing.style import PALETTE

    bars = [lightness(PALETTE[n]) for n in ("surface", "wet_bulb", "stall")]
    # Bars are hatched as well, and curves have their own dashes and marks.
    assert np.abs(np.diff(sorted(bars))).min() > 4.0


@pytest.mark.parametrize(
    ("day", "hours"),
    [((2026, 10, 24), 25), ((2027, 3, 27), 23), ((2026, 6, 6), 24)],
)
def test_marks_are_whole_hours_of_the_wall_clock(day, hours) -> None:
    begin = dt.datetime(*day, 12, 0, tzinfo=LONDON)
    end = dt.datetime(day[0], day[1], day[2] + 1, 12, 0, tzinfo=LONDON)
    assert (end.timestamp() - begin.timestamp()) / 3600.0 == hours
    marks, words = clock_marks(begin, end)
    assert 4 <= len(marks) <= 13
    assert all(m.minute == 0 for m in marks)
    stamps = [m.timestamp() for m in marks]
    assert stamps == sorted(set(stamps))
    assert sum("\n" in w for w in words) == 2  # two days are named
    for mark, text in zip(marks, words, strict=True):
        assert text.startswith(f"{mark:%H:%M}")


def test_the_picture_is_told_in_words(planned: Plan) -> None:
    said = alt_text(planned)
    for one in planned.pieces:
        assert one.item.name in said
    assert "served at 12:00" in said


def test_the_picture_of_a_plan_is_kept_alive_without_a_trace(planned: Plan) -> None:
    drawing = PlanPicture()
    first = drawing.update(planned)
    assert is_drawn(first)
    lines = len(drawing.figure.axes[0].lines)
    alone = dataclasses.replace(planned, pieces=planned.pieces[:1])
    assert drawing.update(alone) != first
    assert drawing.update(planned) == first
    assert drawing.update(planned) == first
    assert len(drawing.figure.axes[0].lines) == lines


# -- the sheet -----------------------------------------------------------------------------


def test_the_sheet_is_one_page_with_every_step(planned: Plan, root: Path) -> None:
    pdf = report_bytes(planned, "pdf")
    assert pdf.count(b"/Type /Page") - pdf.count(b"/Type /Pages") == 1
    page = report_bytes(planned, "html").decode("utf-8")
    for step in planned.steps:
        if step.kind != "hold":
            assert f"{step.planned:%H:%M}" in page
    assert "calibrated thermometer" in page
    assert "http://" not in page.replace("http://www.w3.org", "")
    fahrenheit = report_bytes(planned, "html", units="F").decode("utf-8")
    assert "185 °F" in fahrenheit
    assert "85 °C" not in fahrenheit


def test_the_code_plans_the_same_day(planned: Plan) -> None:
    names: dict = {}
    text = plan_code(planned).replace("answer = cw.plan(", "answer = plan(")
    exec("from coreward.questions.plan.answer import plan\n" + text, names)
    assert names["answer"].sentences == planned.sentences
    assert "# flat: core 85 °C\n" in text
    assert plan_code(planned, "F").endswith(
        '# third: core 185 °F\nprint(cw.document(answer).text("F"))\n'
    )


# -- the panel -----------------------------------------------------------------------------


@pytest.fixture
def panel() -> PlanPanel:
    return plan_panel(
        "C",
        day=DAY,
        remember=False,
        cut="beef brisket flat",
        shape="slab",
        thickness_m=0.04,
        core_c=80.0,
        place="kitchen",
    )


def test_the_panel_says_when_to_light(panel: PlanPanel) -> None:
    assert panel.state.error is None
    answer = panel.state.outcome
    assert f"Light the fire at {answer.light.planned:%H:%M}" in panel.status_text
    assert is_drawn(panel.picture)
    below = panel._table.value
    unsure = "Beef brisket flat, pulled at core 80 °C: Cannot tell under United States meat"
    assert unsure in panel.status_text
    assert "core 80 °C: the hold tables cannot tell" in below
    assert "calibrated thermometer" in below
    assert "  wrap beef brisket flat (" in below
    assert "), core 80 °C" in below
    assert 'download="plan.ics"' in panel._table.value


def test_another_hour_costs_no_new_cooks(panel: PlanPanel, monkeypatch) -> None:
    before = panel.state.outcome.light.planned
    monkeypatch.setattr(
        "coreward.questions.plan.cooks.cook_piece", lambda *a, **k: pytest.fail("cooked again")
    )
    panel.state.serve_s = 12.0 * 3600.0
    panel.settle()
    assert panel.state.error is None
    assert before - panel.state.outcome.light.planned == dt.timedelta(hours=6.5)


def test_a_second_piece_and_fahrenheit(panel: PlanPanel) -> None:
    panel.state.second = "pork loin"
    panel.settle()
    assert [one.item.name for one in panel.state.outcome.pieces] == [
        "beef brisket flat",
        "pork loin",
    ]
    panel.units_control.lists["temperature"].value = "F"
    panel.settle()
    assert panel.state.error is None
    assert "°C" not in panel.status_text.replace("70 °C for 2 minutes", "")
    assert "°C" not in panel._table.value.replace("70 °C for 2 minutes", "")
    assert "), core 176 °F" in panel._table.value
    # Two of one cut are two pieces.
    panel.state.second = "beef brisket flat"
    panel.settle()
    assert [one.item.name for one in panel.state.outcome.pieces] == [
        "beef brisket flat",
        "second beef brisket flat",
    ]


@pytest.mark.parametrize(("units", "core"), [("C", "55 °C"), ("F", "131 °F")])
def test_a_wish_that_meets_no_table_is_said_first_in_the_panel(units: str, core: str) -> None:
    panel = plan_panel(
        units,
        day=DAY,
        remember=False,
        cut="chicken breast",
        shape="slab",
        thickness_m=0.03,
        core_c=55.0,
        place="kitchen",
        wrap="none",
    )
    assert panel.state.error is None
    first = f"Not enough by the tables: chicken breast, pulled at core {core}. Does not meet "
    assert panel.status_text.startswith(first)
    assert panel.state.outcome.pieces[0].verdict_state == "not met"
    data = re.search(r"base64,([^\"]+)", panel._table.value)[1]
    calendar = base64.b64decode(data).decode("utf-8").replace("\r\n ", "")
    assert calendar.count("Not enough by the tables: chicken breast") == 5
    assert f"pulled at core {core}" in calendar


def thin_panel(now: dt.datetime, **inputs) -> PlanPanel:
    state = PlanState()
    thin = {"cut": "beef brisket flat", "shape": "slab", "thickness_m": 0.03}
    state.start_with(thin | inputs)
    return PlanPanel(state, "C", zone=LONDON, now=lambda: now)


def test_a_panel_for_today_lights_no_fire_in_the_past() -> None:
    now = dt.datetime(2026, 10, 24, 17, 0, tzinfo=LONDON)
    panel = thin_panel(now, day=DAY.isoformat())
    assert panel.state.error is None
    assert panel.state.outcome.light.planned == now
    panel.state.serve_s = 12.0 * 3600.0
    panel.settle()
    assert panel.status_text.startswith(
        "Too late for 12:00: the fire cannot be lit before 17:00.\nLight the fire at 17:00"
    )
    # In two days a fire may have to be lit now; of a day further off, or past, it is no matter.
    for day, wanted in (("2026-10-26", now), ("2026-10-27", None), ("2026-10-23", None)):
        panel.state.day = day
        assert panel.not_before() == wanted


def test_the_plan_is_for_the_next_weekend_until_a_day_is_chosen() -> None:
    for day, saturday in (("2026-12-01", 5), ("2026-12-04", 5), ("2026-12-05", 12)):
        found = next_weekend(dt.date.fromisoformat(day))
        assert (found.isoformat(), found.weekday()) == (f"2026-12-{saturday:02d}", 5)
    panel = thin_panel(dt.datetime(2026, 10, 20, 9, 0, tzinfo=LONDON))
    assert panel.state.outcome.serve_at.date() == next_weekend()
    assert f"{next_weekend():%A}" in panel.controls["day"].words.value
    panel.controls["day"].calendar.value = dt.date(2026, 11, 1)
    panel.controls["serve"].clock.value = dt.time(19, 10)
    panel.settle()
    assert panel.state.saved()["day"] == "2026-11-01"
    assert panel.state.outcome.serve_at == dt.datetime(2026, 11, 1, 19, 10, tzinfo=LONDON)
    assert "at 19:10 on Sunday 1 November: " in panel.status_text
    past = ", which is past" if dt.date(2026, 11, 1) < dt.date.today() else ""
    assert f"Sunday 1 November 2026{past}" in panel.controls["day"].words.value
    # The entries of the calendar are on that day.
    data = base64.b64decode(re.search(r"base64,([^\"]+)", panel._table.value)[1]).decode()
    assert data.count("DTSTART:20261101T") == data.count("BEGIN:VEVENT") > 4
    panel.reset()
    assert panel.state.outcome.serve_at.date() == next_weekend()
    for wrong in ("2026-13-01", "1999-12-31", 5):
        with pytest.raises(InputError, match="is not a day from 2000-01-01 to 2199"):
            panel.state.day = wrong


def test_a_day_that_was_left_is_not_planned_when_it_is_past(monkeypatch) -> None:
    monkeypatch.setattr("coreward.widgets.remember.keeps", lambda: True)
    now = dt.datetime(2026, 10, 20, 9, 0, tzinfo=LONDON)
    first = thin_panel(now, remember="supper")
    first.state.day = "2026-10-25"
    first.settle()
    again = thin_panel(now, remember="supper")
    assert again.state.day == "2026-10-25"
    later = thin_panel(now + dt.timedelta(days=9), remember="supper")
    assert later.state.outcome.serve_at.date() == next_weekend()
    assert "is past: this is the next weekend" in later._note_line.value


def test_the_panel_refuses_in_place(panel: PlanPanel) -> None:
    with pytest.raises(InputError, match="refused"):
        panel.state.chance = 0.3
    with pytest.raises(InputError, match="no input"):
        plan_panel("C", day=DAY, beauty=1.0)


def test_an_hour_that_the_clock_skips_moves_on() -> None:
    found = _serve_at(dt.date(2027, 3, 28), 1.5 * 3600.0, LONDON)
    assert (found.hour, found.minute) == (2, 30)
    plain = _serve_at(DAY, 18.5 * 3600.0, LONDON)
    assert (plain.hour, plain.minute) == (18, 30)


# -- the table of ways ---------------------------------------------------------------------


def test_the_table_sorts_when_asked() -> None:
    ways = [Way("bare", wrap="none"), Way("hot", wrap="none", pit_c=140.0)]
    table = ways_table(compare_ways(piece(), PitPlan(105.0), ways, members=20))
    assert table.html().index("hot") < table.html().index("bare")
    assert 'aria-sort="ascending"' in table.table.value
    table.descending.value = True
    assert table.table.value.index("bare") < table.table.value.index("hot")
    table.column.value = "way"
    assert table.table.value.index("hot") < table.table.value.index("bare")
    bundle = table._repr_mimebundle_()
    assert "<table" in bundle["text/html"]
    assert bundle["text/plain"] == table.answer.sentence.shown("C")
    assert bundle["text/plain"].startswith("Nothing shows how moist the surface stays")
    assert (
        ": whether it is enough cannot be told of any way. Quickest: hot, "
        in bundle["text/plain"]
    )
