"""The panel of the question "Why has it stopped rising?"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import numpy as np

import coreward as cw
from coreward import tables
from coreward.errors import InputError
from coreward.physics.air import dew_point, pressure_at_altitude
from coreward.physics.body import SHAPES
from coreward.questions.stall.explain import Explanation, explain
from coreward.questions.stall.figure import StallPicture, alt_text
from coreward.widgets import shared
from coreward.widgets.controls import (
    ALTITUDE,
    HOURS,
    PERCENT,
    SPEED,
    TEMPERATURE,
    Choice,
    Number,
    Toggle,
)
from coreward.widgets.panel import Panel, PanelState, View
from coreward.words import Degrees, Lasting, Text, UnitChoice, say, together

_HOUR: Final = 3600.0

# A drag shows the coarse answer: fewer cells and a looser step control, within a
# few tenths of a degree of the full one. The full one uses the engine's defaults.
_PREVIEW_CELLS: Final = 24
_PREVIEW_TOLERANCE: Final = 0.05

# A whole brisket: the usual subject of the question.
_CUT: Final = "beef brisket whole"


class StallState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    cut = shared.cut(_CUT)
    shape = shared.shape()
    thickness_m = shared.thickness(
        tables.load("cut", _CUT)["usual_thickness"], low=0.02, thinner="never stalls for long"
    )
    start_c = shared.start()
    pit_c = shared.pit(110.0)
    humidity = Choice(
        "dew point",
        label="damp by",
        options={
            "dew point": "dew point in the pit",
            "relative humidity": "humidity of the day",
        },
        name="humidity",
    )
    dew_point_c = shared.dew_point()
    relative_humidity = Number(
        0.6,
        label="humidity",
        quantity=PERCENT,
        low=0.05,
        high=1.0,
        reason="air holds neither less than nothing nor more than all",
        name="relative-humidity",
    )
    humidity_at_c = Number(
        20.0,
        label="measured at",
        quantity=TEMPERATURE,
        low=0.0,
        high=60.0,
        reason="a relative humidity means something only at an ordinary air temperature",
        name="humidity-at",
    )
    air_speed = Number(
        tables.load("fire")["air_speed"],
        label="air speed",
        quantity=SPEED,
        low=0.0,
        high=4.0,
        reason="a stronger wind than in a fan oven does not blow through a pit",
        name="air-speed",
    )
    altitude_m = Number(
        0.0,
        label="altitude",
        quantity=ALTITUDE,
        low=0.0,
        high=4000.0,
        reason="the properties of damp air are checked down to 60 kPa only",
        name="altitude",
    )
    wrap = shared.wrap()
    wrap_when = Choice(
        "core",
        label="wrap when",
        options={"core": "the core reaches", "hours": "after a time"},
        name="wrap-when",
    )
    wrap_core_c = shared.wrap_core(66.0)
    wrap_after_s = shared.wrap_after(5 * _HOUR, low=0.5 * _HOUR, high=20 * _HOUR)
    evaporation = Toggle(True, label="evaporation on", name="evaporation")
    transport = Choice(
        tables.default_name("transport"),
        label="water moves",
        options=shared.titles("transport"),
        name="transport",
    )
    duration_s = Number(
        14 * _HOUR,
        label="cook for",
        quantity=HOURS,
        low=2 * _HOUR,
        high=24 * _HOUR,
        reason="cooks longer than a day are beyond what was checked",
        name="duration",
    )
    profile_time_s = Number(
        6 * _HOUR,
        label="look inside at",
        quantity=HOURS,
        low=0.0,
        high=24 * _HOUR,
        reason="it lies within the cook",
        name="profile-time",
    )

    input_names: ClassVar[tuple[str, ...]] = (
        "cut",
        "shape",
        "thickness_m",
        "start_c",
        "pit_c",
        "humidity",
        "dew_point_c",
        "relative_humidity",
        "humidity_at_c",
        "air_speed",
        "altitude_m",
        "wrap",
        "wrap_when",
        "wrap_core_c",
        "wrap_after_s",
        "evaporation",
        "transport",
        "duration_s",
        "profile_time_s",
    )


@dataclass(frozen=True, eq=False)
class StallOutcome:
    """One cook with its explanation and the time that is looked at."""

    result: Any
    explanation: Any
    at_time_s: float


def dew_point_of(inputs: dict[str, Any]) -> float:
    """Return the dew point from whichever measure of damp is given, in °C."""
    if inputs["humidity"] == "dew point":
        return float(inputs["dew_point_c"])
    return float(
        dew_point(
            inputs["humidity_at_c"],
            relative_humidity=inputs["relative_humidity"],
            pressure_pa=pressure_at_altitude(inputs["altitude_m"]),
        )
    )


def cook(inputs: dict[str, Any], **options: Any) -> Any:
    """Run the cook that the inputs describe.

    Parameters
    ----------
    inputs : dict
        As from `StallState.inputs`.
    **options
        Passed on to ``coreward.simulate`` (cells, tolerance).

    Returns
    -------
    Result

    Raises
    ------
    InputError
        If the inputs contradict each other.
    """
    size = inputs["thickness_m"]
    shape = SHAPES[inputs["shape"]]
    piece = cw.Piece(
        shape(size),
        cw.meat(inputs["cut"], transport=inputs["transport"]),
        start_c=inputs["start_c"],
    )
    dew_point_c = dew_point_of(inputs)
    if dew_point_c >= inputs["pit_c"]:
        raise InputError(
            say(
                "The dew point ({0}) must lie below the pit temperature ({1}): lower the one "
                "or raise the other.",
                Degrees(dew_point_c),
                Degrees(inputs["pit_c"]),
            )
        )
    pit = cw.Surroundings(
        air_c=inputs["pit_c"],
        dew_point_c=dew_point_c,
        air_speed=inputs["air_speed"],
        pressure_pa=pressure_at_altitude(inputs["altitude_m"]),
        evaporation=inputs["evaporation"],
    )
    whole = inputs["duration_s"]
    if inputs["wrap"] == "none":
        return cw.simulate(piece, [cw.Stage(pit, duration_s=whole)], **options)
    if inputs["wrap_when"] == "hours":
        bare_s = min(inputs["wrap_after_s"], whole)
        bare = cw.Stage(pit, duration_s=bare_s)
    else:
        bare = cw.Stage(pit, duration_s=whole, until_core_c=inputs["wrap_core_c"])
        first = cw.simulate(piece, [bare], **options)
        bare_s = float(first.time_s[-1])
        if whole - bare_s < 1.0:
            return first
    if whole - bare_s < 1.0:
        return cw.simulate(piece, [bare], **options)
    wrapped = cw.Stage(pit, duration_s=whole - bare_s, wrap=inputs["wrap"])
    return cw.simulate(piece, [bare, wrapped], **options)


class StallPanel(Panel):
    """Controls, picture and words of the stall."""

    title = "Why has it stopped rising?"
    state: StallState

    def __init__(self, state: StallState, units: str | UnitChoice | None = None) -> None:
        self._drawing = StallPicture()
        self._known: tuple[Any, Any, Any] | None = None
        super().__init__(state, units, unit_kinds=("temperature", "length"))

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (
            ("The piece", ("cut", "shape", "thickness", "start", "transport", "evaporation")),
            (
                "The pit",
                (
                    "pit",
                    "air-speed",
                    "altitude",
                    "humidity",
                    "dew-point",
                    "relative-humidity",
                    "humidity-at",
                ),
            ),
            (
                "The cook",
                ("wrap", "wrap-when", "wrap-core", "wrap-after", "duration", "profile-time"),
            ),
        )

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        state = self.state
        by_dew_point = state.humidity == "dew point"
        wrapped = state.wrap != "none"
        by_core = state.wrap_when == "core"
        for name, visible in {
            "dew-point": by_dew_point,
            "relative-humidity": not by_dew_point,
            "humidity-at": not by_dew_point,
            "wrap-when": wrapped,
            "wrap-core": wrapped and by_core,
            "wrap-after": wrapped and not by_core,
        }.items():
            self.controls[name].set_visible(visible)

    def compute(self, preview: bool) -> StallOutcome:
        """Return cook and explanation; looking inside at another time costs nothing."""
        inputs = self.state.inputs()
        at_time_s = min(inputs.pop("profile_time_s"), inputs["duration_s"])
        key = tuple(inputs.values())
        known = self._known
        if known is not None and known[0] == (key, False):
            return StallOutcome(known[1], known[2], at_time_s)
        if known is None or known[0] != (key, preview):
            options = (
                {"cells": _PREVIEW_CELLS, "tolerance": _PREVIEW_TOLERANCE} if preview else {}
            )
            result = cook(inputs, **options)
            self._known = known = ((key, preview), result, explain(result))
        return StallOutcome(known[1], known[2], at_time_s)

    def view(self, outcome: StallOutcome) -> View:
        """Return picture and words."""
        kept = self.state.kept
        picture = self._drawing.update(
            outcome.result,
            outcome.explanation,
            outcome.at_time_s,
            self.state.units,
            None if kept is None else kept.result,
            moving=self.moving,
        )
        words = alt_text(outcome.result, outcome.explanation, self.state.units)
        status, explanation = self._words(outcome, kept)
        return View(picture, words, status, explanation)

    def _words(self, outcome: StallOutcome, kept: StallOutcome | None) -> tuple[str, str]:
        """Return the line above the picture and the sentences below it."""
        result, explanation, units = outcome.result, outcome.explanation, self.state.units
        at = outcome.at_time_s
        core, surface = (
            float(np.interp(at, result.time_s, values))
            for values in (result.core_c, result.surface_c)
        )
        index = int(np.searchsorted(result.time_s, at).clip(0, len(result.time_s) - 1))
        status = say(
            f"At {{0}}: core {{1}}, surface {{2}}, {explanation.regime[index]}. Weight loss "
            f"{_lost(result)} after {{3}}; the core ends at {{4}}.",
            Lasting(at),
            Degrees(core, 1),
            Degrees(surface, 1),
            Lasting(float(result.time_s[-1])),
            Degrees(float(result.core_c[-1]), 1),
        )
        parts = [explanation.sentence]
        if kept is not None:
            parts.append(
                say(
                    "Kept for comparison: {0} Weight loss {1}, the core ends at {2}.",
                    _stall_words(kept.explanation),
                    _lost(kept.result),
                    Degrees(float(kept.result.core_c[-1]), 1),
                )
            )
        return status.shown(units), together(parts).shown(units)

    def code(self) -> str:
        """Return the lines of Python that repeat the cook."""
        inputs = self.state.inputs()
        shape = SHAPES[inputs["shape"]].__name__
        pressure_pa = float(pressure_at_altitude(inputs["altitude_m"]))
        lines = [
            "import coreward as cw",
            "from coreward.questions.stall.explain import explain",
            "",
            "piece = cw.Piece(",
            f"    cw.{shape}({_number(inputs['thickness_m'])}),",
            f"    cw.meat({inputs['cut']!r}, transport={inputs['transport']!r}),",
            f"    start_c={_number(inputs['start_c'])},",
            ")",
            "pit = cw.Surroundings(",
            f"    air_c={_number(inputs['pit_c'])},",
            f"    dew_point_c={_number(dew_point_of(inputs))},",
            f"    air_speed={_number(inputs['air_speed'])},",
            f"    pressure_pa={_number(pressure_pa)},",
            f"    evaporation={inputs['evaporation']},",
            ")",
        ]
        whole = inputs["duration_s"]
        if inputs["wrap"] == "none":
            lines.append(
                f"result = cw.simulate(piece, [cw.Stage(pit, duration_s={_number(whole)})])"
            )
        else:
            if inputs["wrap_when"] == "hours":
                bare_s = min(inputs["wrap_after_s"], whole)
                lines.append(f"bare = cw.Stage(pit, duration_s={_number(bare_s)})")
            else:
                lines.append(
                    f"bare = cw.Stage(pit, duration_s={_number(whole)}, "
                    f"until_core_c={_number(inputs['wrap_core_c'])})"
                )
            lines += [
                "first = cw.simulate(piece, [bare])",
                f"left_s = {_number(whole)} - first.time_s[-1]",
                "stages = [bare]",
                "if left_s >= 1.0:",
                f"    stages.append(cw.Stage(pit, duration_s=left_s, wrap={inputs['wrap']!r}))",
                "result = cw.simulate(piece, stages)",
            ]
        lines += ["print(explain(result).sentence)", ""]
        return "\n".join(lines)


class FirstLook(StallPanel):
    """The same cook with four controls, for somebody who has just arrived."""

    title = "A first cook"

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (
            ("The piece", ("cut", "thickness")),
            ("The pit", ("pit",)),
            ("Look", ("profile-time",)),
        )

    def arrange(self) -> None:
        """Show every control: each has an effect."""


def first_look(units: str | UnitChoice | None = None) -> FirstLook:
    """Return the small panel of the start page."""
    return FirstLook(StallState(), units)


def _number(value: float) -> str:
    """Return a float as Python text, without the digits that nobody chose."""
    return repr(float(f"{value:.8g}"))


def _lost(result: Any) -> str:
    return f"{100.0 * result.mass_loss_fraction[-1]:.1f} %"


def _stall_words(explanation: Explanation) -> Text:
    if not explanation.stalls:
        return "No stall."
    return together(
        say(
            "Stall of {0} from {1}, core {2} to {3}.",
            Lasting(stall.duration_s),
            Lasting(stall.begin_s),
            Degrees(stall.core_begin_c),
            Degrees(stall.core_end_c),
        )
        for stall in explanation.stalls
    )


def stall_panel(units: str | UnitChoice | None = None, **inputs: Any) -> StallPanel:
    """Return the panel of the stall.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    **inputs
        Start values by the names of `StallState`, such as ``evaporation=False``.
        A reset goes back to these. ``remember=False`` keeps the panel from being found
        again as it was left.

    Raises
    ------
    InputError
        If a start value is unknown or outside its range.
    """
    state = StallState()
    state.start_with(inputs)
    return StallPanel(state, units)
