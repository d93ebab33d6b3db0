"""The report of a verdict."""

from __future__ import annotations

from typing import Any

from coreward import tables
from coreward.cook.result import Result
from coreward.figures import style
from coreward.figures.verdict import figure_verdict
from coreward.logs.log import ProbeLog
from coreward.questions.verdict import CANNOT_TELL, MET, NOT_MET, Verdict, verdict_dict
from coreward.reports import words
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
from coreward.reports.log_report import log_data, log_picture, read_code
from coreward.reports.repeat import arguments_code, call, cook_code
from coreward.reports.things import document_of
from coreward.words import UnitChoice, as_units

STATE_WORDS = {MET: "meets it", NOT_MET: "does not meet it", CANNOT_TELL: "cannot tell"}
_SAID_ELSEWHERE = ("meat", "condition", "probe_error_c", "placement_error_c")
_MOST_LOGS = 12.0  # as in the picture: beyond this a count of survivors means nothing


@document_of.register
def verdict_report(
    answer: Verdict, *, units: str | UnitChoice = "C", title: str = "", code: str = ""
) -> Document:
    """Return the report of a verdict: the three views and everything that was assumed."""
    choice = as_units(units)
    said = verdict_dict(answer, choice.temperature)
    blocks: list[Block] = [
        what_was_judged(answer, choice),
        Picture(
            figure_verdict(answer, choice),
            f"The judged temperature against time with the holds asked for, and the kill added "
            f"up below. {said['headline']}",
            "Solid marks: holds that are met; dotted: as long as they are asked for. Below, "
            "the kill as read and with 95 % confidence.",
        ),
        standard_table(said, choice),
        limit_table(said),
        integral_table(said),
        *(
            Listing(tuple(said[name]), heading)
            for name, heading in (
                ("faults", "The record"),
                ("assumptions", "Assumed"),
                ("cautions", "Beware"),
                ("blind_spots", "Not covered by any table"),
            )
            if said[name]
        ),
    ]
    if isinstance(answer.judged, ProbeLog):
        blocks.insert(2, _whole_log(answer.judged, choice))
    return Document(
        title=title or f"Does it meet its target? {STATE_WORDS[answer.state].capitalize()}",
        lead=said["headline"],
        caution=CAUTION,
        blocks=tuple(blocks),
        data=verdict_data(answer),
        code=code or verdict_code(answer),
        sources=tuple(
            tables.source(key).citation()
            for key in dict.fromkeys(
                key
                for group in (answer.standards, answer.limits, answer.integrals)
                for item in group
                for key in item.sources
            )
        ),
        versions=versions(),
    )


def _whole_log(log: ProbeLog, units: UnitChoice) -> Picture:
    from coreward.questions.review import review

    caption = "The whole log, as it was understood."
    return log_picture(log, review(log), units, caption, caption)


def what_was_judged(answer: Verdict, units: UnitChoice) -> Facts:
    """Return what the verdict is about."""
    record = answer.record
    rows = [
        ("answer", STATE_WORDS[answer.state]),
        ("meat", ", ".join(answer.meats) + f", {answer.condition}"),
        ("judged at", record.point),
        ("record", f"{record.kind}, {style.format_hours(float(record.time_s[-1]))}"),
        ("probe error added to every target", words.difference(answer.probe_error_c, units)),
    ]
    if answer.placement_error_c:
        rows.append(
            ("placement error added", words.difference(answer.placement_error_c, units))
        )
    for name, value in answer.asked:
        if name not in _SAID_ELSEWHERE and value != 0.0:
            shown = "a record" if name == "humidity" else _value_words(value)
            rows.append((f"given: {name.replace('_', ' ')}", shown))
    return Facts(tuple(rows), "What was judged")


def _value_words(value: Any) -> str:
    if value is True:
        return "yes"
    if isinstance(value, str):
        return value
    if isinstance(value, float | int):
        return f"{value:g}"
    return ", ".join(str(each) for each in value)


def _decides(counts: bool) -> str:
    return "" if counts else " (shown, does not decide)"


def standard_table(said: dict[str, Any], units: UnitChoice) -> Table:
    """Return each hold standard in its own way."""
    rows = []
    for item in sorted(said["standards"], key=lambda item: not item["counts"]):
        asked = ""
        if item["required_s"] is not None and item["limit_c"] is not None:
            # A limit is rounded upwards, whatever the unit.
            limit = float(style.temperature(item["limit_c"], units))
            symbol = style.temperature_symbol(units)
            margin = item["margin_s"]
            left = (
                f"{words.held(margin)} to spare"
                if margin >= 0.0
                else f"{words.asked(-margin)} short"
            )
            asked = (
                f"{words.asked(item['required_s'])} at {words.required(limit)} {symbol}; held "
                f"{words.held(item['held_s'])}: {left}"
            )
        rows.append(
            (
                f"{item['title']}{_decides(item['counts'])}. {item['revision']}",
                STATE_WORDS[item["state"]],
                asked,
                item["governing"],
                f"{item['enough']}. {item['caution']}",
            )
        )
    return table_of(
        "Each standard in its own way: every part at a minimum, for a time",
        ("standard", "says", "asked and held", "because", "what would help; beware"),
        rows,
        (24, 10, 18, 22, 26),
    )


def limit_table(said: dict[str, Any]) -> Table:
    """Return the limits on the whole history."""
    return table_of(
        "Limits on the whole history",
        ("limit", "says", "because", "what would help"),
        (
            (
                f"{limit['kind']}, {limit['name']}{_decides(limit['counts'])}",
                STATE_WORDS[limit["state"]],
                limit["text"],
                limit["enough"],
            )
            for limit in said["limits"]
        ),
        (24, 11, 35, 30),
    )


def integral_table(said: dict[str, Any]) -> Table:
    """Return the kill added up over the record."""

    def amount(view: dict[str, Any], name: str) -> str:
        value = view[name]
        unit = "log" if view["unit"] == "log10" else "min"
        if value is None:
            return ""
        return words.earned(value, _MOST_LOGS if unit == "log" else float("inf"), unit)

    return table_of(
        "Kill added up, beside the standards and never in them",
        ("organism", "as read", "with 95 % confidence", "required", "says", "what would help"),
        (
            (
                f"{view['organism']} in {view['food']}",
                amount(view, "value"),
                amount(view, "confident"),
                f"{words.required(view['required'])} ({view['target']:g} + "
                f"{view['slow_margin']:g} for slow heating + {view['growth_added']:g} growth)",
                STATE_WORDS[view["state"]],
                view["enough"],
            )
            for view in said["integrals"]
        ),
        (22, 13, 13, 18, 11, 23),
    )


def verdict_data(answer: Verdict) -> tuple[Data, ...]:
    """Return the judged record, and the log or cook it came from."""
    record = answer.record
    judged = data_of(
        "judged-record.csv",
        {"time_s": record.time_s, "coldest_c": record.coldest_c, "hottest_c": record.hottest_c},
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
