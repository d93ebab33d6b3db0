"""One coherent set of controls: what a person moves, types, reads and resets.

The value lives in a state object (``traitlets.HasTraits``) in SI units or °C; a
control is only a view of one trait of it. Changing the shown unit therefore never
changes the value, and tests drive the state without any widget.

An input is declared once, as an attribute of its panel's state: `Number`, `Choice`,
`Toggle`, `Clock` and `Day` know their words, their range and its reason. Its control, the
heading under which that stands, its place in a saved file and the check of what is typed or
opened follow from the declaration (`control_for`, `PanelState`, `saved.read`). Each control
carries the class ``coreward-control-<name>``, where the name is the input's without its unit.
"""

from __future__ import annotations

import datetime as dt
import html
import math
import time
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Final, cast

import ipywidgets as W
import traitlets

from coreward import units as convert
from coreward import words
from coreward.drawing import style
from coreward.errors import InputError
from coreward.inputs import key_of
from coreward.widgets.schedule import Later
from coreward.words import METRIC, UnitChoice

_LABEL_WIDTH: Final = "90px"
_INCHES_PER_FOOT: Final = 12.0
_MOST_SHOWN: Final = 1e7
_MOST_LETTERS: Final = 24
# How long a browser may take to answer new ends of a slider. [s]
_ECHO_S: Final = 2.0
# When the digits beside a moved slider follow: after the picture. [s]
_FOLLOW_S: Final = 0.1


@dataclass(frozen=True)
class Quantity:
    """How one kind of number is shown."""

    symbol: Callable[[UnitChoice], str]
    """From a unit choice to the unit's symbol."""
    shown: Callable[[float, UnitChoice], float]
    stored: Callable[[float, UnitChoice], float]
    """From the stored value to the shown one, and back."""
    step: Callable[[UnitChoice], float]
    """From a unit choice to the step of the slider, in the shown unit."""
    digits: Callable[[UnitChoice], int]
    """From a unit choice to the digits after the point."""

    def number(self, value: float, units: UnitChoice) -> str:
        """Return a stored value in digits, one more where they would round to another."""
        shown = self.shown(value, units)
        if not abs(shown) < _MOST_SHOWN:
            return f"{shown:.3g}"  # somebody may have typed a number of three hundred digits
        digits = self.digits(units)
        longer = f"{shown:.{digits + 1}f}"
        return f"{shown:.{digits}f}" if longer.endswith("0") else longer

    def text(self, value: float, units: UnitChoice) -> str:
        """Return a stored value as shown, with its unit."""
        return f"{self.number(value, units)} {self.symbol(units)}"


def _fixed(symbol: str, factor: float, step: float, digits: int) -> Quantity:
    return Quantity(
        symbol=lambda units: symbol,
        shown=lambda value, units: value / factor,
        stored=lambda value, units: value * factor,
        step=lambda units: step,
        digits=lambda units: digits,
    )


TEMPERATURE: Final = Quantity(
    symbol=words.temperature_symbol,
    shown=lambda value, units: float(style.temperature(value, units)),
    stored=lambda value, units: (
        convert.fahrenheit_to_celsius(value) if units.temperature == "F" else value
    ),
    step=lambda units: 1.0,
    digits=lambda units: 0,
)
LENGTH: Final = Quantity(
    symbol=lambda units: units.length,
    shown=lambda value, units: float(style.length(value, units)),
    stored=lambda value, units: (
        convert.inches_to_metres(value)
        if units.length == "in"
        else convert.millimetres_to_metres(value)
    ),
    step=lambda units: 0.05 if units.length == "in" else 1.0,
    digits=lambda units: 2 if units.length == "in" else 0,
)
ALTITUDE: Final = Quantity(
    symbol=lambda units: "ft" if units.length == "in" else "m",
    shown=lambda value, units: (
        convert.metres_to_inches(value) / _INCHES_PER_FOOT if units.length == "in" else value
    ),
    stored=lambda value, units: (
        convert.inches_to_metres(value * _INCHES_PER_FOOT) if units.length == "in" else value
    ),
    step=lambda units: 100.0 if units.length == "in" else 50.0,
    digits=lambda units: 0,
)
MASS: Final = Quantity(
    symbol=lambda units: units.mass,
    shown=lambda value, units: float(style.mass(value, units)),
    stored=lambda value, units: (
        convert.pounds_to_kilograms(value) if units.mass == "lb" else value
    ),
    step=lambda units: 0.1,
    digits=lambda units: 1,
)
FLOW: Final = replace(MASS, symbol=lambda units: f"{units.mass}/h")
SPEED: Final = _fixed("m/s", 1.0, 0.05, 2)
DIFFERENCE: Final = Quantity(
    symbol=lambda units: "°F" if units.temperature == "F" else "K",
    shown=lambda value, units: (
        float(convert.delta_celsius_to_fahrenheit(value)) if units.temperature == "F" else value
    ),
    stored=lambda value, units: (
        value / float(convert.delta_celsius_to_fahrenheit(1.0))
        if units.temperature == "F"
        else value
    ),
    step=lambda units: 0.1,
    digits=lambda units: 1,
)
HOURS: Final = _fixed("h", 3600.0, 0.1, 1)
MINUTES: Final = _fixed("min", 60.0, 1.0, 0)
PERCENT: Final = _fixed("%", 0.01, 1.0, 0)


class Heading(str):
    """Stands in a state before the inputs that stand under it on the page."""


APART: Final = Heading()
"""Stands before inputs that the panel places itself."""


class Input:
    """What all inputs share: the words beside the control, and its name."""

    label: str
    name: str
    """As an attribute of the state, from the state itself."""
    control: type[Control]
    """What shows it."""
    named: str = ""
    """Name of the control where it is not the input's without its unit."""

    @property
    def control_name(self) -> str:
        """Name of the control, for its class."""
        return self.named or key_of(self.name).replace("_", "-")


class Number(Input, traitlets.Float[float, float]):  # type: ignore[misc]
    """A number with a quantity, a range and the reason for that range.

    Parameters
    ----------
    default : float
        Stored value at the start and after a reset. [SI or °C]
    reason : str
        Why a value beyond is refused, as a clause: "…, because <reason>".
    named : str
        Name of the control where it is not the input's.
    """

    def __init__(
        self,
        default: float,
        *,
        label: str,
        quantity: Quantity,
        low: float,
        high: float,
        reason: str,
        named: str = "",
    ) -> None:
        super().__init__(default)
        self.label = label
        self.quantity = quantity
        self.low = low
        self.high = high
        self.reason = reason
        self.named = named

    def validate(self, obj: Any, value: Any) -> float:
        """Refuse what is not a finite number within the range."""
        self.check(value, METRIC)
        return float(value)

    def check(self, value: Any, units: UnitChoice) -> None:
        """Raise `InputError` with the reason in the shown units."""
        if isinstance(value, bool) or not isinstance(value, (int, float)):
            raise InputError(f"{self.label}: {value!r} is not a number. Type a number.")
        if not math.isfinite(value):
            raise InputError(f"{self.label}: {value} is not a finite number.")
        # Rounding of a unit conversion must not refuse the end of the range itself.
        slack = 1e-9 * max(1.0, abs(self.low), abs(self.high))
        if not self.low - slack <= value <= self.high + slack:
            show = self.quantity
            raise InputError(
                f"{self.label}: {show.text(value, units)} is refused; it goes from "
                f"{show.text(self.low, units)} to {show.text(self.high, units)}, because "
                f"{self.reason}."
            )


CLOCK: Final = Quantity(
    symbol=lambda units: "h",
    shown=lambda value, units: value / 3600.0,
    stored=lambda value, units: value * 3600.0,
    step=lambda units: 1.0 / 60.0,
    digits=lambda units: 2,
)


class Clock(Number):
    """An hour of the day. [s after midnight]."""

    def __init__(self, default: float, *, label: str) -> None:
        reason = "a day has no other hours"
        super().__init__(
            default, label=label, quantity=CLOCK, low=0.0, high=86340.0, reason=reason
        )


class Day(Input, traitlets.Unicode[str, str | bytes]):  # type: ignore[misc]
    """A day, as "2026-10-24"; empty for the usual one, which is another one next week.

    Parameters
    ----------
    usual : callable
        Returns the day that is meant when none is chosen.
    """

    low: Final = dt.date(2000, 1, 1)
    high: Final = dt.date(2199, 12, 30)

    def __init__(self, usual: Callable[[], dt.date], *, label: str) -> None:
        super().__init__("")
        self.usual = usual
        self.label = label

    def meant(self, value: str) -> dt.date:
        """Return the day that a stored value stands for."""
        return dt.date.fromisoformat(value) if value else self.usual()

    def validate(self, obj: Any, value: Any) -> str:
        """Refuse what is no day, or none in the range."""
        try:
            good = value == "" or self.low <= dt.date.fromisoformat(value) <= self.high
        except (TypeError, ValueError):
            good = False
        if not good:
            raise InputError(
                f"{self.label}: {str(value)[:_MOST_LETTERS]!r} is not a day from {self.low} to "
                f"{self.high}. Give one such as 2026-10-24."
            )
        return str(value)


class Choice(Input, traitlets.Unicode[str, str | bytes]):  # type: ignore[misc]
    """One of several words.

    Parameters
    ----------
    default : str
        Stored value at the start and after a reset.
    options : Mapping
        From stored value to the words shown, which may hold quantities.
    named : str
        Name of the control where it is not the input's.
    """

    def __init__(
        self, default: str, *, label: str, options: Mapping[str, words.Text], named: str = ""
    ) -> None:
        super().__init__(default)
        self.label = label
        self.options = dict(options)
        self.named = named

    def validate(self, obj: Any, value: Any) -> str:
        """Refuse what is not an option."""
        if not isinstance(value, str) or value not in self.options:
            raise InputError(
                f"{self.label}: {value!r} is not a choice; take one of "
                f"{', '.join(self.options)}."
            )
        return value


class Toggle(Input, traitlets.Bool[bool, bool | int]):  # type: ignore[misc]
    """Yes or no."""

    def __init__(self, default: bool, *, label: str) -> None:
        super().__init__(default)
        self.label = label

    def validate(self, obj: Any, value: Any) -> bool:
        """Refuse what is neither yes nor no."""
        if not isinstance(value, bool):
            raise InputError(f"{self.label}: {value!r} is neither true nor false.")
        return value


class Control:
    """A view of one trait. Subclasses fill `widget`."""

    widget: W.Widget

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        self.state = state
        self.trait = trait
        self.spec = cast(Any, state.traits()[trait])
        self.name: str = self.spec.control_name
        self._quiet = False
        self.refusal = W.HTML(layout=W.Layout(margin="0", display="none"))
        self.refusal.add_class("coreward-refusal")

    def _finish(self, children: list[W.Widget]) -> None:
        row = W.HBox(children, layout=W.Layout(align_items="center", width="100%"))
        self.widget = W.VBox([row, self.refusal], layout=W.Layout(margin="0"))
        self.widget.add_class("coreward-control")
        self.widget.add_class(f"coreward-control-{self.name}")
        self.state.observe(self._changed, names=self.trait)
        self.show()

    @property
    def value(self) -> Any:
        """The stored value."""
        return getattr(self.state, self.trait)

    def give(self, value: Any) -> bool:
        """Store a value a person gave; say why in place when it is refused."""
        try:
            self.check(value)
        except InputError as error:
            self.refuse(error.shown(self._units()))
            return False
        self.refuse("")
        setattr(self.state, self.trait, value)
        return True

    def check(self, value: Any) -> None:
        """Raise `InputError` when a value cannot be stored."""
        self.spec.validate(self.state, value)

    def refuse(self, sentence: str) -> None:
        """Show, or with an empty sentence take away, the reason of a refusal."""
        self.refusal.value = f'<span role="alert">{html.escape(sentence)}</span>'
        self.refusal.layout.display = "" if sentence else "none"

    def reset(self) -> None:
        """Go back to the value at the start."""
        self.refuse("")
        setattr(self.state, self.trait, self.spec.default_value)
        self.show()

    def show(self) -> None:
        """Bring the widget in line with the state."""
        raise NotImplementedError

    def set_visible(self, visible: bool) -> None:
        """Show or hide the whole control."""
        self.widget.layout.display = "" if visible else "none"

    def _changed(self, change: Any) -> None:
        self.show()

    def _units(self) -> UnitChoice:
        return cast(UnitChoice, getattr(self.state, "units", METRIC))


class NumberControl(Control):
    """A slider with a typed entry beside it and the unit behind."""

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        super().__init__(state, trait)
        self.slider = W.FloatSlider(
            description=self.spec.label,
            readout=False,
            continuous_update=True,
            style={"description_width": _LABEL_WIDTH},
            layout=W.Layout(flex="1 1 auto", width="auto", min_width="140px"),
        )
        self.entry = W.Text(
            # Hidden from sight by the panel's style: the slider's handle has no name of
            # its own for a screen reader, this entry has.
            description=f"{self.spec.label}, typed",
            continuous_update=False,
            tooltip=f"{self.spec.label}: type a value",
            layout=W.Layout(width="62px", flex="0 0 auto"),
        )
        self.unit = W.HTML(layout=W.Layout(width="34px", flex="0 0 auto", margin="0 0 0 2px"))
        self.entry.add_class("coreward-entry")
        self._echo: tuple[float, float, float] | None = None
        self._is_shown = self._slides = False
        self._follow = Later(_FOLLOW_S, _FOLLOW_S)
        self.slider.observe(self._slid, names="value")
        self.entry.observe(self._typed, names="value")
        if state.has_trait("units"):
            state.observe(self._units_changed, names="units")
        self._finish([self.slider, self.entry, self.unit])

    def check(self, value: Any) -> None:  # noqa: D102
        self.spec.check(value, self._units())

    def show(self) -> None:  # noqa: D102
        units, quantity = self._units(), self.spec.quantity
        step = quantity.step(units)
        # The ends of the slider are whole steps inside the range, so that every
        # position of the slider is an allowed value.
        low = math.ceil(quantity.shown(self.spec.low, units) / step - 1e-6) * step
        high = math.floor(quantity.shown(self.spec.high, units) / step + 1e-6) * step
        shown = quantity.shown(self.value, units)
        ends = (self.slider.min, self.slider.max, self.slider.step)
        if self._is_shown and ends != (low, high, step):
            # A browser answers new ends with the place of its handle on the old ones, as
            # if somebody had moved it; see `_slid`.
            old = self.slider.value
            self._echo = (old, min(max(old, low), high), time.monotonic() + _ECHO_S)
        self._is_shown = True
        self._quiet = True
        try:
            # Widen first: the widget refuses a value or an end that crosses another.
            self.slider.min = min(self.slider.min, low)
            self.slider.max = max(self.slider.max, high)
            self.slider.step = step
            self.slider.value = min(max(shown, low), high)
            self.slider.min, self.slider.max = low, high
            self.unit.value = quantity.symbol(units)
        finally:
            self._quiet = False
        (self._follow.ask if self._slides else self._follow.do)(self._show_entry)

    def _slid(self, change: Any) -> None:
        if self._quiet:
            return
        if self._is_echo(float(change["new"])):
            self.show()
            return
        # A browser stands only at whole steps and says so: a value between two of them, such
        # as 30 mm in inches, is answered with the nearest one, which nobody chose.
        units, quantity = self._units(), self.spec.quantity
        if abs(change["new"] - quantity.shown(self.value, units)) <= 0.501 * self.slider.step:
            return
        stored = self.spec.quantity.stored(float(change["new"]), self._units())
        self._slides = True
        try:
            self.give(min(max(stored, self.spec.low), self.spec.high))
        finally:
            self._slides = False

    def _show_entry(self) -> None:
        self._quiet = True
        try:
            self.entry.value = self._as_typed()
        finally:
            self._quiet = False

    def _is_echo(self, moved_to: float) -> bool:
        """Tell the browser's answer to a change of units from a person's hand."""
        if self._echo is None:
            return False
        old, inside, until = self._echo
        if time.monotonic() > until:
            self._echo = None
            return False
        units, step = self._units(), float(self.slider.step)
        right: float = self.spec.quantity.shown(self.value, units)
        near = min(abs(moved_to - old), abs(moved_to - inside)) <= 0.51 * step
        return bool(near or abs(moved_to - right) <= 0.51 * step)

    def _typed(self, change: Any) -> None:
        if self._quiet:
            return
        self._follow.drop()
        units = self._units()
        symbol = self.spec.quantity.symbol(units)
        typed = str(change["new"]).strip()
        text = typed.removesuffix(symbol).strip().replace(",", ".")
        now = self._as_typed()
        # The same digits as shown mean "unchanged", not the rounded value.
        if text == now:
            self.refuse("")
            self.show()
            return
        try:
            number = float(text)
        except ValueError:
            number = math.nan
        if not math.isfinite(number):
            short = typed if len(typed) <= _MOST_LETTERS else f"{typed[:_MOST_LETTERS]}…"
            self.refuse(
                f"{self.spec.label}: {short!r} is not a number. Type digits, such as {now}."
            )
            return
        if self.give(self.spec.quantity.stored(number, units)):
            self.show()

    def _units_changed(self, change: Any) -> None:
        # A refusal speaks of the units before; the entry shows the value again.
        self.refuse("")
        self.show()

    def _as_typed(self) -> str:
        """Return the value as a person would type it."""
        return cast(str, self.spec.quantity.number(self.value, self._units()))


class ClockControl(Control):
    """A clock to type an hour into."""

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        super().__init__(state, trait)
        self.clock = W.TimePicker(
            description=self.spec.label,
            style={"description_width": _LABEL_WIDTH},
            layout=W.Layout(width="calc(100% - 4px)"),
        )
        self.clock.observe(lambda change: self._chosen(change["new"]), names="value")
        self._finish([self.clock])

    def show(self) -> None:  # noqa: D102
        hours, minutes = divmod(round(self.value / 60.0), 60)
        self.clock.value = dt.time(hours, minutes)

    def _chosen(self, hour: dt.time | None) -> None:
        if hour is None:
            # What is half typed is no hour; the one in force is shown again.
            self.show()
        elif hour != dt.time(*divmod(round(self.value / 60.0), 60)):
            self.give(3600.0 * hour.hour + 60.0 * hour.minute)


class DayControl(Control):
    """A calendar to choose a day from, with the day in words: their order differs by place."""

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        super().__init__(state, trait)
        self.calendar = W.DatePicker(
            description=self.spec.label,
            style={"description_width": _LABEL_WIDTH},
            layout=W.Layout(width="calc(100% - 4px)"),
        )
        self.words = W.HTML(layout=W.Layout(margin=f"0 0 0 {_LABEL_WIDTH}"))
        self.calendar.observe(lambda change: self._chosen(change["new"]), names="value")
        self._finish([self.calendar])
        self.widget.children = (*self.widget.children, self.words)

    def show(self) -> None:  # noqa: D102
        day = self.spec.meant(self.value)
        self.calendar.value = day
        past = ", which is past" if day < dt.date.today() else ""
        self.words.value = f"&nbsp; {day_words(day)}{past}"

    def _chosen(self, day: dt.date | None) -> None:
        if day is None:
            self.show()
        elif day != self.spec.meant(self.value):
            self.give(day.isoformat())


def day_words(day: dt.date) -> str:
    """Return a day in words: "Saturday 24 October 2026"."""
    return f"{day:%A} {day.day} {day:%B %Y}"


class ChoiceControl(Control):
    """A list to choose one from."""

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        super().__init__(state, trait)
        self.list = W.Dropdown(
            options=self._options(),
            value=self.value,
            description=self.spec.label,
            style={"description_width": _LABEL_WIDTH},
            layout=W.Layout(width="calc(100% - 4px)", min_width="0"),
        )
        self.list.observe(lambda change: self._chosen(change["new"]), names="value")
        if state.has_trait("units"):
            state.observe(self._changed, names="units")
        self._finish([self.list])

    def _options(self) -> tuple[tuple[str, str], ...]:
        units = self._units()
        return tuple(
            (words.shown(text, units), value) for value, text in self.spec.options.items()
        )

    def show(self) -> None:  # noqa: D102
        options = self._options()
        if options != tuple(self.list.options):
            # In other units: a list chooses its first entry when it is given new words.
            self._quiet = True
            try:
                self.list.options = options
                self.list.value = self.value
            finally:
                self._quiet = False
        self.list.value = self.value

    def _chosen(self, value: str) -> None:
        if not self._quiet:
            self.give(value)


class ToggleControl(Control):
    """A box to tick."""

    def __init__(self, state: traitlets.HasTraits, trait: str) -> None:
        super().__init__(state, trait)
        self.box = W.Checkbox(
            value=self.value,
            description=self.spec.label,
            indent=True,
            style={"description_width": _LABEL_WIDTH},
            layout=W.Layout(width="100%"),
        )
        self.box.observe(lambda change: self.give(change["new"]), names="value")
        self._finish([self.box])

    def show(self) -> None:  # noqa: D102
        self.box.value = self.value


class UnitsControl:
    """Temperature, length and mass units; the values stay what they are.

    Parameters
    ----------
    state : HasTraits
        Must have a trait ``units`` holding a `UnitChoice`.
    shown : tuple of str
        Which of ``temperature``, ``length`` and ``mass`` matter here.
    """

    name = "units"
    _OPTIONS: Final = {
        "temperature": (("°C", "C"), ("°F", "F")),
        "length": (("mm", "mm"), ("in", "in")),
        "mass": (("kg", "kg"), ("lb", "lb")),
    }

    def __init__(
        self,
        state: traitlets.HasTraits,
        shown: tuple[str, ...] = ("temperature", "length", "mass"),
    ) -> None:
        self.state = state
        self._quiet = False
        self.lists = {
            kind: W.Dropdown(
                options=self._OPTIONS[kind],
                description=kind,
                style={"description_width": "initial"},
                layout=W.Layout(width="auto"),
            )
            for kind in shown
        }
        for kind, menu in self.lists.items():
            menu.add_class(f"coreward-control-units-{kind}")
            menu.observe(self._chosen, names="value")
        self.widget = W.HBox(
            list(self.lists.values()), layout=W.Layout(flex_flow="row wrap", width="auto")
        )
        self.widget.add_class("coreward-control-units")
        state.observe(lambda change: self.show(), names="units")
        self.show()

    def show(self) -> None:
        """Bring the lists in line with the state."""
        units = getattr(self.state, "units")  # noqa: B009 (a trait, unknown to the checker)
        # One list after the other changes; their notes must not undo each other.
        self._quiet = True
        try:
            for kind, menu in self.lists.items():
                menu.value = getattr(units, kind)
        finally:
            self._quiet = False

    def _chosen(self, change: Any) -> None:
        if self._quiet:
            return
        units: UnitChoice = getattr(self.state, "units")  # noqa: B009
        changed = {kind: menu.value for kind, menu in self.lists.items()}
        new = UnitChoice(
            temperature=changed.get("temperature", units.temperature),
            length=changed.get("length", units.length),
            mass=changed.get("mass", units.mass),
        )
        if new != units:
            self.state.set_trait("units", new)


def control_for(state: traitlets.HasTraits, trait: str) -> Control:
    """Return the control that fits an input."""
    spec: Any = state.traits()[trait]
    made: Control = spec.control(state, trait)
    return made


Number.control, Clock.control, Day.control = NumberControl, ClockControl, DayControl
Choice.control, Toggle.control = ChoiceControl, ToggleControl
