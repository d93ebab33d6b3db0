"""What is believed of piece, pit and probe before a log is seen, and the cooks it makes."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray
from scipy import special

from coreward import tables
from coreward.cook.light import Leg, LightCook
from coreward.cook.march import convection, surface_conditions
from coreward.cook.stages import Piece, Stage, Surroundings, fresh_air
from coreward.errors import InputError
from coreward.physics.body import Shape
from coreward.physics.chamber import OPEN, ChamberConstants
from coreward.physics.meat import FLOWING
from coreward.physics.problem import Forcing
from coreward.physics.statement import MaterialConstants, SurfaceConditions
from coreward.physics.water import saturation_pressure, saturation_temperature

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

IN_WORDS = {
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
# Slowest decay of a slab, a cylinder and a ball, over volume per area: (pi/2)², (2.405/2)²
# and (pi/3)²; the geometric mean of the ends stands for them all.
_SLOWEST = math.pi**2 / 6.0


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
    """A closed pit, as far as the meat in it is concerned."""

    fresh_air_kg_h: float
    brought_kg_h: float
    """Dry air drawn through; vapour from fuel and pan. [kg/h]"""
    volume_m3: float
    wall_transfer: float
    """To walls that vapour condenses on. [W/(m² K)]"""
    outside_dew_point_c: float
    """[°C]"""
    meat_m2: float
    """Surface of the piece, all round. [m²]"""
    weighed: bool
    """Whether the surface comes from a weight."""
    portion: float = 1.0
    """Of the pit, that the piece has: less than 1 if others are in it. [-]"""


@dataclass(frozen=True)
class Prior:
    """What is stated or tabulated, and how far the truth may lie from it.

    A pit whose dew point nobody stated is a closed one: fresh air comes in, and what the
    meat and the fuel give off stays until it leaves with as much air. So a wet piece
    makes its own damp, which sets how hot it stands still; how long, hangs on how much
    juice it lets go, and how fast.
    """

    piece: Piece
    """As stated."""
    dew_point_c: float
    """Of the pit where it was stated; else what is usual, for whoever needs one number. [°C]"""
    wall_offset: float
    """Walls less air, for a pit 100 K above the yard. [K]"""
    spread: tables.ParameterSet
    """Table ``forecast``, set ``prior``, or a changed one."""
    pressure_pa: float = 101325.0
    air_speed: float | None = None
    """Along the piece; table ``fire`` if None. [m/s]"""
    pit: Pit | None = None
    """None where the dew point was stated."""

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
    def _size_middle(self) -> float:
        """Of a piece of which only the weight is known, how much smaller it acts. [ln]."""
        guess = self.piece.assumed
        told = guess is None or guess.thickness_m is not None
        return 0.0 if told else self.spread["size_middle"]

    @cached_property
    def _size_weighed(self) -> float:
        return tables.load("forecast", "prior")["size_weighed"]

    @cached_property
    def _meat(self) -> MaterialConstants:
        """The stated meat, its water held as was read where it flowed out at finite speed."""
        m = self.piece.constants
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
            size_factor=math.exp(self._size_middle + p["size"] * at["size"]),
            heat_transfer_factor=math.exp(
                p["heat_transfer_middle"] + p["heat_transfer"] * at["heat_transfer"]
            ),
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


def _between(z: float, middle: float, low: float, high: float) -> float:
    """Turn a bell curve about 0 into one about a middle that stays within a range."""
    at = float(special.logit(np.clip((middle - low) / (high - low), 0.02, 0.98)))
    return low + (high - low) * float(special.expit(at + z))


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
    fire : str, optional
        What heats the pit, a set of table ``fire``: it tells the usual ventilation.
    dew_point_c : float, optional
        If it was measured or guessed; else the meat makes its own damp (`usual_pit`). [°C]
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
