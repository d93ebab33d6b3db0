"""A report as PDF pages, made without a browser, a network or a system package.

The letters are those that matplotlib brings along, so that a page looks the same
everywhere. They hold Latin, Greek, Cyrillic, Hebrew and Arabic, and no East Asian script:
a letter that is missing is shown as an empty box, and the last line of the report says so.
"""

from __future__ import annotations

import datetime as dt
import io
from functools import singledispatchmethod
from importlib.resources import files
from pathlib import Path
from typing import Any, Final

from fpdf import FPDF
from fpdf.enums import TableBordersLayout, TableHeadingsDisplay, WrapMode
from fpdf.fonts import FontFace

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
    for_paper,
)
from coreward.reports.pictures import png_bytes
from coreward.words import METRIC, Text, Units

_FONTS: Final = {
    ("body", ""): "DejaVuSans.ttf",
    ("body", "B"): "DejaVuSans-Bold.ttf",
    ("code", ""): "DejaVuSansMono.ttf",
}
_INK: Final = 30
_QUIET: Final = 80
_RULE: Final = 120
_SIZE: Final = 9.5
_SMALL: Final = 8.0
_LINE: Final = 4.9
"""Height of a line of body text. [mm]"""
_MARGIN: Final = 16.0
_MISSING: Final = "\u25a1"
_LONGEST_CELL: Final = 700
"""A longer cell is continued in a row of its own: a row cannot be split over pages."""


class _Pages(FPDF):
    """A page with our running foot."""

    def __init__(self, title: Text) -> None:
        super().__init__(format="A4")
        self._running = str(title)
        self.missing: set[str] = set()
        folder = Path(str(files("matplotlib"))) / "mpl-data" / "fonts" / "ttf"
        for (family, style), name in _FONTS.items():
            self.add_font(family, style, folder / name)
        # The start of the computer's calendar stands for no date: the same report is the
        # same file.
        self.set_creation_date(dt.datetime.fromtimestamp(0, dt.UTC))
        self.set_producer("")
        self.set_title(self.known(title))
        self.set_lang("en-GB")
        self.set_margins(_MARGIN, _MARGIN, _MARGIN)
        self.set_auto_page_break(True, margin=15)
        self.alias_nb_pages()
        self.add_page()

    def known(self, text: object) -> str:
        """Return text with the letters that the font lacks shown as a box."""
        body: Any = self.fonts["body"]
        shown = []
        for letter in str(text):
            if letter in "\n\t":
                shown.append(letter if letter == "\n" else "    ")
            elif ord(letter) < 32:
                continue
            elif ord(letter) in body.cmap:
                shown.append(letter)
            else:
                self.missing.add(letter)
                shown.append(_MISSING)
        return "".join(shown)

    def footer(self) -> None:
        """Write what the report is and which page, at the foot."""
        self.set_y(-12)
        self.set_font("body", "", 7)
        self.set_text_color(_QUIET)
        running = self.known(" ".join(self._running.split()))
        if len(running) > 90:
            running = running[:89] + "…"
        self.cell(0, 4, running, align="L")
        self.set_x(self.l_margin)
        self.cell(0, 4, f"page {self.page_no()} of {{nb}}", align="R")
        self.set_text_color(_INK)


class _Writer:
    """Puts blocks on pages, one under the other."""

    def __init__(self, document: Document) -> None:
        self.pdf = _Pages(document.title)
        self.document = document
        self.pdf.set_text_color(_INK)
        self.pdf.set_draw_color(_RULE)

    @property
    def width(self) -> float:
        """Width between the margins. [mm]."""
        return float(self.pdf.epw)

    def text(
        self, words: Text, size: float = _SIZE, style: str = "", indent: float = 0.0
    ) -> None:
        """Write a paragraph."""
        self.pdf.set_font("body", style, size)
        self.pdf.set_x(self.pdf.l_margin + indent)
        self.pdf.multi_cell(
            self.width - indent,
            _LINE * size / _SIZE,
            self.pdf.known(words),
            align="L",
            new_x="LMARGIN",
            new_y="NEXT",
        )

    def gap(self, height: float = 2.0) -> None:
        """Leave room."""
        self.pdf.ln(height)

    def need(self, height: float) -> None:
        """Begin a new page unless there is this much room. [mm]."""
        if self.pdf.will_page_break(height):
            self.pdf.add_page()

    def heading(self, words: Text) -> None:
        """Write a heading that does not stay alone at the foot of a page."""
        self.need(18.0)
        self.gap(2.5)
        self.text(words, 11.5, "B")
        self.gap(0.8)

    def write(self) -> bytes:
        """Write the whole report."""
        document = self.document
        self.text(document.title, 16, "B")
        self.gap(1.0)
        y = self.pdf.get_y()
        for offset in (0.0, 0.9):
            self.pdf.line(
                self.pdf.l_margin, y + offset, self.pdf.l_margin + self.width, y + offset
            )
        self.gap(3.5)
        if document.opening:
            self.text(document.opening, 10.5)
        if document.caution:
            self._caution(document.caution)
        for block in document.blocks:
            self.put(block)
        if attached := document.attached():
            self._data(attached)
        if document.shows_code and (code := document.repeat()):
            self.heading("To repeat it")
            self._code(code)
        if document.sources:
            self.heading("Sources")
            self._entries(document.sources, size=_SMALL)
        if document.versions:
            self.heading("Computed with")
            words = ", ".join(f"{name} {number}" for name, number in document.versions)
            self.text(words, _SMALL)
        if document.footer:
            self.gap()
            self.text(document.footer, _SMALL)
        if self.pdf.missing:
            self.gap()
            self.text(
                f"{len(self.pdf.missing)} different letters are not in the font of these pages "
                f"and are shown as {_MISSING}; the HTML form of this report has them.",
                _SMALL,
            )
        return bytes(self.pdf.output())

    def _caution(self, sentences: tuple[str, ...]) -> None:
        words = "\n".join(sentences)
        self.pdf.set_font("body", "", 9)
        lines: Any = self.pdf.multi_cell(
            self.width - 6, 4.6, self.pdf.known(words), dry_run=True, output="LINES", align="L"
        )
        height = 4.6 * (len(lines) + 1) + 4.0
        self.gap(2.5)
        self.need(height + 2.0)
        top = self.pdf.get_y()
        self.pdf.set_fill_color(245)
        self.pdf.rect(self.pdf.l_margin, top, self.width, height, style="DF")
        self.pdf.set_fill_color(_INK)
        self.pdf.rect(self.pdf.l_margin, top, 2.2, height, style="F")
        self.pdf.set_y(top + 2.0)
        self.text("Caution", 9, "B", indent=6)
        self.text(words, 9, indent=6)
        self.pdf.set_y(top + height)
        self.gap(3.0)

    def _data(self, data: tuple[Data, ...]) -> None:
        self.heading("Data")
        for each in data:
            self.pdf.embed_file(
                bytes=each.text.encode("utf-8"),
                basename=self.pdf.known(each.name),
                desc=self.pdf.known(each.note),
            )
        self._entries(
            tuple(
                f"{each.name} (attached to this file)" + (f". {each.note}" if each.note else "")
                for each in data
            )
        )

    def _code(self, code: str) -> None:
        self.pdf.set_font("code", "", 7.5)
        self.pdf.set_fill_color(245)
        self.pdf.multi_cell(
            self.width,
            3.7,
            self.pdf.known(code.rstrip("\n")),
            align="L",
            fill=True,
            new_x="LMARGIN",
            new_y="NEXT",
            wrapmode=WrapMode.CHAR,
        )

    def _entries(self, entries: tuple[Text, ...], mark: str = "–", size: float = _SIZE) -> None:
        for entry in entries:
            self.need(6.0)
            top = self.pdf.get_y()
            self.pdf.set_font("body", "", size)
            self.pdf.cell(5, _LINE * size / _SIZE, mark)
            self.pdf.set_y(top)
            self.text(entry, size, indent=5)
            self.gap(0.4)

    def _table(
        self,
        title: str,
        columns: tuple[str, ...],
        rows: tuple[tuple[str, ...], ...],
        widths: tuple[float, ...],
        height: float = 3.9,
    ) -> None:
        self.need(24.0)
        self.gap(2.0)
        if title:
            self.text(title, 10, "B")
            self.gap(0.8)
        self.pdf.set_font("body", "", _SMALL)
        self.pdf.set_draw_color(_RULE)
        self.pdf.set_fill_color(255)
        # Without headings the first row is a row like the others.
        shown = [columns, *_cut(rows)] if any(columns) else _cut(rows)
        if not shown:
            return
        with self.pdf.table(
            shown,
            borders_layout=TableBordersLayout.HORIZONTAL_LINES,
            col_widths=widths or None,
            first_row_as_headings=any(columns),
            headings_style=FontFace(emphasis="BOLD"),
            line_height=height,
            padding=(0.7, 1.2, 0.7, 0.0),
            align="LEFT",
            text_align="LEFT",
            v_align="TOP",
            repeat_headings=TableHeadingsDisplay.ON_TOP_OF_EVERY_PAGE,
            width=self.width,
        ):
            pass
        self.gap(1.5)

    @singledispatchmethod
    def put(self, block: Block) -> None:
        """Write one block."""
        raise TypeError(f"there is no PDF for a {type(block).__name__}")

    @put.register
    def _(self, block: Heading) -> None:
        self.heading(block.words)

    @put.register
    def _(self, block: Paragraph) -> None:
        if block.style == "aside":
            return
        size = _SMALL if block.style == "small" else _SIZE
        self.text(block.words, size, "B" if block.style == "strong" else "")
        self.gap(1.5)

    @put.register
    def _(self, block: Facts) -> None:
        rows = tuple((self.pdf.known(a), self.pdf.known(b)) for a, b in block.rows)
        self._table(self.pdf.known(block.title), ("", ""), rows, (36.0, 64.0))

    @put.register
    def _(self, block: Listing) -> None:
        if block.title:
            self.heading(block.title)
        if block.small:
            self.text(" ".join(map(str, block.entries)), _SMALL)
        else:
            self._entries(block.entries, "☐" if block.boxes else "–")
        self.gap(1.0)

    @put.register
    def _(self, block: Table) -> None:
        known, block = self.pdf.known, for_paper(block)
        self._table(
            known(block.title),
            tuple(known(column) for column in block.columns),
            tuple(tuple(known(cell) for cell in row) for row in block.rows),
            block.widths,
        )

    @put.register
    def _(self, block: Picture) -> None:
        figure = block.drawn()
        inches = figure.get_size_inches()
        height = self.width * float(inches[1] / inches[0])
        room = float(self.pdf.h - 2 * _MARGIN - 18.0)
        width = self.width * min(1.0, room / height)
        self.gap(2.0)
        self.need(min(height, room) + 6.0)
        picture = io.BytesIO(png_bytes(figure))
        self.pdf.image(picture, w=width, alt_text=self.pdf.known(block.alt))
        self.gap(1.0)
        if block.caption:
            self.text(block.caption, _SMALL)
        self.gap(1.5)

    @put.register
    def _(self, block: Finding) -> None:
        pdf = self.pdf
        self.gap(1.5)
        self.need(30.0)
        left, top, size = pdf.l_margin, pdf.get_y(), 13.0
        self._sign(block.state, left + 0.5 * size, top + 0.5 * size, 0.46 * size)
        pdf.set_xy(left + size + 4.0, top + 1.5)
        pdf.set_font("body", "B", 25)
        pdf.cell(0, 10.0, block.state.upper(), new_x="LMARGIN", new_y="NEXT")
        pdf.set_y(top + size + 1.0)
        self.text(" ".join(filter(None, (str(block.lead), str(block.why)))))
        if block.change:
            self.gap(0.8)
            self.text("What would change it", style="B")
            self.text(block.change)
        self.gap(1.5)

    def _sign(self, state: str, x: float, y: float, r: float) -> None:
        """Draw ring with tick, octagon with cross, or broken diamond with question mark."""
        pdf = self.pdf
        pdf.set_draw_color(_INK)
        pdf.set_line_width(1.1)
        if state == "met":
            pdf.circle(x, y, r)
            pdf.polyline(
                [(x - 0.45 * r, y), (x - 0.1 * r, y + 0.4 * r), (x + 0.5 * r, y - 0.4 * r)]
            )
        elif state == "not met":
            pdf.set_fill_color(_INK)
            a = 0.42 * r
            pdf.polygon(
                [
                    (x + i, y + j)
                    for i, j in (
                        (-a, -r),
                        (a, -r),
                        (r, -a),
                        (r, a),
                        (a, r),
                        (-a, r),
                        (-r, a),
                        (-r, -a),
                    )
                ],
                style="DF",
            )
            pdf.set_draw_color(255)
            pdf.line(x - a, y - a, x + a, y + a)
            pdf.line(x - a, y + a, x + a, y - a)
        else:
            pdf.set_dash_pattern(1.8, 1.0)
            pdf.polygon([(x, y - r), (x + r, y), (x, y + r), (x - r, y)])
            pdf.set_dash_pattern()
            pdf.set_font("body", "B", 17)
            pdf.set_xy(x - r, y - 3.4)
            pdf.cell(2 * r, 7.0, "?", align="C")
        pdf.set_draw_color(_RULE)
        pdf.set_line_width(0.2)

    @put.register
    def _(self, block: Form) -> None:
        known = self.pdf.known
        cells = [cell for name, value in block.rows for cell in (known(name), known(value))]
        cells += [""] * (-len(cells) % 4)
        rows = tuple(tuple(cells[i : i + 4]) for i in range(0, len(cells), 4))
        self._table("", ("", "", "", ""), rows, (15.0, 35.0, 15.0, 35.0), height=4.6)

    @put.register
    def _(self, block: Signatures) -> None:
        self.need(22.0)
        self.gap(13.0)
        top, apart = self.pdf.get_y(), 6.0
        wide = (self.width - apart * (len(block.names) - 1)) / len(block.names)
        self.pdf.set_draw_color(_INK)
        self.pdf.set_font("body", "", _SMALL)
        for number, name in enumerate(block.names):
            x = self.pdf.l_margin + number * (wide + apart)
            self.pdf.line(x, top, x + wide, top)
            self.pdf.set_xy(x, top + 1.0)
            self.pdf.cell(wide, 4.0, self.pdf.known(name))
        self.pdf.set_draw_color(_RULE)
        self.pdf.set_xy(self.pdf.l_margin, top + 6.0)

    @put.register
    def _(self, block: Lines) -> None:
        self.gap(1.0)
        # Lines that belong together stay together.
        self.need(min(9.0 * block.count, 100.0))
        for _ in range(block.count):
            self.need(9.0)
            self.gap(8.0)
            y = self.pdf.get_y()
            self.pdf.line(self.pdf.l_margin, y, self.pdf.l_margin + self.width, y)
        self.gap(4.0)

    @put.register
    def _(self, block: PageBreak) -> None:
        self.pdf.add_page()


def _cut(rows: tuple[tuple[str, ...], ...]) -> list[tuple[str, ...]]:
    """Continue very long cells in further rows."""
    shown: list[tuple[str, ...]] = []
    for row in rows:
        longest = max((len(cell) for cell in row), default=0)
        shown += [
            tuple(cell[start : start + _LONGEST_CELL] for cell in row)
            for start in range(0, max(longest, 1), _LONGEST_CELL)
        ]
    return shown


def pdf_pages(document: Document, units: Units = METRIC) -> bytes:
    """Return a report as PDF."""
    return _Writer(document.shown(units)).write()
