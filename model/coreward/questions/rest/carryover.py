"""When should it be pulled? What the core does after the fire, and the pull for a peak.

Carryover comes out of the temperature profile at the pull: the outer layers are hotter
than the core and go on warming it. How much is left for that depends on how hot the
surface ran, and evaporation keeps it cooler, in the oven and in the rest.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, TypeVar

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq

from coreward import tables
from coreward.cook.march import convection
from coreward.cook.rest import (
    BoxPlan,
    Place,
    Rest,
    coldest_around,
    cook_and_rest,
    rest_stage,
)
from coreward.cook.result import Result
from coreward.cook.stages import Around, Liquid, Piece, Stage, Surroundings, Wrap
from coreward.errors import InputError
from coreward.physics.lethality import (
    Kinetics,
    chosen_kinetics,
    log_reduction,
)
from coreward.physics.meat import constant_material
from coreward.physics.statement import conductivity, heat_capacity
from coreward.questions.rest.wrapping import up_to
from coreward.questions.verdict import CAUTION
from coreward.words import (
    Degrees,
    DegreesBetween,
    Difference,
    Earned,
    Lasting,
    Reading,
    Say,
    say,
    together,
)

Floats = NDArray[np.float64]

_LEVEL_STEP_C = 5.0
_LOWEST_LEVEL_C = 50.0
_XTOL_K = 0.02
# A step towards the pull goes a little beyond where a straight line would put it, so that
# the pull lies between this step and the one before.
_BEYOND = 1.3
# A core that gained less than this in the last tenth of the rest has peaked.
_FLAT_K = 0.02
# The band is of first order: the pull's shift is the peak's, over how much the peak moves
# when the pull is moved by this much. A peak that hardly moves leaves the pull open.
_SLOPE_STEP_K = 1.0
_LEAST_SLOPE = 0.05
MOST_LOG = 12.0
"""No count of survivors goes beyond a dozen log."""
_DRY_REFERENCE_C = 35.0  # between a cold start and a done core: properties of the dry twin


@dataclass(frozen=True)
class Carryover:
    """What the core did after the pull."""

    result: Result
    """The whole cook and rest."""
    rest_from: int
    """Index of the first stage of the rest."""
    pull_s: float
    pull_core_c: float
    """When it was pulled [s] and the core then. [°C]"""
    peak_core_c: float
    peak_after_s: float
    """Highest core of the rest [°C], and how long after the pull. [s]"""
    rise_k: float
    """Peak less core at the pull. [K]"""
    still_rising: bool
    """Whether the core had not peaked when the rest ended."""
    levels_c: Floats
    above_s: Floats
    above_in_rest_s: Floats
    """How long the core was at or above each level [°C]: in all, and in the rest. [s]"""
    loss_in_rest: float
    evaporated_in_rest: float
    """Of the raw mass. [-]"""
    sure_peak_c: float
    """Peak with the least of the rise that measured roasts show. [°C]"""
    lethality_log: float
    lethality_in_rest_log: float
    """Tenfold reductions at the core, in all and gathered in the rest, by `kinetics`; of the
    rest only what the least rise and the fastest cooling leave. Not a number where no kinetics
    serve the meat."""
    kinetics: str
    organism: str
    """Name of the kinetics, and the organism in its food; empty where none serve the meat."""
    sentence: Say
    share: float = 1.0
    """What of the computed rise is counted on by whoever asked. [-]"""

    @property
    def likely_core_c(self) -> Floats:
        """The core, with that share of its rise after the pull. [°C]."""
        time, core = self.result.time_s, self.result.core_c
        rising = (time >= self.pull_s) & (core > self.pull_core_c)
        return np.where(rising, self.pull_core_c + self.share * (core - self.pull_core_c), core)

    @property
    def likely_peak_c(self) -> float:
        """Highest of it in the rest. [°C]."""
        return self.pull_core_c + self.share * max(self.rise_k, 0.0)

    @property
    def covered_s(self) -> float:
        """When the crust is first left to soften: at the first wrap, or at the pull. [s]."""
        records = self.result.records[: self.rest_from]
        return min([r.begin_s for r in records if r.wrap != "none"] + [self.pull_s])


def time_at_or_above(time_s: Floats, value_c: Floats, levels_c: ArrayLike) -> Floats:
    """How long a curve, straight between its points, is at or above each level. [s]."""
    levels = np.atleast_1d(np.asarray(levels_c, dtype=float))
    if len(time_s) < 2:
        return np.zeros(len(levels))
    width = np.diff(time_s)
    low = np.minimum(value_c[:-1], value_c[1:])
    high = np.maximum(value_c[:-1], value_c[1:])
    span = np.maximum(high - low, 1e-12)
    share = np.clip((high[None, :] - levels[:, None]) / span[None, :], 0.0, 1.0)
    # A step that is flat counts whole or not at all.
    flat = (high - low) < 1e-12
    share = np.where(flat[None, :], (low[None, :] >= levels[:, None]).astype(float), share)
    out: Floats = share @ width
    return out


def carryover(
    result: Result,
    rest_from: int = -1,
    *,
    levels_c: ArrayLike | None = None,
    kinetics: Kinetics | str | None = None,
) -> Carryover:
    """Read the carryover off a cook with a rest.

    Parameters
    ----------
    rest_from : int
        Index of the first stage after the pull; -1 means that the last stage is the rest.
    levels_c : array_like, optional
        Levels for the times above [°C]; each 5 K from 50 °C to the peak if None.
    kinetics : Kinetics or str, optional
        For the lethality; what table ``kinetics`` says of that meat if None.

    Raises
    ------
    InputError
        If there is no such stage, or none before it.
    OutOfRangeError
        For kinetics that were not made for that meat.
    """
    count = len(result.records)
    first = rest_from + count if rest_from < 0 else rest_from
    if not 0 < first < count:
        raise InputError(
            f"Stage {rest_from} of {count} cannot be the first of the rest: there must be a "
            "stage before it and it must exist."
        )
    time, core = result.time_s, result.core_c
    rest_time, rest_core = _rest_curve(result, first)
    pull, pull_c = float(rest_time[0]), float(rest_core[0])
    top = int(np.argmax(rest_core))
    peak, when = float(rest_core[top]), float(rest_time[top] - pull)
    length = float(rest_time[-1] - pull)
    late = float(np.interp(pull + 0.9 * length, rest_time, rest_core))
    rising = length > 0.0 and float(rest_core[-1]) - late > _FLAT_K
    if levels_c is None:
        highest = max(math.floor(float(core.max()) / _LEVEL_STEP_C) * _LEVEL_STEP_C, 0.0)
        levels = np.arange(_LOWEST_LEVEL_C, highest + 0.1, _LEVEL_STEP_C)
    else:
        levels = np.atleast_1d(np.asarray(levels_c, dtype=float))
    chosen = chosen_kinetics(kinetics, result.piece.material.species)
    before = time <= pull
    earlier = np.append(time[before], pull), np.append(core[before], pull_c)
    fresh = np.concatenate(([True], np.diff(earlier[0]) > 0.0))
    at_pull = _reduction(earlier[0][fresh], earlier[1][fresh], chosen)
    sure = _sure_rest(result, first, rest_time, rest_core)
    in_rest = _reduction(*sure, chosen)

    def gained(curve: Floats) -> float:
        return float(curve[-1] - np.interp(pull, time, curve))

    draft = Carryover(
        result=result,
        rest_from=first,
        pull_s=pull,
        pull_core_c=pull_c,
        peak_core_c=peak,
        peak_after_s=when,
        rise_k=peak - pull_c,
        still_rising=rising,
        levels_c=levels,
        above_s=time_at_or_above(time, core, levels),
        above_in_rest_s=time_at_or_above(rest_time, rest_core, levels),
        loss_in_rest=gained(result.mass_loss_fraction),
        evaporated_in_rest=gained(result.evaporated_fraction),
        sure_peak_c=float(sure[1].max()),
        lethality_log=at_pull + in_rest,
        lethality_in_rest_log=in_rest,
        kinetics="" if chosen is None else chosen.name,
        organism="" if chosen is None else f"{chosen.organism} in {chosen.food}",
        sentence=say(""),
    )
    return replace(draft, sentence=_sentence(draft))


def _rest_curve(result: Result, rest_from: int) -> tuple[Floats, Floats]:
    """Times since the start of the cook [s] and the core [°C], from the pull on."""
    pull = result.records[rest_from].begin_s
    inside = result.time_s >= pull
    at_pull = np.interp(pull, result.time_s, result.core_c)
    return (
        np.concatenate(([pull], result.time_s[inside])),
        np.concatenate(([at_pull], result.core_c[inside])),
    )


def _sure_rest(
    result: Result, rest_from: int, time_s: Floats, core_c: Floats
) -> tuple[Floats, Floats]:
    """Return the rest as the least of measured rises and the fastest cooling leave it.

    A place that is itself as hot as the core at the pull goes on cooking it: no carryover.
    """
    pull_s, pull_c = float(time_s[0]), float(core_c[0])
    if all(coldest_around(stage) >= pull_c for stage in result.stages[rest_from:]):
        return time_s, core_c
    low = tables.load("carryover")["rise_low"]
    fast = tables.load("holding")["fast_cooked"]
    core = np.where(core_c > pull_c, pull_c + low * (core_c - pull_c), core_c)
    return pull_s + fast * (time_s - pull_s), core


def _reduction(time_s: Floats, core_c: Floats, kinetics: Kinetics | None) -> float:
    if kinetics is None:
        return math.nan
    return log_reduction(time_s, core_c, kinetics) if len(time_s) > 1 else 0.0


def _sentence(c: Carryover) -> Say:
    parts = [
        say(
            "Pulled at {0}, the core goes to {1}, a rise of {2}, {3} later{4}",
            Degrees(c.pull_core_c, 1),
            Reading(c.peak_core_c),
            Difference(c.rise_k),
            Lasting(c.peak_after_s),
            " and still rises when the rest ends." if c.still_rising else ".",
        )
    ]
    parts += _sure_words(c)
    parts.append(
        say(
            f"In the rest the piece loses {100.0 * c.loss_in_rest:.1f} % of its raw mass, "
            f"{100.0 * c.evaporated_in_rest:.1f} % as vapour."
        )
    )
    return together(parts)


def _sure_words(c: Carryover) -> list[Say]:
    """Say what of a computed peak may be counted on; nothing where it does not rise."""
    if c.peak_core_c - c.sure_peak_c < _FLAT_K:
        return []
    u = tables.load("carryover")
    least, most = u["rise_low"], u["rise_high"]
    measured = f"Measured roasts rose by {least:g} to {most:g} of what the model says"
    if c.share == 1.0:
        return [say(measured + ": count on a peak of {0} only.", Reading(c.sure_peak_c))]
    return [
        say(
            measured
            + f" ({{0}}): {c.share:g} of it is taken here, and for sure count on a peak "
            "of {1} only.",
            Difference(c.rise_k),
            Reading(c.sure_peak_c),
        )
    ]


def _cooks_on(rest: Rest, peak_c: float) -> bool:
    """Whether the places of a rest are as hot as a peak that is wanted."""
    if isinstance(rest, BoxPlan):
        return False
    stages = (rest,) if isinstance(rest, Stage) else tuple(rest)
    return all(coldest_around(stage) >= peak_c for stage in stages)


def heat_words(c: Carryover) -> Say:
    """Say what the heat at the core is worth, by which kinetics, and what that rests on."""
    if not c.kinetics:
        return say(
            "No kinetics were measured in this meat: nothing is said of bacteria in it. "
            f"{CAUTION}"
        )
    return say(
        "At the core the heat is worth {0} of {1} ({2}), {3} of it from the rest. That is an "
        "outlook and no verdict: it rests on a computed core, counts of the rest only what "
        f"the least rise and the fastest cooling measured leave, and no probe error. {CAUTION}",
        Earned(c.lethality_log, "log", MOST_LOG),
        c.organism,
        c.kinetics,
        Earned(c.lethality_in_rest_log, "log", MOST_LOG),
    )


@dataclass(frozen=True)
class TwoCarryovers:
    """The same pull with the model, and as conduction in a dry solid."""

    wet: Carryover
    dry: Carryover
    sentence: Say


def dry_twin(piece: Piece) -> Piece:
    """Return a solid of the same size with the raw meat's properties, fixed, and no water."""
    m = piece.material.constants
    t = _DRY_REFERENCE_C
    density = piece.material.raw_density
    solid = constant_material(
        conductivity(t, m.raw_water, t, m),
        density,
        heat_capacity(t, m.raw_water, t, m) / density,
    )
    return Piece(piece.shape, solid, piece.start_c)


def _without_water(stage: Stage) -> Stage:
    around = stage.surroundings
    return replace(stage, surroundings=replace(around, evaporation=False))


def carryover_of(
    piece: Piece,
    stages: Stage | Sequence[Stage],
    rest: Rest,
    **options: Any,
) -> TwoCarryovers:
    """Cook, pull and rest; and beside it the same pull for dry conduction.

    Returns
    -------
    TwoCarryovers
        The dry one is pulled at the same core temperature.

    Raises
    ------
    InputError
        For a dry comparison that does not come to the pull temperature.
    """
    before = (stages,) if isinstance(stages, Stage) else tuple(stages)
    wet_result = cook_and_rest(piece, before, rest, **options)
    wet = carryover(wet_result, len(before))
    longest = tables.load("carryover")["longest_cook"]
    last = replace(_without_water(before[-1]), duration_s=longest, until_core_c=wet.pull_core_c)
    dry_stages = [_without_water(stage) for stage in before[:-1]] + [last]
    # A twin that is there already before its last stage must not wait for it to cool.
    if len(before) > 1:
        dry_stages = [replace(s, until_core_c=wet.pull_core_c) for s in dry_stages]
    if isinstance(rest, Stage):
        dry_rest: Rest = _without_water(rest)
    elif isinstance(rest, BoxPlan):
        dry_rest = rest
    else:
        dry_rest = [_without_water(stage) for stage in rest]
    dry_result = cook_and_rest(dry_twin(piece), dry_stages, dry_rest, **options)
    dry = carryover(dry_result, len(before), kinetics=wet.kinetics or None)
    return TwoCarryovers(wet, dry, _both(wet, dry))


def _both(wet: Carryover, dry: Carryover) -> Say:
    surface_wet = float(np.interp(wet.pull_s, wet.result.time_s, wet.result.surface_c))
    surface_dry = float(np.interp(dry.pull_s, dry.result.time_s, dry.result.surface_c))
    return say(
        "From the same pull the model rises by {0}, a dry solid by {1}. Evaporation kept the "
        "surface at {2} instead of {3} at the pull, so less heat is stored outside the core, "
        "and it goes on cooling the surface in the rest.",
        Difference(wet.rise_k),
        Difference(dry.rise_k),
        Degrees(surface_wet),
        Degrees(surface_dry),
    )


@dataclass(frozen=True)
class PullAnswer:
    """The pull temperature for a wanted peak."""

    reached: bool
    """False where no pull temperature gives that peak; `sentence` says why."""
    said: tuple[Say, ...]
    """The answer, and after it what else is to be known."""
    peak_c: float
    """What was wanted. [°C]"""
    pull_c: float = math.nan
    low_c: float = math.nan
    high_c: float = math.nan
    """Pull temperature and its band [°C]; not a number where not reached."""
    carryover: Carryover | None = None
    """That cook; where not reached, the nearest one that was run, if any."""
    deviations: tuple[tuple[str, float], ...] = ()
    """What was tried for the band, and by how much it moves the pull. [K]"""

    @property
    def sentence(self) -> Say:
        """All that is said, as one."""
        return together(self.said)


@dataclass(frozen=True)
class _Case:
    """One cook to be pulled: everything but the pull temperature."""

    piece: Piece
    before: tuple[Stage, ...]
    pit: Surroundings
    wrap: Wrap
    rest: Rest
    longest_s: float
    options: dict[str, Any]
    liquid: Liquid | None = None
    share: float = 1.0

    def cooked(self, pull_c: float) -> tuple[Result, int]:
        """Return the cook and its rest, and the index of the first stage of the rest."""
        stage = Stage(
            self.pit,
            duration_s=self.longest_s,
            until_core_c=pull_c,
            wrap=self.wrap,
            label="pit",
            liquid=self.liquid,
        )
        stages = up_to(self.piece, (*self.before, stage), pull_c)
        return cook_and_rest(self.piece, stages, self.rest, **self.options), len(stages)

    def pulled_at(self, pull_c: float) -> Carryover:
        return replace(carryover(*self.cooked(pull_c)), share=self.share)


@dataclass(frozen=True)
class _Tried:
    """A cook that was run in search of a pull."""

    result: Result
    rest_from: int
    pulled_c: float
    excess_k: float

    @classmethod
    def at(cls, case: _Case, pull_c: float, peak_c: float) -> _Tried:
        result, rest_from = case.cooked(pull_c)
        core = _rest_curve(result, rest_from)[1]
        pulled = float(core[0])
        likely = pulled + case.share * (float(core.max()) - pulled)
        return cls(result, rest_from, pulled, likely - peak_c)

    def carryover(self, case: _Case) -> Carryover:
        return replace(carryover(self.result, self.rest_from), share=case.share)


def _solve(case: _Case, peak_c: float) -> tuple[float, Carryover] | Carryover | None:
    """Pull and its cook; or the hottest cook that falls short; or None if none is needed.

    Each cook that is tried costs as much as all the rest of the answer, so what is known
    of the curve is used: over a few kelvins the peak moves nearly in proportion to the
    pull, and by less than the pull.
    """
    full = _Tried.at(case, peak_c, peak_c)
    if full.excess_k < -_XTOL_K:
        return full.carryover(case)
    top = min(peak_c, full.pulled_c)
    if full.excess_k <= 0.0:
        # Short by less than the root is sought to: nothing is left to carry over.
        return top, full.carryover(case)
    # By the pull; the root finder asks for the ends of its bracket again.
    tried = {top: full}

    def excess(pull_c: float) -> float:
        if pull_c not in tried:
            tried[pull_c] = _Tried.at(case, pull_c, peak_c)
        return tried[pull_c].excess_k

    lowest = case.piece.start_c + 0.5
    above = full.excess_k
    bottom = max(top - above - _XTOL_K, lowest)
    while (left := excess(bottom)) > 0.0:
        if bottom <= lowest:
            return None
        # As steep as found between the two, and a little beyond; at most threefold, since
        # a peak that hardly moves tells no direction.
        span = top - bottom
        ahead = span * min(_BEYOND * left / max(above - left, 1e-9), 3.0)
        top, above = bottom, left
        bottom = max(bottom - max(ahead, _XTOL_K), lowest)
    # As near to the peak as the root is sought to, at the steepness found: a further cook
    # would only confirm it.
    enough_k = _XTOL_K * (above - left) / (top - bottom)

    def beyond(pull_c: float) -> float:
        off_k = excess(pull_c)
        return off_k if abs(off_k) > enough_k else 0.0

    pull_c = float(brentq(beyond, bottom, top, xtol=_XTOL_K))
    excess(pull_c)
    found = tried[pull_c]
    return pull_c, found.carryover(case)


_Place = TypeVar("_Place", bound=Around)


def _scaled(around: _Place, piece: Piece, factor: float) -> _Place:
    """Return surroundings with another coefficient."""
    h = around.heat_transfer
    if h is None:
        air = around.series()["air_c"]
        values = convection(piece, around, air.value)
        h = float(values[0]) if len(values) == 1 else (air.time_s, values)
    if isinstance(h, tuple):
        return replace(around, heat_transfer=(h[0], np.asarray(h[1]) * factor))
    return replace(around, heat_transfer=float(h) * factor)


def _moister(around: Surroundings, change_k: float) -> Surroundings | None:
    """Return surroundings of another dew point; None where that is out of the question."""
    series = around.series()
    dew, air = series["dew_point_c"], series["air_c"]
    if len(dew.value) > 1 or len(air.value) > 1:
        return None
    new = min(float(dew.value[0]) + change_k, float(air.value[0]))
    return replace(around, dew_point_c=new)


def _corners(case: _Case) -> list[tuple[str, list[_Case]]]:
    """Cases with one number changed, both ways."""
    u = tables.load("carryover")
    out: list[tuple[str, list[_Case]]] = []
    share = u["heat_transfer_share"]
    out.append(
        (
            "heat transfer in the pit",
            [
                replace(case, pit=_scaled(case.pit, case.piece, factor))
                for factor in (1.0 - share, 1.0 + share)
            ],
        )
    )
    size = u["size_share"]
    shape = case.piece.shape
    out.append(
        (
            "size of the piece",
            [
                replace(case, piece=replace(case.piece, shape=shape.scaled(f)))
                for f in (1.0 - size, 1.0 + size)
            ],
        )
    )
    if case.piece.material.moist and case.pit.evaporation:
        change = u["dew_point_change"]
        moister = [_moister(case.pit, change), _moister(case.pit, -change)]
        pits = [pit for pit in moister if pit is not None]
        if pits:
            out.append(("dew point of the pit", [replace(case, pit=pit) for pit in pits]))
        material = case.piece.material
        c = material.constants
        step = u["surface_share_change"]
        shares = [min(max(c.surface_share + d, 0.0), 1.0) for d in (-step, step)]
        out.append(
            (
                "expelled water that reaches the surface",
                [
                    replace(
                        case,
                        piece=replace(
                            case.piece,
                            material=replace(material, constants=c._replace(surface_share=s)),
                        ),
                    )
                    for s in shares
                    if s != c.surface_share
                ],
            )
        )
    out += _corners_of_the_rest(case, share, u["box_wall_share"])
    return out


def _corners_of_the_rest(
    case: _Case, share: float, wall_share: float
) -> list[tuple[str, list[_Case]]]:
    rest = case.rest
    if isinstance(rest, BoxPlan):
        given = rest.box
        box = given if isinstance(given, tables.ParameterSet) else tables.load("box", given)

        def boxes(name: str, part: float) -> list[_Case]:
            return [
                replace(case, rest=replace(rest, box=box.replace(**{name: box[name] * f})))
                for f in (1.0 - part, 1.0 + part)
            ]

        return [
            ("heat transfer in the box", boxes("gap_coefficient", share)),
            ("the wall of the box", boxes("wall_conductance", wall_share)),
        ]
    stages = (rest,) if isinstance(rest, Stage) else tuple(rest)

    def scaled(factor: float) -> tuple[Stage, ...]:
        return tuple(
            replace(s, surroundings=_scaled(s.surroundings, case.piece, factor)) for s in stages
        )

    return [
        (
            "heat transfer in the rest",
            [replace(case, rest=scaled(f)) for f in (1.0 - share, 1.0 + share)],
        )
    ]


def _deviations(case: _Case, answer: Carryover, pull_c: float) -> list[tuple[str, float]]:
    """By how much each uncertainty moves the pull, of first order. [K].

    Of differences the body of one dimension is judge enough: a score of sections would take
    as many seconds.
    """
    if answer.result.engine == "section":
        case = replace(case, options=case.options | {"engine": "fast"})
        answer = case.pulled_at(pull_c)
    step = min(_SLOPE_STEP_K, 0.5 * (pull_c - case.piece.start_c))
    earlier = case.pulled_at(pull_c - step)
    slope = max((answer.likely_peak_c - earlier.likely_peak_c) / step, _LEAST_SLOPE)
    out = []
    for name, cases in _corners(case):
        moved = [
            abs(other.likely_peak_c - answer.likely_peak_c) / slope
            for other in (corner.pulled_at(pull_c) for corner in cases)
            # One that never comes to the pull says nothing about it.
            if abs(other.pull_core_c - pull_c) < _XTOL_K
        ]
        if moved:
            out.append((name, max(moved)))
    return out


def pull_for_peak(
    piece: Piece,
    pit: Surroundings,
    rest: Rest | Place,
    peak_c: float,
    *,
    before: Sequence[Stage] = (),
    wrap: Wrap = None,
    liquid: Liquid | None = None,
    band: bool = True,
    as_measured: bool = False,
    **options: Any,
) -> PullAnswer:
    """Find the core temperature at which to pull for a wanted peak in the rest.

    Parameters
    ----------
    pit : Surroundings
        The last heat.
    rest : Stage, sequence of Stage, BoxPlan or name of a place
        A name takes the usual length of table ``carryover``.
    peak_c : float
        Wanted highest core temperature. [°C]
    before : sequence of Stage
        What comes before the last heat (bare before a wrap, say; see
        :func:`coreward.questions.rest.wrapping.wrapped_cook`). What would come after the pull
        does not happen.
    wrap : str, ParameterSet or None
        What it wears in the last heat.
    liquid : Liquid, optional
        Poured under that wrap as the last heat begins.
    band : bool
        Whether to run the corners of the stated uncertainties (table ``carryover``).
    as_measured : bool
        Whether to count on what measured roasts rose of what the model says, and not on all of
        it (same table). A place as hot as the peak goes on cooking, and no share is taken.
    **options
        Passed on to the simulation.

    Returns
    -------
    PullAnswer
        An impossible target is an answer, with `reached` False and a sentence.

    Raises
    ------
    InputError
        If the peak is not a number.
    """
    if not math.isfinite(peak_c):
        raise InputError(f"The wanted peak must be a number; it is {peak_c}.")
    u = tables.load("carryover")
    if isinstance(rest, (str, tables.ParameterSet)):
        rest = rest_stage(rest, u["rest"], piece=piece)
    if peak_c <= piece.start_c:
        return PullAnswer(
            False,
            (
                say(
                    "The meat starts at {0}: a peak of {1} asks for no heat at all.",
                    Degrees(piece.start_c),
                    Degrees(peak_c),
                ),
            ),
            peak_c,
        )
    share = u["rise_usual"] if as_measured and not _cooks_on(rest, peak_c) else 1.0
    case = _Case(
        piece, tuple(before), pit, wrap, rest, u["longest_cook"], options, liquid, share
    )
    found = _solve(case, peak_c)
    series = pit.series()
    hottest = max(float(series["air_c"].value.max()), float(series["wall_c"].value.max()))
    if isinstance(found, Carryover):
        why = (
            say("Nothing in a pit of {0} gets hotter than that pit.", Degrees(hottest))
            if peak_c >= hottest
            else say(
                "Evaporation, or the boiling point, holds it below; a wrap, damper air or a "
                "hotter pit would help."
            )
        )
        return PullAnswer(
            False,
            (
                say(
                    "A peak of {0} from a pit of {1} is out of reach: after {2} the core is "
                    "at {3}, and the highest in the rest is {4}.",
                    Degrees(peak_c),
                    Degrees(hottest),
                    Lasting(found.pull_s),
                    Reading(found.pull_core_c),
                    Reading(found.peak_core_c),
                ),
                why,
            ),
            peak_c,
            carryover=found,
        )
    if found is None:
        return PullAnswer(
            False,
            (
                say(
                    "The rest alone takes the core above {0}, however early it is pulled: "
                    "choose a cooler place to rest, or stop the rest in time.",
                    Degrees(peak_c),
                ),
            ),
            peak_c,
        )
    pull_c, answer = found
    deviations: list[tuple[str, float]] = []
    if band:
        deviations = [*_deviations(case, answer, pull_c), ("the probe", u["probe_error"])]
    half = math.sqrt(sum(d * d for _, d in deviations))
    low_c, high_c = pull_c - half, min(pull_c + half, peak_c)
    parts = [
        say(
            "Pull at {0} for a peak of {1}: the core still rises by {2} in {3}.",
            Degrees(pull_c, 1),
            Degrees(peak_c, 1),
            Difference(answer.share * answer.rise_k),
            Lasting(answer.peak_after_s),
        )
    ]
    if band:
        parts.append(
            say(
                "With what is not known exactly, pull at {0}; most of that comes from {1}.",
                DegreesBetween(low_c, high_c),
                max(deviations, key=lambda d: d[1])[0],
            )
        )
    parts += _sure_words(answer)
    if answer.still_rising:
        parts.append(
            say("The core still rises when this rest ends: a longer one peaks higher.")
        )
    return PullAnswer(
        True,
        tuple(parts),
        peak_c,
        pull_c=pull_c,
        low_c=low_c,
        high_c=high_c,
        carryover=answer,
        deviations=tuple(deviations),
    )


@dataclass(frozen=True)
class CarryoverRow:
    """One cell of a comparison: size and pit against the rise."""

    size_m: float
    pit_c: float
    pull_s: float
    rise_k: float
    peak_after_s: float
    reached: bool


def carryover_by_size_and_pit(
    piece: Piece,
    pit: Surroundings,
    rest: Place,
    pull_c: float,
    sizes_m: Sequence[float],
    pits_c: Sequence[float],
    **options: Any,
) -> tuple[CarryoverRow, ...]:
    """Rise after the pull for several sizes and pit temperatures.

    Parameters
    ----------
    piece : Piece
        Its size is replaced.
    pit : Surroundings
        Its air temperature is replaced; walls follow.

    Returns
    -------
    tuple of CarryoverRow
        `reached` is False where the core did not come to the pull temperature.
    """
    u = tables.load("carryover")
    rows = []
    for size in sizes_m:
        one = replace(piece, shape=piece.shape.scaled(size / piece.shape.size))
        after = rest_stage(rest, u["rest"], piece=one)
        for air in pits_c:
            stage = Stage(
                replace(pit, air_c=air, wall_c=None),
                duration_s=u["longest_cook"],
                until_core_c=pull_c,
                label="pit",
            )
            result = cook_and_rest(one, stage, after, **options)
            c = carryover(result, 1)
            reached = result.records[0].reached is True
            rows.append(CarryoverRow(size, air, c.pull_s, c.rise_k, c.peak_after_s, reached))
    return tuple(rows)
