"""The report of a forecast."""

from __future__ import annotations

import math

from coreward import cautions
from coreward.logs.log import ProbeLog
from coreward.questions.forecast.answer import BANDS, Forecast
from coreward.questions.forecast.figure import figure_forecast
from coreward.questions.forecast.words import forecast_text, moment
from coreward.questions.review.report import log_data
from coreward.reports.document import (
    Block,
    Data,
    Document,
    Listing,
    Paragraph,
    Picture,
    Table,
    data_of,
    table_of,
    versions,
)
from coreward.reports.things import document_of
from coreward.words import UnitChoice, as_units


@document_of.register
def forecast_report(
    answer: Forecast,
    *,
    units: str | UnitChoice = "C",
    title: str = "",
    code: str = "",
    log: ProbeLog | None = None,
    meat: int = 1,
) -> Document:
    """Return the report of a forecast.

    Parameters
    ----------
    answer : Forecast
    units, title, code
        As for every report. A forecast does not hold the lines that made it: a panel or the
        caller gives them.
    log : ProbeLog, optional
        The log it was made from: gives the picture, and times of day.
    meat : int
        Which of its meat probes.
    """
    choice = as_units(units)
    said = forecast_text(answer, log, choice).splitlines()
    blocks: list[Block] = []
    if log is not None:
        blocks.append(
            Picture(
                figure_forecast(answer, log, meat=meat, units=choice),
                f"The log up to now, and bands of what may come. {said[0]}",
                "The log with its fit, and the fan of what may come: the middle half of the "
                "chances, and nine in ten. Above, when it will be ready.",
            )
        )
    blocks.append(chance_table(answer, log))
    blocks.append(Paragraph("What it says and assumes", "strong"))
    blocks.append(Listing(tuple(said)))
    return Document(
        title=title or "When will it be ready?",
        lead=" ".join(said[:3]),
        caution=(cautions.ODDS, *cautions.REPORT),
        blocks=tuple(blocks),
        data=forecast_data(answer, log),
        code=code,
        versions=versions(),
    )


def chance_table(answer: Forecast, log: ProbeLog | None) -> Table:
    """Return by when it is ready, with which chance."""
    rows = []
    for percent in BANDS:
        at_s = answer.quantile_s(percent)
        known = math.isfinite(at_s)
        when = (
            moment(at_s, answer.now_s, log) if known else "later than was looked at, or never"
        )
        rows.append((f"{percent:g} in 100", when))
    return table_of("Ready by", ("chance", "when"), rows, (30, 70))


def forecast_data(answer: Forecast, log: ProbeLog | None) -> tuple[Data, ...]:
    """Return the bands, the finish of each draw, and the log."""
    bands = data_of(
        "forecast-bands.csv",
        {
            "time_s": answer.time_s,
            **{
                f"p{percent:g}_c": row
                for percent, row in zip(BANDS, answer.bands_c, strict=True)
            },
        },
        "Percentiles of the probe's reading, in the log's time.",
    )
    finish = data_of(
        "forecast-finish.csv",
        {"finish_s": answer.finish_s},
        "When each draw is ready, in the log's time; inf where never within the horizon.",
    )
    return (bands, finish, log_data(log)) if log is not None else (bands, finish)


__all__ = ["chance_table", "forecast_report"]
