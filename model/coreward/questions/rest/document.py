"""All that is said of a rest: how far the core still rose."""

from __future__ import annotations

from dataclasses import replace

from coreward.questions.rest.carryover import Carryover, heat_words
from coreward.questions.stall.document import document as of_cook
from coreward.reports.document import Document, Facts, Table, table_of
from coreward.reports.repeat import call, cook_code
from coreward.reports.things import document_of
from coreward.words import Degrees, Difference, Held, Lasting, Reading, say, together


@document_of.register
def document(answer: Carryover) -> Document:
    """Return what is said of a carryover: its cook, led by what came after the pull."""
    whole = of_cook(answer.result)
    return replace(
        whole,
        title=f"After the pull: {str(whole.title).removeprefix('A cook of ')}",
        lead=together((answer.sentence, heat_words(answer))),
        blocks=(after_facts(answer), level_table(answer), *whole.blocks),
        code=lambda: _code(answer),
        answer=answer,
        numbers={"kind": "carryover"},
    )


def _code(answer: Carryover) -> str:
    lines = [
        cook_code(answer.result).rstrip("\n"),
        *call("answer = cw.carryover", {}, ("cook",)),
    ]
    return "\n".join([*lines, "print(answer.sentence)", ""])


def after_facts(answer: Carryover) -> Facts:
    """Return what happened after the pull."""
    rising = " and still rising at the end" if answer.still_rising else ""
    rows = (
        ("pulled after", Lasting(answer.pull_s)),
        ("core at the pull", Degrees(answer.pull_core_c, 1)),
        (
            "highest core",
            say(
                f"{{0}}, {{1}} later{rising}",
                Reading(answer.peak_core_c),
                Lasting(answer.peak_after_s),
            ),
        ),
        ("highest core to count on", Reading(answer.sure_peak_c)),
        ("rise", Difference(answer.rise_k)),
        (
            "lost in the rest",
            f"{100.0 * answer.loss_in_rest:.1f} % of the raw weight",
        ),
    )
    return Facts(rows, "After the pull")


def level_table(answer: Carryover) -> Table:
    """Return how long the core was at or above each level, rounded down."""
    return table_of(
        "How long the computed core was at or above",
        ("core", "in all", "in the rest"),
        (
            (
                Degrees(float(level)),
                Held(float(all_s)),
                Held(float(rest_s)),
            )
            for level, all_s, rest_s in zip(
                answer.levels_c, answer.above_s, answer.above_in_rest_s, strict=True
            )
        ),
    )
