"""Rules for every test: a marker from the folder, no windows, no silent overflow."""

from __future__ import annotations

import os
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import hypothesis
import matplotlib
import numpy as np
import pytest

from support import sharing

TESTS = Path(__file__).parent
ROOT = TESTS.parent
KINDS = ("unit", "verification", "validation", "notebooks", "browser")

# For the processes that share the tests and for programs that tests start: two cores are better
# used by two of them than by the threads of a library that wait for each other.
os.environ.setdefault("OMP_NUM_THREADS", "1")
# Before anything imports pyplot: a test never needs a screen.
matplotlib.use("Agg")

# No deadline: the first example may compile the solver. In CI the examples are
# derived from the test itself, so that a red run can be repeated; at home they
# vary, so that they go on finding things.
hypothesis.settings.register_profile("ci", derandomize=True, deadline=None)
hypothesis.settings.register_profile("home", deadline=None)
hypothesis.settings.load_profile("ci" if os.environ.get("CI") else "home")


def pytest_ignore_collect(collection_path: Path, config: pytest.Config) -> bool | None:
    """Where only quick tests are wanted, do not import files that have none."""
    wanted = (config.option.markexpr or "").startswith("quick")
    if wanted and collection_path.suffix == ".py":
        return b"pytest.mark.quick" not in collection_path.read_bytes() or None
    return None


def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """Mark each test with the name of the folder it lies in, and order what is shared.

    In one process the browser comes last. Where two share the tests it comes first, so
    that one of them is at it while the other does the rest.
    """
    for item in items:
        if item.path.is_relative_to(TESTS):
            kind = item.path.relative_to(TESTS).parts[0]
            if kind in KINDS:
                item.add_marker(kind)
    if hasattr(config, "workerinput"):
        items.sort(key=lambda item: sharing.rank(item.nodeid))
    else:
        items.sort(key=lambda item: item.get_closest_marker("browser") is not None)


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> object | None:
    """Share by file, but for what `support.sharing` says."""
    if config.getvalue("dist") != "loadfile":
        return None
    config.option.loadscopereorder = False
    return sharing.Sharing(config, log)


@pytest.fixture(autouse=True)
def floating_point_errors_raise() -> Iterator[None]:
    """Turn division by zero, overflow and invalid operations into failures.

    Underflow to zero is what an exponential far in its tail should do.
    """
    with np.errstate(all="raise", under="ignore"):
        yield


@pytest.fixture(scope="session")
def root() -> Path:
    """Return the folder of the checkout."""
    return ROOT
