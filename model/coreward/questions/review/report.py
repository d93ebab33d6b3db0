"""The report of a probe log and of its review."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from coreward import tables
from coreward.logs.log import ProbeLog, Repair
from coreward.questions.review.answer import (
    ChannelReview,
    Review,
    logs_earned,
    minutes_earned,
    plateau_words,
    range_of,
    review,
)
from coreward.questions.review.figure import figure_log
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Listing,
    Picture,
    Table,
    data_of,
    listing_of,
    table_of,
    versions,
)
from coreward.reports.repeat import call, expression
from coreward.reports.things import document_of
from coreward.words import (
    Degrees,
    Difference,
    Lasting,
    Reading,
    Text,
    UnitChoice,
    When,
    as_units,
    say,
    together,
)


@document_of.register
def log_report(
    log: ProbeLog,
    *,
    units: str | UnitChoice = "C",
    title: str = "",
    code: str = "",
    organism: str | None = None,
) -> Document:
    """Return the report of a log: that of its review."""
    return review_report(review(log, organism=organism), units=units, title=title, code=code)


@document_of.register
def review_report(
    answer: Review, *, units: str | UnitChoice = "C", title: str = "", code: str = ""
) -> Document:
    """Return the report of a review: what was read, repaired, and what it is worth."""
    choice = as_units(units)
    log = answer.log
    blocks: list[Block] = []
    lead = lead_words(answer, choice)
    if log is not None:
        blocks.append(log_picture(log, answer, choice, lead))
    blocks.append(worth_table(answer, choice))
    blocks.append(range_table(answer, choice))
    blocks.append(Listing(answer.understood, "What was understood"))
    if answer.repairs:
        blocks.append(repair_table(answer.repairs))
    else:
        blocks.append(Listing(("Nothing was repaired.",), "What was repaired"))
    if answer.gaps:
        start = answer.start_clock
        spans = (
            say("No rows from {0} to {1}: nothing is counted.", When(a, start), When(b, start))
            for a, b in answer.gaps
        )
        blocks.append(listing_of("Gaps", spans, choice))
    if answer.warnings:
        blocks.append(listing_of("Look at this", answer.warnings, choice))
    uncredited = tuple(uncredited_words(answer))
    if uncredited:
        blocks.append(listing_of("What earned nothing", uncredited, choice))
    blocks.append(listing_of("Assumed", answer.assumptions, choice))
    kinetics = answer.kinetics
    return Document(
        title=title or f"Review of {answer.source or 'a log'}",
        lead=lead,
        caution=answer.caution,
        blocks=tuple(blocks),
        data=review_data(answer),
        code=code or review_code(answer),
        sources=(tables.source(kinetics.source).citation(),) if kinetics is not None else (),
        versions=versions(),
    )


def lead_words(answer: Review, units: UnitChoice) -> str:
    """Return the answer in two sentences."""
    meats = sum(channel.role == "meat" for channel in answer.channels)
    read = say(
        f"{{0}} samples over {{1}}, {meats} meat probe{'s' if meats != 1 else ''}, "
        f"{len(answer.repairs)} repair{'s' if len(answer.repairs) != 1 else ''}.",
        answer.samples,
        Lasting(answer.duration_s),
    )
    coldest = answer.coldest
    if coldest.lethality is None:
        return say("{0} What the heat was worth: {1}.", read, coldest.no_lethality).shown(units)
    return say(
        "{0} The lowest meat reading peaks at {1}. Worth {2} at {3} at the probe point, less "
        "{4} of probe error, rounded down.",
        read,
        Reading(coldest.peak_c),
        minutes_earned(coldest.lethality.equivalent_less_error_min, "min"),
        Degrees(answer.reference_c, None),
        Difference(answer.probe_error_k),
    ).shown(units)


def log_picture(
    log: ProbeLog,
    answer: Review,
    units: UnitChoice,
    alt: str,
    caption: str = "Readings as they were understood; bands are the ranges of the table below.",
) -> Picture:
    """Return the picture of a log."""
    return Picture(
        figure_log(log, answer, units), f"Temperatures of the log against time. {alt}", caption
    )


def worth_table(answer: Review, units: UnitChoice) -> Table:
    """Return a row for each probe: peak, stall, worth."""
    start = answer.start_clock
    rows: list[tuple[Text, ...]] = []
    for channel in (*answer.channels, answer.coldest):
        worth = channel.lethality
        minutes: Text = ""
        logs: Text = ""
        if worth is not None:
            minutes = minutes_earned(worth.equivalent_less_error_min)
            if worth.log_reduction_less_error is not None:
                logs = logs_earned(worth.log_reduction_less_error)
        elif channel.role == "meat":
            minutes = channel.no_lethality
        rows.append(
            (
                f"{channel.name} ({channel.role})",
                say("{0} at {1}", Reading(channel.peak_c), When(channel.peak_time_s, start))
                if channel.readings
                else "no reading",
                _stood_still(channel, answer),
                minutes,
                logs,
            )
        )
    organism = f" of {answer.kinetics.organism}" if answer.kinetics is not None else ""
    return table_of(
        "Probe by probe",
        (
            "probe",
            "highest",
            "stood still",
            say("min at {0}, less probe error", Degrees(answer.reference_c, None)),
            f"log reduction{organism}, less probe error",
        ),
        rows,
        (22, 22, 30, 13, 13),
        units,
    )


def _stood_still(channel: ChannelReview, answer: Review) -> Text:
    if channel.role != "meat":
        return ""
    spans = [
        say("{0} {1}", plateau.name, plateau_words(plateau, answer.start_clock))
        for plateau in channel.plateaus
    ]
    return together(spans, "; ") if spans else "no stall"


def range_table(answer: Review, units: UnitChoice) -> Table:
    """Return the time of each probe in each range."""
    channels = (*answer.channels, answer.coldest)
    rows: list[tuple[Text, ...]] = [
        (
            range_of(entry),
            *(Lasting(channel.ranges[number].time_s) for channel in channels),
        )
        for number, entry in enumerate(answer.coldest.ranges)
    ]
    rows.append(("not counted", *(Lasting(c.not_counted_s) for c in channels)))
    heads = ("range", *(c.name for c in channels))
    return table_of("Time in each range", heads, rows, units=units)


def repair_table(repairs: Iterable[Repair]) -> Table:
    """Return every repair with its reason."""
    rows = []
    for repair in repairs:
        where = "all" if repair.row is None else str(repair.row)
        if repair.last_row is not None and repair.last_row != repair.row:
            where += f" to {repair.last_row}"
        rows.append(
            (where, repair.column, repair.was, repair.became, f"{repair.kind}: {repair.reason}")
        )
    return table_of(
        "What was repaired",
        ("rows", "column", "was", "became", "why"),
        rows,
        (12, 18, 18, 16, 36),
    )


def uncredited_words(answer: Review) -> Iterable[Text]:
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
    edges = tuple(entry.high_c for entry in answer.coldest.ranges if entry.high_c is not None)
    given = {
        "organism": repr(answer.kinetics.name if answer.kinetics is not None else None),
        "reference_c": expression(answer.reference_c),
        "ranges_c": expression(edges),
        "probe_error_k": expression(answer.probe_error_k),
    }
    lines = [*read_code(answer.log), *call("answer = cw.review", given, ("log",))]
    return "\n".join([*lines, "print(cw.review_text(answer))", ""])


__all__ = ["log_report", "review_report"]
