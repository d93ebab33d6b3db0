"""What a plan prints is what it counted on, and an end that is not enough is said first."""

from __future__ import annotations

import datetime as dt
import html
import json
import math
import re
from dataclasses import replace
from zoneinfo import ZoneInfo

import numpy as np
import pytest

import coreward as cw
from coreward.errors import SolverError
from coreward.questions.hold.answer import time_until_enough
from coreward.questions.plan import cooks as plan_cooks
from coreward.questions.plan.answer import (
    Hold,
    PitPlan,
    Plan,
    PlannedPiece,
    Wanted,
    clock_text,
    plan,
)
from coreward.questions.plan.calendar import calendar_bytes
from coreward.questions.plan.cooks import (
    PieceCooks,
    RememberedCooks,
    _Recipe,
    cook_piece,
    deciding_standards,
    draw_days,
    species,
)
from coreward.questions.plan.document import plan_code
from coreward.questions.plan.end import _up_to, judged_end
from coreward.questions.plan.figure import alt_text, figure_plan
from coreward.questions.plan.ways import Way, compare_ways, ways_rows
from coreward.questions.verdict import verdict
from coreward.reports.write import report_bytes
from coreward.tables.standards import load_standard
from coreward.words import Needed, Published, say, shown
from support.said import numbers_of, text_of

pytestmark = pytest.mark.quick

LONDON = ZoneInfo("Europe/London")
SERVE = dt.datetime(2026, 10, 24, 18, 30, tzinfo=LONDON)
FEW = 20
KITCHEN = Hold("kitchen", 600.0, 600.0)


def piece(cut: str, core_c: float, lethality=False, *, size: float = 0.03, **changes):
    """Return a thin piece, named by its cut."""
    fields = {"mass_kg": 2.0, "hold": KITCHEN} | changes
    name = fields.pop("name", cut)
    body = cw.Piece(cw.Slab(size), cw.meat(cut), 4.0)
    return PlannedPiece(name, body, Wanted(core_c, lethality=lethality), **fields)


def planned(item, pit_c: float = 110.0, **more) -> Plan:
    return plan(item, SERVE, pit=PitPlan(pit_c), members=FEW, **more)


@pytest.fixture(scope="module")
def chicken() -> Plan:
    """60 °C wanted, and the hold tables: they ask for more."""
    return planned(piece("chicken breast", 60.0, True))


@pytest.fixture(scope="module")
def raw() -> Plan:
    """55 °C wanted, and no hold table waited for."""
    return planned(piece("chicken breast", 55.0, False))


@pytest.fixture(scope="module")
def salmon() -> Plan:
    return planned(piece("salmon side", 50.0, True))


def calendar_of(answer: Plan, units: str) -> list[dict[str, str]]:
    icalendar = pytest.importorskip("icalendar")
    made = dt.datetime(2026, 10, 1, tzinfo=dt.UTC)
    read = icalendar.Calendar.from_ical(calendar_bytes(answer, units=units, made_at=made))
    return [
        {"summary": str(e["SUMMARY"]), "description": str(e["DESCRIPTION"])}
        for e in read.walk("VEVENT")
    ]


def page_of(answer: Plan, units: str) -> str:
    """Return the words of the sheet without its pictures and marks."""
    page = report_bytes(answer, "html", units=units).decode("utf-8")
    return html.unescape(
        re.sub(r"<[^>]+>", " ", re.sub(r"(?s)<svg.*?</svg>|src=\S+", "", page))
    )


# -- the core that is printed ------------------------------------------------------------


def test_every_draw_is_pulled_at_the_core_that_is_told(chicken: Plan) -> None:
    one = chicken.pieces[0]
    cook = cook_piece(one.item, chicken.pit, draw_days(1, FEW, 1830), 0)
    done = np.isfinite(cook.pull_s)
    assert done.all()
    assert one.pull_core_c == cook.pull_core_c
    assert cook.highest_c[done] == pytest.approx(one.pull_core_c)
    # And there every table has been met in each of them, the probe's error on top; one
    # tenth colder it had not been in all.
    fine = np.arange(0.0, cook.pull_s.max() + 1.0, 5.0)
    late = []
    for i in range(FEW):
        core = np.interp(fine, cook.time_s, cook.core_c[i])
        asked = [time_until_enough(fine, core, s, 1.0) for s in deciding_standards(one.item)]
        assert max(asked) <= cook.pull_s[i] + 10.0
        late.append(max(asked) - fine[np.argmax(core >= one.pull_core_c - 0.15)])
    assert max(late) > 0.0
    # The poultry table ends at 165 °F, and a kelvin is for the probe (74.9 °C).
    assert 74.9 <= one.pull_core_c <= 75.6


@pytest.mark.parametrize(("units", "wished"), [("C", "60 °C"), ("F", "140 °F")])
def test_the_core_is_the_same_everywhere(chicken: Plan, units: str, wished: str) -> None:
    one = chicken.pieces[0]
    core = Published(one.pull_core_c).shown(units)
    note = f"core {core} ({wished} was wanted; the hold tables ask for more)"
    assert shown(one.step("pull").note, units) == note
    text = text_of(chicken, units)
    raised = (
        f"Chicken breast is pulled at a core of {core} and not of {wished}: only there are "
        "the hold tables met in every draw."
    )
    assert raised in text
    assert note in text
    told = json.loads(json.dumps(numbers_of(chicken, units), allow_nan=False))
    assert raised in told["sentences"]
    assert next(s for s in told["steps"] if s["kind"] == "pull")["note"] == note
    assert told["pieces"][0]["pull_core_c"] == one.pull_core_c
    assert told["pieces"][0]["item"]["wanted"]["core_c"] == 60.0
    page = page_of(chicken, units)
    assert note in page
    assert re.search(rf"chicken breast\s+{core}\s+\d+ in 100", page)
    pull = next(e for e in calendar_of(chicken, units) if e["summary"].startswith("Pull"))
    assert note in pull["description"]
    assert f"# chicken breast: {note}" in plan_code(chicken, units)
    assert f"at {note}" in alt_text(chicken, units)
    other = "°C" if units == "F" else "°F"
    for words in (text, page, pull["description"], alt_text(chicken, units)):
        assert other not in words.replace("70 °C for 2 minutes", "")


def test_a_core_hot_enough_for_the_tables_is_left_as_it_is() -> None:
    for lethality in (True, False):
        one = planned(piece("pork loin", 80.0, lethality)).pieces[0]
        assert (one.pull_core_c, one.pull_then_s) == (80.0, 0.0)
        assert one.step("pull").note.shown("C") == "core 80 °C"


def test_where_a_core_is_not_reached_in_every_draw_a_time_is_told() -> None:
    """A pit hardly hotter than the meat: the tables are met by waiting."""
    item = piece("beef rib roast", 56.0, ("us meat 6.5 log",), wrap="foil", wrap_at_core_c=40.0)
    answer = planned(item, 66.0)
    one = answer.pieces[0]
    assert one.pull_core_c == 56.0
    assert one.pull_then_s > 0.0
    assert one.pull_then_s % 300.0 == 0.0
    after = Needed(one.pull_then_s).shown("C")
    assert (
        one.step("pull").note.shown("C") == f"core 56 °C and {after} more, for the hold tables"
    )
    assert f"is pulled {after} after a core of 132.8 °F: only then" in text_of(answer, "F")
    cook = cook_piece(item, answer.pit, draw_days(1, FEW, 1830), 0)
    for i in np.flatnonzero(np.isfinite(cook.pull_s)):
        at = np.interp(56.0, np.maximum.accumulate(cook.core_c[i]), cook.time_s)
        assert cook.pull_s[i] == pytest.approx(at + one.pull_then_s, abs=200.0)
        enough = time_until_enough(
            cook.time_s, cook.core_c[i], load_standard("us meat 6.5 log"), 1.0
        )
        # By the sample that method is up to one of five minutes later.
        assert cook.pull_s[i] >= enough - 300.0


def test_the_hold_is_counted_from_the_core_that_is_told() -> None:
    """A pull that the tables make hotter keeps hot for longer."""
    hold = Hold("towels", 300.0, 4 * 3600.0)
    low = piece("chicken breast", 60.0, True, hold=hold)
    hot = planned(low).pieces[0]
    same = planned(replace(low, wanted=Wanted(hot.pull_core_c, lethality=False))).pieces[0]
    assert hot.most_hold_s == same.most_hold_s > 600.0
    plain = planned(replace(low, wanted=Wanted(60.0, lethality=False))).pieces[0]
    assert plain.most_hold_s < hot.most_hold_s


# -- the end that is judged ---------------------------------------------------------------


@pytest.mark.parametrize("units", ["C", "F"])
def test_a_wish_that_meets_no_table_is_said_before_everything_else(
    raw: Plan, units: str
) -> None:
    one = raw.pieces[0]
    assert one.verdict_state == "not met"
    assert one.doubt == "hold tables not met"
    core, sure = (("55 °C", "74.9 °C"), ("131 °F", "166.8 °F"))[units == "F"]
    first = shown(raw.sentences[0], units)
    assert first.startswith(
        f"Not enough by the tables: chicken breast, pulled at core {core}. Does not meet "
    )
    assert "poultry table, 7 log" in first
    assert f"All of its tables are met by 2 min at {sure} or above" in first
    assert first.endswith("Or let the pull wait for the hold tables.")
    assert shown(raw.sentences[1], units).startswith("Light the fire at ")
    assert text_of(raw, units).startswith(first)
    assert numbers_of(raw, units)["warnings"] == [first]
    assert numbers_of(raw, units)["pieces"][0]["verdict"] == "not met"
    assert shown(raw.lead, units).startswith(f"{first} {shown(raw.sentences[1], units)}")
    page = " ".join(page_of(raw, units).split())
    assert first in page
    assert page.index(first) < page.index("By the clock")
    assert f"core {core}: hold tables not met" in page
    assert alt_text(raw, units).startswith(first)
    entries = calendar_of(raw, units)
    assert len(entries) == 5
    for entry in entries:
        assert entry["description"].startswith(first)
    doubtful = {
        e["summary"].split()[0] for e in entries if "(hold tables not met)" in e["summary"]
    }
    assert doubtful == {"Pull", "Slice", "Serve"}


def test_an_end_that_is_enough_warns_of_nothing(chicken: Plan) -> None:
    assert chicken.warnings == ()
    one = chicken.pieces[0]
    assert shown(chicken.sentences[0], "C").startswith("Light the fire at ")
    # Nothing is said of its surface: the poultry table cannot tell, and that is no warning.
    assert (one.verdict_state, one.doubt) == ("cannot tell", "the hold tables cannot tell")


@pytest.mark.parametrize("units", ["C", "F"])
def test_an_end_that_cannot_be_told_says_so_on_the_sheet_and_in_the_calendar(
    chicken: Plan, units: str
) -> None:
    """Before: in the last cell of its table and the last line of the page alone."""
    one = chicken.pieces[0]
    core = Published(one.pull_core_c).shown(units)
    said = shown(one.unsure, units)
    assert said.startswith(f"Chicken breast, pulled at core {core}")
    assert ": Cannot tell under United States poultry table" in said
    assert said in shown(chicken.lead, units)
    page = " ".join(page_of(chicken, units).split())
    assert page.index(said) < page.index("By the clock")
    assert ": the hold tables cannot tell" in page
    entries = calendar_of(chicken, units)
    for entry in entries:
        kind = entry["summary"].split()[0]
        doubtful = "(the hold tables cannot tell)" in entry["summary"]
        assert doubtful == (kind in ("Pull", "Slice", "Serve"))
        assert (said in entry["description"]) == (kind != "Serve")


def test_what_warns_of_one_piece_is_not_said_of_the_other(raw: Plan) -> None:
    loin = piece("pork loin", 80.0)
    both = planned([loin, raw.pieces[0].item])
    entries = {e["summary"]: e["description"] for e in calendar_of(both, "C")}
    assert "Not enough" not in entries["On pork loin"]
    assert entries["On chicken breast"].startswith("Not enough by the tables: chicken")
    assert entries["Light"].startswith("Not enough by the tables: chicken")
    assert "Serve (hold tables not met; the hold tables cannot tell)" in entries
    assert "Slice pork loin (the hold tables cannot tell)" in entries
    assert (
        "Then kitchen, at least 10 min."
        in entries["Pull pork loin (the hold tables cannot tell)"]
    )


def test_the_judge_is_given_the_very_moment_of_each_row(chicken: Plan) -> None:
    """Ten seconds at 74.9 °C are lost between two points that lie five minutes apart."""
    one = chicken.pieces[0]
    cook = cook_piece(one.item, chicken.pit, draw_days(1, FEW, 1830), 0)
    standards = deciding_standards(one.item)
    levels = np.array(sorted({t + 1.0 for s in standards for t in s.temperatures_c}))
    for i in range(FEW):
        time, core = _up_to(cook, i, float(cook.pull_s[i]), levels)
        assert time[-1] == cook.pull_s[i]
        assert core[-1] == pytest.approx(one.pull_core_c)
        assert (np.diff(time) > 0.0).all()
        answer = verdict((time, core), meat="chicken", probe_error_c=1.0)
        states = {s.name: s.state for s in answer.standards if s.counts}
        assert "not met" not in states.values()


def test_come_up_that_is_too_slow_is_said_as_such() -> None:
    big = PlannedPiece(
        "big",
        cw.Piece(cw.Sphere(0.26), cw.meat("pork ham"), 2.0),
        Wanted(60.0, lethality=("us meat 6.5 log",)),
        hold=KITCHEN,
    )
    one = planned(big, 80.0).pieces[0]
    assert one.doubt == "come-up too slow"
    words = shown(one.warnings[0], "F")
    assert "It warms from 50 °F to 130 °F in more than 6 h: a smaller piece" in words
    assert "All of its tables" not in words


# -- meat that no table was made for ------------------------------------------------------


def test_salmon_is_planned_and_no_table_covers_it(salmon: Plan) -> None:
    one = salmon.pieces[0]
    assert species(one.item) == "salmon"
    assert deciding_standards(one.item) == ()
    assert (one.pull_core_c, one.verdict_state) == (50.0, "cannot tell")
    assert shown(salmon.sentences[0], "F") == (
        "Salmon side, pulled at core 122 °F: No hold table here covers salmon: whether this "
        "end is enough cannot be told. Ask the food authority of your place what it asks of "
        "it, and measure that."
    )
    assert one.chance_as_wanted == 1.0
    assert "as wanted in" not in text_of(salmon)
    entries = calendar_of(salmon, "C")
    assert "Pull salmon side (no hold table covers it)" in {e["summary"] for e in entries}
    assert all("No hold table here covers salmon" in e["description"] for e in entries)


def test_a_table_that_is_named_is_waited_for_in_salmon_too() -> None:
    one = planned(piece("salmon side", 50.0, ("uk 70 for 2 min",))).pieces[0]
    assert 65.0 < one.pull_core_c < 72.0
    assert one.verdict_state == "cannot tell"


def test_a_cut_of_ones_own_has_no_table() -> None:
    material = replace(cw.meat("pork loin"), name="our boar")
    item = PlannedPiece(
        "boar", cw.Piece(cw.Slab(0.03), material, 4.0), Wanted(70.0), hold=KITCHEN
    )
    assert species(item) == ""
    assert "No hold table here covers our boar, a cut of your own" in text_of(planned(item))


def test_the_tables_and_not_the_code_say_which_standard_serves_a_meat() -> None:
    for cut, name in (("turkey breast", "us poultry 7 log"), ("pork loin", "food code roast")):
        found = {s.name for s in deciding_standards(piece(cut, 70.0))}
        assert name in found
        assert all(s.counts for s in deciding_standards(piece(cut, 70.0)))
    assert "us poultry 7 log" not in {
        s.name for s in deciding_standards(piece("pork loin", 70.0))
    }
    named = deciding_standards(piece("pork loin", 70.0, ("trichinella pork",)))
    assert [s.name for s in named] == ["trichinella pork"]


# -- pieces that never get there ----------------------------------------------------------


@pytest.fixture
def broken(monkeypatch: pytest.MonkeyPatch) -> PlannedPiece:
    """No draw of the piece that is called broken can be computed."""
    run = _Recipe.run

    def fails(self, member, offset, until_c):
        if self.item.name == "broken":
            raise SolverError("nothing")
        return run(self, member, offset, until_c)

    monkeypatch.setattr(_Recipe, "run", fails)
    return piece("pork loin", 70.0, name="broken")


def test_a_piece_that_cannot_be_computed_is_said_and_stops_nothing(broken) -> None:
    answer = planned([piece("chicken thigh", 80.0), broken])
    lost = answer.piece("broken")
    assert not lost.possible
    assert lost.chance_ready == 0.0
    assert lost.step("pull") is None
    assert lost.step("on") is not None
    words = (
        "Broken is never ready in what was computed (20 of 20 draws failed): no time can be "
        "named for it. Check its size and start, and plan the others without it."
    )
    assert shown(answer.sentences[0], "C") == words
    assert lost.verdict_headline == (
        "It is never ready in what was computed: there is no end to judge."
    )
    assert answer.piece("chicken thigh").chance_ready >= answer.chance_wanted
    assert answer.light.planned.date() == SERVE.date()
    assert answer.nearest_serve_at is not None
    assert words in page_of(answer, "C")
    assert "unknown" in page_of(answer, "C")
    assert "broken is never pulled" in alt_text(answer)
    assert figure_plan(answer).axes
    assert any(e["description"].startswith(words) for e in calendar_of(answer, "C"))
    assert "Serve (never ready; the hold tables cannot tell)" in {
        e["summary"] for e in calendar_of(answer, "C")
    }
    json.dumps(numbers_of(answer), allow_nan=False)


def test_alone_it_is_said_too(broken) -> None:
    answer = planned(broken)
    assert answer.chance_ready == 0.0
    assert answer.nearest_serve_at is None
    assert [step.kind for step in answer.steps] == ["light", "on", "serve"]


def test_ways_of_a_piece_that_cannot_be_computed(broken) -> None:
    answer = compare_ways(broken, PitPlan(), [Way("as it is")], members=FEW)
    row = answer.rows[0]
    assert row.never == 1.0
    assert math.isnan(row.loss[1])
    assert shown(answer.sentence, "C") == (
        "None of these ways gets there within the longest cook."
    )
    assert ways_rows(answer)[0][1:5] == ["never, never, never", "never", "never", "never"]


def test_a_pit_colder_than_the_wish_says_why_and_by_how_much() -> None:
    answer = planned(piece("beef rib roast", 93.0), 62.0)
    one = answer.pieces[0]
    first = shown(answer.sentences[0], "F")
    assert (
        "Beef rib roast cannot be at 199.4 °F with the chance wanted: the pit of 144 °F is "
        "55.8 °F colder than that. Nearest possible in this pit: a core of "
    ) in first
    assert f"{(93.0 - one.pull_core_c) * 1.8:.1f} °F short;" in first
    assert f"core {Published(one.pull_core_c).shown('F')} (199.4 °F was wanted" in first
    assert one.verdict_state == "not met"


def test_a_piece_pulled_colder_than_its_wrap_is_not_wrapped() -> None:
    item = piece("beef rib roast", 93.0, wrap="foil", wrap_at_core_c=90.0)
    one = planned(item, 62.0).pieces[0]
    assert one.step("wrap") is None
    assert one.step("pull") is not None


def test_softening_that_takes_too_long_is_said() -> None:
    item = replace(
        piece("beef brisket flat", 60.0), wanted=Wanted(60.0, tenderness=5.0, lethality=False)
    )
    answer = planned(item, 75.0)
    one = answer.pieces[0]
    assert not one.possible
    words = shown(one.nearest, "C")
    percent = int(re.search(r"softening \((\d+) % of the way to tender is what", words)[1])
    assert 0 <= percent < 500
    assert "draws it is not ready within the longest cook (36 h)" in words
    assert words.endswith("the core of 60 °C without it; or a hotter pit.")
    # It is told without the tenderness that it does not get.
    assert one.step("pull").note.shown("C") == "core 60 °C"
    soft = planned(replace(item, wanted=Wanted(60.0, tenderness=0.01, lethality=False)), 75.0)
    assert soft.pieces[0].step("pull").note.shown("C") == "core 60 °C and tender"


# -- odd days -----------------------------------------------------------------------------


@pytest.fixture(scope="module")
def cooks() -> RememberedCooks:
    return RememberedCooks(12)


def test_a_serving_hour_that_is_past_is_said_first(cooks) -> None:
    late = SERVE + dt.timedelta(hours=2)
    answer = planned(piece("pork loin", 80.0), not_before=late, cook=cooks)
    assert answer.sentences[0].shown("C") == (
        "Too late for 18:30: the fire cannot be lit before 20:30."
    )
    assert answer.light.planned == late
    assert answer.chance_ready == 0.0
    assert answer.nearest_serve_at.timestamp() > late.timestamp()
    pull = answer.pieces[0].step("pull")
    said = text_of(answer)
    off = clock_text(pull.planned, SERVE)
    assert f"Pork loin is pulled at about {off}, after the serving hour." in said
    assert f"Nearest possible: serve at {clock_text(answer.nearest_serve_at, SERVE)}." in said
    assert calendar_of(answer, "C")[0]["description"].startswith("Too late for 18:30")
    exact = planned(piece("pork loin", 80.0), not_before=SERVE, cook=cooks)
    assert exact.warnings == ("Too late for 18:30: the fire cannot be lit before 18:30.",)
    assert planned(piece("pork loin", 80.0), cook=cooks).warnings == ()


@pytest.mark.parametrize(("fold", "name"), [(0, "BST"), (1, "GMT")])
def test_a_serving_hour_that_comes_twice_is_named(cooks, fold: int, name: str) -> None:
    serve = dt.datetime(2026, 10, 25, 1, 30, tzinfo=LONDON, fold=fold)
    answer = plan(piece("pork loin", 80.0), serve, members=FEW, cook=cooks)
    assert f"to serve at 01:30 {name} on Sunday 25 October:" in text_of(answer)
    assert f"Serve at 01:30 {name} on Sunday 25 October 2026" in page_of(answer, "C")
    assert f"served at 01:30 {name}" in alt_text(answer)


def test_a_cook_of_more_than_a_day_names_its_days() -> None:
    pork = PlannedPiece(
        "pig",
        cw.Piece(cw.Cylinder(0.2), cw.meat("pork shoulder"), 4.0),
        Wanted(70.0, lethality=False),
        hold=KITCHEN,
    )
    answer = planned(pork, 90.0)
    lead = SERVE.timestamp() - answer.light.planned.timestamp()
    assert lead > 24 * 3600.0
    light = answer.light.planned
    assert light.date() < SERVE.date()
    assert f"Light the fire at {light:%a %H:%M} to serve at 18:30" in text_of(answer)


def test_no_rest_at_all_is_said_as_none(cooks) -> None:
    item = piece("pork loin", 80.0, hold=Hold("kitchen", 0.0, 0.0), slicing_s=0.0)
    answer = planned(item, cook=cooks)
    one = answer.pieces[0]
    assert one.step("hold").note.shown("C") == "kitchen, no rest asked for"
    assert one.step("slice").planned <= SERVE
    assert "and its hold allows 0 s." in text_of(answer)


def test_a_box_that_cools_below_its_limit_is_said(cooks) -> None:
    item = piece("pork loin", 62.0, hold=Hold("box", 3600.0, 4 * 3600.0), mass_kg=0.4)
    one = planned(item).pieces[0]
    words = shown(one.hold_note, "C")
    assert one.most_hold_s == 3600.0
    limit = "(58.3 °C with the probe's error)"
    assert words.startswith(f"Pork loin in its box falls below the hot-holding limit {limit} ")
    assert words.endswith(": that is a rest and no hot hold.")
    assert re.search(r"from the start|after \d+ min, within its rest of 1 h:", words)


def test_words_of_a_time_are_those_of_all_pages(chicken: Plan) -> None:
    text = text_of(chicken)
    assert "0 h" not in text
    assert "its hold allows 10 min." in text
    assert "1 h are left for it to warm up." in text
    assert "within 4 K of 110 °C" in text
    assert "within 7.2 °F of 230 °F" in text_of(chicken, "F")


def test_two_ways_of_judging_agree(raw: Plan) -> None:
    """The end is that of the verdict on the draw that is pulled early."""
    item = raw.pieces[0].item
    cook = cook_piece(item, raw.pit, draw_days(1, FEW, 1830), 0)
    end = judged_end(item, cook, cook.pull_s, say("pulled"), 0.9)
    assert (end.state, end.headline) == (
        raw.pieces[0].verdict_state,
        raw.pieces[0].verdict_headline,
    )
    nothing = judged_end(item, cook, np.full(FEW, math.inf), "pulled", 0.9)
    assert (nothing.state, nothing.doubt) == ("not met", "never ready")


def test_a_pull_past_the_longest_cook_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    """Also where its core was there in time and only the wait for the tables is too long."""
    kept = []
    told = plan_cooks._told
    monkeypatch.setattr(plan_cooks, "_told", lambda *given: kept.append(given) or told(*given))
    cook_piece(piece("pork loin", 70.0), PitPlan(), draw_days(1, FEW, 1830), 0, cores=1)
    recipe, one, core_c, then_s = kept[0]
    assert then_s == 0.0
    in_time = told(recipe, one, core_c, 600.0)
    assert in_time[1] == pytest.approx(told(recipe, one, core_c, 0.0)[1] + 600.0)
    assert told(recipe, one, core_c, 36 * 3600.0)[1] == math.inf
    short = replace(one, enough_s=math.inf)
    assert told(recipe, short, core_c, 0.0)[1] == math.inf


@pytest.mark.parametrize(("slow", "hours"), [(True, 6.4), (False, 5.8)])
def test_the_come_up_is_timed_with_the_error_of_the_probe(slow: bool, hours: float) -> None:
    """From 50 to 130 °F (10 to 54.44 °C) and a kelvin more; a kelvin less is long before."""
    time = np.arange(0.0, 9 * 3600.0, 300.0)
    knots_h, knots_c = [0.0, 1.0, 1.0 + 4.0, 1.0 + hours], [4.0, 10.0, 53.0, 55.45]
    core = np.interp(time / 3600.0, [*knots_h, 8.5], [*knots_c, 57.0])
    members = np.ones(FEW)
    cook = PieceCooks(
        pull_core_c=57.0,
        pull_then_s=0.0,
        wrap_s=np.nan * members,
        pull_s=8.5 * 3600.0 * members,
        highest_c=57.0 * members,
        loss=0.3 * members,
        crust_activity=0.5 * members,
        tenderness=0.1 * members,
        come_up_s=hours * 3600.0 * members,
        time_s=time,
        core_c=np.tile(core, (FEW, 1)),
    )
    end = judged_end(piece("pork loin", 57.0), cook, cook.pull_s, "pulled", 0.9)
    assert end.state == "not met"
    words = shown(end.warning, "C")
    assert (
        "All of its tables are met by 3 min at 71 °C or above (1 K of it for the probe)"
        in words
    )
    assert ("It warms from 10 °C to 54.5 °C in more than 6 h" in words) is slow
