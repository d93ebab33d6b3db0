"""The rules of tests/conftest.py hold: a rule that does nothing would go unnoticed."""

from __future__ import annotations

import matplotlib
import numpy as np
import pytest


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
