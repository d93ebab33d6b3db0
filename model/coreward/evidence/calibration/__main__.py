"""``python -m coreward.evidence.calibration``: makes table ``calibrated`` from nothing.

Nothing in it is drawn, so the numbers are the same each time. About a minute of processor
time for an account; stopped, it goes on from the files in its folder.
"""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from coreward.errors import CorewardError
from coreward.evidence.calibration.account import ACCOUNTS
from coreward.evidence.calibration.advice import advice_in_words
from coreward.evidence.calibration.laplace import calibrate
from coreward.evidence.calibration.outcome import (
    by_kind,
    left_out_text,
    sizes_in_words,
    table_text,
    tables_residuals,
    winner,
)
from coreward.evidence.calibration.rows import measured_rows
from coreward.evidence.published import published_file
from coreward.files import write_atomically

_TABLE = Path(__file__).resolve().parents[2] / "tables" / "calibrated.toml"


def _told(name: str, done: int, total: int) -> None:
    print(f"{name}: {done} of {total}", file=sys.stderr, flush=True)


def main(arguments: list[str] | None = None) -> int:
    """Calibrate, compare, and write the table."""
    parser = argparse.ArgumentParser(prog="python -m coreward.evidence.calibration")
    parser.add_argument("--folder", type=Path, help="where steps are kept, to go on from")
    parser.add_argument("--write", type=Path, default=_TABLE, help="the table to write")
    parser.add_argument(
        "--left-out", type=Path, help="the file of what was predicted of left-out sources"
    )
    parser.add_argument(
        "--account", action="append", choices=[one.name for one in ACCOUNTS],
        help="only this account of how water travels; may be given again",
    )  # fmt: skip
    given = parser.parse_args(arguments)
    rows = measured_rows()
    wanted = [one for one in ACCOUNTS if given.account is None or one.name in given.account]
    try:
        fits = [calibrate(rows, one, progress=_told, folder=given.folder) for one in wanted]
    except CorewardError as error:
        print(error, file=sys.stderr)
        return 1
    residuals = tables_residuals(rows)
    for fit in sorted(fits, key=lambda one: -one.score):
        print(f"{fit.account.name}: score {fit.score:.1f}, {fit.coverage:.0%} inside")
        for kind in by_kind(fit, residuals):
            print(
                f"  {kind.kind}: {kind.inside} of {kind.count} inside, bias {kind.bias:+.2f}, "
                f"distance {kind.distance:.2f}, width {kind.width:.2f} (tables off by "
                f"{kind.tables:.2f})"
            )
        print(f"  {sizes_in_words(fit)}")
    best = winner(fits)
    write_atomically(given.write, table_text(fits).encode())
    left_out = given.left_out or published_file("cooks.toml").with_name("left_out.csv")
    write_atomically(left_out, left_out_text(best).encode())
    print(f"{best.account.name} is kept in {given.write.name} and {left_out.name}.")
    print(advice_in_words(best.believed))
    return 0


if __name__ == "__main__":
    raise SystemExit(main())
