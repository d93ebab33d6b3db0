"""Ways side by side, and the search for the best trade-offs."""

from __future__ import annotations

import math

import numpy as np
import pytest

import coreward as cw
from coreward.figures.ways import alt_text, figure_ways
from coreward.questions.compare_ways import (
    COLUMNS,
    Way,
    Ways,
    applied,
    compare_ways,
    search_ways,
    ways_rows,
)
from coreward.questions.pareto import nondominated, search_front, spread_weights
from coreward.questions.plan import Hold, PitPlan, PlannedPiece, Wanted

FEW = 30


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
    assert ways.sentence in alt_text(ways)


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
    side = int(math.sqrt(len(front.tried_goals)))
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
    assert nondominated(found.front.goals).all()
