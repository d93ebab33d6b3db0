"""A document as text, and that a panel says the same words."""

from __future__ import annotations

import html
import re

import pytest

from coreward.errors import InputError
from coreward.reports.document import (
    Document,
    Facts,
    Heading,
    Lines,
    Listing,
    Paragraph,
    Picture,
    Table,
)
from coreward.reports.html_page import html_page, panel_html
from coreward.reports.pdf_pages import pdf_pages
from coreward.words import Degrees, Held, UnitChoice, say

LONG = "a sentence that is far too long for a column beside another of its kind"


def never_drawn(units: UnitChoice) -> object:
    raise AssertionError("text needs no picture")


def made(rows: int = 2) -> Document:
    hot = say("held {0} at {1}", Held(5700.0), Degrees(60.0))
    return Document(
        title="A title",
        lead=say("It is {0}.", Degrees(60.0)),
        caution=("Beware.",),
        blocks=(
            Picture(never_drawn, say("alt {0}", Degrees(60.0))),  # type: ignore[arg-type]
            Heading("Below"),
            Paragraph(say("Pull at {0}.", Degrees(71.0))),
            Lines(3),
            Facts((("core", Degrees(60.0)), ("a longer name", "x")), "The answer"),
            Listing(("light the fire", hot), "By the clock", boxes=True),
            Table(
                ("at", "what"), tuple((str(n), Degrees(60.0 + n)) for n in range(rows)), "Few"
            ),
            Table(("says", "why", "help"), (("met", LONG, LONG), ("not", "", hot)), "Wide"),
        ),
        sources=("A book.",),
        versions=(("Coreward", "0"), ("numpy", "9")),
        footer="Small print.",
    )


def test_the_answer_stands_first_and_everything_follows() -> None:
    assert made().text() == "\n\n".join(
        (
            "It is 60 °C.",
            "Beware.",
            "Below",
            "Pull at 71 °C.",
            "The answer\n  core           60 °C\n  a longer name  x",
            "By the clock\n  [ ] light the fire\n  [ ] held 1 h 35 min at 60 °C",
            "Few\n  at  what\n  0   60 °C\n  1   61 °C",
            f"Wide\n  met\n      why: {LONG}\n      help: {LONG}\n"
            "  not\n      help: held 1 h 35 min at 60 °C",
            "Sources\n  - A book.",
            "Coreward 0",
            "Small print.",
        )
    )


def test_the_readers_units_are_those_of_all_blocks() -> None:
    text = made().text("F")
    assert "°C" not in text
    assert "It is 140 °F." in text
    assert "held 1 h 35 min at 140 °F" in text
    with pytest.raises(InputError, match="units"):
        made().text("K")


def test_a_long_table_is_cut_and_says_so() -> None:
    assert (
        "39  99 °C\n  ... and 1 more; --json and the report list them all." in made(41).text()
    )
    assert "more;" not in made(40).text()
    short = panel_html(made(230), "C")
    assert "… and 30 more; the report lists them all." in short
    assert "289 °C" in html_page(made(230).__class__("t", "", made(230).blocks[1:]))


def test_terminal_panel_and_page_say_the_same_words() -> None:
    document = made()
    said = re.compile(r"held [^<\n]*|Pull at [^<\n]*")
    for units in ("C", "F"):
        words = set(said.findall(document.text(units)))
        assert len(words) == 2
        page = Document("t", document.lead, document.blocks[1:])
        for told in (panel_html(document, units), html_page(page, units)):
            assert words <= set(
                re.findall(r"held [^<\n]*|Pull at [^<\n]*", html.unescape(told))
            )


def test_what_is_said_aside_is_not_on_paper() -> None:
    body = tuple(Paragraph("word " * 60, "aside") for _ in range(60))
    assert "word" in html_page(Document("t", "", body))
    assert pdf_pages(Document("t", "", body)).count(b"/Type /Page\n") == 1
    plain = tuple(Paragraph("word " * 60, "small") for _ in range(60))
    assert pdf_pages(Document("t", "", plain)).count(b"/Type /Page\n") > 1
