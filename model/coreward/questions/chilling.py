"""Does it cool fast enough? Cooling limits for a whole, halved or sliced piece.

The hottest place counts, from the moment it falls below the upper end of a limit's band.
Beside the limits stands how far Clostridium perfringens, whose spores outlive cooking,
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
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import MEAT_START_RANGE_C, Piece, Stage
from coreward.errors import InputError
from coreward.physics.body import Cylinder, Shape, Slab, Sphere
from coreward.physics.growth import growth_bound_by_place
from coreward.physics.meat import Material
from coreward.questions.verdict import CAUTION
from coreward.tables.standards import BandLimit, band_limits

Floats = NDArray[np.float64]
State = Literal["met", "not met", "cannot tell"]

_ORGANISM = "Clostridium perfringens"
CUTS = ("whole", "halved", "sliced")
DEFAULT_RULE = "food code cooling"
_HOUR = 3600.0
# The core is stopped this far below the last limit, so that the crossing is in the run.
_BEYOND_K = 0.05


@dataclass(frozen=True)
class Leg:
    """One limit of a rule.

    Attributes
    ----------
    limit : BandLimit
    begin_s, end_s : float
        When the hottest place came into the band and left it, since the chill began
        [s]; infinite for an end that never came.
    slow_end_s : float
        The end with less heat transfer (table ``holding``), counted from the same start.
    state : str
        "met", "not met" or "cannot tell": met only with the slower heat transfer too.
    """

    limit: BandLimit
    begin_s: float
    end_s: float
    slow_end_s: float
    state: State

    @property
    def elapsed_s(self) -> float:
        """Time in the band. [s]."""
        return self.end_s - self.begin_s


@dataclass(frozen=True)
class Growth:
    """How far bacteria could grow in a chill, at most.

    Attributes
    ----------
    organism : str
    curves : tuple of str
        Sets of table ``growth`` that were used; where the meat is not one they were
        measured in, all of the organism, and the fastest counts.
    valid_c : tuple of float
        Coldest and hottest at which these curves have growth. [°C]
    log10 : float
        Growth of the place that has most, no lag credited, from the end of the cook to
        the end of the chill, with the slower heat transfer if that is more; rounded up to
        a tenth. Infinite where the chill ended before growth did. [log10]
    limit : float
        [log10]
    state : str
        "met" where even this bound is within the limit; else "cannot tell", and so for a
        meat that the curves were not measured in.
    sources : tuple of str
        Titles.
    sentence : str
    """

    organism: str
    curves: tuple[str, ...]
    valid_c: tuple[float, float]
    log10: float
    limit: float
    state: State
    sources: tuple[str, ...]
    sentence: str


@dataclass(frozen=True)
class Chilling:
    """One way to chill a piece.

    Attributes
    ----------
    cut, place, rule : str
        "whole", "halved" or "sliced"; where; by which rule.
    time_s, hottest_c : ndarray
        Since the chill began [s]; before it the time is negative. [°C]
    legs : tuple of Leg
    state : str
        The worst of the legs.
    result : Result
        Of the chill; for a whole piece with all that came before.
    growth : Growth
        What could grow meanwhile; it does not change `state`.
    sentence : str
    """

    cut: str
    place: str
    rule: str
    time_s: Floats
    hottest_c: Floats
    legs: tuple[Leg, ...]
    state: State
    result: Result
    growth: Growth
    sentence: str


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
    size = piece.shape.size
    shape: Shape
    if cut == "sliced":
        shape = Slab(min(slice_m, size))
    elif isinstance(piece.shape, Cylinder):
        shape = Cylinder(size / math.sqrt(2.0))
    elif isinstance(piece.shape, Sphere):
        shape = Sphere(size / 2.0 ** (1.0 / 3.0))
    else:
        shape = Slab(size / 2.0)
    material = piece.material
    if material.moist:
        # It was cooked before: nothing more is squeezed out of it.
        constants = material.constants._replace(expulsion_rate=0.0)
        material = replace(material, constants=constants)
        start_c = min(max(start_c, MEAT_START_RANGE_C[0]), MEAT_START_RANGE_C[1])
    return Piece(shape, material, start_c)


def _slower(stage: Stage, share: float) -> Stage:
    around = stage.surroundings
    h = around.heat_transfer
    if not isinstance(h, float):
        raise InputError("The place must have one heat transfer coefficient, not a series.")
    return replace(stage, surroundings=replace(around, heat_transfer=(1.0 - share) * h))


def _passing(time_s: Floats, hottest_c: Floats, level_c: float) -> float:
    """When a curve last comes down through a level. [s]; infinite if it stays above."""
    above = np.flatnonzero(hottest_c > level_c)
    if not above.size:
        return float(time_s[0])
    last = int(above[-1])
    if last == len(time_s) - 1:
        return math.inf
    a, b = float(hottest_c[last]), float(hottest_c[last + 1])
    share = (a - level_c) / (a - b)
    return float(time_s[last] + share * (time_s[last + 1] - time_s[last]))


def _judged(
    limit: BandLimit,
    nominal: tuple[Floats, Floats],
    slow: tuple[Floats, Floats],
    error_k: float,
) -> Leg:
    begin = _passing(*nominal, limit.from_c + error_k)
    slow_begin = _passing(*slow, limit.from_c + error_k)
    end = _passing(*nominal, limit.to_c - error_k)
    slow_end = _passing(*slow, limit.to_c - error_k)
    if end - begin > limit.limit_s or not math.isfinite(end):
        state: State = "not met"
    elif slow_end - slow_begin > limit.limit_s or not math.isfinite(slow_end):
        state = "cannot tell"
    else:
        state = "met"
    return Leg(limit, begin, end, slow_end, state)


def _curves(material: Material) -> tuple[tuple[str, ...], bool]:
    """Growth curves for a meat, and whether they were measured in it."""
    known = [
        name
        for name in tables.names("growth")
        if tables.load("growth", name).text("organism") == _ORGANISM
    ]
    cut = material.sets.get("cut")
    species = None if cut is None else tables.load("cut", cut).text("species")
    own = tuple(n for n in known if tables.load("growth", n).text("species") == species)
    return own or tuple(known), bool(own)


@dataclass(frozen=True)
class _Course:
    """Temperatures of all places, from the peak of the cook on: before a cut, and after."""

    before: tuple[Floats, Floats] | None
    chill: tuple[Floats, Floats]

    def most(self, curve: str) -> float:
        """Growth of the place that has most; from before a cut, the most of any place."""
        parts = [self.chill] if self.before is None else [self.before, self.chill]
        return sum(float(growth_bound_by_place(*part, curve)[-1].max()) for part in parts)

    def still_warm(self, curve: str) -> bool:
        """Whether some place can grow yet when the chill ends."""
        return float(self.chill[1][-1].max()) > tables.load("growth", curve)["lowest"]


def _growth(courses: Sequence[_Course], material: Material) -> Growth:
    curves, own = _curves(material)
    sets = [tables.load("growth", name) for name in curves]
    limit = tables.load("holding")["most_growth"]
    most = max(course.most(name) for course in courses for name in curves)
    if any(course.still_warm(name) for course in courses for name in curves):
        most = math.inf
    bound = math.ceil(10.0 * most - 1e-9) / 10.0 if math.isfinite(most) else most
    valid = min(s["lowest"] for s in sets), max(s["highest"] for s in sets)
    titles = tuple(dict.fromkeys(tables.source(s.record("lowest").source).title for s in sets))
    state: State = "met" if own and bound <= limit else "cannot tell"
    if math.isfinite(bound):
        text = f"{_ORGANISM} could grow by at most {bound:.1f} log at any place meanwhile"
    else:
        text = f"{_ORGANISM} could still grow where this chill ends, so no bound is given"
    foods = " and ".join(s.text("species") for s in sets)
    text += (
        f" (no lag credited; growth between {valid[0]:g} and {valid[1]:g} °C as measured in "
        f"{foods}: {'; '.join(titles)})"
    )
    if not own:
        text += ": this meat is not one it was measured in, so that decides nothing."
    elif state == "met":
        text += f", within the {limit:g} log that is tolerated."
    else:
        text += f". More than {limit:g} log as an upper bound decides nothing."
    return Growth(_ORGANISM, curves, valid, bound, limit, state, titles, text)


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
    piece : Piece
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

    Returns
    -------
    Chilling

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

    def run(share: float) -> tuple[Result, tuple[Floats, Floats], _Course]:
        chilled = piece if cut == "whole" else _cut_piece(piece, cut, hottest_now, thickness)
        stage = rest_stage(
            place, u["longest_chill"], piece=chilled, until_core_c=until, label="chill"
        )
        if share > 0.0:
            stage = _slower(stage, share)
        plan = [*before, stage] if cut == "whole" else [stage]
        result = simulate(chilled, plan, **options)
        begin = result.records[-1].begin_s
        inside = result.time_s >= begin
        time = result.time_s[inside] - begin
        hottest = result.temperature_c[inside].max(axis=1)
        earlier_rows = history[0] < 0.0
        curve = (
            np.concatenate((history[0][earlier_rows], time)),
            np.concatenate((history[1][earlier_rows], hottest)),
        )
        chill = time, result.temperature_c[inside]
        if not len(history[0]):
            course = _Course(None, chill)
        elif cut == "whole":
            all_places = np.concatenate((places[earlier_rows], chill[1]))
            course = _Course(None, (curve[0] - curve[0][0], all_places))
        else:
            course = _Course((history[0] - history[0][0], places), chill)
        return result, curve, course

    result, nominal, course = run(0.0)
    _, slow, slow_course = run(u["heat_transfer_share"])
    legs = tuple(_judged(item, nominal, slow, probe_error_k) for item in limits)
    order: tuple[State, ...] = ("not met", "cannot tell", "met")
    state = next(word for word in order if word in {leg.state for leg in legs})
    name = place if isinstance(place, str) else place.name
    growth = _growth((course, slow_course), piece.material)
    draft = Chilling(cut, name, rule, nominal[0], nominal[1], legs, state, result, growth, "")
    return replace(draft, sentence=_sentence(draft, thickness, probe_error_k))


def _hours_up(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "more than a day"
    minutes = math.ceil(seconds / 60.0 - 1e-9)
    return f"{minutes // 60} h {minutes % 60:02d} min"


def _how(c: Chilling, slice_m: float) -> str:
    if c.cut == "sliced":
        return f"Sliced {1000.0 * slice_m:.0f} mm thick"
    return c.cut.capitalize()


def _sentence(c: Chilling, slice_m: float, error_k: float) -> str:
    words = {
        "met": "meets",
        "not met": "does not meet",
        "cannot tell": "may or may not meet",
    }[c.state]
    parts = "; ".join(
        f"{leg.limit.from_c:.0f} to {leg.limit.to_c:.0f} °C in {_hours_up(leg.elapsed_s)} "
        f"(limit {leg.limit.limit_s / _HOUR:g} h)"
        for leg in c.legs
    )
    text = f"{_how(c, slice_m)}, {c.place}: {words} the {c.rule} limits by the model: {parts}."
    if c.state == "cannot tell":
        text += " A fifth less heat transfer would break it."
    return (
        f"{text} {c.growth.sentence} Assumed: the hottest place counts, probe error "
        f"{error_k:g} K, the place keeps its temperature. {CAUTION}"
    )


@dataclass(frozen=True)
class ChillingPlan:
    """Several ways to chill, and the first that meets the rule.

    Attributes
    ----------
    answers : tuple of Chilling
        In the order of effort.
    fix : Chilling or None
        The first that meets the rule.
    sentence : str
    """

    answers: tuple[Chilling, ...]
    fix: Chilling | None
    sentence: str


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
    **options
        Passed on to the simulation.

    Returns
    -------
    ChillingPlan

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
    if fix is first:
        text = first.sentence
    elif fix is not None:
        text = (
            f"{first.cut.capitalize()} in the {first.place} it does not surely keep the {rule} "
            f"limits. What does: {fix.cut}, {fix.place}. {fix.sentence}"
        )
    else:
        text = (
            f"None of the {len(answers)} ways tried keeps the {rule} limits: cut it smaller, "
            f"or serve it now. {CAUTION}"
        )
    return ChillingPlan(tuple(answers), fix, text)
