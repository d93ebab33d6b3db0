"""What is said of an answer, as text and as data."""

from __future__ import annotations

from typing import Any

from coreward.reports.things import document_of


def text_of(answer: Any, units: str = "C") -> str:
    """All that is said of an answer, as on the command line."""
    return document_of(answer).text(units)


def numbers_of(answer: Any, units: str = "C") -> dict[str, Any]:
    """The data of an answer, as for a program."""
    return document_of(answer).data(units)
