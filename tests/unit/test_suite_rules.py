"""The rules of tests/conftest.py hold: a rule that does nothing would go unnoticed."""

from __future__ import annotations

import io

import matplotlib
import numpy as np
import pytest
from matplotlib import pyplot as plt
from PIL import Image

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
