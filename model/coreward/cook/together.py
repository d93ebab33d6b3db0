r"""Several pieces in one chamber: they share its air, and so each other's vapour.

Each piece has a portion of the chamber's air for itself, as large as its share of all
surface, and the portions exchange vapour. The exchange that makes them one air is what a
portion lacks of its part of all vapour,

.. math:: x_i = f_i \sum_j E_j - E_i ,

which sums to zero over the pieces whatever the `E_i` are: so the water of all pieces and of
the air closes as well as that of one, in every round, and not only at the end. `E_i` is what
the last round's cooks gave off; the rounds go on, with Anderson's mixing, until the portions
have one dew point. That is done window by window, each up to the next moment at which a
piece goes in, is wrapped, sprayed or done, so that within it all is smooth.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward.cook.march import (
    Part,
    State,
    Way,
    assemble,
    choose_engine,
    march_leg,
    row_spacing,
    start_state,
)
from coreward.cook.result import Balance, Result
from coreward.cook.simulate import DEFAULT_CELLS, DEFAULT_TOLERANCE, check_cook
from coreward.cook.stages import LONGEST_STAGE_S, Chamber, Piece, Stage, TimeSeries
from coreward.errors import InputError
from coreward.physics.body import Mesh, make_mesh
from coreward.physics.problem import LEDGER, Problem, Raw
from coreward.physics.water import saturation_temperature
from coreward.words import Text

Floats = NDArray[np.float64]

# How far the portions' dew points may lie apart, root mean square over the cook, when the
# rounds stop. A kelvin of dew point moves a wet surface by 0.9 K or less, and the spread is
# to both sides of the one air: a core is out by less than the 0.05 K that the default cells
# and tolerance leave. [K]
APART_K = 0.1
MOST_ROUNDS = 30
# Exchange is a polygon over these: every two minutes, closer after something begins. [s]
_KNOT_S = 120.0
_MOST_KNOTS = 500
_AFTER_S = (1.0, 3.0, 7.0, 15.0, 30.0, 60.0, 90.0, 120.0, 180.0)
_FADE_S = 1.0
# A long stretch takes more rounds than two of half its length. [s]
_LONGEST_WINDOW_S = 2 * 3600.0
_FURTHER_S = 300.0
_SAME_S = 1.0
_MEMORY = 6
_HOUR_S = 3600.0
_Q = {name: i for i, name in enumerate(LEDGER)}
_DRIEST_PA = 1.0

Plans = Stage | Sequence[Stage] | Sequence[Sequence[Stage]]


@dataclass(frozen=True)
class SharedCook:
    """Pieces that were cooked in one chamber; goes through its results like a tuple.

    Attributes
    ----------
    results : tuple of Result
        One for each piece, all on the clock of the chamber.
    balance : Balance
        Worst of the pieces' own; of the vapour, over all pieces, air, outlet and walls.
    apart_k, apart_most_k : float
        How far the dew points around the pieces lie apart, root mean square over time, and
        at the worst moment, which is one where a piece goes in or is wrapped. [K]
    rounds : int
        Times that all pieces were cooked, at most, through one window.
    """

    results: tuple[Result, ...]
    balance: Balance
    apart_k: float
    apart_most_k: float
    rounds: int

    def __iter__(self) -> Iterator[Result]:
        return iter(self.results)

    def __len__(self) -> int:
        return len(self.results)

    def __getitem__(self, number: int) -> Result:
        return self.results[number]


@dataclass
class _Guest:
    """One piece on its way through the chamber; changes window by window.

    `ahead` are its stages still to come; `way` is None where it is out.
    """

    piece: Piece
    plan: tuple[Stage, ...]
    mesh: Mesh
    portion: float
    units: float
    state: State
    way: Way | None
    ahead: list[Way]
    parts: list[Part]
    apart: list[Part]
    notes: list[Text]

    def accept(self, leg: _Leg) -> None:
        """Go on from where a leg ended."""
        if self.way is None:
            self.apart.append(leg.part)
        else:
            self.parts.append(leg.part)
            self.notes += [note for note in leg.notes if note not in self.notes]
            self.way = leg.way
            if leg.way.done:
                self.way = None
                if self.ahead:
                    self.way = replace(self.ahead.pop(0), begun_s=leg.state.time_s)
        self.state = leg.state


@dataclass(frozen=True)
class _Leg:
    """A guest cooked through one window, on trial."""

    part: Part
    state: State
    notes: list[Text]
    way: Way
    stopped: bool

    @property
    def end_s(self) -> float:
        return self.state.time_s


@dataclass(frozen=True)
class _Kitchen:
    """What all legs have in common."""

    chamber: Chamber
    fuel: TimeSeries
    solve: Callable[[Problem], Raw]
    tolerance: float
    spacing: float

    def leg(self, guest: _Guest, knots: Floats, exchange: Floats, stop_s: float) -> _Leg:
        """Cook one piece on in its portion, with an exchange over the clock. [s], [kg/h]."""
        way = guest.way
        if way is None:
            way = Way(_idle(self.chamber, LONGEST_STAGE_S, "out"), "out", guest.state.time_s)
        series = TimeSeries(knots, exchange)
        times = np.unique(np.concatenate([self.fuel.time_s, knots]))
        brought = TimeSeries(times, self.fuel.at(times) + series.at(times) / guest.portion)
        around = way.stage.surroundings
        assert isinstance(around, Chamber)
        # As a series it is not checked again: a portion may give more than the fuel brings.
        around = replace(
            around,
            water_kg_h=brought,  # type: ignore[arg-type]
            portion=guest.portion,
        )
        used = replace(way, stage=replace(way.stage, surroundings=around), origin_s=0.0)
        part, state, notes, after = march_leg(
            guest.piece,
            used,
            guest.mesh,
            guest.state,
            self.solve,
            self.tolerance,
            self.spacing,
            stop_s,
        )
        stopped = state.time_s >= stop_s - 1e-6 and not after.done
        return _Leg(part, state, notes, replace(after, stage=way.stage), stopped)


def _idle(chamber: Chamber, seconds: float, label: str) -> Stage:
    """A stage in which nothing reaches the piece or leaves it: it is not in the pit."""
    apart = replace(chamber, heat_transfer=0.0, emissivity=0.0, evaporation=False)
    return Stage(apart, duration_s=seconds, label=label)


def _knots(begin_s: float, end_s: float) -> Floats:
    """Of a window: close together where it begins, nothing exchanged after it ends."""
    spacing = max(_KNOT_S, (end_s - begin_s) / _MOST_KNOTS)
    knots = np.concatenate(
        [begin_s + np.array(_AFTER_S), np.arange(begin_s + 2.0 * _KNOT_S, end_s, spacing)]
    )
    knots = knots[knots < end_s - 1.0]
    return np.concatenate(([begin_s], knots, [end_s, end_s + _FADE_S]))


def _rates(legs: Sequence[_Leg], guests: Sequence[_Guest], knots: Floats) -> Floats:
    """Vapour that each piece gives off, mean around each knot; none after. [kg/h]."""
    inner = knots[:-1]
    edges = np.concatenate(([inner[0]], 0.5 * (inner[1:] + inner[:-1]), [inner[-1]]))
    rows = []
    for leg, guest in zip(legs, guests, strict=True):
        raw = leg.part.raw
        book = raw.ledger[:, _Q["evaporated"]] + raw.ledger[:, _Q["boiled"]]
        gone = np.interp(edges, leg.part.record.begin_s + raw.time_s, book)
        rates = _HOUR_S * guest.units * np.diff(gone) / np.diff(edges)
        rows.append(np.append(rates, 0.0))
    return np.array(rows)


def _apart(legs: Sequence[_Leg], knots: Floats) -> tuple[float, float]:
    """Mean square over a window, and worst, of the spread of dew points. [K²], [K]."""
    at = knots[:-1]
    dew = np.array(
        [
            [
                saturation_temperature(max(float(p), _DRIEST_PA))
                for p in np.interp(
                    at, leg.part.record.begin_s + leg.part.time_s, leg.part.env[:, 2]
                )
            ]
            for leg in legs
        ]
    )
    spread = dew.max(axis=0) - dew.min(axis=0)
    mean = np.trapezoid(spread**2, at) / (at[-1] - at[0])
    return float(mean), float(spread.max())


class _Mixing:
    """Anderson's mixing of a fixed-point iteration; keeps sums that are zero at zero."""

    def __init__(self, weight: Floats) -> None:
        self.weight = weight
        self.points: list[Floats] = []
        self.steps: list[Floats] = []

    def next(self, point: Floats, image: Floats) -> Floats:
        self.points = [*self.points[-_MEMORY:], point]
        self.steps = [*self.steps[-_MEMORY:], image - point]
        if len(self.points) == 1:
            return image
        last = self.steps[-1]
        falls = np.array([last - step for step in self.steps[:-1]])
        moves = np.array([point - other for other in self.points[:-1]])
        a = (falls * self.weight).reshape(len(falls), -1).T
        gamma = np.linalg.lstsq(a, (last * self.weight).ravel(), rcond=1e-8)[0]
        mixed: Floats = image - np.tensordot(gamma, moves + falls, axes=1)
        return mixed


def _plans(stages: Plans, count: int) -> list[tuple[Stage, ...]]:
    given: Sequence[Stage | Sequence[Stage]]
    given = [stages] if isinstance(stages, Stage) else list(stages)
    common = [one for one in given if isinstance(one, Stage)]
    if given and len(common) == len(given):
        return [tuple(common)] * count
    if len(given) != count:
        raise InputError(
            f"There are {count} pieces and {len(given)} lists of stages; give one list for "
            "all, or one for each piece."
        )
    return [(one,) if isinstance(one, Stage) else tuple(one) for one in given]


def _guests(
    pieces: Sequence[Piece],
    chamber: Chamber,
    stages: Plans,
    start_s: float | Sequence[float],
    cells: int,
    tolerance: float,
) -> list[_Guest]:
    if not isinstance(chamber, Chamber):
        raise InputError("What pieces share must be a Chamber(...).")
    pieces = list(pieces)
    if not pieces:
        raise InputError("There is nothing in the chamber: give at least one Piece(...).")
    starts = np.broadcast_to(np.asarray(start_s, dtype=float), (len(pieces),))
    areas = []
    plans = _plans(stages, len(pieces))
    for piece, plan, start in zip(pieces, plans, starts, strict=True):
        check_cook(piece, plan, tolerance)
        if any(stage.surroundings is not chamber for stage in plan):
            raise InputError(
                "Every stage of a shared cook must be in the same chamber: give each Stage the "
                "very Chamber that is shared."
            )
        if not (math.isfinite(start) and 0.0 <= start <= LONGEST_STAGE_S):
            raise InputError(
                f"A piece goes in between 0 and {LONGEST_STAGE_S / _HOUR_S:g} hours after the "
                f"first; it is {start} s."
            )
        area = piece.surface_m2
        if area is None:
            raise InputError(
                "Pieces share a chamber by their surface, and for that their size must be "
                "known: give each piece its raw mass (mass_kg)."
            )
        if not piece.material.moist:
            raise InputError("A solid of constant properties gives off no vapour to share.")
        areas.append(area)
    guests = []
    for piece, plan, start, area in zip(pieces, plans, starts, areas, strict=True):
        mesh = make_mesh(piece.shape, cells)
        if start > 0.0:
            plan = (_idle(chamber, float(start), "not in yet"), *plan)
        ways = [
            Way(stage, stage.label or f"stage {number + 1}", 0.0)
            for number, stage in enumerate(plan)
        ]
        guests.append(
            _Guest(
                piece,
                plan,
                mesh,
                area / sum(areas),
                area / mesh.surface_area,
                start_state(piece, cells),
                ways[0],
                ways[1:],
                [],
                [],
                [],
            )
        )
    return guests


def cook_together(
    pieces: Sequence[Piece],
    chamber: Chamber,
    stages: Plans,
    *,
    start_s: float | Sequence[float] = 0.0,
    engine: str = "fast",
    cells: int = DEFAULT_CELLS,
    tolerance: float = DEFAULT_TOLERANCE,
    apart_k: float = APART_K,
) -> SharedCook:
    """Cook several pieces, alike or not, that share the air of one chamber.

    Parameters
    ----------
    pieces : sequence of Piece
        Each with its raw mass.
    chamber : Chamber
        Its time series run on the chamber's clock, which starts when the first piece may go
        in, and not with each stage.
    stages : Stage, sequence of Stage, or one sequence for each piece
        All in `chamber`; each piece has its own wraps, sprays and ends.
    start_s : float or sequence of float
        When each piece goes in. [s]
    engine, cells, tolerance
        See :func:`coreward.simulate`.
    apart_k : float
        How far the dew points around the pieces may lie apart. [K]

    Returns
    -------
    SharedCook
        A piece that goes in later waits in a stage called "not in yet".

    Raises
    ------
    InputError, TableError, SolverError
    """
    guests = _guests(pieces, chamber, stages, start_s, cells, tolerance)
    if not apart_k > 0.0:
        raise InputError(f"The dew points cannot lie {apart_k} K apart: give more than zero.")
    kitchen = _Kitchen(
        chamber,
        chamber.series()["brought"],
        choose_engine(engine),
        tolerance,
        max(row_spacing(guest.plan) for guest in guests),
    )
    clock = worst = square = 0.0
    most = 0
    while any(guest.way is not None for guest in guests):
        legs, spread, rounds = _window(guests, kitchen, clock, apart_k)
        for guest, leg in zip(guests, legs, strict=True):
            guest.accept(leg)
        end_s = max(leg.end_s for leg in legs)
        square += spread[0] * (end_s - clock)
        clock, worst, most = end_s, max(worst, spread[1]), max(most, rounds)
    apart = math.sqrt(square / clock) if clock > 0.0 else 0.0
    notes: list[Text] = []
    if apart > apart_k:
        notes.append(
            f"The air around the pieces could not be made one: dew points {apart:.2g} K apart "
            "on average."
        )
    results = tuple(
        assemble(
            guest.piece,
            guest.plan,
            guest.parts,
            guest.mesh,
            engine,
            tolerance,
            [*guest.notes, *notes],
        )
        for guest in guests
    )
    return SharedCook(results, _whole(guests, results), apart, worst, most)


def _window(
    guests: Sequence[_Guest], kitchen: _Kitchen, begin_s: float, apart_k: float
) -> tuple[list[_Leg], tuple[float, float], int]:
    """Cook all pieces on to the next moment at which something begins or ends for one.

    Returns
    -------
    legs : list of _Leg
        All end at one moment.
    spread : tuple of float
        See `_apart`.
    rounds : int
    """
    count = len(guests)
    alone = count == 1
    limit = math.inf if alone else begin_s + _LONGEST_WINDOW_S
    knots, exchange = np.zeros(1), np.zeros((count, 1))
    portions = np.array([[guest.portion] for guest in guests])
    end_s, stop_s, rounds = -math.inf, limit, 0
    mixing = _Mixing(np.ones(1))
    while True:
        rounds += 1
        used, used_knots = exchange, knots
        legs = [
            kitchen.leg(guest, knots, row, stop_s)
            for guest, row in zip(guests, exchange, strict=True)
        ]
        # Pieces that are out follow the others.
        now = min(
            leg.end_s for leg, guest in zip(legs, guests, strict=True) if guest.way or alone
        )
        if alone or now <= begin_s + _SAME_S:
            spread = (0.0, 0.0)
            break
        moved = abs(now - end_s) > _SAME_S
        if moved:
            end_s, knots = now, _knots(begin_s, now)
            mixing = _Mixing(np.sqrt(np.gradient(knots)))
        spread = _apart(legs, knots)
        if (spread[0] <= apart_k**2 and not moved) or rounds >= MOST_ROUNDS:
            break
        rates = _rates(legs, guests, knots)
        image = portions * rates.sum(axis=0) - rates
        exchange = image if moved else mixing.next(exchange, image)
        # A little further, in case that the next thing happens later.
        stop_s = min(limit, end_s + _FURTHER_S)
    # The same cooks again, cut where the first of them has something to change.
    cut = [
        leg if abs(leg.end_s - now) <= 1e-6 else kitchen.leg(guest, used_knots, row, now)
        for leg, guest, row in zip(legs, guests, used, strict=True)
    ]
    return cut, spread, rounds


def _whole(guests: Sequence[_Guest], results: Sequence[Result]) -> Balance:
    """Close the vapour over all pieces, where the exchange between them sums to nothing."""
    came = went = kept = 0.0
    for guest in guests:
        for part in [*guest.parts, *guest.apart]:
            book = guest.units * part.raw.ledger[-1]
            came += book[_Q["vapour_in"]] + book[_Q["evaporated"]] + book[_Q["boiled"]]
            went += book[_Q["vapour_out"]] + book[_Q["condensed"]]
            assert part.raw.vapour is not None
            kept += guest.units * (part.raw.vapour[-1] - part.raw.vapour[0])
    return Balance(
        energy=max(result.balance.energy for result in results),
        water=max(result.balance.water for result in results),
        vapour=float(abs(kept - came + went) / max(came, went, 1e-30)),
    )
