"""A pit with its fire, and the meat in it: each is computed in the air of the other.

The fire sees of the meat how hot its surface is and what vapour it gives off; the meat sees
of the fire air, walls, fresh air and water (a `Chamber`). They take turns over the whole day
until neither moves the other any more (waveform relaxation). What the fire then says it gave
to the meat is compared with what the cook says it took.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final, Literal

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.result import Result, first_time_at
from coreward.cook.simulate import simulate
from coreward.cook.stages import Chamber, Piece, Stage
from coreward.errors import InputError
from coreward.physics import fire as physics
from coreward.physics.chamber import humidity_ratio
from coreward.physics.fire import NO_MEAT, Around, Meat, PitConstants, Q, S
from coreward.physics.water import (
    VAPOUR_GAS_CONSTANT,
    saturation_pressure,
    saturation_temperature,
)

Floats = NDArray[np.float64]
Kind = Literal["vent", "outlet", "lid", "fuel", "gust", "rain", "pan", "set"]
KINDS: Final[tuple[Kind, ...]] = (
    "vent", "outlet", "lid", "fuel", "gust", "rain", "pan", "set"
)  # fmt: skip
_RANGES: Final = {
    "vent": (0.0, 1.0),
    "outlet": (0.0, 1.0),
    "lid": (0.0, 1.0),
    "fuel": (0.0, 20.0),
    "gust": (0.0, 30.0),
    "rain": (0.0, 50.0),
    "pan": (0.0, 20.0),
    "set": (0.0, 300.0),
}
_UNIT: Final = {"fuel": " kg", "gust": " m/s", "rain": " mm/h", "pan": " kg", "set": " °C"}
_HOUR: Final = 3600.0
_KELVIN: Final = 273.15
_SWING_S: Final = 2.0  # a lid or a vent takes so long
WARM_UP_S: Final = 2.0 * _HOUR
_MOST_KNOTS: Final = 700
_NEAR_C: Final = 107.0  # what a pit is usually run at; where a settled fire is guessed
# Between two rounds, of the meat's surface as the fire sees it, root mean square over the day:
# of it a tenth is the thinning of rows; a core is out by less (test). [K]
SETTLED_K: Final = 0.3
MOST_ROUNDS: Final = 8
_WETTEST: Final = 1.5  # kg of water per kg of dry fuel: wetter does not catch (from memory)


@dataclass(frozen=True)
class FireEvent:
    """Something that a cook does to the fire, or the weather does.

    Parameters
    ----------
    at_s : float
        After the meat goes in. [s]
    kind : str
        "vent" and "outlet" (open share), "lid" (open share), "fuel" (kg that are added),
        "gust" (wind, m/s), "rain" (mm/h), "pan" (kg of hot water), "set" (thermostat, °C).
    value : float
    for_s : float
        So long, then as before; 0 for good. Fuel and water are added at once. [s]
    fuel : str, optional
        What is added, a set of table ``fuel``; the pit's own if None.
    moisture : float, optional
        Of what is added, of its whole mass; as that table says if None. [-]

    Raises
    ------
    InputError
    """

    at_s: float
    kind: Kind
    value: float
    for_s: float = 0.0
    fuel: str | None = None
    moisture: float | None = None

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise InputError(
                f"A fire knows no event {self.kind!r}; use one of {', '.join(KINDS)}."
            )
        low, high = _RANGES[self.kind]
        if not (math.isfinite(self.value) and low <= self.value <= high):
            raise InputError(
                f"What the event {self.kind!r} is set to must lie between {low:g} and "
                f"{high:g}{_UNIT.get(self.kind, '')}; it is {self.value:g}."
            )
        if not (self.at_s >= 0.0 and self.for_s >= 0.0):
            raise InputError("An event begins after the meat went in and does not end before.")
        if self.moisture is not None and not 0.0 <= self.moisture <= 0.8:
            raise InputError(
                f"Fuel holds between 0 and 0.8 of water; it is {self.moisture:g}. Soaked wood "
                "has about 0.5."
            )


@dataclass(frozen=True)
class FirePlan:
    """A pit, how its fire is run, and the weather.

    Parameters
    ----------
    pit : str or ParameterSet
        Set of table ``pit``.
    vent, outlet : float
        Open shares of inlet and outlet. [-]
    set_c : float
        Of a thermostat, where the pit has one. [°C]
    fuel : str, optional
        Set of table ``fuel``; the pit's own if None.
    fuel_kg : float, optional
        With its moisture; a usual load if None. [kg]
    refuel : bool
        Whether fuel is added as is usual for the pit, beside what `events` say.
    pan_kg : float
        Water in the pan. [kg]
    pan_area_m2 : float
    outside_c, outside_dew_point_c, wind, sky_below : float
        [°C], [°C], [m/s], and how far the sky is colder than the air. [K]
    events : tuple of FireEvent
    pressure_pa : float

    Raises
    ------
    InputError, TableError
    """

    pit: str | tables.ParameterSet = "upright steel"
    vent: float = 0.5
    outlet: float = 1.0
    set_c: float = 110.0
    fuel: str | None = None
    fuel_kg: float | None = None
    refuel: bool = True
    pan_kg: float = 0.0
    pan_area_m2: float = 0.07
    outside_c: float = 15.0
    outside_dew_point_c: float = 8.0
    wind: float = 0.5
    sky_below: float = 10.0
    events: tuple[FireEvent, ...] = ()
    pressure_pa: float = 101325.0

    def __post_init__(self) -> None:
        for name, low, high in (
            ("vent", 0.0, 1.0), ("outlet", 0.0, 1.0), ("set_c", 0.0, 300.0),
            ("pan_kg", 0.0, 20.0), ("pan_area_m2", 0.0, 1.0), ("outside_c", -40.0, 50.0),
            ("wind", 0.0, 30.0), ("sky_below", 0.0, 40.0), ("pressure_pa", 6e4, 1.05e5),
        ):  # fmt: skip
            value = getattr(self, name)
            if not (math.isfinite(value) and low <= value <= high):
                raise InputError(
                    f"{name} must lie between {low:g} and {high:g}; it is {value}."
                )
        if not -60.0 <= self.outside_dew_point_c <= self.outside_c:
            raise InputError(
                "The dew point outside must not lie above the temperature there, nor below "
                "-60 °C."
            )
        if self.fuel_kg is not None and not 0.0 <= self.fuel_kg <= 50.0:
            raise InputError(f"The fuel must weigh 0 to 50 kg; it is {self.fuel_kg} kg.")
        self.fuel_set()

    def pit_set(self) -> tables.ParameterSet:
        """Return the pit."""
        return (
            self.pit
            if isinstance(self.pit, tables.ParameterSet)
            else tables.load("pit", self.pit)
        )

    def fuel_set(self) -> tables.ParameterSet:
        """Return what it burns."""
        return tables.load("fuel", self.fuel or self.pit_set().text("fuel"))

    @property
    def thermostat(self) -> bool:
        """Whether a thermostat and not a vent decides."""
        return self.pit_set()["most_power"] > 0.0

    def all_events(self, duration_s: float) -> tuple[FireEvent, ...]:
        """Return what is stated, with the fuel that is added as is usual for the pit."""
        every = _HOUR * self.pit_set()["refuel_every"]
        if not (self.refuel and every > 0.0) or self.thermostat:
            return self.events
        mass = self.pit_set()["refuel_mass"]
        count = int(duration_s // every)
        usual = (FireEvent(every * (n + 1), "fuel", mass) for n in range(count))
        return (*self.events, *usual)

    def constants(self) -> PitConstants:
        """Return the pit as the physics takes it."""
        p, fuel = self.pit_set(), self.fuel_set()
        body, lid = p["body_area"], p["lid_area"]
        inner = p["inner_volume_capacity"] * p["inner_thickness"]
        outer = p["outer_volume_capacity"] * p["outer_thickness"]
        through = 1.0 / (
            0.5 * p["inner_thickness"] / p["inner_conductivity"]
            + p["outer_thickness"] / p["outer_conductivity"]
        )
        return PitConstants(
            pressure=self.pressure_pa,
            volume=p["volume"],
            height=p["height"],
            inlet=p["inlet_area"],
            outlet=p["outlet_area"],
            leak=p["leak_area"],
            lid_opening=p["lid_opening"],
            lid_opening_height=p["lid_opening_height"],
            body_area=body,
            lid_area=lid,
            body_in_store=inner * body,
            body_out_store=outer * body,
            body_through=through * body,
            lid_in_store=inner * lid,
            lid_out_store=outer * lid,
            lid_through=through * lid,
            inside_transfer=p["inside_transfer"],
            inner_emissivity=p["inner_emissivity"],
            outer_emissivity=p["outer_emissivity"],
            still_transfer=p["still_transfer"],
            wind_transfer=p["wind_transfer"],
            radiant=p["radiant"],
            oxygen_left=1.0 - 1.0 / p["excess_air"],
            burning_rate=fuel["burning_rate"],
            wettest=_WETTEST,
            feeds=p["most_power"] > 0.0 and fuel["lower_heat"] > 0.0,
            electric=fuel["lower_heat"] == 0.0,
            most_power=1e3 * p["most_power"],
            least_power=1e3 * p["least_power"],
            band=p["band"],
            fan_air=p["fan_air"],
            pan_area=self.pan_area_m2,
            lewis_power=tables.load("surface")["lewis_number_power"],
        )

    def around(self) -> Around:
        """Return the surroundings before any event."""
        vapour = float(saturation_pressure(self.outside_dew_point_c))
        return Around(
            inlet=self.vent,
            outlet=self.outlet,
            lid=0.0,
            wind=self.wind,
            outside_c=self.outside_c,
            outside_ratio=float(humidity_ratio(vapour, self.pressure_pa)),
            sky_below=self.sky_below,
            rain=0.0,
            set_c=self.set_c,
        )


def fuel_states(fuel: tables.ParameterSet, mass_kg: float, moisture: float | None) -> Floats:
    """What an amount of fuel adds to the states of the fire."""
    share = fuel["moisture"] if moisture is None else moisture
    dry = mass_kg * (1.0 - share)
    added = np.zeros(len(S))
    for state, name in (
        ("carbon", "carbon"),
        ("hydrogen", "hydrogen"),
        ("bound_oxygen", "oxygen"),
    ):
        added[S[state]] = dry * fuel[name]
    upper = (
        1e6 * fuel["lower_heat"]
        + physics.LATENT_0 * physics.WATER_PER_HYDROGEN * fuel["hydrogen"]
    )
    added[S["chemical"]] = dry * upper
    added[S["moisture"]] = mass_kg * share
    return added


@dataclass(frozen=True)
class Closing:
    """What is left over in each balance, of what went through it."""

    energy: float
    water: float
    oxygen: float
    carbon: float
    fuel: float

    @property
    def worst(self) -> float:
        """The largest. [-]."""
        return max(self.energy, self.water, self.oxygen, self.carbon, self.fuel)


@dataclass(frozen=True)
class FireRun:
    """A fire followed for a while. Rows are times; `states` and `ledger` as in the physics.

    Attributes
    ----------
    time_s : ndarray
        Not decreasing: an event has two rows. [s]
    air_c, wall_c : ndarray
        Gas, and wall as the meat sees it. [°C]
    added : ndarray
        What events added to the states.
    """

    plan: FirePlan
    time_s: Floats
    air_c: Floats
    wall_c: Floats
    states: Floats
    ledger: Floats
    flows: Floats
    added: Floats

    def state(self, name: str) -> Floats:
        """Return a state over time, by its name."""
        found: Floats = self.states[:, S[name]]
        return found

    def flow(self, name: str) -> Floats:
        """Return a flow over time, by its name. [kg/s or W]."""
        found: Floats = self.flows[:, Q[name]]
        return found

    def total(self, name: str) -> float:
        """Return what flowed in all. [kg or J]."""
        return float(self.ledger[-1, Q[name]] - self.ledger[0, Q[name]])

    @property
    def vapour_pressure(self) -> Floats:
        """Of the gas. [Pa]."""
        found: Floats = (
            self.state("vapour")
            * VAPOUR_GAS_CONSTANT
            * (self.air_c + _KELVIN)
            / self.plan.pit_set()["volume"]
        )
        return found

    @property
    def dew_point_c(self) -> Floats:
        """Of the gas. [°C]."""
        most = 0.99 * self.plan.pressure_pa
        return np.array(
            [
                saturation_temperature(min(max(float(p), 1.0), most))
                for p in self.vapour_pressure
            ]
        )

    @property
    def oxygen_share(self) -> Floats:
        """Of the gas, by mass, over that of fresh air. [-]."""
        gas = self.states[:, 1:5].sum(axis=1)
        found: Floats = self.state("oxygen") / gas / physics.OXYGEN_OF_AIR
        return found

    @property
    def fresh_air_kg_h(self) -> Floats:
        """Dry air drawn in. [kg/h]."""
        return _HOUR * self.flow("fresh")

    @property
    def power_w(self) -> Floats:
        """Heat of the fire, with the water of what burns left as vapour. [W]."""
        water = physics.WATER_PER_HYDROGEN * self.flow("hydrogen") + self.flow("moisture")
        found: Floats = self.flow("chemical") + self.flow("electric") - physics.LATENT_0 * water
        return found

    @property
    def fuel_kg(self) -> Floats:
        """What is left of the fuel, without ash and moisture. [kg]."""
        found: Floats = self.states[:, S["carbon"] : S["bound_oxygen"] + 1].sum(axis=1)
        return found

    @property
    def closing(self) -> Closing:
        """How the balances close."""
        gain = dict(zip(S, self.states[-1] - self.states[0] - self.added, strict=True))
        q = {name: self.total(name) for name in Q}
        stores = (
            "enthalpy", "chemical", "body_in", "body_out", "lid_in", "lid_out", "pan_heat"
        )  # fmt: skip
        out = (
            "heat_out", "gas_meat", "wall_meat", "body_loss", "lid_loss", "lid_inside_loss",
            "rain", "condensed_heat",
        )  # fmt: skip
        into = ("heat_in", "electric", "meat_vapour_heat")
        burnt = physics.WATER_PER_HYDROGEN * q["hydrogen"]
        bound = physics.OXYGEN_PER_HYDROGEN * q["hydrogen"]
        per_c = physics.OXYGEN_PER_CARBON
        in_co2 = per_c / (1.0 + per_c)
        carbon_out = q["carbon_dioxide_out"] / (1.0 + per_c)
        fuel = sum(gain[n] + q[n] for n in ("carbon", "hydrogen", "bound_oxygen", "moisture"))
        return Closing(
            energy=_left(
                sum(gain[n] for n in stores) - sum(q[n] for n in into) + sum(q[n] for n in out),
                [*(q[n] for n in into + out), q["chemical"]],
            ),
            water=_left(
                gain["vapour"] + gain["pan_water"] + gain["moisture"]
                - q["vapour_in"] - burnt - q["meat_vapour"] + q["vapour_out"] + q["condensed"],
                [q["vapour_in"], burnt, q["meat_vapour"], q["vapour_out"], q["pan_vapour"]],
            ),
            oxygen=_left(
                gain["oxygen"] + gain["bound_oxygen"] + in_co2 * gain["carbon_dioxide"]
                - q["oxygen_in"] + q["oxygen_out"] + in_co2 * q["carbon_dioxide_out"] + bound,
                [q["oxygen_in"], q["oxygen_out"]],
            ),
            carbon=_left(
                gain["carbon"] + gain["carbon_dioxide"] / (1.0 + per_c) + carbon_out,
                [q["carbon"], carbon_out, self.states[0, S["carbon"]], 1e-3],
            ),
            fuel=_left(fuel, [q["carbon"], float(self.states[0, 5:8].sum()), 1e-3]),
        )  # fmt: skip


def _left(rest: float, through: Sequence[float]) -> float:
    return float(abs(rest) / max(max(abs(x) for x in through), 1e-30))


def _settings(plan: FirePlan, duration_s: float) -> list[tuple[float, Around, list[FireEvent]]]:
    """When something changes: the surroundings from then on, and what is added then."""
    field = {"vent": "inlet", "outlet": "outlet", "lid": "lid"}
    field |= {"gust": "wind", "rain": "rain", "set": "set_c"}
    moments = {0.0}
    events = plan.all_events(duration_s)
    for event in events:
        moments.add(min(event.at_s, duration_s))
        if event.for_s > 0.0 and event.kind in field:
            moments.add(min(event.at_s + event.for_s, duration_s))
    found = []
    for moment in sorted(m for m in moments if m < duration_s):
        now = plan.around()
        for event in sorted(events, key=lambda e: e.at_s):
            over = event.for_s > 0.0 and moment >= event.at_s + event.for_s
            if event.kind in field and event.at_s <= moment and not over:
                value = event.value / _HOUR if event.kind == "rain" else event.value
                now = now._replace(**{field[event.kind]: value})
        added = [e for e in events if e.at_s == moment and e.kind in ("fuel", "pan")]
        found.append((moment, now, added))
    return found


def cold_start(plan: FirePlan) -> Floats:
    """States of a pit at the temperature outside, with a fire just lit."""
    p, around = plan.constants(), plan.around()
    state = np.zeros(len(S))
    ratio = around.outside_ratio
    kelvin = plan.outside_c + _KELVIN
    vapour = ratio * p.pressure / (287.047 + ratio * VAPOUR_GAS_CONSTANT) / kelvin * p.volume
    dry = vapour / ratio if ratio > 0.0 else p.pressure * p.volume / 287.047 / kelvin
    masses = ((1.0 - physics.OXYGEN_OF_AIR) * dry, physics.OXYGEN_OF_AIR * dry, 0.0, vapour)
    state[1:5] = masses
    state[0] = sum(m * physics.gas_enthalpy(k, plan.outside_c) for k, m in enumerate(masses))
    load = plan.pit_set()["fuel_mass"] if plan.fuel_kg is None else plan.fuel_kg
    state += fuel_states(plan.fuel_set(), load, None)
    for name in ("body_in", "body_out", "lid_in", "lid_out"):
        state[S[name]] = getattr(p, f"{name}_store") * plan.outside_c
    state[S["lit"]] = _settled_lit(plan, p, state)
    return _with_pan(state, plan)


def _with_pan(state: Floats, plan: FirePlan) -> Floats:
    # Filled hot, as is usual where a pan is used at all: a cold one takes half an hour.
    filled = state.copy()
    filled[S["pan_water"]] = plan.pan_kg
    filled[S["pan_heat"]] = plan.pan_kg * physics.WATER_CP * 60.0
    return filled


def _settled_lit(plan: FirePlan, p: PitConstants, state: Floats) -> float:
    """How much is lit in a fire that has settled to these vents at a usual heat. [kg]."""
    fuel = float(state[5:8].sum())
    if p.burning_rate == 0.0 or fuel <= 0.0:
        return 0.0
    cold = p.pressure / (287.047 * (plan.outside_c + _KELVIN))
    hot = p.pressure / (287.047 * (_NEAR_C + _KELVIN))
    push = 9.81 * p.height * (cold - hot) + 0.15 * cold * plan.wind**2
    a_in, a_out = p.inlet * plan.vent + 0.5 * p.leak, p.outlet * plan.outlet + 0.5 * p.leak
    flow = 0.6 * math.sqrt(2.0 * push / (1.0 / (cold * a_in**2) + 1.0 / (hot * a_out**2)))
    uptake = flow * physics.OXYGEN_OF_AIR * (1.0 - p.oxygen_left)
    return min(uptake / (p.burning_rate * p.oxygen_left), 0.9 * fuel)


def run_fire(
    plan: FirePlan,
    duration_s: float,
    start: Floats | None = None,
    meat: Meat = NO_MEAT,
    tolerance: float = 0.1,
) -> FireRun:
    """Follow a fire.

    Parameters
    ----------
    plan : FirePlan
    duration_s : float
        [s]
    start : ndarray, optional
        States at the start; a cold pit with a fire just lit if None.
    meat : Meat
    tolerance : float
        What one step may be out. [K]

    Raises
    ------
    InputError, TableError, SolverError
    """
    p = plan.constants()
    state = cold_start(plan) if start is None else np.asarray(start, dtype=float)
    ledger, added = np.zeros(len(Q)), np.zeros(len(S))
    parts: list[physics.Stretch] = []
    changes = _settings(plan, duration_s)
    ends = [moment for moment, _, _ in changes[1:]] + [duration_s]
    for (begin, around, events), end in zip(changes, ends, strict=True):
        for event in events:
            more = np.zeros(len(S))
            if event.kind == "fuel":
                kind = (
                    plan.fuel_set() if event.fuel is None else tables.load("fuel", event.fuel)
                )
                more = fuel_states(kind, event.value, event.moisture)
            else:
                more[S["pan_water"]] = event.value
                more[S["pan_heat"]] = event.value * physics.WATER_CP * 60.0
            state, added = state + more, added + more
        part = physics.march(p, state, ledger, begin, end, around, meat, tolerance)
        parts.append(part)
        state, ledger = part.states[-1], part.ledger[-1]
    seen = np.concatenate([part.seen for part in parts])
    return FireRun(
        plan,
        np.concatenate([part.time_s for part in parts]),
        seen[:, 0],
        seen[:, 1],
        np.concatenate([part.states for part in parts]),
        np.concatenate([part.ledger for part in parts]),
        seen[:, 2:],
        added,
    )


def warmed(plan: FirePlan, warm_up_s: float = WARM_UP_S) -> Floats:
    """States of the pit when the meat goes in: warmed up empty, fuel and pan filled up."""
    empty = replace(plan, events=(), pan_kg=0.0)
    run = run_fire(empty, warm_up_s)
    load = plan.pit_set()["fuel_mass"] if plan.fuel_kg is None else plan.fuel_kg
    state = run.states[-1].copy()
    fresh = fuel_states(plan.fuel_set(), load, None)
    state[5:10] = fresh[5:10]
    state[S["lit"]] = min(state[S["lit"]], float(fresh[5:8].sum()))
    return _with_pan(state, plan)


def vent_for(plan: FirePlan, air_c: float) -> float:
    """Return how far the vent must be open for this heat of the empty pit. [-].

    The nearer end where no vent gives it; nothing to find where a thermostat rules.
    """
    if plan.thermostat:
        return plan.vent

    def settled(vent: float) -> float:
        run = run_fire(replace(plan, vent=vent, events=(), pan_kg=0.0), WARM_UP_S + _HOUR)
        late = run.time_s > WARM_UP_S
        return float(np.trapezoid(run.air_c[late], run.time_s[late])) / _HOUR

    low, high = 0.0, 1.0
    for _ in range(9):
        middle = 0.5 * (low + high)
        if settled(middle) < air_c:
            low = middle
        else:
            high = middle
    return 0.5 * (low + high)


@dataclass(frozen=True)
class PitCook:
    """Fire and meat of one day, as each is in the air of the other.

    Attributes
    ----------
    fire : FireRun
    cook : Result
        Of one of the pieces.
    pieces : int
    rounds : int
        Times that both were computed.
    apart_k : float
        What the meat's surface moved in the last round, root mean square. [K]
    heat_apart, vapour_apart : float
        What the fire gave and the cook took, heat and vapour, relative to it. [-]
    dew_apart_k : float
        Between the dew point of the fire's gas and of the cook's chamber, root mean square. [K]
    """

    fire: FireRun
    cook: Result
    pieces: int
    rounds: int
    apart_k: float
    heat_apart: float
    vapour_apart: float
    dew_apart_k: float

    def ready_s(self, core_c: float) -> float:
        """When the core has this temperature; infinite if never. [s]."""
        return first_time_at(self.cook.time_s, self.cook.core_c, core_c)


def chamber_of(run: FireRun, pieces: int, heat_transfer: float, emissivity: float) -> Chamber:
    """Return the air of a fire as the meat takes it."""
    keep = _kept_rows(run)
    time = run.time_s[keep]
    # Where an event has two rows, the second is what follows it.
    step = np.concatenate((np.diff(time) <= 0.0, [False]))
    time = np.where(step, time - _SWING_S, time)
    good = np.concatenate(([True], np.diff(time) > 0.1))
    rows, time = np.flatnonzero(keep)[good], time[good]
    time = np.maximum(time - time[0], 0.0)
    use = (
        physics.OXYGEN_PER_CARBON * run.flow("carbon")
        + physics.OXYGEN_PER_HYDROGEN * run.flow("hydrogen")
        - run.flow("bound_oxygen")
    )
    dry = run.flow("fresh") + (1.0 + physics.OXYGEN_PER_CARBON) * run.flow("carbon") - use
    water = (
        physics.WATER_PER_HYDROGEN * run.flow("hydrogen")
        + run.flow("moisture")
        + run.flow("pan_vapour")
    )

    def series(values: Floats, low: float, high: float) -> tuple[Floats, Floats]:
        return time, np.clip(values[rows], low, high)

    return Chamber(
        series(run.air_c, -40.0, 400.0),
        series(_HOUR * dry, 0.0, 4900.0),
        outside_c=run.plan.outside_c,
        outside_dew_point_c=run.plan.outside_dew_point_c,
        water_kg_h=series(_HOUR * water, 0.0, 49.0),
        volume_m3=run.plan.pit_set()["volume"],
        wall_c=series(run.wall_c, -40.0, 600.0),
        heat_transfer=heat_transfer,
        emissivity=emissivity,
        pressure_pa=run.plan.pressure_pa,
        portion=1.0 / pieces,
    )


def _kept_rows(run: FireRun) -> NDArray[np.bool_]:
    """Rows that a straight line between neighbours would miss by more than a little."""
    time, n = run.time_s, len(run.time_s)
    curves = np.stack(
        [
            run.air_c / 0.2,
            run.wall_c / 0.3,
            np.log(np.maximum(run.flow("fresh"), 1e-6)) / 0.03,
            run.power_w / 50.0,
        ]
    )
    keep = np.zeros(n, dtype=bool)
    keep[[0, -1]] = True
    steps = np.flatnonzero(np.diff(time) <= 0.0)
    keep[steps] = keep[steps + 1] = True
    begin = 0
    for i in range(2, n):
        chord = curves[:, [begin]] + (curves[:, [i]] - curves[:, [begin]]) * (
            (time[begin + 1 : i] - time[begin]) / max(time[i] - time[begin], 1e-9)
        )
        far = np.abs(chord - curves[:, begin + 1 : i]).max() > 1.0
        if far or keep[i - 1] or time[i] - time[begin] > 1800.0:
            keep[i - 1] = True
            begin = i - 1
    return keep


def _meat_of(cook: Result, pieces: int, heat_transfer: float, emissivity: float) -> Meat:
    """What the fire sees of a cook."""
    area = pieces * (cook.piece.surface_m2 or 0.0)
    mass = pieces * (cook.piece.raw_mass_kg or 0.0)
    edges = cook.time_s
    middle = np.concatenate(([edges[0]], 0.5 * (edges[1:] + edges[:-1]), [edges[-1]]))
    gone = mass * cook.evaporated_fraction
    # Mean rates between rows, so that the fire is given all that the cook lost.
    rate = np.diff(np.interp(middle, edges, gone)) / np.maximum(np.diff(middle), 1e-9)
    return Meat(edges, cook.surface_c, rate, heat_transfer * area, emissivity * area)


def _first_meat(
    piece: Piece, pieces: int, duration_s: float, heat_transfer: float, emissivity: float
) -> Meat:
    """A guess to begin with: a surface that warms to a wet one, and no vapour."""
    time = np.linspace(0.0, duration_s, 60)
    surface = 70.0 - (70.0 - piece.start_c) * np.exp(-time / 3000.0)
    area = pieces * (piece.surface_m2 or 0.0)
    return Meat(
        time, surface, np.full(60, 6e-5 * area), heat_transfer * area, emissivity * area
    )


def cook_in_pit(
    piece: Piece,
    plan: FirePlan,
    duration_s: float,
    *,
    pieces: int = 1,
    until_core_c: float | None = None,
    start: Floats | None = None,
    guess: PitCook | None = None,
    heat_transfer: float | None = None,
    most_rounds: int = MOST_ROUNDS,
    **options: Any,
) -> PitCook:
    """Cook pieces alike in a pit with its fire.

    Parameters
    ----------
    piece : Piece
        With its raw mass.
    plan : FirePlan
    duration_s : float
        [s]
    pieces : int
    until_core_c : float, optional
        Pulled then; the fire is followed as long. [°C]
    start : ndarray, optional
        States when the meat goes in; `warmed` if None.
    guess : PitCook, optional
        A day like this one, from which to start the rounds.
    heat_transfer : float, optional
        To the meat; as table ``fire`` says for charcoal if None. [W/(m² K)]
    most_rounds : int
    **options
        Of :func:`coreward.simulate`.

    Raises
    ------
    InputError, TableError, SolverError
    """
    if piece.surface_m2 is None:
        raise InputError("The meat changes the fire, and for that its mass must be known.")
    h = (
        tables.load("fire")["convective_coefficient"]
        if heat_transfer is None
        else heat_transfer
    )
    shine = piece.material.meat_emissivity
    begin = warmed(plan) if start is None else start
    meat = (
        _first_meat(piece, pieces, duration_s, h, shine)
        if guess is None
        else _meat_of(guess.cook, pieces, h, shine)
    )
    apart, rounds = math.inf, 0
    while True:
        rounds += 1
        run = run_fire(plan, duration_s, begin, meat)
        around = chamber_of(run, pieces, h, shine)
        stage = Stage(around, duration_s=duration_s, until_core_c=until_core_c)
        cook = simulate(piece, stage, **options)
        before, meat = meat, _meat_of(cook, pieces, h, shine)
        moved = np.interp(cook.time_s, before.time_s, before.surface_c) - cook.surface_c
        apart = math.sqrt(np.trapezoid(moved**2, cook.time_s) / cook.duration_s)
        if apart < SETTLED_K or rounds >= most_rounds:
            return _agreed(run, cook, pieces, rounds, apart, before)


def _agreed(
    run: FireRun, cook: Result, pieces: int, rounds: int, apart: float, seen: Meat
) -> PitCook:
    """Compare what the fire gave with what the cook took."""
    end = cook.duration_s
    area = pieces * (cook.piece.surface_m2 or 0.0)
    heat = run.ledger[:, [Q["gas_meat"], Q["wall_meat"], Q["sky_meat"]]].sum(axis=1)
    given = float(np.interp(end, run.time_s, heat))
    t, q = cook.time_s, cook.surface
    taken = area * float(np.trapezoid(q["convection"] + q["radiation"], t))
    vapour = float(np.interp(end, run.time_s, run.ledger[:, Q["meat_vapour"]]))
    lost = pieces * (cook.piece.raw_mass_kg or 0.0) * float(cook.evaporated_fraction[-1])
    dew = np.interp(t, run.time_s, run.dew_point_c) - cook.dew_point_c
    late = t > 300.0
    dew_apart = math.sqrt(float(np.mean(dew[late] ** 2))) if late.any() else 0.0
    return PitCook(
        run,
        cook,
        pieces,
        rounds,
        apart,
        abs(given - taken) / max(abs(taken), 1.0),
        abs(vapour - lost) / max(lost, 1e-6),
        dew_apart,
    )
