"""What is told of some thirty random histories, sentence by sentence and second by second.

`told_verdicts.txt` is a table of worked examples: the first sentence, each piece, each standard
and limit with its times in seconds and its sentences, the kill, the questions and the remarks,
in one of the reader's two units. That no "met" is unknown to the oracle, which is written
apart from the package, is asked of many more in `test_verdict_oracle.py`. The histories are
sums of plain curves and random numbers; no physics is in them, so the times are exact to the
second.
"""

from __future__ import annotations

from pathlib import Path

import pytest

from coreward.questions.verdict.answer import Verdict
from coreward.questions.verdict.document import asked_and_held, required_words
from coreward.words import Text, shown
from support.random_histories import History, make_history
from support.verdict_comparing import package_judge

pytestmark = pytest.mark.quick

TOLD = Path(__file__).resolve().parent / "told_verdicts.txt"


def blocks() -> dict[int, list[str]]:
    found: dict[int, list[str]] = {}
    for block in TOLD.read_text(encoding="utf-8").split("## ")[1:]:
        seed, *lines = block.strip("\n").split("\n")
        found[int(seed)] = lines
    return found


def told(history: History) -> list[str]:
    """Return what is told of a history, line by line; °F for an odd seed."""
    units = "CF"[history.seed % 2]
    answer = package_judge(history).whole
    assert isinstance(answer, Verdict)

    def words(text: Text) -> str:
        return shown(text, units)

    lines = [f"{answer.state}: {words(answer.headline)}"]
    lines += [
        f"{words(one.name)} ({', '.join(one.channels)}): {one.state}, lethal at "
        f"{one.lethal_s} s"
        for one in answer.pieces
    ]
    for item in answer.standards:
        beside = "" if item.counts else " beside"
        lines.append(
            f"{item.name}: {item.state}{beside}, row {item.row_c} °C, {item.margin_s} s to "
            f"spare; {words(asked_and_held(item))}; {words(item.governing)}; "
            f"{words(item.enough)}; {words(item.caution)}"
        )
    for limit in answer.limits:
        beside = "" if limit.counts else " beside"
        lines.append(
            f"{limit.kind} from {limit.from_c:.2f} °C: {limit.state}{beside}, {limit.start_s} "
            f"to {limit.end_s} s, at most {limit.elapsed_s} s, surely {limit.surely_s} s, held "
            f"{limit.held_s} s; {words(limit.text)} {words(limit.enough)}"
        )
    lines += [
        f"{view.name}: {view.state}, {view.value:.2f} as read, {view.median:.2f} middle, "
        f"{view.confident:.2f} sure; {required_words(view)}; {words(view.enough)}"
        for view in answer.integrals
    ]
    lines += [
        f"{doubt.kind}{' (blocks)' if doubt.blocks else ''}: {words(doubt.text)} {doubt.code}; "
        f"{doubt.command}"
        for doubt in answer.doubts
    ]
    for name in ("faults", "assumptions", "cautions", "blind_spots"):
        # What is assumed of all is told of a few.
        if name == "faults" or history.seed % 8 == 0:
            lines += [f"{name}: {words(one)}" for one in getattr(answer, name)]
    return lines


@pytest.mark.parametrize("seed", blocks())
def test_a_history_is_told_with_its_times_and_its_words(seed: int) -> None:
    assert told(make_history(seed)) == blocks()[seed]


def test_there_is_something_of_everything() -> None:
    text = TOLD.read_text(encoding="utf-8")
    for kind in ("late", "frozen", "left out", "pieces", "new piece", "never plugged in"):
        assert f"\n{kind}" in text
    states = [lines[0].partition(":")[0] for lines in blocks().values()]
    assert min(states.count(state) for state in ("met", "not met", "cannot tell")) >= 4
