"""Read garbage by the thousand: each file gives a log or one readable sentence.

A program, not a test (`tests/unit/test_fuzz_logs.py` runs a few hundred):
``python tests/verification/fuzz_logs.py [FILES] [FIRST_SEED]``. It stops at the first
file that gives anything else, and prints its seed.
"""

from __future__ import annotations

import sys
import tempfile
import warnings
from collections import Counter
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.fuzzing import try_one

FILES = 20_000
LONGEST_S = 1.0


def main(files: int = FILES, first: int = 0) -> int:
    """Run, print what came of it, and return an exit code."""
    warnings.simplefilter("error")
    np.seterr(all="raise", under="ignore")
    outcomes: Counter[tuple[str, str]] = Counter()
    times = []
    slowest = (0.0, 0)
    with tempfile.TemporaryDirectory() as folder:
        for seed in range(first, first + files):
            try:
                kind, outcome, seconds = try_one(seed, Path(folder))
            except Exception:
                print(f"seed {seed}")
                raise
            outcomes[kind, outcome] += 1
            times.append(seconds)
            slowest = max(slowest, (seconds, seed))
            if len(times) % 1000 == 0:
                print(f"{len(times)} files, the slowest {slowest[0]:.3f} s", flush=True)
    for (kind, outcome), count in sorted(outcomes.items()):
        print(f"{kind:16} {outcome:8} {count:6}")
    print(
        f"{files} files; read in {np.median(times) * 1e3:.2f} ms (median), "
        f"{np.quantile(times, 0.99) * 1e3:.1f} ms (99 %), {slowest[0]:.3f} s at most "
        f"(seed {slowest[1]})"
    )
    return 0 if slowest[0] < LONGEST_S else 1


if __name__ == "__main__":
    sys.exit(main(*map(int, sys.argv[1:])))
