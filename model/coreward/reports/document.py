"""What an answer says, before it is text, data, HTML, PDF or the words of a panel.

A document is a list of blocks: words, facts, tables, figures. Each question makes one of
its answer; the renderers know blocks and nothing of cooks. Whatever is said stays a
quantity or a sentence until `Document.shown` turns it into text in the reader's units.
"""

from __future__ import annotations

import csv
import hashlib
import io
import platform
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, fields, is_dataclass, replace
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from typing import TYPE_CHECKING, Any, Literal

import numpy as np
from numpy.typing import ArrayLike

import coreward
from coreward import cautions
from coreward.errors import InputError
from coreward.plain import as_data
from coreward.words import METRIC, Quantity, Text, UnitChoice, Units, as_units

if TYPE_CHECKING:
    from matplotlib.figure import Figure


_LIBRARIES = ("numpy", "scipy", "numba", "CoolProp", "matplotlib")
# A cell of a spreadsheet that begins with one of these is computed, not shown.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Heading:
    """A heading within the report."""

    words: Text


@dataclass(frozen=True)
class Paragraph:
    """Running words. `style` is "plain", "small", "strong" or "aside": not on paper."""

    words: Text
    style: Literal["plain", "small", "strong", "aside"] = "plain"


@dataclass(frozen=True)
class Facts:
    """Names and values side by side: the inputs of a cook, the numbers of an answer."""

    rows: tuple[tuple[str, Text], ...]
    title: Text = ""


@dataclass(frozen=True)
class Listing:
    """Sentences under each other. With `boxes` each has an empty box to tick.

    `small` ones run on, on paper: what has to stand there and is read once.
    """

    entries: tuple[Text, ...]
    title: Text = ""
    boxes: bool = False
    small: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under headings. Every row has as many cells as there are headings."""

    columns: tuple[Text, ...]
    """Headings, with units."""
    rows: tuple[tuple[Text, ...], ...]
    title: Text = ""
    widths: tuple[float, ...] = ()
    """Relative widths on paper; alike when empty."""
    on_paper: int | None = None
    """Columns that pages and panels show; those beyond are for a terminal."""

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.columns)]
        if wrong or (self.widths and len(self.widths) != len(self.columns)):
            raise InputError(
                f"The table '{self.title!s}' has {len(self.columns)} headings; every row and "
                "the widths need as many."
            )


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure with its words: `alt` for those who cannot see it.

    `figure` draws it in the reader's `units`, and only when something shows pictures.
    """

    figure: Callable[[UnitChoice], Figure] | Figure
    alt: Text | Callable[[UnitChoice], str]
    caption: str = ""
    units: UnitChoice | None = None

    def drawn(self) -> Figure:
        """Return the figure, drawn under the settings of a report."""
        if not callable(self.figure):
            return self.figure
        # Late: what needs no picture does not load the drawing library.
        from coreward.reports.pictures import drawing

        with drawing():
            return self.figure(self.units or METRIC)


@dataclass(frozen=True)
class Finding:
    """MET, NOT MET or CANNOT TELL: large, in words and in shape, with why and what would help.

    Pages show it in place of the lead, which it repeats.
    """

    state: Literal["met", "not met", "cannot tell"]
    """One of "met", "not met" or "cannot tell"."""
    lead: Text
    """Target and assumptions in a sentence."""
    why: Text = ""
    """What decided."""
    change: Text = ""
    """The one thing that would change it; empty for nothing."""


@dataclass(frozen=True)
class Form:
    """Who, where and what, two beside each other; what is not known is a line to fill in."""

    rows: tuple[tuple[str, Text], ...]


@dataclass(frozen=True)
class Signatures:
    """Lines to sign on, beside each other, with what stands under each."""

    names: tuple[str, ...]


@dataclass(frozen=True)
class Lines:
    """Empty lines to write on."""

    count: int = 3


@dataclass(frozen=True)
class PageBreak:
    """What follows begins a new page on paper."""


Block = (
    Heading
    | Paragraph
    | Facts
    | Listing
    | Table
    | Picture
    | Finding
    | Form
    | Signatures
    | Lines
    | PageBreak
)


@dataclass(frozen=True)
class Data:
    """A file of numbers that goes with the report."""

    name: str
    """File name with suffix."""
    text: str
    """What the file holds."""
    note: str = ""
    """One sentence on what it is."""


@dataclass(frozen=True)
class Document:
    """All that is said of an answer."""

    title: Text
    lead: Text
    """What it is about, and the answer in a sentence or two."""
    blocks: tuple[Block, ...]
    """The body, in order."""
    caution: tuple[str, ...] = ()
    """What the answer does not say; shown right after the lead."""
    code: str | Callable[[], str] = ""
    """Lines of Python that repeat it, or what makes them; see `repeat`. A page shows them only
    where `shows_code` is set."""
    files: tuple[Data, ...] | Callable[[], tuple[Data, ...]] = ()
    """Files that go with it, or what makes them; see `attached`."""
    sources: tuple[str, ...] = ()
    """Everything the numbers stand on."""
    versions: tuple[tuple[str, str], ...] = ()
    """What computed it."""
    footer: str = ""
    """Small print under everything."""
    answer: Any = field(default=None, repr=False)
    """What it was made of."""
    numbers: Mapping[str, Any] = field(default_factory=dict, repr=False)
    """What the data holds besides the fields of the answer."""
    shows_code: bool = False

    def filled(self, entries: Mapping[str, str]) -> Document:
        """Return it with entries in its form, such as ``{"Kitchen": "Village hall"}``.

        Raises
        ------
        InputError
            If its form has no such entry.
        """
        forms = [block for block in self.blocks if isinstance(block, Form)]
        known = [name for form in forms for name, _ in form.rows]
        foreign = [name for name in entries if name not in known]
        if foreign:
            raise InputError(
                f"This report has no entry {', '.join(map(repr, foreign))}; "
                f"{'it has none' if not known else 'use ' + ', '.join(known)}."
            )
        blocks = tuple(
            Form(tuple((name, entries.get(name, value)) for name, value in block.rows))
            if isinstance(block, Form)
            else block
            for block in self.blocks
        )
        return replace(self, blocks=blocks)

    @property
    def opening(self) -> Text:
        """The lead, unless a block says it."""
        return "" if any(isinstance(block, Finding) for block in self.blocks) else self.lead

    def shown(self, units: Units = METRIC) -> Document:
        """Return it with every sentence as text in the reader's units.

        Raises
        ------
        InputError
            If the units are none.
        """
        choice = as_units(units)
        kept = {name: getattr(self, name) for name in ("title", "lead", "blocks")}
        return replace(
            self, **{name: shown_block(value, choice) for name, value in kept.items()}
        )

    def repeat(self) -> str:
        """Return the lines of Python that repeat it."""
        return self.code() if callable(self.code) else self.code

    def attached(self) -> tuple[Data, ...]:
        """Return the files that go with it."""
        return self.files() if callable(self.files) else self.files

    def text(self, units: Units = METRIC) -> str:
        """Return it as text for a terminal, without pictures."""
        from coreward.reports.text_page import text_page

        return text_page(self.shown(units))

    def data(self, units: Units = METRIC) -> dict[str, Any]:
        """Return the answer as plain data for JSON: numbers in SI and °C, as keys say."""
        found = as_data(self.answer, units) if is_dataclass(self.answer) else {}
        return {**found, **as_data(self.numbers, units)}


def shown_block(value: Any, units: UnitChoice) -> Any:
    """Return a block, or anything in one, with its sentences as text."""
    if isinstance(value, Quantity):
        return value.shown(units)
    if isinstance(value, tuple):
        return tuple(shown_block(each, units) for each in value)
    if isinstance(value, Picture):
        alt = value.alt(units) if callable(value.alt) else shown_block(value.alt, units)
        return replace(value, units=value.units or units, alt=alt)
    if is_dataclass(value) and not isinstance(value, type):
        said = {one.name: shown_block(getattr(value, one.name), units) for one in fields(value)}
        return replace(value, **said)
    return value


CAUTION = cautions.REPORT
"""What every report says that has no caution of its own."""


def for_paper(table: Table) -> Table:
    """Return a table with the columns that pages and panels show."""
    most = table.on_paper
    if most is None:
        return table
    rows = tuple(row[:most] for row in table.rows)
    return Table(table.columns[:most], rows, table.title, table.widths[:most])


def first_rows(block: Block, most: int) -> tuple[Block, int]:
    """Return a table or list with its first rows only, and how many were left off."""
    name = {Table: "rows", Listing: "entries"}.get(type(block), "")
    rows = getattr(block, name, ())
    return (replace(block, **{name: rows[:most]}) if rows else block), max(len(rows) - most, 0)


@lru_cache(maxsize=1)
def versions() -> tuple[tuple[str, str], ...]:
    """Return what computes here: package, tables, Python and libraries.

    No date and no machine: two reports of the same cook by the same versions are the same
    file, byte for byte.
    """
    libraries = []
    for name in _LIBRARIES:
        try:
            libraries.append((name, version(name)))
        except PackageNotFoundError:
            libraries.append((name, "not installed"))
    return (
        ("Coreward", coreward.__version__),
        ("tables of constants", tables_digest()),
        ("Python", platform.python_version()),
        *libraries,
    )


@lru_cache(maxsize=1)
def tables_digest() -> str:
    """Return the first letters of a SHA-256 over every table of constants."""
    digest = hashlib.sha256()
    folder = files("coreward.tables")
    for place in (folder, folder.joinpath("standards_data")):
        entries = sorted(
            (entry for entry in place.iterdir() if entry.name.endswith((".toml", ".csv"))),
            key=lambda entry: entry.name,
        )
        for entry in entries:
            # A checkout on Windows may have other line ends; the numbers are the same.
            content = entry.read_bytes().replace(b"\r\n", b"\n")
            digest.update(entry.name.encode() + b"\0" + content + b"\0")
    return digest.hexdigest()[:12]


def table_of(
    title: Text,
    columns: Sequence[Text],
    rows: Iterable[Sequence[Text | float]],
    widths: Sequence[float] = (),
) -> Table:
    """Return a table of anything that can be said."""
    cells = (
        tuple(cell if isinstance(cell, (str, Quantity)) else str(cell) for cell in row)
        for row in rows
    )
    return Table(tuple(columns), tuple(cells), title, tuple(map(float, widths)))


def data_of(name: str, columns: Mapping[str, ArrayLike], note: str = "") -> Data:
    """Return columns of equal length as CSV: one row of names, then numbers.

    Parameters
    ----------
    columns : mapping
        Heading with its unit (``time_s``, ``core_c``) to values; text stays text.
    note : str
        Also the first line of the file, after ``#``.
    """
    values = [_cells(column) for column in columns.values()]
    if len({len(column) for column in values}) > 1:
        raise InputError(f"The columns of '{name}' are not equally long.")
    out = io.StringIO()
    if note:
        out.write(f"# {' '.join(note.split())}\n")
    writer = csv.writer(out, lineterminator="\n")
    writer.writerow([_plain(heading) for heading in columns])
    writer.writerows(zip(*values, strict=True))
    return Data(name, out.getvalue(), note)


def _cells(column: ArrayLike) -> list[str]:
    array = np.asarray(column)
    if np.issubdtype(array.dtype, np.floating):
        # Every digit: what is repeated from the file is then the same, and not nearly so.
        return ["" if value != value else repr(value) for value in array.tolist()]
    return [_plain(str(value)) for value in array.tolist()]


def _plain(text: str) -> str:
    """Keep a spreadsheet from taking a label for a formula."""
    return f"'{text}" if text.startswith(_FORMULA_STARTS) and not _is_number(text) else text


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True
