"""What a followed log hands out: new rows, the lines seen, and an account of them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import overload

from coreward.logs.log import Floats, Role


@dataclass(frozen=True)
class Accounting:
    """What became of every line seen.

    Attributes
    ----------
    lines : int
        Lines seen, over all files; an end that was cut off counts as a line.
    notes : int
        Headers, comments, preamble and blank lines.
    used : int
        Rows in the log as they were written.
    repaired : int
        Rows in the log of which a reading or the time is not as written.
    duplicate : int
        Rows that repeat one in the log.
    refused : int
        Rows left out for another reason, each listed.
    waiting : int
        Lines not decided yet.
    files : int
        Files seen one after the other under the path.
    """

    lines: int = 0
    notes: int = 0
    used: int = 0
    repaired: int = 0
    duplicate: int = 0
    refused: int = 0
    waiting: int = 0
    files: int = 0

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


@dataclass(frozen=True, eq=False)
class NewRows:
    """Rows that a poll found.

    Attributes
    ----------
    time_s : ndarray, shape (rows,)
        Time since the first sample of the log, in the order the rows came. [s]
    temperature_c : ndarray, shape (rows, channels)
        Readings; NaN where there is none. [°C]
    channels : tuple of (str, str)
        Name and role of each channel.
    moved : bool
        True if rows given out earlier now stand elsewhere in time: take
        `LogFollower.log` again.
    """

    time_s: Floats
    temperature_c: Floats
    channels: tuple[tuple[str, Role], ...]
    moved: bool = False

    def __len__(self) -> int:
        return int(self.time_s.size)


class SeenLines(Sequence[tuple[int, str]]):
    """Lines seen, as pairs of number and text; those of all files in one count."""

    def __init__(self, lines: list[str], chunks: list[bytes]) -> None:
        self._lines, self._count = lines, len(lines)  # lists that only grow
        self._chunks, self._pieces = chunks, len(chunks)

    @property
    def data(self) -> bytes:
        """All bytes read, as they were."""
        return b"".join(self._chunks[: self._pieces])

    def __len__(self) -> int:
        return self._count

    @overload
    def __getitem__(self, index: int) -> tuple[int, str]: ...

    @overload
    def __getitem__(self, index: slice) -> Sequence[tuple[int, str]]: ...

    def __getitem__(self, index: int | slice) -> tuple[int, str] | Sequence[tuple[int, str]]:
        if isinstance(index, slice):
            return tuple(self[i] for i in range(*index.indices(self._count)))
        number = index + self._count if index < 0 else index
        if not 0 <= number < self._count:
            raise IndexError(index)
        return number + 1, self._lines[number]
