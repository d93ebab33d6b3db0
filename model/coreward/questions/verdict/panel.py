"""The panel of the question "Is this hold enough?"."""

from __future__ import annotations

import html
import json
import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from types import MappingProxyType
from typing import Any, ClassVar, Final

import ipywidgets as W
import traitlets

from coreward import tables
from coreward.drawing import style
from coreward.drawing.png import encode
from coreward.errors import InputError
from coreward.logs.demo import demo_logs
from coreward.physics.lethality import Kinetics, kinetics_for, kinetics_names, load_kinetics
from coreward.questions.hold.answer import (
    HeldCook,
    HoldPlan,
    HoldTime,
    cook_hold,
    hold_map,
    hold_time,
)
from coreward.questions.review.panel import LogPanel, LogState
from coreward.questions.verdict import (
    ANSWERS,
    SURFACES,
    Verdict,
    usual_views,
    verdict,
)
from coreward.questions.verdict.authorities import AUTHORITIES, standards_of
from coreward.questions.verdict.document import (
    document,
    explanation,
    finding,
    in_folds,
    in_short,
)
from coreward.questions.verdict.hold_figure import HoldPicture, figure_thickness
from coreward.reports.document import Paragraph
from coreward.reports.html_page import block_html, panel_html, sources_html
from coreward.tables.standards import CONDITIONS, MEATS, load_standard, standard_names
from coreward.widgets import shared
from coreward.widgets.controls import (
    DIFFERENCE,
    HOURS,
    LENGTH,
    MINUTES,
    TEMPERATURE,
    Choice,
    Number,
    Toggle,
)
from coreward.widgets.log_source import PATH, UPLOAD
from coreward.widgets.panel import Panel, View, picture_html
from coreward.widgets.panel_parts import Fold, tables_below
from coreward.widgets.schedule import Cancelled, Progress
from coreward.words import Degrees, Held, Lasting, Needed, Reading, Text, UnitChoice, say
from coreward.words import shown as say_shown

_HOUR: Final = 3600.0
_MINUTE: Final = 60.0
_COOK: Final = "cook"
_ALL: Final = "all"
_NOT_SAID: Final = "not said"
USUAL: Final = "usual"
"""The organism that is usual for the meat."""
_NEW_PIECE: Final = "new piece"
_PIECES: Final = "pieces"
# While a slider is dragged: within a few tenths of a degree of the full answer.
_PREVIEW: Final = {"cells": 24, "tolerance": 0.05}
_COARSE: Final = {"cells": 16, "tolerance": 0.1}


def _cuts() -> list[str]:
    """Cuts that a standard exists for."""
    return [n for n in tables.names("cut") if tables.load("cut", n).text("species") in MEATS]


def _organisms() -> dict[str, str]:
    found = {name: load_kinetics(name) for name in kinetics_names()}
    return {name: f"{each.organism} in {each.food}" for name, each in found.items()}


def _standards() -> dict[str, Text]:
    """Return whom a person may answer to, and single tables, by the names that they know."""
    return (
        {_ALL: "nobody yet: every table for this meat"}
        | {name: words for name, (words, _) in AUTHORITIES.items()}
        | {
            name: say("one table: {0}", load_standard(name).said("title"))
            for name in standard_names()
        }
    )


class VerdictState(LogState):
    """Inputs of the panel; `verdict_state` adds the choice of a cook or a log."""

    cut = shared.cut(
        "pork loin",
        names=_cuts(),
    )
    condition = Choice(
        CONDITIONS[0],
        label="condition",
        options={name: name for name in CONDITIONS},
    )
    also_rolled = Toggle(False, label="also rolled")
    also_injected = Toggle(False, label="also injected")
    also_stuffed = Toggle(False, label="also stuffed")
    shape = shared.shape()
    thickness_m = shared.thickness(0.03, low=0.01, thinner="follows its bath at once")
    start_c = shared.start()
    humidity = Choice(
        "bath",
        label="kept moist by",
        options={"bath": "sealed bag in water", "air": "nothing but the air's dew point"},
    )
    bath_c = Number(
        62.0,
        label="bath",
        quantity=replace(TEMPERATURE, step=lambda units: 0.5, digits=lambda units: 1),
        low=50.0,
        high=95.0,
        reason="below it nothing is killed that counts and above it the bath boils",
    )
    pit_c = shared.pit(110.0, low=60.0, label="oven or pit")
    dew_point_c = shared.dew_point(high=95.0)
    mass_kg = shared.mass(
        1.0,
        low=0.1,
        high=12.0,
        reason="a standard for large pieces asks for it, and no piece here is larger",
    )
    hold_from = Choice(
        "core",
        label="hold from",
        options={"core": "when the core reaches", "clock": "the start, by the clock"},
    )
    until_core_c = Number(
        60.0,
        label="core reaches",
        quantity=replace(TEMPERATURE, step=lambda units: 0.5, digits=lambda units: 1),
        low=45.0,
        high=95.0,
        reason="a hold counts from a temperature at which something is killed",
        named="core-reaches",
    )
    hold_s = Number(
        0.0,
        label="hold for",
        quantity=MINUTES,
        low=0.0,
        high=240 * _MINUTE,
        reason="every published hold is shorter",
    )
    cook_s = Number(
        3 * _HOUR,
        label="cook for",
        quantity=HOURS,
        low=0.2 * _HOUR,
        high=36 * _HOUR,
        reason="cooks longer than a day and a half are beyond what was checked",
        named="cook-for",
    )
    rest_s = Number(
        0.0,
        label="then rest",
        quantity=MINUTES,
        low=0.0,
        high=60 * _MINUTE,
        reason="after an hour in the kitchen the piece cools, and cooling has limits",
    )
    surface = Choice(
        _NOT_SAID,
        label="kept moist by",
        options={_NOT_SAID: _NOT_SAID} | {name: name for name in SURFACES},
    )
    standard = Choice(
        _ALL,
        label="answer to",
        options=_standards(),
    )
    organism = Choice(
        USUAL,
        label="organism",
        options={USUAL: "the usual for the meat"} | _organisms(),
    )
    pieces = Choice(
        _NOT_SAID,
        label="the probes are",
        options={
            _NOT_SAID: _NOT_SAID,
            "one": "all in one piece",
            "each": "each in its own piece",
        },
    )
    probe_error_k = Number(
        tables.load("verdict")["probe_error"],
        label="probe error",
        quantity=DIFFERENCE,
        low=0.0,
        high=3.0,
        reason="a thermometer that is wrong by more belongs in the bin",
    )
    off_centre_m = Number(
        0.0,
        label="tip off centre",
        quantity=LENGTH,
        low=0.0,
        high=0.06,
        reason="a tip farther off says little about the centre",
    )
    by_thickness = Toggle(False, label="map by thickness")
    source: Any = _COOK
    doubts_answered = traitlets.Unicode("")
    """What was said of the doubts of a log, as JSON, with the log it was said of."""

    other_names: ClassVar[tuple[str, ...]] = (*LogState.other_names, "doubts_answered")
    input_names: ClassVar[tuple[str, ...]] = (
        "source",
        "file_unit",
        "cut",
        "condition",
        "also_rolled",
        "also_injected",
        "also_stuffed",
        "shape",
        "thickness_m",
        "start_c",
        "humidity",
        "bath_c",
        "pit_c",
        "dew_point_c",
        "mass_kg",
        "surface",
        "hold_from",
        "until_core_c",
        "hold_s",
        "cook_s",
        "rest_s",
        "standard",
        "organism",
        "pieces",
        "probe_error_k",
        "off_centre_m",
        "by_thickness",
    )

    @property
    def is_cook(self) -> bool:
        """Whether a computed cook is judged, and not a log."""
        return bool(self.source == _COOK)

    def plan(self) -> HoldPlan:
        """Return the cook that the inputs describe.

        Raises
        ------
        InputError
            If they contradict each other.
        """
        by_core = self.hold_from == "core"
        return HoldPlan(
            cut=self.cut,
            shape=self.shape,
            thickness_m=self.thickness_m,
            start_c=self.start_c,
            around=self.humidity,
            around_c=self.bath_c if self.humidity == "bath" else self.pit_c,
            dew_point_c=self.dew_point_c,
            until_core_c=self.until_core_c if by_core else None,
            hold_s=self.hold_s if by_core else self.cook_s,
            rest_s=self.rest_s,
        )

    def states(self) -> str | list[str]:
        """Return the states of the piece, as `verdict` takes them."""
        also = {
            "rolled": self.also_rolled,
            "injected": self.also_injected,
            "stuffed": self.also_stuffed,
        }
        found = [self.condition, *(name for name, wanted in also.items() if wanted)]
        found = list(dict.fromkeys(found))
        return found[0] if len(found) == 1 else found

    def meats(self) -> tuple[str, ...]:
        """Return the meat of the cut."""
        return (tables.load("cut", self.cut).text("species"),)

    def kinetics(self) -> Kinetics:
        """Return the chosen kinetics, or the first that are usual for the meat."""
        if self.organism != USUAL:
            return load_kinetics(self.organism)
        return load_kinetics(kinetics_for(self.meats())[0])

    def views(self, preview: bool = False) -> tuple[str, ...]:
        """Return the views to show: the chosen one, and in full the usual of the meat."""
        usual = () if preview else usual_views(self.meats())
        chosen = (self.kinetics().name,) if preview or self.organism != USUAL else ()
        return tuple(dict.fromkeys((*chosen, *usual)))

    def answered(self) -> dict[str, Any]:
        """Return what was said of the doubts of the log that is chosen.

        Raises
        ------
        InputError
            If it was damaged.
        """
        try:
            said = json.loads(self.doubts_answered) if self.doubts_answered else {}
            if said.get("log") != self.log_key():
                return {}
            found: dict[str, Any] = {}
            if said.get("probes"):
                found["probes"] = {str(k): str(v) for k, v in said["probes"].items()}
            if said.get("new_piece_s") is not None:
                found["new_piece_s"] = [float(t) for t in said["new_piece_s"]]
        except (ValueError, TypeError, AttributeError):
            raise InputError(
                "What was said about the probes is damaged; press reset."
            ) from None
        return found

    def log_key(self) -> str:
        """Return which log is chosen."""
        return f"{self.source}: {self.path}"

    def judged_by(self) -> dict[str, Any]:
        """Return the keyword arguments of `verdict` that the inputs describe."""
        said: dict[str, Any] = {
            "meat": self.cut,
            "condition": self.states(),
            "probe_error_c": self.probe_error_k,
        }
        if self.standard != _ALL:
            states = self.states()
            listed = [states] if isinstance(states, str) else states
            said["standards"] = standards_of(self.standard, self.meats(), listed)
        if not self.is_cook:
            if self.surface != _NOT_SAID:
                said["surface"] = self.surface
            if self.pieces != _NOT_SAID:
                said["pieces"] = self.pieces
            said |= self.answered()
            if self.off_centre_m > 0.0:
                said |= {"probe_offset_m": self.off_centre_m, "shape": self.shape}
            return said
        humid = self.plan().relative_humidity()
        if humid is None:
            return said | {"surface": "sealed bag"}
        moist = humid >= tables.load("verdict")["humid_air"]
        return said | {
            "surface": "humid air" if moist else "dry",
            "oven_c": self.pit_c,
            "oven": "still",  # the stricter of the two kinds
            "mass_kg": self.mass_kg,
        }


def verdict_state(path: str | Path | None = None) -> VerdictState:
    """Return a state that offers a computed cook, the demo logs, a path and an upload.

    Parameters
    ----------
    path : str or Path, optional
        A log to start with.
    """
    demo = demo_logs()
    options = {_COOK: "a cook, computed"} | {name: f"demo log: {name}" for name in demo}
    options |= {PATH: "a log: the path below", UPLOAD: "a log: a file sent"}

    class OfferedState(VerdictState):
        source = Choice(_COOK if path is None else PATH, label="judge", options=options)

    state = OfferedState()
    state.demo = MappingProxyType(demo)
    if path is not None:
        state.path = str(path)
    return state


@dataclass(frozen=True, eq=False)
class VerdictOutcome:
    """A verdict with the cook it is on; no verdict while a log is still to be chosen."""

    answer: Verdict | None
    cook: HeldCook | None = None
    asking: str = ""


_FOLDS: Final = {
    "limits": "Every limit: asked, found, source",
    "rests": "What this assumes",
    "kill": "How much is killed: shown, never decides",
}


class VerdictPanel(LogPanel):
    """Choose a cook or a log; see what it is worth, standard by standard."""

    title = "Is this hold enough?"
    can_compare = True
    state: VerdictState

    def __init__(self, state: VerdictState, units: str | UnitChoice | None = None) -> None:
        self._known = None
        self._sent = None
        self._drawing = HoldPicture()
        self._cooked: tuple[Any, HeldCook] | None = None
        self._map_known: dict[Any, tuple[HoldTime, ...]] = {}
        self._asked: dict[str, tuple[str, str, dict[str, str]]] = {}
        self._new_piece_s: tuple[float, ...] = ()
        self.doubt_choices: dict[str, W.Dropdown] = {}
        Panel.__init__(self, state, units, unit_kinds=("temperature", "length", "mass"))

    # -- controls ---------------------------------------------------------------------

    def groups(self) -> Sequence[tuple[str, Sequence[str]]]:
        """Return headings with the names of the controls under them."""
        return (
            (
                "Whom you answer to, and what is judged",
                (
                    "standard",
                    "source",
                    "file-unit",
                    "probe-error",
                    "pieces",
                    "off-centre",
                    "organism",
                    "by-thickness",
                ),
            ),
            (
                "The piece",
                (
                    "cut",
                    "condition",
                    "also-rolled",
                    "also-injected",
                    "also-stuffed",
                    "shape",
                    "thickness",
                    "start",
                ),
            ),
            (
                "How it is cooked",
                (
                    "humidity",
                    "bath",
                    "pit",
                    "dew-point",
                    "mass",
                    "surface",
                    "hold-from",
                    "core-reaches",
                    "hold",
                    "cook-for",
                    "rest",
                ),
            ),
        )

    def before(self) -> Sequence[W.Widget]:
        """Return the path and the upload; nothing is exported here."""
        row = super().before()
        self.export_button.layout.display = "none"
        return row

    def extra(self) -> Sequence[W.Widget]:
        """Return what stands below the picture: doubts, tables, map by thickness."""
        self._map_box = W.HTML(layout=W.Layout(margin="2px 0", display="none"))
        self._map_box.add_class("coreward-map")
        self._tables = tables_below()
        self._doubts_box = W.VBox(layout=W.Layout(margin="4px", display="none"))
        self._doubts_box.add_class("coreward-doubts")
        self.folds = {name: Fold(words) for name, words in _FOLDS.items()}
        folded = [fold.widget for fold in self.folds.values()]
        return (self._doubts_box, self._tables, *folded, self._map_box)

    def arrange(self) -> None:
        """Show only the controls that have an effect."""
        super().arrange()
        state = self.state
        cook, air = state.is_cook, state.humidity == "air"
        by_core = state.hold_from == "core"
        for name, visible in {
            "file-unit": not cook,
            "pieces": not cook,
            "surface": not cook,
            "shape": cook or state.off_centre_m > 0.0,
            "thickness": cook,
            "start": cook,
            "humidity": cook,
            "bath": cook and not air,
            "pit": cook and air,
            "dew-point": cook and air,
            "mass": cook and air,
            "hold-from": cook,
            "core-reaches": cook and by_core,
            "hold": cook and by_core,
            "cook-for": cook and not by_core,
            "rest": cook,
            "off-centre": not cook,
            "by-thickness": cook,
        }.items():
            self.controls[name].set_visible(visible)
        self.columns_button.layout.display = "none" if cook else ""

    # -- outcome ------------------------------------------------------------------------

    def run(self, preview: bool) -> None:
        """Compute and show; then the map by thickness, which takes longer."""
        super().run(preview)
        if self.state.error is None:
            self._try(lambda: self._update_map(preview))

    def compute(self, preview: bool) -> Any:
        """Cook or read, and judge."""
        state = self.state
        asking = self.missing(state.saved())
        if asking:
            return VerdictOutcome(None, asking=asking)
        said = state.judged_by() | {"organism": state.views(preview)}
        if not state.is_cook:
            return VerdictOutcome(verdict(self.read(state.saved()), **said))
        plan = state.plan()
        key = (plan, preview)
        if self._cooked is None or self._cooked[0] not in (key, (plan, False)):
            self._cooked = (key, cook_hold(plan, **(_PREVIEW if preview else {})))
        cook = self._cooked[1]
        humid = plan.relative_humidity()
        if humid is not None:
            end = float(cook.result.time_s[-1])
            said["humidity"] = ([0.0, end], [humid, humid])
        return VerdictOutcome(verdict(cook.result, **said), cook)

    def view(self, outcome: Any) -> View:
        """Return picture and words, and fill the tables."""
        answer: Verdict | None = outcome.answer
        if answer is None:
            return View(b"", "", outcome.asking, below=lambda: self._fill_tables(None))
        state, kept = self.state, self.state.kept
        picture = self._drawing.update(
            answer,
            state.kinetics(),
            state.units,
            None if kept is None else kept.answer,
            moving=self.moving,
        )
        words = _facts(outcome, state)
        found = finding(answer)
        headline = say_shown(answer.headline, state.units)
        alt = (
            "Temperature of the coldest point against time with the rows of the standards, "
            "the log reduction added up below, and the map of temperature against hold time. "
        )
        # By the letters of the picture: below it, where it moves nothing.
        return View(
            picture,
            f"{alt}{words} {headline}",
            words,
            say_shown(in_short(answer), state.units),
            lambda: self._fill_tables(answer),
            block_html(found, state.units),
        )

    @property
    def status_text(self) -> str:
        """The words of the panel as plain text, the answer first."""
        answer = None if self.state.outcome is None else self.state.outcome.answer
        if answer is None or not self._view.banner:
            return super().status_text
        said = finding(answer)
        parts = (answer.headline, said.why, said.change)
        first = " ".join(say_shown(part, self.state.units) for part in parts if part)
        return f"{first} {super().status_text}"

    def _fill_tables(self, answer: Verdict | None) -> None:
        units = self.state.units
        for fold in self.folds.values():
            fold.set_visible(answer is not None)
        self._tables.value = ""
        if answer is not None:
            whole = document(answer)
            first, folded = in_folds(answer)
            self._tables.value = panel_html(replace(whole, blocks=first, sources=()), units)
            for name, blocks in folded.items():
                self.folds[name].fill("".join(block_html(block, units) for block in blocks))
            limits = self.folds["limits"]
            helps = block_html(Paragraph(explanation(answer, units)))
            limits.fill(helps + limits.value + sources_html(whole.sources))
        self._ask(answer)

    # -- what only a person can say -----------------------------------------------------

    def _ask(self, answer: Verdict | None) -> None:
        """Show a control for every doubt, and for what was answered before."""
        doubts = () if answer is None or self.state.is_cook else answer.doubts
        said = {} if answer is None or self.state.is_cook else self.state.answered()
        rows: dict[str, tuple[str, str, dict[str, str]]] = {}
        probe = {"": "please say"} | {name: name for name in ANSWERS}
        for doubt in doubts:
            words = say_shown(doubt.text, self.state.units)
            if doubt.channel is not None:
                rows[doubt.channel] = (words, "", probe)
            elif doubt.at_s:
                both = {"": "please say", "new": "a new piece", "same": "the same piece"}
                rows[_NEW_PIECE] = (words, "", both)
                self._new_piece_s = doubt.at_s
            else:
                rows[_PIECES] = (f"{words} Choose above: 'the probes are'.", "", {})
        for name, was in said.get("probes", {}).items():
            rows[name] = (f"{name} was said to be:", was, probe)
        if "new_piece_s" in said:
            was = "new" if said["new_piece_s"] else "same"
            both = {"": "ask again", "new": "a new piece", "same": "the same piece"}
            rows[_NEW_PIECE] = ("It was said to be:", was, both)
            self._new_piece_s = tuple(said["new_piece_s"]) or self._new_piece_s
        if rows == self._asked:
            return
        self._asked = rows
        self.doubt_choices = {}
        shown_rows: list[W.Widget] = []
        for name, (words, was, options) in rows.items():
            children: list[W.Widget] = [W.HTML(html.escape(words))]
            if options:
                control = W.Dropdown(
                    options=[(label, value) for value, label in options.items()],
                    value=was,
                    description="" if name == _NEW_PIECE else name,
                    layout=W.Layout(width="260px"),
                )
                control.observe(self._doubt_answered, names="value")
                self.doubt_choices[name] = control
                children.insert(0, control)
            shown_rows.append(
                W.Box(children, layout=W.Layout(flex_flow="row wrap", align_items="center"))
            )
        self._doubts_box.children = [W.HTML("<h4>Only you can say</h4>"), *shown_rows]
        self._doubts_box.layout.display = "" if rows else "none"

    def _doubt_answered(self, change: Any) -> None:
        known = dict(self.state.answered().get("probes", {}))
        new_piece = self.state.answered().get("new_piece_s")
        for name, control in self.doubt_choices.items():
            if name == _NEW_PIECE:
                times = {"new": list(self._new_piece_s), "same": []}
                new_piece = times.get(control.value)
            elif control.value:
                known[name] = control.value
            else:
                known.pop(name, None)
        said = {"log": self.state.log_key(), "probes": known, "new_piece_s": new_piece}
        self.state.doubts_answered = json.dumps(said)

    def code(self) -> str:
        """Return the lines of Python that repeat the verdict."""
        state = self.state
        said = state.judged_by() | {"organism": state.views()}
        lines = ["import coreward as cw"]
        if state.is_cook:
            plan = state.plan()
            lines += [
                "from coreward.questions.hold.answer import HoldPlan, cook_hold",
                "",
                "plan = HoldPlan(",
                *(f"    {name}={getattr(plan, name)!r}," for name in plan.__dataclass_fields__),
                ")",
                "judged = cook_hold(plan).result",
            ]
            humid = plan.relative_humidity()
            if humid is not None:
                lines.append(
                    f"humidity = ([0.0, judged.time_s[-1]], [{humid:.6g}, {humid:.6g}])"
                )
                said["humidity"] = _Name("humidity")
        else:
            unit = "" if state.file_unit == "file" else f", units={state.file_unit!r}"
            lines += ["", f"judged = cw.read_log({self.log_name()!r}{unit})"]
        lines += [
            "answer = cw.verdict(",
            "    judged,",
            *(f"    {name}={value!r}," for name, value in said.items()),
            ")",
            "print(cw.document(answer).text())",
            "",
        ]
        return "\n".join(lines)

    # -- the map by thickness --------------------------------------------------------------

    @property
    def map_cells(self) -> tuple[HoldTime, ...]:
        """The cells of the map by thickness that is shown, empty if none is."""
        shown = self.state.by_thickness and self.state.is_cook
        return self._map_known.get(self._map_key(), ()) if shown else ()

    def _map_standard(self) -> str:
        """Return the standard of the map: the chosen one, or the one with most rows."""
        if self.state.standard in standard_names():
            return str(self.state.standard)
        outcome = self.state.outcome
        names = [item.name for item in outcome.answer.standards if item.counts]
        return str(max(names, key=lambda name: len(load_standard(name).temperatures_c)))

    def _map_key(self) -> Any:
        state = self.state
        # The piece at hand is a mark on the map, and its hold is the answer.
        plan = replace(
            state.plan(),
            thickness_m=0.0,
            around_c=math.inf,
            dew_point_c=state.dew_point_c if state.humidity == "air" else 0.0,
            until_core_c=None,
            hold_s=1.0,
            rest_s=0.0,
        )
        return plan, self._map_standard(), state.probe_error_k

    def _map_grid(self, coarse: bool) -> tuple[list[float], list[float]]:
        state = self.state
        sizes = [0.02, 0.03, 0.04, 0.06, 0.08, 0.1, 0.12]
        if state.humidity == "bath":
            lowest = load_standard(self._map_standard()).lowest_c + state.probe_error_k
            first = math.ceil(lowest + tables.load("hold")["close_to_bath"])
            around = [float(t) for t in range(first, min(first + 21, 96))]
        else:
            around = [float(t) for t in range(80, 181, 10) if t > state.dew_point_c + 1.0]
        return (sizes[1::2], around[::4]) if coarse else (sizes, around)

    def _update_map(self, preview: bool) -> None:
        wanted = self.state.by_thickness and self.state.is_cook
        self._map_box.layout.display = "" if wanted else "none"
        if not wanted:
            return
        known = self._map_known.get(self._map_key())
        if known is not None:
            self._show_map(known, preview)
        elif preview:
            sizes, around = self._map_grid(coarse=True)
            cells = hold_map(
                self.state.plan(),
                self._map_standard(),
                sizes,
                around,
                self.state.probe_error_k,
                **_COARSE,
            )
            self._show_map(tuple(cells), preview)
        else:
            self._start_map()

    def _start_map(self) -> None:
        key, plan, standard = self._map_key(), self.state.plan(), self._map_standard()
        sizes, around = self._map_grid(coarse=False)
        error_k, number = self.state.probe_error_k, len(sizes) * len(around)

        def compute(progress: Progress, cancelled: Cancelled) -> tuple[HoldTime, ...]:
            found: list[HoldTime] = []
            for cell in hold_map(plan, standard, sizes, around, error_k):
                found.append(cell)
                progress(len(found) / number, "computing the map by thickness")
            return tuple(found)

        self.work(
            compute, lambda cells: self._keep_map(key, cells), "computing the map by thickness"
        )

    def _keep_map(self, key: Any, cells: tuple[HoldTime, ...]) -> None:
        self._map_known = {key: cells}
        self._show_map(cells, preview=False)

    def _show_map(self, cells: tuple[HoldTime, ...], preview: bool) -> None:
        state = self.state
        plan, standard = state.plan(), self._map_standard()
        mark = hold_time(plan, standard, state.probe_error_k, **(_COARSE if preview else {}))
        named = say_shown(load_standard(standard).said("title"), state.units)
        figure = figure_thickness(
            cells, standard=named, around=state.humidity, mark=mark, units=state.units
        )
        canvas: Any = figure.canvas
        canvas.draw()
        words = _map_words(mark, named, state)
        self._map_box.value = (
            picture_html(encode(canvas.buffer_rgba()), words, "times by thickness")
            + f'<div class="coreward-map-words">{html.escape(words)}</div>'
        )


class _Name(str):
    """A name in generated code, printed without quotes."""

    def __repr__(self) -> str:
        return str(self)


def _facts(outcome: VerdictOutcome, state: VerdictState) -> str:
    """Say what happened, before what it is worth."""
    assert outcome.answer is not None
    record = outcome.answer.record
    _, coldest = record.known()
    peak: Text = Reading(float(coldest.max())) if coldest.size else "none"
    if outcome.cook is None:
        point = say_shown(record.point, state.units)
        point = f"{point[:1].upper()}{point[1:]}"
        return say("{0}: highest {1}.", point, peak).shown(state.units)
    cook, end = outcome.cook, float(outcome.cook.result.time_s[-1])
    core = Degrees(state.until_core_c, 1)
    if not cook.reached:
        said = "The core never reaches {0}: it ends at {1} after {2}."
        return say(said, core, peak, Lasting(end)).shown(state.units)
    out = say("Out after {0}", Lasting(cook.hold_end_s))
    if state.hold_from != "clock":
        out = say(
            "Core at {0} after {1}, held {2}",
            core,
            Needed(cook.hold_begin_s),
            Held(state.hold_s),
        )
    return say("{0}; the coldest point peaks at {1}.", out, peak).shown(state.units)


def _map_words(mark: HoldTime, standard: str, state: VerdictState) -> str:
    units = state.units
    size = LENGTH.text(mark.thickness_m, units)
    where = style.format_temperature(mark.around_c, units, 1)
    place = "a bath" if state.humidity == "bath" else "air"
    head = f"Your piece, {size} thick, from the fridge into {place} at {where}: "
    if not math.isfinite(mark.enough_s):
        return head + f"the core never has what '{standard}' asks for, however long."
    late = " Its come-up is past the published limit." if mark.late else ""
    moist = ""
    if state.humidity == "air":
        moist = (
            " That is the time at temperature only; whether the standard applies in this air "
            "is said above."
        )
    return (
        head
        + f"'{standard}' has its hold after {Needed(mark.enough_s).shown(units)}.{late}{moist}"
    )


def verdict_panel(
    units: str | UnitChoice | None = None, path: str | Path | None = None, **inputs: Any
) -> VerdictPanel:
    """Return the panel of the question whether a hold is enough.

    Parameters
    ----------
    units : str or UnitChoice, optional
        ``"C"`` or ``"F"``; the units kept in the settings when not given.
    path : str or Path, optional
        A log to start with.
    **inputs
        Start values by the names of `VerdictState`, such as ``hold_s=1200.0``. A reset
        goes back to these. ``remember=False`` keeps the panel from being found again as it
        was left.

    Raises
    ------
    InputError
        If a start value is unknown or outside its range.
    """
    state = verdict_state(path)
    state.start_with(inputs)
    return VerdictPanel(state, units)
