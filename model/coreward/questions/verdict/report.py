"""The report of a verdict."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

import numpy as np

from coreward.cook.result import Result
from coreward.logs.log import ProbeLog
from coreward.questions.review.report import log_data, log_picture, read_code
from coreward.questions.verdict import (
    CANNOT_TELL,
    MET,
    NOT_MET,
    Verdict,
    amount,
    asked_and_held,
    required_words,
    sources,
)
from coreward.questions.verdict.figure import figure_verdict
from coreward.reports.document import (
    CAUTION,
    Block,
    Data,
    Document,
    Facts,
    Listing,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.repeat import arguments_code, call, cook_code
from coreward.reports.things import document_of
from coreward.words import Difference, Lasting, UnitChoice, as_units, say, shown

STATE_WORDS = {MET: "meets it", NOT_MET: "does not meet it", CANNOT_TELL: "cannot tell"}
_SAID_ELSEWHERE = ("meat", "condition", "probe_error_c", "placement_error_c")


@document_of.register
def verdict_report(
    answer: Verdict, *, units: str | UnitChoice = "C", title: str = "", code: str = ""
) -> Document:
    """Return the report of a verdict: the three views and everything that was assumed."""
    choice = as_units(units)
    headline = shown(answer.headline, choice)
    blocks: list[Block] = [
        what_was_judged(answer, choice),
        *doubt_blocks(answer, choice),
        Picture(
            figure_verdict(answer, choice),
            f"The judged temperature against time with the holds asked for, and the kill added "
            f"up below. {headline}",
            "Solid marks: holds that are met; dotted: as long as they are asked for. Below, "
            "the kill as read and with 95 % confidence.",
        ),
        *piece_blocks(answer, choice),
        standard_table(answer, choice),
        limit_table(answer, choice),
        integral_table(answer, choice),
        *(
            Listing(tuple(shown(entry, choice) for entry in entries), heading)
            for entries, heading in (
                (answer.faults, "The record"),
                (answer.assumptions, "Assumed"),
                (answer.cautions, "Beware"),
                (answer.blind_spots, "Not covered by any table"),
            )
            if entries
        ),
    ]
    if isinstance(answer.judged, ProbeLog):
        blocks.insert(2, _whole_log(answer.judged, choice))
    return Document(
        title=title or f"Does it meet its target? {STATE_WORDS[answer.state].capitalize()}",
        lead=headline,
        caution=CAUTION,
        blocks=tuple(blocks),
        data=verdict_data(answer),
        code=code or verdict_code(answer),
        sources=sources(answer),
        versions=versions(),
    )


def _whole_log(log: ProbeLog, units: UnitChoice) -> Picture:
    from coreward.questions.review.answer import review

    caption = "The whole log, as it was understood."
    return log_picture(log, review(log), units, caption, caption)


def what_was_judged(answer: Verdict, units: UnitChoice) -> Facts:
    """Return what the verdict is about."""
    record = answer.record
    rows = [
        ("answer", STATE_WORDS[answer.state]),
        ("meat", ", ".join(answer.meats) + f", {answer.condition}"),
        ("judged at", shown(record.point, units)),
        ("record", f"{record.kind}, {Lasting(float(record.time_s[-1])).shown(units)}"),
        (
            "probe error added to every target",
            Difference(answer.probe_error_c).shown(units),
        ),
    ]
    if answer.placement_error_c:
        rows.append(
            ("placement error added", Difference(answer.placement_error_c).shown(units))
        )
    for name, value in answer.asked:
        if name not in _SAID_ELSEWHERE and value != 0.0:
            words = "a record" if name == "humidity" else _value_words(value)
            rows.append((f"given: {name.replace('_', ' ')}", words))
    return Facts(tuple(rows), "What was judged")


def _value_words(value: Any) -> str:
    if value is True:
        return "yes"
    if isinstance(value, str):
        return value
    if isinstance(value, float | int):
        return f"{value:g}"
    if isinstance(value, Mapping):
        return "; ".join(f"{name}: {_value_words(each)}" for name, each in value.items())
    return ", ".join(_value_words(each) for each in value) or "none"


def _decides(counts: bool) -> str:
    return "" if counts else " (shown, does not decide)"


def doubt_blocks(answer: Verdict, units: UnitChoice) -> tuple[Block, ...]:
    """Return the questions that only a person can answer."""
    if not answer.doubts:
        return ()
    return (
        table_of(
            "Only you can say",
            ("question", "in code", "on the command line"),
            ((shown(doubt.text, units), doubt.code, doubt.command) for doubt in answer.doubts),
            (50, 25, 25),
        ),
    )


def piece_blocks(answer: Verdict, units: UnitChoice) -> tuple[Block, ...]:
    """Return what is said of each piece, where there are several."""
    if len(answer.pieces) < 2:
        return ()
    return (
        table_of(
            "By piece, each by its own history; the first of the worst is shown below",
            ("piece", "says", "in a sentence"),
            (
                (
                    shown(piece.name, units),
                    STATE_WORDS[piece.state],
                    shown(piece.headline, units),
                )
                for piece in answer.pieces
            ),
            (20, 15, 65),
        ),
    )


def standard_table(answer: Verdict, units: UnitChoice) -> Table:
    """Return each hold standard in its own way."""
    return table_of(
        "Each standard in its own way: every part at a minimum, for a time",
        ("standard", "says", "asked and held", "because", "what would help; beware"),
        (
            (
                say("{0}" + _decides(item.counts) + ". {1}", item.title, item.revision).shown(
                    units
                ),
                STATE_WORDS[item.state],
                asked_and_held(item, units),
                shown(item.governing, units),
                say("{0}. {1}", item.enough, item.caution).shown(units),
            )
            for item in sorted(answer.standards, key=lambda item: not item.counts)
        ),
        (24, 10, 18, 22, 26),
    )


def limit_table(answer: Verdict, units: UnitChoice) -> Table:
    """Return the limits on the whole history."""
    return table_of(
        "Limits on the whole history",
        ("limit", "says", "because", "what would help"),
        (
            (
                f"{limit.kind}, {limit.name}{_decides(limit.counts)}",
                STATE_WORDS[limit.state],
                shown(limit.text, units),
                shown(limit.enough, units),
            )
            for limit in answer.limits
        ),
        (24, 11, 35, 30),
    )


def integral_table(answer: Verdict, units: UnitChoice) -> Table:
    """Return the kill added up over the record."""
    return table_of(
        "Kill added up, beside the standards and never in them",
        ("organism", "as read", "with 95 % confidence", "required", "says", "what would help"),
        (
            (
                say("{0} in {1}", view.organism, view.food).shown(units),
                shown(amount(view.value, view.unit), units),
                shown(amount(view.confident, view.unit), units),
                required_words(view),
                STATE_WORDS[view.state],
                shown(view.enough, units),
            )
            for view in answer.integrals
        ),
        (22, 13, 13, 18, 11, 23),
    )


def verdict_data(answer: Verdict) -> tuple[Data, ...]:
    """Return the judged record, and the log or cook it came from."""
    record = answer.record
    columns = {
        "time_s": record.time_s,
        "coldest_c": record.coldest_c,
        "hottest_c": record.hottest_c,
    }
    if record.kind == "history" and len(answer.pieces) > 1:
        # The record that was given holds all of them, and repeats the answer.
        time_s, given_c = (np.asarray(part, dtype=float) for part in answer.judged)
        columns = {"time_s": time_s, "coldest_c": given_c, "hottest_c": given_c}
    judged = data_of(
        "judged-record.csv",
        columns,
        "The record that was judged: lowest and highest temperature in the meat.",
    )
    if isinstance(answer.judged, ProbeLog):
        return (judged, log_data(answer.judged))
    if isinstance(answer.judged, Result):
        return (judged, Data("cook.csv", answer.judged.to_csv_text(), "The computed cook."))
    return (judged,)


def verdict_code(answer: Verdict) -> str:
    """Return the lines that repeat the verdict."""
    given = arguments_code(answer.asked)
    if isinstance(answer.judged, ProbeLog):
        lines, subject = read_code(answer.judged), "log"
    elif isinstance(answer.judged, Result):
        lines, subject = [cook_code(answer.judged).rstrip("\n")], "cook"
    else:
        lines = [
            "import coreward as cw",
            "import numpy as np",
            "",
            "# The columns of the data that goes with this report.",
            'columns = np.genfromtxt("judged-record.csv", delimiter=",", skip_header=2)',
            "record = (columns[:, 0], columns[:, 1])",
        ]
        subject = "record"
        if "probe_offset_m" in given:
            # The record holds the estimated centre; it must not be estimated twice.
            given = {k: v for k, v in given.items() if k not in ("probe_offset_m", "shape")}
            lines.append("# coldest_c is the centre that was estimated from the probe.")
    lines += call("answer = cw.verdict", given, (subject,))
    return "\n".join([*lines, "print(cw.verdict_text(answer))", ""])


__all__ = ["STATE_WORDS", "integral_table", "limit_table", "standard_table", "verdict_report"]
