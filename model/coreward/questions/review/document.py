"""All that is said of a probe log and of its review."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from coreward import tables
from coreward.logs.log import ProbeLog, Repair
from coreward.questions.review.answer import (
    ChannelReview,
    Plateau,
    Review,
    TimeInRange,
    review,
)
from coreward.reports.document import (
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
from coreward.reports.things import document_of
from coreward.words import (
    Degrees,
    DegreesBetween,
    Difference,
    Earned,
    Lasting,
    Reading,
    Say,
    Text,
    UnitChoice,
    When,
    say,
    together,
)

# A shorter time in a range is no time.
_SHORTEST_S = 30.0


@document_of.register
def _(log: ProbeLog) -> Document:
    return document(review(log))


@document_of.register
def document(answer: Review) -> Document:
    """Return all that is said of a review: what was read, repaired, and what it is worth."""
    lead, start = lead_words(answer), answer.start_clock
    blocks: list[Block] = []
    if answer.log is not None:
        blocks.append(log_picture(answer.log, answer, lead))
    gaps = (
        say("No rows from {0} to {1}: nothing is counted.", When(a, start), When(b, start))
        for a, b in answer.gaps
    )
    blocks += [
        Listing(entries, heading)
        for heading, entries in (
            ("Look at this", answer.warnings),
            ("Gaps", tuple(gaps)),
            ("What earned nothing", tuple(_uncredited(answer))),
        )
        if entries
    ]
    blocks += [
        worth_table(answer),
        range_table(answer),
        _as_read(answer),
        Listing(answer.understood, "What was understood"),
        _repairs(answer.repairs),
        Listing(answer.assumptions, "Assumed"),
    ]
    kinetics = answer.kinetics
    return Document(
        title=f"Review of {answer.source or 'a log'}",
        lead=lead,
        caution=answer.caution,
        blocks=tuple(blocks),
        files=lambda: review_data(answer),
        code=lambda: review_code(answer),
        sources=(tables.source(kinetics.source).citation(),) if kinetics is not None else (),
        versions=versions(),
        answer=answer,
        numbers={"kind": "review"},
    )


def lead_words(answer: Review) -> Say:
    """Return the answer in a few sentences."""
    meats = sum(channel.role == "meat" for channel in answer.channels)
    parts: list[Text] = [
        say(
            "{0}: {1} samples over {2}, "
            f"{meats} meat probe{'s' if meats != 1 else ''}, "
            f"{len(answer.repairs)} repair{'s' if len(answer.repairs) != 1 else ''}.",
            answer.source or "A log",
            answer.samples,
            Lasting(answer.duration_s),
        )
    ]
    coldest = answer.coldest
    if coldest.readings:
        parts.append(say("The lowest meat reading peaks at {0}.", Reading(coldest.peak_c)))
    worth = coldest.lethality
    if worth is None:
        return together((*parts, say("What the heat was worth: {0}.", coldest.no_lethality)))
    parts.append(
        say(
            "Worth {0} at {1} at the probe point, less {2} of probe error, rounded down.",
            minutes_earned(worth.equivalent_less_error_min, "min"),
            Degrees(answer.reference_c, None),
            Difference(answer.probe_error_k),
        )
    )
    if worth.log_reduction_less_error is not None and answer.kinetics is not None:
        parts.append(
            say(
                "Log reduction of {0} under the assumptions below: {1}.",
                answer.kinetics.organism,
                logs_earned(worth.log_reduction_less_error),
            )
        )
    return together(parts)


def minutes_earned(value: float, unit: str = "") -> Earned:
    """Return equivalent minutes as they may be shown: rounded down, none beyond a limit."""
    return Earned(value, unit, tables.load("review")["largest_minutes_shown"])


def logs_earned(value: float) -> Earned:
    """Return a log reduction as it may be shown: rounded down, none beyond a limit."""
    return Earned(value, most=tables.load("review")["largest_log_shown"])


def log_picture(
    log: ProbeLog,
    answer: Review,
    alt: Text,
    caption: str = "Readings as they were understood; bands are the ranges of the table below.",
) -> Picture:
    """Return the picture of a log."""

    def drawn(units: UnitChoice) -> Any:
        # Late: text and data need no drawing library.
        from coreward.questions.review.figure import figure_log

        return figure_log(log, answer, units)

    words = say("Temperatures of the log against time. {0}", alt)
    return Picture(drawn, words, caption)


def _as_read(answer: Review) -> Facts:
    rows: list[tuple[str, Text]] = [("a sample every", f"{answer.interval_s:.4g} s")]
    if answer.start is not None:
        rows.append(("begins", answer.start.isoformat(sep=" ")))
    return Facts(tuple(rows), "The record")


def worth_table(answer: Review) -> Table:
    """Return a row for each probe: peak, stall, worth."""
    start = answer.start_clock
    organism = None if answer.kinetics is None else answer.kinetics.organism
    rows: list[tuple[Text, ...]] = []
    for channel in (*answer.channels, answer.coldest):
        worth = channel.lethality
        row: list[Text] = [f"{channel.name} ({channel.role})", "no reading", ""]
        if channel.readings:
            peak = Reading(channel.peak_c)
            row[1:] = [
                say("{0} at {1}", peak, When(channel.peak_time_s, start)),
                Reading(channel.lowest_c),
            ]
        row.append(_stood_still(channel, answer))
        if worth is None:
            row += [channel.no_lethality if channel.role == "meat" else "", ""]
        else:
            pair = (worth.equivalent_less_error_min, worth.equivalent_min)
            row += [minutes_earned(value) for value in pair]
        if organism is not None:
            logs = (
                () if worth is None else (worth.log_reduction_less_error, worth.log_reduction)
            )
            row += [logs_earned(value) for value in logs if value is not None] or ["", ""]
        rows.append(tuple(row))
    less = say("less {0} of probe error", Difference(answer.probe_error_k))
    heads: list[Text] = [
        "probe",
        "highest",
        "lowest",
        "stood still",
        say("min at {0}, {1}", Degrees(answer.reference_c, None), less),
        "the same as read",
    ]
    if organism is not None:
        heads += [say("log reduction of {0}, {1}", organism, less), "the same as read"]
    return table_of(
        "Probe by probe; minutes and log reduction at the probe point, rounded down",
        heads,
        rows,
        (17, 17, 9, 23, 10, 7, 10, 7)[: len(heads)],
    )


def _stood_still(channel: ChannelReview, answer: Review) -> Text:
    if channel.role != "meat" or not channel.readings:
        return ""
    spans = [
        say("{0} {1}", plateau.name, plateau_words(plateau, answer.start_clock))
        for plateau in channel.plateaus
    ]
    return together(spans, "; ") if spans else "no stall by the definition below"


def plateau_words(plateau: Plateau, start: dt.time | None) -> Say:
    """Return when a plateau was, how long and at which readings."""
    return say(
        "{0} to {1} ({2}), {3} to {4}",
        When(plateau.start_s, start),
        When(plateau.end_s, start),
        Lasting(plateau.duration_s),
        Reading(plateau.low_c),
        Reading(plateau.high_c),
    )


def range_table(answer: Review) -> Table:
    """Return the time of each probe in each range."""
    channels = (*answer.channels, answer.coldest)

    def time(seconds: float) -> Text:
        return Lasting(seconds) if seconds >= _SHORTEST_S else ""

    rows: list[tuple[Text, ...]] = [
        (range_of(entry), *(time(channel.ranges[number].time_s) for channel in channels))
        for number, entry in enumerate(answer.coldest.ranges)
    ]
    rows.append(("not counted, no reading", *(time(c.not_counted_s) for c in channels)))
    return table_of("Time in each range", ("range", *(c.name for c in channels)), rows)


def range_of(entry: TimeInRange) -> DegreesBetween:
    """Return the range of an entry of the table of times."""
    return DegreesBetween(entry.low_c, entry.high_c, None)


def _repairs(repairs: Iterable[Repair]) -> Block:
    """Return every repair with its reason."""
    rows = []
    for repair in repairs:
        where = "all" if repair.row is None else str(repair.row)
        if repair.last_row is not None and repair.last_row != repair.row:
            where += f" to {repair.last_row}"
        why = f"{repair.kind}: {repair.reason}"
        rows.append((where, repair.column or "whole row", repair.was, repair.became, why))
    if not rows:
        return Listing(("Nothing was repaired.",), "What was repaired")
    heads = ("row", "column", "was", "became", "why")
    return table_of("What was repaired", heads, rows, (12, 18, 18, 16, 36))


def _uncredited(answer: Review) -> Iterable[Text]:
    """Yield what earned nothing, probe by probe."""
    for channel in (*answer.channels, answer.coldest):
        if channel.lethality is not None:
            for reason in channel.lethality.uncredited:
                yield say("{0}: nothing credited {1}", channel.name, reason)


def log_data(log: ProbeLog) -> Data:
    """Return the log in our own format, which is read back exactly."""
    return Data(
        log_name(log),
        log.to_csv_text(),
        "The log as it was understood, with every repair; Coreward reads it back exactly.",
    )


def log_name(log: ProbeLog) -> str:
    """Return the file name of a cleaned log."""
    return f"{Path(log.source).stem or 'log'}-cleaned.csv"


def review_data(answer: Review) -> tuple[Data, ...]:
    """Return the cleaned log and the times in ranges."""
    channels = (*answer.channels, answer.coldest)
    ranges = data_of(
        "times-in-ranges.csv",
        {
            "low_c": [_edge(entry.low_c) for entry in answer.coldest.ranges],
            "high_c": [_edge(entry.high_c) for entry in answer.coldest.ranges],
            **{
                f"{channel.name}: time_s": [entry.time_s for entry in channel.ranges]
                for channel in channels
            },
        },
        "Counted time of each probe in each range of temperature.",
    )
    return (log_data(answer.log), ranges) if answer.log is not None else (ranges,)


def _edge(value_c: float | None) -> float:
    return float("nan") if value_c is None else value_c


def read_code(log: ProbeLog) -> list[str]:
    """Return the lines that read the log that goes with the report."""
    return ["import coreward as cw", "", f"log = cw.read_log({log_name(log)!r})"]


def review_code(answer: Review) -> str:
    """Return the lines that repeat the review."""
    if answer.log is None:
        return ""
    # Late: only a report repeats, and this loads the engines.
    from coreward.reports.repeat import call, expression

    edges = tuple(entry.high_c for entry in answer.coldest.ranges if entry.high_c is not None)
    given = {
        "organism": repr(answer.kinetics.name if answer.kinetics is not None else None),
        "reference_c": expression(answer.reference_c),
        "ranges_c": expression(edges),
        "probe_error_k": expression(answer.probe_error_k),
    }
    lines = [*read_code(answer.log), *call("answer = cw.review", given, ("log",))]
    return "\n".join([*lines, "print(cw.document(answer).text())", ""])
