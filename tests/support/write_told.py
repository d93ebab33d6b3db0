"""Write the tables of what is told anew: ``python tests/support/write_told.py``.

Then read the difference, row by row: each is an answer that a person gets.
"""

from __future__ import annotations

import csv
import importlib.util
import json
import sys
import tempfile
from pathlib import Path
from types import ModuleType

TESTS = Path(__file__).resolve().parents[1]
UNIT = TESTS / "unit"
sys.path.insert(0, str(TESTS))


def module(name: str) -> ModuleType:
    """Return a file of tests as a module."""
    spec = importlib.util.spec_from_file_location(name, UNIT / f"{name}.py")
    assert spec is not None
    assert spec.loader is not None
    found = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(found)
    return found


def write_events() -> None:
    """Write the events of the demo logs, each beside the true one of its kind nearest it."""
    from coreward.evidence.event_scores import default_tolerances
    from coreward.logs import read_log

    tests = module("test_events_told")
    cooks = json.loads((tests.DEMO / "backtest" / "truths.json").read_text(encoding="utf-8"))
    truths = {f"backtest/{cook['name']}": cook["events"] for cook in cooks["cooks"]}
    reach, rows = default_tolerances(), []
    for (log, meat, until_h), known in tests.ROWS.items():
        units = known[0]["units"]
        until_s = float(until_h) * 3600.0 if until_h else None
        read = read_log(tests.DEMO / f"{log}.csv")
        for event in tests.find_events(read, int(meat), until_s=until_s):
            away = {
                abs(true["time_s"] - event.time_s): true["time_s"]
                for true in truths.get(log, ())
                if true["kind"] == event.kind
            }
            near = min(away, default=float("inf"))
            rows.append(
                {
                    "log": log, "meat": meat, "until_h": until_h, "units": units,
                    "truth_s": f"{away[near]:.0f}" if near <= reach[event.kind] else "",
                    **tests.told(event, units),
                }
            )  # fmt: skip
    with (UNIT / "told_events.csv").open("w", encoding="utf-8", newline="") as lines:
        names = "log meat until_h kind begin_s end_s size confidence truth_s units sentence"
        writer = csv.DictWriter(lines, names.split(), lineterminator="\n")
        writer.writeheader()
        writer.writerows(rows)


def write_layouts() -> None:
    """Write what is told of each layout and each damaged log."""
    tests = module("test_logs_told")
    blocks = []
    with tempfile.TemporaryDirectory() as folder:
        for name, (file, data, options) in tests.files().items():
            path = Path(folder) / file
            path.write_bytes(data)
            blocks.append("\n".join([f"## {name}", *tests.told(path, **options), ""]))
    tests.TOLD.write_text("\n".join(blocks), encoding="utf-8")


def write_histories() -> None:
    """Write what is told of each random history in the table."""
    tests = module("test_verdicts_told")
    blocks = [
        "\n".join([f"## {seed}", *tests.told(tests.make_history(seed)), ""])
        for seed in tests.blocks()
    ]
    tests.TOLD.write_text("\n".join(blocks), encoding="utf-8")


if __name__ == "__main__":
    write_events()
    write_layouts()
    write_histories()
