"""How things are said: a number stays a number until it is shown.

What is told to a person is a `Say`: a template and its quantities. Each quantity knows
what it is, and therefore in which unit it is shown and to which side it may be rounded:
a reading is never shown hotter than it was, a limit never colder than it is, a time that
was held never longer, a time that is asked for never shorter. A sentence is turned into
text once, at the very end, in the units of the reader; no unit is ever made out of
finished text.

Floor below the questions: nothing here knows meat, standards or pictures.
"""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final, Literal

from coreward import units as convert
from coreward.errors import InputError

TemperatureUnit = Literal["C", "F"]
LengthUnit = Literal["mm", "in"]
MassUnit = Literal["kg", "lb"]

_MINUTE: Final = 60.0
_HOUR: Final = 3600.0
# Binary fractions must not push 54.444...°C past 130 °F, or 7200.0000001 s past two hours.
_ROUNDING: Final = 1e-6


@dataclass(frozen=True)
class UnitChoice:
    """The units a person reads and types. Nothing inside depends on them."""

    temperature: TemperatureUnit = "C"
    length: LengthUnit = "mm"
    mass: MassUnit = "kg"


METRIC: Final = UnitChoice()
CUSTOMARY: Final = UnitChoice("F", "in", "lb")
Units = str | UnitChoice
"""``"C"``, ``"F"`` or a full choice."""


def as_units(units: Units) -> UnitChoice:
    """Return a unit choice from ``"C"`` (°C, mm, kg) or ``"F"`` (°F, in, lb).

    Parameters
    ----------
    units : str or UnitChoice
        A choice is returned unchanged.

    Raises
    ------
    InputError
        If the text is neither ``"C"`` nor ``"F"``.
    """
    if isinstance(units, UnitChoice):
        return units
    if units == "C":
        return METRIC
    if units == "F":
        return CUSTOMARY
    raise InputError(f'units must be "C" or "F", not {units!r}: choose one of the two.')


def down(value: float, digits: int = 0) -> str:
    """Return a number as text, rounded down."""
    scale = 10.0**digits
    rounded = math.floor(value * scale + _ROUNDING) / scale
    return f"{rounded + 0.0:.{digits}f}"  # + 0.0: no "-0.0"


def up(value: float, digits: int = 0) -> str:
    """Return a number as text, rounded up."""
    scale = 10.0**digits
    rounded = math.ceil(value * scale - _ROUNDING) / scale
    return f"{rounded + 0.0:.{digits}f}"


class Quantity:
    """Something with a number in it that is shown in the reader's units.

    It has no text of its own in a formatted string: that would fix the units too early.
    """

    __slots__ = ()

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        raise NotImplementedError

    def __str__(self) -> str:
        return self.shown(METRIC)

    def __format__(self, spec: str) -> str:
        raise TypeError(
            f"{type(self).__name__} in a formatted string would lose the reader's units; put "
            "it into a Say, or call shown(units)."
        )


def _degrees(celsius: float, units: Units) -> tuple[float, str]:
    if as_units(units).temperature == "F":
        return float(convert.celsius_to_fahrenheit(celsius)), "°F"
    return float(celsius), "°C"


@dataclass(frozen=True)
class Reading(Quantity):
    """A measured temperature: rounded down, never shown hotter than it was. [°C]."""

    celsius: float
    digits: int = 1

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _degrees(self.celsius, units)
        if not math.isfinite(value):
            return "unknown"
        return f"{down(value, self.digits)} {symbol}"


@dataclass(frozen=True)
class HottestReading(Quantity):
    """A measured temperature that must be low: rounded up, never shown colder. [°C]."""

    celsius: float
    digits: int = 1

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _degrees(self.celsius, units)
        if not math.isfinite(value):
            return "unknown"
        return f"{up(value, self.digits)} {symbol}"


@dataclass(frozen=True)
class Published(Quantity):
    """A limit to be at or above: shown as printed, otherwise rounded up. [°C].

    A number that is whole in the unit shown, such as 130 °F, is shown whole: that is how
    its source prints it. `at_most` is for a limit to be at or below: it is rounded down.
    """

    celsius: float
    at_most: bool = False

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _degrees(self.celsius, units)
        rounded = down(value, 1) if self.at_most else up(value, 1)
        return f"{rounded.removesuffix('.0')} {symbol}"


@dataclass(frozen=True)
class Degrees(Quantity):
    """A temperature that is neither measured nor a limit: rounded to the nearest. [°C]."""

    celsius: float
    digits: int = 0

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _degrees(self.celsius, units)
        if not math.isfinite(value):
            return "unknown"
        return f"{value:.{self.digits}f} {symbol}"


@dataclass(frozen=True)
class DegreesBetween(Quantity):
    """A range of temperature: "60 to 70 °C". [°C]."""

    low_celsius: float
    high_celsius: float
    digits: int = 0

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        low, symbol = _degrees(self.low_celsius, units)
        high, _ = _degrees(self.high_celsius, units)
        return f"{low:.{self.digits}f} to {high:.{self.digits}f} {symbol}"


@dataclass(frozen=True)
class Difference(Quantity):
    """A difference of temperature, to three significant digits. [K]."""

    kelvin: float

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).temperature == "F":
            return f"{float(convert.delta_celsius_to_fahrenheit(self.kelvin)):.3g} °F"
        return f"{self.kelvin:.3g} K"


@dataclass(frozen=True)
class MissingDifference(Quantity):
    """A difference of temperature that is still missing: rounded up. [K]."""

    kelvin: float

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).temperature == "F":
            return f"{up(float(convert.delta_celsius_to_fahrenheit(self.kelvin)), 1)} °F"
        return f"{up(self.kelvin, 1)} K"


@dataclass(frozen=True)
class Rate(Quantity):
    """A change of temperature in an hour or a minute, to three significant digits."""

    kelvin: float
    per: Literal["h", "min"] = "h"

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).temperature == "F":
            value = float(convert.delta_celsius_to_fahrenheit(self.kelvin))
            return f"{value:.3g} °F/{self.per}"
        return f"{self.kelvin:.3g} K/{self.per}"


def span(seconds: int) -> str:
    """Return whole seconds as "45 s", "50 min", "1 h 05 min"; the one way to say a time.

    Below two minutes seconds are said, above only minutes: `seconds` must then be whole
    minutes, rounded to the side that its kind asks for.
    """
    if abs(seconds) < 120:
        return f"{seconds} s"
    sign = "-" if seconds < 0 else ""
    hours, minutes = divmod(abs(seconds) // 60, 60)
    if not hours:
        return f"{sign}{minutes} min"
    return f"{sign}{hours} h {minutes:02d} min" if minutes else f"{sign}{hours} h"


@dataclass(frozen=True)
class Held(Quantity):
    """A time that was held, or is left over: rounded down, never lengthened. [s]."""

    seconds: float

    def shown(self, units: Units) -> str:
        """Return it as text; a time has one unit for all readers."""
        if not math.isfinite(self.seconds):
            return "without end"
        seconds = math.floor(max(self.seconds, 0.0) + _ROUNDING)
        return span(seconds if seconds < 120 else seconds // 60 * 60)


@dataclass(frozen=True)
class Needed(Quantity):
    """A time that is asked for, missing or was used up: rounded up, never shortened. [s]."""

    seconds: float

    def shown(self, units: Units) -> str:
        """Return it as text; a time has one unit for all readers."""
        if not math.isfinite(self.seconds):
            return "no time at all"
        seconds = math.ceil(self.seconds - _ROUNDING)
        return span(seconds if seconds < 120 else -(-seconds // 60) * 60)


@dataclass(frozen=True)
class Lasting(Quantity):
    """A time that is neither credited nor asked for: to the nearest minute. [s]."""

    seconds: float

    def shown(self, units: Units) -> str:
        """Return it as text; a time has one unit for all readers."""
        if not math.isfinite(self.seconds):
            return "unknown"
        minutes = round(abs(self.seconds) / _MINUTE)
        sign = "-" if self.seconds < 0 and minutes else ""
        hours, rest = divmod(minutes, 60)
        if not hours:
            return f"{sign}{rest} min"
        return f"{sign}{hours} h {rest:02d} min" if rest else f"{sign}{hours} h"


@dataclass(frozen=True)
class At(Quantity):
    """A moment of a record: "3:20" on its clock, or a time of day where it began at one."""

    seconds: float
    start: dt.time | None = None

    def shown(self, units: Units) -> str:
        """Return it as text; a time has one unit for all readers."""
        if not math.isfinite(self.seconds):
            return "unknown"
        if self.start is None:
            minutes = int(self.seconds // _MINUTE)
            return f"{minutes // 60}:{minutes % 60:02d}"
        first = dt.datetime.combine(dt.date(2000, 1, 1), self.start)
        return f"{first + dt.timedelta(seconds=self.seconds):%H:%M}"


@dataclass(frozen=True)
class Earned(Quantity):
    """Log reductions or minutes that were earned: rounded down, "over" beyond `most`."""

    value: float
    unit: str = ""
    most: float = math.inf

    def shown(self, units: Units) -> str:
        """Return it as text; it has one unit for all readers."""
        behind = f" {self.unit}" if self.unit else ""
        if self.value > self.most:
            return f"over {self.most:g}{behind}"
        return f"{down(self.value, 1)}{behind}"


@dataclass(frozen=True)
class Required(Quantity):
    """Log reductions or minutes that are asked for, or growth: rounded up."""

    value: float
    unit: str = ""

    def shown(self, units: Units) -> str:
        """Return it as text; it has one unit for all readers."""
        behind = f" {self.unit}" if self.unit else ""
        return f"{up(self.value, 1)}{behind}"


@dataclass(frozen=True)
class Length(Quantity):
    """A length: whole millimetres, or hundredths of an inch. [m]."""

    metres: float

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).length == "in":
            return f"{float(convert.metres_to_inches(self.metres)):.2f} in"
        return f"{float(convert.metres_to_millimetres(self.metres)):.0f} mm"


@dataclass(frozen=True)
class Mass(Quantity):
    """A mass, to a tenth. [kg]."""

    kilograms: float

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).mass == "lb":
            return f"{float(convert.kilograms_to_pounds(self.kilograms)):.1f} lb"
        return f"{self.kilograms:.1f} kg"


@dataclass(frozen=True)
class Say(Quantity):
    """A sentence: a template and what stands in it, in order.

    Attributes
    ----------
    template : str
        With ``{0}``, ``{1}`` ... where the values stand.
    values : tuple
        Quantities, other sentences, or plain words.
    """

    template: str
    values: tuple[Quantity | str | int, ...] = ()

    def shown(self, units: Units) -> str:
        """Return the sentence as text in the reader's units."""
        if not self.values:
            return self.template
        return self.template.format(*(shown(value, units) for value in self.values))


Text = str | Quantity
"""What may be said: plain words, a quantity or a sentence."""


def say(template: str, *values: Quantity | str | int) -> Say:
    """Return a sentence from its template and what stands in it."""
    return Say(template, values)


def shown(text: Text | int, units: Units) -> str:
    """Return anything that may be said as text in the reader's units."""
    return text.shown(units) if isinstance(text, Quantity) else str(text)


def together(parts: Iterable[Text], between: str = " ") -> Say:
    """Return several sentences as one, in order."""
    kept = tuple(parts)
    return Say(between.join(f"{{{index}}}" for index in range(len(kept))), kept)
