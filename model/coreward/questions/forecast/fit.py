"""Which piece, in which pit, would have given this log? With how much doubt.

The log's own air drives the fast engine; what is not known of piece, pit and probe is a
handful of numbers with a bell curve each (table ``forecast``). The best of them is found
by damped Gauss-Newton steps, and the doubt by Laplace's approximation there: the bell
curve that has the same curvature. The approximation is checked and mended by weighing
draws with what they truly predict (`weigh`).

Why this and not a particle filter or an ensemble smoother: a dozen unknowns act smoothly
on the curve, so five steps of a dozen cooks each find the best, where an ensemble needs
thousands; and the draws are independent, so that forecasts made from them need no rerun.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import linalg, special

from coreward import tables
from coreward.cook.light import Leg, LightCook, run_light, spread
from coreward.cook.march import convection, surface_conditions
from coreward.cook.stages import Piece, Stage, Surroundings, fresh_air
from coreward.errors import InputError, SolverError
from coreward.events.found import Event, air_without_events, clean_meat, find_events
from coreward.logs.log import ProbeLog
from coreward.physics.body import Shape
from coreward.physics.chamber import OPEN, ChamberConstants
from coreward.physics.meat import FLOWING
from coreward.physics.problem import Forcing
from coreward.physics.statement import MaterialConstants, SurfaceConditions
from coreward.physics.water import saturation_pressure, saturation_temperature
from coreward.plain import apart, told_as
from coreward.words import Held, Needed, say

Floats = NDArray[np.float64]

NAMES = (
    "size",
    "heat_transfer",
    "air_offset",
    "dampness",
    "surface_share",
    "hold_midpoint",
    "hold_drop",
    "release",
    "start",
    "depth",
    "bias",
    "wrap_leak",
    "wrap_resistance",
    "wall_offset",
    "wrap_emissivity",
)
"""What is fitted, in the order of the vectors. Each is 0 ± 1 before the log is seen."""

_IN_WORDS = {
    "size": "size (with conductivity)",
    "heat_transfer": "draught (heat transfer)",
    "air_offset": "air at the meat against the air probe",
    "dampness": "dampness of the pit (fresh air)",
    "surface_share": "share of the juice that meets the air",
    "hold_midpoint": "temperature at which juice is let go",
    "hold_drop": "how much juice is let go",
    "release": "how fast juice is let go",
    "start": "temperature at the start",
    "depth": "depth of the probe",
    "bias": "offset of the probe",
    "wrap_leak": "leak of the wrap",
    "wrap_resistance": "air gap under the wrap",
    "wall_offset": "walls against air",
    "wrap_emissivity": "heat rays taken up by the wrap",
}

# The pit's excess over the yard in which `air_offset` is stated, and the yard.
_YARD_C = 20.0
_EXCESS_K = 100.0
# Least and most of the share of juice that meets the air, between which its logit runs.
_SHARE_RANGE = (0.2, 1.0)
_HOUR_S = 3600.0
_BIAS = NAMES.index("bias")
# Slowest decay of a slab, a cylinder and a ball, over volume per area: (pi/2)², (2.405/2)²
# and (pi/3)²; the geometric mean of the ends stands for them all.
_SLOWEST = math.pi**2 / 6.0
# Fine enough for a lid that is open for a minute. [s]
_FINE_S = 15.0
_STEP = 0.25
_PASSES = 8
_CONVERGED = 0.02
_DETERMINED = 0.8
# Least share of the draws that must count after tempering.
_LEAST_SHARE = 0.2


class Member(NamedTuple):
    """One guess at piece, pit and probe, in SI units.

    Those of the wrap are standard numbers: where in the range of its table it lies, for
    which wrap it will be may not be known yet. So is the dampness: of the pit's dew point
    where that is stated, else of the fresh air that carries the meat's vapour away.
    """

    size_factor: float
    heat_transfer_factor: float
    air_offset: float
    dampness: float
    surface_share: float
    hold_midpoint_c: float
    hold_drop: float
    release: float
    start_c: float
    depth: float
    bias: float
    wrap_leak: float
    wrap_resistance: float
    wall_offset: float
    wrap_emissivity: float


@dataclass(frozen=True)
class Pit:
    """A closed pit, as far as the meat in it is concerned.

    Attributes
    ----------
    fresh_air_kg_h, brought_kg_h : float
        Dry air drawn through; vapour from fuel and pan. [kg/h]
    volume_m3 : float
    wall_transfer : float
        To walls that vapour condenses on. [W/(m² K)]
    outside_dew_point_c : float
        [°C]
    meat_m2 : float
        Surface of the piece, all round. [m²]
    weighed : bool
        Whether the surface comes from a weight.
    portion : float
        Of the pit, that the piece has: less than 1 if others are in it. [-]
    """

    fresh_air_kg_h: float
    brought_kg_h: float
    volume_m3: float
    wall_transfer: float
    outside_dew_point_c: float
    meat_m2: float
    weighed: bool
    portion: float = 1.0


@dataclass(frozen=True)
class Prior:
    """What is stated or tabulated, and how far the truth may lie from it.

    A pit whose dew point nobody stated is a closed one: fresh air comes in, and what the
    meat and the fuel give off stays until it leaves with as much air. So a wet piece
    makes its own damp, which sets how hot it stands still; how long, hangs on how much
    juice it lets go, and how fast.

    Attributes
    ----------
    piece : Piece
        As stated.
    dew_point_c : float
        Of the pit where it was stated; else what is usual, for whoever needs one number.
        [°C]
    wall_offset : float
        Walls less air, for a pit 100 K above the yard. [K]
    spread : mapping
        Table ``forecast``, set ``prior``, or a changed one.
    pressure_pa : float
    air_speed : float, optional
        Along the piece; table ``fire`` if None. [m/s]
    pit : Pit, optional
        None where the dew point was stated.
    """

    piece: Piece
    dew_point_c: float
    wall_offset: float
    spread: tables.ParameterSet
    pressure_pa: float = 101325.0
    air_speed: float | None = None
    pit: Pit | None = None

    def heat_transfer(self, air_c: Floats) -> Floats:
        """Coefficient of the stated piece in air of a temperature. [W/(m² K)]."""
        nodes, values = self._coefficients
        return np.interp(air_c, nodes, values)

    @cached_property
    def _coefficients(self) -> tuple[Floats, Floats]:
        nodes = np.arange(-10.0, 251.0, 10.0)
        around = Surroundings(100.0, pressure_pa=self.pressure_pa, air_speed=self.air_speed)
        return nodes, convection(self.piece, around, nodes)

    @cached_property
    def _size_weighed(self) -> float:
        return tables.load("forecast", "prior")["size_weighed"]

    @cached_property
    def _meat(self) -> MaterialConstants:
        """The stated meat, its water held as was read where it flowed out at finite speed."""
        m = self.piece.material.constants
        if m.expulsion_rate == 0.0:
            return m
        held = tables.load("water_holding", FLOWING["water_holding"])
        return m._replace(
            hold_cold=held["cold_level"],
            hold_drop=held["drop"],
            hold_midpoint=held["midpoint_c"],
            hold_width=held["width"],
        )

    def member(self, z: Floats) -> Member:
        """Turn a standard vector into numbers of a cook."""
        p = self.spread
        m = self._meat
        at = dict(zip(NAMES, map(float, z), strict=False))
        return Member(
            size_factor=math.exp(p["size"] * at["size"]),
            heat_transfer_factor=math.exp(p["heat_transfer"] * at["heat_transfer"]),
            air_offset=p["air_offset"] * at["air_offset"],
            dampness=at["dampness"],
            surface_share=_between(
                p["surface_share"] * at["surface_share"],
                p["surface_share_middle"],
                *_SHARE_RANGE,
            ),
            hold_midpoint_c=m.hold_midpoint + p["hold_midpoint"] * at["hold_midpoint"],
            hold_drop=min(
                m.hold_drop * math.exp(p["hold_drop"] * at["hold_drop"]), 0.99 * m.hold_cold
            ),
            release=math.exp(p["release"] * at["release"]),
            start_c=float(np.clip(self.piece.start_c + p["start"] * at["start"], -1.0, 100.0)),
            depth=p["depth_most"] * float(special.ndtr(at["depth"])),
            bias=p["bias"] * at["bias"],
            wrap_leak=at["wrap_leak"],
            wrap_resistance=at["wrap_resistance"],
            wall_offset=self.wall_offset + p["wall_offset"] * at["wall_offset"],
            wrap_emissivity=at["wrap_emissivity"],
        )

    def constants(self, member: Member) -> MaterialConstants:
        """Numbers of the member's meat.

        What is pressed out of a thick piece takes longer: the rate is that of pressed flow
        with its slowest decay, the cheap limit of the flow itself.
        """
        m = self._meat
        rate = _SLOWEST * self.spread["release_reach"] / self.piece.shape.volume_per_area**2
        return m._replace(
            surface_share=member.surface_share,
            hold_midpoint=member.hold_midpoint_c,
            hold_drop=member.hold_drop,
            expulsion_rate=rate * member.release if m.expulsion_rate > 0.0 else 0.0,
            permeability=m.permeability * member.release,
        )

    def shape(self, member: Member) -> Shape:
        """Return the member's shape.

        Of a piece that was weighed, the size that is not known is shared out between its
        proportions, at this weight, and what stays unknown of any piece.
        """
        guess = self.piece.assumed
        if guess is None:
            return self.piece.shape.scaled(member.size_factor)
        apart, rest = guess.thickness_spread, self._size_weighed
        off = math.log(member.size_factor) / (apart**2 + rest**2)
        return guess.shape_at(self.piece.shape, off * apart).scaled(math.exp(off * rest**2))

    def cook(self, member: Member, legs: Sequence[Leg]) -> LightCook:
        """Return the member's cook through the given legs."""
        return LightCook(
            self.shape(member),
            self.constants(member),
            member.start_c,
            tuple(legs),
        )

    def leg(
        self,
        member: Member,
        wrap: str | None,
        time_s: Floats,
        air_c: Floats,
        duration_s: float,
        until_core_c: float | None = None,
        *,
        from_below: bool = False,
    ) -> Leg:
        """Return a stretch of the member's cook, past, planned or to come; times from 0."""
        return Leg(
            self.forcing(member, time_s, air_c),
            self.conditions(member, wrap),
            duration_s,
            until_core_c,
            from_below,
            self.room(member),
        )

    def conditions(self, member: Member, wrap: str | None) -> SurfaceConditions:
        """What the member's wrap makes of the surface."""
        stage = Stage(
            Surroundings(100.0, pressure_pa=self.pressure_pa), duration_s=0.0, wrap=wrap
        )
        bare = surface_conditions(self.piece, stage)
        if wrap is None:
            return bare
        covering = tables.load("wrap", wrap)
        leaks, gaps, takes = (
            covering.record(name)
            for name in ("vapour_permeance_factor", "thermal_resistance", "emissivity")
        )
        # Nobody measured a wrap in a pit: one that is still to come, or has only just
        # been put on, may be nearly anything within the ranges of the table.
        least = max(leaks.range[0], self.spread.record("leak").range[0])
        leak = leaks.value or self.spread["leak"]
        deviations = self.spread["wrap_range"]

        def ranging(z: float, middle: float, low: float, high: float) -> float:
            return middle * math.exp(math.log(high / low) * z / (2.0 * deviations))

        return bare._replace(
            vapour_factor=min(ranging(member.wrap_leak, leak, least, leaks.range[1]), 1.0),
            thermal_resistance=ranging(member.wrap_resistance, gaps.value, *gaps.range),
            emissivity=_between(member.wrap_emissivity, takes.value, *takes.range),
        )

    def dew_point(self, member: Member) -> float:
        """Dew point of what comes in: the pit's where stated, else that of outside. [°C]."""
        if self.pit is not None:
            return self.pit.outside_dew_point_c
        boiling = float(saturation_temperature(self.pressure_pa))
        stated = self.dew_point_c + self.spread["dew_point"] * member.dampness
        return float(np.clip(stated, -20.0, boiling - 2.0))

    def fresh_air(self, member: Member) -> float | None:
        """Dry air drawn through the pit; None where its dew point is stated. [kg/h]."""
        if self.pit is None:
            return None
        drier = math.exp(-self.spread["fresh_air"] * member.dampness)
        return self.pit.fresh_air_kg_h * drier

    def forcing(self, member: Member, time_s: Floats, air_c: Floats) -> Forcing:
        """Surroundings of a leg as the member feels them; times from 0."""
        share = np.clip((air_c - _YARD_C) / _EXCESS_K, 0.0, 1.5)
        air = air_c + member.air_offset * share
        wall = air + member.wall_offset * share
        dew = self.dew_point(member)
        pressure = np.full(len(air), saturation_pressure(dew))
        for i in np.flatnonzero(air < dew):
            pressure[i] = saturation_pressure(float(air[i]))
        h = self.heat_transfer(air_c) * member.heat_transfer_factor
        if self.pit is None:
            return Forcing(time_s, air, wall, pressure, h)
        unit = self._unit(member) / _HOUR_S
        return Forcing(
            time_s,
            air,
            wall,
            pressure,
            h,
            np.full(len(air), (self.fresh_air(member) or 0.0) * unit),
            np.full(len(air), self.pit.brought_kg_h * unit),
        )

    def room(self, member: Member) -> ChamberConstants:
        """The pit as the engine takes it; `OPEN` where its dew point is stated."""
        if self.pit is None:
            return OPEN
        unit = self._unit(member)
        walls = 6.0 * self.pit.volume_m3 ** (2.0 / 3.0)
        return ChamberConstants(
            True,
            self.pit.volume_m3 * unit,
            self.pressure_pa,
            walls * unit,
            self.pit.wall_transfer,
        )

    def _unit(self, member: Member) -> float:
        """What of the whole pit belongs to one unit of the member's mesh. [-]."""
        assert self.pit is not None
        shape, surface = self.shape(member), self.pit.meat_m2
        if self.pit.weighed:
            # A thinner piece of this weight has more of it.
            surface *= self.piece.shape.volume_per_area / shape.volume_per_area
        unit: float = self.pit.portion * shape.half_size**shape.exponent / surface
        return unit


@dataclass(frozen=True)
class Past:
    """What the fit takes of a log: averaged air and readings since the meat went on.

    Attributes
    ----------
    begin_s, now_s : float
        In the log's time: meat on, and the last sample used. [s]
    air_time_s, air_c : ndarray
        Nodes of the air since `begin_s`. [s, °C]
    time_s, reading_c : ndarray
        Averaged readings of the meat probe. [s since `begin_s`, °C]
    segment : ndarray of int
        0, then 1 more each time the probe was moved.
    noise : float
        Scatter of an averaged reading. [K]
    wraps : tuple of (float, str or None)
        Changes of covering: when [s since `begin_s`], and to what.
    log : ProbeLog or None
        What it was taken of, for times of day and for the picture.
    meat : int
        Which of its meat probes, from 1.
    """

    begin_s: float
    now_s: float
    air_time_s: Floats
    air_c: Floats
    time_s: Floats
    reading_c: Floats
    segment: NDArray[np.int64]
    noise: float
    wraps: tuple[tuple[float, str | None], ...] = ()
    log: ProbeLog | None = field(default=None, repr=False)
    meat: int = 1

    @property
    def duration_s(self) -> float:
        """From meat on to now. [s]."""
        return self.now_s - self.begin_s

    @property
    def wrap_now(self) -> str | None:
        """Covering at the end."""
        return self.wraps[-1][1] if self.wraps else None

    def legs(self, prior: Prior, member: Member) -> list[Leg]:
        """Return the past as the member went through it, one leg for each covering."""
        edges = [0.0, *(when for when, _ in self.wraps), self.duration_s]
        covers: list[str | None] = [None, *(wrap for _, wrap in self.wraps)]
        legs = []
        for first, last, wrap in zip(edges[:-1], edges[1:], covers, strict=True):
            if last - first < 1.0:
                continue
            inner = (self.air_time_s > first + 1.0) & (self.air_time_s < last - 1.0)
            times = np.concatenate(([first], self.air_time_s[inner], [last]))
            air = np.interp(times, self.air_time_s, self.air_c)
            legs.append(prior.leg(member, wrap, times - first, air, last - first))
        return legs


@dataclass(frozen=True)
class Fitted:
    """The best guess, and draws around it.

    Attributes
    ----------
    best : ndarray, shape (unknowns,)
        In standard deviations of what was believed before.
    root : ndarray, shape (unknowns, unknowns)
        Lower triangle whose square is the covariance of the doubt left.
    spread : mapping of str to float
        Doubt left of each unknown, as a share of the doubt before.
    predicted_c : ndarray
        Best curve at `past.time_s`. [°C]
    residual_k : float
        Root mean square of reading less best curve. [K]
    """

    prior: Prior = field(metadata=apart())
    past: Past = field(metadata=apart())
    best: Floats = field(metadata=apart())
    root: Floats = field(metadata=apart())
    spread: dict[str, float] = field(metadata=told_as("doubt_left"))
    predicted_c: Floats = field(metadata=apart())
    residual_k: float
    names: tuple[str, ...] = field(default=NAMES, metadata=apart())

    @property
    def member(self) -> Member:
        """The best guess in SI units."""
        return self.prior.member(self.best)

    def determined(self) -> tuple[str, ...]:
        """Unknowns that the log tells something about."""
        return tuple(n for n in self.names if self.spread[n] < _DETERMINED)

    def undetermined(self) -> tuple[str, ...]:
        """Unknowns about which one knows no more than before the cook."""
        return tuple(n for n in self.names if self.spread[n] >= _DETERMINED)

    def in_words(self) -> str:
        """Say what the log settles and what it leaves open."""

        def listed(names: Sequence[str]) -> str:
            return ", ".join(_IN_WORDS.get(n, n.replace("_", " ")) for n in names) or "nothing"

        member = self.member
        percent = round(100 * (member.size_factor - 1))
        size = (
            f"one {abs(percent)} % {'larger' if percent > 0 else 'smaller'}"
            if percent
            else "one of its size"
        )
        return (
            f"Best guess: the piece behaves like {size}, with "
            f"{member.heat_transfer_factor:.2f} times the tabulated heat transfer. The log "
            f"narrows: {listed(self.determined())}. It says little or nothing about: "
            f"{listed(self.undetermined())}."
        )


def _between(z: float, middle: float, low: float, high: float) -> float:
    """Turn a bell curve about 0 into one about a middle that stays within a range."""
    at = float(special.logit(np.clip((middle - low) / (high - low), 0.02, 0.98)))
    return low + (high - low) * float(special.expit(at + z))


def prepare_past(
    log: ProbeLog,
    *,
    meat: int = 1,
    until_s: float | None = None,
    begin_s: float | None = None,
    air: tuple[Floats, Floats] | None = None,
    trusted: NDArray[np.bool_] | None = None,
    segments: NDArray[np.int64] | None = None,
    wraps: Sequence[tuple[float, str | None]] = (),
) -> Past:
    """Average a log to what a fit needs.

    Parameters
    ----------
    log : ProbeLog
    meat : int
        Which meat probe, from 1.
    until_s : float, optional
        Pretend that the log ends there. [s]
    begin_s : float, optional
        When the meat went on; the first sample if None. [s]
    air : pair of ndarray, optional
        Time and air temperature to use instead of the log's own air channel.
    trusted, segments : ndarray, optional
        For each sample: whether to use the reading; number of the probe's place.
    wraps : sequence of (float, str or None)
        Changes of covering, in the log's time.

    Raises
    ------
    InputError
        If there is no air, or too little to fit.
    """
    spacing = tables.load("forecast", "numerics")["spacing"]
    now = log.duration_s if until_s is None else min(float(until_s), log.duration_s)
    first = 0.0 if begin_s is None else float(begin_s)
    if now - first < 2.0 * spacing:
        raise InputError(
            say(
                "There is {0} of log since the meat went on; a fit needs at least {1}. Wait a "
                "little.",
                Held(now - first),
                Needed(2.0 * spacing),
            )
        )
    within = np.asarray((log.time_s >= first) & (log.time_s <= now))
    if air is None:
        known = within & np.isfinite(log.air_c)
        if not known.any():
            raise InputError(
                "This log has no reading of the air; a fit needs the pit's temperature. "
                "Name its column with columns={...: 'air'}."
            )
        air_time, air_value = _means(log.time_s[known] - first, log.air_c[known], spacing)
    else:
        # Straight lines: where the air hardly moves both their ends may lie outside.
        if air[0][-1] < first or air[0][0] > now:
            raise InputError("There is no reading of the air since the meat went on.")
        # Corners of any spacing become means over equal times, which keep the sum.
        fine = np.arange(0.0, now - first + 1.0, _FINE_S)
        air_time, air_value = _means(fine, np.interp(fine + first, *air), spacing)
    reading = log.meat(meat).temperature_c
    usable = within & np.isfinite(reading)
    if trusted is not None:
        usable &= trusted
    if usable.sum() < 3:
        raise InputError(
            f"Meat probe {meat} has fewer than three readings to trust; check that it was "
            "plugged in, or choose another."
        )
    place = np.zeros(len(reading), np.int64) if segments is None else segments
    times, values, where = [], [], []
    for number in np.unique(place[usable]):
        mine = np.asarray(usable & (place == number))
        t, v = _medians(log.time_s[mine] - first, reading[mine], spacing)
        times.append(t)
        values.append(v)
        where.append(np.full(len(t), number - place[usable].min()))
    order = np.argsort(np.concatenate(times))
    least = tables.load("forecast", "model")["noise_least"]
    return Past(
        begin_s=first,
        now_s=now,
        air_time_s=air_time,
        air_c=air_value,
        time_s=np.concatenate(times)[order],
        reading_c=np.concatenate(values)[order],
        segment=np.concatenate(where)[order].astype(np.int64),
        noise=max(least, _scatter(reading[usable])),
        wraps=tuple(
            (float(when) - first, wrap)
            for when, wrap in sorted(wraps, key=lambda w: w[0])
            if first < when < now
        ),
        log=log,
        meat=meat,
    )


def _scatter(values: Floats) -> float:
    """Robust scatter of neighbouring readings about a straight line. [K]."""
    if len(values) < 5:
        return 0.0
    bend = values[2:] - 2.0 * values[1:-1] + values[:-2]
    return float(1.4826 * np.median(np.abs(bend)) / math.sqrt(6.0))


def _blocks(time_s: Floats, spacing: float) -> list[NDArray[np.int64]]:
    number = np.floor(time_s / spacing).astype(np.int64)
    return np.split(np.arange(len(time_s)), np.flatnonzero(np.diff(number)) + 1)


def _means(time_s: Floats, value: Floats, spacing: float) -> tuple[Floats, Floats]:
    blocks = _blocks(time_s, spacing)
    return (
        np.array([time_s[b].mean() for b in blocks]),
        np.array([value[b].mean() for b in blocks]),
    )


def _medians(time_s: Floats, value: Floats, spacing: float) -> tuple[Floats, Floats]:
    blocks = _blocks(time_s, spacing)
    # The middle sample by time goes with the median of a rising or falling stretch.
    return (
        np.array([np.median(time_s[b]) for b in blocks]),
        np.array([np.median(value[b]) for b in blocks]),
    )


def fit_past(
    past: Past,
    prior: Prior,
    *,
    start: Floats | None = None,
    cores: int | None = None,
) -> Fitted:
    """Fit what is unknown of piece, pit and probe to a log.

    Parameters
    ----------
    past : Past
    prior : Prior
    start : ndarray, optional
        Where to begin, such as the best guess of an earlier fit.
    cores : int, optional
        Threads; as many as there are cores if None.

    Returns
    -------
    Fitted
    """
    moved = int(past.segment.max())
    names = (*NAMES, *(f"{what}_{i + 2}" for i in range(moved) for what in ("depth", "bias")))
    size = len(names)
    held = np.array(
        [name.startswith("wrap") and past.wrap_now is None and not past.wraps for name in names]
    )
    whiten = _whitening(past)

    def curve(z: Floats) -> Floats:
        return predict(past, prior, z)

    def residual(values: Floats) -> Floats:
        result: Floats = linalg.solve_triangular(whiten, past.reading_c - values, lower=True)
        return result

    z = np.zeros(size)
    if start is not None:
        z[: min(size, len(start))] = start[:size]
    best = curve(z)
    r = residual(best)
    cost = float(r @ r + z @ z)
    damping = 1e-2
    slope = np.zeros((len(r), size))
    free = np.flatnonzero(~held)
    for _ in range(_PASSES):
        slope = _slopes(curve, best, z, free, whiten, cores)
        matrix = slope.T @ slope + np.eye(size)
        gradient = slope.T @ r - z
        improved = False
        for _ in range(5):
            step = np.linalg.solve(matrix + damping * np.diag(np.diag(matrix)), gradient)
            step *= min(1.0, 2.0 / max(np.abs(step).max(), 1e-12))
            try:
                trial = curve(z + step)
            except SolverError:
                damping *= 10.0
                continue
            r_trial = residual(trial)
            new = float(r_trial @ r_trial + (z + step) @ (z + step))
            if new < cost:
                improved = True
                break
            damping = max(damping, 1e-3) * 8.0
        if not improved:
            break
        gained, cost = cost - new, new
        z, best, r = z + step, trial, r_trial
        damping *= 0.2
        if gained < _CONVERGED * max(1.0, 0.01 * cost):
            break
    slope = _slopes(curve, best, z, free, whiten, cores)
    information = slope.T @ slope + np.eye(size)
    root = linalg.cholesky(np.linalg.inv(information), lower=True)
    deviation = np.sqrt(np.diag(root @ root.T))
    return Fitted(
        prior=prior,
        past=past,
        best=z,
        root=root,
        spread={name: float(d) for name, d in zip(names, deviation, strict=True)},
        predicted_c=best,
        residual_k=float(np.sqrt(np.mean((past.reading_c - best) ** 2))),
        names=names,
    )


def predict(past: Past, prior: Prior, z: Floats) -> Floats:
    """Readings a guess would have given, at `past.time_s`. [°C]."""
    member = prior.member(z)
    cook = prior.cook(member, past.legs(prior, member))
    sits = depths(prior, z, past.segment)
    return run_light(cook, past.time_s, sits).probe_c + offsets(prior, z, past.segment)


def offsets(prior: Prior, z: Floats, segment: NDArray[np.int64]) -> Floats:
    """Offset of the probe in each of its places. [K]."""
    first, later = (
        prior.spread["bias"] * z[_BIAS],
        prior.spread["moved"] * z[len(NAMES) + 1 :: 2],
    )
    values = np.concatenate(([first], first + later))
    return values[np.minimum(segment, len(values) - 1)]


def depths(prior: Prior, z: Floats, segment: NDArray[np.int64]) -> Floats:
    """Where the probe sits in each of its places, as a share of the way out. [-]."""
    later = prior.spread["moved_depth"] * special.ndtr(z[len(NAMES) :: 2])
    values = np.concatenate(([prior.member(z).depth], later))
    return values[np.minimum(segment, len(values) - 1)]


def _slopes(
    curve: Callable[[Floats], Floats],
    best: Floats,
    z: Floats,
    free: NDArray[np.int64],
    whiten: Floats,
    cores: int | None,
) -> Floats:
    """How the whitened curve answers to each unknown; a column each."""

    def one(index: int) -> Floats:
        there = z.copy()
        # Towards the middle: the tables hold there, and the solution exists.
        step = -_STEP if z[index] > 0.0 else _STEP
        there[index] += step
        result: Floats = (curve(there) - best) / step
        return result

    columns = np.zeros((len(best), len(z)))
    for index, column in zip(free, spread(one, [int(i) for i in free], cores), strict=True):
        columns[:, index] = column
    result: Floats = linalg.solve_triangular(whiten, columns, lower=True)
    return result


def _whitening(past: Past) -> Floats:
    """Lower root of the covariance of reading less model: scatter, and slow wandering."""
    model = tables.load("forecast", "model")
    lag = np.abs(past.time_s[:, None] - past.time_s[None, :])
    wander = model["error"] ** 2 * np.exp(-lag / model["error_time"])
    root: Floats = linalg.cholesky(wander + past.noise**2 * np.eye(len(lag)), lower=True)
    return root


def draw(fitted: Fitted, count: int, seed: int) -> tuple[Floats, Floats]:
    """Draw guesses from Laplace's bell curve.

    Returns
    -------
    draws, noise : ndarray, shape (count, unknowns)
        The guesses, and the standard numbers they were made from, which `weigh` needs.
    """
    rng = np.random.default_rng(seed)
    noise = even_normal(rng, count, len(fitted.names))
    return fitted.best + noise @ fitted.root.T, noise


def even_normal(rng: np.random.Generator, count: int, size: int) -> Floats:
    """Bell-curve draws spread evenly (Latin hypercube; McKay et al. 1979, from memory)."""
    ranks = np.array([rng.permutation(count) for _ in range(size)]).T
    result: Floats = special.ndtri((ranks + rng.random((count, size))) / count)
    return result


def weigh(fitted: Fitted, draws: Floats, noise: Floats, curves: Floats) -> tuple[Floats, float]:
    """Weigh draws by what they truly predict (importance sampling).

    Parameters
    ----------
    fitted : Fitted
    draws, noise : ndarray
        From `draw`.
    curves : ndarray, shape (count, times)
        Readings each draw would have given, at ``fitted.past.time_s``; a row that is
        not a number (no solution) has no weight. [°C]

    Returns
    -------
    weights : ndarray, shape (count,)
        They add up to 1. Tempered where fewer than a fifth of the draws would count, so
        that a few draws cannot stand for all.
    effective_share : float
        Share of the draws that count before tempering: 1 if Laplace's bell curve is
        exact, below 0.1 if it is poor. [-]
    """
    whiten = _whitening(fitted.past)
    kept: NDArray[np.bool_] = np.asarray(np.isfinite(curves).all(axis=1))
    if not kept.any():
        raise SolverError("None of the guesses could be computed; please report this log.")
    miss = np.where(kept[:, None], fitted.past.reading_c - curves, 0.0)
    white = linalg.solve_triangular(whiten, miss.T, lower=True)
    log = -0.5 * ((white**2).sum(axis=0) + (draws**2).sum(axis=1) - (noise**2).sum(axis=1))
    log = np.where(kept, log - log[kept].max(), -np.inf)

    def effective(weights: Floats) -> float:
        return float(weights.sum() ** 2 / (weights**2).sum() / len(weights))

    weights = np.exp(log)
    share = effective(weights)
    power = 1.0
    while effective(weights) < _LEAST_SHARE and power > 0.05:
        power *= 0.8
        weights = np.where(kept, np.exp(power * np.where(kept, log, 0.0)), 0.0)
    return weights / weights.sum(), share


def stated_prior(
    piece: Piece,
    *,
    fire: str | None = None,
    dew_point_c: float | None = None,
    pressure_pa: float = 101325.0,
    mass_kg: float | None = None,
    portion: float = 1.0,
    **spread_changes: float,
) -> Prior:
    """Return what is believed before the log is seen.

    Parameters
    ----------
    piece : Piece
        As stated.
    fire : str, optional
        What heats the pit, a set of table ``fire``: it tells the usual ventilation.
    dew_point_c : float, optional
        If it was measured or guessed; else the meat makes its own damp (`usual_pit`). [°C]
    pressure_pa : float
    mass_kg : float, optional
        Raw, if the piece does not know its own. [kg]
    portion : float
        Of the pit, that the piece has. [-]
    **spread_changes
        Other standard deviations than those of table ``forecast``, by name.
    """
    if not piece.material.moist:
        raise InputError("A log can be fitted only with a piece of meat, not a dry solid.")
    table = tables.load("forecast", "prior")
    if piece.assumed is not None:
        spread_changes = {
            "size": math.hypot(piece.assumed.thickness_spread, table["size_weighed"])
        } | spread_changes
    if spread_changes:
        table = table.replace(**spread_changes)
    dew, wall, speed = table["dew_point_c"], table["wall_offset_mean"], None
    usual = None if fire is None else tables.load("fire", fire)
    if usual is not None:
        dew, wall, speed = usual["dew_point_c"], usual["wall_offset"], usual["air_speed"]
    if dew_point_c is not None:
        return Prior(piece, float(dew_point_c), wall, table, pressure_pa, speed)
    pit = usual_pit(piece, fire, mass_kg=mass_kg, portion=portion)
    return Prior(piece, dew, wall, table, pressure_pa, speed, pit)


def usual_pit(
    piece: Piece,
    fire: str | None = None,
    *,
    mass_kg: float | None = None,
    portion: float = 1.0,
) -> Pit:
    """Return the pit that a fire is usually made in.

    Parameters
    ----------
    piece : Piece
    fire : str, optional
        Set of table ``fire``, which names the sets of ``ventilation`` and ``fuel``.
    mass_kg : float, optional
        Raw, if the piece does not know its own. [kg]
    portion : float
        Of the pit, that the piece has. [-]
    """
    usual = tables.load("fire", fire)
    room = tables.load("ventilation", usual.text("ventilation"))
    fuel = tables.load("fuel", usual.text("fuel"))
    power = room["fire_power"]
    mass = piece.raw_mass_kg or mass_kg
    surface = tables.load("forecast", "prior")["meat_surface"]
    if mass is not None:
        surface = mass / piece.material.raw_density / piece.shape.volume_per_area
    return Pit(
        fresh_air_kg_h=max(fresh_air(room).value, power * fuel["air"]),
        brought_kg_h=power * fuel["water"] + usual["pan_water"],
        volume_m3=room["volume"],
        wall_transfer=room["wall_heat_transfer"],
        outside_dew_point_c=tables.load("forecast", "prior")["outside_dew_point_c"],
        meat_m2=surface,
        weighed=mass is not None,
        portion=portion,
    )


def fit(
    log: ProbeLog,
    piece: Piece,
    *,
    meat: int = 1,
    until_s: float | None = None,
    events: Iterable[Event] | None = None,
    wrap: str = "foil",
    fire: str | None = None,
    dew_point_c: float | None = None,
    pressure_pa: float = 101325.0,
    prior: Prior | None = None,
    start: Floats | None = None,
    cores: int | None = None,
) -> Fitted:
    """Fit piece, pit and probe to a log, past its lids, faults and wraps.

    Parameters
    ----------
    log : ProbeLog
    piece : Piece
        As stated: cut, size across, temperature at the start.
    meat : int
        Which meat probe, from 1.
    until_s : float, optional
        Pretend that the log ends there. [s]
    events : iterable of Event, optional
        What happened, such as an edited `coreward.EventList`; found in the log if None.
    wrap : str
        What a "wrapped" event means, a set of table ``wrap``.
    fire, dew_point_c, pressure_pa, prior
        See `stated_prior`; `prior` replaces the others.
    start : ndarray, optional
        Where to begin, such as ``best`` of an earlier fit.
    cores : int, optional
        Threads.

    Returns
    -------
    Fitted

    Raises
    ------
    InputError
        If the log has no air, or too little of the cook.
    """
    happened = tuple(find_events(log, meat, until_s) if events is None else events)
    known = [e for e in happened if until_s is None or e.time_s <= until_s]
    trusted = clean_meat(log, meat, known, until_s)
    on = [e.end_s for e in known if e.kind == "meat_on"]
    off = [e.time_s for e in known if e.kind == "pulled"]
    end = min([log.duration_s if until_s is None else float(until_s), *off])
    past = prepare_past(
        log,
        meat=meat,
        until_s=end,
        begin_s=on[0] if on else None,
        air=air_without_events(log, known, until_s),
        trusted=trusted.mask,
        segments=trusted.segment,
        # A wrap that may not have been one is no ground to stand on.
        wraps=[(e.time_s, wrap) for e in known if e.kind == "wrapped" and not e.provisional],
    )
    if prior is None:
        prior = stated_prior(piece, fire=fire, dew_point_c=dew_point_c, pressure_pa=pressure_pa)
    return fit_past(past, prior, start=start, cores=cores)


def whitened_residual(fitted: Fitted) -> Floats:
    """Return reading less best curve, in what the physics expects: 1 is usual. [-]."""
    result: Floats = linalg.solve_triangular(
        _whitening(fitted.past),
        fitted.past.reading_c - fitted.predicted_c,
        lower=True,
    )
    return result
