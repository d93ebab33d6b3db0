"""A logger that misbehaves: writes an invented cook line by line, as slowly as it likes.

Each sample carries its own number in its meat reading, so that a test can tell whether
every sample arrived exactly once.
"""

from __future__ import annotations

import datetime as dt
import os
import random
from collections.abc import Callable
from pathlib import Path

INTERVAL_S = 30
START = dt.datetime(2026, 9, 5, 20, 0)
HEADER = "date and time,pit air (°C),shoulder meat (°C),outside ambient (°C)"
OTHER_HEADER = "outside ambient (°C);date and time;shoulder meat (°C);pit air (°C)"


def meat_c(number: int) -> float:
    """Return the meat reading that stands for a sample."""
    return round(4.0 + number * 0.01, 2)


class Logger:
    """Writes samples to a file, badly.

    Parameters
    ----------
    path : Path
        The file.
    seed : int
        Of everything left to chance.
    pause : callable
        Called between writes; lets the reader run.
    caught_up : callable
        Called before the file is truncated and when a new one was begun; returns when all
        of it was read. What is gone before anybody read it is lost to every reader.
    """

    def __init__(
        self,
        path: Path,
        seed: int,
        pause: Callable[[], None],
        caught_up: Callable[[], object],
    ) -> None:
        self.path = path
        self.chance = random.Random(seed)
        self.pause = pause
        self.caught_up = caught_up
        self.number = 0
        self.clock_error_s = 0
        self.duplicates = 0
        self.garbage = 0
        self.lines: list[str] = []
        self.written: list[str] = []  # lines of samples in the file at hand
        self.is_other = False
        self._begin(HEADER)
        self.caught_up()

    def _begin(self, header: str) -> None:
        self.written = []
        self._put(f"# INVENTED: Lower Wending, crew of Jürgen\r\n{header}\r\n")

    def _put(self, text: str) -> None:
        """Write in pieces that end anywhere, also within a character."""
        data = text.encode("utf-8")
        while data:
            cut = self.chance.randrange(1, len(data) + 1)
            if self.chance.random() < 0.8:
                cut = len(data)
            with self.path.open("ab") as stream:
                stream.write(data[:cut])
            data = data[cut:]
            if data:
                self.pause()

    def _line(self) -> str:
        seconds = self.number * INTERVAL_S + self.clock_error_s
        stamp = (START + dt.timedelta(seconds=seconds)).isoformat(sep=" ")
        air = f"{110 + self.chance.uniform(-3, 3):.1f}"
        cells = [stamp, air, f"{meat_c(self.number):.2f}", f"{15 + self.number % 7 / 10:.1f}"]
        if self.is_other:
            cells = [cells[3], cells[0], cells[2], cells[1]]
        return (";" if self.is_other else ",").join(cells) + "\r\n"

    def samples(self, count: int) -> None:
        """Write so many samples."""
        for _ in range(count):
            line = self._line()
            self.number += 1
            self.written.append(line)
            self._put(line)

    def repeat_last(self) -> None:
        """Write the last line once more."""
        self._put(self.written[-1])
        self.duplicates += 1

    def repeat_block(self, count: int) -> None:
        """Write the last lines once more."""
        block = self.written[-count:]
        self._put("".join(block))
        self.duplicates += len(block)

    def junk(self, text: str) -> None:
        """Write a line that is no row."""
        self._put(text + "\r\n")
        self.garbage += 1

    def rotate(self, other: bool = False) -> None:
        """Rename the file and begin a new one."""
        os.replace(self.path, self.path.with_suffix(f".{self.number}"))
        self.pause()
        self.is_other = other
        self._begin(OTHER_HEADER if other else HEADER)
        self.caught_up()  # a file that comes and goes between two polls is never seen

    def rewrite_as_copy(self) -> None:
        """Replace the file by one with the same beginning."""
        self.caught_up()
        copy = self.path.with_suffix(".copy")
        copy.write_bytes(self.path.read_bytes())
        self.path.unlink()
        self.pause()
        os.replace(copy, self.path)
        self.caught_up()

    def rewrite_the_end(self, keep: int) -> None:
        """Truncate the file and write its last lines anew, as a ring of lines does."""
        self.caught_up()
        kept = self.written[-keep:]
        self.path.write_bytes(b"")
        self.pause()
        self._begin(HEADER)
        self._put("".join(kept))
        self.written = kept
        self.duplicates += len(kept)

    def clock_ahead(self, seconds: int, count: int) -> None:
        """Write samples under a clock that runs ahead, and put it right."""
        self.clock_error_s += seconds
        self.samples(count)
        self.clock_error_s -= seconds

    def anything(self) -> None:
        """Do one of all the things that can go wrong, with samples on both sides."""
        chance = self.chance
        what = chance.randrange(9)
        self.samples(6)
        if what == 0:
            self.samples(chance.randrange(1, 60))
        elif what == 1:
            self.repeat_last()
        elif what == 2 and len(self.written) > 12:
            self.repeat_block(chance.randrange(2, 12))
        elif what == 3:
            self.junk(chance.choice(("??", "a,b,c", "1,2,3,4,5,6", "2026-09-05 21")))
        elif what == 4:
            self.rotate(other=chance.random() < 0.5)
        elif what == 5:
            self.rewrite_as_copy()
        elif what == 6 and not self.is_other:
            self.rewrite_the_end(min(len(self.written), chance.randrange(3, 40)))
        elif what == 7:
            self.clock_error_s -= chance.randrange(1, 5000)
        elif what == 8:
            self.clock_ahead(chance.randrange(300, 50_000), chance.randrange(1, 40))
        self.samples(12)
