"""Is this finish, or this hold, enough? By each published standard, and beside them.

Three things are shown and never mixed: the hold standards, each applied in its own way
(every part at a minimum temperature, for a time, under its conditions); limits on the
whole history (come-up, cooling, reheating, hot holding); and the integral of kill with
its spread. Every doubt goes to the careful side, and the answer is "meets", "does not
meet" or "cannot tell", never a bare word.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.physics.growth import growth_bound
from coreward.physics.lethality import (
    CREDIT_FROM_C,
    Kinetics,
    LethalityHistory,
    RateCurve,
    credit_history,
    lethality,
    load_kinetics,
)
from coreward.questions.coldest import under_the_probe
from coreward.questions.cook_record import CookRecord, cook_record
from coreward.questions.integral import (
    CONFIDENCE,
    Spread,
    TimeAtTemperature,
    curve_spread,
    kinetics_spread,
    time_at_temperature,
)
from coreward.tables.standards import (
    CONDITIONS,
    MEATS,
    POULTRY,
    BandLimit,
    Standard,
    band_limits,
    cited,
    load_standard,
    standard_names,
    standards_for,
)
from coreward.units import celsius_to_fahrenheit, delta_celsius_to_fahrenheit

Floats = NDArray[np.float64]
State = Literal["met", "not met", "cannot tell"]

MET: State = "met"
NOT_MET: State = "not met"
CANNOT_TELL: State = "cannot tell"
_EXIT_CODES: dict[str, int] = {MET: 0, NOT_MET: 1, CANNOT_TELL: 2}
_MINUTE = 60.0
_HOUR = 3600.0
_ROUNDING_C = 1e-6  # 140 °F read as 60 °C must reach the row of 140 °F
_ENTIRE = 0.999
_MOST_SHOWN_LOG = 12.0

CAUTION = (
    "This does not replace a calibrated thermometer, the local food code or a licensed "
    "process authority."
)
SURFACES = (
    "sealed bag",
    "immersed",
    "moisture-holding casing",
    "direct heat",
    "steam",
    "sealed oven",
    "humid air",
    "dry",
)
"""Words for what keeps the surface moist; the first four are exempt from humidity in the
2021 guideline (p. 31)."""
_EXEMPT_SURFACES = SURFACES[:4]
OVENS = ("still", "convection")
_DIMENSIONS = {"slab": 1, "cylinder": 2, "sphere": 3}


@dataclass(frozen=True)
class StandardVerdict:
    """What one hold standard says.

    Attributes
    ----------
    name, title, revision : str
        Which standard.
    state : str
        "met", "not met" or "cannot tell".
    counts : bool
        Whether it decides the overall answer.
    row_c, limit_c, required_s, held_s : float or None
        Best row: minimum of the table [°C], the reading asked for (row plus errors)
        [°C], time asked for and longest time held. [s]
    margin_s : float or None
        Held minus asked for. [s]
    governing, enough, caution : str
        The assumption that decides, what would make it enough (or apply), the caution.
    sources : tuple of str
        Keys of sources.
    """

    name: str
    title: str
    revision: str
    state: State
    counts: bool
    row_c: float | None
    limit_c: float | None
    required_s: float | None
    held_s: float | None
    margin_s: float | None
    governing: str
    enough: str
    caution: str
    sources: tuple[str, ...]


@dataclass(frozen=True)
class LimitVerdict:
    """What one limit on the history says.

    Attributes
    ----------
    name, kind, state, counts
        Which limit; "come-up", "cooling", "reheating" or "hot holding"; as above.
    from_c, to_c : float
        Band. [°C]
    start_s, end_s : float or None
        When the record was in it. [s]
    elapsed_s, limit_s, margin_s : float or None
        Time in it, longest allowed, difference. [s]
    text, enough : str
        In words.
    sources : tuple of str
        Keys of sources.
    reading_c : float or None
        Reading asked for: the limit plus errors; where there is a limit to be at or
        above. [°C]
    held_s, dwell_s : float or None
        Time held there and time asked for; only of reheating. [s]
    """

    name: str
    kind: str
    state: State
    counts: bool
    from_c: float
    to_c: float
    start_s: float | None
    end_s: float | None
    elapsed_s: float | None
    limit_s: float
    margin_s: float | None
    text: str
    enough: str
    sources: tuple[str, ...]
    reading_c: float | None = None
    held_s: float | None = None
    dwell_s: float | None = None


@dataclass(frozen=True, eq=False)
class IntegralView:
    """Kill added up over the whole record, beside the standards.

    Attributes
    ----------
    name, organism, food, unit : str
        Which kinetics; "log10" or "minutes".
    history : LethalityHistory
        Credit along the record at the readings as they are.
    confident_curve : ndarray, shape (samples,)
        `history.cumulative` scaled to end at `confident`.
    value, median, confident : float
        Credit at the readings as they are; half, and 95 %, of the members reach it.
    surface : float or None
        Credit at the simulated surface; None without one.
    target, slow_margin, growth_added, required : float
        Target, margin for slow heating, growth added, their sum.
    state : str
        Whether `confident` reaches `required`.
    more_minutes, more_kelvin : float
        What would bring it there: a longer hold at `at_c`, or the same record hotter;
        infinite where nothing would.
    at_c : float
        Temperature the longer hold is meant at. [°C]
    enough, note : str
        In words.
    sources : tuple of str
        Keys of sources.
    """

    name: str
    organism: str
    food: str
    unit: str
    history: LethalityHistory
    confident_curve: Floats
    value: float
    median: float
    confident: float
    surface: float | None
    target: float
    slow_margin: float
    growth_added: float
    required: float
    state: State
    more_minutes: float
    more_kelvin: float
    at_c: float
    enough: str
    note: str
    sources: tuple[str, ...]


@dataclass(frozen=True, eq=False)
class Verdict:
    """The whole answer.

    Attributes
    ----------
    state : str
        "not met" if anything that counts is not met; else "cannot tell" if anything
        that counts cannot be told; else "met".
    headline : str
        One sentence with target and assumptions.
    meats, condition : tuple of str, str
        What was judged.
    standards, limits, integrals : tuple
        The three views.
    assumptions, cautions, faults, blind_spots : tuple of str
        What it rests on, what to beware of, what was wrong with the record, what no
        table covers.
    record : CookRecord
        The history that was judged.
    probe_error_c, placement_error_c : float
        What was added to every target. [K]
    judged : object
        What was given to `verdict`: a cook, a log or a pair.
    asked : tuple of (str, object)
        The other arguments that were given to it, so that it can be repeated.
    """

    state: State
    headline: str
    meats: tuple[str, ...]
    condition: str
    standards: tuple[StandardVerdict, ...]
    limits: tuple[LimitVerdict, ...]
    integrals: tuple[IntegralView, ...]
    assumptions: tuple[str, ...]
    cautions: tuple[str, ...]
    faults: tuple[str, ...]
    blind_spots: tuple[str, ...]
    record: CookRecord
    probe_error_c: float
    placement_error_c: float
    judged: Any = field(default=None, repr=False)
    asked: tuple[tuple[str, Any], ...] = ()

    @property
    def exit_code(self) -> int:
        """0 met, 1 not met, 2 cannot tell."""
        return _EXIT_CODES[self.state]

    def standard(self, name: str) -> StandardVerdict:
        """Return what one standard says.

        Raises
        ------
        InputError
            It was not judged.
        """
        for item in self.standards:
            if item.name == name:
                return item
        judged = ", ".join(item.name for item in self.standards)
        raise InputError(f"'{name}' was not judged; these were: {judged}.")


@dataclass(frozen=True, eq=False)
class _Case:
    """Everything the single judgements share."""

    record: CookRecord
    meats: tuple[str, ...]
    stated: bool
    condition: str
    error_c: float
    surface: str | None
    humid_s: float | None
    humidity: tuple[Floats, Floats] | None
    oven_c: float | None
    oven: str | None
    mass_kg: float | None
    growth_log: float
    cook_s: float
    rules: tables.ParameterSet


def verdict(
    result_or_log: Any,
    *,
    meat: str | Sequence[str] | None = None,
    condition: str = "intact",
    standards: Sequence[str] | None = None,
    organism: str | Sequence[str] | None = None,
    probe_error_c: float | None = None,
    placement_error_c: float = 0.0,
    probe_offset_m: float | None = None,
    shape: str | None = None,
    surface: str | None = None,
    humid_s: float | None = None,
    humidity: tuple[ArrayLike, ArrayLike] | None = None,
    oven_c: float | None = None,
    oven: str | None = None,
    mass_kg: float | None = None,
    modelled_growth_log: float = 0.0,
    slow_margin_log: float | None = None,
    longest_gap_s: float | None = None,
    cooling: str | bool = False,
    hot_hold: bool = False,
    reheating: str | bool = False,
) -> Verdict:
    """Judge a cook or a log by published standards, limits and the integral of kill.

    Parameters
    ----------
    result_or_log : cook, log or pair
        From `simulate`, from `read_log`, or (time_s, temperature_c).
    meat : str or sequence of str, optional
        One of "beef", "pork", "lamb", "veal", "chicken", "turkey", "poultry", "other
        meat", the name of a cut that `meat` knows, or several for a mixture; any poultry
        in it means the poultry standards.
        Not stated: judged as beef and as poultry; where the two differ, "cannot tell".
    condition : str
        "intact", "tenderised" (or injected), "rolled" or "ground".
    standards : sequence of str, optional
        Names of hold standards that are to decide; else those that count for the meat,
        and the come-up. A come-up past its limit decides in any case.
    organism : str or sequence of str, optional
        Names of kinetics for the integral view; else those that matter for the meat.
    probe_error_c : float, optional
        Added to every target; 1 K for a log, none for a simulated cook or a stated
        history, unless given. [K]
    placement_error_c : float
        How much colder than the probe the coldest point may be. [K]
    probe_offset_m, shape : float, str, optional
        Distance of the probe's tip from the centre [m] (see
        `coreward.questions.coldest.probe_offset`), and "slab", "cylinder" or "sphere":
        the centre is then estimated and judged instead of the probe.
    surface : str, optional
        What kept the surface moist, one of `SURFACES`.
    humid_s : float, optional
        How long the steam was on or the oven sealed. [s]
    humidity : pair of array_like, optional
        Record of relative humidity in the cooker: time [s] and value. [%]
    oven_c, oven, mass_kg : float, str, float, optional
        Lowest oven temperature through the cook [°C], "still" or "convection", mass of
        the piece. [kg]
    modelled_growth_log : float
        Growth of vegetative pathogens in the come-up from your own model; above 1 log
        it is added to the lethality required. [log10]
    slow_margin_log : float, optional
        Margin for slow heating; else the published error for the meat. [log10]
    longest_gap_s : float, optional
        Longest step between samples that is still credited. [s]
    cooling : str or bool
        Name of a cooling rule, or True, to let the cooling decide as well.
    hot_hold : bool
        Whether hot holding decides as well.
    reheating : str or bool
        Name of a reheating rule, or True, to judge the last rise from the cold as the
        reheating of meat that was cooked before. It then decides as well; it is no
        cooking standard.

    Returns
    -------
    Verdict

    Raises
    ------
    InputError, TableError
        An input cannot be used; unknown meat, condition, standard or kinetics.
    """
    asked = tuple(
        (name, value)
        for name, value in locals().items()
        if name != "result_or_log" and value is not None and value is not False
    )
    rules = tables.load("verdict")
    meats = _meats(meat)
    _choice(condition, CONDITIONS, "condition")
    if surface is not None:
        _choice(surface, SURFACES, "surface")
    if oven is not None:
        _choice(oven, OVENS, "oven")
    for name, value in (
        ("probe_error_c", probe_error_c),
        ("placement_error_c", placement_error_c),
        ("modelled_growth_log", modelled_growth_log),
        ("slow_margin_log", slow_margin_log),
        ("probe_offset_m", probe_offset_m),
        ("humid_s", humid_s),
        ("mass_kg", mass_kg),
        ("longest_gap_s", longest_gap_s),
    ):
        if value is not None and not (math.isfinite(value) and value >= 0.0):
            raise InputError(f"{name} is {value!r}: give zero or a positive number.")
    record = cook_record(
        result_or_log,
        longest_gap_s=rules["longest_gap"] if longest_gap_s is None else longest_gap_s,
        ceiling_c=rules["hottest_meat"],
    )
    if probe_offset_m is not None:
        if record.kind == "cook":
            raise InputError(
                "probe_offset_m is for a measured record; a cook knows its centre."
            )
        if shape is None:
            raise InputError(
                f"probe_offset_m needs the shape of the piece: {', '.join(_DIMENSIONS)}."
            )
        _choice(shape, tuple(_DIMENSIONS), "shape")
        record = under_the_probe(
            record,
            offset_m=probe_offset_m,
            dimensions=_DIMENSIONS[shape],
            diffusivity=rules["probe_diffusivity"],
        )
    if probe_error_c is None:
        probe_error_c = rules["probe_error"] if record.kind == "log" else 0.0
    error_c = probe_error_c + placement_error_c
    time, temperature = record.known()
    peak_s = float(time[int(np.argmax(temperature))]) if time.size else 0.0
    growth = modelled_growth_log if modelled_growth_log > rules["growth_allowance"] else 0.0
    case = _Case(
        record=record,
        meats=meats,
        stated=meat is not None,
        condition=condition,
        error_c=error_c,
        surface=surface,
        humid_s=humid_s,
        humidity=_humidity(humidity),
        oven_c=_oven_temperature(oven_c, record, peak_s),
        oven=oven,
        mass_kg=mass_kg,
        growth_log=growth,
        cook_s=peak_s - float(record.time_s[0]),
        rules=rules,
    )
    chosen, deciding = _chosen_standards(meats, condition, standards, stated=case.stated)
    judged = tuple(
        _judge_standard(case, standard, counts=standard.name in deciding) for standard in chosen
    )
    reheated = _judge_reheating(case, reheating)
    parts = _parts(case, reheated)
    limits = (
        _judge_come_up(case, decides=standards is None),
        *_each_part(parts, lambda part: _judge_cooling(part, cooling)),
        *reheated,
        *_each_part(parts, lambda part: (_judge_hot_hold(part, counts=hot_hold),)),
    )
    integrals = _integral_views(case, organism, slow_margin_log)
    state = _overall(case, judged, limits)
    assumptions = _assumptions(case, probe_error_c, placement_error_c)
    return Verdict(
        state=state,
        headline=_headline(state, judged, limits, case, probe_error_c),
        meats=meats,
        condition=condition,
        standards=judged,
        limits=limits,
        integrals=integrals,
        assumptions=assumptions,
        cautions=_cautions(case, judged, integrals),
        faults=record.faults,
        blind_spots=_blind_spots(case),
        record=record,
        probe_error_c=probe_error_c,
        placement_error_c=placement_error_c,
        judged=result_or_log,
        asked=asked,
    )


def _choice(value: str, allowed: Sequence[str], what: str) -> None:
    if value not in allowed:
        raise InputError(f"{what} is '{value}'; use one of: {', '.join(allowed)}.")


def _meats(meat: str | Sequence[str] | None) -> tuple[str, ...]:
    if meat is None:
        return ("beef", "poultry")
    meats = (meat,) if isinstance(meat, str) else tuple(meat)
    if not meats:
        raise InputError(f"name at least one meat of: {', '.join(MEATS)}.")
    return tuple(_species(item) for item in meats)


def _species(name: str) -> str:
    """Return the meat that a name stands for: one of `MEATS`, or a cut of table ``cut``."""
    if name in MEATS:
        return name
    species = tables.load("cut", name).text("species") if name in tables.names("cut") else name
    _choice(species, MEATS, "meat")
    return species


def _humidity(
    humidity: tuple[ArrayLike, ArrayLike] | None,
) -> tuple[Floats, Floats] | None:
    if humidity is None:
        return None
    time, percent = (np.asarray(part, dtype=float) for part in humidity)
    if time.shape != percent.shape or time.ndim != 1 or time.size < 2:
        raise InputError("humidity must be two series of equal length: time [s], value [%].")
    if np.any(np.diff(time) < 0.0) or not np.all(np.isfinite(time)):
        raise InputError("the humidity record's times must rise and have no gaps in them.")
    if np.nanmax(percent) > 100.0 or np.nanmin(percent) < 0.0:
        raise InputError("relative humidity lies between 0 and 100 %.")
    if np.nanmax(percent) <= 1.0:
        raise InputError("relative humidity looks like a fraction; give it in %.")
    return time, percent


def _oven_temperature(oven_c: float | None, record: CookRecord, peak_s: float) -> float | None:
    if oven_c is not None:
        if not math.isfinite(oven_c):
            raise InputError(f"oven_c is {oven_c!r}: give a temperature in °C.")
        return oven_c
    if record.air_c is None:
        return None
    cooking = np.isfinite(record.air_c) & (record.time_s <= peak_s)
    return float(np.min(record.air_c[cooking])) if np.any(cooking) else None


def _chosen_standards(
    meats: tuple[str, ...], condition: str, names: Sequence[str] | None, *, stated: bool
) -> tuple[tuple[Standard, ...], set[str]]:
    """Standards to judge and the names of those that decide."""
    if stated:
        covering = standards_for(meats, condition)
    else:
        found = [s for meat in meats for s in standards_for([meat], condition)]
        covering = tuple(dict.fromkeys(found))
    if names is None:
        return covering, {standard.name for standard in covering if standard.counts}
    if isinstance(names, str):
        names = (names,)
    if not names:
        raise InputError(f"name at least one standard of: {', '.join(standard_names())}.")
    asked = tuple(load_standard(name) for name in names)
    return asked, {standard.name for standard in asked}


def _gap_text(record: CookRecord, lowest_c: float) -> str:
    """Words about the first gap that could hide a cold stretch of a hold, or nothing."""
    for start, end, before, after in record.gaps():
        if before >= lowest_c and after >= lowest_c:
            return (
                f"the record has no reading from {_clock(start)} to {_clock(end)}, longer than "
                f"the {record.longest_gap_s:g} s allowed, while the meat was being held"
            )
    return ""


# Hold standards.


def longest_hold(
    time_s: Floats, temperature_c: Floats, limit_c: float, longest_gap_s: float
) -> tuple[float, float, float]:
    """Longest unbroken time at or above a limit: seconds, start and end.

    A stretch begins and ends with a reading at or above the limit; the crossing
    between two readings is given to neither.
    """
    starts, ends = _stretches(time_s, temperature_c, limit_c, longest_gap_s)
    if starts.size == 0:
        return 0.0, math.nan, math.nan
    longest = int(np.argmax(ends - starts))
    return float(ends[longest] - starts[longest]), float(starts[longest]), float(ends[longest])


def _stretches(
    time_s: Floats, temperature_c: Floats, limit_c: float, longest_gap_s: float
) -> tuple[Floats, Floats]:
    """Start and end of every unbroken stretch at or above a limit. [s]."""
    above = temperature_c >= limit_c - _ROUNDING_C
    if not above.any():
        return np.empty(0), np.empty(0)
    width = np.diff(time_s)
    joined = above[:-1] & above[1:] & (width <= longest_gap_s)
    edges = np.flatnonzero(np.diff(np.concatenate(([False], joined, [False])).astype(int)))
    return time_s[edges[::2]], time_s[edges[1::2]]


def _judge_standard(case: _Case, standard: Standard, *, counts: bool) -> StandardVerdict:
    record = case.record
    sources = tuple(dict.fromkeys([standard.source, *(r.source for r in standard.usable_rows)]))

    def answer(
        state: State,
        governing: str,
        enough: str,
        row: tuple[float, float, float] | None = None,
    ) -> StandardVerdict:
        return StandardVerdict(
            name=standard.name,
            title=standard.title,
            revision=standard.revision,
            state=state,
            counts=counts,
            row_c=row[0] if row else None,
            limit_c=row[0] + case.error_c if row else None,
            required_s=row[1] if row else None,
            held_s=row[2] if row else None,
            margin_s=row[2] - row[1] if row else None,
            governing=governing,
            enough=enough,
            caution=standard.caution,
            sources=sources,
        )

    if not _covers(case, standard):
        return answer(
            CANNOT_TELL,
            f"it is made for {', '.join(standard.meats)} ({', '.join(standard.conditions)}), "
            "not "
            f"for {' and '.join(case.meats)}, {case.condition}",
            "choose a standard made for this meat",
        )
    if record.refused:
        return answer(
            CANNOT_TELL,
            "nothing in the record may be believed: " + " ".join(record.faults),
            "repair the record as said, or measure again",
        )
    time, temperature = record.known()
    factor = 1.0
    if case.growth_log > 0.0:
        target = standard.target_log
        if target is None:
            return answer(
                CANNOT_TELL,
                f"growth of {case.growth_log:g} log in the come-up must be added to the "
                "lethality "
                "required, and this standard names no log reduction",
                "shorten the come-up, or use a standard with a stated log reduction",
            )
        factor = (target + case.growth_log) / target
    rows = [
        (
            level,
            standard.required_s(level) * factor,
            longest_hold(time, temperature, level + case.error_c, record.longest_gap_s)[0],
        )
        for level in standard.temperatures_c
    ]
    met = [row for row in rows if row[2] >= row[1]]
    best = max(met or rows, key=lambda row: (row[2] / row[1], -row[0]))
    gap = _gap_text(record, standard.lowest_c)
    if gap:
        tail = " What was read would meet it." if met else ""
        return answer(
            CANNOT_TELL,
            gap + "." + tail,
            "hold again and log it without a break",
            best,
        )
    if not met:
        return answer(NOT_MET, _held_text(best, case), _more(case, standard, factor), best)
    applies = [(row, _application(case, standard, row[0])) for row in met]
    good = [(row, reason) for row, (ok, reason, _) in applies if ok]
    if good:
        row, reason = max(good, key=lambda item: item[0][2] / item[0][1])
        return answer(MET, f"{_held_text(row, case)}; {reason}", "nothing more is needed", row)
    _, (_, reason, remedy) = applies[-1]
    return answer(CANNOT_TELL, reason, remedy, best)


def _covers(case: _Case, standard: Standard) -> bool:
    governing = [meat for meat in case.meats if meat in POULTRY] or list(case.meats)
    if not case.stated:
        return any(standard.covers(meat, case.condition) for meat in case.meats)
    return all(standard.covers(meat, case.condition) for meat in governing)


def _held_text(row: tuple[float, float, float], case: _Case) -> str:
    level, required, held = row
    return (
        f"held {_duration_down(held)} at {_celsius(level + case.error_c)} or above; "
        f"{_duration_up(required)} are asked for at {_celsius(level)}"
        + (f" plus {case.error_c:g} K of error" if case.error_c else "")
    )


def _more(case: _Case, standard: Standard, factor: float) -> str:
    """Say what would make it enough, from where the record ends."""
    time, temperature = case.record.known()
    last = float(temperature[-1]) - case.error_c
    peak = float(np.max(temperature)) - case.error_c
    base = last if last >= standard.lowest_c - _ROUNDING_C else peak
    reached = [level for level in standard.temperatures_c if level <= base + _ROUNDING_C]
    if not reached:
        level = standard.lowest_c
        required = standard.required_s(level) * factor
        return (
            f"bring every part to a reading of {_celsius(level + case.error_c)} or more and "
            "hold "
            f"it there for {_duration_up(required)}"
        )
    options = []
    for level in reached:
        required = standard.required_s(level) * factor
        held = 0.0
        if base is last:
            held = _held_at_end(time, temperature, level + case.error_c, case)
        options.append((required - held, level, required))
    more, level, required = min(options)
    where = f"at a reading of {_celsius(level + case.error_c)} or more"
    text = (
        f"hold every part {_duration_up(more)} longer {where} (in all {_duration_up(required)})"
    )
    if base is not last:
        text = f"bring it back and hold every part {_duration_up(required)} {where}"
    return text + ", without a break"


def _held_at_end(time: Floats, temperature: Floats, limit_c: float, case: _Case) -> float:
    below = np.flatnonzero(
        (temperature < limit_c - _ROUNDING_C)
        | (np.diff(time, append=time[-1]) > case.record.longest_gap_s)
    )
    start = int(below[-1]) + 1 if below.size else 0
    return float(time[-1] - time[start]) if start < time.size else 0.0


def _application(case: _Case, standard: Standard, row_c: float) -> tuple[bool, str, str]:
    """Whether the standard may be used at all: yes or no, why, what would make it apply."""
    if standard.moisture == "none":
        return True, "it sets no condition on humidity", ""
    if standard.moisture == "food code oven":
        return _food_code_oven(case)
    return _guideline_moisture(case, row_c)


def _humid_seconds(case: _Case) -> float:
    if case.humidity is None:
        return case.humid_s or 0.0
    time, percent = case.humidity
    enough = percent >= case.rules["humid_air"]
    width = np.diff(time)
    return float(np.sum(width[enough[:-1] & enough[1:] & (width <= case.record.longest_gap_s)]))


def _large(case: _Case) -> bool:
    return case.mass_kg is not None and case.mass_kg >= case.rules["large_piece"]


def _guideline_moisture(case: _Case, row_c: float) -> tuple[bool, str, str]:
    rules = case.rules
    if case.surface in _EXEMPT_SURFACES:
        return True, f"the surface is kept moist ({case.surface}); no humidity is asked for", ""
    if (
        _large(case)
        and case.oven_c is not None
        and case.oven_c >= rules["large_piece_oven"] - _ROUNDING_C
    ):
        return True, "4.5 kg or more in an oven held at 121 °C or hotter", ""
    humid = _humid_seconds(case)
    hour = rules["humid_time"]
    if case.surface == "humid air" or case.humidity is not None:
        if humid >= case.cook_s * _ENTIRE:
            return True, "the air held 90 % relative humidity through the whole cook", ""
        if case.cook_s >= hour and humid >= max(rules["humid_share"] * case.cook_s, hour):
            return True, f"the air held 90 % relative humidity for {_duration_down(humid)}", ""
    high_end = row_c >= rules["steam_end_point"] - _ROUNDING_C
    if (
        case.surface in ("steam", "sealed oven")
        and high_end
        and case.cook_s >= hour
        and humid >= max(rules["steam_share"] * case.cook_s, hour)
    ):
        return True, f"{case.surface} for {_duration_down(humid)}", ""
    what = (
        "the surface was dry"
        if case.surface == "dry"
        else "nothing in the record shows that the surface stayed moist"
    )
    reason = (
        f"the time at temperature is there, but {what}: the table holds for a moist surface "
        "only "
        "(on a dry one bacteria can become heat tolerant)"
    )
    needed = _duration_up(max(rules["humid_share"] * case.cook_s, hour))
    remedy = (
        f"give a humidity record with 90 % for at least {needed} (a water pan or steam "
        "before the surface dries), or wrap it in a sealed moisture-proof bag and say so "
        "(--surface 'sealed bag', in code surface='sealed bag'), or for a piece of 4.5 kg "
        "or more hold the oven at 121 °C or hotter and say how hot it was and what the "
        "piece weighs (--oven and --mass, in code oven_c and mass_kg)"
    )
    if not high_end:
        remedy += "; below an end point of 62.8 °C steam or a sealed oven alone does not do"
    return False, reason, remedy


def _food_code_oven(case: _Case) -> tuple[bool, str, str]:
    rules = case.rules
    humid = case.surface == "sealed bag" or _humid_seconds(case) >= rules["humid_time"]
    if humid:
        return (
            True,
            "high humidity or a moisture-proof bag; any oven up to 121 °C may be used",
            "",
        )
    remedy = (
        "say how hot the oven was at its coldest, whether it was still or convection, and "
        "what the piece weighs (--oven, --oven-kind and --mass, in code oven_c, oven and "
        "mass_kg), or cook in a moisture-proof bag or above 90 % relative humidity for an "
        "hour"
    )
    if case.oven_c is None or case.mass_kg is None or (case.oven is None and not _large(case)):
        return False, "the oven's temperature, its kind or the mass is not known", remedy
    if _large(case):
        needed = rules["large_piece_oven"]
    else:
        needed = rules["still_oven_small" if case.oven == "still" else "convection_oven_small"]
    if case.oven_c >= needed - _ROUNDING_C:
        return (
            True,
            f"the oven held {_reading(case.oven_c)}, {_celsius(needed)} are asked for",
            "",
        )
    return (
        False,
        f"the oven was at {_reading(case.oven_c)} at its coldest; for this size "
        f"{_celsius(needed)} "
        "are asked for in dry air",
        remedy,
    )


# The whole history.


def _judge_come_up(case: _Case, *, decides: bool) -> LimitVerdict:
    limit = next(item for item in band_limits() if item.kind == "come-up")
    record = case.record
    time, temperature = record.known()
    low, high = limit.from_c, limit.to_c

    def answer(
        state: State,
        text: str,
        enough: str,
        start: float | None = None,
        end: float | None = None,
    ) -> LimitVerdict:
        elapsed = None if start is None or end is None else end - start
        counts = decides or state == NOT_MET
        return _limit_verdict(limit, state, counts, start, end, elapsed, text, enough)

    if record.refused or time.size < 2:
        return answer(CANNOT_TELL, "there is no usable record", "repair the record")
    warm = np.flatnonzero(temperature > low)
    if warm.size == 0:
        return answer(CANNOT_TELL, f"the coldest point never passed {_celsius(low)}", "go on")
    begin = float(time[max(int(warm[0]) - 1, 0)])
    through = np.flatnonzero(temperature >= high + case.error_c)
    staphylococci = float(growth_bound(time, temperature, "staphylococcus")[-1])
    if through.size:
        upto = slice(0, int(through[0]) + 1)
        staphylococci = float(growth_bound(time[upto], temperature[upto], "staphylococcus")[-1])
    growth_text = (
        f" Growth of Staphylococcus aureus without lag, an upper bound from broth: "
        f"{_up(staphylococci, 1)} log (design {case.rules['staphylococcus_design']:g}, toxin a "
        f"concern from {case.rules['staphylococcus_alarm']:g})."
    )
    toxin = (
        " Toxin that staphylococci have made is not destroyed by any later heat: longer or "
        "hotter "
        "cooking does not cure a come-up past the limit."
    )
    shorten = "a thinner piece, a hotter or damper start, or an earlier wrap shortens it"
    end = float(time[through[0]]) if through.size else float(time[-1])
    elapsed = end - begin
    if elapsed > limit.limit_s:
        text = (
            f"{_hours_up(elapsed)} between {_celsius(low)} and {_celsius(high)}, limit "
            f"{limit.limit_s / _HOUR:g} h.{growth_text}{toxin}"
        )
        return answer(NOT_MET, text, shorten + "; this piece cannot be mended", begin, end)
    first = float(temperature[0])
    if first > case.rules["warmest_start"]:
        text = (
            f"the record begins at {_reading(first)}; the come-up before it is not known. "
            "(If the numbers are °F, read the log again as such: --units F, in code "
            "units='F'.)" + growth_text
        )
        return answer(CANNOT_TELL, text, "log from the fridge on", begin, end)
    if not through.size:
        text = f"{_hours_up(elapsed)} so far, {_celsius(high)} not reached yet.{growth_text}"
        return answer(CANNOT_TELL, text, f"pass {_celsius(high)} in time", begin, end)
    text = (
        f"{_hours_up(elapsed)} between {_celsius(low)} and {_celsius(high)}, limit "
        f"{limit.limit_s / _HOUR:g} h.{growth_text}"
    )
    if first > low:
        text += f" The record begins at {_reading(first)}; time before it is not counted."
    return answer(MET, text, "nothing more is needed", begin, end)


def _limit_verdict(
    limit: BandLimit,
    state: State,
    counts: bool,
    start: float | None,
    end: float | None,
    elapsed: float | None,
    text: str,
    enough: str,
    *,
    reading_c: float | None = None,
    held_s: float | None = None,
) -> LimitVerdict:
    note = limit.note
    return LimitVerdict(
        name=limit.standard,
        kind=limit.kind,
        state=state,
        counts=counts,
        from_c=limit.from_c,
        to_c=limit.to_c,
        start_s=start,
        end_s=end,
        elapsed_s=elapsed,
        limit_s=limit.limit_s,
        margin_s=None if elapsed is None else limit.limit_s - elapsed,
        text=f"{text.rstrip('.')}. {note[0].upper()}{note[1:]}." if note else text,
        enough=enough,
        sources=(limit.source,),
        reading_c=reading_c,
        held_s=held_s,
        dwell_s=limit.dwell_s or None,
    )


def _judge_cooling(case: _Case, cooling: str | bool) -> tuple[LimitVerdict, ...]:
    chosen = _rules("cooling", cooling)
    return tuple(_judge_band(case, item, decides=bool(cooling)) for item in chosen)


def _rules(kind: str, asked: str | bool) -> list[BandLimit]:
    """Return the rows of the rule asked for by name, or of the usual one."""
    rules = [item for item in band_limits() if item.kind == kind]
    if not isinstance(asked, str):
        return [item for item in rules if item.default]
    chosen = [item for item in rules if item.standard == asked]
    if not chosen:
        known = ", ".join(dict.fromkeys(item.standard for item in rules))
        raise InputError(f"no {kind} rule called '{asked}'; there are: {known}.")
    return chosen


def _judge_band(case: _Case, limit: BandLimit, *, decides: bool) -> LimitVerdict:
    """Time in a band on the way down, at the hottest point."""
    record = case.record
    good = np.isfinite(record.hottest_c)
    time, temperature = record.time_s[good], record.hottest_c[good]
    enough = "chill faster: thinner pieces, moving cold air or an ice bath, unpacked"
    if record.refused or time.size < 2:
        text = "there is no usable record"
        return _limit_verdict(limit, CANNOT_TELL, decides, None, None, None, text, enough)
    peak = int(np.argmax(temperature))
    time, temperature = time[peak:], temperature[peak:]
    inside = np.flatnonzero(temperature - case.error_c <= limit.from_c)
    if inside.size == 0 or float(temperature[0]) < limit.from_c:
        text = (
            f"the record does not reach the cooling from {_celsius(limit.from_c)} to "
            f"{_celsius(limit.to_c)} in {limit.limit_s / _HOUR:g} h"
        )
        return _limit_verdict(limit, CANNOT_TELL, decides, None, None, None, text, "log it")
    begin = float(time[max(int(inside[0]) - 1, 0)])
    through = np.flatnonzero(temperature + case.error_c <= limit.to_c)
    end = float(time[through[0]]) if through.size else float(time[-1])
    elapsed = end - begin
    bound = growth_bound(time, temperature, _perfringens(case.meats))
    text = (
        f"{_hours_up(elapsed)} from {_celsius(limit.from_c)} to {_celsius(limit.to_c)} at the "
        f"hottest probe or place, limit {limit.limit_s / _HOUR:g} h. Growth of Clostridium "
        "perfringens without lag, an upper bound that decides nothing: "
        f"{_up(float(bound[-1]), 1)} "
        "log so far."
    )
    if elapsed > limit.limit_s:
        return _limit_verdict(limit, NOT_MET, True, begin, end, elapsed, text, enough)
    if not through.size:
        text = "not through yet: " + text
        enough = (
            f"be at {_celsius(limit.to_c)} within {_duration_down(limit.limit_s - elapsed)}"
        )
        return _limit_verdict(limit, CANNOT_TELL, decides, begin, end, elapsed, text, enough)
    done = "nothing more is needed"
    return _limit_verdict(limit, MET, decides, begin, end, elapsed, text, done)


def _perfringens(meats: tuple[str, ...]) -> str:
    poultry = any(meat in POULTRY for meat in meats)
    return "perfringens chicken" if poultry else "perfringens beef"


def _judge_reheating(case: _Case, reheating: str | bool) -> tuple[LimitVerdict, ...]:
    if reheating is False:
        return ()
    return tuple(_judge_reheat(case, item) for item in _rules("reheating", reheating))


def _judge_reheat(case: _Case, limit: BandLimit) -> LimitVerdict:
    """Judge the last rise from the cold: every part hot enough, for long enough, in time.

    The clock starts with the last reading at which all of it was surely cold and stops
    where the coldest point begins the first dwell that is long enough.
    """
    record = case.record
    target = limit.to_c + case.error_c
    good = np.isfinite(record.coldest_c) & np.isfinite(record.hottest_c)
    time, coldest, hottest = (
        part[good] for part in (record.time_s, record.coldest_c, record.hottest_c)
    )

    def answer(
        state: State,
        text: str,
        enough: str,
        start: float | None = None,
        end: float | None = None,
        held: float | None = None,
    ) -> LimitVerdict:
        elapsed = None if start is None or end is None else end - start
        return _limit_verdict(
            limit, state, True, start, end, elapsed, text, enough, reading_c=target, held_s=held
        )

    if record.refused or time.size < 2:
        return answer(CANNOT_TELL, "there is no usable record", "repair the record")
    if float(np.min(coldest)) > limit.from_c + _ROUNDING_C:
        text = (
            f"the record does not come from the cold: no reading at or below "
            f"{_celsius(limit.from_c)}, lowest {_reading(float(np.min(coldest)))}; when the "
            "meat left the cold is not known"
        )
        return answer(CANNOT_TELL, text, "log from the cold store on")
    leaving = _leaves_the_cold(coldest, hottest, limit.from_c, case.error_c)
    if leaving is None:
        text = "the record does not rise from the cold"
        return answer(CANNOT_TELL, text, "log the reheating, from the cold store on")
    left, latest, surely = leaving
    start, latest_start = float(time[surely]), float(time[latest])
    rise, readings = time[left:], coldest[left:]
    starts, ends = _stretches(rise, readings, target, record.longest_gap_s)
    long_enough = np.flatnonzero(ends - starts >= limit.dwell_s)
    asked = (
        f"{_with_error(limit.to_c, case)} or more in all parts for "
        f"{_duration_up(limit.dwell_s)}, within {limit.limit_s / _HOUR:g} h of leaving "
        f"{_celsius(limit.from_c)}, are asked for"
    )
    begun = f"{_clock(start)} on the record's clock"
    until = float(starts[long_enough[0]]) if long_enough.size else float(time[-1])
    gap = next((g for g in record.gaps() if g[1] > latest_start and g[0] < until), None)
    held = float(np.max(ends - starts)) if starts.size else 0.0
    if long_enough.size:
        held = float(ends[long_enough[0]] - starts[long_enough[0]])
        text = (
            f"reached {_minutes_up(until - start)} after leaving the cold ({begun}), held "
            f"{_duration_down(held)}; {asked}"
        )
    else:
        peak = float(np.max(readings))
        text = (
            f"highest reading {_reading(peak)}, held {_duration_down(held)} at "
            f"{_celsius(target)} or above, {_minutes_up(until - start)} after leaving the "
            f"cold ({begun}) at the record's end; {asked}"
        )
    if start == time[0]:
        text += ". Time before the record is not counted"
    text += "."
    if gap is not None:
        text += (
            f" The record has no reading from {_clock(gap[0])} to {_clock(gap[1])}, longer "
            f"than the {record.longest_gap_s:g} s allowed."
        )
        again = "log the next reheating without a break; this one stays unknown"
        return answer(CANNOT_TELL, text, again, start, until, held)
    faster = "smaller or thinner portions, a hotter or damper oven or a pan with liquid"
    if not long_enough.size:
        spare = limit.limit_s - (until - start)
        enough = (
            f"bring every part to a reading of {_celsius(target)} or more within the "
            f"{_duration_down(spare)} that are left after the record and hold it there for "
            f"{_duration_up(limit.dwell_s)}, with a reading at both ends"
            if spare > 0.0
            else f"be there within {limit.limit_s / _HOUR:g} h: {faster}; the time in the "
            "growth range is not undone by going on"
        )
        return answer(NOT_MET, text, enough, start, until, held)
    if until - latest_start > limit.limit_s:
        late = f"{faster}; the time in the growth range is not undone by more heat"
        return answer(NOT_MET, text, late, start, until, held)
    if until - start > limit.limit_s:
        enough = (
            f"start from a reading of {_reading(limit.from_c - case.error_c)} or less at "
            "every probe just before it is warmed: beyond the error of the probe this record "
            "does not show when the meat left the cold"
        )
        return answer(CANNOT_TELL, text, enough, start, until, held)
    return answer(MET, text, "nothing more is needed", start, until, held)


def _parts(case: _Case, reheated: Sequence[LimitVerdict]) -> tuple[_Case, ...]:
    """Cut the record where a reheating leaves the cold: each part cools and is held alone."""
    start = reheated[0].start_s if reheated else None
    if start is None:
        return (case,)
    time = case.record.time_s
    return tuple(
        replace(
            case,
            record=replace(
                case.record,
                time_s=time[kept],
                coldest_c=case.record.coldest_c[kept],
                hottest_c=case.record.hottest_c[kept],
            ),
        )
        for kept in (time <= start, time >= start)
    )


def _each_part(
    parts: Sequence[_Case], judge: Callable[[_Case], tuple[LimitVerdict, ...]]
) -> tuple[LimitVerdict, ...]:
    """Judge every part that the limit speaks about; the last one where it is none."""
    judged = [judge(part) for part in parts]
    begun = tuple(item for items in judged for item in items if item.start_s is not None)
    return begun or judged[-1]


def _leaves_the_cold(
    coldest: Floats, hottest: Floats, cold_c: float, error_c: float
) -> tuple[int, int, int] | None:
    """Where the last rise from the cold begins, or None where there is none.

    Index of the last cold reading of the coldest point, and the latest and the earliest
    index at which the meat may have begun to leave the cold: the first of the parts to
    leave counts, and a reading is surely cold only below the limit by the probe's error.
    Where the stay in the cold has no such reading, its first one stands for it.
    """
    cold = np.flatnonzero(coldest <= cold_c + _ROUNDING_C)
    warm = np.flatnonzero(coldest > cold_c + error_c + _ROUNDING_C)
    if warm.size and warm[-1] < coldest.size - 1:  # it ends in the cold again
        cold = cold[cold < warm[-1]]
    if cold.size == 0 or warm.size == 0:
        return None
    left = int(cold[-1])
    before = warm[warm < left]
    first = int(before[-1]) + 1 if before.size else 0
    stay = hottest[first : left + 1]
    nominally = np.flatnonzero(stay <= cold_c + _ROUNDING_C)
    surely = np.flatnonzero(stay <= cold_c - error_c + _ROUNDING_C)
    return (
        left,
        first + int(nominally[-1]) if nominally.size else left,
        first + (int(surely[-1]) if surely.size else 0),
    )


def _with_error(limit_c: float, case: _Case) -> str:
    """Say the reading that is asked for and how it comes about."""
    if not case.error_c:
        return _celsius(limit_c)
    return (
        f"{_celsius(limit_c + case.error_c)} ({_celsius(limit_c)} plus {case.error_c:g} K of "
        "error)"
    )


def _judge_hot_hold(case: _Case, *, counts: bool) -> LimitVerdict:
    limit = next(item for item in band_limits() if item.kind == "hot holding" and item.default)
    floor = limit.from_c + case.error_c
    time, temperature = case.record.known()
    hot = np.flatnonzero(temperature >= floor)
    if case.record.refused or hot.size == 0:
        text = f"the coldest point never read {_with_error(limit.from_c, case)}"
        return _limit_verdict(
            limit, CANNOT_TELL, counts, None, None, None, text, "heat it", reading_c=floor
        )
    first, last = int(hot[0]), int(hot[-1])
    begin, end = float(time[first]), float(time[last])
    lowest = float(np.min(temperature[first : last + 1]))
    # The level is rounded up and readings are rounded down: one on the level would seem below.
    level, least = "", _reading(lowest)
    if abs(lowest - floor) < 0.1:
        level, least = f" ({floor:.2f} °C to two places)", f"{lowest:.2f} °C"
    text = (
        f"judged at a reading of {_with_error(limit.from_c, case)} or above{level}: from "
        f"first to last such reading {_duration_down(end - begin)}, lowest reading in between "
        f"{least}. 54.4 °C is the least at which C. perfringens does not grow; "
        "57.2 °C is the Food Code's floor."
    )
    if lowest < floor:
        enough = "keep the holder hotter; reheat once it has fallen below, or chill it at once"
        return _limit_verdict(
            limit, NOT_MET, counts, begin, end, None, text, enough, reading_c=floor
        )
    if last < time.size - 1:
        text += (
            " It left the hot hold at the end of that time; cooling limits count from there."
        )
    done = "nothing more is needed"
    return _limit_verdict(limit, MET, counts, begin, end, None, text, done, reading_c=floor)


# The integral.


def _integral_views(
    case: _Case, organism: str | Sequence[str] | None, slow_margin_log: float | None
) -> tuple[IntegralView, ...]:
    margin = _slow_margin(case, slow_margin_log)
    poultry = any(meat in POULTRY for meat in case.meats)
    views: list[IntegralView] = []
    if organism is None:
        names: tuple[str, ...] = ("salmonella beef guideline", "stec beef 30% fat")
        if set(case.meats) <= set(POULTRY):
            names = ("o157 turkey",)
        names += ("listeria beef 30% fat",)
        if poultry:
            views.append(_poultry_view(case, margin))
    else:
        names = (organism,) if isinstance(organism, str) else tuple(organism)
    views += [_kinetics_view(case, load_kinetics(name), margin) for name in names]
    if organism is None:
        views.append(_uk_view(case))
    return tuple(views)


def _slow_margin(case: _Case, given: float | None) -> tuple[float, str]:
    """Margin for slow heating and why. [log10]."""
    rules = case.rules
    if given is not None:
        return given, f"margin for slow heating of {given:g} log as given"
    time, temperature = case.record.known()
    begin, end = 40.0, CREDIT_FROM_C  # °C, holds at 40 to 50 °C were studied
    warm = np.flatnonzero(temperature >= begin)
    through = np.flatnonzero(temperature >= end)
    if warm.size and through.size and float(temperature[0]) < begin:
        minutes = (float(time[through[0]]) - float(time[warm[0]])) / _MINUTE
        if minutes <= 0.0 or (end - begin) / minutes >= rules["slow_rate"]:
            return 0.0, "heated faster than 1 K/min: no margin for slow heating"
    kind = "other"
    if any(meat in POULTRY for meat in case.meats):
        kind = "poultry"
    elif "pork" in case.meats:
        kind = "pork"
    elif set(case.meats) <= {"beef", "veal"}:
        kind = "beef"
    margin = rules[f"slow_margin_{kind}"]
    return margin, (
        f"margin of {margin:g} log for slow heating (published errors of ordinary kinetics "
        "2.2 to "
        "4.7 log on the dangerous side; one beef study saw none)"
    )


def _target(kinetics: Kinetics, case: _Case) -> float:
    rules = case.rules
    if kinetics.organism.startswith("Listeria"):
        return rules["target_listeria"]
    if kinetics.organism.startswith(("STEC", "Escherichia")):
        return rules["target_stec"]
    if any(meat in POULTRY for meat in case.meats):
        return rules["target_salmonella_poultry"]
    return rules["target_salmonella_meat"]


def _hidden_fall(case: _Case) -> float:
    """Fastest fall that may hide between two samples; a simulated cook has none. [K/s]."""
    return 0.0 if case.record.kind == "cook" else case.rules["hidden_fall"] / _MINUTE


def _kinetics_view(case: _Case, kinetics: Kinetics, margin: tuple[float, str]) -> IntegralView:
    factor = case.rules["inside_muscle_factor"] if case.condition == "tenderised" else 1.0
    low_min, high_min = kinetics.d_range_min
    kinetics = replace(
        kinetics,
        d_reference_min=kinetics.d_reference_min * factor,
        d_range_min=(low_min * factor, high_min * factor),
    )
    history = lethality(
        case.record.time_s,
        _credible(case),
        kinetics,
        max_gap_s=_finite_gap(case),
        fall_limit_k_per_s=_hidden_fall(case),
    )
    spread = kinetics_spread(_time_at(case), kinetics, temperature_error_c=case.error_c)
    surface = None
    if case.record.surface_c is not None:
        capped = np.minimum(case.record.surface_c, kinetics.valid_high_c)
        surface = lethality(case.record.time_s, capped, kinetics).total
    note = kinetics.note
    if factor != 1.0:
        note += f" D is multiplied by {factor:g}: bacteria carried into whole muscle."
    return _view(
        case,
        name=kinetics.name,
        organism=kinetics.organism,
        food=kinetics.food,
        history=history,
        spread=spread,
        surface=surface,
        target=_target(kinetics, case),
        margin=margin,
        note=note,
        low_c=max(kinetics.valid_low_c, CREDIT_FROM_C),
        high_c=kinetics.valid_high_c,
        source=kinetics.source,
    )


def _table_curve(standard: Standard, credit: float, unit: str) -> RateCurve:
    levels = standard.temperatures_c
    minutes = np.array([standard.required_s(level) for level in levels]) / _MINUTE
    # A longer time at a hotter row (a rounding in the table) must not lower the rate.
    rates = np.maximum.accumulate(np.log10(credit / minutes))
    return RateCurve(levels, tuple(float(rate) for rate in rates), unit)


def _poultry_view(case: _Case, margin: tuple[float, str]) -> IntegralView:
    standard = load_standard("us poultry 7 log")
    target = case.rules["target_salmonella_poultry"]
    curve = _table_curve(standard, target, "log10")
    return _curve_view(
        case,
        standard,
        curve,
        name="salmonella poultry guideline",
        organism="Salmonella",
        food="poultry, longer of chicken and turkey at 12 % fat",
        target=target,
        margin=margin,
        note="Log time is interpolated inside the table, never below 57.8 °C.",
    )


def uk_curve() -> RateCurve:
    """Minutes at 70 °C per minute: the smaller z below the anchor, the larger above.

    The longest of the printed rows and the law, so that the integral never credits
    more than a printed row does; nothing below the coldest row (60 °C).
    """
    standard = load_standard("uk 70 for 2 min")
    law = standard.law
    assert law is not None  # standards.toml gives it one; a test holds it to that
    return _table_curve(standard, law.time_s / _MINUTE, "minutes")


def _uk_view(case: _Case) -> IntegralView:
    standard = load_standard("uk 70 for 2 min")
    law = standard.law
    assert law is not None
    return _curve_view(
        case,
        standard,
        uk_curve(),
        name="uk 70 for 2 min",
        organism=standard.organism,
        food="all meats, minutes at 70 °C",
        target=law.time_s / _MINUTE,
        margin=(0.0, "no margin for slow heating can be stated in minutes"),
        note="Equivalent minutes at 70 °C; the smaller z below it, the larger above.",
    )


def _curve_view(
    case: _Case,
    standard: Standard,
    curve: RateCurve,
    *,
    name: str,
    organism: str,
    food: str,
    target: float,
    margin: tuple[float, str],
    note: str,
) -> IntegralView:
    history = credit_history(
        case.record.time_s,
        _credible(case),
        curve,
        max_gap_s=_finite_gap(case),
        fall_limit_k_per_s=_hidden_fall(case),
    )
    low, high = load_kinetics().d_range_min
    centre = load_kinetics().d_reference_min
    spread = curve_spread(
        _time_at(case),
        curve,
        temperature_error_c=case.error_c,
        slowest=high / centre,
        fastest=low / centre,
    )
    surface = None
    if case.record.surface_c is not None:
        capped = np.minimum(case.record.surface_c, curve.temperature_c[-1])
        surface = credit_history(case.record.time_s, capped, curve).total
    return _view(
        case,
        name=name,
        organism=organism,
        food=food,
        history=history,
        spread=spread,
        surface=surface,
        target=target,
        margin=margin,
        note=note,
        low_c=curve.temperature_c[0],
        high_c=curve.temperature_c[-1],
        source=standard.source,
    )


def _finite_gap(case: _Case) -> float | None:
    return case.record.longest_gap_s if math.isfinite(case.record.longest_gap_s) else None


def _credible(case: _Case) -> Floats:
    """Return the record, or nothing at all where it must not be believed."""
    if case.record.refused:
        return np.full_like(case.record.coldest_c, np.nan)
    return case.record.coldest_c


def _time_at(case: _Case) -> TimeAtTemperature:
    return time_at_temperature(
        case.record.time_s,
        _credible(case),
        longest_gap_s=case.record.longest_gap_s,
        hidden_fall_k_per_s=_hidden_fall(case),
    )


def _view(
    case: _Case,
    *,
    name: str,
    organism: str,
    food: str,
    history: LethalityHistory,
    spread: Spread,
    surface: float | None,
    target: float,
    margin: tuple[float, str],
    note: str,
    low_c: float,
    high_c: float,
    source: str,
) -> IntegralView:
    added = case.growth_log if history.unit == "log10" else 0.0
    required = target + margin[0] + added
    confident = spread.confident
    time, temperature = case.record.known()
    at_c = low_c
    if time.size:
        last = float(temperature[-1])
        at_c = last if last >= low_c else max(float(np.max(temperature)), low_c)
    at_c = min(at_c, high_c)
    state: State = MET if confident >= required else NOT_MET
    gap = _gap_text(case.record, low_c)
    if case.record.refused or gap:
        state = CANNOT_TELL
    minutes = kelvin = 0.0
    if state == NOT_MET:
        minutes = spread.minutes_until(required, at_c)
        kelvin = spread.kelvin_until(required)
    enough = "nothing more is needed"
    if state == NOT_MET:
        enough = (
            f"{_duration_up(minutes * _MINUTE)} longer at a reading of {_celsius(at_c)}"
            if math.isfinite(minutes)
            else f"no hold at {_celsius(at_c)} does it: go hotter"
        )
        if math.isfinite(kelvin) and kelvin > 0.0:
            enough += f", or the same record {_up(kelvin, 1)} K hotter"
    elif state == CANNOT_TELL:
        enough = gap or " ".join(case.record.faults)
    scale = confident / history.total if history.total > 0.0 else 0.0
    return IntegralView(
        name=name,
        organism=organism,
        food=food,
        unit=history.unit,
        history=history,
        confident_curve=history.cumulative * scale,
        value=history.total,
        median=spread.median,
        confident=confident,
        surface=surface,
        target=target,
        slow_margin=margin[0],
        growth_added=added,
        required=required,
        state=state,
        more_minutes=minutes,
        more_kelvin=kelvin,
        at_c=at_c,
        enough=enough,
        note=f"{cited(note)} Target with {margin[1]}.",
        sources=(source,),
    )


# The answer in words.


def _overall(
    case: _Case, standards: Sequence[StandardVerdict], limits: Sequence[LimitVerdict]
) -> State:
    if not case.stated:
        found = {_state_for(meat, case, standards, limits) for meat in case.meats}
        return found.pop() if len(found) == 1 else CANNOT_TELL
    return _combined(standards, limits)


def _state_for(
    meat: str,
    case: _Case,
    standards: Sequence[StandardVerdict],
    limits: Sequence[LimitVerdict],
) -> State:
    """Answer for one of the meats that a record without a stated meat may be of."""
    kept = [s for s in standards if load_standard(s.name).covers(meat, case.condition)]
    return _combined(kept, limits)


def _combined(standards: Sequence[StandardVerdict], limits: Sequence[LimitVerdict]) -> State:
    states = [item.state for item in standards if item.counts]
    states += [item.state for item in limits if item.counts]
    if NOT_MET in states:
        return NOT_MET
    if CANNOT_TELL in states or not any(item.counts for item in standards):
        return CANNOT_TELL
    return MET


def _headline(
    state: State,
    standards: Sequence[StandardVerdict],
    limits: Sequence[LimitVerdict],
    case: _Case,
    probe_error_c: float,
) -> str:
    deciding = [(item.title, item.state) for item in standards if item.counts]
    deciding += [(f"{item.kind} ({item.name})", item.state) for item in limits if item.counts]
    under = (
        f"for {' and '.join(case.meats)}, {case.condition}, at {case.record.point}, with "
        f"{probe_error_c:g} K of probe error"
    )
    if not case.stated:
        parts = [
            f"as {meat}: {_state_for(meat, case, standards, limits)}" for meat in case.meats
        ]
        if len({part.partition(": ")[2] for part in parts}) > 1:
            return (
                f"Cannot tell, because the meat is not stated ({'; '.join(parts)}), judged "
                f"{under}. Name the meat to get one answer."
            )
    fitting = "; ".join(title for title, item in deciding if item == state)
    if state == MET:
        return f"Meets {fitting}, under these assumptions: {under}."
    if state == NOT_MET:
        return f"Does not meet {fitting}, judged {under}."
    return f"Cannot tell under {fitting or 'any standard chosen'}, judged {under}."


def _assumptions(
    case: _Case, probe_error_c: float, placement_error_c: float
) -> tuple[str, ...]:
    record = case.record
    found = [
        f"Point: {record.point}. {_which_point(case.condition)}",
        f"Limits are target plus {probe_error_c:g} K of probe error"
        + (f" plus {placement_error_c:g} K for placement" if placement_error_c else "")
        + ".",
        "Holds: unbroken time at or above the row; crossings between samples earn nothing.",
        f"No kill is credited below {CREDIT_FROM_C:g} °C (come-up).",
    ]
    if math.isfinite(record.longest_gap_s):
        found.append(
            f"A step above {record.longest_gap_s:g} s between samples is a gap and earns "
            "nothing."
        )
    if _hidden_fall(case) > 0.0:
        found.append(
            "Integral: between samples the meat is taken to fall at "
            f"{case.rules['hidden_fall']:g} K/min."
        )
    if record.kind == "cook":
        found.append(
            "The temperatures are simulated: they say what to expect, and only a thermometer "
            "in "
            "the piece says what happened."
        )
    if not case.stated:
        found.append(
            "The meat is not stated: judged as beef and as poultry; where the two differ it "
            "cannot be told."
        )
    elif len(case.meats) > 1 and any(meat in POULTRY for meat in case.meats):
        found.append("A mixture with poultry: the poultry standards apply (2021 guideline).")
    if case.growth_log:
        found.append(f"{case.growth_log:g} log of growth are added to the lethality required.")
    return tuple(found)


def _which_point(condition: str) -> str:
    return {
        "intact": "Intact: bacteria sit on the surface, so the surface decides what is at "
        "risk; "
        "the standards still ask for the coldest point.",
        "tenderised": "Tenderised or injected: needles carry the surface inwards; the coldest "
        "point decides.",
        "rolled": "Rolled: the former surface lies inside; the coldest point decides.",
        "ground": "Ground: the surface is everywhere; the coldest point decides.",
    }[condition]


def _cautions(
    case: _Case,
    standards: Sequence[StandardVerdict],
    integrals: Sequence[IntegralView],
) -> tuple[str, ...]:
    found = [CAUTION]
    if case.record.kind != "cook":
        found.append(
            "The probe may not sit at the coldest point: check a second place, or say how "
            "much colder that point may be (in code placement_error_c), or how thick and of "
            "what shape the piece is and how deep the probe sat (--thickness, --shape and "
            "--probe-depth, in code probe_offset_m and shape)."
        )
    weak = [view.name for view in integrals if view.state == NOT_MET]
    met = [
        item.title if item.counts else f"{item.title} (which does not decide here)"
        for item in standards
        if item.state == MET
    ]
    if weak and met:
        found.append(
            f"The integral at 95 % confidence falls short for {', '.join(weak)}, although the "
            f"rows are met of {', '.join(met)}: they are more lenient there than the kinetics."
        )
    if case.record.surface_activity is not None:
        driest = float(np.nanmin(case.record.surface_activity))
        found.append(
            f"The simulated surface dries to a water activity of {driest:.2f}; kinetics and "
            "tables hold for a moist surface."
        )
    return tuple(found)


def _blind_spots(case: _Case) -> tuple[str, ...]:
    found = []
    if not case.record.refused:
        for name in ("ecoli aw1.7 beef", "salmonella senftenberg beef"):
            strain = load_kinetics(name)
            value = lethality(
                case.record.time_s,
                case.record.coldest_c,
                strain,
                max_gap_s=_finite_gap(case),
                fall_limit_k_per_s=_hidden_fall(case),
            ).total
            found.append(
                f"{strain.organism}, lies outside every table; this record gives it "
                f"{_amount(value, 'log10')}."
            )
    found += [
        "Spores of Clostridium perfringens survive all cooking here; cooling decides about "
        "them.",
        "Staphylococcal toxin and the emetic toxin of Bacillus cereus survive cooking.",
    ]
    return tuple(found)


def _down(value: float, digits: int) -> str:
    scale = 10.0**digits
    return f"{math.floor(value * scale + 1e-9) / scale:.{digits}f}"


def _amount(value: float, unit: str) -> str:
    """Say a credit, rounded down; no count of survivors goes beyond a dozen log."""
    if unit == "minutes":
        return f"{_down(value, 1)} min at 70 °C"
    return "over 12 log" if value > _MOST_SHOWN_LOG else f"{_down(value, 1)} log"


def _up(value: float, digits: int) -> str:
    scale = 10.0**digits
    return f"{math.ceil(value * scale - 1e-9) / scale:.{digits}f}"


def _celsius(value_c: float) -> str:
    # Marked so that verdict_text can turn it into °F; a limit is rounded upwards.
    return f"{_up(value_c, 1)} °C"


def _reading(value_c: float) -> str:
    return f"{_down(value_c, 1)} °C"


def _clock(seconds: float) -> str:
    minutes = int(seconds // _MINUTE)
    return f"{minutes // 60}:{minutes % 60:02d}"


def _duration_up(seconds: float) -> str:
    if not math.isfinite(seconds):
        return "no time at all"
    if seconds < 10.0 * _MINUTE:
        return (
            f"{math.ceil(seconds - 1e-9)} s" if seconds < _MINUTE * 2 else _minutes_up(seconds)
        )
    return _minutes_up(seconds)


def _minutes_up(seconds: float) -> str:
    return f"{math.ceil(seconds / _MINUTE - 1e-9)} min"


def _duration_down(seconds: float) -> str:
    if seconds < 2.0 * _MINUTE:
        return f"{math.floor(max(seconds, 0.0) + 1e-9)} s"
    return f"{math.floor(seconds / _MINUTE + 1e-9)} min"


def _hours_up(seconds: float) -> str:
    return f"{_up(seconds / _HOUR, 1)} h"


def verdict_text(answer: Verdict, units: str = "C") -> str:
    """Return the verdict as text for a terminal.

    Parameters
    ----------
    answer : Verdict
        From `verdict`.
    units : str
        "C" or "F" for temperatures.

    Raises
    ------
    InputError
        Other units.
    """
    _choice(units, ("C", "F"), "units")
    lines = [answer.headline, ""]
    if answer.faults:
        lines += ["The record:", *(f"  - {fault}" for fault in answer.faults), ""]
    lines.append("By hold standard (every part at a minimum, for a time):")
    for item in answer.standards:
        note = "" if item.counts else " (shown, does not decide)"
        lines.append(f"  {_words(item.state)} {item.title}{note}")
        lines.append(f"      because: {item.governing}")
        if item.state != MET:
            verb = "apply" if item.state == CANNOT_TELL else "enough"
            lines.append(f"      what would make it {verb}: {item.enough}")
        lines.append(f"      {item.revision}; {item.caution}")
    lines.append("")
    lines.append("The whole history:")
    for limit in answer.limits:
        note = "" if limit.counts else " (shown, does not decide)"
        band = ""
        if limit.from_c != limit.to_c:
            band = f", {_celsius(limit.from_c)} to {_celsius(limit.to_c)}"
        name = f"{limit.kind}, {limit.name}{band}"
        lines.append(f"  {_words(limit.state)} {name}{note}: {limit.text}")
        if limit.state != MET:
            lines.append(f"      what would help: {limit.enough}")
    lines.append("")
    lines.append("Kill added up over the record (a view beside the standards, never mixed in):")
    for view in answer.integrals:
        lines.append(
            f"  {view.organism} in {view.food}: median {_amount(view.median, view.unit)}, "
            f"{_amount(view.confident, view.unit)} with {CONFIDENCE:.0%} confidence; "
            f"{_up(view.required, 1)} required ({view.target:g} plus {view.slow_margin:g} for "
            f"slow heating plus {view.growth_added:g} for growth): {view.state}"
        )
        if view.surface is not None:
            surface = _amount(view.surface, view.unit)
            lines.append(f"      at the simulated surface, if it stayed moist: {surface}")
        if view.state != MET:
            lines.append(f"      what would make it enough: {view.enough}")
    for title, entries in (
        ("Assumed:", answer.assumptions),
        ("Beware:", answer.cautions),
        ("Not covered by any table:", answer.blind_spots),
    ):
        lines += ["", title, *(f"  - {entry}" for entry in entries)]
    keys = dict.fromkeys(key for item in answer.standards for key in item.sources)
    keys |= dict.fromkeys(key for item in answer.limits for key in item.sources)
    keys |= dict.fromkeys(key for view in answer.integrals for key in view.sources)
    lines += ["", "Sources:", *(f"  - {tables.source(key).citation()}" for key in keys)]
    return _in_units("\n".join(lines), units)


def _words(state: State) -> str:
    return {MET: "MEETS", NOT_MET: "DOES NOT MEET", CANNOT_TELL: "CANNOT TELL UNDER"}[state]


def _in_units(text: str, units: str) -> str:
    """Turn every "12.3 °C" into °F, upwards; a text in °C passes as it is."""
    if units == "C":
        return text

    def point(match: re.Match[str]) -> str:
        return f"{_up(float(celsius_to_fahrenheit(float(match[1]))), 1)} °F"

    def difference(match: re.Match[str]) -> str:
        return f"{float(delta_celsius_to_fahrenheit(float(match[1]))):.3g} F degrees{match[2]}"

    text = re.sub(r"(-?\d+(?:\.\d+)?) °C", point, text)
    return re.sub(r"(\d+(?:\.\d+)?) K(/min)?\b", lambda m: difference(m), text)


def verdict_dict(answer: Verdict, units: str = "C") -> dict[str, Any]:
    """Return the verdict as plain data for JSON; no NaN and no infinity in it.

    Parameters
    ----------
    answer : Verdict
        From `verdict`.
    units : str
        "C" or "F" for the temperatures in sentences; numbers stay in SI and °C, as
        their names say.
    """
    _choice(units, ("C", "F"), "units")

    def plain(item: Any, leave: tuple[str, ...] = ()) -> dict[str, Any]:
        return {
            key: _json(getattr(item, key), units)
            for key in item.__dataclass_fields__
            if key not in leave
        }

    return {
        "state": answer.state,
        "exit_code": answer.exit_code,
        "headline": _json(answer.headline, units),
        "meats": list(answer.meats),
        "condition": answer.condition,
        "point": answer.record.point,
        "probe_error_c": answer.probe_error_c,
        "placement_error_c": answer.placement_error_c,
        "standards": [plain(item) for item in answer.standards],
        "limits": [plain(item) for item in answer.limits],
        "integrals": [
            plain(view, ("history", "confident_curve"))
            | {
                "uncredited": [plain(part) for part in view.history.uncredited],
                "interpolation": view.history.interpolation,
            }
            for view in answer.integrals
        ],
        "assumptions": _json(answer.assumptions, units),
        "cautions": _json(answer.cautions, units),
        "faults": _json(answer.faults, units),
        "blind_spots": _json(answer.blind_spots, units),
    }


def _json(value: Any, units: str) -> Any:
    if isinstance(value, str):
        return _in_units(value, units)
    if isinstance(value, (tuple, list)):
        return [_json(item, units) for item in value]
    if isinstance(value, float):
        return value if math.isfinite(value) else None
    return value
