"""What the notebook on the numerics asks, draws and says."""

from __future__ import annotations

import dataclasses
import math
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward.errors import InputError, MissingFeatureError, SolverError
from coreward.evidence import verification
from coreward.evidence import verification_figure as figures
from coreward.evidence.series import roots, series
from verification import mutations

PIECE = cw.Piece(cw.Slab(0.03), cw.meat("beef brisket flat"), 4.0)
STAGE = cw.Stage(cw.Surroundings(107.0, dew_point_c=35.0), duration_s=600.0)


@pytest.fixture(scope="module")
def errors() -> tuple[verification.SeriesError, ...]:
    return verification.series_errors(("slab", "sphere"), (0.1, 10.0))


def fake_difference() -> verification.EngineDifference:
    """Made from one engine: pictures and words need no second one."""
    run = cw.simulate(PIECE, STAGE)
    off = np.full(len(run.time_s), 0.010)
    off[3], off[4] = 0.5, 0.025
    own = np.ones(len(run.time_s), dtype=bool)
    own[3] = False
    return verification.EngineDifference(
        run, run, run.time_s, own, off / 5.0, off, off / 1e4, 0.003, 9.0
    )


def test_series_refuse_what_they_cannot_solve() -> None:
    with pytest.raises(InputError, match="no series for 'cube'"):
        roots("cube", 1.0)
    with pytest.raises(InputError, match="greater than zero"):
        series("slab", 0.0)


def test_few_roots_are_the_first_of_many() -> None:
    for shape in ("slab", "cylinder", "sphere"):
        assert roots(shape, 2.0, 1)[0] == roots(shape, 2.0)[0]


def test_errors_are_small_and_shrink_with_finer_settings(
    errors: tuple[verification.SeriesError, ...],
) -> None:
    assert [(row.shape, row.biot) for row in errors] == [
        ("slab", 0.1), ("slab", 10.0), ("sphere", 0.1), ("sphere", 10.0)
    ]  # fmt: skip
    fine = verification.series_errors(("sphere",), (10.0,), cells=120, tolerance=1e-3)[0]
    # 0.1 % of the step; finer settings are those of the verification tests, 0.02 K there.
    assert all(row.worst("core_k")[0] < 0.1 for row in errors)
    assert 0.0 < fine.worst("core_k")[0] < min(0.02, errors[3].worst("core_k")[0])
    assert errors[0].fourier[0] >= verification.FIRST_FOURIER
    # Small Biot numbers are slow; the run lasts until the piece has followed.
    assert errors[0].fourier[-1] > 10.0


def test_worst_is_a_size_and_its_place() -> None:
    row = verification.SeriesError(
        "slab", 1.0, np.array([0.1, 0.2]), np.array([0.01, -0.03]), np.zeros(2), np.zeros(2)
    )
    assert row.worst("core_k") == (0.03, 0.2)


@pytest.mark.parametrize("shape", ["slab", "cylinder", "sphere"])
def test_orders(shape: str) -> None:
    # The limits are those of tests/verification/test_orders.py.
    assert verification.order_in_space(shape, (21, 41, 81)).observed > 1.9
    assert verification.order_in_time(shape, (16, 32, 64)).observed == pytest.approx(
        3.0, abs=0.25
    )


def test_order_is_the_slope() -> None:
    size = np.array([0.4, 0.2, 0.1])
    order = verification.Order("slab", "space", 2.0, size, 7.0 * size**1.5)
    assert order.observed == pytest.approx(1.5)
    assert "order 1.50 (2 expected)" in figures.orders_in_words([order])


def test_unknown_shape_and_refused_steps(monkeypatch: pytest.MonkeyPatch) -> None:
    with pytest.raises(InputError, match="no shape 'cube'"):
        verification.order_in_space("cube")
    problem, _ = verification._smooth("slab", 11, 1e-3)
    refused = dataclasses.replace(verification.solve_in_steps(problem, 4), rejected=2)
    monkeypatch.setattr(verification.fast, "solve", lambda _: refused)
    with pytest.raises(SolverError, match="2 of 4 equal steps were refused"):
        verification.solve_in_steps(problem, 4)


def test_balances_are_those_of_the_cook() -> None:
    (row,) = verification.balances({"short & dry": (PIECE, STAGE)})
    run = cw.simulate(PIECE, STAGE)
    assert (row.energy, row.water) == (run.balance.energy, run.balance.water)
    assert row.core_c == run.core_c[-1]
    table = figures.balance_table((dataclasses.replace(row, energy=3.2e-16, water=0.0),))
    assert "short &amp; dry" in table
    assert "<td>3 · 10⁻¹⁶</td><td>0</td>" in table


def test_series_are_drawn_and_tabled(errors: tuple[verification.SeriesError, ...]) -> None:
    figure = figures.figure_series(errors)
    assert [ax.get_title(loc="left") for ax in figure.axes] == [
        "slab, core", "sphere, core", "slab, surface", "sphere, surface"
    ]  # fmt: skip
    # one line for each Biot number and the promise
    assert all(len(ax.lines) == 3 for ax in figure.axes)
    bad = dataclasses.replace(errors[0], core_k=errors[0].core_k + 0.07)
    table = figures.series_table({"usual": (bad,), "finer": errors[:1]})
    assert table.count("<tr>") == 3
    assert table.count("<b>") == 1


def test_orders_are_drawn_with_their_slope() -> None:
    size = np.array([0.1, 0.05])
    space = verification.Order("slab", "space", 2.0, size, size**2)
    time = verification.Order("sphere", "time", 3.0, size, size**3)
    for ax, slope in zip(figures.figure_orders([space], [time]).axes, (2.0, 3.0), strict=True):
        x, y = ax.lines[-1].get_data()
        assert np.log(y[0] / y[1]) / np.log(x[0] / x[1]) == pytest.approx(slope)


def test_engines_are_compared_where_each_has_its_steps() -> None:
    words = figures.engines_in_words(fake_difference())
    assert "Core: at most 100.0 mK apart" in words
    assert "at most 25 mK apart at the steps" in words
    assert "up to 500 mK" in words
    figure = figures.figure_engines(fake_difference(), "F")
    assert figure.axes[0].get_ylabel() == "temperature (°F)"
    low, high = figure.axes[2].get_ylim()
    assert low < -500.0 < 500.0 < high


def test_a_second_engine_gives_the_same_cook() -> None:
    pytest.importorskip("fipy")
    ball = cw.Piece(cw.Sphere(0.08), cw.constant_material(0.5, 1000.0, 3500.0), 4.0)
    around = cw.Surroundings(107.0, heat_transfer=15.0, emissivity=0.0)
    found = verification.compare_engines(ball, cw.Stage(around, duration_s=1200.0))
    assert found.fipy.engine == "fipy"
    assert found.time_s[-1] == 1200.0
    # as asked of the engines in tests/verification, and not one engine twice
    assert 0.0 < np.abs(found.core_k).max() < 0.05
    assert found.own_step.sum() < len(found.own_step)
    assert found.fipy_seconds > found.fast_seconds


def test_the_script_of_mutations_writes_what_the_page_reads(tmp_path: Path) -> None:
    file = tmp_path / "found.csv"
    mutations.write_csv(
        file,
        [
            ("sign, wrong", "a.py", "test_a.py::test_b; test_a.py::test_c", "12"),
            ("nobody looked", "b.py", "", "30"),
            ("moved on", "c.py", "", ""),
        ],
    )
    rows = verification.mutation_rows(file)
    assert rows[0].name == "sign, wrong"
    assert rows[0].caught_by == ("test_a.py::test_b", "test_a.py::test_c")
    assert [math.isnan(row.seconds) for row in rows] == [False, False, True]
    table = figures.mutations_table(rows)
    assert "test_a.py::test_b<br>test_a.py::test_c" in table
    assert table.count("<b>nothing</b>") == 1
    assert table.count("could not be made") == 1


def test_mutations_that_are_not_there(tmp_path: Path) -> None:
    with pytest.raises(MissingFeatureError, match=r"mutations\.py --csv"):
        verification.mutation_rows(tmp_path / "none.csv")
    other = tmp_path / "other.csv"
    other.write_text("a,b\n1,2\n", encoding="utf-8")
    with pytest.raises(InputError, match="has the columns"):
        verification.mutation_rows(other)


def test_the_script_refuses_a_folder_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit):
        mutations.main(["--csv", str(tmp_path / "nowhere" / "found.csv")])
    assert "there is no folder" in capsys.readouterr().err
