"""How a credit of kill is said, and what no table covers."""

from __future__ import annotations

import numpy as np
import pytest

from coreward import tables
from coreward.questions.verdict import verdict
from coreward.questions.verdict.kill import amount
from coreward.words import shown


@pytest.mark.parametrize(
    ("value", "unit", "words"),
    [
        # Rounded down; minutes are those at the anchor of the table that counts in them.
        (2.38, "minutes", "2.3 min at 70 °C"),
        (6.49, "log10", "6.4 log"),
        (12.0, "log10", "12.0 log"),
        (13.0, "log10", "over 12 log"),
    ],
)
def test_a_credit_is_said_in_its_unit(value: float, unit: str, words: str) -> None:
    assert shown(amount(value, unit), "C") == words


def test_what_outlives_all_cooking_is_what_the_table_says() -> None:
    time = np.arange(0.0, 10_000.0, 60.0)
    answer = verdict((time, np.interp(time, [0.0, 6000.0], [4.0, 75.0])), meat="beef")
    said = [shown(text, "C") for text in answer.blind_spots]
    assert said[-2:] == [
        "Spores of Clostridium perfringens survive all cooking here; cooling decides about "
        "them.",
        "Staphylococcal toxin and the emetic toxin of Bacillus cereus survive cooking.",
    ]
    known = (tables.load("growth", name) for name in tables.names("growth"))
    assert set(said[-2:]) == {one.text("outlives_cooking") for one in known}
