"""What is said of a cooling in each of its outcomes, with its numbers."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest

from coreward.logs.log import Channel, ProbeLog
from coreward.questions.verdict import verdict
from coreward.questions.verdict.answer import NOTHING_MORE
from coreward.words import Held, Needed, shown

HOUR = 3600.0
GROWTH = "Growth of Clostridium perfringens without lag, an upper bound that decides nothing: "
FASTER = "chill faster: thinner pieces, moving cold air or an ice bath, unpacked"


def cooling(end_h: float, end_c: float, *, at_h: float = 0.0, **more: Any):
    """Cooked to 80 °C by 3 h, then straight down to a temperature; its two cooling limits.

    With `at_h` the reading stays at 40 °C for so long on the way.
    """
    down = 3.5 + 0.4
    hours = [0.0, 3.0, 3.5, down, down + at_h, down + at_h + end_h]
    time = np.arange(0.0, hours[-1] * HOUR + 1.0, 60.0)
    celsius = np.interp(time / HOUR, hours, [4.0, 80.0, 80.0, 40.0, 40.0, end_c])
    log = ProbeLog(time, None, (Channel("T1", "meat", celsius),), **more)
    answer = verdict(log, meat="beef", surface="sealed bag", cooling=True, new_piece_s=())
    found = [item for item in answer.limits if item.kind == "cooling"]
    assert [(item.from_c, item.to_c) for item in found] == [
        (pytest.approx(57.222, abs=0.001), pytest.approx(21.111, abs=0.001)),
        (pytest.approx(57.222, abs=0.001), pytest.approx(5.0)),
    ]
    return found


def words(item: Any, low: str, limit: str) -> str:
    text = shown(item.text, "C")
    for start in ("Not through yet: ", "An unknown time passed in it: "):
        text = text.removeprefix(start)
    begin = f"{Needed(item.elapsed_s).shown('C')} between 57.3 °C and {low} after lethality at "
    assert text.startswith(f"{begin}the hottest probe or place, limit {limit}. {GROWTH}")
    return shown(item.enough, "C")


def test_a_cooling_in_time_is_said_with_its_hours() -> None:
    first, second = cooling(1.5, 3.0)
    assert (first.state, second.state) == ("met", "met")
    # From 57.2 °C at 23 K of 100 K/h to 40 °C, then to 21.1 and to 5 °C at 24.7 K/h; the
    # minutes at either end may be in it, and a kelvin of the probe's error.
    by_hand = 17.2 / 100.0 + 18.9 / (37.0 / 1.5)
    assert first.elapsed_s == pytest.approx(by_hand * HOUR, abs=0.1 * HOUR)
    assert words(first, "21.1 °C", "2 h") == NOTHING_MORE
    assert words(second, "5 °C", "6 h") == NOTHING_MORE


def test_a_cooling_past_its_limit_is_said_with_its_hours() -> None:
    first, second = cooling(1.5, 3.0, at_h=3.0)
    assert (first.state, second.state) == ("not met", "met")
    assert first.elapsed_s == pytest.approx((3.0 + 0.94) * HOUR, abs=0.1 * HOUR)
    assert words(first, "21.1 °C", "2 h") == FASTER


def test_a_cooling_that_is_not_through_says_until_when() -> None:
    for item, low, limit in zip(
        cooling(0.5, 30.0), ("21.1 °C", "5 °C"), ("2 h", "6 h"), strict=True
    ):
        assert item.state == "cannot tell"
        assert shown(item.text, "C").startswith("Not through yet: ")
        spare = Held(item.limit_s - item.elapsed_s).shown("C")
        assert words(item, low, limit) == f"be at {low} within {spare}"


def test_an_unknown_time_in_a_cooling_is_said() -> None:
    for item, low, limit in zip(
        cooling(1.5, 3.0, unknown_spans=((4.0 * HOUR, 4.0 * HOUR + 60.0),)),
        ("21.1 °C", "5 °C"),
        ("2 h", "6 h"),
        strict=True,
    ):
        assert item.state == "cannot tell"
        assert shown(item.text, "C").startswith("An unknown time passed in it: ")
        assert words(item, low, limit) == f"{FASTER}; log it without a break"


def nearly_lethal(error_c: float, dwell_h: float):
    """To 64 °C for 20 minutes, a dwell at 56 °C, then hot."""
    hours = [0.0, 2.0, 2.34, 2.6, 2.6 + dwell_h, 3.0 + dwell_h, 5.0 + dwell_h]
    time = np.arange(0.0, hours[-1] * HOUR + 1.0, 60.0)
    celsius = np.interp(time / HOUR, hours, [4.0, 64.0, 64.0, 56.0, 56.0, 75.0, 75.0])
    log = ProbeLog(time, None, (Channel("T1", "meat", celsius),))
    return verdict(
        log, meat="beef", surface="sealed bag", new_piece_s=(), probe_error_c=error_c
    )


def test_a_hold_that_may_have_been_lethal_counts_as_a_stay_from_then_on() -> None:
    # 65.5 °C (the reading and 1.5 K) for 20 minutes is lethal (65 °C, 14 min), 62.5 °C is
    # not (62.8 °C, 3 min): then 3 h at 56 °C may be a stay, and are no come-up.
    doubtful = nearly_lethal(1.5, 3.0)
    assert doubtful.state == "cannot tell"
    stays = [item for item in doubtful.limits if item.kind == "cooling" and item.counts]
    assert {item.state for item in stays} == {"cannot tell"}
    assert {item.surely_s for item in stays} == {0.0}
    for stay in stays:
        assert stay.elapsed_s == pytest.approx(3.3 * HOUR, abs=0.3 * HOUR)
        said = "between when lethality may have been reached and when it surely was"
        assert said in shown(stay.text, "C")
    # Shorter than the limit, or with a probe that tells: nothing is lost.
    assert nearly_lethal(1.5, 1.0).state == "met"
    assert nearly_lethal(0.1, 3.0).state == "met"


@pytest.mark.parametrize(
    ("lying_c", "put_in_c", "state"),
    [
        (20.0, 22.0, "cannot tell"),
        (17.0, 19.0, "met"),
        (18.0, 18.4, "met"),
        (19.2, 19.3, "cannot tell"),
    ],
)
def test_a_probe_that_lay_about_begins_where_it_was_put_in(
    lying_c: float, put_in_c: float, state: str
) -> None:
    seconds = np.arange(0.0, 6.0 * HOUR, 30.0)
    cook = np.interp(seconds / HOUR, [0.0, 1.0, 4.0, 6.0], [0.0, 0.0, 60.0, 60.0]) + put_in_c
    celsius = np.where(seconds < HOUR, lying_c, cook)
    log = ProbeLog(seconds, None, (Channel("T1", "meat", celsius),))
    answer = verdict(
        log, meat="beef", surface="sealed bag", new_piece_s=(), probes={"T1": "meat"}
    )
    assert answer.state == state
    if lying_c == 20.0:
        (come_up,) = [item for item in answer.limits if item.kind == "come-up"]
        # Two minutes after the last reading of the kitchen, at 20 K/h.
        assert "The record begins at 22.5 °C; the come-up before it is not known" in shown(
            come_up.text, "C"
        )


@pytest.mark.parametrize(("silent_c", "state"), [(30.0, "cannot tell"), (3.0, "met")])
def test_a_probe_that_fell_silent_may_still_be_cooling(silent_c: float, state: str) -> None:
    # Two probes in a piece that is chilled; one is silent from a reading on, and the meat
    # there may have stayed in the band until the record ends.
    minutes = np.arange(0.0, 12.0 * 60.0)
    near = np.interp(minutes, [0.0, 180.0, 210.0, 300.0, 720.0], [4.0, 80.0, 80.0, 4.0, 2.0])
    fell = int(np.flatnonzero((minutes > 210.0) & (near <= silent_c))[0])
    far = np.where(np.arange(minutes.size) > fell, np.nan, near)
    log = ProbeLog(
        minutes * 60.0, None, (Channel("T1", "meat", near), Channel("T2", "meat", far))
    )
    answer = verdict(
        log,
        meat="beef",
        surface="sealed bag",
        new_piece_s=(),
        pieces="one",
        probes={"T1": "in the meat", "T2": "in the meat"},
    )
    assert answer.state == state
