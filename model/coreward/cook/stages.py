"""What goes into a cook: the piece, its surroundings, the stages.

Liquid under a wrap is mixed with the outermost volume at the start of its stage; a
prescribed radiant flux is an equivalent hotter wall; searing face by face is approximated,
with its error against a full-thickness scheme said in the result.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Any, ClassVar

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.errors import InputError
from coreward.physics.body import GRAINS, LikeBody, Shape
from coreward.physics.exchange import equivalent_wall
from coreward.physics.meat import Material
from coreward.physics.statement import MaterialConstants
from coreward.physics.water import saturation_pressure, saturation_temperature
from coreward.words import Degrees, Text, say

Floats = NDArray[np.float64]
Series = float | tuple[Sequence[float] | Floats, Sequence[float] | Floats]

# Of air around meat: where humid air is checked (validation tests). Walls may
# be hotter, as under a grill, as long as the surface stays an oven's.
AIR_RANGE_C = (-10.0, 250.0)
WALL_RANGE_C = (-40.0, 350.0)
# Of the surface of meat: the hottest air that was checked; above it, it chars.
CRUST_LIMIT_C = 250.0
# Meat starts to freeze near -1 °C (table of freezing points in the sources
# note, -1.7 to -2.8 °C); ice is not in the statement.
MEAT_START_RANGE_C = (-1.0, 100.0)
SOLID_START_RANGE_C = (-200.0, 1000.0)
SOLID_AIR_RANGE_C = (-200.0, 1000.0)
PRESSURE_RANGE_PA = (60e3, 105e3)
HEAT_TRANSFER_RANGE = (0.0, 1e5)
# Catch grams and pounds typed as kilograms. Assumed here, no source.
MASS_RANGE_KG = (0.005, 500.0)
# Of the mass before: what needles and pumps put in. Assumed here, no source.
MOST_INJECTED = 0.4
# Within so many standard deviations nine of ten lie, of a bell curve.
NINE_IN_TEN = 1.6449
# Of a chamber: from a sealed box to a room that is aired; from a small oven to a room.
FRESH_AIR_RANGE_KG_H = (0.0, 5000.0)
VOLUME_RANGE_M3 = (0.005, 100.0)
WATER_RANGE_KG_H = (0.0, 50.0)
# Beyond, the boiling limit of the statement would be felt, see BOILING_RATE there.
RADIANT_FLUX_RANGE = (0.0, 5e4)
SHORTEST_BETWEEN_SPRAYS_S = 60.0
VENTS = ("closed", "nearly closed", "half open", "open")
MOST_POWER_KW = 50.0
LONGEST_STAGE_S = 96 * 3600.0


@dataclass(frozen=True)
class PieceGuess:
    """What :func:`coreward.piece` took for granted, and how far it may be off.

    Nine pieces in ten lie between `thin` and `thick`, which weigh the same.

    Attributes
    ----------
    cut : str
    thin, thick : Shape
    thickness_m, length_m : float, optional
        What was measured. [m]
    bone_share : float
        Of the mass. [-]
    """

    cut: str
    thin: Shape
    thick: Shape
    thickness_m: float | None = None
    length_m: float | None = None
    bone_share: float = 0.0

    @property
    def thickness_spread(self) -> float:
        """Standard deviation of the logarithm of the thickness. [-]."""
        return math.log(self.thick.size / self.thin.size) / (2.0 * NINE_IN_TEN)

    def shape_at(self, middle: Shape, deviations: float) -> LikeBody:
        """Return what a piece so many standard deviations thicker is computed as.

        Parameters
        ----------
        middle : Shape
            Of the piece as guessed.
        deviations : float
            Of `thickness_spread`.
        """
        x = deviations / NINE_IN_TEN
        # A parabola through thin, middle and thick.
        weights = (0.5 * x * (x - 1.0), 1.0 - x * x, 0.5 * x * (x + 1.0))
        shapes = (self.thin, middle, self.thick)

        def between(read: Callable[[Shape], float]) -> float:
            return math.exp(
                sum(w * math.log(read(s)) for w, s in zip(weights, shapes, strict=True))
            )

        n = min(max(between(lambda s: s.exponent + 1.0), 1.0), 7.0)
        thick = between(lambda s: s.volume_per_area)
        return LikeBody(n * thick, n, between(lambda s: s.size))


@dataclass(frozen=True)
class Piece:
    """A piece of one material and simple shape, at one temperature.

    Parameters
    ----------
    shape : Shape
        Slab, Cylinder or Sphere; or, with ends, FiniteCylinder, Block, TaperedFlat, Loaf or
        BirdBreast.
    material : Material
        From :func:`coreward.meat` or :func:`coreward.constant_material`.
    start_c : float
        Temperature throughout, at the start. [°C]
    mass_kg : float, optional
        Raw mass. A slab or a cylinder is as long as you like; the mass says how much of it
        there is, and so how much surface shares the air of a `Chamber`. A shape with ends
        has its own. [kg]
    injected_fraction : float
        Water injected, of the raw mass before. It starts as free water, spread evenly; salt,
        which would bind some of it, is left out, and the piece does not swell. Shares of
        the mass in a result are then of the mass with it. [-]
    assumed : PieceGuess, optional
        What :func:`coreward.piece` took for granted.
    grain : str
        How the fibres run: "lengthwise" (most joints), "crosswise" or "through" (a steak cut
        across them). Water that is pressed out flows more easily along them.
    """

    shape: Shape
    material: Material
    start_c: float
    mass_kg: float | None = None
    injected_fraction: float = 0.0
    assumed: PieceGuess | None = None
    grain: str = "lengthwise"

    def __post_init__(self) -> None:
        if self.grain not in GRAINS:
            raise InputError(
                f"The grain of a piece runs {', '.join(GRAINS[:-1])} or {GRAINS[-1]}; it is "
                f"{self.grain!r}."
            )
        if not 0.0 <= self.injected_fraction <= MOST_INJECTED:
            raise InputError(
                f"The injected water must lie between 0 and {MOST_INJECTED:g} of the raw mass; "
                f"it is {self.injected_fraction}. Ten per cent are 0.1."
            )
        if self.mass_kg is not None and not (
            math.isfinite(self.mass_kg) and MASS_RANGE_KG[0] <= self.mass_kg <= MASS_RANGE_KG[1]
        ):
            raise InputError(
                f"The mass of the piece must lie between {MASS_RANGE_KG[0]:g} and "
                f"{MASS_RANGE_KG[1]:g} kg; it is {self.mass_kg} kg."
            )
        if not isinstance(self.shape, Shape):
            raise InputError(
                "The shape must be a Slab, Cylinder or Sphere, or one with ends; it is "
                f"{self.shape!r}."
            )
        if not isinstance(self.material, Material):
            raise InputError(
                "The material must come from coreward.meat(...) or "
                f"coreward.constant_material(...); it is {self.material!r}."
            )
        if self.injected_fraction > 0.0 and not self.material.moist:
            raise InputError(
                "A solid of constant properties takes no injection: use coreward.meat(...)."
            )
        low, high = MEAT_START_RANGE_C if self.material.moist else SOLID_START_RANGE_C
        if not math.isfinite(self.start_c) or not low <= self.start_c <= high:
            more = (
                " Frozen meat is outside the model: thaw it first."
                if self.start_c < low
                else ""
            )
            raise InputError(
                say(
                    "The start temperature must lie between {0} and {1}; it is {2}.{3}",
                    *(Degrees(value, None) for value in (low, high, self.start_c)),
                    more,
                )
            )

    @property
    def constants(self) -> MaterialConstants:
        """Numbers of its material, as permeable as its fibres run to its surface.

        Between along and across the fibres, weighted by how much leaves either way.
        """
        m = self.material.constants
        share = self.shape.grain_share(self.grain)
        easier = 1.0 + (self.material.grain_ratio - 1.0) * share
        return m._replace(permeability=m.permeability * easier)

    @property
    def injected_water(self) -> float:
        """Water injected per raw volume. [kg/m³]."""
        return self.injected_fraction * self.material.raw_density

    @property
    def raw_mass_kg(self) -> float | None:
        """Raw mass: given, or that of a shape with ends; None where not known. [kg]."""
        volume = self.shape.volume_m3
        if self.mass_kg is None and volume is not None:
            return self.material.raw_density * volume
        return self.mass_kg

    @property
    def surface_m2(self) -> float | None:
        """Surface of the raw piece; of a shape without ends, without them. [m²]."""
        mass = self.raw_mass_kg
        if mass is None:
            return None
        return mass / self.material.raw_density / self.shape.volume_per_area


@dataclass(frozen=True)
class TimeSeries:
    """A quantity against time since the start of its stage; linear between."""

    time_s: Floats
    value: Floats

    def at(self, time_s: Floats) -> Floats:
        """Value at the given times; the ends are held."""
        return np.interp(time_s, self.time_s, self.value)


def _in_unit(value: float, unit: str) -> Text:
    return Degrees(value, None) if unit == "°C" else f"{value:g} {unit}"


def _series(what: str, given: object, low: float, high: float, unit: str) -> TimeSeries:
    """Check a number or a (time, value) pair once, at the edge."""
    if isinstance(given, TimeSeries):
        return given
    if isinstance(given, tuple):
        if len(given) != 2:
            raise InputError(
                f"The {what} as a time series must be a pair (time_s, values); it has "
                f"{len(given)} parts."
            )
        try:
            time = np.array(given[0], dtype=float)
            value = np.array(given[1], dtype=float)
        except (TypeError, ValueError):
            raise InputError(f"The {what} as a time series must hold numbers only.") from None
        if time.ndim != 1 or time.shape != value.shape or len(time) < 2:
            raise InputError(
                f"The {what} as a time series needs as many values as times, two or more; it "
                f"has {time.size} times and {value.size} values."
            )
        bad = np.flatnonzero(~np.isfinite(time) | ~np.isfinite(value))
        if len(bad):
            raise InputError(
                f"The {what} is not a finite number at row {bad[0] + 1} of its time series."
            )
        back = np.flatnonzero(np.diff(time) <= 0.0)
        if len(back):
            row = int(back[0]) + 2
            raise InputError(
                f"The times of the {what} must increase; row {row} ({time[row - 1]:g} s) does "
                f"not come after row {row - 1} ({time[row - 2]:g} s). Sort the rows and drop "
                "duplicates."
            )
        if time[0] > 0.0:
            time = np.concatenate(([0.0], time))
            value = np.concatenate(([value[0]], value))
    else:
        try:
            number = float(given)  # type: ignore[arg-type]
        except (TypeError, ValueError):
            raise InputError(
                f"The {what} must be a number or a pair (time_s, values); it is {given!r}."
            ) from None
        if not math.isfinite(number):
            raise InputError(f"The {what} must be a finite number; it is {number}.")
        time, value = np.array([0.0]), np.array([number])
    outside = np.flatnonzero((value < low) | (value > high))
    if len(outside):
        where = f" at row {outside[0] + 1} of its time series" if len(value) > 1 else ""
        raise InputError(
            say(
                "The {0} must lie between {1} and {2}; it is {3}{4}.",
                what,
                *(_in_unit(each, unit) for each in (low, high, float(value[outside[0]]))),
                where,
            )
        )
    return TimeSeries(time, value)


@dataclass(frozen=True)
class Surroundings:
    """What surrounds the piece during a stage. Numbers, or pairs (time_s, values).

    Parameters
    ----------
    air_c : float or pair
        Air temperature. [°C]
    dew_point_c : float or pair, optional
        Dew point of the air: how much vapour it holds. [°C] None takes the
        nominal of the default pit of table ``fire``, or half saturation where
        the air is colder than that allows.
    heat_transfer : float or pair, optional
        Convective coefficient. [W/(m² K)] None computes it from `air_speed`
        and the shape of the piece.
    wall_c : float or pair, optional
        Temperature of the walls that radiate on the piece; the air's if None. [°C]
    emissivity : float, optional
        Of the surface of the piece; table ``surface`` if None. 0 switches
        radiation off. [-]
    pressure_pa : float
        Ambient pressure. [Pa]
    evaporation : bool
        False shuts the surface to vapour (for teaching and for checks).
    air_speed : float, optional
        Along the piece, used when `heat_transfer` is None; table ``fire`` if
        None. [m/s]
    radiant_flux : float
        Prescribed radiation that falls on the whole surface, as from embers or
        a glowing coil, on top of what the walls exchange with it; the share
        `emissivity` of it is taken up (of a wrap, the wrap's). [W/m²]

    Raises
    ------
    InputError
        For values outside the valid range, a dew point above the air
        temperature or at the boiling point, or a time series out of order.
    """

    air_c: Series
    dew_point_c: Series | None = None
    heat_transfer: Series | None = None
    wall_c: Series | None = None
    emissivity: float | None = None
    pressure_pa: float = 101325.0
    evaporation: bool = True
    air_speed: float | None = None
    radiant_flux: float = 0.0

    def __post_init__(self) -> None:
        low, high = RADIANT_FLUX_RANGE
        if not low <= self.radiant_flux <= high:
            raise InputError(
                f"The radiant flux must lie between {low / 1e3:g} and {high / 1e3:g} kW/m²; it "
                f"is {self.radiant_flux / 1e3:g} kW/m²."
            )
        if self.radiant_flux > 0.0 and self.emissivity == 0.0:
            raise InputError(
                "A surface of emissivity 0 takes up no radiant flux: leave the emissivity out, "
                "or the flux."
            )
        low, high = PRESSURE_RANGE_PA
        if not math.isfinite(self.pressure_pa) or not low <= self.pressure_pa <= high:
            raise InputError(
                f"The pressure must lie between {low / 1e3:g} and {high / 1e3:g} kPa; it is "
                f"{self.pressure_pa / 1e3:g} kPa. At sea level it is about 101.3 kPa."
            )
        air = _series("air temperature", self.air_c, *SOLID_AIR_RANGE_C, "°C")
        if self.wall_c is not None:
            _series("wall temperature", self.wall_c, *SOLID_AIR_RANGE_C, "°C")
        if self.heat_transfer is not None:
            _series(
                "heat transfer coefficient", self.heat_transfer, *HEAT_TRANSFER_RANGE, "W/m²K"
            )
        if self.emissivity is not None and not 0.0 <= self.emissivity <= 1.0:
            raise InputError(
                f"The emissivity must lie between 0 and 1; it is {self.emissivity}."
            )
        if self.air_speed is not None and not 0.0 <= self.air_speed <= 20.0:
            raise InputError(
                f"The air speed must lie between 0 and 20 m/s; it is {self.air_speed} m/s."
            )
        if self.dew_point_c is not None:
            boiling = saturation_temperature(self.pressure_pa)
            raw = _series("dew point", self.dew_point_c, -60.0, 200.0, "°C")
            if raw.value.max() >= boiling - 0.05:
                raise InputError(
                    say(
                        "The dew point {0} is at or above boiling ({1} at {2} kPa): that would "
                        "be pure steam. Give a dew point below it.",
                        Degrees(float(raw.value.max()), None),
                        Degrees(boiling, 1),
                        f"{self.pressure_pa / 1e3:.1f}",
                    )
                )
            if len(raw.value) == 1 and len(air.value) == 1 and raw.value[0] > air.value[0]:
                raise InputError(
                    say(
                        "The dew point {0} is above the air temperature {1}; air cannot hold "
                        "that much vapour. Lower the dew point or raise the air temperature.",
                        Degrees(float(raw.value[0]), None),
                        Degrees(float(air.value[0]), None),
                    )
                )

    def series(self) -> dict[str, TimeSeries]:
        """Checked time series of air, wall and dew point.

        A radiant flux is part of the wall: by the law of Stefan and Boltzmann it
        is the same as walls that are hotter by it.
        """
        air = _series("air temperature", self.air_c, *SOLID_AIR_RANGE_C, "°C")
        wall = (
            air
            if self.wall_c is None
            else _series("wall temperature", self.wall_c, *SOLID_AIR_RANGE_C, "°C")
        )
        if self.radiant_flux > 0.0:
            hotter = [equivalent_wall(float(t), self.radiant_flux) for t in wall.value]
            wall = TimeSeries(wall.time_s, np.array(hotter))
        if self.dew_point_c is None:
            nominal = tables.load("fire")["dew_point_c"]
            # Half saturation: vapour pressure half that of saturated air.
            half = [
                min(nominal, saturation_temperature(0.5 * saturation_pressure(float(a))))
                if a < 100.0
                else nominal
                for a in np.clip(air.value, -40.0, None)
            ]
            dew = TimeSeries(air.time_s, np.array(half))
        else:
            dew = _series("dew point", self.dew_point_c, -60.0, 200.0, "°C")
        return {"air_c": air, "wall_c": wall, "dew_point_c": dew}


def fresh_air(room: tables.ParameterSet, vents: str | None = None) -> tables.Record:
    """Return the fresh air of a pit, its vents as said or as they usually are. [kg/h].

    Parameters
    ----------
    room : ParameterSet
        Of table ``ventilation``.
    vents : str, optional
        One of `VENTS`.

    Raises
    ------
    InputError
        For other vents.
    """
    opened = room.text("usual_vents") if vents is None else vents
    if opened not in VENTS:
        raise InputError(
            f"There is no setting {opened!r} of the vents; choose {', '.join(VENTS)}."
        )
    return room.record(f"fresh_air_{opened.replace(' ', '_')}")


@dataclass(frozen=True)
class Chamber:
    """A closed pit or oven whose air the meat itself makes damp.

    Its temperature is given, its humidity is not: the vapour that the pieces, the fuel
    and a pan give off stays until fresh air carries it away, and what it condenses on
    walls colder than its dew point runs off. Takes the place of `Surroundings` in a
    stage; the piece must know its mass. Numbers, or pairs (time_s, values).

    Parameters
    ----------
    air_c : float or pair
        Air temperature. [°C]
    fresh_air_kg_h : float or pair
        Dry air that is drawn through. [kg/h] See table ``ventilation``.
    outside_c, outside_dew_point_c : float
        Of the fresh air. [°C]
    water_kg_h : float or pair
        Vapour from the fuel and from a pan. [kg/h]
    volume_m3 : float
        Of the air; it sets how fast the humidity follows, not where it settles. [m³]
    wall_c : float or pair, optional
        Temperature of the walls; the air's if None. [°C]
    heat_transfer, emissivity, pressure_pa, evaporation, air_speed
        As for `Surroundings`.
    portion : float
        Of the chamber, with its flows and walls, that one piece has: 0.5 if two alike are
        in it. For pieces that differ see :func:`coreward.cook_together`. [-]

    Raises
    ------
    InputError
        For values outside the valid range, or a time series out of order.
    """

    air_c: Series
    fresh_air_kg_h: Series
    outside_c: float = 15.0
    outside_dew_point_c: float = 8.0
    water_kg_h: Series = 0.0
    volume_m3: float = 0.1
    wall_c: Series | None = None
    heat_transfer: Series | None = None
    pressure_pa: float = 101325.0
    emissivity: float | None = None
    evaporation: bool = True
    air_speed: float | None = None
    portion: float = 1.0
    radiant_flux: ClassVar[float] = 0.0
    dew_point_c: ClassVar[None] = None

    def __post_init__(self) -> None:
        # What it shares with given surroundings is checked there.
        Surroundings(
            self.air_c,
            None,
            self.heat_transfer,
            self.wall_c,
            self.emissivity,
            self.pressure_pa,
            self.evaporation,
            self.air_speed,
        )
        _series("outside temperature", self.outside_c, -40.0, 60.0, "°C")
        _series("outside dew point", self.outside_dew_point_c, -60.0, 40.0, "°C")
        if self.outside_dew_point_c > self.outside_c:
            raise InputError(
                f"The dew point outside, {self.outside_dew_point_c:g} °C, is above the "
                f"temperature there, {self.outside_c:g} °C; air cannot hold that much vapour. "
                "Lower the one or raise the other."
            )
        if not 0.0 < self.portion <= 1.0:
            raise InputError(
                f"The portion of a chamber must lie between 0 and 1; it is {self.portion}."
            )
        low, high = VOLUME_RANGE_M3
        if not (math.isfinite(self.volume_m3) and low <= self.volume_m3 <= high):
            raise InputError(
                f"The volume of the chamber must lie between {low:g} and {high:g} m³; it is "
                f"{self.volume_m3:g} m³. A hundred litres are 0.1 m³."
            )
        self._flows()

    def _flows(self) -> dict[str, TimeSeries]:
        return {
            "fresh_air": _series(
                "fresh air", self.fresh_air_kg_h, *FRESH_AIR_RANGE_KG_H, "kg/h"
            ),
            "brought": _series(
                "water from fuel and pan", self.water_kg_h, *WATER_RANGE_KG_H, "kg/h"
            ),
        }

    def series(self) -> dict[str, TimeSeries]:
        """Checked time series: air, walls, dew point of the fresh air, flows. [kg/h]."""
        given = Surroundings(self.air_c, wall_c=self.wall_c).series()
        given["dew_point_c"] = TimeSeries(
            np.array([0.0]), np.array([float(self.outside_dew_point_c)])
        )
        return given | self._flows()

    @classmethod
    def of(
        cls,
        air_c: Series,
        pit: str | tables.ParameterSet | None = None,
        vents: str | None = None,
        fire: str | tables.ParameterSet = "electric",
        *,
        power_kw: float | None = None,
        pan_kg_h: float = 0.0,
        **more: Any,
    ) -> Chamber:
        """Return a chamber from what a cook can say about a pit.

        Parameters
        ----------
        air_c : float or pair
            [°C]
        pit : str or ParameterSet, optional
            Set of table ``ventilation``: "tight", "average" or "leaky"; its default if None.
        vents : str, optional
            One of `VENTS`; as that pit is usually run if None.
        fire : str or ParameterSet
            Set of table ``fuel``.
        power_kw : float, optional
            Heat of the fire; of that pit if None. [kW]
        pan_kg_h : float
            Water from a pan. [kg/h]
        **more
            Passed on to :class:`Chamber`.

        Raises
        ------
        InputError, TableError

        Notes
        -----
        A fire draws at least the air that it burns, however far its vents are closed.
        """
        room = pit if isinstance(pit, tables.ParameterSet) else tables.load("ventilation", pit)
        fuel = fire if isinstance(fire, tables.ParameterSet) else tables.load("fuel", fire)
        fresh = fresh_air(room, vents).value
        power = room["fire_power"] if power_kw is None else power_kw
        if not 0.0 <= power <= MOST_POWER_KW:
            raise InputError(
                f"The power of the fire must lie between 0 and {MOST_POWER_KW:g} kW; it is "
                f"{power} kW."
            )
        given: dict[str, Any] = {
            "fresh_air_kg_h": max(fresh, power * fuel["air"]),
            "water_kg_h": power * fuel["water"] + pan_kg_h,
            "volume_m3": room["volume"],
        }
        return cls(air_c, **(given | more))


Around = Surroundings | Chamber
Wrap = str | tables.ParameterSet | None


@dataclass(frozen=True)
class Liquid:
    """Liquid poured under the wrap of one piece as a stage begins.

    Its heat and vapour are those of water.

    Parameters
    ----------
    mass_kg : float
        How much. [kg]
    temperature_c : float
        [°C]
    piece_kg : float, optional
        Raw mass of the piece [kg], which says how much surface the liquid has;
        needed unless the piece is a sphere.
    """

    mass_kg: float
    temperature_c: float
    piece_kg: float | None = None

    def __post_init__(self) -> None:
        for what, value in (("liquid", self.mass_kg), ("piece", self.piece_kg)):
            if value is not None and not (math.isfinite(value) and value > 0.0):
                raise InputError(
                    f"The mass of the {what} must be greater than zero; it is {value} kg."
                )
        if not (math.isfinite(self.temperature_c) and self.temperature_c >= 0.0):
            raise InputError(
                say(
                    "The liquid must be at {0} or warmer; it is {1}.",
                    Degrees(0.0),
                    Degrees(self.temperature_c, None),
                )
            )


@dataclass(frozen=True)
class Spray:
    """Water that a bare piece is sprayed or mopped with, again and again.

    Taken as spread over the whole surface and as warm as the surface at once. What the
    surface cannot hold drips off.

    Parameters
    ----------
    mass_kg : float
        What each time stays on the piece, not what leaves the bottle. [kg]
    every_s : float
        From the start of the stage, the first time after as long. [s]
    temperature_c : float
        [°C]
    """

    mass_kg: float
    every_s: float
    temperature_c: float = 20.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.mass_kg) and self.mass_kg > 0.0):
            raise InputError(
                f"The mass of a spray must be greater than zero; it is {self.mass_kg} kg."
            )
        if not (math.isfinite(self.every_s) and self.every_s >= SHORTEST_BETWEEN_SPRAYS_S):
            raise InputError(
                f"Between two sprays there must be at least {SHORTEST_BETWEEN_SPRAYS_S:g} s; "
                f"it is {self.every_s} s."
            )
        if not 0.0 <= self.temperature_c < 60.0:
            raise InputError(
                say(
                    "A spray must be between {0} and {1}; it is {2}.",
                    Degrees(0.0),
                    Degrees(60.0),
                    Degrees(self.temperature_c, None),
                )
            )


@dataclass(frozen=True)
class Stage:
    """A stretch of the cook in one kind of surroundings.

    Parameters
    ----------
    surroundings : Surroundings or Chamber
    duration_s : float, optional
        How long. [s]
    until_core_c : float, optional
        Or until the core has this temperature (from below if it is colder
        now, from above if hotter). With both, whichever comes first. [°C]
    wrap : str, ParameterSet or None
        Name in table ``wrap`` ("foil", "paper"), a changed set, or None.
    label : str
        For plots and reports.
    liquid : Liquid, optional
        Poured under the wrap as the stage begins. A bare stage cannot have any.
    spray : Spray, optional
        Sprayed or mopped on again and again. A wrapped stage cannot be.
    note : str
        A sentence for the warnings of the result: what this stage only
        approximates.
    """

    surroundings: Around
    duration_s: float | None = None
    until_core_c: float | None = None
    wrap: Wrap = None
    label: str = ""
    liquid: Liquid | None = None
    note: str = ""
    spray: Spray | None = None

    def __post_init__(self) -> None:
        if not isinstance(self.surroundings, (Surroundings, Chamber)):
            raise InputError(
                "A stage needs Surroundings(...) or a Chamber(...) as its first argument."
            )
        if self.duration_s is None and self.until_core_c is None:
            raise InputError(
                "A stage needs a duration (duration_s) or a core temperature to reach "
                "(until_core_c)."
            )
        if self.duration_s is not None and not (
            math.isfinite(self.duration_s) and 0.0 <= self.duration_s <= LONGEST_STAGE_S
        ):
            raise InputError(
                f"The duration of a stage must lie between 0 and {LONGEST_STAGE_S / 3600:g} "
                f"hours; it is {self.duration_s} s."
            )
        if self.until_core_c is not None and not math.isfinite(self.until_core_c):
            raise InputError("The core temperature to reach must be a finite number.")
        # One number type: an integer would make the solver compile a second time.
        for name in ("duration_s", "until_core_c"):
            value = getattr(self, name)
            if value is not None:
                object.__setattr__(self, name, float(value))
        wrap = self.wrap_set()
        if self.spray is not None:
            if not isinstance(self.spray, Spray):
                raise InputError("The spray of a stage must be a Spray(mass_kg, every_s).")
            if wrap.name != "none":
                raise InputError(
                    "A wrapped piece cannot be sprayed: leave the wrap or the spray out, or "
                    "use a Liquid under the wrap."
                )
        if self.liquid is None:
            return
        if not isinstance(self.liquid, Liquid):
            raise InputError("The liquid of a stage must be a Liquid(mass_kg, temperature_c).")
        if wrap["juice_capacity"] <= 0.0:
            raise InputError(
                "Liquid needs a wrap that keeps it, and this stage is bare: it would run off. "
                'Give the stage wrap="foil", or leave the liquid out.'
            )
        boiling = saturation_temperature(self.surroundings.pressure_pa)
        if self.liquid.temperature_c >= boiling:
            raise InputError(
                say(
                    "The liquid must be below boiling ({0}); it is {1}.",
                    Degrees(boiling, 1),
                    Degrees(self.liquid.temperature_c, None),
                )
            )

    def wrap_set(self) -> tables.ParameterSet:
        """The wrap's numbers."""
        if isinstance(self.wrap, tables.ParameterSet):
            return self.wrap
        return tables.load("wrap", "none" if self.wrap is None else self.wrap)
