"""The panel of the question "Why has it stopped rising?"."""

from __future__ import annotations

import html
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import ipywidgets as W
import numpy as np

import coreward as cw
from coreward import tables
from coreward.cook.stages import fresh_air
from coreward.errors import InputError
from coreward.physics.air import dew_point, pressure_at_altitude
from coreward.physics.body import SHAPES
from coreward.questions.stall import usual
from coreward.questions.stall.choices import Choices, what_to_do
from coreward.questions.stall.explain import Explanation, explain
from coreward.questions.stall.figure import StallPicture, alt_text
from coreward.widgets import shared
from coreward.widgets.controls import (
    ALTITUDE,
    FLOW,
    HOURS,
    PERCENT,
    SPEED,
    TEMPERATURE,
    Choice,
    Number,
    Toggle,
)
from coreward.widgets.panel import Panel, PanelState, View
from coreward.widgets.schedule import Cancelled, Progress
from coreward.words import Degrees, Lasting, Text, UnitChoice, say, shown, together

_HOUR: Final = 3600.0

# A drag shows the coarse answer: fewer cells and a looser step control, within a
# few tenths of a degree of the full one. The full one uses the engine's defaults.
_PREVIEW_CELLS: Final = 24
_PREVIEW_TOLERANCE: Final = 0.05

_FRESH_AIR: Final = fresh_air(tables.load("ventilation", usual.PIT)).value
_MADE, _KNOWN = "fresh air", "dew point"
# Of the water activity of the surface: above the one it is wet to the touch, below the other
# a dry crust. Common practice, no source.
_WET, _DRY = 0.97, 0.75
_STYLE: Final = """<style>
.coreward-choices { display: grid; grid-template-columns: minmax(9em, 20em) 1fr; gap: 3px 10px;
  max-width: 900px; line-height: 1.35; align-items: center; }
@media (max-width: 640px) { .coreward-choices { grid-template-columns: 1fr; } }
.coreward-choices > div { min-width: 0; }
.coreward-choices i { display: block; height: 9px; background: #9c4a5c; }
.coreward-choices .coreward-late i {
  background: repeating-linear-gradient(135deg, #9c4a5c 0 5px, #ffffff 5px 8px); }
</style>"""


class StallState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    cut = shared.cut(usual.CUT)
    shape = shared.shape()
    thickness_m = shared.thickness(usual.THICKNESS_M, low=0.02, thinner="never stalls for long")
    mass_kg = shared.mass(
        usual.MASS_KG,
        low=0.5,
        high=30.0,
        reason="a lighter piece hardly damps its air and a heavier one is more than a piece",
    )
    start_c = shared.start(usual.START_C)
    pit_c = shared.pit(usual.PIT_C)
    humidity = Choice(
        _MADE,
        label="damp by",
        options={
            _MADE: "meat and fresh air",
            _KNOWN: "dew point in the pit",
            "relative humidity": "humidity of the day",
        },
    )
    fresh_air_kg_h = Number(
        _FRESH_AIR,
        label="fresh air",
        quantity=FLOW,
        low=0.5,
        high=30.0,
        reason="a closed pit still leaks a little and above that more air changes nothing",
    )
    water_kg_h = Number(
        0.0,
        label="pan and fuel",
        quantity=FLOW,
        low=0.0,
        high=1.0,
        reason="a pan of a pit boils off no more",
        named="pan-water",
    )
    dew_point_c = shared.dew_point()
    relative_humidity = Number(
        0.6,
        label="humidity",
        quantity=PERCENT,
        low=0.05,
        high=1.0,
        reason="air holds neither less than nothing nor more than all",
    )
    humidity_at_c = Number(
        20.0,
        label="measured at",
        quantity=TEMPERATURE,
        low=0.0,
        high=60.0,
        reason="a relative humidity means something only at an ordinary air temperature",
    )
    air_speed = Number(
        tables.load("fire")["air_speed"],
        label="air speed",
        quantity=SPEED,
        low=0.0,
        high=4.0,
        reason="a stronger wind than in a fan oven does not blow through a pit",
    )
    altitude_m = Number(
        0.0,
        label="altitude",
        quantity=ALTITUDE,
        low=0.0,
        high=4000.0,
        reason="the properties of damp air are checked down to 60 kPa only",
    )
    wrap = shared.wrap()
    wrap_when = Choice(
        "core",
        label="wrap when",
        options={"core": "the core reaches", "hours": "after a time"},
    )
    wrap_core_c = shared.wrap_core(66.0)
    wrap_after_s = shared.wrap_after(5 * _HOUR, low=0.5 * _HOUR, high=20 * _HOUR)
    evaporation = Toggle(True, label="evaporation on")
    transport = Choice(
        usual.FLOW,
        label="water moves",
        options=shared.titles("transport"),
    )
    duration_s = Number(
        14 * _HOUR,
        label="cook for",
        quantity=HOURS,
        low=2 * _HOUR,
        high=24 * _HOUR,
        reason="cooks longer than a day are beyond what was checked",
    )
    target_c = Number(
        90.0,
        label="wanted core",
        quantity=TEMPERATURE,
        low=70.0,
        high=97.0,
        reason="below it the meat is not done and above it water boils",
    )
    profile_time_s = Number(
        5 * _HOUR,
        label="look inside at",
        quantity=HOURS,
        low=0.0,
        high=24 * _HOUR,
        reason="it lies within the cook",
    )


@dataclass(frozen=True, eq=False)
class StallOutcome:
    """One cook with its explanation, the time that is looked at and what can be done.

    `choices` is None in a preview and where there is no stall.
    """

    result: Any
    explanation: Any
    at_time_s: float
    choices: Choices | None = None


def dew_point_of(inputs: dict[str, Any]) -> float:
    """Return the dew point from whichever measure of damp is given, in °C."""
    if inputs["humidity"] == _KNOWN:
        return float(inputs["dew_point_c"])
    return float(
        dew_point(
            inputs["humidity_at_c"],
            relative_humidity=inputs["relative_humidity"],
            pressure_pa=pressure_at_altitude(inputs["altitude_m"]),
        )
    )


def _around(inputs: dict[str, Any]) -> Any:
    """Return the pit: its air made damp by the meat, or of a damp that is given."""
    common = {
        "air_speed": inputs["air_speed"],
        "pressure_pa": pressure_at_altitude(inputs["altitude_m"]),
        "evaporation": inputs["evaporation"],
    }
    if inputs["humidity"] == _MADE:
        return usual.pit(
            inputs["pit_c"],
            inputs["fresh_air_kg_h"],
            water_kg_h=inputs["water_kg_h"],
            **common,
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
    return cw.Surroundings(inputs["pit_c"], dew_point_c, **common)


def cook(inputs: dict[str, Any], **options: Any) -> Any:
    """Run the cook that the inputs describe.

    Parameters
    ----------
    inputs : dict
        As from `StallState.inputs`.
    **options
        Passed on to ``coreward.simulate`` (cells, tolerance).

    Raises
    ------
    InputError
        If the inputs contradict each other.
    """
    piece = usual.piece(
        SHAPES[inputs["shape"]](inputs["thickness_m"]),
        inputs["cut"],
        inputs["transport"],
        inputs["start_c"],
        inputs["mass_kg"],
    )
    pit = _around(inputs)
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
    takes_long = True
    state: StallState

    def __init__(self, state: StallState, units: str | UnitChoice | None = None) -> None:
        self._drawing = StallPicture()
        self._known: tuple[Any, StallOutcome] | None = None
        self._choices_box = W.HTML()
        self._choices_box.add_class("coreward-tables")
        super().__init__(state, units, unit_kinds=("temperature", "length", "mass"))

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (
            (
                "The piece",
                ("cut", "shape", "thickness", "mass", "start", "transport", "evaporation"),
            ),
            (
                "The pit",
                (
                    "pit",
                    "humidity",
                    "fresh-air",
                    "pan-water",
                    "dew-point",
                    "relative-humidity",
                    "humidity-at",
                    "air-speed",
                    "altitude",
                ),
            ),
            (
                "The cook",
                (
                    "wrap",
                    "wrap-when",
                    "wrap-core",
                    "wrap-after",
                    "target",
                    "duration",
                    "profile-time",
                ),
            ),
        )

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        state = self.state
        made, known = state.humidity == _MADE, state.humidity == _KNOWN
        wrapped = state.wrap != "none"
        by_core = state.wrap_when == "core"
        for name, visible in {
            "fresh-air": made,
            "pan-water": made,
            "dew-point": known,
            "relative-humidity": not (made or known),
            "humidity-at": not (made or known),
            "wrap-when": wrapped,
            "wrap-core": wrapped and by_core,
            "wrap-after": wrapped and not by_core,
        }.items():
            self.controls[name].set_visible(visible)

    def compute(self, preview: bool) -> StallOutcome:
        """Return cook and explanation; looking inside at another time costs nothing."""
        return self._found(self.state.inputs(), preview)

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> StallOutcome:
        """Return the answer with what can be done about the stall, for which nine cooks run."""
        return self._found({name: inputs[name] for name in self.state.input_names}, False)

    def _found(self, inputs: dict[str, Any], preview: bool) -> StallOutcome:
        at_time_s = min(inputs.pop("profile_time_s"), inputs["duration_s"])
        key = tuple(inputs.values())
        known = self._known
        if known is not None and known[0] in ((key, False), (key, preview)):
            return replace(known[1], at_time_s=at_time_s)
        options = {"cells": _PREVIEW_CELLS, "tolerance": _PREVIEW_TOLERANCE} if preview else {}
        target_c = inputs.pop("target_c")
        result = cook(inputs, **options)
        told = explain(result)
        choices = None
        if self.takes_long and not preview:
            choices = _choices(result, told, target_c)
        outcome = StallOutcome(result, told, at_time_s, choices)
        self._known = ((key, preview), outcome)
        return outcome

    def extra(self) -> Sequence[W.Widget]:
        """Return what can be done about the stall."""
        return (self._choices_box,)

    def reported(self) -> Any:
        """Return what can be done where that was asked, and the cook by itself elsewhere."""
        outcome = self.state.outcome
        chosen = None if outcome is None else outcome.choices
        return super().reported() if chosen is None or self.state.error else chosen

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
        html_ = choices_html(outcome.choices, self.state.units)

        def below() -> None:
            self._choices_box.value = html_

        return View(picture, words, status, explanation, below)

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
        if inputs["humidity"] == _MADE:
            damp = [
                f"pit = usual.pit({_number(inputs['pit_c'])}, "
                f"{_number(inputs['fresh_air_kg_h'])},",
                f"    water_kg_h={_number(inputs['water_kg_h'])},",
            ]
        else:
            damp = [
                "pit = cw.Surroundings(",
                f"    air_c={_number(inputs['pit_c'])},",
                f"    dew_point_c={_number(dew_point_of(inputs))},",
            ]
        lines = [
            "import coreward as cw",
            "from coreward.questions.stall import usual",
            "",
            "piece = usual.piece(",
            f"    cw.{shape}({_number(inputs['thickness_m'])}), {inputs['cut']!r},",
            f"    {inputs['transport']!r}, start_c={_number(inputs['start_c'])},",
            f"    mass_kg={_number(inputs['mass_kg'])},",
            ")",
            *damp,
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
        lines += ["print(cw.explain(result).sentence)", ""]
        return "\n".join(lines)


def _choices(result: Any, told: Explanation, target_c: float) -> Choices | None:
    stall = told.account.stall
    if stall is None or stall.core_begin_c >= target_c:
        return None
    return what_to_do(result, stall.begin_s, target_c)


def choices_html(choices: Choices | None, units: UnitChoice) -> str:
    """Return what can be done as bars of the time it takes, with loss and crust in words."""
    if choices is None:
        return ""
    longest = max((row.takes_s or 0.0 for row in choices.rows), default=0.0) or 1.0
    parts = [f"<h4>{html.escape('What can be done about it, from where it begins')}</h4>"]
    parts.append(f"<p>{html.escape(shown(choices.sentence, units))}</p>")
    cells = []
    for row in choices.rows:
        late = row.takes_s is None
        wide = 100.0 if row.takes_s is None else 100.0 * row.takes_s / longest
        takes = "more than a day" if row.takes_s is None else str(Lasting(row.takes_s))
        surface = "wet" if row.crust > _WET else "damp" if row.crust > _DRY else "dry"
        name = f"<b>{html.escape(row.name)}</b>, {html.escape(shown(row.words, units))}"
        cells.append(
            f'<div role="cell">{name}</div><div role="cell"'
            f'{" class=coreward-late" if late else ""}><i style="width:{wide:.0f}%"></i>'
            f"{takes}, {100.0 * row.loss:.0f} % lost, crust {surface}</div>"
        )
    rows = "".join(f'<div role="row" style="display:contents">{cell}</div>' for cell in cells)
    return (
        f'{_STYLE}{"".join(parts)}<div class="coreward-choices" role="table" '
        f'aria-label="choices by time">{rows}</div>'
    )


class FirstLook(StallPanel):
    """The same cook with four controls, for somebody who has just arrived."""

    title = "A first cook"
    takes_long = False

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
            "{0} for {1} from {2}, core {3} to {4}.",
            "Stands still" if stall.level else "Climbs slowly",
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
