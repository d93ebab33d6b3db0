"""Which process runs which tests when several share them (`pytest -n 2 --dist loadfile`)."""

from __future__ import annotations

from xdist.scheduler import LoadFileScheduling

BROWSER = "tests/browser"
"""One piece of work, given out first: one browser, one JupyterLab and one app view for all."""
APART = ("tests/notebooks/test_run.py",)
"""Files whose tests share nothing and take long: each goes where there is room."""
LONGEST: tuple[str, ...] = ()
"""What takes longest after that, the longest first; what is short fills the gaps at the end."""


def share_of(name: str) -> str:
    """Return the piece of work that a test is part of."""
    if name.startswith(f"{BROWSER}/"):
        return BROWSER
    file = name.partition("::")[0]
    return name if file in APART else file


def rank(name: str) -> int:
    """Return the place of a test in the queue; those of equal rank stay in order."""
    order = (BROWSER, *APART, *LONGEST)
    share = share_of(name).partition("::")[0]
    return order.index(share) if share in order else len(order)


class Sharing(LoadFileScheduling):  # type: ignore[misc]
    """Give the work out in the order of collection, which is that of `rank`."""

    def _split_scope(self, nodeid: str) -> str:
        return share_of(nodeid)
