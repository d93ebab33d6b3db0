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
import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass, fields
from typing import Any, Final, Literal

from coreward import units as convert
from coreward.errors import InputError

TemperatureUnit = Literal["C", "F"]
LengthUnit = Literal["mm", "in"]
MassUnit = Literal["kg", "lb"]

_MINUTE: Final = 60.0
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


def temperature_symbol(units: Units) -> str:
    """Return "°C" or "°F", for an axis, a heading or a control."""
    return "°F" if as_units(units).temperature == "F" else "°C"


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


def _significant(value: float) -> str:
    # Three digits, but never as a power of ten, and no zeros that say nothing.
    return ".3g" if abs(value) < 999.5 else ".0f"


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
        return convert.celsius_to_fahrenheit(float(celsius)), "°F"
    return float(celsius), "°C"


def _difference(kelvin: float, units: Units) -> tuple[float, str]:
    if as_units(units).temperature == "F":
        return convert.delta_celsius_to_fahrenheit(float(kelvin)), "°F"
    return float(kelvin), "K"


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
    """A temperature that is neither measured nor a limit: rounded to the nearest. [°C].

    Without `digits` it is one that somebody stated: to a tenth, and whole where it is whole.
    """

    celsius: float
    digits: int | None = 0

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _degrees(self.celsius, units)
        if not math.isfinite(value):
            return "unknown"
        if self.digits is None:
            return f"{f'{value:.1f}'.removesuffix('.0')} {symbol}"
        return f"{value:.{self.digits}f} {symbol}"


@dataclass(frozen=True)
class DegreesBetween(Quantity):
    """A range of temperature: "60 to 70 °C", "below 5 °C", "90 °C and above". [°C]."""

    low_celsius: float | None
    high_celsius: float | None
    digits: int | None = 0

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        low, high = (
            None if end is None else Degrees(end, self.digits).shown(units)
            for end in (self.low_celsius, self.high_celsius)
        )
        if low is None:
            return "all" if high is None else f"below {high}"
        return f"{low} and above" if high is None else f"{low.partition(' ')[0]} to {high}"


@dataclass(frozen=True)
class Difference(Quantity):
    """A difference of temperature: with `digits` decimals, or three significant digits. [K]."""

    kelvin: float
    digits: int | None = None
    signed: bool = False

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _difference(self.kelvin, units)
        digits = _significant(value) if self.digits is None else f".{self.digits}f"
        return f"{value:{'+' if self.signed else ''}{digits}} {symbol}"


@dataclass(frozen=True)
class MissingDifference(Quantity):
    """A difference of temperature that is still missing: rounded up. [K]."""

    kelvin: float

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _difference(self.kelvin, units)
        return f"{up(value, 1)} {symbol}"


@dataclass(frozen=True)
class Rate(Quantity):
    """A change of temperature in an hour or a minute, to three significant digits."""

    kelvin: float
    per: Literal["h", "min"] = "h"

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        value, symbol = _difference(self.kelvin, units)
        return f"{value:{_significant(value)}} {symbol}/{self.per}"


def span(seconds: int) -> str:
    """Return whole seconds as "45 s", "50 min", "1 h 05 min"; the one way to say a time.

    Below two minutes seconds are said, above only minutes: `seconds` must then be whole
    minutes, rounded to the side that its kind asks for.
    """
    if abs(seconds) < 120:
        return f"{seconds} s"
    return _whole_minutes(abs(seconds) // 60, "-" if seconds < 0 else "")


def _whole_minutes(minutes: int, sign: str = "") -> str:
    hours, rest = divmod(minutes, 60)
    if not hours:
        return f"{sign}{rest} min"
    return f"{sign}{hours} h {rest:02d} min" if rest else f"{sign}{hours} h"


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
        return _whole_minutes(minutes, "-" if self.seconds < 0 and minutes else "")


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
class When(Quantity):
    """A moment of a record as its reader finds it: "18:03 (3 h 20 min)", to the minute.

    The time of day where the record has one, and how long after its beginning.
    """

    seconds: float
    start: dt.time | None = None

    def shown(self, units: Units) -> str:
        """Return it as text; a time has one unit for all readers."""
        after = Lasting(self.seconds).shown(units)
        if self.start is None or not math.isfinite(self.seconds):
            return after
        # Both halves are rounded alike, or they would name two different minutes.
        minute = round(self.seconds / _MINUTE) * _MINUTE
        return f"{At(minute, self.start).shown(units)} ({after})"


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
            return f"over {self.most:,g}{behind}"
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
            return f"{convert.metres_to_inches(float(self.metres)):.2f} in"
        return f"{convert.metres_to_millimetres(float(self.metres)):.0f} mm"


@dataclass(frozen=True)
class Mass(Quantity):
    """A mass, to a tenth. [kg]."""

    kilograms: float
    digits: int = 1

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        if as_units(units).mass == "lb":
            return f"{convert.kilograms_to_pounds(float(self.kilograms)):.{self.digits}f} lb"
        return f"{self.kilograms:.{self.digits}f} kg"


@dataclass(frozen=True)
class Say(Quantity):
    """A sentence: a template and what stands in it, in order."""

    template: str
    """With ``{0}``, ``{1}`` ... where the values stand."""
    values: tuple[Quantity | str | int, ...] = ()
    """Quantities, other sentences, or plain words."""

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


@dataclass(frozen=True)
class Opening(Quantity):
    """What a sentence opens with, such as the name of a piece: with a capital."""

    text: Text | int

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        words = shown(self.text, units)
        return f"{words[:1].upper()}{words[1:]}"


@dataclass(frozen=True)
class Sentence(Quantity):
    """A clause, or a sentence already, as a sentence: with a capital and one full stop."""

    text: Text

    def shown(self, units: Units) -> str:
        """Return it as text in the reader's units."""
        words = Opening(self.text).shown(units)
        return words if words.endswith((".", "?", "!")) else f"{words}."


def together(parts: Iterable[Text], between: str = " ") -> Say:
    """Return several sentences as one, in order."""
    kept = tuple(parts)
    return Say(between.join(f"{{{index}}}" for index in range(len(kept))), kept)


# --- prose with numbers in it ------------------------------------------------------------

# Only what stands in braces is read, and it is read before there is a sentence: prose that
# merely looks like a number with a unit stays prose.
_BRACES: Final = re.compile(r"\{\{|\}\}|\{([^{}]*)\}|[{}]")
_PLACED: Final = re.compile(
    r"(-?\d+(?:\.\d+)?)(?: to (-?\d+(?:\.\d+)?))? (C limit|C|K/h|K/min|K|mm|kg)"
)


def from_markup(text: str) -> Text:
    """Return prose whose numbers stand in braces as a sentence.

    ``"Pull it at {71 C}, {5 K} early"``: so a paragraph can be written as one, and still
    holds quantities and not the text of one unit.

    Parameters
    ----------
    text : str
        With ``{71 C}`` (a temperature, to as many decimals), ``{60 to 70 C}``,
        ``{54.4 C limit}``, ``{10 K}`` (a difference), ``{2 K/h}``, ``{60 mm}``,
        ``{3 kg}``; a brace that is meant is doubled.

    Raises
    ------
    InputError
        If something else stands in braces.
    """
    values: list[Quantity] = []

    def place(found: re.Match[str]) -> str:
        if found[0] in ("{{", "}}"):
            return found[0]
        placed = _PLACED.fullmatch(found[1] or "")
        if placed is None:
            raise InputError(
                f"{found[0]!r} in {text!r} is no quantity; write {{71 C}}, {{60 to 70 C}}, "
                "{54.4 C limit}, {10 K}, {2 K/h}, {60 mm} or {3 kg}."
            )
        values.append(_quantity(*placed.groups()))
        return f"{{{len(values) - 1}}}"

    template = _BRACES.sub(place, text)
    # Without values a template is shown as it stands, its doubled braces too.
    return Say(template, tuple(values)) if values else template.format()


def _quantity(first: str, second: str | None, unit: str) -> Quantity:
    value, digits = float(first), len(first.partition(".")[2])
    if second is not None:
        if unit != "C":
            raise InputError(f"A range is one of temperature, not of {unit}.")
        return DegreesBetween(value, float(second), digits)
    made: dict[str, Callable[[], Quantity]] = {
        "C": lambda: Degrees(value, digits),
        "C limit": lambda: Published(value),
        "K": lambda: Difference(value),
        "K/h": lambda: Rate(value),
        "K/min": lambda: Rate(value, "min"),
        "mm": lambda: Length(value / 1000.0),
        "kg": lambda: Mass(value, digits),
    }
    return made[unit]()


# --- sentences in files ------------------------------------------------------------------


def to_plain(text: Text | int) -> Any:
    """Return a sentence as plain values for a file, with every digit of its quantities.

    Plain words stay as they are.
    """
    if not isinstance(text, Quantity):
        return text
    if isinstance(text, Say):
        return {"say": text.template, "values": [to_plain(value) for value in text.values]}
    plain = {field.name: getattr(text, field.name) for field in fields(text)}  # type: ignore[arg-type]
    return {"kind": type(text).__name__, **plain}


def from_plain(plain: object) -> Text:
    """Return the sentence that `to_plain` wrote.

    A file may be anybody's: what it can ask for is bounded, so that no width, no number of
    decimals and no nesting takes a server's time or memory.

    Raises
    ------
    InputError
        If it is none.
    """
    try:
        return _text(plain, 0)
    except (ArithmeticError, AttributeError, IndexError, KeyError, TypeError, ValueError):
        raise InputError("A stored sentence is damaged; use what was exported here.") from None


def _text(plain: Any, depth: int) -> Text:
    if isinstance(plain, str):
        return plain
    if set(plain) != {"say", "values"} or depth > _DEEPEST:
        raise ValueError
    template, values = plain["say"], tuple(_value(each, depth + 1) for each in plain["values"])
    placed = [found[1] for found in _BRACES.finditer(template) if len(found[0]) > 1]
    if len(placed) > len(_PLACES) or any(place not in (None, *_PLACES) for place in placed):
        raise ValueError
    said = Say(template, values)
    said.shown(METRIC)  # a brace or a value too few is found here and not on a page
    return said


def _value(plain: Any, depth: int) -> Quantity | str | int:
    if isinstance(plain, int):
        return plain
    if not isinstance(plain, dict) or "kind" not in plain:
        return _text(plain, depth)
    given = dict(plain)
    kind = _STORED[given.pop("kind")]
    return kind(**{name: _field(name, value) for name, value in given.items()})


def _field(name: str, value: Any) -> Any:
    if value is None and name in ("low_celsius", "high_celsius"):
        return None
    allowed = _FIELDS.get(name)
    if value is None or isinstance(value, bool) or allowed is not None:
        if allowed is None or value not in allowed:
            raise ValueError
        return value
    return float(value)


_DEEPEST: Final = 3
_FIELDS: Final[dict[str, tuple[Any, ...]]] = {
    "digits": (None, 0, 1, 2, 3),
    "signed": (False, True),
    "at_most": (False, True),
    "per": ("h", "min"),
}
_PLACES: Final = tuple(map(str, range(20)))

# Those that a file may hold; a moment of a record is stored as the record's seconds.
_STORED: Final[dict[str, Callable[..., Quantity]]] = {
    kind.__name__: kind
    for kind in (
        Reading,
        HottestReading,
        Published,
        Degrees,
        DegreesBetween,
        Difference,
        Rate,
        Held,
        Needed,
        Lasting,
        Length,
        Mass,
    )
}
