"""The report of a probe log and of its review."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path

from coreward import tables
from coreward.figures import style
from coreward.figures.log import figure_log
from coreward.logs.log import ProbeLog, Repair
from coreward.questions.review import ChannelReview, Review, review
from coreward.reports import words
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Listing,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.repeat import call, expression
from coreward.reports.things import document_of
from coreward.words import UnitChoice, as_units


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
        spans = (
            f"No rows from {words.clock(a, answer.start_clock)} to "
            f"{words.clock(b, answer.start_clock)}: nothing is counted."
            for a, b in answer.gaps
        )
        blocks.append(Listing(tuple(spans), "Gaps"))
    if answer.warnings:
        blocks.append(Listing(answer.warnings, "Look at this"))
    uncredited = tuple(uncredited_words(answer))
    if uncredited:
        blocks.append(Listing(uncredited, "What earned nothing"))
    blocks.append(Listing(answer.assumptions, "Assumed"))
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
    lead = (
        f"{answer.samples} samples over {style.format_hours(answer.duration_s)}, "
        f"{meats} meat probe{'s' if meats != 1 else ''}, {len(answer.repairs)} "
        f"repair{'s' if len(answer.repairs) != 1 else ''}."
    )
    coldest = answer.coldest
    if coldest.lethality is None:
        return f"{lead} What the heat was worth: {coldest.no_lethality}."
    numbers = tables.load("review")
    minutes = words.earned(
        coldest.lethality.equivalent_less_error_min, numbers["largest_minutes_shown"], "min"
    )
    peak = style.format_temperature(coldest.peak_c, units, 1)
    return (
        f"{lead} The lowest meat reading peaks at {peak}. Worth {minutes} at "
        f"{style.format_temperature(answer.reference_c, units)} at the probe point, less "
        f"{words.difference(answer.probe_error_k, units)} of probe error, rounded down."
    )


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
    numbers = tables.load("review")
    rows = []
    for channel in (*answer.channels, answer.coldest):
        worth = channel.lethality
        minutes = logs = ""
        if worth is not None:
            minutes = words.earned(
                worth.equivalent_less_error_min, numbers["largest_minutes_shown"]
            )
            if worth.log_reduction_less_error is not None:
                logs = words.earned(
                    worth.log_reduction_less_error, numbers["largest_log_shown"]
                )
        elif channel.role == "meat":
            minutes = channel.no_lethality
        rows.append(
            (
                f"{channel.name} ({channel.role})",
                f"{_degrees(channel.peak_c, units)} at "
                f"{words.clock(channel.peak_time_s, answer.start_clock)}"
                if channel.readings
                else "no reading",
                _plateau_words(channel, answer, units),
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
            f"min at {style.format_temperature(answer.reference_c, units)}, less probe error",
            f"log reduction{organism}, less probe error",
        ),
        rows,
        (22, 22, 30, 13, 13),
    )


def _plateau_words(channel: ChannelReview, answer: Review, units: UnitChoice) -> str:
    if channel.role != "meat":
        return ""
    spans = (
        f"{'stall' if plateau.kind == 'stall' else 'level at the end'} "
        f"{words.clock(plateau.start_s, answer.start_clock)} to "
        f"{words.clock(plateau.end_s, answer.start_clock)}, "
        f"{_degrees(plateau.low_c, units)} to {_degrees(plateau.high_c, units)}"
        for plateau in channel.plateaus
    )
    return "; ".join(spans) or "no stall"


def range_table(answer: Review, units: UnitChoice) -> Table:
    """Return the time of each probe in each range."""
    channels = (*answer.channels, answer.coldest)
    rows = [
        (
            words.between(entry.low_c, entry.high_c, units),
            *(style.format_hours(channel.ranges[number].time_s) for channel in channels),
        )
        for number, entry in enumerate(answer.coldest.ranges)
    ]
    rows.append(("not counted", *(style.format_hours(c.not_counted_s) for c in channels)))
    return table_of("Time in each range", ("range", *(c.name for c in channels)), rows)


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


def uncredited_words(answer: Review) -> Iterable[str]:
    """Yield what earned nothing, probe by probe."""
    for channel in (*answer.channels, answer.coldest):
        if channel.lethality is not None:
            for reason in channel.lethality.uncredited:
                yield f"{channel.name}: nothing credited {reason}"


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


def _degrees(value_c: float, units: UnitChoice) -> str:
    return style.format_temperature(value_c, units, 1)


__all__ = ["log_report", "review_report"]
