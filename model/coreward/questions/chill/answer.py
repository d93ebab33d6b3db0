"""Does it cool fast enough? Cooling limits for a whole, halved or sliced piece.

The hottest place counts, from the moment it falls below the upper end of a limit's band.
A computed time is an outlook: measured joints took longer and shorter than it says, by
shares that stand in table ``holding``. Only what the slowest of them would have met is
called met, only what the fastest would have missed not met; between the two the answer is
"cannot tell".

Beside the limits stands how far bacteria whose spores outlive cooking
could grow meanwhile at any place: an upper bound, which can clear a chill of that doubt
but never condemn it. A whole piece keeps the state it has; a cut piece starts, on the
careful side, as warm throughout as its hottest place was when it was cut.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.rest import Place, rest_stage
from coreward.cook.result import Result, first_time_at
from coreward.cook.simulate import simulate
from coreward.cook.stages import MEAT_START_RANGE_C, Piece, Stage
from coreward.errors import InputError
from coreward.physics.body import Slab
from coreward.physics.growth import growth_bound_by_place, growth_curves, organisms
from coreward.physics.meat import Material
from coreward.questions.verdict import CAUTION
from coreward.tables.standards import BandLimit, band_limits
from coreward.words import (
    Degrees,
    DegreesBetween,
    Difference,
    Held,
    Length,
    Needed,
    Published,
    Required,
    Say,
    say,
    together,
)

Floats = NDArray[np.float64]
State = Literal["met", "not met", "cannot tell"]

CUTS = ("whole", "halved", "sliced")
DEFAULT_RULE = "food code cooling"
# The core is stopped this far below the last limit, so that the crossing is in the run.
_BEYOND_K = 0.05


@dataclass(frozen=True)
class Leg:
    """One limit of a rule."""

    limit: BandLimit
    begin_s: float
    end_s: float
    """When the hottest place came into the band and left it for good, by the model, since the
    chill began [s]; infinite for what never came."""
    shortest_s: float
    longest_s: float
    """The time in the band with the spread of measured joints (table ``holding``). [s]"""
    state: State
    """Is "met" where the longest is within the limit, "not met" where the shortest is beyond
    it, else "cannot tell"."""

    @property
    def elapsed_s(self) -> float:
        """Time in the band by the model. [s]."""
        return self.end_s - self.begin_s if math.isfinite(self.end_s) else math.inf


@dataclass(frozen=True)
class Growth:
    """How far bacteria could grow in a chill, at most."""

    organism: str
    curves: tuple[str, ...]
    """Sets of table ``growth`` that were used; where the meat is not one they were measured in,
    all of the organism, and the fastest counts."""
    valid_c: tuple[float, float]
    """Coldest and hottest at which these curves have growth. [°C]"""
    log10: float
    """Growth of the place that has most, no lag credited, from the end of the cook to the end
    of the slowest chill that measured joints show; rounded up to a tenth. Infinite where the
    chill ended before growth did. [log10]"""
    limit: float
    """[log10]"""
    state: State
    """Is "met" where even this bound is within the limit; else "cannot tell", and so for a meat
    that the curves were not measured in."""
    sources: tuple[str, ...]
    """Titles."""
    sentence: Say


@dataclass(frozen=True)
class Chilling:
    """One way to chill a piece."""

    cut: str
    place: str
    rule: str
    """One of "whole", "halved" or "sliced"; where; by which rule."""
    time_s: Floats
    hottest_c: Floats
    """Since the chill began [s]; before it the time is negative. [°C]"""
    legs: tuple[Leg, ...]
    state: State
    """The worst of the legs."""
    result: Result
    """Of the chill; for a whole piece with all that came before."""
    growth: Growth
    """What could grow meanwhile; it does not change `state`."""
    sentence: Say


def cooling_rule(name: str = DEFAULT_RULE) -> tuple[BandLimit, ...]:
    """Return the limits of a cooling rule.

    Raises
    ------
    InputError
        If there is no such rule.
    """
    rules = [item for item in band_limits() if item.kind == "cooling"]
    chosen = tuple(item for item in rules if item.standard == name)
    if not chosen:
        known = ", ".join(dict.fromkeys(item.standard for item in rules))
        raise InputError(f"No cooling rule is called {name!r}; there are: {known}.")
    return chosen


def _cut_piece(piece: Piece, cut: str, start_c: float, slice_m: float) -> Piece:
    """Return what is chilled after cutting, its water where cooking left it.

    Half a cylinder or a ball is taken for a whole one of half the volume, which has less
    surface and a longer way to the middle than the true half: the careful side.
    """
    sliced = cut == "sliced"
    shape = Slab(min(slice_m, piece.shape.size)) if sliced else piece.shape.halved()
    if piece.material.moist:
        start_c = min(max(start_c, MEAT_START_RANGE_C[0]), MEAT_START_RANGE_C[1])
    return _cooked_before(Piece(shape, piece.material, start_c))


def _cooked_before(piece: Piece) -> Piece:
    """Return a piece that was cooked elsewhere: nothing more is squeezed out of it.

    Raw meat that starts hot would sweat as if it had just been heated, and cool by that.
    """
    material = piece.material
    if not material.moist:
        return piece
    constants = material.constants._replace(expulsion_rate=0.0)
    return replace(piece, material=replace(material, constants=constants))


def _comes_and_goes(
    time_s: Floats, hottest_c: Floats, limit: BandLimit, error_k: float
) -> tuple[float, float]:
    """When a cooling curve comes into the band of a limit and leaves it for good. [s].

    It comes when it is first at the upper end and goes when it is last at the lower one,
    the band widened by the probe's error at both ends; infinite for what never comes.
    """
    begin = first_time_at(time_s, -hottest_c, -(limit.from_c + error_k))
    low = limit.to_c - error_k
    if hottest_c[-1] > low:
        return begin, math.inf
    end = first_time_at(time_s[::-1], hottest_c[::-1], low)
    return begin, end if math.isfinite(end) else float(time_s[0])


@dataclass(frozen=True)
class _Spread:
    """Measured over computed cooling times: least and most, before the chill and in it."""

    before: tuple[float, float]
    chill: tuple[float, float]

    @classmethod
    def of(cls, goes_on: bool) -> _Spread:
        """Return the spread of a piece that goes on as it is, or of one that starts anew."""
        u = tables.load("holding")
        cooked = u["fast_cooked"], u["slow_cooked"]
        return cls(cooked, cooked if goes_on else (u["fast_uniform"], u["slow_uniform"]))

    def lengths(self, begin_s: float, end_s: float) -> tuple[float, float]:
        """Shortest and longest time between two moments, the chill beginning at zero. [s]."""
        if not math.isfinite(end_s):
            return math.inf, math.inf
        earlier = min(end_s, 0.0) - min(begin_s, 0.0)
        later = max(end_s, 0.0) - max(begin_s, 0.0)
        fast, slow = (
            b * earlier + c * later for b, c in zip(self.before, self.chill, strict=True)
        )
        return fast, slow


def _judged(
    limit: BandLimit, curve: tuple[Floats, Floats], spread: _Spread, error_k: float
) -> Leg:
    begin, end = _comes_and_goes(*curve, limit, error_k)
    shortest, longest = spread.lengths(begin, end)
    if longest <= limit.limit_s:
        state: State = "met"
    else:
        state = "not met" if shortest > limit.limit_s else "cannot tell"
    return Leg(limit, begin, end, shortest, longest, state)


@dataclass(frozen=True)
class _Course:
    """Temperatures of all places, from the peak of the cook on: before a cut, and after."""

    before: tuple[Floats, Floats] | None
    chill: tuple[Floats, Floats]

    def most(self, curve: str, spread: _Spread) -> float:
        """Growth of the place that has most; from before a cut, the most of any place.

        A cooling that takes so many times longer has so many times the growth.
        """
        parts = [(self.chill, spread.chill)]
        if self.before is not None:
            parts.append((self.before, spread.before))
        return sum(
            slow * float(growth_bound_by_place(*part, curve)[-1].max())
            for part, (_, slow) in parts
        )

    def still_warm(self, curve: str) -> bool:
        """Whether some place can grow yet when the chill ends."""
        return float(self.chill[1][-1].max()) > tables.load("growth", curve)["lowest"]


def _growth(course: _Course, material: Material, spread: _Spread) -> Growth:
    sets, own = growth_curves("cooling", material.species)
    curves = tuple(one.name for one in sets)
    limit = tables.load("holding")["most_growth"]
    most = max(course.most(name, spread) for name in curves)
    if any(course.still_warm(name) for name in curves):
        most = math.inf
    bound = math.ceil(10.0 * most - 1e-9) / 10.0 if math.isfinite(most) else most
    valid = min(s["lowest"] for s in sets), max(s["highest"] for s in sets)
    titles = tuple(dict.fromkeys(tables.source(s.record("lowest").source).title for s in sets))
    state: State = "met" if own and bound <= limit else "cannot tell"
    organism = organisms(sets)
    if math.isfinite(bound):
        text = say(
            f"{organism} could grow by at most {{0}} at any place meanwhile",
            Required(bound, "log"),
        )
    else:
        text = say(f"{organism} could still grow where this chill ends, so no bound is given")
    if not own:
        end = say(": this meat is not one it was measured in, so that decides nothing.")
    elif state == "met":
        end = say(", within the {0} that is tolerated.", Required(limit, "log"))
    else:
        end = say(". More than {0} as an upper bound decides nothing.", Required(limit, "log"))
    sentence = say(
        "{0} (no lag credited; growth at {1} as measured in {2}: {3}){4}",
        text,
        DegreesBetween(*valid, digits=1),
        " and ".join(s.text("species") for s in sets),
        "; ".join(titles),
        end,
    )
    return Growth(organism, curves, valid, bound, limit, state, titles, sentence)


def chilling(
    piece: Piece,
    stages_before: Stage | Sequence[Stage],
    place: Place = "refrigerator",
    *,
    cut: str = "whole",
    slice_m: float | None = None,
    rule: str = DEFAULT_RULE,
    probe_error_k: float = 0.0,
    **options: Any,
) -> Chilling:
    """Chill a piece and hold it to a cooling rule.

    Parameters
    ----------
    stages_before : Stage or sequence of Stage
        Cook and rest. May be empty: then the piece starts as it is.
    place : str or ParameterSet
        From table ``rest``: "refrigerator", "chiller", "ice bath", ...
    cut : str
        "whole", "halved" (through the thickness of a slab, along the axis of a cylinder) or
        "sliced".
    slice_m : float, optional
        Thickness of a slice; table ``holding`` if None. [m]
    rule : str
        A cooling rule of the limits table.
    probe_error_k : float
        Of the probe that will watch it: widens every band at both ends. [K]
    **options
        Passed on to the simulation.

    Raises
    ------
    InputError
        For an unknown cut, place or rule.
    """
    if cut not in CUTS:
        raise InputError(f"cut is {cut!r}; use one of {', '.join(CUTS)}.")
    u = tables.load("holding")
    limits = cooling_rule(rule)
    before = (stages_before,) if isinstance(stages_before, Stage) else tuple(stages_before)
    until = min(item.to_c for item in limits) - probe_error_k - _BEYOND_K
    thickness = u["slice"] if slice_m is None else slice_m
    earlier = simulate(piece, before, **options) if before else None
    if earlier is None:
        hottest_now = piece.start_c
        history = np.empty(0), np.empty(0)
        places = np.empty((0, 1))
    else:
        hottest_now = float(earlier.temperature_c[-1].max())
        top = earlier.temperature_c.max(axis=1)
        peak = int(np.argmax(top))
        history = earlier.time_s[peak:] - earlier.time_s[-1], top[peak:]
        places = earlier.temperature_c[peak:]

    if cut != "whole":
        chilled = _cut_piece(piece, cut, hottest_now, thickness)
    else:
        chilled = piece if before else _cooked_before(piece)
    stage = rest_stage(
        place, u["longest_chill"], piece=chilled, until_core_c=until, label="chill"
    )
    goes_on = cut == "whole" and bool(before)
    result = simulate(chilled, [*before, stage] if goes_on else [stage], **options)
    begin = result.records[-1].begin_s
    inside = result.time_s >= begin
    time = result.time_s[inside] - begin
    rows = history[0] < 0.0
    curve = (
        np.concatenate((history[0][rows], time)),
        np.concatenate((history[1][rows], result.temperature_c[inside].max(axis=1))),
    )
    chill = time, result.temperature_c[inside]
    if not len(history[0]):
        course = _Course(None, chill)
    elif cut == "whole":
        all_places = np.concatenate((places[rows], chill[1]))
        course = _Course(None, (curve[0] - curve[0][0], all_places))
    else:
        course = _Course((history[0] - history[0][0], places), chill)
    spread = _Spread.of(goes_on)
    legs = tuple(_judged(item, curve, spread, probe_error_k) for item in limits)
    order: tuple[State, ...] = ("not met", "cannot tell", "met")
    state = next(word for word in order if word in {leg.state for leg in legs})
    name = place if isinstance(place, str) else place.name
    growth = _growth(course, piece.material, spread)
    draft = Chilling(cut, name, rule, *curve, legs, state, result, growth, say(""))
    return replace(draft, sentence=_sentence(draft, thickness, probe_error_k, spread.chill))


def _how(c: Chilling, slice_m: float) -> Say:
    if c.cut == "sliced":
        return say("Sliced {0} thick", Length(slice_m))
    return say(c.cut.capitalize())


def _leg_words(leg: Leg) -> Say:
    band = say(
        "{0} to {1}",
        Published(leg.limit.from_c, at_most=True),
        Published(leg.limit.to_c, at_most=True),
    )
    allowed = Held(leg.limit.limit_s)
    if not math.isfinite(leg.end_s):
        longest = Held(tables.load("holding")["longest_chill"])
        return say("{0} not within {1} (limit {2})", band, longest, allowed)
    return say(
        "{0} in {1}, by what measured joints show {2} to {3} (limit {4})",
        band,
        Needed(leg.elapsed_s),
        Held(leg.shortest_s),
        Needed(leg.longest_s),
        allowed,
    )


def _sentence(c: Chilling, slice_m: float, error_k: float, spread: tuple[float, float]) -> Say:
    words = {
        "met": "meets",
        "not met": "does not meet",
        "cannot tell": "may or may not meet",
    }[c.state]
    parts = [
        say(
            f"{{0}}, {c.place}: {words} the cooling limits ({c.legs[0].limit.title}) in the "
            "model's outlook: {1}.",
            _how(c, slice_m),
            together([_leg_words(leg) for leg in c.legs], "; "),
        )
    ]
    if c.state == "cannot tell":
        parts.append(say("Cut it smaller, use ice, or follow it with a probe."))
    air = c.result.stages[-1].surroundings.air_c
    keeps = "the place keeps its temperature"
    parts += [
        c.growth.sentence,
        say(
            "Assumed: the hottest place counts, probe error {0}, {1}; measured joints took "
            f"between {spread[0]:g} and {spread[1]:g} times what the model says. This is an "
            "outlook and no measurement.",
            Difference(error_k),
            say(f"{keeps} of {{0}}", Degrees(air)) if isinstance(air, float) else keeps,
        ),
        say(CAUTION),
    ]
    return together(parts)


@dataclass(frozen=True)
class ChillingPlan:
    """Several ways to chill, and the first that meets the rule."""

    answers: tuple[Chilling, ...]
    """In the order of effort."""
    fix: Chilling | None
    """The first that meets the rule."""
    sentence: Say


# In the order of effort: as it is, then cut, then ice.
WAYS = (
    ("whole", "refrigerator"),
    ("halved", "refrigerator"),
    ("whole", "ice bath"),
    ("sliced", "refrigerator"),
    ("halved", "ice bath"),
    ("sliced", "ice bath"),
)


def chilling_plan(
    piece: Piece,
    stages_before: Stage | Sequence[Stage],
    *,
    ways: Sequence[tuple[str, str]] = WAYS,
    rule: str = DEFAULT_RULE,
    probe_error_k: float = 0.0,
    all_ways: bool = False,
    **options: Any,
) -> ChillingPlan:
    """Find the least effort that cools a piece fast enough.

    Parameters
    ----------
    piece, stages_before, rule, probe_error_k
        As in :func:`chilling`.
    ways : sequence of (cut, place)
        Tried in this order.
    all_ways : bool
        Whether to go on after the first that meets the rule.

    Raises
    ------
    InputError
        If there is no way to try.
    """
    if not ways:
        raise InputError("Give at least one way to chill: (cut, place).")
    answers: list[Chilling] = []
    fix: Chilling | None = None
    for cut, place in ways:
        one = chilling(
            piece,
            stages_before,
            place,
            cut=cut,
            rule=rule,
            probe_error_k=probe_error_k,
            **options,
        )
        answers.append(one)
        if fix is None and one.state == "met":
            fix = one
            if not all_ways:
                break
    first = answers[0]
    limits = f"the cooling limits ({first.legs[0].limit.title})"
    if fix is first:
        text = first.sentence
    elif fix is not None:
        text = say(
            f"{first.cut.capitalize()} in the {first.place} it does not surely keep {limits}. "
            f"What does: {fix.cut}, {fix.place}. {{0}}",
            fix.sentence,
        )
    else:
        text = say(
            f"None of the {len(answers)} ways tried surely keeps {limits}: cut it smaller, or "
            f"serve it now. {CAUTION}"
        )
    return ChillingPlan(tuple(answers), fix, text)
