"""An account of every line of a followed log."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from coreward.logs.joining import FileRead
from coreward.logs.parts import LEFT_OUT, Reading
from coreward.logs.placing import Placed


@dataclass(frozen=True)
class Accounting:
    """What became of every line seen."""

    lines: int = 0
    """Lines seen, over all files; an end that was cut off counts as a line."""
    notes: int = 0
    """Headers, comments, preamble and blank lines."""
    used: int = 0
    """Rows in the log as they were written."""
    repaired: int = 0
    """Rows in the log of which a reading or the time is not as written."""
    duplicate: int = 0
    """Rows that repeat one in the log."""
    refused: int = 0
    """Rows left out for another reason, each listed."""
    waiting: int = 0
    """Lines not decided yet."""
    files: int = 0
    """Files seen one after the other under the path."""

    @property
    def is_balanced(self) -> bool:
        """True if the parts add up to the lines."""
        parts = (self.notes, self.used, self.repaired, self.duplicate, self.refused)
        return self.lines == sum(parts) + self.waiting

    def sentence(self) -> str:
        """Return the account as one sentence."""
        return (
            f"{self.lines} lines in {self.files} file{'s' if self.files != 1 else ''}: "
            f"{self.used} rows used as written, {self.repaired} repaired, "
            f"{self.duplicate} duplicate, {self.refused} refused, {self.notes} headers, notes "
            f"or blank lines, {self.waiting} not decided yet."
        )


def account_of(
    files: Sequence[FileRead],
    reading: Reading | None = None,
    numbers: NDArray[np.int64] | None = None,
    placed: Placed | None = None,
) -> Accounting:
    """Account for the lines of files.

    Parameters
    ----------
    reading : Reading, optional
        What was listed for them; the readings of the files when there is no log yet.
    numbers : ndarray of int, optional
        Lines of the rows in the log.
    """
    listed = [one for file in files for one in file.reading.repairs]
    listed += [one for file in files for part in file.parts for one in part.reading.repairs]
    size = repaired = 0
    if reading is not None and numbers is not None and placed is not None:
        listed = reading.repairs
        size = numbers.size
        touched = placed.retimed.copy()
        for one in listed:
            if one.became != LEFT_OUT and one.row is not None:
                last = one.row if one.last_row is None else one.last_row
                touched |= (numbers >= one.row) & (numbers <= last)
        repaired = int(np.count_nonzero(touched))
    gone = [one for one in listed if one.became == LEFT_OUT]
    duplicate = sum(one.kind == "duplicate" for one in gone)
    waiting = sum(file.lines - file.notes for file in files if file.is_waiting)
    if placed is None:
        waiting += sum(part.kept.size for file in files for part in file.parts)
    else:
        waiting += placed.waiting
    return Accounting(
        lines=sum(file.lines for file in files),
        notes=sum(file.notes for file in files),
        used=size - repaired,
        repaired=repaired,
        duplicate=duplicate,
        refused=len(gone) - duplicate,
        waiting=waiting,
        files=sum(file.lines > 0 for file in files),
    )
