"""Where the invented demo data lie: in a checkout, and in what was installed."""

from __future__ import annotations

from pathlib import Path

from coreward.errors import InputError

SUPPER_LOG = "harvest-supper.csv"
"""The log of the invented supper."""


def demo_folder() -> Path:
    """Return the folder of the invented data, wherever it came with the notebooks.

    Raises
    ------
    InputError
        If there is none.
    """
    here = Path.cwd()
    package = Path(__file__).resolve().parents[1]
    for folder in (
        here / "data" / "demo",
        here.parent / "data" / "demo",
        package.parents[1] / "data" / "demo",
        package / "_workbench" / "data" / "demo",
    ):
        if any(folder.glob("*.csv")):
            return folder
    raise InputError("The demo data did not come with this installation; install it again.")


def demo_logs() -> dict[str, Path]:
    """Return the invented demo logs by file name."""
    try:
        folder = demo_folder()
    except InputError:
        return {}
    # Tables of results beside the logs are not logs.
    return {
        path.name: path
        for path in sorted(folder.glob("*.csv"))
        if not path.name.startswith("backtest")
    }
