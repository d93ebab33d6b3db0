"""Judge the forecasts on the whole backtest set. A script, not a test: it takes minutes.

    python tests/verification/backtest.py [FOLDER] [--out FILE] [--true-events]

prints what `how-good-are-the-forecasts` shows and writes the trials for it.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from coreward.evidence import backtest

ROOT = Path(__file__).parents[2]
DEMO = ROOT / "data" / "demo"


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", nargs="?", type=Path, default=DEMO / "backtest")
    parser.add_argument("--out", type=Path, default=DEMO / "backtest-trials.csv")
    parser.add_argument("--true-events", action="store_true", help="do not look for events")
    parser.add_argument("--every", type=int, default=1, help="only each so manyth cook")
    parser.add_argument("--members", type=int, help="draws (default: the table's)")
    options = parser.parse_args()
    cooks = backtest.load_cooks(options.folder)[:: options.every]
    found: list[backtest.Trial] = []
    for cook in cooks:
        found += backtest.trials(cook, members=options.members, find=not options.true_events)
        print(cook.name, len(found), flush=True)
    backtest.write_trials(found, options.out)
    for mode in backtest.MODES:
        for fraction in backtest.FRACTIONS:
            print(backtest.sentence(backtest.summarise(found, mode, fraction)))
    for words, shown_only in (("all events", False), ("events that show", True)):
        score = backtest.event_scores(cooks, shown_only=shown_only).overall
        print(f"{words}: precision {score.precision:.2f}, recall {score.recall:.2f}")


if __name__ == "__main__":
    main()
