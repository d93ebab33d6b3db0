"""What a report is made of, before it is HTML or PDF.

A report is a list of blocks: words, facts, tables, figures. The renderers know blocks
and nothing of cooks; `coreward.reports.things` knows cooks and nothing of renderers.
"""

from __future__ import annotations

import csv
import hashlib
import io
import platform
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from importlib.metadata import PackageNotFoundError, version
from importlib.resources import files
from typing import Literal

import numpy as np
from matplotlib.figure import Figure
from numpy.typing import ArrayLike

import coreward
from coreward import cautions
from coreward.errors import InputError
from coreward.words import Quantity, Text, Units, shown

_LIBRARIES = ("numpy", "scipy", "numba", "CoolProp", "matplotlib")
# A cell of a spreadsheet that begins with one of these is computed, not shown.
_FORMULA_STARTS = ("=", "+", "-", "@", "\t", "\r")


@dataclass(frozen=True)
class Heading:
    """A heading within the report."""

    words: str


@dataclass(frozen=True)
class Paragraph:
    """Running words. `style` is "plain", "small" or "strong"."""

    words: str
    style: Literal["plain", "small", "strong"] = "plain"


@dataclass(frozen=True)
class Facts:
    """Names and values side by side: the inputs of a cook, the numbers of an answer."""

    rows: tuple[tuple[str, str], ...]
    title: str = ""


@dataclass(frozen=True)
class Listing:
    """Sentences under each other. With `boxes` each has an empty box to tick."""

    entries: tuple[str, ...]
    title: str = ""
    boxes: bool = False


@dataclass(frozen=True)
class Table:
    """Rows under headings. Every row has as many cells as there are headings.

    Attributes
    ----------
    columns : tuple of str
        Headings, with units.
    rows : tuple of tuple of str
    title : str
    widths : tuple of float, optional
        Relative widths on paper; alike when empty.
    """

    columns: tuple[str, ...]
    rows: tuple[tuple[str, ...], ...]
    title: str = ""
    widths: tuple[float, ...] = ()

    def __post_init__(self) -> None:
        wrong = [row for row in self.rows if len(row) != len(self.columns)]
        if wrong or (self.widths and len(self.widths) != len(self.columns)):
            raise InputError(
                f"The table {self.title!r} has {len(self.columns)} headings; every row and the "
                "widths need as many."
            )


@dataclass(frozen=True, eq=False)
class Picture:
    """A figure with its words: `alt` for those who cannot see it."""

    figure: Figure
    alt: str
    caption: str = ""


@dataclass(frozen=True)
class Lines:
    """Empty lines to write on."""

    count: int = 3


@dataclass(frozen=True)
class PageBreak:
    """What follows begins a new page on paper."""


Block = Heading | Paragraph | Facts | Listing | Table | Picture | Lines | PageBreak


@dataclass(frozen=True)
class Data:
    """A file of numbers that goes with the report.

    Attributes
    ----------
    name : str
        File name with suffix.
    text : str
        What the file holds.
    note : str
        One sentence on what it is.
    """

    name: str
    text: str
    note: str = ""


@dataclass(frozen=True)
class Document:
    """A whole report.

    Attributes
    ----------
    title, lead : str
        What it is about, and the answer in a sentence or two.
    blocks : tuple of Block
        The body, in order.
    caution : tuple of str
        What the answer does not say; shown right after the lead.
    code : str
        Lines of Python that repeat it.
    data : tuple of Data
        Files that go with it.
    sources : tuple of str
        Everything the numbers stand on.
    versions : tuple of (str, str)
        What computed it.
    footer : str
        Small print under everything.
    """

    title: str
    lead: str
    blocks: tuple[Block, ...]
    caution: tuple[str, ...] = ()
    code: str = ""
    data: tuple[Data, ...] = ()
    sources: tuple[str, ...] = ()
    versions: tuple[tuple[str, str], ...] = ()
    footer: str = ""


CAUTION = cautions.REPORT
"""What every report says that has no caution of its own."""


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
    title: str,
    columns: Sequence[Text],
    rows: Iterable[Sequence[Text | float]],
    widths: Sequence[float] = (),
    units: Units = "C",
) -> Table:
    """Return a table of anything that can be said, in the reader's units."""
    return Table(
        tuple(shown(head, units) for head in columns),
        tuple(tuple(_cell(cell, units) for cell in row) for row in rows),
        title,
        tuple(float(width) for width in widths),
    )


def _cell(value: Text | float, units: Units) -> str:
    return shown(value, units) if isinstance(value, (str, Quantity)) else str(value)


def facts_of(title: str, rows: Iterable[tuple[str, Text]], units: Units) -> Facts:
    """Return names and values side by side, in the reader's units."""
    return Facts(tuple((name, shown(value, units)) for name, value in rows), title)


def listing_of(title: str, entries: Iterable[Text], units: Units) -> Listing:
    """Return sentences under each other, in the reader's units."""
    return Listing(tuple(shown(entry, units) for entry in entries), title)


def data_of(name: str, columns: Mapping[str, ArrayLike], note: str = "") -> Data:
    """Return columns of equal length as CSV: one row of names, then numbers.

    Parameters
    ----------
    name : str
        File name.
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
