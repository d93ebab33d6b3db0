"""The report of a rest: how far the core still rose."""

from __future__ import annotations

from coreward.questions.rest.carryover import Carryover, heat_words
from coreward.questions.stall.report import cook_report
from coreward.reports.document import Document, Facts, Table, table_of
from coreward.reports.repeat import call, cook_code
from coreward.reports.things import document_of
from coreward.words import (
    Degrees,
    Difference,
    Held,
    Lasting,
    Reading,
    UnitChoice,
    as_units,
    say,
    together,
)


@document_of.register
def carryover_report(
    answer: Carryover, *, units: str | UnitChoice = "C", title: str = "", code: str = ""
) -> Document:
    """Return the report of a carryover: that of its cook, led by what came after the pull."""
    choice = as_units(units)
    whole = cook_report(answer.result, units=choice)
    lines = [
        cook_code(answer.result).rstrip("\n"),
        *call("answer = cw.carryover", {}, ("cook",)),
    ]
    return Document(
        title=title or f"After the pull: {whole.title.removeprefix('A cook of ')}",
        lead=together((answer.sentence, heat_words(answer))).shown(choice),
        caution=whole.caution,
        blocks=(after_facts(answer, choice), level_table(answer, choice), *whole.blocks),
        data=whole.data,
        code=code or "\n".join([*lines, "print(answer.sentence)", ""]),
        sources=whole.sources,
        versions=whole.versions,
    )


def after_facts(answer: Carryover, units: UnitChoice) -> Facts:
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
            say(f"{100.0 * answer.loss_in_rest:.1f} % of the raw weight"),
        ),
    )
    return Facts(tuple((name, value.shown(units)) for name, value in rows), "After the pull")


def level_table(answer: Carryover, units: UnitChoice) -> Table:
    """Return how long the core was at or above each level, rounded down."""
    return table_of(
        "How long the computed core was at or above",
        ("core", "in all", "in the rest"),
        (
            (
                Degrees(float(level)).shown(units),
                Held(float(all_s)).shown(units),
                Held(float(rest_s)).shown(units),
            )
            for level, all_s, rest_s in zip(
                answer.levels_c, answer.above_s, answer.above_in_rest_s, strict=True
            )
        ),
    )


__all__ = ["carryover_report"]
