"""The rules of tests/conftest.py hold: a rule that does nothing would go unnoticed."""

from __future__ import annotations

import io
from pathlib import Path

import matplotlib
import numpy as np
import pytest
from matplotlib import pyplot as plt
from PIL import Image

from support import sharing
from support.pictures import is_drawn


@pytest.mark.parametrize(
    "bad", [lambda x: x / 0.0, lambda x: np.exp(x * 1e6), lambda x: np.log(-x)]
)
def test_floating_point_errors_raise(bad: object) -> None:
    assert callable(bad)
    with pytest.raises(FloatingPointError):
        bad(np.float64(1.0))


def test_underflow_does_not_raise() -> None:
    assert np.exp(np.float64(-1e6)) == 0.0


def test_no_screen_is_needed() -> None:
    assert matplotlib.get_backend().lower() == "agg"


def test_the_folder_is_the_marker(request: pytest.FixtureRequest) -> None:
    assert request.node.get_closest_marker("unit") is not None
    assert request.node.get_closest_marker("browser") is None


def test_a_blank_sheet_and_a_black_one_are_not_drawn() -> None:
    for shade in (0, 255):
        stream = io.BytesIO()
        Image.new("L", (200, 100), shade).save(stream, "PNG")
        assert not is_drawn(stream.getvalue())
    figure, axes = plt.subplots()
    axes.plot([0, 1])
    stream = io.BytesIO()
    figure.savefig(stream)
    plt.close(figure)
    assert is_drawn(stream.getvalue())


def test_shared_work_is_there_and_no_browser_is_opened_twice(root: Path) -> None:
    assert [piece for piece in sharing.ORDER if not (root / piece).exists()] == []
    browser = sorted((root / sharing.LAB).glob("test_*.py"))
    names = [f"{file.relative_to(root).as_posix()}::test_it" for file in browser]
    assert {sharing.piece_of(name) for name in names} == {sharing.LAB, sharing.APP}
    assert [sharing.rank(name) for name in names].count(0) == len(names) - 1
    run = f"{sharing.NOTEBOOKS}::test_notebook_runs[start]"
    assert sharing.piece_of(run) == run
    assert 0 < sharing.rank(run) < sharing.rank(f"{sharing.APP}::test_it")
    assert sharing.rank("tests/unit/test_new.py::test_it") == len(sharing.ORDER)
