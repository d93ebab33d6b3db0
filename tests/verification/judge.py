"""Score forecasts on cooks of makings that nothing was learned on. A script, not a test.

    python tests/verification/judge.py OUT.csv [FOLDER] [--members 120]

forecasts each cook that finishes at 40, 60 and 80 % of its time, and at three moments of a
standstill of an hour and a half or more, as ``data/library/judge/yardstick.py`` asks. A run
that was stopped goes on where it stopped. Look at it once for each state of the code, and
never to choose a number.
"""

from __future__ import annotations

import argparse
import csv
from pathlib import Path

import numpy as np

from coreward.errors import CorewardError
from coreward.evidence import other_makings
from coreward.evidence.other_makings import Hearing
from coreward.experience.library import library_folder, read_cooks
from coreward.questions.forecast.answer import Target, forecast_from

SHARES, INSIDE, LONG_S = (0.4, 0.6, 0.8), (0.25, 0.5, 0.75), 5400.0
COLUMNS = (
    "cook",
    "moment",
    "making",
    "stage",
    "truth_s",
    "low_s",
    "middle_s",
    "high_s",
    "trust",
)


def moments(line: dict[str, str]) -> list[tuple[str, float]]:
    """Return when a cook is asked about."""
    finish = float(line["finish_s"])
    asked = [(f"{share:g}", share * finish) for share in SHARES]
    if line["standstill_begin_s"]:
        begin, end = float(line["standstill_begin_s"]), float(line["standstill_end_s"])
        if end - begin >= LONG_S:
            asked += [(f"inside {s:g}", begin + s * (end - begin)) for s in INSIDE]
    return asked


def told(path: Path) -> None:
    """Print what a table of answers says."""
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    for name in (*map("{:g}".format, SHARES), "inside", ""):
        mine = [
            Hearing(r["making"], r["stage"], (), *(float(r[c]) for c in COLUMNS[4:]))
            for r in rows
            if r["truth_s"]
            and (r["moment"].startswith(name) if name else r["moment"][0] == "0")
        ]
        if mine:
            print(name or "all shares", other_makings.score(mine))
    print("could not be answered:", sum(not r["truth_s"] for r in rows))


def main() -> None:
    """Run it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("out", type=Path)
    parser.add_argument("folder", nargs="?", type=Path, default=library_folder() / "judge")
    parser.add_argument("--members", type=int, default=120, help="draws")
    options = parser.parse_args()
    cooks = read_cooks(options.folder)
    with (options.folder / "cooks.csv").open(newline="", encoding="utf-8") as file:
        lines = list(csv.DictReader(file))
    done: set[tuple[str, str]] = set()
    if options.out.is_file():
        with options.out.open(newline="", encoding="utf-8") as file:
            done = {(r["cook"], r["moment"]) for r in csv.DictReader(file)}
    with options.out.open("a", newline="", encoding="utf-8") as file:
        writer = csv.writer(file, lineterminator="\n")
        if not done:
            writer.writerow(COLUMNS)
        # In any order: what a stopped run has scored is a fair part of the whole.
        for number in np.random.default_rng(1).permutation(len(cooks)):
            cook, line = cooks[number], lines[number]
            for name, now in moments(line) if line["finish_s"] else []:
                if (str(number), name) in done:
                    continue
                row: list[object] = [number, name, cook.structure, *[""] * 6]
                try:
                    fitted = other_makings.fit_at(cook, now, cores=1)
                    answer = forecast_from(
                        fitted, Target("core", cook.target_c), members=options.members, cores=1
                    )
                except CorewardError:
                    writer.writerow(row)
                    continue
                left = float(line["finish_s"]) - answer.now_s
                low, middle, high = (answer.quantile_s(p) - answer.now_s for p in (5, 50, 95))
                stage, trust = "there", 1.0
                if answer.pooled is not None:
                    stage, trust = answer.pooled.stage, answer.pooled.trust
                row[3:] = [stage, left, low, middle, high, trust]
                writer.writerow(row)
                file.flush()
    told(options.out)


if __name__ == "__main__":
    main()
