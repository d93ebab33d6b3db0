"""The report of a rest: how far the core still rose."""

from __future__ import annotations

from coreward.figures import style
from coreward.questions.carryover import Carryover
from coreward.reports import words
from coreward.reports.cook_report import cook_report
from coreward.reports.document import Document, Facts, Table, table_of
from coreward.reports.repeat import call, cook_code
from coreward.reports.things import document_of
from coreward.words import UnitChoice, as_units


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
        lead=words.in_units(answer.sentence, choice),
        caution=whole.caution,
        blocks=(after_facts(answer, choice), level_table(answer, choice), *whole.blocks),
        data=whole.data,
        code=code or "\n".join([*lines, "print(answer.sentence)", ""]),
        sources=whole.sources,
        versions=whole.versions,
    )


def after_facts(answer: Carryover, units: UnitChoice) -> Facts:
    """Return what happened after the pull."""
    peak = style.format_temperature(answer.peak_core_c, units, 1)
    rising = " and still rising at the end" if answer.still_rising else ""
    return Facts(
        (
            ("pulled after", style.format_hours(answer.pull_s)),
            ("core at the pull", style.format_temperature(answer.pull_core_c, units, 1)),
            (
                "highest core",
                f"{peak}, {style.format_hours(answer.peak_after_s)} later{rising}",
            ),
            ("rise", words.difference(answer.rise_k, units)),
            ("lost in the rest", f"{100.0 * answer.loss_in_rest:.1f} % of the raw weight"),
        ),
        "After the pull",
    )


def level_table(answer: Carryover, units: UnitChoice) -> Table:
    """Return how long the core was at or above each level, rounded down."""
    return table_of(
        "How long the core was at or above",
        ("core", "in all", "in the rest"),
        (
            (
                style.format_temperature(float(level), units),
                words.held(all_s),
                words.held(rest_s),
            )
            for level, all_s, rest_s in zip(
                answer.levels_c, answer.above_s, answer.above_in_rest_s, strict=True
            )
        ),
    )


__all__ = ["carryover_report"]
