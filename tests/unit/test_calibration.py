"""The calibration: its rows, its linear algebra, and that known numbers come back."""

from __future__ import annotations

import concurrent.futures
import csv
import dataclasses
import math
import tomllib
from pathlib import Path

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.evidence.calibration import laplace
from coreward.evidence.calibration.account import ACCOUNTS, LIKE_RISE, SHARED, Cook, matters
from coreward.evidence.calibration.advice import advice_in_words, narrowings, shares
from coreward.evidence.calibration.laplace import (
    ERRORS,
    Fit,
    Foretold,
    Linear,
    Stack,
    State,
    best,
    calibrate,
    linearise,
    posterior,
    usual_errors,
)
from coreward.evidence.calibration.measured import LOGARITHMIC, UNITS, UNKNOWNS, Measured
from coreward.evidence.calibration.outcome import (
    believed,
    by_kind,
    left_out_text,
    table_text,
    tables_residuals,
    winner,
)
from coreward.evidence.calibration.rows import SOURCES, measured_rows

FLOW = ACCOUNTS[1]


def some(*sources: str) -> tuple[Measured, ...]:
    return tuple(row for row in measured_rows() if row.source in sources)


def test_every_row_is_whole() -> None:
    rows = measured_rows()
    assert len(rows) >= 80
    assert len({row.case for row in rows}) == len(rows)
    assert {row.source for row in rows} == set(SOURCES)
    for row in rows:
        assert row.status in ("read", "derived"), row.case
        assert row.readings, row.case
        assert len({u.name for u in row.unknowns}) == len(row.unknowns), row.case
        for unknown in row.unknowns:
            assert unknown.name in UNKNOWNS, row.case
            assert unknown.spread > 0.0, row.case
            assert unknown.reason, row.case
        for reading in row.readings:
            assert reading.kind in UNITS, row.case
            assert reading.kind in ERRORS, row.case
            assert reading.error > 0.0, row.case
            assert reading.kind not in LOGARITHMIC or reading.value > 0.0


def test_published_numbers_come_from_the_files() -> None:
    rows = {row.case: row for row in measured_rows()}
    ribs = {r.kind: r.value for r in rows["prime ribs medium"].readings}
    # 9.8 min a pound of 5.49 kg, 21.7 % lost, of which 11.7 as vapour; 5 K.
    assert ribs["hours"] == pytest.approx(9.8 * 5.49 / 0.45359237 / 60.0)
    assert (ribs["loss"], ribs["vapour"], ribs["rise"]) == (21.7, 11.7, 5.0)
    turkey = rows["whole turkey of 8.2 kg at 163 °C"].readings
    assert turkey[0].value == pytest.approx((155.0 + 11.0 * 8.2) / 60.0)
    assert turkey[1].value == 23.0
    assert rows["beef bottom round, roasted"].readings[0].value == pytest.approx(16.0)


def test_what_cannot_matter_does_not() -> None:
    """A number that is skipped in the slopes indeed moves nothing."""
    for case in ("0.94 kg beef slab, Water 0 C", "lean beef cube held 40 min at 70 °C"):
        row = next(one for one in measured_rows() if one.case == case)
        usual = Cook(row, FLOW, {}, {}).predictions()
        used = dict(zip(FLOW.shared, matters(row, FLOW), strict=True))
        assert not all(used.values())
        for name, moves in used.items():
            changed = Cook(row, FLOW, {name: 1.0}, {}).predictions()
            if not moves:
                assert changed == pytest.approx(usual, abs=1e-9), (case, name)
    assert np.abs(Cook(row, FLOW, {"permeability": 1.0}, {}).predictions() - usual).max() > 0.5


def test_a_stronger_film_cools_faster_and_water_does_not_care() -> None:
    air, water = (
        next(row for row in measured_rows() if row.case.startswith(name))
        for name in ("0.94 kg beef slab, Air", "0.94 kg beef slab, Water")
    )
    slow, fast = (Cook(air, FLOW, {"film": z}, {}).predictions()[0] for z in (-1.0, 1.0))
    # A factor of 1.65 of the film; the meat's own resistance takes most of it.
    assert 0.08 < slow - fast < 0.5
    wet = [Cook(water, FLOW, {"film": z}, {}).predictions()[0] for z in (-1.0, 1.0)]
    assert wet[0] == pytest.approx(wet[1])


def made(row: Measured, values: np.ndarray) -> Measured:
    """A row whose measurements are given numbers."""
    return dataclasses.replace(
        row,
        readings=tuple(
            dataclasses.replace(
                r, value=float(np.exp(v)) if r.kind in LOGARITHMIC else float(v)
            )
            for r, v in zip(row.readings, values, strict=True)
        ),
    )


def test_posterior_of_one_number_is_the_textbooks() -> None:
    """y = 3 x + own 2 u + noise: mean and variance of x as for one bell curve."""
    row = made(some("beef cubes")[0], np.array([2.0]))
    stack = Stack([row])
    shared, own = stack.slopes([Linear(np.zeros(1), np.array([[3.0]]), np.array([[2.0]]))])
    errors = usual_errors()
    kind = list(ERRORS).index("loss")
    apart, common = np.exp(errors[kind]), np.exp(errors[kind + len(ERRORS)])
    noise = row.readings[0].error ** 2 + apart**2 + common**2 + 4.0
    mean, covariance, _ = posterior(stack, shared, own, np.array([2.0]), errors)
    assert covariance[0, 0] == pytest.approx(1.0 / (1.0 + 9.0 / noise))
    assert mean[0] == pytest.approx(covariance[0, 0] * 3.0 * 2.0 / noise)


def test_errors_of_a_source_are_not_many_witnesses() -> None:
    """Ten readings of one source that err alike teach less than ten of ten sources."""
    rows = some("beef cubes")
    line = Linear(np.zeros(1), np.ones((1, 1)), np.zeros((1, 0)))
    errors = usual_errors()

    def spread(rows: list[Measured]) -> float:
        stack = Stack(rows)
        shared, own = stack.slopes([line] * len(rows))
        return float(posterior(stack, shared, own, np.zeros(len(rows)), errors)[1][0, 0])

    apart = [dataclasses.replace(row, source=f"s{i}") for i, row in enumerate(rows)]
    assert spread(list(rows)) > 1.5 * spread(apart)


def test_any_executor_gives_the_same_and_a_stopped_fit_goes_on(tmp_path: Path) -> None:
    rows = some("beef cubes")[::3]
    heard: list[tuple[str, int, int]] = []
    straight, _ = best(rows, FLOW, most=2, progress=lambda *step: heard.append(step))
    assert heard[0][:2] == (FLOW.name, 1)
    keep = tmp_path / "fit.json"
    best(rows, FLOW, most=1, keep=keep)
    with concurrent.futures.ThreadPoolExecutor(2) as pool:
        again, _ = best(rows, FLOW, most=2, keep=keep, executor=pool)
    assert again.shared.tolist() == straight.shared.tolist()
    assert again.errors.tolist() == straight.errors.tolist()
    with pytest.raises(InputError, match="other rows"):
        best(rows, ACCOUNTS[0], keep=keep)


def test_a_source_is_predicted_from_the_others_alone() -> None:
    """Moving what a source measured moves nothing of what is predicted of it first."""
    rows = some("beef cubes", "joint cooled in air")
    state, lines = best(rows, FLOW, most=2)
    told, believes = laplace._without("joint cooled in air", rows, FLOW, state, lines, None)
    moved = tuple(
        made(row, np.array([3.0])) if row.source == "joint cooled in air" else row
        for row in rows
    )
    lines_moved = [linearise((row, FLOW, state.shared, own))
                   for row, own in zip(moved, state.own, strict=True)]  # fmt: skip
    again, _ = laplace._without("joint cooled in air", moved, FLOW, state, lines_moved, None)
    assert again[0].middle == pytest.approx(told[0].middle, abs=1e-9)
    assert again[0].spread == pytest.approx(told[0].spread, abs=1e-9)
    assert again[0].measured == pytest.approx(3.0)
    assert told[0].measured == pytest.approx(6.5)
    assert believes.shared.shape == (len(FLOW.shared),)


def test_whole_calibration_of_few_rows() -> None:
    rows = some("beef cubes", "joint cooled in air", "packed roast")
    fit = calibrate(rows, FLOW)
    assert len(fit.foretold) == sum(len(row.readings) for row in rows)
    assert fit.score == pytest.approx(sum(one.score for one in fit.foretold))
    assert 0.0 <= fit.coverage <= 1.0
    # Cubes tell the holding curve: it is known better than before, whatever it became.
    at = FLOW.shared.index("hold_drop")
    assert fit.covariance[at, at] < 0.9
    kinds = {one.kind: one for one in by_kind(fit, tables_residuals(rows))}
    assert kinds["loss"].count == len(some("beef cubes"))
    other = dataclasses.replace(fit, foretold=fit.foretold[:1])
    assert winner((fit, other)) in (fit, other)


def test_score_is_the_density_of_a_bell_curve() -> None:
    row = made(some("beef cubes")[0], np.array([5.0]))
    one = Foretold(row, 0, 3.0, 2.0, 1.0, 3.0)
    assert one.deviation == pytest.approx(1.0)
    assert one.score == pytest.approx(-0.5 - math.log(2.0 * math.sqrt(2.0 * math.pi)))
    assert one.inside
    assert not dataclasses.replace(one, middle=1.0).inside


@pytest.fixture(scope="module")
def about_the_middle() -> tuple[tuple[Measured, ...], list[Linear]]:
    rows = measured_rows()
    tasks = [
        (row, FLOW, np.zeros(len(FLOW.shared)), np.zeros(len(row.unknowns))) for row in rows
    ]
    return rows, [linearise(task) for task in tasks]


def test_known_numbers_come_back(
    about_the_middle: tuple[tuple[Measured, ...], list[Linear]],
) -> None:
    """Forty makings of all rows from drawn numbers: intervals hold what they say.

    Linear about the middle, so that forty calibrations cost nothing; with the sizes of the
    model's errors found anew in each making. The 40 x 9 or so intervals hang together
    within a making: the shares are known to some 0.035 and 0.02, and twice that is allowed.
    """
    rows, lines = about_the_middle
    stack = Stack(rows)
    shared, own = stack.slopes(lines)
    generator = np.random.default_rng(20261201)
    errors = usual_errors()
    root = np.linalg.cholesky(stack.noise(errors))
    deviations = []
    for _ in range(40):
        truth = generator.standard_normal(shared.shape[1])
        theirs = generator.standard_normal(own.shape[1])
        departure = shared @ truth + own @ theirs + root @ generator.standard_normal(len(root))
        sizes = laplace.solve_errors(stack, shared, own, departure, errors)
        mean, covariance, _ = posterior(stack, shared, own, departure, sizes)
        deviations.append((truth - mean) / np.sqrt(np.diag(covariance)))
    z = np.abs(np.array(deviations))
    half, most = float((z < 0.6745).mean()), float((z < 1.6449).mean())
    print(f"50 % intervals hold {half:.3f}, 90 % intervals {most:.3f}")
    assert 0.43 <= half <= 0.57
    assert 0.86 <= most <= 0.94


@pytest.mark.parametrize("name", FLOW.shared)
def test_every_shared_number_says_why(name: str) -> None:
    one = SHARED[name]
    assert one.spread > 0.0
    assert one.scale in ("ln", "K", "logit", "-")
    assert len(one.reason) > 10


def test_fit_is_a_record() -> None:
    state = State(np.zeros(2), (), usual_errors())
    fit = Fit(FLOW, (), state, np.eye(2), ())
    assert fit.score == 0.0
    assert 0.6 < LIKE_RISE < 0.85


def test_what_is_kept_is_what_was_found() -> None:
    """Table and file say the same as the fit that they were written from, to their digits."""
    names = FLOW.shared
    generator = np.random.default_rng(3)
    root = 0.3 * generator.standard_normal((len(names), len(names)))
    covariance = root @ root.T + 0.1 * np.eye(len(names))
    state = State(generator.standard_normal(len(names)), (), usual_errors() + 0.2)
    row = made(some("beef cubes")[0], np.array([5.0]))
    fit = Fit(FLOW, (row,), state, covariance, (Foretold(row, 0, 3.0, 2.0, 1.0, 3.0),))
    sure = (dataclasses.replace(fit.foretold[0], middle=5.0),)
    better = dataclasses.replace(fit, account=ACCOUNTS[4], foretold=sure)
    assert better.score > fit.score
    table = tomllib.loads(table_text((fit, better)))["calibrated"]
    assert table["account"] == ACCOUNTS[4].name
    assert table["scores"].startswith(ACCOUNTS[4].name)
    kept = tomllib.loads(table_text((fit,)))["calibrated"]
    for i, name in enumerate(names):
        middle = SHARED[name].middle + SHARED[name].spread * state.shared[i]
        assert kept[name]["value"] == pytest.approx(middle, rel=1e-3, abs=1e-3)
        low, high = kept[name]["range"]
        assert low <= kept[name]["value"] <= high
    assert kept["error_loss_apart"]["value"] == pytest.approx(2.5 * math.exp(0.2), rel=1e-3)
    told = list(csv.DictReader(left_out_text(fit).splitlines()[4:]))
    assert (told[0]["measured"], told[0]["predicted"], told[0]["spread"]) == ("5", "3", "2")


def test_table_calibrated_can_be_believed() -> None:
    known = believed()
    assert known.covariance.shape == (len(known.shared),) * 2
    assert np.linalg.eigvalsh(known.covariance).min() > 0.0
    # Rows only ever narrow: no number is less known than its prior said.
    assert np.diag(known.covariance).max() < 1.05


def test_advice_narrows_and_is_told_in_the_readers_units() -> None:
    known = believed()
    found = narrowings(known)
    described, everything = found[0].factor, found[-1].factor
    assert all(everything <= one.factor <= described + 1e-9 for one in found[1:-1])
    # When the core passed its wrapping tells most: the same pit, piece and model so far.
    assert found[1:-1][-2].factor == min(one.factor for one in found[1:-1])
    assert sum(shares(known).values()) == pytest.approx(1.0)
    words = advice_in_words(known, "F")
    assert "199 °F" in words
    assert "°C" not in words
    assert " K" not in words
