"""The ways loggers write time, and how each is told from the others.

Nothing is guessed in silence: what the cells and the name of the column cannot settle
raises `Undecided`, whose message says how to state it.
"""

from __future__ import annotations

import datetime as dt
import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass

TIME_ROLES = (
    "time",
    "clock",
    "elapsed s",
    "elapsed min",
    "elapsed h",
    "elapsed h:mm",
    "elapsed m:ss",
    "serial days",
)
"""What ``columns`` may state about a time column; ``"time"`` leaves it to be found."""

DAY_S = 86400.0
_UNIX = (1e8, 7.3e9)  # seconds, 1973 to 2201: no elapsed time of a cook is as long
_UNIX_SCALES = ((1.0, "seconds"), (1e-3, "milliseconds"), (1e-6, "microseconds"))
_SERIAL_DAYS = (20000.0, 110000.0)  # 1954 to 2201
_SERIAL_START = dt.datetime(1899, 12, 30)  # day 0 of a spreadsheet's dates
_EPOCH = dt.datetime(1970, 1, 1)

_SECOND_WORDS = {"s", "sec", "secs", "second", "seconds", "sek", "sekunden"}
_MINUTE_WORDS = {"min", "mins", "minute", "minutes", "minuten"}
_HOUR_WORDS = {"h", "hr", "hrs", "hour", "hours", "std", "stunden"}
_MILLISECOND_WORDS = {"ms", "millis", "millisecond", "milliseconds"}
_ELAPSED_WORDS = {"elapsed", "duration", "runtime", "since", "dauer"}
_CLOCK_WORDS = {"clock", "uhrzeit", "uhr"}

_NUMBER = re.compile(r"[+-]?\d{1,20}(?:[.,]\d{1,25})?(?:[eE][+-]?\d{1,3})?", re.ASCII)
_PARTS = re.compile(
    r"(\d{1,4}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([aApP]\.?\s?[mM]\.?)?", re.ASCII
)
_ISO_BASIC = re.compile(
    r"(\d{4})(\d{2})(\d{2})T(\d{2})(\d{2})(\d{2})?([.,]\d{1,9})?(Z|[+-]\d{2}(?::?\d{2})?)?",
    re.ASCII,
)
_ISO = re.compile(
    r"\d{4}-\d{2}-\d{2}[T ]\d{2}(?::?\d{2}){1,2}(?:[.,]\d{1,9})?"
    r"(?:\s?(?:[zZ]|UTC|GMT|[+-]\d{2}(?::?\d{2})?))?",
    re.ASCII,
)
_CLOCK_TAIL = (
    r"[T ,]\s*(\d{1,2}):(\d{2})(?::(\d{2})(?:[.,](\d{1,9}))?)?\s*([aApP]\.?\s?[mM]\.?)?"
)
_YEAR_FIRST = re.compile(r"(\d{4})[/.-](\d{1,2})[/.-](\d{1,2})" + _CLOCK_TAIL, re.ASCII)
_YEAR_LAST = re.compile(
    r"(\d{1,2})([/.-])(\d{1,2})[/.-](\d{4}|\d{2}),?" + _CLOCK_TAIL, re.ASCII
)
_MONTH_NAME = re.compile(
    r"(?:(\d{1,2})[ -]([A-Za-z]{3,9})|([A-Za-z]{3,9}) (\d{1,2}))\.?,?[ -](\d{4}),?"
    + _CLOCK_TAIL,
    re.ASCII,
)
_DATE_ONLY = re.compile(
    r"\d{4}[/.-]\d{1,2}[/.-]\d{1,2}|\d{1,2}[/.-]\d{1,2}[/.-](?:\d{4}|\d{2})", re.ASCII
)
_SPELT = re.compile(
    r"(?:(\d{1,2}) ?d(?:ays?)?,? ?)?"
    r"(?:(\d{1,3}) ?h(?:ours?|rs?)?,? ?)?(?:(\d{1,2}) ?m(?:in(?:utes)?)?,? ?)?"
    r"(?:(\d{1,2}) ?s(?:ec(?:onds)?)?)?",
    re.ASCII | re.IGNORECASE,
)
_DAYS_AND_CLOCK = re.compile(r"(\d{1,2}) ?d(?:ays?)?,? (\d{1,2}):(\d{2}):(\d{2})", re.ASCII)
_LOOK = 400  # cells looked at where all of them would tell no more
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")


_Moment = Callable[[str], dt.datetime | None]
_Date = tuple[int, int, int]


class Undecided(Exception):
    """The form of the time cannot be settled: what is unclear, the remedy, the choices."""

    def __init__(self, what: str, remedy: str, choices: tuple[str, ...] = ()) -> None:
        super().__init__(f"{what} {remedy}")
        self.what = what
        self.remedy = remedy
        self.choices = choices


@dataclass(frozen=True)
class TimeForm:
    """A way of writing time."""

    kind: str
    """What a cell gives: seconds since some start, since midnight, or a date and time."""
    sentence: str
    """The form in plain words."""
    seconds: Callable[[str], float | None]
    """Cell to seconds; None if it does not have this form."""
    moment: Callable[[str], dt.datetime | None]
    """Cell to date and time; None unless `kind` is ``"date"``."""
    whole_minutes: bool = False
    """True if the cells show no seconds."""
    origin: dt.datetime | None = None
    """Moment at which `seconds` is 0, where the form has a date: without a zone if the cells
    have none, otherwise in UTC."""

    @property
    def has_zone(self) -> bool:
        """True if the cells say how far they are from UTC."""
        return self.origin is not None and self.origin.tzinfo is not None


def looks_like_date_only(cells: Sequence[str]) -> bool:
    """Tell whether most cells are a date without a time of day."""
    hits = sum(1 for cell in cells if _DATE_ONLY.fullmatch(cell.strip()))
    return 2 * hits > len(cells) > 0


def looks_like_time(cells: Sequence[str]) -> bool:
    """Tell whether most cells have one of the forms of time with a colon in it."""
    hits = sum(1 for cell in cells if _shape(cell.strip()) not in ("", "number"))
    return 2 * hits > len(cells) > 0


def find_form(name: str, cells: Sequence[str], role: str = "time") -> TimeForm:
    """Find the form in which a column writes time.

    Parameters
    ----------
    role : str
        One of `TIME_ROLES`, as stated by the caller.

    Raises
    ------
    Undecided
        If the cells have no known form, or could be meant in more than one way.
    """
    filled = [cell.strip() for cell in cells if cell.strip()]
    if not filled:
        raise Undecided("The time column is empty.", "Export the log again with times.")
    shapes = Counter(_shape(cell) for cell in _spread(filled))
    shape, _ = shapes.most_common(1)[0]
    if shape == "":
        example = next(cell for cell in filled if _shape(cell) == "")
        raise Undecided(
            f"The times have no form known here (for example {example[:40]!a}).",
            "Write them as 2026-05-02T14:03:00, as 14:03:00, or as elapsed seconds under a "
            "heading such as 'time_s'.",
        )
    words = set(re.findall(r"[a-z]+", name.lower()))
    if shape == "number":
        return _number_form(name, words, filled, role)
    if shape in ("parts2", "parts3", "half-day"):
        return _parts_form(name, words, filled, role, shape)
    if shape == "spelt":
        whole = all(_whole_minutes(cell) for cell in filled)
        why = "days, hours, minutes and seconds, as they are spelt out"
        return TimeForm("elapsed", f"elapsed {why}", _spelt_seconds, _no_moment, whole)
    if role not in ("time",):
        raise Undecided(
            f"The times are dates with time of day, but {role!r} was stated.",
            "State 'time' for this column.",
        )
    return _date_form(shape, filled)


def _spread(cells: Sequence[str], most: int = _LOOK) -> Sequence[str]:
    step = max(1, len(cells) // most)
    return cells[::step]


def _shape(cell: str) -> str:
    if _NUMBER.fullmatch(cell):
        return "number"
    parts = _PARTS.fullmatch(cell)
    if parts:
        if parts[5]:
            return "half-day"
        return "parts3" if parts[3] else "parts2"
    if _ISO.fullmatch(cell):
        return "iso"
    if _ISO_BASIC.fullmatch(cell):
        return "iso basic"
    if _YEAR_FIRST.fullmatch(cell):
        return "year first"
    if _YEAR_LAST.fullmatch(cell):
        return "year last"
    if _MONTH_NAME.fullmatch(cell):
        return "month name"
    # One part alone is more often no time: a weight in "3 s" or "5 m" is none.
    if _DAYS_AND_CLOCK.fullmatch(cell) or _spelt_parts(cell) > 1:
        return "spelt"
    return ""


def _spelt_parts(cell: str) -> int:
    match = _SPELT.fullmatch(cell)
    return sum(part is not None for part in match.groups()) if match else 0


def _whole_minutes(cell: str) -> bool:
    match = _SPELT.fullmatch(cell)
    return match is not None and match[4] is None


def _spelt_seconds(cell: str) -> float | None:
    """Read ``1h 05m``, ``2h10m30s``, ``1d 02:03:04``; None of anything else. [s]."""
    text = cell.strip()
    match = _DAYS_AND_CLOCK.fullmatch(text) or _SPELT.fullmatch(text)
    if match is None or not any(match.groups()):
        return None
    days, hours, minutes, seconds = (int(part or 0) for part in match.groups())
    if minutes > 59 or seconds > 59:
        return None
    return 86400.0 * days + 3600.0 * hours + 60.0 * minutes + seconds


def _no_moment(cell: str) -> dt.datetime | None:
    return None


def _plain_number(cell: str) -> float | None:
    text = cell.strip()
    if not _NUMBER.fullmatch(text):
        return None
    value = float(text.replace(",", "."))
    return value if abs(value) < 1e16 else None


def _number_form(name: str, words: set[str], cells: Sequence[str], role: str) -> TimeForm:
    values = [value for value in map(_plain_number, _spread(cells)) if value is not None]
    if role == "time" and not words & (_MINUTE_WORDS | _HOUR_WORDS):
        for scale, unit in _UNIX_SCALES:
            if scale == 1.0 and words & _MILLISECOND_WORDS:
                continue
            low, high = (bound / scale for bound in _UNIX)
            inside = sum(1 for value in values if low <= value <= high)
            if 2 * inside > len(values):
                return _unix_form(low, high, scale, unit)
    if role == "serial days":
        return _serial_form()
    stated = {"elapsed s": 1.0, "elapsed min": 60.0, "elapsed h": 3600.0}.get(role)
    if stated is None and role not in ("time",):
        raise Undecided(
            f"The times are plain numbers, but {role!r} was stated.",
            "State 'elapsed s', 'elapsed min' or 'elapsed h' for this column.",
        )
    found = [
        (scale, unit)
        for unit_words, scale, unit in (
            (_MILLISECOND_WORDS, 1e-3, "milliseconds"),
            (_SECOND_WORDS, 1.0, "seconds"),
            (_MINUTE_WORDS, 60.0, "minutes"),
            (_HOUR_WORDS, 3600.0, "hours"),
        )
        if words & unit_words
    ]
    if stated is not None:
        scale = stated
        unit = {1.0: "seconds", 60.0: "minutes", 3600.0: "hours"}[scale]
        why = "as stated"
    elif len(found) == 1:
        scale, unit = found[0]
        why = f"as its heading '{name}' says"
    else:
        low, high = _SERIAL_DAYS
        days = values and all(low <= value <= high for value in values)
        hint = " They may also be the days of a spreadsheet: 'serial days'." if days else ""
        raise Undecided(
            "The times are plain numbers and no unit is stated.",
            f"Name the unit in the heading (for example 'time_s' or 'elapsed_min' instead of "
            f"'{name}'), or state columns={{'{name}': 'elapsed s'}}, 'elapsed min' or "
            f"'elapsed h'.{hint}",
            (*(("serial days",) if days else ()), "elapsed s", "elapsed min", "elapsed h"),
        )

    def seconds(cell: str) -> float | None:
        value = _plain_number(cell)
        return None if value is None else value * scale

    return TimeForm("elapsed", f"elapsed {unit}, {why}", seconds, _no_moment)


def _unix_form(low: float, high: float, scale: float, unit: str) -> TimeForm:
    def seconds(cell: str) -> float | None:
        value = _plain_number(cell)
        return value * scale if value is not None and low <= value <= high else None

    def moment(cell: str) -> dt.datetime | None:
        value = seconds(cell)
        return None if value is None else dt.datetime.fromtimestamp(value, tz=dt.UTC)

    origin = _EPOCH.replace(tzinfo=dt.UTC)
    return TimeForm("date", f"{unit} since 1970 (UTC)", seconds, moment, origin=origin)


def _serial_form() -> TimeForm:
    """Return the form of a spreadsheet's dates written as numbers: local days since 1899."""
    low, high = _SERIAL_DAYS

    def seconds(cell: str) -> float | None:
        value = _plain_number(cell)
        # A day to eleven digits: a microsecond; the rest is noise of the division.
        return round(value * DAY_S, 4) if value is not None and low <= value <= high else None

    def moment(cell: str) -> dt.datetime | None:
        value = seconds(cell)
        return None if value is None else _SERIAL_START + dt.timedelta(seconds=value)

    sentence = "days of a spreadsheet, local time without a zone, as stated"
    return TimeForm("date", sentence, seconds, moment, origin=_SERIAL_START)


def _parts_form(
    name: str, words: set[str], cells: Sequence[str], role: str, shape: str
) -> TimeForm:
    lowered = name.lower()
    first = _PARTS.fullmatch(cells[0])
    # 0:00:30 is as good a start as 0:00:00; a bare 0:30 may be minutes and seconds.
    zeros = (
        (first[1], first[2]) if shape == "parts3" and first else (first[1],) if first else ()
    )
    starts_at_zero = bool(zeros) and all(int(part) == 0 for part in zeros)
    hours_over = any(
        int(match[1]) > 23 for match in map(_PARTS.fullmatch, cells) if match is not None
    )
    says_elapsed = bool(words & _ELAPSED_WORDS)
    says_clock = bool(words & _CLOCK_WORDS)
    why = "as stated"
    if role in ("elapsed h:mm", "elapsed m:ss"):
        meaning = role
    elif role == "clock" or shape == "half-day":
        meaning = "clock"
        if shape == "half-day":
            why = "with a.m. and p.m."
    elif role != "time":
        raise Undecided(
            f"The times are written with colons, but {role!r} was stated.",
            "State 'clock', 'elapsed h:mm' or 'elapsed m:ss' for this column.",
        )
    elif re.search(r"h+:m+", lowered):
        meaning = (
            "clock"
            if re.search(r"hh:mm", lowered)
            and not (says_elapsed or hours_over or starts_at_zero)
            else "elapsed h:mm"
        )
        why = f"as its heading '{name}' says"
    elif re.search(r"m+:s+", lowered):
        meaning, why = "elapsed m:ss", f"as its heading '{name}' says"
    elif says_clock and not hours_over:
        meaning, why = "clock", f"as its heading '{name}' says"
    elif shape == "parts3" and (says_elapsed or hours_over or starts_at_zero):
        meaning = "elapsed h:mm"
        why = (
            f"as its heading '{name}' says"
            if says_elapsed
            else ("because hours pass 23" if hours_over else "because they start at zero")
        )
    elif says_elapsed or hours_over or (shape == "parts2" and starts_at_zero):
        raise Undecided(
            f"Times such as {cells[-1][:20]!a} may mean hours and minutes or minutes and "
            "seconds.",
            f"State columns={{'{name}': 'elapsed h:mm'}} or 'elapsed m:ss' (or 'clock' for a "
            "time of day), or write all three parts, h:mm:ss.",
            ("elapsed h:mm", "elapsed m:ss", *(() if hours_over else ("clock",))),
        )
    else:
        meaning, why = "clock", "because they start away from zero and stay below 24 h"
    if meaning == "clock":
        return TimeForm(
            "clock",
            f"time of day, {why}",
            _clock_seconds,
            _no_moment,
            whole_minutes=_no_seconds(cells),
        )
    minutes_first = meaning == "elapsed m:ss"

    def seconds(cell: str) -> float | None:
        match = _PARTS.fullmatch(cell.strip())
        if match is None or match[5] or int(match[2]) > 59 or int(match[3] or 0) > 59:
            return None
        fraction = float(f"0.{match[4]}") if match[4] else 0.0
        if match[3] is None and minutes_first:
            return int(match[1]) * 60.0 + int(match[2])
        return int(match[1]) * 3600.0 + int(match[2]) * 60.0 + int(match[3] or 0) + fraction

    words_of = "minutes and seconds" if minutes_first else "hours, minutes and seconds"
    if shape == "parts2" and not minutes_first:
        words_of = "hours and minutes"
    return TimeForm(
        "elapsed",
        f"elapsed {words_of}, {why}",
        seconds,
        _no_moment,
        whole_minutes=not minutes_first and _no_seconds(cells),
    )


def _no_seconds(cells: Sequence[str]) -> bool:
    return all(match is None or match[3] is None for match in map(_PARTS.fullmatch, cells))


def _clock_seconds(cell: str) -> float | None:
    match = _PARTS.fullmatch(cell.strip())
    if match is None:
        return None
    return _of_day(match[1], match[2], match[3], match[4], match[5])


def _of_day(
    hour: str, minute: str, second: str | None, fraction: str | None, half: str | None
) -> float | None:
    h, m, s = int(hour), int(minute), int(second or 0)
    if half:
        if not 1 <= h <= 12:
            return None
        h = h % 12 + (12 if half[0] in "pP" else 0)
    if h > 23 or m > 59 or s > 59:
        return None
    return h * 3600.0 + m * 60.0 + s + (float(f"0.{fraction}") if fraction else 0.0)


def _date_form(shape: str, cells: Sequence[str]) -> TimeForm:
    moment: _Moment
    if shape == "iso":
        moment, sentence = _iso_moment, "date and time, ISO 8601"
    elif shape == "iso basic":
        moment, sentence = _iso_basic_moment, "date and time, ISO 8601 without hyphens"
    elif shape == "year first":
        moment, sentence = _dated(_YEAR_FIRST, _year_first), "date and time, year first"
    elif shape == "month name":
        moment, sentence = (
            _dated(_MONTH_NAME, _month_name),
            "date and time with the month by name",
        )
    else:
        moment, sentence = _year_last_form(cells)
    base = next((found for found in map(moment, cells) if found is not None), None)
    if base is None:
        raise Undecided(
            f"The dates cannot exist (for example {cells[0][:40]!a}).",
            "Correct them, or write them as 2026-05-02T14:03:00.",
        )
    aware = base.tzinfo is not None
    if aware:
        sentence += f", zone {base.tzname() or base.utcoffset()}"
    else:
        sentence += ", local time without a zone"

    def same_kind(cell: str) -> dt.datetime | None:
        found = moment(cell)
        if found is None or (found.tzinfo is not None) != aware:
            return None
        return found

    def seconds(cell: str) -> float | None:
        found = same_kind(cell)
        return None if found is None else (found - base).total_seconds()

    # Cells without seconds matter only where several share a minute: a look at some is
    # enough to see that they have them.
    looked = [*cells[:_LOOK], *_spread(cells)]
    known = [found for found in map(moment, looked) if found is not None]
    bare = all(found.second == 0 and found.microsecond == 0 for found in known)
    try:
        origin = base.astimezone(dt.UTC) if aware else base
    except OverflowError:  # within a day of the ends of the calendar
        origin = base.replace(tzinfo=dt.UTC)
    return TimeForm("date", sentence, seconds, same_kind, bare, origin)


def _iso_moment(cell: str) -> dt.datetime | None:
    text = cell.strip()
    if not (text.isascii() and text[4:5] == "-" and text[10:11] in ("T", " ")):
        return None
    if text.endswith(("UTC", "GMT")):
        text = text[:-3].rstrip() + "+00:00"
    elif " " in text[11:]:
        text = text[:11] + text[11:].replace(" ", "")
    try:
        return dt.datetime.fromisoformat(text)
    except ValueError:
        return None


def _iso_basic_moment(cell: str) -> dt.datetime | None:
    match = _ISO_BASIC.fullmatch(cell.strip())
    if match is None:
        return None
    year, month, day, hour, minute, second, fraction, zone = match.groups(default="")
    return _iso_moment(f"{year}-{month}-{day}T{hour}:{minute}:{second or '00'}{fraction}{zone}")


def _dated(pattern: re.Pattern[str], date_of: Callable[[re.Match[str]], _Date]) -> _Moment:
    """Return how cells of a pattern that ends in a time of day are read."""

    def moment(cell: str) -> dt.datetime | None:
        match = pattern.fullmatch(cell.strip())
        of_day = None if match is None else _of_day(*match.groups()[-5:])
        if match is None or of_day is None:
            return None
        try:
            return dt.datetime(*date_of(match)) + dt.timedelta(seconds=of_day)
        except (ValueError, OverflowError):
            return None

    return moment


def _year_first(match: re.Match[str]) -> _Date:
    return int(match[1]), int(match[2]), int(match[3])


def _month_name(match: re.Match[str]) -> _Date:
    word = (match[2] or match[3]).lower()[:3]
    return int(match[5]), _MONTHS.index(word) + 1, int(match[1] or match[4])


def _day_first(match: re.Match[str]) -> _Date:
    year = int(match[4]) + (2000 if len(match[4]) == 2 else 0)
    return year, int(match[3]), int(match[1])


def _month_first(match: re.Match[str]) -> _Date:
    year, day, month = _day_first(match)
    return year, month, day


def _year_last_form(cells: Sequence[str]) -> tuple[_Moment, str]:
    matches = [match for match in map(_YEAR_LAST.fullmatch, cells) if match is not None]
    first = {int(match[1]) for match in matches}
    second = {int(match[3]) for match in matches}
    separators = {match[2] for match in matches}
    day_first = _dated(_YEAR_LAST, _day_first)
    month_first = _dated(_YEAR_LAST, _month_first)
    if separators == {"."}:
        return day_first, "date and time, day first"
    if max(first) > 12 and max(second) > 12:
        raise Undecided(
            "Some dates put the day first and some the month.",
            "Write all of them as 2026-05-02T14:03:00.",
        )
    if max(first) > 12:
        return day_first, "date and time, day first"
    if max(second) > 12:
        return month_first, "date and time, month first"
    if len(first) == 1 and len(second) == 1:
        sentence = (
            "date and time; day first was taken, because a single date cannot tell (only the "
            "printed date hangs on it)"
        )
        return day_first, sentence
    spans = []
    for moment in (day_first, month_first):
        times = [found for found in map(moment, cells) if found is not None]
        spans.append(max(times) - min(times) if times else dt.timedelta.max)
    if spans[0] == spans[1]:
        raise Undecided(
            "The dates do not show whether the day or the month comes first.",
            "Write them as 2026-05-02T14:03:00.",
        )
    if spans[0] < spans[1]:
        return day_first, "date and time, day first because the log is then the shorter"
    return month_first, "date and time, month first because the log is then the shorter"
