"""How good are the forecasts? Judged on invented cooks whose end is known.

A forecast sees a log up to a moment and what a cook would state; its finish is compared
with the moment at which the same probe, without its faults, first showed the target.
Two simple ways that need no model are judged beside it.
"""

from __future__ import annotations

import csv
import json
import math
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import asdict, dataclass, fields
from pathlib import Path
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from coreward.cook.stages import Piece
from coreward.errors import InputError
from coreward.events.found import Event, find_events
from coreward.evidence.event_scores import EventScores, match_events, shown
from coreward.logs.log import ProbeLog
from coreward.logs.read import read_log
from coreward.physics.body import SHAPES
from coreward.physics.meat import meat
from coreward.questions.forecast.answer import BANDS, Change, Target, forecast_from
from coreward.questions.forecast.fit import Past, fit

Floats = NDArray[np.float64]
Mode = Literal["stated pit", "hold as now"]

FRACTIONS = (0.2, 0.4, 0.6, 0.8)
"""Of the time from meat on to the target."""

MODES: tuple[Mode, ...] = ("stated pit", "hold as now")
"""What is stated of the future: the pit and the wraps as they came; or only the plan."""

_SMOOTH_S = 300.0
_SOONEST_S = 1800.0
_NODE_S = 300.0
_LEVEL_S = 2 * 3600.0
_LINE_S = 3600.0
_RECENT_CHANGE_S = 3600.0
_OF_A_PROBE = ("probe_moved", "probe_unplugged", "sensor_fault")


@dataclass(frozen=True, eq=False)
class MadeUpCook:
    """An invented log, what its cook would state, and what is true."""

    name: str
    path: Path
    stated: Mapping[str, Any]
    events: tuple[Mapping[str, Any], ...]
    meat_on_s: float

    def piece(self) -> Piece:
        """The piece as stated."""
        s = self.stated
        return Piece(SHAPES[s["shape"]](s["size_m"]), meat(s["cut"]), float(s["start_c"]))

    @property
    def target_c(self) -> float:
        """Of the probe. [°C]."""
        return float(self.stated["target_core_c"])

    def wraps(self) -> tuple[tuple[float, str], ...]:
        """When it was truly wrapped, and in what."""
        return tuple(
            (float(e["time_s"]), str(e["wrap"])) for e in self.events if e["kind"] == "wrapped"
        )

    def true_events(self) -> tuple[Event, ...]:
        """What truly happened; what belongs to another event is not counted twice."""
        return tuple(
            Event(
                e["kind"],
                float(e["time_s"]),
                float(e.get("end_s", e["time_s"])),
                size=math.nan if e.get("size") is None else float(e["size"]),
            )
            for e in self.events
        )


def load_cooks(folder: str | Path) -> tuple[MadeUpCook, ...]:
    """Read a set of invented cooks.

    Parameters
    ----------
    folder : str or Path
        Holds ``truths.json`` and the logs that it names.

    Raises
    ------
    InputError
        If there is no such set.
    """
    place = Path(folder)
    try:
        listed = json.loads((place / "truths.json").read_text(encoding="utf-8"))["cooks"]
    except (OSError, ValueError, KeyError) as error:
        raise InputError(
            f"There is no set of invented cooks in {place.name!r} ({error}); make one with "
            "data/demo/make_backtest_logs.py."
        ) from error
    return tuple(
        MadeUpCook(
            name=c["name"],
            path=place / c["file"],
            stated=c["stated"],
            events=tuple(c["events"]),
            meat_on_s=float(c["meat_on_s"]),
        )
        for c in listed
    )


@dataclass(frozen=True)
class Trial:
    """One forecast and what came. Times in hours from the moment it was made.

    Attributes
    ----------
    cook, mode : str
    fraction : float
        Of the cook.
    truth_h : float
        Until the probe showed the target.
    p5_h, p25_h, p50_h, p75_h, p95_h : float
        Percentiles of the forecast; infinite for never.
    line_h, curve_h : float
        The two simple ways: a straight line through the last hour, and an exponential
        approach to the pit.
    """

    cook: str
    mode: str
    fraction: float
    truth_h: float
    p5_h: float
    p25_h: float
    p50_h: float
    p75_h: float
    p95_h: float
    line_h: float
    curve_h: float

    def error(self, hours: float) -> float:
        """Miss as a share of the time that remained."""
        return abs(hours - self.truth_h) / self.truth_h


def finish_shown_s(cook: MadeUpCook, log: ProbeLog) -> float | None:
    """When the probe, smoothed and without its faults, first showed the target. [s]."""
    reading = np.array(log.meat(1).temperature_c)
    usable = np.isfinite(reading) & (log.time_s > cook.meat_on_s + _SOONEST_S)
    for e in cook.events:
        if e["kind"] != "sensor_fault" or e.get("channel", "meat") != "meat":
            continue
        begin, end = float(e["time_s"]), float(e.get("end_s", e["time_s"]))
        if e.get("fault") == "drift":
            # What has drifted stays off: the reading without it is what counts.
            grown = np.clip((log.time_s - begin) / max(end - begin, 1.0), 0.0, 1.0)
            reading -= float(e["size"]) * grown
        else:
            usable &= (log.time_s < begin - 1.0) | (log.time_s > end + 1.0)
    time, value = log.time_s[usable], reading[usable]
    if len(time) < 3:
        return None
    low = np.searchsorted(time, time - 0.5 * _SMOOTH_S)
    high = np.searchsorted(time, time + 0.5 * _SMOOTH_S, side="right")
    smooth = np.array([np.median(value[a:b]) for a, b in zip(low, high, strict=True)])
    hot = np.flatnonzero(smooth >= cook.target_c)
    return float(time[hot[0]]) if len(hot) else None


def straight_line_s(past: Past, target_c: float) -> float:
    """Time to the target along a line through the last hour; infinite if it falls. [s]."""
    late = past.time_s > past.duration_s - _LINE_S
    if late.sum() < 2:
        return math.inf
    slope, level = np.polyfit(past.time_s[late] - past.duration_s, past.reading_c[late], 1)
    return max((target_c - level) / slope, 0.0) if slope > 0.0 else math.inf


def exponential_s(past: Past, pit_c: float, target_c: float) -> float:
    """Time to the target of a body that nears the pit at one rate; infinite if never. [s].

    The rate is fitted to the whole log by least squares on the logarithm of what is
    missing to the pit, the later half counting most, since the beginning of a thick
    piece follows no single rate.
    """
    missing = pit_c - past.reading_c
    if target_c >= pit_c or (missing <= 0.0).any():
        return math.inf
    weight = past.time_s / max(past.duration_s, 1.0)
    slope, level = np.polyfit(
        past.time_s - past.duration_s, np.log(missing), 1, w=np.maximum(weight, 0.05)
    )
    if slope >= 0.0:
        return math.inf
    return float(max((math.log(pit_c - target_c) - level) / slope, 0.0))


def trials(
    cook: MadeUpCook,
    *,
    fractions: Sequence[float] = FRACTIONS,
    modes: Sequence[Mode] = MODES,
    members: int | None = None,
    cores: int | None = None,
    find: bool = True,
) -> Iterator[Trial]:
    """Forecast one cook at several moments.

    Parameters
    ----------
    cook : MadeUpCook
    fractions : sequence of float
        Moments, as shares of the time from meat on to the target.
    modes : sequence of str
        From `MODES`.
    members, cores
        See `coreward.questions.forecast.answer.forecast_from`.
    find : bool
        Use events found in the log; False uses the true ones.

    Yields
    ------
    Trial
        None for a log that never shows its target.
    """
    log = read_log(cook.path)
    finish = finish_shown_s(cook, log)
    if finish is None:
        return
    for fraction in fractions:
        now = cook.meat_on_s + fraction * (finish - cook.meat_on_s)
        fitted = fit(
            log,
            cook.piece(),
            until_s=now,
            events=known_events(cook, log, now, find),
            wrap=cook.wraps()[0][1] if cook.wraps() else "foil",
            fire=cook.stated["fire"],
            cores=cores,
        )
        truth_h = (finish - now) / 3600.0
        for mode in modes:
            stated = mode == "stated pit"
            answer = forecast_from(
                fitted,
                Target("core", cook.target_c),
                _came(cook, now) if stated else _planned(cook, now, fitted.past.wraps),
                pit_series=_pit_that_came(log, now, finish) if stated else None,
                members=members,
                cores=cores,
            )
            p5, p25, p50, p75, p95 = ((answer.quantile_s(p) - now) / 3600.0 for p in BANDS)
            line = straight_line_s(fitted.past, cook.target_c) / 3600.0
            curve = exponential_s(fitted.past, answer.pit.level_c, cook.target_c) / 3600.0
            yield Trial(cook.name, mode, fraction, truth_h, p5, p25, p50, p75, p95, line, curve)


def known_events(
    cook: MadeUpCook, log: ProbeLog, now_s: float, find: bool
) -> tuple[Event, ...]:
    """What a cook knows at a moment: what is found, and the wrap, which is their own doing."""
    name = log.meat(1).name
    if find:
        seen = [e for e in find_events(log, 1, now_s) if e.kind not in ("wrapped", "meat_on")]
    else:
        seen = [
            Event(e.kind, e.time_s, e.end_s, channel=name)
            for e in cook.true_events()
            if e.time_s <= now_s and e.kind not in ("wrapped", "meat_on")
        ]
    own = [Event("meat_on", cook.meat_on_s, cook.meat_on_s, channel=name)]
    own += [Event("wrapped", t, t) for t, _ in cook.wraps() if t <= now_s]
    return tuple(sorted([*seen, *own], key=lambda e: e.time_s))


def _came(cook: MadeUpCook, now_s: float) -> tuple[Change, ...]:
    return tuple(Change(in_s=t - now_s, wrap=w) for t, w in cook.wraps() if t > now_s)


def _planned(
    cook: MadeUpCook, now_s: float, done: Sequence[tuple[float, str | None]]
) -> tuple[Change, ...]:
    """What the cook means to do, as far as it is still to come."""
    plan: list[Change] = []
    wrap = cook.stated.get("planned_wrap")
    raised = [p for p in cook.stated.get("planned_pit", ()) if p.get("with") == "wrapped"]
    for change in cook.stated.get("planned_pit", ()):
        if "time_s" not in change:
            continue
        ahead = float(change["time_s"]) - now_s
        if ahead > -_RECENT_CHANGE_S:
            plan.append(Change(in_s=max(ahead, 0.0), pit_c=float(change["to_c"])))
    if wrap and not done:
        plan.append(
            Change(
                at_core_c=float(wrap["at_core_c"]),
                wrap=wrap["wrap"],
                pit_c=float(raised[0]["to_c"]) if raised else None,
            )
        )
    return tuple(plan)


def _pit_that_came(log: ProbeLog, now_s: float, finish_s: float) -> tuple[Floats, Floats]:
    """The pit up to the finish; then its level, for what happened later is no part of it.

    Many logs end with the lid open to take the meat off: that air must not be held for
    whoever expects the meat later than it came.
    """
    later = np.isfinite(log.air_c) & (log.time_s > now_s) & (log.time_s <= finish_s)
    number = np.floor((log.time_s[later] - now_s) / _NODE_S).astype(np.int64)
    count = np.bincount(number)
    some = np.flatnonzero(count)
    mean = np.bincount(number, log.air_c[later])[some] / count[some]
    middle = now_s + (some + 0.5) * _NODE_S
    last = (
        np.isfinite(log.air_c) & (log.time_s <= finish_s) & (log.time_s > finish_s - _LEVEL_S)
    )
    level = float(np.median(log.air_c[last]))
    return np.append(middle, finish_s + _NODE_S), np.append(mean, level)


def event_scores(cooks: Iterable[MadeUpCook], *, shown_only: bool = False) -> EventScores:
    """Events found in whole logs against the true ones, all cooks together.

    Whoever looks at the second probe asks the finder about it: what happened to a probe is
    looked for in that probe, all else with the first.

    Parameters
    ----------
    cooks : iterable of MadeUpCook
    shown_only : bool
        Set those aside that leave next to nothing in the readings, see
        `coreward.evidence.event_scores.shown`.
    """
    total = EventScores({})
    for cook in cooks:
        log = read_log(cook.path)
        found = list(find_events(log, 1))
        for number, probe in enumerate(log.meats[1:], start=2):
            own = find_events(log, number)
            found += [e for e in own if e.channel == probe.name and e.kind in _OF_A_PROBE]
        seen, hidden = shown(cook.true_events())
        total = total + (
            match_events(found, seen, ignored=hidden)
            if shown_only
            else match_events(found, cook.true_events())
        )
    return total


@dataclass(frozen=True)
class Summary:
    """What many trials say together.

    Attributes
    ----------
    mode : str
    fraction : float
    trials : int
    error, line_error, curve_error : float
        Median miss as a share of the time that remained: forecast, straight line,
        exponential approach.
    bias : float
        Median of (forecast less truth) as a share.
    inside_90, inside_50 : float
        Share of truths inside the bands.
    width_90 : float
        Median width of the wide band, as a share of the time that remained.
    """

    mode: str
    fraction: float
    trials: int
    error: float
    bias: float
    inside_90: float
    inside_50: float
    width_90: float
    line_error: float
    curve_error: float


def summarise(found: Sequence[Trial], mode: str, fraction: float) -> Summary:
    """Return errors, coverage and sharpness of the trials of one kind.

    Raises
    ------
    InputError
        If there are none.
    """
    mine = [t for t in found if t.mode == mode and abs(t.fraction - fraction) < 1e-9]
    if not mine:
        raise InputError(f"There are no trials at {fraction:g} of the cook with {mode!r}.")
    truth = np.array([t.truth_h for t in mine])

    def column(name: str) -> Floats:
        return np.array([getattr(t, name) for t in mine])

    return Summary(
        mode=mode,
        fraction=fraction,
        trials=len(mine),
        error=float(np.median(np.abs(column("p50_h") - truth) / truth)),
        bias=float(np.median((column("p50_h") - truth) / truth)),
        inside_90=float(np.mean((column("p5_h") <= truth) & (truth <= column("p95_h")))),
        inside_50=float(np.mean((column("p25_h") <= truth) & (truth <= column("p75_h")))),
        width_90=float(np.median((column("p95_h") - column("p5_h")) / truth)),
        line_error=float(np.median(np.abs(column("line_h") - truth) / truth)),
        curve_error=float(np.median(np.abs(column("curve_h") - truth) / truth)),
    )


def sentence(s: Summary) -> str:
    """Say a summary in one line."""

    def percent(value: float) -> str:
        return "no finish" if math.isinf(value) else f"{value:.0%}"

    return (
        f"{s.mode}, made at {s.fraction:.0%} of the cook: median miss {percent(s.error)} of "
        f"the time left (straight line {percent(s.line_error)}, exponential approach "
        f"{percent(s.curve_error)}); {s.inside_90:.0%} of {s.trials} truths inside the wide "
        f"band, {s.inside_50:.0%} inside the narrow one."
    )


def write_trials(found: Sequence[Trial], path: str | Path) -> None:
    """Write trials as a plain table, under a line that says that they are computed."""
    with Path(path).open("w", newline="", encoding="utf-8") as file:
        file.write("# Forecasts of INVENTED cooks, computed; hours from the moment of each.\n")
        writer = csv.writer(file, lineterminator="\n")
        names = [f.name for f in fields(Trial)]
        writer.writerow(names)
        for trial in found:
            row = asdict(trial)
            writer.writerow(
                [f"{row[n]:.4f}" if isinstance(row[n], float) else row[n] for n in names]
            )


def read_trials(path: str | Path) -> tuple[Trial, ...]:
    """Read what `write_trials` wrote."""
    with Path(path).open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(line for line in file if not line.startswith("#")))
    words = ("cook", "mode")
    return tuple(
        Trial(**{k: v if k in words else float(v) for k, v in row.items()})  # type: ignore[arg-type]
        for row in rows
    )
