"""Pictures of a verdict show what the verdict says."""

from __future__ import annotations

from collections.abc import Iterator

import matplotlib.pyplot as plt
import numpy as np
import pytest
from numpy.typing import NDArray

from coreward.questions.verdict import verdict
from coreward.questions.verdict.figure import figure_verdict
from coreward.words import shown


@pytest.fixture(autouse=True)
def _closes_figures() -> Iterator[None]:
    yield
    plt.close("all")


def _record(rise_h: float = 1.5, peak_c: float = 60.0) -> tuple[NDArray, NDArray]:
    time = np.arange(0.0, (rise_h + 0.5) * 3600.0, 60.0)
    return time, np.interp(time, [0.0, rise_h * 3600.0], [5.0, peak_c])


def _labels(ax: plt.Axes) -> list[str]:
    return [text.get_text() for text in ax.get_legend().get_texts()]


@pytest.mark.parametrize(("units", "top"), [("C", 60.0), ("F", 140.0)])
def test_the_curve_is_the_record_that_was_judged(units: str, top: float) -> None:
    answer = verdict(_record(), meat="beef")
    upper, lower = figure_verdict(answer, units=units).axes
    curve = upper.get_lines()[0]
    np.testing.assert_allclose(np.max(curve.get_ydata()), top)
    assert f"°{units}" in upper.get_ylabel()
    assert "log reduction" in lower.get_ylabel()


def test_every_deciding_standard_is_marked_with_its_answer() -> None:
    answer = verdict(_record(), meat="beef", surface="sealed bag")
    upper, _ = figure_verdict(answer).axes
    labels = _labels(upper)
    for item in answer.standards:
        named = f"{shown(item.title, 'C')}: {item.state}"
        assert (named in [label.replace("\n", " ") for label in labels]) == item.counts


def test_the_confident_curve_ends_at_the_confident_value() -> None:
    answer = verdict(_record(), meat="beef")
    _, lower = figure_verdict(answer).axes
    view = answer.integrals[0]
    line = next(li for li in lower.get_lines() if li.get_label() == f"{view.name}, 95 %")
    # The drawing stops at 12 log.
    assert line.get_ydata()[-1] == pytest.approx(min(view.confident, 12.0))


def test_a_late_come_up_is_drawn_as_a_caution() -> None:
    late = verdict(_record(rise_h=9.0), meat="beef")
    upper, _ = figure_verdict(late).axes
    assert any("past 6 h" in label for label in _labels(upper))
    assert "come-up limit" in _labels(upper)


def test_cooling_limits_are_drawn_once_the_record_cools() -> None:
    time = np.arange(0.0, 10 * 3600.0, 60.0)
    core = np.interp(time / 3600.0, [0, 2, 3, 4.8, 9], [5, 75, 57, 21, 4])
    upper, _ = figure_verdict(verdict((time, core), meat="beef")).axes
    assert any("stay below" in label for label in _labels(upper))
    upper, _ = figure_verdict(verdict(_record(), meat="beef")).axes
    assert not any("stay below" in label for label in _labels(upper))


def test_one_time_axis_carries_every_limit_on_the_history() -> None:
    time = np.arange(0.0, 14 * 3600.0, 60.0)
    hours = [0, 4, 5, 6.8, 10, 10.5, 12, 12.5, 14]
    core = np.interp(time / 3600.0, hours, [4, 75, 58, 20, 3, 3, 76, 77, 65])
    record = (time, core)
    upper, _ = figure_verdict(verdict(record, meat="pork", reheating=True)).axes
    labels = " | ".join(_labels(upper))
    for words in ("come-up band", "come-up limit", "stay below", "reheating: met"):
        assert words in labels
    assert labels.count("hot-holding floor: met") == 1
    floors = [li for li in upper.get_lines() if np.allclose(li.get_ydata(), 57.2222, atol=1e-3)]
    assert len(floors) == 2  # before and after the cold
    assert "growth range" in [text.get_text() for text in upper.texts]
    line = next(li for li in upper.get_lines() if "reheating" in str(li.get_label()))
    # From 5 °C up to 74 °C, and 2 h to the right.
    np.testing.assert_allclose(np.asarray(line.get_ydata()), [5.0, 74.0, 74.0])
    span = np.asarray(line.get_xdata())
    assert span[-1] - span[0] == pytest.approx(2.0)
    upper, _ = figure_verdict(verdict(record, meat="pork")).axes
    assert "reheating" not in " ".join(_labels(upper))


def test_the_hot_holding_floor_is_the_reading_that_was_asked_for() -> None:
    answer = verdict(_record(peak_c=62.0), meat="beef", probe_error_c=1.0)
    upper, _ = figure_verdict(answer, units="F").axes
    line = next(li for li in upper.get_lines() if "floor" in str(li.get_label()))
    np.testing.assert_allclose(line.get_ydata(), 135.0 + 1.8)  # 135 °F plus 1 K


def test_a_refused_record_still_draws() -> None:
    time, core = _record()
    answer = verdict((time, core * 1.8 + 32.0), meat="beef")
    assert len(figure_verdict(answer, units="F").axes) == 2
