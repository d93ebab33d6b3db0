"""What somebody without a model would say: the usual total less the time that has passed.

Run from anywhere: ``python data/library/judge/yardstick.py [FOLDER]`` (this folder if none
is named). The usual total is the geometric middle of the row of ``practice.csv`` for the cut
and the pit's setting; nothing of the curve is looked at, not even the wrap. The miss is
stated as a share of the time that was truly left, at 40, 60 and 80 % of the cook, and inside
the standstills of at least an hour and a half. Cooks that never finish are left out.
"""

from __future__ import annotations

import sys
from pathlib import Path

import numpy as np

HERE = Path(__file__).resolve().parent
sys.path[:0] = [str(HERE.parent)]

from library_pieces import usual_time  # noqa: E402
from library_records import read_files  # noqa: E402

SHARES = (0.4, 0.6, 0.8)
INSIDE = (0.25, 0.5, 0.75)
LONG_S = 1.5 * 3600


def moments(line: dict[str, str]) -> list[tuple[str, float]]:
    """Return when a cook is asked about: a name and seconds since its start."""
    finish = float(line["finish_s"])
    asked = [(f"at {100 * share:.0f} %", share * finish) for share in SHARES]
    if line["standstill_begin_s"]:
        begin, end = float(line["standstill_begin_s"]), float(line["standstill_end_s"])
        if end - begin >= LONG_S:
            asked += [("inside standstills", begin + s * (end - begin)) for s in INSIDE]
    return asked


def naive_misses(folder: Path) -> dict[str, list[tuple[str, float, bool]]]:
    """Return for each moment the structure, the miss as a share, and whether the range held.

    Parameters
    ----------
    folder : pathlib.Path
        A folder with cooks.csv and curves.npz.

    Returns
    -------
    dict
        By the name of the moment: a list over cooks.
    """
    misses: dict[str, list[tuple[str, float, bool]]] = {}
    for line, _ in read_files(folder):
        if not line["finish_s"]:
            continue
        usual = usual_time(line["cut"], float(line["pit_set_c"]))
        total = 3600 * np.sqrt(usual.hours_from * usual.hours_to)
        for name, elapsed in moments(line):
            left = float(line["finish_s"]) - elapsed
            said = max(total - elapsed, 0.0)
            held = usual.hours_from * 3600 <= float(line["finish_s"]) <= usual.hours_to * 3600
            misses.setdefault(name, []).append(
                (line["structure"], abs(said - left) / left, held)
            )
    return misses


def main() -> None:
    """Print the yardstick, for all and by structure."""
    folder = Path(sys.argv[1]) if len(sys.argv) > 1 else HERE
    misses = naive_misses(folder)
    everything = [row for name in list(misses) if name.startswith("at") for row in misses[name]]
    misses["40, 60 and 80 % together"] = everything
    for name, rows in misses.items():
        values = np.array([miss for _, miss, _ in rows])
        by = {
            structure: np.median([miss for s, miss, _ in rows if s == structure])
            for structure in dict.fromkeys(s for s, _, _ in rows)
        }
        detail = ", ".join(f"{s} {100 * value:.0f} %" for s, value in by.items())
        print(
            f"{name}: median miss {100 * np.median(values):.0f} % of the time left "
            f"(three quarters under {100 * np.percentile(values, 75):.0f} %), "
            f"{len(values)} answers; {detail}"
        )


if __name__ == "__main__":
    main()
