"""What can be done about a stall: each choice cooked to the end, side by side."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np

from coreward.cook.light import spread
from coreward.cook.result import Result
from coreward.cook.simulate import simulate
from coreward.cook.stages import (
    FRESH_AIR_RANGE_KG_H,
    Around,
    Chamber,
    Stage,
    TimeSeries,
)
from coreward.errors import InputError
from coreward.events.standstill import find_stalls
from coreward.plain import apart, told_as
from coreward.words import Degrees, Difference, Lasting, Text, say

_HOUR: Final = 3600.0
_LONGEST_S: Final = 24 * _HOUR
# A tenth of a kelvin of the finest; nine cooks are to take well under a second.
_CELLS, _TOLERANCE_K = 30, 0.05

# What a hand on a vent or a knob does. Assumed here, no source: a vent from a third open to
# open; one step of a pit's heat. Tuned to nothing.
_AIR_FACTOR: Final = 3.0
_HOTTER_K: Final = 15.0
_DAMP_STEP_K: Final = 10.0
_LATER_S: Final = 2 * _HOUR
_DRIEST_DEW_C: Final = 0.0


@dataclass(frozen=True)
class Choice:
    """One thing to do, and what comes of it."""

    name: str
    """"wait", "more air", ..."""
    words: Text
    """What is done."""
    result: Result = field(metadata=apart())
    """The whole cook with it."""
    takes_s: float | None
    """From the moment to the target; None where it does not get there in a day. [s]"""
    loss: float = field(metadata=told_as("loss_fraction"))
    """Of the raw mass, at the target or at the end. [-]"""
    crust: float = field(metadata=told_as("surface_water_activity"))
    """Water activity of the surface then: 1 wet, below about 0.9 a dry crust. [-]"""


@dataclass(frozen=True)
class Choices:
    """What can be done from one moment of a cook on."""

    at_s: float
    core_c: float
    dew_point_c: float
    """The moment, the core and the dew point then. [s], [°C]"""
    target_c: float
    """Core that is wanted. [°C]"""
    rows: tuple[Choice, ...] = field(metadata=told_as("choices"))
    """The first is to wait."""

    @property
    def sentence(self) -> Text:
        """What waiting takes and what is quickest."""
        wait = self.rows[0]
        head = say(
            "From {0} on, the core at {1}, it takes {2} to {3} if nothing is done",
            Lasting(self.at_s),
            Degrees(self.core_c),
            _takes(wait),
            Degrees(self.target_c, None),
        )
        sooner = [row for row in self.rows[1:] if row.takes_s is not None]
        best = min(sooner, key=lambda row: row.takes_s or 0.0, default=None)
        if best is None or (wait.takes_s is not None and (best.takes_s or 0.0) >= wait.takes_s):
            return say("{0}; nothing here is quicker.", head)
        return say("{0}; quickest here is {1}: {2}.", head, best.name, _takes(best))

    def row(self, name: str) -> Choice:
        """Return a choice by its name.

        Raises
        ------
        InputError
            If it is not among those of this cook.
        """
        for row in self.rows:
            if row.name == name:
                return row
        known = ", ".join(row.name for row in self.rows)
        raise InputError(f"There is no choice {name!r} in this cook; there are {known}.")


def _takes(row: Choice) -> Text:
    return "more than a day" if row.takes_s is None else Lasting(row.takes_s)


def what_to_do(result: Result, at_s: float | None = None, target_c: float = 90.0) -> Choices:
    """Compute what can be done about a stall, each from the same moment on.

    Parameters
    ----------
    result : Result
        A cook; its stages up to the moment are repeated, those after it are not.
    at_s : float, optional
        The moment; where the longest stall begins if None. [s]
    target_c : float
        Core that is wanted. [°C]

    Raises
    ------
    InputError
        If the cook does not stall and no moment is given, if the moment lies outside it, or
        if the core has its target by then.
    """
    if at_s is None:
        boiling = min(record.conditions.boiling_c for record in result.records)
        stalls = find_stalls(result.time_s, result.core_c, result.environment[:, 0], boiling)
        if not stalls:
            raise InputError(
                "This cook does not stall, so there is no moment to choose at: give at_s."
            )
        at_s = max(stalls, key=lambda each: each.duration_s).begin_s
    if not 0.0 <= at_s <= result.duration_s:
        raise InputError(
            say(
                "The moment must lie within the cook, from its start to {0}; it is {1}.",
                Lasting(result.duration_s),
                Lasting(at_s),
            )
        )
    core_c = float(np.interp(at_s, result.time_s, result.core_c))
    if core_c >= target_c:
        raise InputError(
            say(
                "The core has {0} by then and {1} is wanted: there is nothing to wait for.",
                Degrees(core_c, 1),
                Degrees(target_c, None),
            )
        )
    before, now = _up_to(result, at_s)

    def cook(choice: tuple[str, Text, tuple[Stage, ...]]) -> Choice:
        name, words, after = choice
        whole = simulate(result.piece, (*before, *after), cells=_CELLS, tolerance=_TOLERANCE_K)
        reached = bool(whole.records[-1].reached)
        return Choice(
            name,
            words,
            whole,
            whole.duration_s - at_s if reached else None,
            float(whole.mass_loss_fraction[-1]),
            float(whole.surface_water_activity[-1]),
        )

    return Choices(
        float(at_s),
        core_c,
        float(np.interp(at_s, result.time_s, result.dew_point_c)),
        float(target_c),
        tuple(spread(cook, _offered(now, target_c))),
    )


def _up_to(result: Result, at_s: float) -> tuple[tuple[Stage, ...], Stage]:
    """Return the stages up to a moment, and the one that goes on from there."""
    before: list[Stage] = []
    for stage, record in zip(result.stages, result.records, strict=True):
        last = record is result.records[-1] or at_s < record.end_s
        end = at_s if last else record.end_s
        before.append(replace(stage, duration_s=end - record.begin_s, until_core_c=None))
        if last:
            elapsed = at_s - record.begin_s
            around = _later(stage.surroundings, elapsed)
            return tuple(before), replace(stage, surroundings=around, liquid=None)
    raise AssertionError("a cook has a last stage")


def _later(around: Around, elapsed_s: float) -> Around:
    """Return surroundings whose time series begin later."""
    moved = {
        name: _shifted(value, lambda t, v: (t - elapsed_s, v))
        for name, value in vars(around).items()
        if isinstance(value, (tuple, TimeSeries))
    }
    return replace(around, **moved)


def _offered(now: Stage, target_c: float) -> list[tuple[str, Text, tuple[Stage, ...]]]:
    """Return name, words and stages of all that this cook allows."""
    wait = replace(now, duration_s=_LONGEST_S, until_core_c=target_c)
    around = wait.surroundings
    rows: list[tuple[str, Text, tuple[Stage, ...]]] = [("wait", "nothing is touched", (wait,))]

    def add(name: str, words: Text, **changed: Any) -> None:
        try:
            rows.append(
                (name, words, (replace(wait, surroundings=replace(around, **changed)),))
            )
        except InputError:
            # Beyond what a pit can be: not offered.
            return

    if wait.wrap is None:
        if isinstance(around, Chamber):
            for name, words, factor in (
                ("more air", "three times the fresh air", _AIR_FACTOR),
                ("less air", "a third of the fresh air", 1.0 / _AIR_FACTOR),
            ):
                air = _each(around.fresh_air_kg_h, _times(factor))
                add(name, words, fresh_air_kg_h=air)
            if np.max(_values(around.water_kg_h)) > 0.0:
                add("pan out", "no more water from pan and fuel", water_kg_h=0.0)
        elif around.dew_point_c is not None:
            for name, words, step in (
                ("more air", "dew point {0} lower", -_DAMP_STEP_K),
                ("less air", "dew point {0} higher", _DAMP_STEP_K),
            ):
                dew = _each(around.dew_point_c, _plus(step))
                add(name, say(words, Difference(_DAMP_STEP_K)), dew_point_c=dew)
    hotter = {"air_c": _each(around.air_c, _plus(_HOTTER_K))}
    if around.wall_c is not None:
        hotter["wall_c"] = _each(around.wall_c, _plus(_HOTTER_K))
    add("hotter", say("pit {0} hotter", Difference(_HOTTER_K)), **hotter)
    if wait.wrap is None:
        for wrap in ("foil", "paper"):
            rows.append((wrap, f"wrapped in {wrap} now", (replace(wait, wrap=wrap),)))
        later = replace(wait, duration_s=_LATER_S, label="")
        wrapped = replace(wait, surroundings=_later(around, _LATER_S), wrap="foil")
        rows.append(
            (
                "foil later",
                say("wrapped in foil after {0}", Lasting(_LATER_S)),
                (later, wrapped),
            )
        )
    return rows


def _times(factor: float) -> Callable[[Any], Any]:
    return lambda value: np.clip(value * factor, *FRESH_AIR_RANGE_KG_H)


def _plus(step: float) -> Callable[[Any], Any]:
    return lambda value: np.maximum(value + step, _DRIEST_DEW_C)


def _values(series: Any) -> Any:
    if isinstance(series, TimeSeries):
        return series.value
    return np.asarray(series[1] if isinstance(series, tuple) else series, dtype=float)


def _each(series: Any, change: Callable[[Any], Any]) -> Any:
    """Return a number or a series with each value changed."""
    if isinstance(series, (tuple, TimeSeries)):
        return _shifted(series, lambda t, v: (t, change(v)))
    return float(change(float(series)))


def _shifted(series: Any, change: Callable[[Any, Any], tuple[Any, Any]]) -> Any:
    """Return a series with times and values changed; what lies before its start is cut."""
    time, value = (series.time_s, series.value) if isinstance(series, TimeSeries) else series
    time, value = change(np.asarray(time, dtype=float), np.asarray(value, dtype=float))
    late = time > 0.0
    now = float(np.interp(0.0, time, value))
    time, value = np.append(0.0, time[late]), np.append(now, value[late])
    if len(time) == 1:
        return now
    return TimeSeries(time, value) if isinstance(series, TimeSeries) else (time, value)


COLUMNS: Final = ("what is done", "to the target", "lost", "surface: 1 wet, 0 dry")


def table_rows(choices: Choices) -> list[tuple[Text, ...]]:
    """Return the rows of a table under `COLUMNS`."""
    return [
        (
            say("{0}: {1}", row.name, row.words),
            _takes(row),
            f"{100.0 * row.loss:.0f} %",
            f"{row.crust:.2f}",
        )
        for row in choices.rows
    ]


__all__ = [
    "COLUMNS",
    "Choice",
    "Choices",
    "table_rows",
    "what_to_do",
]
