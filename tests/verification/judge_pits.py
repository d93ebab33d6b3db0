"""Score the reduced pit on logs of another making: `python judge_pits.py FOLDER`.

The folder holds NN.csv (`time`, `pit`, `vent`) and NN-events.csv (`clock`, `what`: notes in
words). A pit is learned from its first two thirds; the last third is foretold from its notes
alone. Judged on, never tuned on.
"""

from __future__ import annotations

import csv
import datetime as dt
import math
import re
import sys
from pathlib import Path

import numpy as np

from coreward.questions.pit.own_pit import Note, learn_pit

# m/s of the words for wind (Beaufort 0 to 5), and rain as wind that costs as much.
WIND = {"calm": 0.3, "light": 2.0, "light to fresh": 4.0, "gusty": 6.0, "fresh": 7.0}
RAIN = {"light rain": 2.0, "rain": 4.0, "steady rain": 5.0, "rain stopped": 0.0}
HELD = 2.0 / 3.0


def seconds(text: str, first: dt.datetime) -> float:
    return (dt.datetime.fromisoformat(text) - first).total_seconds()


def notes_of(
    rows: list[dict[str, str]], first: dt.datetime, vent: str | None = None
) -> list[Note]:
    """Read what a person noted; `vent` as it stood at first."""
    found: list[Note] = []
    wind = rain = 0.0
    if vent:
        found.append(Note(0.0, "vent", float(vent)))
    for row in rows:
        at, what = seconds(row["clock"], first), row["what"]
        numbers = [float(n) for n in re.findall(r"-?\d+(?:\.\d+)?", what)]
        lid = re.search(r"open for (\d+) s", what)
        # A door of the fire is none of the pit.
        if lid and not re.search(r"(firebox|hearth) door|chute open|drawer open", what):
            found.append(Note(at, "lid", 1.0, float(lid[1])))
        for start, kind in (
            ("vent to", "vent"),
            ("outside", "outside"),
            ("aiming for", "aim"),
            ("fuel added", "fuel"),
            ("gas knob to", "knob"),
            ("set to", "set"),
        ):
            if what.startswith(start):
                found.append(Note(at, kind, numbers[0]))
        knob = re.search(r"knob at (\d\.?\d*)", what)
        if knob:
            found.append(Note(at, "knob", float(knob[1])))
        dial = re.search(r"(?:, set to|dial at) (\d+)", what)
        if dial:
            found.append(Note(at, "set", float(dial[1])))
        if what.startswith("meat on"):
            found.append(Note(at, "meat", numbers[0] * numbers[1]))
        if what.startswith("meat off"):
            found.append(Note(at, "meat", 0.0))
        if what.startswith("wind "):
            wind = WIND[what.removeprefix("wind ").removesuffix(" again")]
            found.append(Note(at, "wind", wind + rain))
        if what in RAIN:
            rain = RAIN[what]
            found.append(Note(at, "wind", wind + rain))
    return found


def score(folder: Path, name: str) -> tuple[float, float, float, float]:
    """Held-out error, its mean, that of staying where it was, and of the fit. [K]."""
    with (folder / f"{name}.csv").open(encoding="utf-8") as file:
        rows = list(csv.DictReader(file))
    with (folder / f"{name}-events.csv").open(encoding="utf-8") as file:
        events = list(csv.DictReader(file))
    first = dt.datetime.fromisoformat(rows[0]["time"])
    time = np.array([seconds(row["time"], first) for row in rows])
    air = np.array([float(row["pit"]) if row["pit"] else math.nan for row in rows])
    known = time <= HELD * time[-1]
    pit = learn_pit(time[known], air[known], notes_of(events, first, rows[0].get("vent")))
    held = ~known & np.isfinite(air)
    miss = pit.predict(time[held]) - air[held]
    late = known & (time > HELD * time[-1] - 7200.0)
    stay = np.nanmean(air[late]) - air[held]
    rms = [float(np.sqrt(np.mean(x**2))) for x in (miss, stay)]
    return rms[0], float(miss.mean()), rms[1], pit.scatter_k


def main() -> None:
    folder = Path(sys.argv[1])
    names = sorted(p.stem for p in folder.glob("[0-9][0-9].csv"))
    errors = []
    print("pit  held out  its mean  staying  fit, K")
    for name in names:
        row = score(folder, name)
        errors.append(row[0])
        print(f"{name}   {row[0]:8.1f}  {row[1]:8.1f}  {row[2]:7.1f}  {row[3]:5.1f}")
    within = sum(e <= 5.0 for e in errors)
    print(f"median {np.median(errors):.1f} K; within 5 K rms: {within} of {len(errors)}")


if __name__ == "__main__":
    main()
