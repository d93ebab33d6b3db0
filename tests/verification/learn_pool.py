"""Learn what the physics counts beside past cooks. A script, not a test: it takes an hour.

    python data/demo/make_backtest_logs.py FOLDER --seed 4711 --count 30
    python tests/verification/learn_pool.py FOLDER [--every 5]

forecasts a part of the library, each making left out in its turn, and a rehearsal set of
the model's own making, and prints the values of table ``forecast``, sets ``pool`` and
``stretch``. The judge set in ``data/library/judge`` has no part in it.
"""

from __future__ import annotations

import argparse
from pathlib import Path

from coreward.evidence import backtest, other_makings
from coreward.experience.library import library_cooks


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("rehearsal", type=Path, help="a set of make_backtest_logs.py")
    parser.add_argument(
        "--every", type=int, default=5, help="only each so manyth cook; no factor of six"
    )
    parser.add_argument("--members", type=int, default=200, help="draws")
    options = parser.parse_args()
    heard: list[other_makings.Hearing] = []
    for cook in library_cooks()[:: options.every]:
        heard += other_makings.hear(cook, members=options.members)
    print("other makings:", other_makings.score(heard), flush=True)
    own: list[other_makings.Hearing] = []
    for made in backtest.load_cooks(options.rehearsal):
        own += other_makings.hear_own_making(made, members=options.members)
    print("the model's own:", other_makings.score(own))
    print("pool:", other_makings.learn_trust([*heard, *own]))
    for stage in ("far", "near", "standing"):
        print("stretch", stage, other_makings.learn_stretch(heard, stage))


if __name__ == "__main__":
    main()
