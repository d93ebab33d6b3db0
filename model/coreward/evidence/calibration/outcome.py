"""What came of a calibration: which account predicts best, and the table that is kept."""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward import tables
from coreward.cook.light import spread
from coreward.evidence.calibration.account import ACCOUNTS, SHARED, Account
from coreward.evidence.calibration.laplace import (
    ERRORS,
    Believed,
    Fit,
    Foretold,
    measured_values,
    predicted,
)
from coreward.evidence.calibration.measured import LOGARITHMIC, UNITS, Measured

Floats = NDArray[np.float64]
_NINE_IN_TEN = 1.6449


def tables_residuals(rows: Sequence[Measured], account: Account = ACCOUNTS[0]) -> list[Floats]:
    """Return measured less computed by the tables as they are: a smooth stream's film."""
    shared = np.zeros(len(account.shared))
    film = SHARED["film"]
    shared[account.shared.index("film")] = -film.middle / film.spread
    tasks = [(row, account, shared, np.zeros(len(row.unknowns))) for row in rows]
    return [
        measured_values(row) - value
        for row, value in zip(rows, spread(predicted, tasks), strict=True)
    ]


@dataclass(frozen=True)
class KindOutcome:
    """How well one kind of reading is predicted without its source; hours as logarithms.

    Attributes
    ----------
    kind : str
    count, inside : int
        Readings, and those inside nine in ten.
    bias, distance, width : float
        Mean of measured less predicted, mean of its size, mean standard deviation predicted.
    tables : float
        Root mean square of measured less computed by the tables.
    """

    kind: str
    count: int
    inside: int
    bias: float
    distance: float
    width: float
    tables: float


def by_kind(fit: Fit, residuals: Sequence[Floats]) -> tuple[KindOutcome, ...]:
    """Sum up an account by kind of reading; `residuals` are those of `tables_residuals`."""
    at = {id(row): gap for row, gap in zip(fit.rows, residuals, strict=True)}
    found = []
    for kind in ERRORS:
        own = [one for one in fit.foretold if one.row.readings[one.number].kind == kind]
        if not own:
            continue
        gaps = np.array([one.measured - one.middle for one in own])
        old = np.array([at[id(one.row)][one.number] for one in own])
        found.append(
            KindOutcome(
                kind, len(own), sum(one.inside for one in own), float(gaps.mean()),
                float(np.abs(gaps).mean()), float(np.mean([one.spread for one in own])),
                float(np.sqrt((old**2).mean())),
            )
        )  # fmt: skip
    return tuple(found)


def in_words(one: Foretold) -> tuple[str, str, str]:
    """Say measured, predicted without its source, and the band that nine in ten lie in."""
    kind = one.row.readings[one.number].kind
    unit = UNITS[kind]
    at = [one.measured, one.middle, one.middle - _NINE_IN_TEN * one.spread,
          one.middle + _NINE_IN_TEN * one.spread]  # fmt: skip
    if kind in LOGARITHMIC:
        at = [math.exp(value) for value in at]
    places = 2 if kind == "share" else 1
    told = [f"{value:.{places}f}" for value in at]
    return f"{told[0]} {unit}".strip(), f"{told[1]} {unit}".strip(), f"{told[2]} to {told[3]}"


def winner(fits: Sequence[Fit]) -> Fit:
    """Return the account that predicted left-out sources best."""
    return max(fits, key=lambda fit: fit.score)


def sizes_in_words(fit: Fit) -> str:
    """Say how much smaller weighed pieces act than usual ones, and without each source."""
    at, unit = fit.account.shared.index("size"), SHARED["size"].spread

    def told(one: Believed) -> str:
        error = unit * math.sqrt(one.covariance[at, at])
        return f"{unit * one.shared[at]:+.3f} ± {error:.3f}"

    apart = "; ".join(f"without {source} {told(one)}" for source, one in fit.without)
    return f"size (ln) {told(fit.believed)}; {apart}"


def _record(name: str, value: float, unit: str, reach: float, note: str, least: float) -> str:
    low = max(value - reach, least)
    return (
        f"\n[calibrated.{name}]\nvalue = {value:.4g}\nunit = \"{unit}\"\n"
        f"range = [{low:.4g}, {value + reach:.4g}]\nsource = \"calibrated_here\"\n"
        "where = \"python -m coreward.evidence.calibration\"\n"
        f"basis = \"fitted\"\nstatus = \"derived\"\nnote = \"{note}\"\n"
    )  # fmt: skip


def table_text(fits: Sequence[Fit]) -> str:
    """Return table ``calibrated`` as a file: the best account, and how the others did."""
    best = winner(fits)
    names = best.account.shared
    spreads = np.sqrt(np.diag(best.covariance))
    correlation = best.covariance / np.outer(spreads, spreads)
    pairs = "; ".join(
        f"{a} {b} {correlation[i, j]:+.2f}"
        for i, a in enumerate(names)
        for j, b in enumerate(names[:i])
    )
    scores = "; ".join(
        f"{fit.account.name} {fit.score:.1f} ({fit.coverage:.0%} inside)"
        for fit in sorted(fits, key=lambda fit: -fit.score)
    )
    readings = len(best.foretold)
    sources = len({row.source for row in best.rows})
    text = (
        "# Written by `python -m coreward.evidence.calibration`; do not edit by hand.\n"
        "# Shared numbers of the meat and of the air about it, as offsets from the tables, on\n"
        "# the scale of their unit (ln: a factor; logit: a share), one standard deviation in\n"
        "# NAME_spread. Ranges are nine in ten.\n\n"
        "[calibrated]\n"
        f"title = \"Calibrated on {readings} readings of {sources} sources\"\n"
        f"account = \"{best.account.name}\"\n"
        f"correlations = \"{pairs}\"\n"
        f"scores = \"{scores}\"\n"
        "note = \"Scores are logarithms of the density predicted of each source from all the "
        "others.\"\n"
        "default = true\n"
    )  # fmt: skip
    for i, name in enumerate(names):
        prior = SHARED[name]
        value = prior.middle + prior.spread * float(best.state.shared[i])
        deviation = prior.spread * float(spreads[i])
        note = (
            f"Before the rows: {prior.middle:.2g} with a standard deviation of "
            f"{prior.spread:.2g}; {prior.reason}."
        )
        text += _record(name, value, prior.scale, _NINE_IN_TEN * deviation, note, -math.inf)
        text += _record(
            f"{name}_spread", deviation, prior.scale, 0.5 * deviation,
            "One standard deviation of it.", 0.0,
        )  # fmt: skip
    kinds = list(ERRORS)
    for i, kind in enumerate(kinds):
        unit = "ln" if kind in LOGARITHMIC else UNITS[kind] or "-"
        for k, what in ((i, "apart"), (i + len(kinds), "by_source")):
            size = math.exp(float(best.state.errors[k]))
            where = "from row to row" if what == "apart" else "in common to a source"
            text += _record(
                f"error_{kind.replace(' ', '_')}_{what}", size, unit, 0.5 * size,
                f"What the model is off in {kind}, {where}, beyond every unknown.", 0.0,
            )  # fmt: skip
    return text


def believed() -> Believed:
    """Return what table ``calibrated`` says, as the calibration left it."""
    table = tables.load("calibrated")
    account = next(one for one in ACCOUNTS if one.name == table.text("account"))
    names = account.shared
    shared = np.array([(table[n] - SHARED[n].middle) / SHARED[n].spread for n in names])
    spreads = np.array([table[f"{n}_spread"] / SHARED[n].spread for n in names])
    correlation = np.eye(len(names))
    for pair in table.text("correlations").split("; "):
        a, b, value = pair.split(" ")
        i, j = names.index(a), names.index(b)
        correlation[i, j] = correlation[j, i] = float(value)
    errors = [
        math.log(table[f"error_{kind.replace(' ', '_')}_{what}"])
        for what in ("apart", "by_source")
        for kind in ERRORS
    ]
    return Believed(account, shared, correlation * np.outer(spreads, spreads), np.array(errors))


_HEAD = (
    "# What was predicted of each reading without its source, by the account of water\n"
    "# that does so best. Derived: written by `python -m coreward.evidence.calibration`.\n"
    "# spread: one standard deviation of everything together, of hours as a logarithm. A\n"
    "# reading that is given others is predicted from those before it in the same cook too.\n"
)


def left_out_text(fit: Fit) -> str:
    """Return what was predicted of each reading without its source, as a file."""
    file = io.StringIO()
    file.write(_HEAD)
    writer = csv.writer(file, lineterminator="\n")
    writer.writerow(
        ("source", "case", "kind", "measured", "predicted", "spread", "given_before", "status",
         "seen")
    )  # fmt: skip
    for one in fit.foretold:
        reading = one.row.readings[one.number]
        middle = math.exp(one.middle) if reading.kind in LOGARITHMIC else one.middle
        writer.writerow(
            (one.row.source, one.row.case, reading.kind, f"{reading.value:.4g}",
             f"{middle:.4g}", f"{one.spread:.3g}", "yes" if one.number else "no",
             one.row.status, "yes" if one.row.seen else "no")
        )  # fmt: skip
    return file.getvalue()
