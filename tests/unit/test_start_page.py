"""The page of questions: every card has a picture that was computed, and a link."""

from __future__ import annotations

import base64
import re
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from coreward.errors import InputError
from coreward.pages import start as start
from coreward.pages.start import CARDS, Card, StartPage, start_page

NOTEBOOKS = Path(__file__).parents[2] / "notebooks"


@pytest.fixture(scope="module")
def page() -> StartPage:
    return start_page("C")


def test_every_question_has_a_picture_and_a_page(page: StartPage) -> None:
    shown = page._repr_html_()
    assert page.problems == {}
    assert re.findall(r'href="([\w-]+)\.ipynb"', shown) == [card.page for card in CARDS]
    pictures = re.findall(r'src="data:image/svg\+xml;base64,([^"]+)"', shown)
    assert len(pictures) == len(CARDS)
    for picture in pictures:
        ET.fromstring(base64.b64decode(picture))
    assert all(alt for alt in re.findall(r'alt="([^"]*)"', shown))
    for card in CARDS:
        assert card.question in repr(page)


def test_the_answers_are_in_the_units_chosen() -> None:
    by_page = {card.page: card for card in CARDS}
    from coreward.words import as_units

    for name in ("why-the-stall", "rest-and-carryover", "is-this-hold-enough"):
        words = by_page[name].answer(as_units("F")).words.shown("F")
        assert "°F" in words
        assert "°C" not in words


def test_one_answer_that_fails_leaves_the_others(monkeypatch: pytest.MonkeyPatch) -> None:
    def fails(units: object) -> start.Answer:
        raise InputError("nothing <here>")

    cards = (Card("Why?", "why-the-stall", fails), CARDS[-1])
    monkeypatch.setattr(start, "CARDS", cards)
    page = start_page("C")
    assert page.problems == {"why-the-stall": "nothing <here>"}
    shown = page._repr_html_()
    assert "nothing &lt;here&gt;" in shown
    assert 'href="why-the-stall.ipynb"' in shown
    assert shown.count("<img") == 1


def test_the_start_notebook_names_every_page() -> None:
    source = (NOTEBOOKS / "start.ipynb").read_text(encoding="utf-8")
    for card in CARDS:
        assert f"({card.page}.ipynb)" in source


def test_every_page_has_a_card_and_every_card_a_page() -> None:
    there = {path.stem for path in NOTEBOOKS.glob("*.ipynb")} - {"start"}
    assert {card.page for card in CARDS} == there
