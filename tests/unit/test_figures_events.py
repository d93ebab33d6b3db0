"""Events on the picture of a log."""

from __future__ import annotations

from io import BytesIO
from itertools import combinations

import numpy as np
import pytest
from matplotlib.figure import Figure

from coreward.drawing.style import lightness
from coreward.events.listed import KIND_WORDS, KINDS, Event
from coreward.logs.log import Channel, ProbeLog
from coreward.questions.review.events_figure import _GROUPS, figure_events, mark_events
from coreward.questions.review.figure import figure_log

HOUR = 3600.0


@pytest.fixture
def log() -> ProbeLog:
    time = np.arange(0.0, 10 * HOUR + 1.0, 300.0)
    return ProbeLog(
        time,
        None,
        (
            Channel("pit", "air", np.full(time.size, 110.0)),
            Channel("meat", "meat", 90.0 - 85.0 * np.exp(-time / (5 * HOUR))),
        ),
        source="invented.csv",
    )


def words_of(figure: Figure) -> list[str]:
    known = set(KIND_WORDS.values())
    texts = [text.get_text() for text in figure.axes[0].texts]
    return [t for t in texts if all(w.rstrip("?") in known for w in t.split("\n"))]


def test_every_kind_has_a_word_a_line_and_a_mark(log):
    events = [Event(kind, 0.7 * HOUR * (n + 1), 0.7 * HOUR * (n + 1)) for n, kind in
              enumerate(KINDS)]  # fmt: skip
    figure = figure_events(log, events)
    assert words_of(figure) == [KIND_WORDS[kind] for kind in KINDS]
    labels = [text.get_text() for text in figure.axes[0].get_legend().get_texts()]
    assert [label for label in labels if label.startswith("event of")] == [
        "event of the fire", "event of the meat", "event of the probe",
    ]  # fmt: skip
    figure.savefig(BytesIO(), format="png")  # it can be drawn


def test_the_three_groups_differ_without_colour():
    looks = [(dashes, marker) for _, dashes, marker, _ in _GROUPS.values()]
    assert all(a[0] != b[0] and a[1] != b[1] for a, b in combinations(looks, 2))
    assert all(lightness(colour) < 60.0 for *_, colour in _GROUPS.values())
    kinds = [kind for group in _GROUPS.values() for kind in group[0]]
    assert sorted(kinds) == sorted(KINDS)


def test_events_at_once_share_a_place_and_doubt_is_shown(log):
    events = [
        Event("lid_opened", 4 * HOUR, 4.1 * HOUR),
        Event("wrapped", 4 * HOUR, 4 * HOUR, confidence=0.4),
    ]
    assert words_of(figure_events(log, events)) == ["lid opened\nwrapped?"]


def test_marks_stand_where_the_events_were(log):
    figure = figure_log(log, clock=False)
    ax = figure.axes[0]
    top = ax.get_ylim()[1]
    handles = mark_events(ax, log, [Event("pulled", 9 * HOUR, 9 * HOUR)])
    assert [handle.get_label() for handle in handles] == ["event of the meat"]
    marks = [
        line for line in ax.lines if line.get_marker() == "D" and len(line.get_xdata()) == 1
    ]
    assert [line.get_xdata()[0] for line in marks] == pytest.approx([9.0])
    assert ax.get_ylim()[1] > top  # room for the words


def test_without_events_the_picture_is_that_of_the_log(log):
    plain, marked = figure_log(log), figure_events(log, ())
    assert marked.axes[0].get_ylim() == plain.axes[0].get_ylim()
    assert len(marked.axes[0].lines) == len(plain.axes[0].lines)
