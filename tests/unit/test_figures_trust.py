"""Pictures and tables of trust show every row, and say which are outside."""

from __future__ import annotations

import dataclasses
import math

import numpy as np
import pytest

from coreward.evidence import trust
from coreward.evidence.trust import figure as figures


@pytest.fixture(scope="module")
def rows() -> tuple[trust.TrustRow, ...]:
    with np.errstate(all="raise", under="ignore"):
        return trust.trust_table(["properties", "yield"])


def test_every_row_is_a_point(rows: tuple[trust.TrustRow, ...]) -> None:
    ax = figures.figure_trust(rows).axes[0]
    assert len(ax.lines) == len(rows)
    assert len(ax.get_yticklabels()) == 2
    texts = {text.get_text() for text in ax.get_legend().get_texts()}
    assert texts == {"inside", "outside"}


def test_points_lie_where_their_verdict_says(rows: tuple[trust.TrustRow, ...]) -> None:
    ax = figures.figure_trust(rows).axes[0]
    for line, row in zip(ax.lines, rows, strict=True):
        within = bool(abs(line.get_xdata()[0]) <= 1.0)
        assert within is (row.verdict == "inside"), row.case


def test_what_was_never_reached_sits_on_the_edge(rows: tuple[trust.TrustRow, ...]) -> None:
    lost = dataclasses.replace(rows[0], computed=(math.nan, math.nan))
    ax = figures.figure_trust((lost,)).axes[0]
    assert ax.lines[0].get_marker() == ">"


def test_table_can_show_the_misses_alone(rows: tuple[trust.TrustRow, ...]) -> None:
    outside = sum(row.verdict == "outside" for row in rows)
    everything, misses = figures.html_table(rows), figures.html_table(rows, verdict="outside")
    assert everything.count("<td>inside</td>") == len(rows) - outside
    assert misses.count("<b>outside</b>") == everything.count("<b>outside</b>") == outside
    assert "<td>inside</td>" not in misses


def test_closures_are_drawn_and_told() -> None:
    cooks = trust.CLOSURE_COOKS[:1]
    rows = trust.compare_closures(cooks, ("expulsion", "swelling_pressure"))
    figure = figures.figure_closures(rows, "F")
    assert len(figure.axes[0].lines) == 2
    assert "225 °F" in figure.axes[0].get_title(loc="left")
    words = figures.closures_in_words(rows).splitlines()
    assert [line.split(":")[0] for line in words] == ["expulsion", "swelling_pressure"]
    assert "in 1 of 1 cooks" in words[0]
    assert "slowed most at a core of 75 °C" in words[1]


def test_carryover_shows_all_three() -> None:
    cases = trust.carryover_cases()
    ax = figures.figure_carryover(cases).axes[0]
    measured, ours, dry = (line.get_xdata() for line in ax.lines)
    assert list(measured) == [case.measured_k for case in cases]
    assert (np.asarray(ours) < np.asarray(dry)).all()
