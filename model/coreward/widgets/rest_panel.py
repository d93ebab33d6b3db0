"""The panel of the question "When should I pull it?"."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, ClassVar, Final

import ipywidgets as W

import coreward as cw
from coreward import tables
from coreward.cook.rest import BoxPlan, Rest, cook_and_rest, rest_stage
from coreward.errors import InputError
from coreward.figures import style
from coreward.figures.rest import RestPicture, alt_text
from coreward.figures.style import UnitChoice
from coreward.questions.carryover import (
    Carryover,
    PullAnswer,
    carryover,
    dry_twin,
    pull_for_peak,
)
from coreward.questions.holding import Holding, holding
from coreward.questions.tenderness import Tenderness, section, tenderness
from coreward.widgets.controls import HOURS, LENGTH, MASS, TEMPERATURE, Choice, Number
from coreward.widgets.panel import Panel, PanelState, View

_HOUR: Final = 3600.0
_SHAPES: Final = {
    "cylinder": "long and round",
    "slab": "flat, both faces open",
    "sphere": "ball",
}
_MAKE: Final = {"slab": cw.Slab, "cylinder": cw.Cylinder, "sphere": cw.Sphere}
_PLACES: Final = (
    "kitchen",
    "tent",
    "towels",
    "board",
    "warm oven",
    "holding cabinet",
    "ice bath",
)
_BOX: Final = "box"
_WRAPS: Final = {"none": "bare", "foil": "in foil", "paper": "in paper"}
# A root is sought over many cooks: fewer cells and a looser step control than the
# engine's own, within a few tenths of a degree of it.
_PREVIEW: Final = {"cells": 20, "tolerance": 0.1}
_FULL: Final = {"cells": 30, "tolerance": 0.05}
_PLAY_STEPS: Final = 60
_CUT: Final = "beef rib roast"


def _places() -> dict[str, str]:
    found = {name: tables.load("rest", name).title for name in _PLACES}
    return found | {_BOX: tables.load("box").title}


class RestState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    cut = Choice(
        _CUT,
        label="cut",
        options={name: tables.load("cut", name).title for name in tables.names("cut")},
        name="cut",
    )
    shape = Choice("cylinder", label="shape", options=_SHAPES, name="shape")
    thickness_m = Number(
        0.1,
        label="thickness",
        quantity=LENGTH,
        low=0.03,
        high=0.2,
        reason="a thinner piece hardly carries over and a thicker one takes days",
        name="thickness",
    )
    mass_kg = Number(
        2.5,
        label="weighs",
        quantity=MASS,
        low=0.5,
        high=10.0,
        reason="a lighter piece hardly warms a box and a heavier one does not fit it",
        name="mass",
    )
    pit_c = Number(
        163.0,
        label="pit",
        quantity=TEMPERATURE,
        low=80.0,
        high=220.0,
        reason="the model is made for slow cooking, without browning or burning",
        name="pit",
    )
    dew_point_c = Number(
        35.0,
        label="dew point",
        quantity=TEMPERATURE,
        low=0.0,
        high=75.0,
        reason="damper air is close to steam and drier air makes no difference any more",
        name="dew-point",
    )
    peak_c = Number(
        57.0,
        label="peak",
        quantity=TEMPERATURE,
        low=45.0,
        high=95.0,
        reason="below it no roast is wanted, and above it meat falls apart",
        name="peak",
    )
    place = Choice("kitchen", label="rests in", options=_places(), name="place")
    wrap = Choice("none", label="wrap", options=_WRAPS, name="wrap")
    rest_s = Number(
        2.0 * _HOUR,
        label="rests for",
        quantity=HOURS,
        low=0.5 * _HOUR,
        high=8.0 * _HOUR,
        reason="a shorter rest ends before the peak, and a longer one is a hold",
        name="rest",
    )
    serving_c = Number(
        50.0,
        label="hot above",
        quantity=TEMPERATURE,
        low=40.0,
        high=70.0,
        reason="that is the span of what people call hot",
        name="serving",
    )
    look_s = Number(
        0.0,
        label="look at",
        quantity=HOURS,
        low=-1.0 * _HOUR,
        high=8.0 * _HOUR,
        reason="the picture shows the last hour before the pull and the rest",
        name="look",
    )

    input_names: ClassVar[tuple[str, ...]] = (
        "cut",
        "shape",
        "thickness_m",
        "mass_kg",
        "pit_c",
        "dew_point_c",
        "peak_c",
        "place",
        "wrap",
        "rest_s",
        "serving_c",
        "look_s",
    )


@dataclass(frozen=True)
class RestOutcome:
    """The answer, and the time at which to look at the section."""

    answer: PullAnswer
    told: Carryover
    dry: Carryover | None
    tender: Tenderness
    held: Holding
    at_time_s: float


def _setting(inputs: dict[str, Any]) -> tuple[cw.Piece, cw.Surroundings, Rest]:
    """Piece, pit and rest of the inputs."""
    piece = cw.Piece(
        _MAKE[inputs["shape"]](inputs["thickness_m"]), cw.meat(inputs["cut"]), start_c=4.0
    )
    if inputs["dew_point_c"] >= inputs["pit_c"]:
        raise InputError(
            "The dew point must lie below the pit: lower the one or raise the other."
        )
    pit = cw.Surroundings(inputs["pit_c"], dew_point_c=inputs["dew_point_c"])
    wrap = None if inputs["wrap"] == "none" else inputs["wrap"]
    if inputs["place"] == _BOX:
        return piece, pit, BoxPlan(inputs["rest_s"], mass_kg=inputs["mass_kg"], wrap=wrap)
    return piece, pit, rest_stage(inputs["place"], inputs["rest_s"], piece=piece, wrap=wrap)


def _answer(inputs: dict[str, Any], preview: bool) -> RestOutcome:
    piece, pit, rest = _setting(inputs)
    options: dict[str, Any] = dict(_PREVIEW if preview else _FULL)
    boxed = isinstance(rest, BoxPlan)
    answer = pull_for_peak(
        piece, pit, rest, inputs["peak_c"], band=not preview and not boxed, **options
    )
    longest = tables.load("carryover")["longest_cook"]
    told = answer.carryover
    if told is None:
        # No pull gives that peak: show the cook that is pulled when it is there.
        until = cw.Stage(pit, duration_s=longest, until_core_c=inputs["peak_c"], label="pit")
        told = carryover(cook_and_rest(piece, until, rest, **options))
    elif answer.reached and not preview:
        # The root is known; the cook that is shown deserves the engine's own mesh.
        until = cw.Stage(pit, duration_s=longest, until_core_c=answer.pull_c, label="pit")
        told = carryover(cook_and_rest(piece, until, rest))
    dry = None
    if not boxed and told.pull_core_c > piece.start_c + 1.0:
        bare = cw.Surroundings(inputs["pit_c"], evaporation=False)
        stage = cw.Stage(bare, duration_s=longest, until_core_c=told.pull_core_c)
        dry = carryover(cook_and_rest(dry_twin(piece), stage, rest, **options))
    held = holding(told.result, serving_c=inputs["serving_c"])
    return RestOutcome(answer, told, dry, tenderness(told.result), held, told.pull_s)


class RestPanel(Panel):
    """Controls, picture and words of the rest."""

    title = "When should it be pulled?"
    state: RestState

    def __init__(self, state: RestState, units: str | UnitChoice | None = None) -> None:
        self._drawing = RestPicture()
        self._known: tuple[Any, RestOutcome] | None = None
        super().__init__(state, units, unit_kinds=("temperature", "length", "mass"))

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (
            ("The piece", ("cut", "shape", "thickness", "mass")),
            ("The pit", ("pit", "dew-point", "peak")),
            ("The rest", ("place", "wrap", "rest", "serving", "look")),
        )

    def before(self) -> Sequence[W.Widget]:
        """Return the button that plays the rest."""
        self.play = W.Play(
            min=0,
            max=_PLAY_STEPS,
            value=0,
            interval=250,
            description="play the rest",
        )
        self.play.add_class("coreward-control-play")
        self.play.observe(self._played, names="value")
        return (self.play,)

    def _played(self, change: Any) -> None:
        state = self.state
        begin = -0.25 * _HOUR
        state.look_s = begin + (state.rest_s - begin) * float(change["new"]) / _PLAY_STEPS

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        self.controls["mass"].set_visible(self.state.place == _BOX)

    def compute(self, preview: bool) -> RestOutcome:
        """Return the answer; looking inside at another time costs nothing."""
        inputs = self.state.inputs()
        look = inputs.pop("look_s")
        self.arrange()
        key = tuple(inputs.values())
        known = self._known
        if known is None or known[0] not in ((key, False), (key, preview)):
            self._known = known = ((key, preview), _answer(inputs, preview))
        found = known[1]
        at = min(max(found.told.pull_s + look, 0.0), found.told.result.duration_s)
        return RestOutcome(found.answer, found.told, found.dry, found.tender, found.held, at)

    def view(self, outcome: RestOutcome) -> View:
        """Return picture and words."""
        kept = self.state.kept
        inside = section(outcome.told.result, outcome.at_time_s)
        picture = self._drawing.update(
            outcome.told,
            outcome.tender,
            inside,
            outcome.at_time_s,
            self.state.units,
            outcome.dry,
            None if kept is None else kept.told,
        )
        status, explanation = self._words(outcome)
        return View(
            picture, alt_text(outcome.told, inside, self.state.units), status, explanation
        )

    def _words(self, outcome: RestOutcome) -> tuple[str, str]:
        """Return the line above the picture and the sentences below it."""
        units, answer, told = self.state.units, outcome.answer, outcome.told

        def degrees(value: float, digits: int = 0) -> str:
            return style.format_temperature(value, units, digits)

        if not answer.reached:
            status = (
                f"No pull gives a peak of {degrees(answer.peak_c)}. Shown: pulled at "
                f"{degrees(told.pull_core_c)}, highest in the rest "
                f"{degrees(told.peak_core_c)}."
            )
            parts = [answer.sentence] if units.temperature == "C" else []
        else:
            ready, cold = told.peak_after_s, outcome.held.serving_s
            until = style.format_hours(cold)
            if outcome.held.serving_at_end:
                until += " or later"
            serve = (
                f"serve between {style.format_hours(ready)} and {until} after the pull."
                if cold > ready
                else f"at its peak it is no longer above {degrees(self.state.serving_c)}."
            )
            status = (
                f"Pull at {degrees(answer.pull_c)} for a peak of {degrees(answer.peak_c)}; "
                f"{serve}"
            )
            parts = [
                f"It is pulled {style.format_hours(told.pull_s)} after the start and "
                f"loses {100.0 * told.loss_in_rest:.1f} % of its raw weight in the rest."
            ]
            if answer.deviations:
                parts.append(
                    f"With what is not known exactly: pull between {degrees(answer.low_c)} "
                    f"and {degrees(answer.high_c)}; most of that comes from "
                    f"{max(answer.deviations, key=lambda d: d[1])[0]}."
                )
            if told.still_rising:
                parts.append("The core still rises when this rest ends.")
        if outcome.dry is not None:
            parts.append(
                f"The core of a dry solid would still rise by {outcome.dry.rise_k:.0f} K "
                f"and not by {told.rise_k:.0f} K: nothing would have cooled its surface."
                if units.temperature == "C"
                else "The dry solid shows what would come without evaporation."
            )
        parts.append(outcome.tender.sentence)
        parts.append("A computed core is not a measured one: use a calibrated thermometer.")
        return status, " ".join(parts)

    def code(self) -> str:
        """Return the lines of Python that repeat the answer."""
        inputs = self.state.inputs()
        shape = {"slab": "Slab", "cylinder": "Cylinder", "sphere": "Sphere"}[inputs["shape"]]
        wrap = None if inputs["wrap"] == "none" else inputs["wrap"]
        lines = [
            "import coreward as cw",
            "from coreward.cook.rest import BoxPlan, rest_stage",
            "from coreward.questions.carryover import pull_for_peak",
            "",
            f"piece = cw.Piece(cw.{shape}({inputs['thickness_m']:.6g}), "
            f"cw.meat({inputs['cut']!r}), start_c=4.0)",
            f"pit = cw.Surroundings({inputs['pit_c']:.6g}, "
            f"dew_point_c={inputs['dew_point_c']:.6g})",
        ]
        if inputs["place"] == _BOX:
            lines.append(
                f"rest = BoxPlan({inputs['rest_s']:.6g}, mass_kg={inputs['mass_kg']:.6g}, "
                f"wrap={wrap!r})"
            )
        else:
            lines.append(
                f"rest = rest_stage({inputs['place']!r}, {inputs['rest_s']:.6g}, piece=piece, "
                f"wrap={wrap!r})"
            )
        lines += [
            f"print(pull_for_peak(piece, pit, rest, {inputs['peak_c']:.6g}).sentence)",
            "",
        ]
        return "\n".join(lines)


def rest_panel(units: str | UnitChoice | None = None, **inputs: Any) -> RestPanel:
    """Return the panel of the rest.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    **inputs
        Start values by the names of `RestState`, such as ``peak_c=60``.

    Raises
    ------
    InputError
        If a start value is unknown or outside its range.
    """
    state = RestState()
    state.start_with(inputs)
    return RestPanel(state, units)
