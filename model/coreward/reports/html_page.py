"""A report as one HTML file that needs nothing else: no network, no script, no font file."""

from __future__ import annotations

import base64
import html
from functools import singledispatch
from typing import Final

from coreward.drawing.style import PALETTE
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Facts,
    Heading,
    Lines,
    Listing,
    PageBreak,
    Paragraph,
    Picture,
    Table,
    first_rows,
    shown_block,
)
from coreward.reports.pictures import svg_text
from coreward.words import METRIC, Text, Units, as_units

_INK: Final = PALETTE["text"]
_ACCENT: Final = PALETTE["core"]
_MOST_ROWS: Final = 200

# The page may load nothing and run nothing, whatever a label smuggles in.
_POLICY: Final = "default-src 'none'; style-src 'unsafe-inline'; img-src data:"

_STYLE: Final = f"""
:root {{ color-scheme: light; }}
body {{ margin: 0 auto; padding: 1.6rem 1.2rem 3rem; max-width: 60rem; color: {_INK};
  background: #ffffff; font: 16px/1.5 Georgia, "DejaVu Serif", serif; }}
h1 {{ font-size: 1.7rem; line-height: 1.2; margin: 0 0 .6rem; padding-bottom: .5rem;
  border-bottom: 4px double {_ACCENT}; }}
h2 {{ font-size: 1.15rem; margin: 1.8rem 0 .4rem; }}
p, li {{ overflow-wrap: anywhere; }}
td, th {{ overflow-wrap: break-word; }}
.lead {{ font-size: 1.1rem; }}
.strong {{ font-weight: bold; }}
.small, .aside, footer, figcaption {{ font-size: .85rem; color: #454c52; }}
.caution {{ border: 2px solid {_INK}; border-left-width: 10px; padding: .3rem .8rem;
  margin: 1rem 0; background: #f6f4ef; }}
.caution p {{ margin: .3rem 0; }}
table {{ border-collapse: collapse; width: 100%; font-size: .86rem; line-height: 1.35; }}
caption {{ text-align: left; font-weight: bold; padding: .2rem 0; font-size: 1.05rem; }}
th, td {{ border-bottom: 1px solid #b9c0c6; padding: .25rem .6rem .25rem 0; text-align: left;
  vertical-align: top; }}
thead th {{ border-bottom: 2px solid {_INK}; }}
.facts th {{ font-weight: normal; width: 34%; color: #454c52; }}
.wide {{ overflow-x: auto; margin: 1rem 0; }}
.many {{ min-width: 42rem; }}
figure {{ margin: 1.2rem 0; }}
figure svg {{ width: 100%; height: auto; max-width: 100%; }}
pre {{ background: #f4f5f6; border-left: 4px solid #8c949b; padding: .6rem .8rem;
  overflow-x: auto; font: .82rem/1.4 "DejaVu Sans Mono", monospace; white-space: pre-wrap;
  overflow-wrap: anywhere; }}
ul.boxes {{ list-style: none; padding-left: .2rem; }}
ul.boxes li::before {{ content: "\\2610\\a0\\a0"; font-family: "DejaVu Sans", sans-serif; }}
.lines div {{ border-bottom: 1px solid #6d757c; height: 1.9rem; }}
a {{ color: #1d5c8f; }}
@page {{ size: A4; margin: 16mm 15mm 18mm; }}
@media print {{
  body {{ max-width: none; padding: 0; font-size: 10.5pt; }}
  .many {{ min-width: 0; }}
  figure, .caution, tr, pre {{ break-inside: avoid; }}
  h2, caption {{ break-after: avoid; }}
  thead {{ display: table-header-group; }}
  .break {{ break-before: page; }}
  .caution, pre {{ background: none; }}
  a {{ color: {_INK}; }}
}}
@media (max-width: 32rem) {{ body {{ font-size: 15px; }} }}
"""


def html_page(document: Document, units: Units = METRIC) -> str:
    """Return a report as an HTML page.

    Everything that came from outside (labels, file names, sentences) is escaped, and the
    page forbids itself to load or run anything.

    Parameters
    ----------
    document : Document
    units : str or UnitChoice
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
    if document.lead:
        parts.append(f'<p class="lead">{_safe(document.lead)}</p>')
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
    if code := document.repeat():
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
    if document.sources:
        listed = _list_html(document.sources)
        parts.append(f"<details><summary>Sources</summary>{listed}</details>")
    return "".join(parts)


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
    return title + _list_html(block.entries, "boxes" if block.boxes else "")


@_block_html.register
def _(block: Table, prefix: str) -> str:
    title = f"<caption>{_safe(block.title)}</caption>" if block.title else ""
    head = "".join(f'<th scope="col">{_safe(column)}</th>' for column in block.columns)
    rows = "\n".join(
        f"<tr>{''.join(f'<td>{_safe(cell)}</td>' for cell in row)}</tr>" for row in block.rows
    )
    # On a phone a table of many columns is pushed sideways, not squeezed to letters.
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
def _(block: Lines, prefix: str) -> str:
    return f'<div class="lines" aria-hidden="true">{"<div></div>" * block.count}</div>'


@_block_html.register
def _(block: PageBreak, prefix: str) -> str:
    return '<div class="break"></div>'
