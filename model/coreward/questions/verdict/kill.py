"""The integral of kill, a view beside the standards and never mixed with them."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.physics.lethality import (
    CREDIT_FROM_C,
    Kinetics,
    LethalityHistory,
    RateCurve,
    credit_history,
    kinetics_for,
    lethality,
    load_kinetics,
    outside_every_table,
)
from coreward.questions.hold.spread import (
    Spread,
    TimeAtTemperature,
    curve_spread,
    kinetics_spread,
    time_at_temperature,
)
from coreward.questions.verdict.answer import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    NOTHING_MORE,
    IntegralView,
    State,
)
from coreward.questions.verdict.case import MINUTE, Case
from coreward.questions.verdict.holds import gap_text
from coreward.tables.standards import (
    Standard,
    load_standard,
    marked_text,
    standard_names,
)
from coreward.words import (
    Earned,
    MissingDifference,
    Needed,
    Published,
    Rate,
    Text,
    say,
    together,
)

Floats = NDArray[np.float64]
MOST_SHOWN_LOG = 12.0
"""No count of survivors goes beyond a dozen log."""


def amount(value: float, unit: str) -> Text:
    """Say a credit, rounded down."""
    if unit == "minutes":
        return say("{0} at {1}", Earned(value, "min"), Published(_minutes_at_c()))
    return Earned(value, "log", MOST_SHOWN_LOG)


def _minutes_at_c() -> float:
    return next(s.law.anchor_c for s in _views() if s.law and s.view and _unit(s) == "minutes")


def _views() -> tuple[Standard, ...]:
    return tuple(s for s in map(load_standard, standard_names()) if s.view is not None)


def _unit(standard: Standard) -> str:
    return standard.view["unit"] if standard.view else ""


@dataclass(frozen=True, eq=False)
class _History:
    """One history as the integral reads it."""

    case: Case
    credible_c: Floats
    at: TimeAtTemperature
    fall: float
    margin: tuple[float, Text]

    @property
    def gap_s(self) -> float | None:
        longest = self.case.record.longest_gap_s
        return longest if math.isfinite(longest) else None


def hidden_fall(case: Case) -> float:
    """Fastest fall that may hide between two samples; a simulated cook has none. [K/s]."""
    return 0.0 if case.record.kind == "cook" else case.rules["hidden_fall"] / MINUTE


def _credible(case: Case) -> Floats:
    """Return the record, with nothing at all where it must not be believed or is unknown."""
    record = case.record
    if record.refused:
        return np.full_like(record.coldest_c, np.nan)
    if not record.unknown_spans:
        return record.coldest_c
    # A missing reading on one side of a span of unknown time: nothing is credited over it.
    credible = record.coldest_c.copy()
    credible[np.flatnonzero(record.spanned(record.time_s))] = np.nan
    return credible


def integral_views(
    case: Case, organism: str | Sequence[str] | None, slow_margin_log: float | None
) -> tuple[IntegralView, ...]:
    """Return the views that matter for the meat, or those asked for by name."""
    fall = hidden_fall(case)
    credible = _credible(case)
    at = time_at_temperature(
        case.record.time_s,
        credible,
        longest_gap_s=case.record.longest_gap_s,
        hidden_fall_k_per_s=fall,
    )
    history = _History(case, credible, at, fall, _slow_margin(case, slow_margin_log))
    names = (organism,) if isinstance(organism, str) else organism
    tables_read = {standard.view["name"]: standard for standard in _views() if standard.view}
    return tuple(
        _curve_view(history, tables_read[name])
        if name in tables_read
        else _kinetics_view(history, load_kinetics(name))
        for name in (usual_views(case.meats) if names is None else names)
    )


def usual_views(meats: Sequence[str]) -> tuple[str, ...]:
    """Return the names of the views that matter for a meat, as `organism` takes them."""
    curves = [s for s in _views() if any(meat in s.meats for meat in meats)]
    named = [(s.view["name"], _unit(s)) for s in curves if s.view]
    # A table that bends is read itself, in place of the line over it.
    return tuple(
        dict.fromkeys(
            (
                *(name for name, unit in named if unit == "log10"),
                *kinetics_for(meats),
                *(name for name, unit in named if unit != "log10"),
            )
        )
    )


def _slow_margin(case: Case, given: float | None) -> tuple[float, Text]:
    """Margin for slow heating and why. [log10]."""
    rules = case.rules
    if given is not None:
        return given, f"margin for slow heating of {given:g} log as given"
    time, temperature = case.record.known()
    begin, end = rules["slow_from"], CREDIT_FROM_C
    warm = np.flatnonzero(temperature >= begin)
    through = np.flatnonzero(temperature >= end)
    if warm.size and through.size and float(temperature[0]) < begin:
        minutes = (float(time[through[0]]) - float(time[warm[0]])) / MINUTE
        if minutes <= 0.0 or (end - begin) / minutes >= rules["slow_rate"]:
            return 0.0, say(
                "heated faster than {0}: no margin for slow heating",
                Rate(rules["slow_rate"], "min"),
            )
    kind = "other"
    if case.poultry:
        kind = "poultry"
    elif "pork" in case.meats:
        kind = "pork"
    elif set(case.meats) <= {"beef", "veal"}:
        kind = "beef"
    margin = rules[f"slow_margin_{kind}"]
    return margin, (
        f"margin of {margin:g} log for slow heating (published errors of ordinary kinetics 2.2 "
        "to 4.7 log on the dangerous side; one beef study saw none)"
    )


def _target(group: str, case: Case) -> float:
    # Cells that no target of the guideline names are held against that of the usual table.
    name = group if f"target_{group}" in case.rules else load_kinetics().group
    by_meat = f"target_{name}_{'poultry' if case.poultry else 'meat'}"
    return case.rules[by_meat if by_meat in case.rules else f"target_{name}"]


def _kinetics_view(history: _History, kinetics: Kinetics) -> IntegralView:
    case = history.case
    needled = bool({"tenderised", "injected"} & set(case.states))
    factor = case.rules["inside_muscle_factor"] if needled else 1.0
    low_min, high_min = kinetics.d_range_min
    kinetics = replace(
        kinetics,
        d_reference_min=kinetics.d_reference_min * factor,
        d_range_min=(low_min * factor, high_min * factor),
    )
    earned = lethality(
        case.record.time_s,
        history.credible_c,
        kinetics,
        max_gap_s=history.gap_s,
        fall_limit_k_per_s=history.fall,
    )
    surface = None
    if case.record.surface_c is not None:
        capped = np.minimum(case.record.surface_c, kinetics.valid_high_c)
        surface = lethality(case.record.time_s, capped, kinetics).total
    note = kinetics.note
    if factor != 1.0:
        note += f" D is multiplied by {factor:g}: bacteria carried into whole muscle."
    return _view(
        history,
        name=kinetics.name,
        organism=kinetics.organism,
        food=kinetics.food,
        earned=earned,
        spread=kinetics_spread(history.at, kinetics, temperature_error_c=case.error_c),
        surface=surface,
        target=_target(kinetics.group, case),
        margin=history.margin,
        note=marked_text(note),
        range_c=(max(kinetics.valid_low_c, CREDIT_FROM_C), kinetics.valid_high_c),
        source=kinetics.source,
    )


def _table_curve(standard: Standard, credit: float, unit: str) -> RateCurve:
    levels = standard.temperatures_c
    minutes = np.array([standard.required_s(level) for level in levels]) / MINUTE
    # A longer time at a hotter row (a rounding in the table) must not lower the rate.
    rates = np.maximum.accumulate(np.log10(credit / minutes))
    return RateCurve(levels, tuple(float(rate) for rate in rates), unit)


def curve_of(standard: Standard) -> tuple[RateCurve, float]:
    """Return a table's rate of kill, and the credit that it asks for.

    The longest of the printed rows and the law, so that the integral never credits more
    than a printed row does; nothing below the coldest row. Minutes are those at the anchor
    of its law.
    """
    unit = _unit(standard)
    if unit == "minutes" and standard.law is not None:
        credit = standard.law.time_s / MINUTE
    else:
        credit = standard.target_log or 0.0
    return _table_curve(standard, credit, unit), credit


def uk_curve() -> RateCurve:
    """Minutes at 70 °C per minute: the smaller z below the anchor, the larger above."""
    return next(curve_of(s)[0] for s in _views() if _unit(s) == "minutes")


def _curve_view(history: _History, standard: Standard) -> IntegralView:
    case = history.case
    view = standard.view or {}
    curve, target = curve_of(standard)
    earned = credit_history(
        case.record.time_s,
        history.credible_c,
        curve,
        max_gap_s=history.gap_s,
        fall_limit_k_per_s=history.fall,
    )
    low, high = load_kinetics().d_range_min
    centre = load_kinetics().d_reference_min
    spread = curve_spread(
        history.at,
        curve,
        temperature_error_c=case.error_c,
        slowest=high / centre,
        fastest=low / centre,
    )
    surface = None
    if case.record.surface_c is not None:
        capped = np.minimum(case.record.surface_c, curve.temperature_c[-1])
        surface = credit_history(case.record.time_s, capped, curve).total
    in_minutes = curve.unit == "minutes"
    none: tuple[float, Text] = (0.0, "no margin for slow heating can be stated in minutes")
    return _view(
        history,
        name=view["name"],
        organism=standard.organism,
        food=marked_text(view["food"]),
        earned=earned,
        spread=spread,
        surface=surface,
        target=target,
        margin=none if in_minutes else history.margin,
        note=marked_text(view["note"]),
        range_c=(curve.temperature_c[0], curve.temperature_c[-1]),
        source=standard.source,
    )


def _view(
    history: _History,
    *,
    name: str,
    organism: str,
    food: Text,
    earned: LethalityHistory,
    spread: Spread,
    surface: float | None,
    target: float,
    margin: tuple[float, Text],
    note: Text,
    range_c: tuple[float, float],
    source: str,
) -> IntegralView:
    case = history.case
    low_c, high_c = range_c
    added = case.growth_log if earned.unit == "log10" else 0.0
    required = target + margin[0] + added
    confident = spread.confident
    time, temperature = case.record.known()
    at_c = low_c
    if time.size:
        last = float(temperature[-1])
        at_c = last if last >= low_c else max(float(np.max(temperature)), low_c)
    at_c = min(at_c, high_c)
    state: State = MET if confident >= required else NOT_MET
    gap = gap_text(case.record, low_c)
    if case.record.refused or gap is not None:
        state = CANNOT_TELL
    minutes = kelvin = 0.0
    enough: Text = NOTHING_MORE
    if state == NOT_MET:
        minutes = spread.minutes_until(required, at_c)
        kelvin = spread.kelvin_until(required)
        template = "{0} longer at a reading of {1}"
        if not math.isfinite(minutes):
            template = "no hold at {1} does it: go hotter"
        if math.isfinite(kelvin) and kelvin > 0.0:
            template += ", or the same record {2} hotter"
        more = Needed(minutes * MINUTE)
        hotter = MissingDifference(kelvin if math.isfinite(kelvin) else 0.0)
        enough = say(template, more, Published(at_c), hotter)
    elif state == CANNOT_TELL:
        enough = gap if gap is not None else together(case.record.faults)
    scale = confident / earned.total if earned.total > 0.0 else 0.0
    return IntegralView(
        name=name,
        organism=organism,
        food=food,
        unit=earned.unit,
        history=earned,
        confident_curve=earned.cumulative * scale,
        value=earned.total,
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
        note=say("{0} Target with {1}.", note, margin[1]),
        sources=(source,),
    )


def blind_spots(case: Case) -> tuple[Text, ...]:
    """Say what no table covers, with what the record gives the resistant strains."""
    found: list[Text] = []
    if not case.record.refused:
        gap = case.record.longest_gap_s
        for strain in outside_every_table(case.meats):
            value = lethality(
                case.record.time_s,
                _credible(case),
                strain,
                max_gap_s=gap if math.isfinite(gap) else None,
                fall_limit_k_per_s=hidden_fall(case),
            ).total
            found.append(
                say(
                    "{0}, measured in {1}, lies outside every table; it needs {2} at {3} for "
                    "one log, and this record gives it {4}.",
                    strain.organism,
                    strain.food,
                    f"{float(strain.d_minutes(strain.reference_c)):.3g} min",
                    Published(strain.reference_c),
                    amount(value, "log10"),
                )
            )
    every = (tables.load("growth", name) for name in tables.names("growth"))
    return (*found, *dict.fromkeys(one.text("outlives_cooking") for one in every))
