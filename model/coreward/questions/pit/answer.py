"""The fire and the meat of one day, and what a hand on the vent would change."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Any, Final

import numpy as np
from numpy.typing import NDArray

from coreward.cook.pit import FireEvent, FirePlan, PitCook, cook_in_pit, warmed
from coreward.cook.stages import Piece
from coreward.physics.fire import LATENT_0, WATER_PER_HYDROGEN
from coreward.plain import apart
from coreward.words import Degrees, Difference, Lasting, Mass, Opening, Text, say, together

Floats = NDArray[np.float64]

_HOUR: Final = 3600.0
_MINUTE: Final = 60.0
LONGEST_S: Final = 24.0 * _HOUR
_ROWS_S: Final = 120.0
_NEAR_S: Final = (-1.0, 1.0, 5.0, 15.0, 30.0, 60.0, 90.0)
# What is tried at a moment. Assumed here: what a hand does at once.
_VENT_STEP: Final = 1.0 / 3.0
_SET_STEP_K: Final = 10.0
_PAN_KG: Final = 2.0
_LOOK_S: Final = 30.0
SOON_S: Final = 20.0 * _MINUTE
LATER_S: Final = 2.0 * _HOUR
# A change that is this far on has shown what it will do. [-]
_SHOWN: Final = 0.67
_AGAIN_LEAST_S: Final = 15.0 * _MINUTE
_QUICK: Final[dict[str, Any]] = {"cells": 24, "tolerance": 0.2}
_AGREED: Final = 0.02


@dataclass(frozen=True)
class Share:
    """A part of where heat or water came from or went. [J] or [kg]."""

    name: str
    amount: float


@dataclass(frozen=True)
class Move:
    """Something done, and what comes of it; differences are with less without."""

    name: str
    """Such as "open the vent" or "fill the pan"."""
    words: Text
    soon_k: float
    later_k: float
    """Change of the air 20 min and 2 h after. [K]"""
    dew_before_c: float
    dew_after_c: float
    """Dew point without and with, 2 h after. [°C]"""
    ready_s: float
    """How much later the core is ready; negative for sooner, infinite for never. [s]"""
    fuel_kg: float
    """Fuel burnt by the end of the day, more. [kg]"""
    again_s: float
    """When to look again: two thirds of what it does in two hours are done. [s]"""

    @property
    def sentence(self) -> Text:
        """What it does, in a line."""
        return say(
            "{0}: {1} in 20 min, {2} in 2 h, dew point {3} to {4}, {5}; look again in {6}.",
            Opening(self.words),
            change(self.soon_k),
            change(self.later_k),
            Degrees(self.dew_before_c),
            Degrees(self.dew_after_c),
            later_words(self.ready_s),
            Lasting(self.again_s),
        )


@dataclass(frozen=True)
class Cost:
    """An event of the day, and what it costs at the end."""

    event: FireEvent
    words: Text
    air_k: float
    """The furthest it moves the air from what it would have been, within two hours. [K]"""
    ready_s: float
    """How much later the core is ready for it. [s]"""

    @property
    def sentence(self) -> Text:
        """What it costs, in a line."""
        return say(
            "{0} after {1}: the air {2}, {3}.",
            Opening(self.words),
            Lasting(self.event.at_s),
            change(self.air_k),
            later_words(self.ready_s),
        )


@dataclass(frozen=True)
class PitDay:
    """Fire and meat of one day."""

    day: PitCook = field(metadata=apart())
    plan: FirePlan = field(metadata=apart())
    core_c: float
    """Core that is wanted. [°C]"""
    ready_s: float
    """When it has it; infinite if not in the time that was followed. [s]"""
    time_s: Floats
    air_c: Floats
    wall_c: Floats
    dew_point_c: Floats
    core: Floats
    surface: Floats
    """On one clock; the meat's end with it. [s], [°C]"""
    fresh_air_kg_h: Floats
    oxygen: Floats
    power_w: Floats
    fuel_kg: Floats
    """Oxygen as a share of fresh air's."""
    heat: tuple[Share, ...]
    water_in: tuple[Share, ...]
    """Where it came from. [kg]"""
    water: tuple[Share, ...]
    """Where the fire's heat went until the meat was ready, and the water. [J], [kg]"""
    now_s: float
    """Moment at which `moves` are made. [s]"""
    moves: tuple[Move, ...]
    costs: tuple[Cost, ...]
    assumptions: tuple[Text, ...]
    warnings: tuple[Text, ...]

    def at(self, name: str, seconds: float) -> float:
        """Return a curve at a moment."""
        return float(np.interp(seconds, self.time_s, getattr(self, name)))

    @property
    def sentence(self) -> Text:
        """When it is ready, and the pit now."""
        now = self.now_s
        ready: Text = (
            say(
                "Ready, the core at {0}, {1} after it goes in",
                Degrees(self.core_c, None),
                Lasting(self.ready_s),
            )
            if math.isfinite(self.ready_s)
            else say(
                "The core does not reach {0} in {1}",
                Degrees(self.core_c, None),
                Lasting(float(self.time_s[-1])),
            )
        )
        return say(
            "{0}. After {1} the air is at {2}, its dew point {3}.",
            ready, Lasting(now), Degrees(self.at("air_c", now)),
            Degrees(self.at("dew_point_c", now)),
        )  # fmt: skip


def change(kelvin: float) -> Difference:
    """Return a change as it is said: whole degrees, and none is none."""
    return Difference(0.0 if abs(kelvin) < 0.5 else kelvin, 0, signed=True)


def later_words(seconds: float) -> Text:
    """Say how much later, or earlier, it is ready."""
    if not math.isfinite(seconds):
        return "no telling when ready" if math.isnan(seconds) else "never ready in that time"
    if abs(seconds) < 0.5 * _MINUTE:
        return "ready as before"
    return say("ready {0} {1}", Lasting(abs(seconds)), "later" if seconds > 0 else "earlier")


def event_words(event: FireEvent, plan: FirePlan) -> Text:
    """Say what an event is."""
    share = f"{100.0 * event.value:.0f} %"
    for_s: Text = say(" for {0}", _short(event.for_s)) if event.for_s > 0.0 else ""
    if event.kind == "fuel":
        wet = "" if event.moisture is None else f" with {100.0 * event.moisture:.0f} % of water"
        return say(
            "{0} of {1} added{2}", Mass(event.value), event.fuel or plan.fuel_set().name, wet
        )
    words: dict[str, Text] = {
        "vent": f"the vent at {share}",
        "outlet": f"the outlet at {share}",
        "lid": "the lid open",
        "gust": f"wind of {event.value:g} m/s",
        "rain": f"rain of {event.value:g} mm/h",
        "pan": say("{0} of hot water in the pan", Mass(event.value)),
        "set": say("the thermostat at {0}", Degrees(event.value)),
    }
    return say("{0}{1}", words[event.kind], for_s)


def _short(seconds: float) -> Text:
    return f"{seconds:.0f} s" if seconds < 2.0 * _MINUTE else Lasting(seconds)


def pit_day(
    piece: Piece,
    plan: FirePlan | None = None,
    *,
    core_c: float = 93.0,
    pieces: int = 1,
    now_s: float = 3.0 * _HOUR,
    longest_s: float = LONGEST_S,
    moves: bool = True,
    quick: bool = False,
    progress: Callable[[float, str], None] = lambda share, words: None,
) -> PitDay:
    """Cook meat over a fire, and try what would change it.

    Parameters
    ----------
    piece : Piece
        With its raw mass.
    plan : FirePlan, optional
        Pit, vents, fuel, weather and events; an upright steel pit if None.
    core_c : float
        Core that is wanted. [°C]
    pieces : int
        Alike, in the one pit.
    now_s : float
        When the moves are made. [s]
    longest_s : float
        Followed so long. [s]
    moves : bool
        False leaves out moves and costs.
    quick : bool
        Fewer rounds and a coarser mesh, for a picture that moves.
    progress : callable
        Told how far it is.

    Raises
    ------
    InputError, TableError, SolverError
    """
    plan = plan or FirePlan()
    start = warmed(plan)
    options: dict[str, Any] = {"pieces": pieces, "start": start, **_QUICK}
    if quick:
        options["most_rounds"] = 3
    progress(0.05, "the fire and the meat")
    day = cook_in_pit(piece, plan, longest_s, **options)
    ready = day.ready_s(core_c)
    now_s = min(now_s, longest_s - LATER_S)

    def other(events: tuple[FireEvent, ...]) -> PitCook:
        return cook_in_pit(piece, replace(plan, events=events), longest_s, guess=day, **options)

    made: list[Move] = []
    costs: list[Cost] = []
    if moves:
        tried = _tried(plan, now_s)
        steps = len(tried) + len(plan.events)
        for number, (name, words, events) in enumerate(tried):
            progress(0.2 + 0.8 * number / steps, "what a hand would change")
            made.append(_move(name, words, day, other((*plan.events, *events)), core_c, now_s))
        for number, event in enumerate(plan.events):
            progress(0.2 + 0.8 * (len(tried) + number) / steps, "what each event costs")
            rest = tuple(e for e in plan.events if e is not event)
            costs.append(_cost(event, plan, other(rest), day, core_c))
    return _told(day, plan, core_c, ready, now_s, tuple(made), tuple(costs))


def _tried(plan: FirePlan, at_s: float) -> list[tuple[str, Text, tuple[FireEvent, ...]]]:
    """What a hand could do at a moment."""
    found: list[tuple[str, Text, tuple[FireEvent, ...]]] = []
    if plan.thermostat:
        for step in (_SET_STEP_K, -_SET_STEP_K):
            to = min(max(plan.set_c + step, 0.0), 300.0)
            found.append(
                ("thermostat " + ("up" if step > 0 else "down"),
                 say("set the thermostat to {0}", Degrees(to)), (FireEvent(at_s, "set", to),))
            )  # fmt: skip
    else:
        now = _vent_at(plan, at_s)
        for word, factor in (("open", 1.0 + _VENT_STEP), ("close", 1.0 - _VENT_STEP)):
            to = min(now * factor, 1.0) if now > 0.0 or factor < 1.0 else 0.1
            if abs(to - now) > 1e-6:
                a_third = "" if now == 0.0 or (to == 1.0 and factor > 1.0) else " by a third"
                found.append(
                    (f"{word} the vent",
                     f"{word} the vent{a_third}, from {100 * now:.0f} to {100 * to:.0f} %",
                     (FireEvent(at_s, "vent", to),))
                )  # fmt: skip
    found.append(
        ("fill the pan", say("put {0} of hot water in the pan", Mass(_PAN_KG)),
         (FireEvent(at_s, "pan", _PAN_KG),))
    )  # fmt: skip
    found.append(
        ("look under the lid", f"lift the lid for {_LOOK_S:.0f} s",
         (FireEvent(at_s, "lid", 1.0, _LOOK_S),))
    )  # fmt: skip
    return found


def _vent_at(plan: FirePlan, at_s: float) -> float:
    vent = plan.vent
    for event in sorted(plan.events, key=lambda e: e.at_s):
        if event.kind == "vent" and event.at_s <= at_s:
            vent = event.value if not 0.0 < event.for_s < at_s - event.at_s else plan.vent
    return vent


def _air(day: PitCook, at: Floats | float) -> Any:
    return np.interp(at, day.fire.time_s, day.fire.air_c)


def _dew(day: PitCook, at_s: float) -> float:
    return float(np.interp(at_s, day.fire.time_s, day.fire.dew_point_c))


def _later(more: PitCook, less: PitCook, core_c: float) -> float:
    with_it, without = more.ready_s(core_c), less.ready_s(core_c)
    return math.nan if math.isinf(with_it) and math.isinf(without) else with_it - without


def _move(
    name: str, words: Text, day: PitCook, other: PitCook, core_c: float, at_s: float
) -> Move:
    grid = at_s + np.arange(0.0, LATER_S + 1.0, _MINUTE)
    changed = _air(other, grid) - _air(day, grid)
    later = float(changed[-1])
    shown = np.abs(changed - later) <= (1.0 - _SHOWN) * abs(later) + 0.2
    # From when on it stays that near to what it does in the end.
    last_off = np.flatnonzero(~shown)
    again = _MINUTE * (float(last_off[-1]) + 1.0) if len(last_off) else 0.0
    steps = math.ceil(max(again, _AGAIN_LEAST_S) / (5.0 * _MINUTE))
    return Move(
        name, words, float(changed[int(SOON_S / _MINUTE)]), later, _dew(day, at_s + LATER_S),
        _dew(other, at_s + LATER_S), _later(other, day, core_c),
        float(day.fire.fuel_kg[-1] - other.fire.fuel_kg[-1]), 5.0 * _MINUTE * steps,
    )  # fmt: skip


def _cost(
    event: FireEvent, plan: FirePlan, without: PitCook, day: PitCook, core_c: float
) -> Cost:
    grid = event.at_s + np.arange(0.0, LATER_S, 5.0)
    moved = _air(day, grid) - _air(without, grid)
    return Cost(
        event,
        event_words(event, plan),
        float(moved[np.argmax(np.abs(moved))]),
        _later(day, without, core_c),
    )


def _told(
    day: PitCook, plan: FirePlan, core_c: float, ready: float, now_s: float,
    moves: tuple[Move, ...], costs: tuple[Cost, ...],
) -> PitDay:  # fmt: skip
    fire, cook = day.fire, day.cook
    end = ready if math.isfinite(ready) else float(cook.time_s[-1])
    # Close together where something happens: a lid is back within minutes.
    near = [e.at_s + e.for_s * k + s for e in plan.events for k in (0, 1) for s in _NEAR_S]
    time = np.unique(np.concatenate((np.arange(0.0, end + _ROWS_S, _ROWS_S), near)))
    time = time[time <= end + _ROWS_S]
    # Between two rows of an event the clock stands still.
    once = np.concatenate((np.diff(fire.time_s) > 0.0, [True]))

    def of_fire(values: Floats) -> Floats:
        found: Floats = np.interp(time, fire.time_s[once], values[once])
        return found

    heat, water_in, water = _accounts(day, end)
    return PitDay(
        day=day,
        plan=plan,
        core_c=core_c,
        ready_s=ready,
        time_s=time,
        air_c=of_fire(fire.air_c),
        wall_c=of_fire(fire.wall_c),
        dew_point_c=of_fire(fire.dew_point_c),
        core=np.interp(time, cook.time_s, cook.core_c),
        surface=np.interp(time, cook.time_s, cook.surface_c),
        fresh_air_kg_h=of_fire(fire.fresh_air_kg_h),
        oxygen=of_fire(fire.oxygen_share),
        power_w=of_fire(fire.power_w),
        fuel_kg=of_fire(fire.fuel_kg),
        heat=heat,
        water_in=water_in,
        water=water,
        now_s=now_s,
        moves=moves,
        costs=costs,
        assumptions=_assumptions(plan),
        warnings=_warnings(day, end),
    )


def _accounts(
    day: PitCook, end_s: float
) -> tuple[tuple[Share, ...], tuple[Share, ...], tuple[Share, ...]]:
    """Where heat and water went until a moment, from the ledger."""
    fire = day.fire
    q = {
        name: float(np.interp(end_s, fire.time_s, fire.ledger[:, i]))
        for i, name in enumerate(_ledger_names())
    }
    states = {
        name: float(np.interp(end_s, fire.time_s, fire.state(name)))
        - float(fire.state(name)[0])
        for name in (
            "body_in",
            "body_out",
            "lid_in",
            "lid_out",
            "enthalpy",
            "pan_heat",
            "vapour",
        )
    }
    burnt = WATER_PER_HYDROGEN * q["hydrogen"]
    walls = q["body_loss"] + q["lid_loss"] + q["lid_inside_loss"]
    stored = sum(v for n, v in states.items() if n != "vapour")
    # The heat of the fire counts its water as vapour: so does what leaves by the stack.
    fuel_water = burnt + q["moisture"]
    sensible = q["heat_out"] - q["heat_in"] - LATENT_0 * (q["vapour_out"] - q["vapour_in"])
    vapour_heat = LATENT_0 * (q["vapour_out"] - q["vapour_in"] - fuel_water)
    meat = q["gas_meat"] + q["wall_meat"] - q["meat_vapour_heat"]
    heat = (
        Share("through walls and lid", walls),
        Share("up the stack as heat", sensible),
        Share("up the stack as vapour of meat and pan", vapour_heat),
        Share("into the meat, to stay", meat),
        Share("rain and condensate", q["rain"] + q["condensed_heat"]),
        Share("kept in walls, pan and gas", stored),
    )
    water_in = (
        Share("the meat", q["meat_vapour"]),
        Share("the fire", fuel_water),
        Share("the pan", q["pan_vapour"]),
        Share("fresh air", q["vapour_in"]),
    )
    water = (
        Share("up the stack", q["vapour_out"]),
        Share("condensed on walls", q["condensed"]),
        Share("in the air of the pit", states["vapour"]),
    )
    return heat, water_in, water


def _ledger_names() -> tuple[str, ...]:
    from coreward.physics.fire import FLOWS

    return FLOWS


def _assumptions(plan: FirePlan) -> tuple[Text, ...]:
    pit = plan.pit_set()
    return (
        say(
            "{0} as in the table of pits: sizes of its kind, common practice, no source. Your "
            "own pit may be out by tens of degrees; a log of it says more.", Opening(pit.title),
        ),
        "The air of the pit is one well-mixed gas: no hot side, no flame, no smoke, and the "
        "fire burns without soot or carbon monoxide. Never run one indoors.",
        say("Outside {0}, wind {1} m/s; the pit was warmed up empty for two hours.",
            Degrees(plan.outside_c), f"{plan.wind:g}"),
    )  # fmt: skip


def _warnings(day: PitCook, end_s: float) -> tuple[Text, ...]:
    found: list[Text] = []
    fire = day.fire
    now = fire.time_s <= end_s
    if day.apart_k > 0.5 or day.heat_apart > _AGREED:
        found.append(
            say(
                "Fire and meat were not brought to agree: the surface still moved by {0} and "
                "the heat differs by {1} %.",
                Difference(day.apart_k), f"{100.0 * day.heat_apart:.1f}",
            )
        )  # fmt: skip
    if float(fire.oxygen_share[now].min()) < 0.25:
        found.append("The fire is short of air: it would smoke, and burn worse than this says.")
    fuel = fire.fuel_kg[now]
    if fuel[0] > 0.0 and float(fuel.min()) < 0.05 * fuel[0]:
        found.append("The fuel runs out before the meat is ready: add some in time.")
    if float(fire.air_c[now].max()) > 250.0:
        found.append("The air passes 250 °C, where this model was never meant to go.")
    return tuple(found)


def pit_words(answer: PitDay) -> Text:
    """Return all that is told in sentences."""
    parts = [answer.sentence, *answer.warnings]
    parts += [move.sentence for move in answer.moves]
    return together(parts)
