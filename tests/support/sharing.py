"""Which process runs which tests when several share them (`pytest -n 2 --dist loadfile`)."""

from __future__ import annotations

from xdist.scheduler import LoadFileScheduling

# Pieces of work in the order in which they are given out, the longest first: what is short
# fills the gaps at the end. A file of tests is one piece, but:
LAB = "tests/browser"
"""All but the app view in one piece: one browser and one JupyterLab for all."""
APP = "tests/browser/test_app_view.py"
NOTEBOOKS = "tests/notebooks/test_run.py"
"""Each test by itself: they share nothing."""
# A browser waits a good deal, notebooks compute: they go well beside each other.
ORDER = (
    LAB,
    NOTEBOOKS,
    APP,
    "tests/verification/test_lethality_never_unsafe.py",
    "tests/unit/test_verdict_panel.py",
    "tests/unit/test_hostile_logs.py",
    "tests/unit/test_forecast_panel.py",
    "tests/unit/test_rest_panel.py",
    "tests/unit/test_app_server.py",
    "tests/verification/test_engines.py",
    "tests/verification/test_plan_forward.py",
    "tests/verification/test_verdict_oracle.py",
    "tests/unit/test_reports.py",
    "tests/unit/test_plan.py",
    "tests/unit/test_events.py",
    "tests/unit/test_replan.py",
    "tests/unit/test_plan_panel.py",
    "tests/verification/test_chamber.py",
)


def piece_of(name: str) -> str:
    """Return the piece of work that a test is part of."""
    file = name.partition("::")[0]
    if file.startswith(f"{LAB}/") and file != APP:
        return LAB
    return name if file == NOTEBOOKS else file


def rank(name: str) -> int:
    """Return the place of a test in the queue; those of equal rank stay in order."""
    piece = piece_of(name).partition("::")[0]
    return ORDER.index(piece) if piece in ORDER else len(ORDER)


class Sharing(LoadFileScheduling):  # type: ignore[misc]
    """Give the work out in the order of collection, which is that of `rank`."""

    def _split_scope(self, nodeid: str) -> str:
        return piece_of(nodeid)
