"""A report as one HTML file that needs nothing else: no network, no script, no font file."""

from __future__ import annotations

import base64
import html
from functools import singledispatch
from typing import Final

from coreward.drawing.style import PALETTE
from coreward.reports.cards import CARDS, look
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Facts,
    Finding,
    Form,
    Heading,
    Lines,
    Listing,
    PageBreak,
    Paragraph,
    Picture,
    Signatures,
    Table,
    first_rows,
    for_paper,
    shown_block,
)
from coreward.reports.pictures import svg_text
from coreward.words import METRIC, Text, Units, as_units

_MOST_ROWS: Final = 200

# The page may load nothing and run nothing, whatever a label smuggles in.
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"

_STYLE: Final = (
    f":root {{ --ink: {PALETTE['text']}; --accent: {PALETTE['core']}; }}\n"
    f"{look(__file__)}{CARDS}"
)


def html_page(document: Document, units: Units = METRIC) -> str:
    """Return a report as an HTML page.

    Everything that came from outside (labels, file names, sentences) is escaped, and the
    page forbids itself to load or run anything.
    """
    document = document.shown(units)
    parts = [
        "<!DOCTYPE html>",
        '<html lang="en-GB">',
        "<head>",
        '<meta charset="utf-8">',
        f'<meta http-equiv="Content-Security-Policy" content="{_POLICY}">',
        '<meta name="viewport" content="width=device-width, initial-scale=1">',
        f"<title>{_safe(document.title)}</title>",
        f"<style>{_STYLE}</style>",
        "</head>",
        "<body>",
        "<main>",
        f"<h1>{_safe(document.title)}</h1>",
    ]
    if document.opening:
        parts.append(f'<p class="lead">{_safe(document.opening)}</p>')
    if document.caution:
        words = "".join(f"<p>{_safe(sentence)}</p>" for sentence in document.caution)
        parts.append(
            f'<div class="caution" role="note"><p class="strong">Caution</p>{words}</div>'
        )
    for number, block in enumerate(document.blocks):
        parts.append(_block_html(block, f"b{number}-"))
    if attached := document.attached():
        parts.append("<h2>Data</h2>")
        parts.append(f"<ul>{''.join(_data_html(data) for data in attached)}</ul>")
    if document.shows_code and (code := document.repeat()):
        parts.append("<h2>To repeat it</h2>")
        parts.append(f"<pre><code>{_safe(code)}</code></pre>")
    if document.sources:
        parts.append("<h2>Sources</h2>")
        parts.append(_list_html(document.sources))
    if document.versions:
        words = ", ".join(f"{name} {number}" for name, number in document.versions)
        parts.append(f'<h2>Computed with</h2><p class="small">{_safe(words)}</p>')
    parts.append("</main>")
    if document.footer:
        parts.append(f"<footer><p>{_safe(document.footer)}</p></footer>")
    parts += ["</body>", "</html>", ""]
    return "\n".join(parts)


def _safe(text: object) -> str:
    return html.escape(_without_controls(str(text)), quote=True)


def _without_controls(text: str) -> str:
    """Drop what no page may hold: control characters other than line ends and tabs."""
    return "".join(letter for letter in text if letter in "\n\t" or ord(letter) >= 32)


def _list_html(entries: tuple[Text, ...], css: str = "") -> str:
    marked = f' class="{css}"' if css else ""
    return f"<ul{marked}>{''.join(f'<li>{_safe(entry)}</li>' for entry in entries)}</ul>"


def _data_html(data: Data) -> str:
    content = base64.b64encode(data.text.encode("utf-8")).decode("ascii")
    # Named as text for every kind: a browser saves it, and opens nothing.
    kind = "text/csv" if data.name.endswith(".csv") else "text/plain"
    note = f". {_safe(data.note)}" if data.note else ""
    return (
        f'<li><a download="{_safe(data.name)}" '
        f'href="data:{kind};charset=utf-8;base64,{content}">{_safe(data.name)}</a>{note}</li>'
    )


def block_html(block: Block, units: Units = METRIC) -> str:
    """Return one block as a piece of HTML, for a notebook."""
    return _block_html(shown_block(block, as_units(units)), "")


def panel_html(document: Document, units: Units) -> str:
    """Return what a panel says below its picture: the caution and every block, in order.

    Long tables scroll there, and what is longer still is cut short: the report has it all.
    """
    caution = " ".join(document.caution)
    parts = [
        f'<div class="coreward-caution" role="note"><b>Caution.</b> {_safe(caution)}</div>'
        if caution
        else ""
    ]
    for block in document.blocks:
        if not isinstance(block, Picture):
            first, left = first_rows(block, _MOST_ROWS)
            parts.append(block_html(first, units))
            parts.append(
                f"<p>… and {left} more; the report lists them all.</p>" if left else ""
            )
    parts.append(sources_html(document.sources))
    return "".join(parts)


def sources_html(sources: tuple[str, ...]) -> str:
    """Return what a panel says of its sources, folded."""
    if not sources:
        return ""
    return f"<details><summary>Sources</summary>{_list_html(sources)}</details>"


@singledispatch
def _block_html(block: Block, prefix: str) -> str:
    raise TypeError(f"there is no HTML for a {type(block).__name__}")


@_block_html.register
def _(block: Heading, prefix: str) -> str:
    return f"<h2>{_safe(block.words)}</h2>"


@_block_html.register
def _(block: Paragraph, prefix: str) -> str:
    return f'<p class="{block.style}">{_safe(block.words)}</p>'


@_block_html.register
def _(block: Facts, prefix: str) -> str:
    title = f"<caption>{_safe(block.title)}</caption>" if block.title else ""
    rows = "".join(
        f'<tr><th scope="row">{_safe(name)}</th><td>{_safe(value)}</td></tr>'
        for name, value in block.rows
    )
    return (
        f'<div class="wide"><table class="facts coreward-table">{title}'
        f"<tbody>{rows}</tbody></table></div>"
    )


@_block_html.register
def _(block: Listing, prefix: str) -> str:
    title = f"<h2>{_safe(block.title)}</h2>" if block.title else ""
    return title + _list_html(
        block.entries, "boxes" if block.boxes else "small" if block.small else ""
    )


@_block_html.register
def _(block: Table, prefix: str) -> str:
    block = for_paper(block)
    title = f"<caption>{_safe(block.title)}</caption>" if block.title else ""
    head = "".join(f'<th scope="col">{_safe(column)}</th>' for column in block.columns)
    heads = [_safe(column) for column in block.columns]

    def cell(name: str, value: Text) -> str:
        return f'<td data-head="{name}">{_safe(value)}</td>'

    rows = "\n".join(f"<tr>{''.join(map(cell, heads, row))}</tr>" for row in block.rows)
    many = "many " if len(block.columns) > 3 else ""
    return (
        f'<div class="wide coreward-scroll" tabindex="0"><table class="{many}coreward-table">'
        f"{title}<thead><tr>{head}</tr></thead><tbody>{rows}</tbody></table></div>"
    )


@_block_html.register
def _(block: Picture, prefix: str) -> str:
    drawn = svg_text(block.drawn(), prefix)
    label = f'<svg role="img" aria-label="{_safe(block.alt)}"'
    drawn = drawn.replace("<svg", label, 1)
    caption = f"<figcaption>{_safe(block.caption)}</figcaption>" if block.caption else ""
    return f"<figure>{drawn}{caption}</figure>"


@_block_html.register
def _(block: Finding, prefix: str) -> str:
    colour, shape = _SIGNS[block.state]
    change = (
        '<p style="border:2px solid currentColor;border-radius:6px;padding:8px 12px;'
        f'margin:8px 0 4px"><b>What would change it</b><br>{_safe(block.change)}</p>'
        if block.change
        else ""
    )
    sign = (
        f'<svg viewBox="0 0 64 64" width="64" height="64" aria-hidden="true" fill="none" '
        f'stroke="{colour}" stroke-width="6" style="flex:none">{shape}</svg>'
    )
    return (
        f'<div class="finding" data-state="{block.state}" style="margin:8px 0">'
        f'<div style="display:flex;align-items:center;gap:16px;color:{colour}">{sign}'
        '<b style="font-size:clamp(37px,5vw,56px);line-height:1.1">'
        f"{block.state.upper()}</b></div>"
        f'<p style="font-size:18px;line-height:1.4;margin:8px 0">{_safe(block.lead)} '
        f"{_safe(block.why)}</p>"
        f"{change}</div>"
    )


# Ring with tick, octagon with cross, broken diamond with question mark: told apart on grey
# paper, and by whoever sees no colours.
_SIGNS: Final = {
    "met": (
        "#20262b",
        '<circle cx="32" cy="32" r="27"/><path d="M20 33l9 9 16-19"/>',
    ),
    "not met": (
        "#a3200f",
        '<path fill="#a3200f" d="M21 5h22l16 16v22l-16 16h-22l-16-16v-22z"/>'
        '<path stroke="#ffffff" d="M22 22l20 20M42 22l-20 20"/>',
    ),
    "cannot tell": (
        "#7a4300",
        '<path stroke-width="4" stroke-dasharray="9 5" d="M32 4l28 28-28 28-28-28z"/>'
        '<path stroke-width="5" d="M25 27q0-8 7-8t7 7q0 5-7 8v4M32 43v4"/>',
    ),
}


@_block_html.register
def _(block: Form, prefix: str) -> str:
    rows = "".join(
        f"<div><dt>{_safe(name)}</dt><dd>{_safe(value)}</dd></div>"
        for name, value in block.rows
    )
    return f'<dl class="form">{rows}</dl>'


@_block_html.register
def _(block: Signatures, prefix: str) -> str:
    lines = "".join(f"<div>{_safe(name)}</div>" for name in block.names)
    return f'<div class="signatures">{lines}</div>'


@_block_html.register
def _(block: Lines, prefix: str) -> str:
    return f'<div class="lines" aria-hidden="true">{"<div></div>" * block.count}</div>'


@_block_html.register
def _(block: PageBreak, prefix: str) -> str:
    return '<div class="break"></div>'
