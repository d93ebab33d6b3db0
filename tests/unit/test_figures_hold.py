"""Pictures of a hold: drawn, alive, and in the shown units."""

from __future__ import annotations

import math

import numpy as np
import pytest

from coreward.questions.hold.answer import HoldTime
from coreward.questions.verdict import Verdict, verdict
from coreward.questions.verdict.hold_figure import HoldPicture, figure_thickness, letters
from support.pictures import is_drawn

KINETICS = "salmonella beef guideline"


def judged(peak_c: float, hold_min: float, **more: object) -> Verdict:
    time = np.arange(0.0, 60.0 * (90.0 + hold_min) + 1.0, 30.0)
    core = np.interp(time, [0.0, 5400.0], [5.0, peak_c])
    return verdict((time, core), meat="beef", organism=KINETICS, **more)  # type: ignore[arg-type]


def test_letters_follow_the_standards_that_decide() -> None:
    answer = judged(62.0, 10.0)
    counting = [item.name for item in answer.standards if item.counts]
    assert list(letters(answer)) == counting
    assert "".join(letters(answer).values()) == "ABCDEFGH"[: len(counting)]


def test_the_picture_moves_with_the_cook_and_comes_back_the_same() -> None:
    drawing = HoldPicture()
    first = drawing.update(judged(62.0, 10.0), KINETICS)
    assert is_drawn(first)
    mark = drawing.ax_map.get_lines()[-1].get_xydata()
    second = drawing.update(judged(62.0, 60.0), KINETICS)
    moved = drawing.ax_map.get_lines()[-1].get_xydata()
    assert first != second
    # Six times the hold: the mark goes up on the map, at about the same temperature.
    assert moved[0][1] > mark[0][1]  # type: ignore[index]
    # What was drawn in between leaves no trace: the restored part is the drawn one.
    assert drawing.update(judged(62.0, 10.0), KINETICS) == first
    assert HoldPicture().update(judged(62.0, 10.0), KINETICS) == first


def test_units_organism_and_a_kept_cook_change_the_picture() -> None:
    drawing = HoldPicture()
    answer = judged(62.0, 10.0)
    seen = {
        drawing.update(answer, KINETICS),
        drawing.update(answer, KINETICS, "F"),
        drawing.update(answer, "listeria beef 30% fat"),
        drawing.update(answer, KINETICS, kept=judged(58.0, 60.0)),
    }
    assert len(seen) == 4
    drawing.update(answer, KINETICS, "F")
    assert "°F" in drawing.ax_map.get_xlabel()
    assert "°F" in drawing.ax_history.get_ylabel()


@pytest.mark.parametrize(("peak_c", "hold_min"), [(40.0, 0.0), (55.0, 300.0), (100.0, 600.0)])
def test_histories_at_the_edges_are_drawn(peak_c: float, hold_min: float) -> None:
    assert is_drawn(HoldPicture().update(judged(peak_c, hold_min), KINETICS))


def test_a_history_with_holes_is_drawn() -> None:
    time = np.arange(0.0, 7201.0, 30.0)
    core = np.interp(time, [0.0, 5400.0], [5.0, 63.0])
    core[100:130] = np.nan
    answer = verdict((time, core), meat="beef", organism=KINETICS)
    assert is_drawn(HoldPicture().update(answer, KINETICS))


def cell(thickness_m: float, around_c: float, enough_s: float, late: bool) -> HoldTime:
    return HoldTime(thickness_m, around_c, enough_s, 3600.0, late)


def test_the_map_by_thickness_has_a_line_for_each_and_marks_the_late() -> None:
    cells = [
        cell(0.02, 57.0, 7200.0, False),
        cell(0.02, 60.0, 3600.0, False),
        cell(0.1, 57.0, 40000.0, True),
        cell(0.1, 60.0, 30000.0, False),
        cell(0.2, 57.0, math.inf, False),
    ]
    figure = figure_thickness(
        cells, standard="us meat 6.5 log", mark=cell(0.03, 58.0, 5000.0, False), units="F"
    )
    ax = figure.axes[0]
    words = [text.get_text() for text in ax.texts]
    assert words == ["0.8 in", "3.9 in"]
    lines = [line.get_xydata() for line in ax.get_lines()]
    np.testing.assert_allclose(lines[0][:, 1], [2.0, 1.0])  # type: ignore[index]
    late = next(line for line in ax.get_lines() if line.get_marker() == "x")
    np.testing.assert_allclose(late.get_xydata()[:, 0], [134.6])  # type: ignore[index]
    assert "°F" in ax.get_xlabel()


def test_a_map_on_which_nothing_is_ever_enough_is_still_a_picture() -> None:
    figure = figure_thickness([cell(0.02, 50.0, math.inf, False)], standard="x", around="air")
    assert figure.axes[0].get_xlabel().startswith("air")
