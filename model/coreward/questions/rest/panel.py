"""The panel of the question "When should I pull it?"."""

from __future__ import annotations

import threading
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any, Final

import ipywidgets as W
import numpy as np

import coreward as cw
from coreward import tables
from coreward.cook.rest import BOX, BoxPlan, Rest, cook_and_rest, rest_stage
from coreward.cook.stages import Liquid, Stage, Wrap
from coreward.cook.usual_piece import piece_code
from coreward.errors import InputError
from coreward.physics.body import SHAPES
from coreward.questions.rest.carryover import (
    Carryover,
    PullAnswer,
    carryover,
    dry_twin,
    heat_words,
    pull_for_peak,
)
from coreward.questions.rest.figure import RestPicture, alt_text
from coreward.questions.rest.holding import Holding, holding
from coreward.questions.rest.tenderness import Tenderness, section, tenderness
from coreward.questions.rest.wrapping import Crust, crust, up_to, wrapped_cook
from coreward.widgets import shared
from coreward.widgets.controls import (
    APART,
    HOURS,
    MASS,
    TEMPERATURE,
    Choice,
    Heading,
    Number,
)
from coreward.widgets.panel import Panel, PanelState, View
from coreward.widgets.panel_parts import row
from coreward.widgets.schedule import Cancelled, Progress
from coreward.words import (
    Degrees,
    Difference,
    Held,
    Lasting,
    Reading,
    Say,
    Text,
    UnitChoice,
    say,
    together,
)

_HOUR: Final = 3600.0
_PLACES: Final = (
    "kitchen",
    "tent",
    "towels",
    "board",
    "warm oven",
    "holding cabinet",
    "ice bath",
    BOX,
)
_NEVER, _AT_CORE, _AFTER = "never", "core", "time"
_MOMENTS: Final = {
    _NEVER: "never",
    _AT_CORE: "when the core is at",
    _AFTER: "after some hours",
}
_STAYS, _OFF = "stays", "off"
_UNWRAPS: Final = {_STAYS: "stays on", _OFF: "comes off when the core is at"}
# A root is sought over many cooks: fewer cells and a looser step control than the
# engine's own, within a few tenths of a degree of it.
_PREVIEW: Final = {"cells": 20, "tolerance": 0.1}
_FULL: Final = {"cells": 24, "tolerance": 0.05}
_PIECES: Final = {"1": "alone in it"} | {str(n): f"{n} alike in it" for n in (2, 3, 4, 6)}
_PLAY_STEPS: Final = 60
_CUT: Final = "beef rib roast"
# Answers that are kept: going back to where one was costs nothing.
_KEPT_ANSWERS: Final = 6


class RestState(PanelState):
    """Inputs of the panel. Temperatures in °C, the rest in SI."""

    _piece = Heading("The piece")
    cut = shared.cut(_CUT)
    shape = shared.piece_shape()
    mass_kg = shared.mass(2.5)
    thickness_m = shared.thickness(0.1, low=0.03, thinner="hardly carries over")
    _pit = Heading("The pit and the wrap")
    pit_c = shared.pit(163.0, high=220.0)
    dew_point_c = shared.dew_point(35.0)
    peak_c = Number(
        57.0,
        label="peak",
        quantity=TEMPERATURE,
        low=45.0,
        high=95.0,
        reason="below it no roast is wanted, and above it meat falls apart",
    )
    wrap_when = Choice(_NEVER, label="is wrapped", options=_MOMENTS)
    wrap_core_c = shared.wrap_core(65.0, label="core")
    wrap_after_s = shared.wrap_after(2.0 * _HOUR, high=12.0 * _HOUR)
    cook_wrap = shared.wrap_kind(label="in")
    liquid_kg = Number(
        0.0,
        label="liquid",
        quantity=MASS,
        low=0.0,
        high=0.5,
        reason="more than that is a braise",
    )
    unwrap_when = Choice(_STAYS, label="the wrap", options=_UNWRAPS)
    unwrap_core_c = Number(
        85.0,
        label="off at",
        quantity=TEMPERATURE,
        low=35.0,
        high=95.0,
        reason="the wrap must be on before it comes off",
    )
    _rest = Heading("The rest")
    place = shared.place("kitchen", label="rests in", names=_PLACES)
    pieces = Choice("1", label="pieces", options=_PIECES)
    wrap = shared.wrap(label="rests", bare="bare", into="in ")
    rest_s = Number(
        2.0 * _HOUR,
        label="rests for",
        quantity=HOURS,
        low=0.5 * _HOUR,
        high=8.0 * _HOUR,
        reason="a shorter rest ends before the peak, and a longer one is a hold",
    )
    serving_c = Number(
        50.0,
        label="hot above",
        quantity=TEMPERATURE,
        low=40.0,
        high=70.0,
        reason="that is the span of what people call hot",
    )
    _inside = APART
    look_s = Number(
        0.0,
        label="look at",
        quantity=HOURS,
        low=-1.0 * _HOUR,
        high=8.0 * _HOUR,
        reason="the picture shows the last hour before the pull and the rest",
    )


@dataclass(frozen=True)
class RestOutcome:
    """The answer, and the time at which to look at the section."""

    answer: PullAnswer
    told: Carryover
    dry: Carryover | None
    tender: Tenderness
    held: Holding
    crust: Crust
    at_time_s: float


@dataclass(frozen=True)
class _Setting:
    """What the inputs stand for."""

    piece: cw.Piece
    pit: cw.Surroundings
    before: tuple[Stage, ...]
    wrap: Wrap
    liquid: Liquid | None
    rest: Rest

    def cooked_to(self, core_c: float) -> tuple[Stage, ...]:
        """Stages up to a core."""
        longest = tables.load("carryover")["longest_cook"]
        last = cw.Stage(
            self.pit,
            duration_s=longest,
            until_core_c=core_c,
            wrap=self.wrap,
            label="pit",
            liquid=self.liquid,
        )
        return up_to(self.piece, (*self.before, last), core_c)


def _what_counts(inputs: dict[str, Any]) -> tuple[Any, ...]:
    """Return what the answer hangs on: not where one looks, nor what is out of sight."""
    idle = {name for name, visible in _shown(inputs).items() if not visible}
    idle |= {"look", "serving"}
    traits: dict[str, Any] = RestState.class_traits()
    return tuple(v for trait, v in inputs.items() if traits[trait].control_name not in idle)


def _shown(inputs: dict[str, Any]) -> dict[str, bool]:
    """Tell which of the controls that hang on others have an effect."""
    boxed, worn = inputs["place"] == BOX, inputs["wrap_when"] != _NEVER
    weighed = inputs["shape"] in shared.FROM_WEIGHT
    return {
        "mass": weighed or boxed or _has_liquid(inputs),
        "thickness": inputs["shape"] != shared.WEIGHED,
        "pieces": boxed,
        "wrap-core": inputs["wrap_when"] == _AT_CORE,
        "wrap-after": inputs["wrap_when"] == _AFTER,
        "cook-wrap": worn,
        "liquid": worn and inputs["cook_wrap"] == "foil",
        "unwrap-when": worn,
        "unwrap-core": worn and inputs["unwrap_when"] == _OFF,
    }


def _has_liquid(inputs: dict[str, Any]) -> bool:
    """Tell whether there is liquid, in a wrap that keeps it."""
    worn = inputs["wrap_when"] != _NEVER and inputs["cook_wrap"] == "foil"
    return worn and bool(inputs["liquid_kg"] > 0.0)


def _wrapping(inputs: dict[str, Any]) -> dict[str, Any]:
    """Arguments of `wrapped_cook`; none where it stays bare."""
    if inputs["wrap_when"] == _NEVER:
        return {}
    chosen: dict[str, Any] = {"wrap": inputs["cook_wrap"]}
    if inputs["wrap_when"] == _AT_CORE:
        chosen["at_core_c"] = inputs["wrap_core_c"]
    else:
        chosen["after_s"] = inputs["wrap_after_s"]
    if inputs["unwrap_when"] == _OFF:
        chosen["off_core_c"] = inputs["unwrap_core_c"]
    return chosen


def _setting(inputs: dict[str, Any]) -> _Setting:
    """Piece, pit, cook and rest of the inputs."""
    piece = shared.told_piece(inputs)
    if inputs["dew_point_c"] >= inputs["pit_c"]:
        raise InputError(
            "The dew point must lie below the pit: lower the one or raise the other."
        )
    pit = cw.Surroundings(inputs["pit_c"], dew_point_c=inputs["dew_point_c"])
    liquid = None
    if _has_liquid(inputs):
        liquid = Liquid(inputs["liquid_kg"], _room_c(), piece_kg=inputs["mass_kg"])
    before, worn, poured = wrapped_cook(pit, **_wrapping(inputs), liquid=liquid)
    wrap = None if inputs["wrap"] == shared.BARE else inputs["wrap"]
    rest: Rest
    if inputs["place"] == BOX:
        rest = BoxPlan(
            inputs["rest_s"],
            mass_kg=inputs["mass_kg"],
            pieces=int(inputs["pieces"]),
            wrap=wrap,
        )
    else:
        rest = rest_stage(inputs["place"], inputs["rest_s"], piece=piece, wrap=wrap)
    return _Setting(piece, pit, before, worn, poured, rest)


def _room_c() -> float:
    """Return the temperature of what stands about in a kitchen. [°C]."""
    return tables.load("rest", "kitchen")["air_c"]


def _answer(inputs: dict[str, Any], preview: bool) -> RestOutcome:
    given = _setting(inputs)
    piece, rest = given.piece, given.rest
    options: dict[str, Any] = dict(_PREVIEW if preview else _FULL)
    boxed = isinstance(rest, BoxPlan)
    answer = pull_for_peak(
        piece,
        given.pit,
        rest,
        inputs["peak_c"],
        before=given.before,
        wrap=given.wrap,
        liquid=given.liquid,
        band=not preview,
        as_measured=True,
        **options,
    )
    told = answer.carryover
    if told is None:
        # No pull gives that peak: show the cook that is pulled when it is there.
        stages = given.cooked_to(inputs["peak_c"])
        told = carryover(cook_and_rest(piece, stages, rest, **options), len(stages))
    elif answer.reached and not preview:
        # The root is known; the cook that is shown deserves the engine's own mesh.
        stages = given.cooked_to(answer.pull_c)
        told = replace(
            carryover(cook_and_rest(piece, stages, rest), len(stages)), share=told.share
        )
    dry = None
    if not boxed and told.pull_core_c > piece.start_c + 1.0:
        bare = cw.Surroundings(inputs["pit_c"], evaporation=False)
        longest = tables.load("carryover")["longest_cook"]
        stage = cw.Stage(bare, duration_s=longest, until_core_c=told.pull_core_c)
        dry = carryover(cook_and_rest(dry_twin(piece), stage, rest, **options))
    held = holding(told.result, told.rest_from, serving_c=inputs["serving_c"])
    return RestOutcome(
        answer,
        told,
        dry,
        tenderness(told.result),
        held,
        crust(told.result, told.covered_s),
        told.pull_s,
    )


class RestPanel(Panel):
    """Controls, picture and words of the rest."""

    title = "When should it be pulled?"
    takes_long = True
    state: RestState

    def __init__(self, state: RestState, units: str | UnitChoice | None = None) -> None:
        self._drawing = RestPicture()
        self._known: dict[tuple[Any, ...], RestOutcome] = {}
        # Whoever wants the full answer that is being computed waits for it.
        self._computing = threading.Lock()
        shared.weigh_with_cut(state)
        super().__init__(state, units, unit_kinds=("temperature", "length", "mass"))

    def before(self) -> Sequence[W.Widget]:
        """Return the slider of the time in the section, and what plays it, side by side."""
        self.play = W.Play(
            min=0,
            max=_PLAY_STEPS,
            value=0,
            interval=250,
            description="play the rest",
        )
        self.play.add_class("coreward-control-play")
        self.play.observe(self._played, names="value")
        look = self.controls["look"].widget
        look.layout.flex = "0 1 460px"
        return (row(look, self.play),)

    def _played(self, change: Any) -> None:
        state = self.state
        begin = -0.25 * _HOUR
        state.look_s = begin + (state.rest_s - begin) * float(change["new"]) / _PLAY_STEPS

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        for name, visible in _shown(self.state.inputs()).items():
            self.controls[name].set_visible(visible)

    def compute(self, preview: bool) -> RestOutcome:
        """Return the answer; looking inside at another time costs nothing."""
        return self._found(self.state.inputs(), preview)

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> RestOutcome:
        """Return the answer with its band, for which many cooks are run."""
        progress(0.2, "looking for the pull and its band")
        with self._computing:
            return self._found({name: inputs[name] for name in self.state.input_names}, False)

    def _found(self, inputs: dict[str, Any], preview: bool) -> RestOutcome:
        key = _what_counts(inputs)
        found = self._known.get((*key, False))
        if found is None and preview:
            found = self._known.get((*key, True))
        if found is None:
            found = _answer(inputs, preview)
            # Another computation may be at it as well: a new dictionary, put in place at once.
            latest = list(self._known.items())[1 - _KEPT_ANSWERS :]
            self._known = dict([*latest, ((*key, preview), found)])
        told = found.told
        at = min(max(told.pull_s + inputs["look_s"], 0.0), told.result.duration_s)
        held = holding(told.result, told.rest_from, serving_c=inputs["serving_c"])
        return replace(found, held=held, at_time_s=at)

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
            moving=self.moving,
        )
        status, explanation = self._words(outcome)
        return View(
            picture, alt_text(outcome.told, inside, self.state.units), status, explanation
        )

    def _words(self, outcome: RestOutcome) -> tuple[str, str]:
        """Return the line above the picture and the sentences below it."""
        answer, told = outcome.answer, outcome.told
        if not answer.reached:
            status = say(
                "No pull gives a peak of {0}. Shown: pulled at {1}, highest in the rest {2}.",
                Degrees(answer.peak_c),
                Reading(told.pull_core_c),
                Reading(told.peak_core_c),
            )
            parts: list[Text] = [*answer.said]
        else:
            status = say(
                "Pull at {0} for a peak of {1}; {2}",
                Degrees(answer.pull_c),
                Degrees(answer.peak_c),
                self._serve_words(outcome),
            )
            parts = [
                *answer.said[1:],
                say(
                    "It is pulled {0} after the start and loses "
                    f"{100.0 * told.loss_in_rest:.1f} % of its raw weight in the rest.",
                    Lasting(told.pull_s),
                ),
            ]
        if outcome.dry is not None:
            parts.append(
                say(
                    "The core of a dry solid would still rise by {0} and not by {1}: nothing "
                    "would have cooled its surface.",
                    Difference(outcome.dry.rise_k),
                    Difference(told.rise_k),
                )
            )
        parts += self._wrap_words(outcome)
        parts += self._above_words(told)
        parts += [heat_words(told), outcome.crust.sentence, outcome.tender.sentence]
        units = self.state.units
        return status.shown(units), together(parts).shown(units)

    def _serve_words(self, outcome: RestOutcome) -> Say:
        """Say from when to when it may be served."""
        ready, held = outcome.told.peak_after_s, outcome.held
        if held.serving_s <= ready:
            return say("at its peak it is no longer above {0}.", Degrees(self.state.serving_c))
        later = " or later" if held.serving_at_end else ""
        return say(
            f"serve between {{0}} and {{1}}{later} after the pull.",
            Lasting(ready),
            Lasting(held.serving_s),
        )

    def _above_words(self, told: Carryover) -> list[Say]:
        """Say how long the computed core stays up in the rest."""
        above = [
            say("{0} or more for {1}", Degrees(float(level)), Held(float(seconds)))
            for level, seconds in zip(told.levels_c, told.above_in_rest_s, strict=True)
            if seconds > 0.0
        ]
        if not above:
            return []
        return [say("In the rest the computed core is at {0}.", together(above[-3:], ", "))]

    def _wrap_words(self, outcome: RestOutcome) -> list[Say]:
        """Say when it was wrapped, or that it was pulled before that."""
        if self.state.wrap_when == _NEVER:
            return []
        result = outcome.told.result
        cooked = list(zip(result.stages, result.records, strict=True))[: outcome.told.rest_from]
        worn = [(s, r) for s, r in cooked if r.wrap != "none" and r.end_s > r.begin_s]
        if not worn:
            return [say("It is pulled before it would have been wrapped.")]
        stage, record = worn[0]
        core = float(np.interp(record.begin_s, result.time_s, result.core_c))
        poured = "" if stage.liquid is None else ", with liquid that must be warmed too"
        last = worn[-1][1]
        bare = (
            say(", and bare again {0} after the start", Lasting(last.end_s))
            if last.end_s < outcome.told.pull_s - 1.0
            else ""
        )
        return [
            say(
                f"It is wrapped {{0}} after the start, the core at {{1}}{poured}{{2}}.",
                Lasting(record.begin_s),
                Degrees(core),
                bare,
            )
        ]

    def _piece_code(self, inputs: dict[str, Any]) -> str:
        if inputs["shape"] in shared.FROM_WEIGHT:
            return piece_code(shared.told_piece(inputs))
        shape = SHAPES[inputs["shape"]].__name__
        size = f"cw.{shape}({inputs['thickness_m']:.6g})"
        return f"cw.Piece({size}, cw.meat({inputs['cut']!r}), start_c=4.0)"

    def code(self) -> str:
        """Return the lines of Python that repeat the answer."""
        inputs = self.state.inputs()
        wrap = None if inputs["wrap"] == shared.BARE else inputs["wrap"]
        boxed, chosen = inputs["place"] == BOX, _wrapping(inputs)
        lines = [
            "import coreward as cw",
            f"from coreward.cook.rest import {'BoxPlan' if boxed else 'rest_stage'}",
            "from coreward.questions.rest.carryover import pull_for_peak",
        ]
        if _has_liquid(inputs):
            lines.insert(2, "from coreward.cook.stages import Liquid")
        if chosen:
            lines.append("from coreward.questions.rest.wrapping import wrapped_cook")
        lines += [
            "",
            f"piece = {self._piece_code(inputs)}",
            f"pit = cw.Surroundings({inputs['pit_c']:.6g}, "
            f"dew_point_c={inputs['dew_point_c']:.6g})",
        ]
        if boxed:
            lines.append(
                f"rest = BoxPlan({inputs['rest_s']:.6g}, mass_kg={inputs['mass_kg']:.6g}, "
                f"pieces={inputs['pieces']}, wrap={wrap!r})"
            )
        else:
            lines.append(
                f"rest = rest_stage({inputs['place']!r}, {inputs['rest_s']:.6g}, piece=piece, "
                f"wrap={wrap!r})"
            )
        worn = ""
        if chosen:
            words = [
                f"{name}={value!r}" if isinstance(value, str) else f"{name}={value:.6g}"
                for name, value in chosen.items()
            ]
            if _has_liquid(inputs):
                words.append(
                    f"liquid=Liquid({inputs['liquid_kg']:.6g}, {_room_c():.6g}, "
                    f"piece_kg={inputs['mass_kg']:.6g})"
                )
            lines.append(f"before, wrap, liquid = wrapped_cook(pit, {', '.join(words)})")
            worn = ", before=before, wrap=wrap, liquid=liquid"
        lines += [
            f"print(pull_for_peak(piece, pit, rest, {inputs['peak_c']:.6g}{worn}, "
            "as_measured=True).sentence)",
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
