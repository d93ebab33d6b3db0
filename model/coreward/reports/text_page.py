"""A document as text for a terminal: the answer first, and no pictures."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from functools import singledispatch
from typing import Final

from coreward.reports.document import (
    Block,
    Document,
    Facts,
    Finding,
    Heading,
    Listing,
    Paragraph,
    Table,
    first_rows,
)
from coreward.words import Text

_WIDEST: Final = 100
_MOST_ROWS: Final = 40


def text_page(document: Document) -> str:
    """Return a document, already in the reader's units, as text."""
    parts = [str(document.lead), "\n".join(document.caution)]
    for block in document.blocks:
        first, left = first_rows(block, _MOST_ROWS)
        parts.append("\n".join(_lines(first)))
        parts[-1] += f"\n  ... and {left} more; --json and the report list them all." * bool(
            left
        )
    parts.append("\n".join(_listed("Sources", document.sources)))
    parts.append(" ".join(document.versions[0]) if document.versions else "")
    parts.append(document.footer)
    return "\n\n".join(part for part in parts if part)


@singledispatch
def _lines(block: Block) -> Iterator[str]:
    # Pictures, and what is only for paper.
    yield from ()


@_lines.register(Heading)
@_lines.register(Paragraph)
def _(block: Heading | Paragraph) -> Iterator[str]:
    yield str(block.words)


@_lines.register
def _(block: Finding) -> Iterator[str]:
    yield f"{block.state.upper()}. {block.why}"
    yield from [f"  What would change it: {block.change}"] * bool(block.change)


@_lines.register
def _(block: Facts) -> Iterator[str]:
    yield from [str(block.title)] * bool(block.title)
    wide = max((len(name) for name, _ in block.rows), default=0)
    yield from (f"  {name:<{wide}}  {value}" for name, value in block.rows)


@_lines.register
def _(block: Listing) -> Iterator[str]:
    yield from _listed(block.title, block.entries, "[ ]" if block.boxes else "-")


def _listed(title: Text, entries: Iterable[Text], mark: str = "-") -> Iterator[str]:
    found = [f"  {mark} {entry}" for entry in entries]
    yield from [str(title)] * bool(title and found)
    yield from found


@_lines.register
def _(block: Table) -> Iterator[str]:
    yield from [str(block.title)] * bool(block.title)
    rows = [[str(cell) for cell in row] for row in (block.columns, *block.rows)]
    wide = [max(map(len, column)) for column in zip(*rows, strict=True)]
    if sum(wide) + 2 * len(wide) <= _WIDEST:
        for row in rows:
            padded = (f"{cell:<{room}}" for cell, room in zip(row, wide, strict=True))
            yield f"  {'  '.join(padded)}".rstrip()
        return
    # Too wide for a terminal: a row is a paragraph, a cell a line with its heading.
    for row in rows[1:]:
        yield f"  {row[0]}"
        cells = zip(rows[0][1:], row[1:], strict=True)
        yield from (f"      {head}: {cell}" for head, cell in cells if cell)
