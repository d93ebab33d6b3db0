"""Ways side by side, and the search for the best trade-offs."""

from __future__ import annotations

import dataclasses
import math
from functools import partial
from types import SimpleNamespace

import numpy as np
import pytest

import coreward as cw
from coreward import tables
from coreward.physics.lethality import load_kinetics
from coreward.questions.plan import ways as module
from coreward.questions.plan.answer import Hold, PitPlan, PlannedPiece, Wanted
from coreward.questions.plan.cooks import cook_piece, draw_days
from coreward.questions.plan.pareto import nondominated, search_front, spread_weights
from coreward.questions.plan.ways import (
    COLUMNS,
    Way,
    WayOutcome,
    Ways,
    _kill,
    _outcome,
    _sentence,
    applied,
    compare_ways,
    search_ways,
    usual_ways,
    ways_rows,
)
from coreward.questions.plan.ways_figure import alt_text, figure_ways
from coreward.words import Degrees, say, shown

pytestmark = pytest.mark.quick

FEW = 30
UNSURE = "the hold tables cannot tell"


@pytest.fixture(scope="module")
def item() -> PlannedPiece:
    return PlannedPiece(
        "flat",
        cw.Piece(cw.Slab(0.035), cw.meat("beef brisket flat"), 4.0),
        Wanted(88.0, lethality=False),
        mass_kg=2.0,
        hold=Hold("box", least_s=1800.0, most_s=7200.0),
    )


@pytest.fixture(scope="module")
def ways(item: PlannedPiece) -> Ways:
    return compare_ways(item, PitPlan(110.0), members=FEW)


def test_the_ways_do_what_the_trade_says(ways: Ways) -> None:
    """Common practice, no source: each direction below is what cooks report."""
    bare = ways.row("bare")
    hours = {row.way.name: row.ready_band_s[1] for row in ways.rows}
    assert hours["foil at the stall"] < hours["bare"]
    assert hours["hotter, bare"] < hours["bare"]
    assert hours["cut in two, bare"] < hours["bare"]
    assert hours["hotter at the end, bare"] <= hours["bare"]
    # A wrap keeps juice and softens the crust; the box finishes what was pulled early.
    foil = ways.row("foil at the stall")
    assert foil.held_crust > bare.crust_activity[1] + 0.3
    boxed = ways.row("pulled early, long in the box")
    assert boxed.held_tender > boxed.tender[1]
    assert boxed.ready_band_s[1] < foil.ready_band_s[1]
    damp = ways.row("damper, bare")
    assert damp.crust_activity[1] > bare.crust_activity[1]


def test_all_ways_are_cooked_with_the_same_luck(item: PlannedPiece, ways: Ways) -> None:
    alone = compare_ways(item, PitPlan(110.0), [Way("bare", wrap="none")], members=FEW)
    assert (alone.rows[0].ready_s == ways.row("bare").ready_s).all()
    # Draw by draw, not only in the middle, the hotter pit is the quicker one.
    assert (ways.row("hotter, bare").ready_s < ways.row("bare").ready_s).all()


def test_fuel_is_the_warm_up_and_the_time_on_the_pit(ways: Ways) -> None:
    for row in ways.rows:
        assert row.fuel_hours == pytest.approx(1.0 + row.ready_s.mean() / 3600.0)


def test_the_front_among_the_ways_is_marked(ways: Ways) -> None:
    goals = np.array([(r.ready_band_s[1], r.loss[1], r.crust_activity[1]) for r in ways.rows])
    for i, row in enumerate(ways.rows):
        beaten = any(
            (goals[j] <= goals[i]).all() and (goals[j] < goals[i]).any()
            for j in range(len(goals))
        )
        assert row.pareto is not beaten
    assert any(row.pareto for row in ways.rows)


@pytest.mark.parametrize("column", sorted(COLUMNS))
def test_the_table_sorts_by_every_column(ways: Ways, column: str) -> None:
    key = COLUMNS[column][1]
    up = [key(row) for row in ways.sorted_by(column)]
    down = [key(row) for row in ways.sorted_by(column, descending=True)]
    assert up == sorted(up)
    assert down == sorted(down, reverse=True)
    table = ways_rows(ways, column)
    assert len(table) == len(ways.rows)
    assert all(len(row) == len(COLUMNS) for row in table)


def test_a_way_that_never_gets_there_comes_last(item: PlannedPiece) -> None:
    hopeless = Way("cold", wrap="none", pit_c=70.0)
    answer = compare_ways(item, PitPlan(110.0), [hopeless, Way("bare")], members=20)
    assert answer.row("cold").never == 1.0
    assert answer.row("cold").kill_log == 0.0
    assert not answer.row("cold").pareto
    assert [r.way.name for r in answer.sorted_by("ready")] == ["bare", "cold"]
    assert [r.way.name for r in answer.sorted_by("crust held", True)][-1] == "cold"
    assert "never" in ways_rows(answer)[-1]


def test_turning_up_after_the_end_changes_nothing(item: PlannedPiece) -> None:
    """Also in the hold, and with a wrap, whose stage begins while the pit's clock runs."""
    plain = Way("plain", wrap="foil", wrap_at_core_c=60.0)
    late = Way("late", wrap="foil", wrap_at_core_c=60.0, turn_up_c=150.0, turn_up_after_s=1e5)
    soon = Way(
        "soon", wrap="foil", wrap_at_core_c=60.0, turn_up_c=150.0, turn_up_after_s=3600.0
    )
    one, two, three = compare_ways(item, PitPlan(110.0), [plain, late, soon], members=20).rows
    assert two.held_loss == pytest.approx(one.held_loss, abs=1e-4)
    assert two.ready_s == pytest.approx(one.ready_s, rel=1e-3)
    assert (three.ready_s < one.ready_s).all()
    assert three.held_loss != pytest.approx(one.held_loss, abs=1e-3)


def test_half_a_piece_has_half_the_volume(item: PlannedPiece) -> None:
    half = Way("half", cut_in_two=True)
    for shape, power in ((cw.Slab(0.08), 1), (cw.Cylinder(0.08), 2), (cw.Sphere(0.08), 3)):
        whole = PlannedPiece(
            "x", cw.Piece(shape, cw.meat("pork loin"), 4.0), Wanted(80.0), mass_kg=4.0
        )
        cut, _ = applied(half, whole, PitPlan())
        assert cut.piece.shape.size**power == pytest.approx(0.5 * 0.08**power)
        assert cut.mass_kg == 2.0


def test_the_picture_shows_every_way(ways: Ways) -> None:
    figure = figure_ways(ways, ways)
    assert [t.get_text() for t in figure.axes[1].get_yticklabels()] == [
        row.way.name for row in ways.rows
    ]
    assert "(%)" in figure.axes[0].get_ylabel()
    assert "(h)" in figure.axes[0].get_xlabel()
    assert alt_text(ways) == f"8 ways by time, loss and crust. {ways.sentence.shown('C')}"


@pytest.mark.parametrize(
    ("change", "message"),
    [
        (lambda item: compare_ways(item, ways=[]), "Compare 1 to 20"),
        (lambda item: compare_ways(item, ways=[Way("a"), Way("a")]), "same name"),
        (lambda item: compare_ways(item, ways=[Way("a", wrap="foil")]), "The way 'a'"),
        (lambda item: search_ways(item, goals=("time",)), "two or three goals"),
        (lambda item: search_ways(item, goals=("time", "beauty")), "two or three goals"),
    ],
)
def test_ways_that_cannot_be_are_refused(item: PlannedPiece, change, message: str) -> None:
    with pytest.raises(cw.InputError, match=message):
        change(item)


# -- the search ----------------------------------------------------------------------------


def covered(goals: np.ndarray, worst: tuple[float, float]) -> float:
    """Area between a two-goal front and its worst corner: more is better."""
    front = goals[nondominated(goals)]
    front = front[(front < worst).all(axis=1)]
    front = front[np.argsort(front[:, 0])]
    right = np.append(front[1:, 0], worst[0])
    return float(((right - front[:, 0]) * (worst[1] - front[:, 1])).sum())


def two_valleys(x: np.ndarray) -> tuple[float, float]:
    """Return two goals whose front is known: x2 = 0, f2 = 1 - f1 squared (hollow)."""
    return float(x[0]), float(1.0 - x[0] ** 2 + 9.0 * x[1] ** 2)


def test_the_search_finds_a_known_hollow_front() -> None:
    """A front that bulges the wrong way, where sums of goals find its two ends only."""
    front = search_front(
        two_valleys,
        [(0.0, 1.0), (0.0, 1.0)],
        weights=spread_weights(2, 6),
        scale=(1.0, 1.0),
        rounds=12,
        crowd=6,
    )
    # On the true front the second choice is nothing.
    off = front.goals[:, 1] - (1.0 - front.goals[:, 0] ** 2)
    assert (off >= 0.0).all()
    assert np.median(off[front.picked]) < 0.01
    middle = (front.goals[front.picked, 0] > 0.2) & (front.goals[front.picked, 0] < 0.8)
    assert middle.sum() >= 2
    # The area under the true front is a third: all of it that counts is 2/3 of the square.
    assert covered(front.goals, (1.0, 1.0)) > 0.9 * (1.0 / 3.0)


def test_the_search_beats_a_grid_of_as_many_points() -> None:
    front = search_front(
        two_valleys,
        [(0.0, 1.0), (0.0, 1.0)],
        weights=spread_weights(2, 6),
        scale=(1.0, 1.0),
        rounds=6,
        crowd=5,
    )
    side = int(math.sqrt(front.evaluated))
    steps = (np.arange(side) + 0.5) / side
    grid = np.array([two_valleys(np.array([a, b])) for a in steps for b in steps])
    assert covered(front.goals, (1.0, 1.0)) > covered(grid, (1.0, 1.0))


def test_a_search_is_nowhere_worse_than_what_it_began_with() -> None:
    known = np.array([0.5, 0.0])  # on the true front
    front = search_front(
        two_valleys,
        [(0.0, 1.0), (0.0, 1.0)],
        weights=spread_weights(2, 1),
        scale=(1.0, 1.0),
        begin=[known],
        rounds=1,
        crowd=2,
    )
    assert two_valleys(known) in {tuple(row) for row in front.goals}


def test_nothing_on_the_front_is_beaten() -> None:
    rng = np.random.default_rng(1)
    goals = rng.uniform(size=(60, 3))
    goals[5] = np.inf
    kept = nondominated(goals)
    assert not kept[5]
    for i in range(60):
        beaten = ((goals <= goals[i]).all(axis=1) & (goals < goals[i]).any(axis=1)).any()
        assert kept[i] == (not beaten and i != 5)


@pytest.mark.slow
def test_ways_found_by_search_beat_or_match_the_named_ones(
    item: PlannedPiece, ways: Ways
) -> None:
    found = search_ways(
        item, PitPlan(110.0), goals=("time", "loss"), members=4, steps=2, rounds=2, crowd=2
    )
    assert (np.diff(found.values[:, 0]) >= 0.0).all()
    again = compare_ways(item, PitPlan(110.0), found.ways, members=FEW)
    quickest = min(row.ready_band_s[1] for row in again.rows)
    assert quickest < ways.row("bare").ready_band_s[1]
    for way in found.ways:
        assert way.said() == way.name
        assert "°C" not in way.said("F")
        assert f"pit {way.pit_c:.0f} °C" in way.name
    assert nondominated(found.front.goals).all()


# -- sentences, with their values ----------------------------------------------------------


def test_the_sentence_names_the_best_of_each_with_its_number(ways: Ways) -> None:
    quick = min(ways.rows, key=lambda r: r.ready_band_s[1])
    juicy = min(ways.rows, key=lambda r: r.loss[1])
    crisp = min(ways.rows, key=lambda r: r.crust_activity[1])
    front = "; ".join(r.way.name for r in ways.rows if r.pareto)
    # What cannot be told, and why, is said once and not in every row.
    assert ways.sentence.shown("C") == (
        "Nothing shows how moist the surface stays or how hot the oven is, as hold tables ask: "
        "whether it is enough cannot be told of any way. "
        f"Quickest: {quick.way.name}, {quick.ready_band_s[1] / 3600.0:.1f} h as often as not. "
        f"Least loss: {juicy.way.name}, {100 * juicy.loss[1]:.0f} %. Driest crust: "
        f"{crisp.way.name}. No other way is better in all three than: {front}."
    )
    assert [shown(words, "C") for words in ways.assumptions] == [
        f"All ways on the same {FEW} draws of piece, pit and weather.",
        "Cut in two: a slab half as thick, or two thinner round pieces, heated all round; what "
        "the cut faces add is not counted otherwise.",
        "After the hold: one cook of the piece as stated, in its hold.",
        "Kill: salmonella beef guideline; no margin for slow heating is taken off.",
        "Whole, intact pieces, judged by the hold tables up to the pull.",
    ]


def test_the_table_shows_the_numbers_of_each_way(ways: Ways) -> None:
    for cells, row in zip(ways_rows(ways), ways.sorted_by("ready"), strict=True):
        low, middle, high = (value / 3600.0 for value in row.ready_band_s)
        assert cells == [
            row.way.name + (" *" if row.pareto else ""),
            f"{low:.1f}, {middle:.1f}, {high:.1f}",
            f"{high - low:.1f}",
            f"{100 * row.loss[1]:.0f}",
            f"{row.crust_activity[1]:.2f}",
            f"{row.held_crust:.2f}",
            f"{100 * row.tender[1]:.0f}",
            f"{100 * row.held_tender:.0f}",
            f"{row.kill_log:.1f}",
            f"{row.fuel_hours:.1f}",
        ]
        assert row.ready_band_s[0] <= row.ready_band_s[1] <= row.ready_band_s[2]
        assert row.pull_core_c == (82.0 if "early" in row.way.name else 88.0)
        assert row.warning == ""
        assert row.doubt == UNSURE


def test_a_doubt_is_that_of_the_tables_it_is_judged_by(item: PlannedPiece) -> None:
    """Some tables hold for a moist surface or a known oven, which no way of a plan states."""
    for table, doubt in (("uk 70 for 2 min", ""), ("us meat 6.5 log", UNSURE)):
        judged = dataclasses.replace(item, wanted=Wanted(88.0, lethality=(table,)))
        row = compare_ways(judged, PitPlan(110.0), [Way("bare")], members=20).rows[0]
        assert (row.pull_core_c, row.doubt, row.warning) == (88.0, doubt, "")


def test_usual_ways_stand_apart_by_what_the_table_says(item: PlannedPiece) -> None:
    ways = {way.name: way for way in usual_ways(item, PitPlan(110.0, dew_point_c=30.0))}
    assert len(ways) == 8
    foil = ways["foil at the stall"]
    assert (foil.wrap, foil.wrap_at_core_c) == ("foil", 70.0)
    assert ways["paper at the stall"].wrap == "paper"
    assert ways["hotter, bare"].pit_c == 135.0
    assert ways["damper, bare"].dew_point_c == 50.0
    late = ways["hotter at the end, bare"]
    assert (late.turn_up_c, late.turn_up_after_s) == (135.0, 18000.0)
    early = ways["pulled early, long in the box"]
    assert (early.pull_at_core_c, early.hold_s) == (82.0, 21600.0)
    low = dataclasses.replace(item, wanted=Wanted(66.0, lethality=False))
    found = {way.name: way for way in usual_ways(low, PitPlan(60.0, dew_point_c=50.0))}
    # Where it is pulled before the stall the wrap comes on a kelvin before, and the air of
    # a cool pit is never damp to the brim.
    assert found["foil at the stall"].wrap_at_core_c == 65.0
    assert found["pulled early, long in the box"].pull_at_core_c == 66.0
    assert found["damper, bare"].dew_point_c == 55.0


def test_a_way_changes_what_it_names_and_nothing_else(item: PlannedPiece) -> None:
    pit = PitPlan(110.0, turn_up_c=130.0, turn_up_after_s=3600.0, dew_point_c=30.0)
    wrapped = dataclasses.replace(item, wrap="foil", wrap_at_core_c=70.0)
    assert applied(Way("as it is"), wrapped, pit) == (wrapped, pit)
    bare, _ = applied(Way("bare", wrap="none"), wrapped, pit)
    assert (bare.wrap, bare.wrap_at_core_c) == (None, None)
    paper, _ = applied(Way("paper", wrap="paper", wrap_at_core_c=60.0), wrapped, pit)
    assert (paper.wrap, paper.wrap_at_core_c) == ("paper", 60.0)
    cold, _ = applied(Way("early", pull_at_core_c=80.0), wrapped, pit)
    assert cold.wanted.core_c == 80.0
    # Another level of the pit has no other hotter level, unless it names one.
    _, level = applied(Way("level", pit_c=140.0), wrapped, pit)
    assert (level.air_c, level.turn_up_c, level.dew_point_c) == (140.0, None, 30.0)
    up = Way("up", pit_c=120.0, turn_up_c=150.0, turn_up_after_s=7200.0, dew_point_c=40.0)
    _, both = applied(up, wrapped, pit)
    assert (both.air_c, both.turn_up_c, both.turn_up_after_s) == (120.0, 150.0, 7200.0)
    assert both.dew_point_c == 40.0


def test_ways_that_meet_no_table_are_named_first() -> None:
    raw = PlannedPiece(
        "breast",
        cw.Piece(cw.Slab(0.03), cw.meat("chicken breast"), 4.0),
        Wanted(55.0, lethality=False),
        hold=Hold("kitchen", 600.0, 600.0),
    )
    hot = Way("hot", wrap="none", pull_at_core_c=78.0)
    cold = Way("cold pit", wrap="none", pit_c=64.0)
    answer = compare_ways(raw, PitPlan(110.0), [Way("as it is"), hot, cold], members=20)
    text = answer.sentence.shown("F")
    assert text.startswith(
        "Not enough by the tables: breast, as it is, pulled at core 131 °F. Does not meet "
    )
    assert "Of these ways, hold tables not met: as it is" in text
    assert answer.row("as it is").doubt == "hold tables not met"
    # Long enough by all of them; that its surface stayed moist is not known.
    assert answer.row("hot").doubt == UNSURE
    assert answer.row("hot").warning == ""
    assert UNSURE not in text
    assert "as hold tables ask: whether it is enough cannot be told of hot" in text
    names = [cells[0] for cells in ways_rows(answer)]
    assert (
        "as it is (hold tables not met) *" in names or "as it is (hold tables not met)" in names
    )
    # Kill in chicken is by what was measured in chicken.
    assert "Kill: salmonella poultry guideline;" in shown(answer.assumptions[3], "C")
    assert answer.row("hot").kill_log > 0.0
    assert "Not ready as often as not within the longest cook: cold pit." in text or (
        answer.row("cold pit").never < 0.5
    )


def test_ways_with_hold_tables_are_pulled_at_the_core_that_is_told() -> None:
    safe = PlannedPiece(
        "breast",
        cw.Piece(cw.Slab(0.03), cw.meat("chicken breast"), 4.0),
        Wanted(60.0),
        hold=Hold("kitchen", 600.0, 600.0),
    )
    row = compare_ways(safe, PitPlan(110.0), [Way("as it is")], members=20).rows[0]
    assert 74.9 <= row.pull_core_c <= 75.6
    plain = dataclasses.replace(safe, wanted=Wanted(row.pull_core_c, lethality=False))
    same = compare_ways(plain, PitPlan(110.0), [Way("as it is")], members=20).rows[0]
    # A run that ends with its core ends between the points, five minutes apart.
    assert same.ready_s == pytest.approx(row.ready_s, abs=300.0)
    assert same.held_loss == row.held_loss


def test_ways_of_salmon_cannot_tell() -> None:
    side = PlannedPiece(
        "side",
        cw.Piece(cw.Slab(0.03), cw.meat("salmon side"), 4.0),
        Wanted(50.0),
        hold=Hold("kitchen", 600.0, 600.0),
    )
    answer = compare_ways(side, PitPlan(110.0), [Way("as it is")], members=20)
    assert math.isnan(answer.rows[0].kill_log)
    assert ways_rows(answer)[0][8] == "cannot tell"
    assert answer.rows[0].doubt == "no hold table covers it"
    assert "No hold table here covers salmon" in answer.sentence.shown("C")
    assert answer.assumptions[3] == "Kill: no kinetics here were measured in this meat."


def test_a_way_that_was_found_is_named_in_the_units_of_the_reader() -> None:
    way = Way(
        "foil at 70 °C, pit 110 °C",
        words=say("{0} at {1}, pit {2}", "foil", Degrees(70.0), Degrees(110.0)),
    )
    assert way.said() == way.name
    assert way.said("F") == "foil at 158 °F, pit 230 °F"
    assert Way("bare").said("F") == "bare"


def test_a_kill_that_too_few_draws_have_is_none(item: PlannedPiece) -> None:
    draws = draw_days(1, 20, 1830)
    cook = cook_piece(item, PitPlan(110.0), draws, 0)
    kinetics = load_kinetics()
    done = np.isfinite(cook.pull_s)
    assert _kill(cook, done, kinetics) == 12.0
    assert _kill(cook, np.arange(20) < 19, kinetics) == 12.0
    assert _kill(cook, np.arange(20) < 18, kinetics) == 0.0


def test_a_hold_is_that_of_the_piece_with_its_wrap_or_foil_in_a_box(
    item: PlannedPiece, monkeypatch: pytest.MonkeyPatch
) -> None:
    asked: list[dict[str, object]] = []
    reached: list[bool | None] = [True, None]

    def boxed(*_: object, **given: object) -> SimpleNamespace:
        asked.append(given)
        records = [SimpleNamespace(reached=one) for one in reached]
        result = SimpleNamespace(
            records=records, mass_loss_fraction=[0.1, 0.3], surface_water_activity=[0.8, 0.9]
        )
        return SimpleNamespace(result=result)

    monkeypatch.setattr(module, "hold_in_box", boxed)
    monkeypatch.setattr(module, "tenderness", lambda _: SimpleNamespace(middle=[0.5, 0.7]))
    cooked = SimpleNamespace(pull_core_c=88.0)
    held = partial(module._held, pit=PitPlan(110.0), cooked=cooked)
    paper = dataclasses.replace(item, wrap="paper", wrap_at_core_c=70.0)
    assert held(Way("bare"), item) == (0.3, 0.9, 0.7)
    held(Way("paper"), paper)
    held(Way("long", hold_s=7200.0), paper)
    assert [given["wrap"] for given in asked] == ["foil", "paper", "paper"]
    assert [given["duration_s"] for given in asked] == [1800.0, 1800.0, 7200.0]
    # A cook that does not get to one of its ends has no hold.
    for short in ([False, None], [True, False]):
        reached[:] = short
        assert all(math.isnan(value) for value in held(Way("bare"), item))


def test_as_many_draws_are_taken_as_are_asked_for(
    item: PlannedPiece, monkeypatch: pytest.MonkeyPatch
) -> None:
    def stopped(_: int, count: int, __: int) -> None:
        raise OverflowError(count)

    monkeypatch.setattr(module, "draw_days", stopped)
    usual = tables.load("plan", "numerics")
    for ask, name in ((compare_ways, "settled"), (search_ways, "search")):
        for members, count in ((7, 7), (None, usual[name])):
            with pytest.raises(OverflowError, match=rf"^{count:.0f}$"):
                ask(item, members=members)


# -- rows written down ---------------------------------------------------------------------


def row(name: str, hours: float = 6.0, **changes) -> WayOutcome:
    """Return a way that is ready after so long, an hour less or more."""
    fields = {
        "way": Way(name),
        "pull_core_c": 88.0,
        "warning": "",
        "doubt": "",
        "ready_s": np.array([3600.0 * hours]),
        "ready_band_s": tuple(3600.0 * (hours + more) for more in (-1.0, 0.0, 1.5)),
        "never": 0.0,
        "loss": (0.2, 0.254, 0.3),
        "crust_activity": (0.7, 0.756, 0.8),
        "tender": (0.4, 0.567, 0.7),
        "held_loss": 0.3,
        "held_crust": 0.876,
        "held_tender": 0.789,
        "kill_log": 6.5,
        "come_up": 1.0,
        "fuel_hours": 7.04,
    } | changes
    return WayOutcome(**fields)


NEVER = {
    "ready_band_s": (3600.0, math.inf, math.inf),
    "held_crust": math.nan,
    "held_tender": math.nan,
    "kill_log": math.nan,
    "fuel_hours": math.inf,
}


def beside(*rows: WayOutcome) -> Ways:
    return Ways(None, None, rows, "", ())


def test_the_cells_of_a_way_that_gets_there_and_of_one_that_never_does() -> None:
    told = ways_rows(beside(row("slow", **NEVER), row("quick", doubt="raw", pareto=True)))
    assert told == [
        ["quick (raw) *", "5.0, 6.0, 7.5", "2.5", "25", "0.76", "0.88", "57", "79", "6.5",
         "7.0"],
        ["slow", "1.0, never, never", "never", "25", "0.76", "never", "57", "never",
         "cannot tell", "never"],
    ]  # fmt: skip


def test_what_is_not_known_comes_last_whichever_way_it_is_sorted() -> None:
    rows = [
        row("none", kill_log=math.nan),
        row("much", kill_log=9.0),
        row("some", kill_log=5.0),
    ]
    for descending, names in (
        (False, ["some", "much", "none"]),
        (True, ["much", "some", "none"]),
    ):
        found = beside(*rows).sorted_by("kill", descending)
        assert [one.way.name for one in found] == names


def test_the_sentence_of_ways_names_what_is_best_in_what() -> None:
    rows = [
        row("quick", 4.04, pareto=True),
        row("juicy", 8.0, loss=(0.1, 0.186, 0.2)),
        row("crisp", 7.0, crust_activity=(0.5, 0.6, 0.7), pareto=True),
        # What never gets there is best in nothing, whatever it has lost.
        row("lost", loss=(0.0, 0.0, 0.0), crust_activity=(0.0, 0.0, 0.0), **NEVER),
    ]
    best = (
        "Quickest: quick, 4.0 h as often as not. Least loss: juicy, 19 %. Driest crust: crisp. "
        "No other way is better in all three than: quick; crisp."
    )
    late = "Not ready as often as not within the longest cook: lost."
    assert shown(_sentence(rows), "C") == f"{late} {best}"
    assert shown(_sentence(rows[:3]), "C") == best
    none = "None of these ways gets there within the longest cook."
    assert shown(_sentence(rows[3:]), "C") == none


def test_of_what_warns_the_first_is_said_and_all_are_named() -> None:
    rows = [
        row("a", warning="A is raw.", doubt="raw"),
        row("b", doubt="never ready"),
        row("c", warning="C is raw.", doubt="raw"),
        row("d", warning="D is slow.", doubt="come-up too slow"),
    ]
    said = shown(_sentence(rows), "C")
    assert said.startswith(
        "A is raw. Of these ways, raw: a; c. Of these ways, come-up too slow: d. Quickest: "
    )


def test_bands_and_fuel_are_those_of_the_draws_that_get_there(
    item: PlannedPiece, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Three draws in four; their mean is two hours, after a warm-up of one."""
    end = SimpleNamespace(warning="", doubt="")
    monkeypatch.setattr(module, "judged_end", lambda *_: end)
    monkeypatch.setattr(module, "_held", lambda *_: (0.1, 0.2, 0.3))
    fields = {
        "pull_core_c": 88.0,
        "pull_then_s": 0.0,
        "pull_s": np.array([3600.0, 7200.0, 10_800.0, math.inf]),
        "loss": np.array([0.1, 0.2, 0.3, 0.9]),
        "crust_activity": np.array([0.7, 0.8, 0.9, 0.1]),
        "tenderness": np.array([0.4, 0.5, 0.6, 0.0]),
        "come_up_s": np.array([6 * 3600.0, 6 * 3600.0 + 1.0, 60.0, math.inf]),
    }
    cook = SimpleNamespace(**fields)
    told = _outcome(Way("as it is"), item, PitPlan(110.0), cook, None)
    assert told.fuel_hours == 3.0
    assert told.never == 0.25
    assert told.ready_band_s == (3600.0, 7200.0, math.inf)
    assert told.loss == (0.1, 0.2, 0.3)
    assert told.crust_activity == (0.7, 0.8, 0.9)
    assert told.tender == (0.4, 0.5, 0.6)
    assert (told.held_loss, told.held_crust, told.held_tender) == (0.1, 0.2, 0.3)
    assert told.come_up == 0.5
    assert math.isnan(told.kill_log)
    none = SimpleNamespace(**(fields | {"pull_s": np.full(4, math.inf)}))
    never = _outcome(Way("as it is"), item, PitPlan(110.0), none, None)
    assert (never.fuel_hours, never.never) == (math.inf, 1.0)
    # Where none gets there, what was computed is shown all the same.
    assert never.loss == (0.1, 0.2, 0.9)
