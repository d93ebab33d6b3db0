"""The event finder on the whole backtest set, which the other engine made."""

from __future__ import annotations

from coreward.evidence import backtest

# What was wanted of it, stated before it was written.
WANTED = 0.9


def test_nine_in_ten_of_the_found_are_true_and_of_the_true_are_found(root):
    cooks = backtest.load_cooks(root / "data" / "demo" / "backtest")
    assert len(cooks) == 60
    overall = backtest.event_scores(cooks).overall
    assert overall.true > 500
    assert overall.precision >= WANTED
    assert overall.recall >= WANTED
