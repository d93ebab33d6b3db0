"""The complete lines of a file that is still being written, whatever happens to it.

A line is handed out once, when its end has been written. The file may be cut short,
vanish, be renamed, be written anew from its beginning, or be replaced by another.
"""

from __future__ import annotations

import codecs
import os
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from coreward import tables
from coreward.logs.parts import Reading

_KEEPS_OPEN = os.name == "posix"
"""Whether a file may be renamed and deleted while it is open here.

Where it may, it stays open, and what was written to it before it was renamed is still
read. Where it may not, keeping it open would hinder the logger.
"""

_MARKS = (
    (codecs.BOM_UTF32_LE, "utf-32"),
    (codecs.BOM_UTF32_BE, "utf-32"),
    (codecs.BOM_UTF16_LE, "utf-16"),
    (codecs.BOM_UTF16_BE, "utf-16"),
)


@dataclass(frozen=True)
class Line:
    """A line without its end; `is_complete` is False if its end was never written."""

    text: str
    is_complete: bool = True


@dataclass(frozen=True)
class NewFile:
    """From here on the lines are those of another file, read from its beginning."""


class Tail:
    """Reads what was added to a file since the last time."""

    def __init__(self, path: Path, limits: tables.ParameterSet) -> None:
        self._stream: BinaryIO | None = None
        self._path = path
        self._block = int(limits["follow_block"])
        self._mark = int(limits["follow_head"])
        self._longest = int(limits["follow_line"])
        self._identity: tuple[int, int] | None = None
        self._offset = 0
        self._head = b""
        self._last = b""
        self._begin()
        self.is_there = False
        self.chunks: list[bytes] = []

    def _begin(self) -> None:
        self._buffer = b""
        self._decoder: codecs.IncrementalDecoder | None = None
        self._is_started = False

    def read(self, reading: Reading) -> list[Line | NewFile]:
        """Return what is new; nothing if the file is not there.

        Raises
        ------
        LogError
            If the path is a folder or may not be read.
        """
        found: list[Line | NewFile] = []
        try:
            state = self._path.stat()
        except (FileNotFoundError, NotADirectoryError):
            self.is_there = False
            if self._stream is not None:  # renamed or deleted, but perhaps still written to
                found.extend(self._added(self._stream))
            return found
        except (OSError, ValueError) as error:
            reading.fail(f"It cannot be opened ({error}).", "Check the path.")
        if self._path.is_dir():
            reading.fail("This is a folder, not a file.", "Give the path of the log in it.")
        try:
            identity = (state.st_dev, state.st_ino)
            if self._stream is not None and identity != self._identity:
                found.extend(self._rest(self._stream))
                self._stream.close()
                self._stream = None
            stream = self._stream or self._path.open("rb")
            opened = os.fstat(stream.fileno())
            self.is_there = True
            self._identity = (opened.st_dev, opened.st_ino)
            found.extend(self._added(stream))
            if _KEEPS_OPEN:
                self._stream = stream
            else:
                stream.close()
        except PermissionError:
            self.is_there = False  # the logger may hold it for a moment
        except OSError as error:
            reading.fail(
                f"It cannot be read ({error.strerror or error}).",
                "Check the file and its disk.",
            )
        return found

    def finish(self) -> list[Line | NewFile]:
        """Return the line that was never ended, and close the file."""
        self.close()
        return list(self._cut_off())

    def close(self) -> None:
        """Let go of the file."""
        if self._stream is not None:
            self._stream.close()
            self._stream = None

    def __del__(self) -> None:
        self.close()

    def _added(self, stream: BinaryIO) -> list[Line | NewFile]:
        """Return what was added to a file, or all of it if it is another one."""
        found: list[Line | NewFile] = []
        if self._offset and not self._continues(stream):
            found.extend(self._cut_off())
            found.append(NewFile())
            self._offset = 0
            self._head = self._last = b""
            self._begin()
        found.extend(self._more(stream))
        return found

    def _continues(self, stream: BinaryIO) -> bool:
        """Tell whether a file begins with what was read; a copy with more rows does."""
        if os.fstat(stream.fileno()).st_size < self._offset:
            return False
        stream.seek(0)
        if stream.read(len(self._head)) != self._head:
            return False
        stream.seek(self._offset - len(self._last))
        return stream.read(len(self._last)) == self._last

    def _rest(self, stream: BinaryIO) -> list[Line | NewFile]:
        found: list[Line | NewFile] = []
        while True:
            more = self._added(stream)
            found.extend(more)
            if not more:
                return found

    def _more(self, stream: BinaryIO) -> list[Line | NewFile]:
        stream.seek(self._offset)
        data = stream.read(self._block)
        if not data:
            return []
        self.chunks.append(data)
        self._offset += len(data)
        if len(self._head) < self._mark:
            self._head = (self._head + data)[: self._mark]
        self._last = (self._last + data)[-self._mark :]
        return self._lines(data)

    def _lines(self, data: bytes) -> list[Line | NewFile]:
        if not self._is_started:
            data = self._buffer + data
            self._buffer = b""
            if len(data) < 4:  # too short to tell its encoding
                self._buffer = data
                return []
            self._is_started = True
            self._decoder = _wide_decoder(data)
            if self._decoder is None and data.startswith(codecs.BOM_UTF8):
                data = data[len(codecs.BOM_UTF8) :]
        if self._decoder is not None:
            text = self._decoder.decode(data)
            data = text.removeprefix("\ufeff").encode("utf-8", "replace")
        # A carriage return at the very end may be half of a line end.
        data = self._buffer + data
        held = b"\r" if data.endswith(b"\r") else b""
        whole = data[: len(data) - len(held)].replace(b"\r\n", b"\n").replace(b"\r", b"\n")
        *lines, rest = whole.split(b"\n")
        self._buffer = rest + held
        found: list[Line | NewFile] = [Line(_text(line)) for line in lines]
        if len(self._buffer) > self._longest:
            found.append(Line(_text(self._buffer), is_complete=False))
            self._buffer = b""
        return found

    def _cut_off(self) -> list[Line | NewFile]:
        rest, self._buffer = self._buffer.removesuffix(b"\r"), b""
        return [Line(_text(rest), is_complete=False)] if rest else []


def _text(line: bytes) -> str:
    try:
        return line.decode("utf-8")
    except UnicodeDecodeError:
        return line.decode("cp1252", "replace")


def _wide_decoder(data: bytes) -> codecs.IncrementalDecoder | None:
    """Return a decoder for text of two or four bytes a character, None for others."""
    for mark, name in _MARKS:
        if data.startswith(mark):
            return codecs.getincrementaldecoder(name)("replace")
    head = data[: 2 * (min(len(data), 200) // 2)]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    if odd > 0.3 * len(head[1::2]) and even == 0:
        return codecs.getincrementaldecoder("utf-16-le")("replace")
    if even > 0.3 * len(head[0::2]) and odd == 0:
        return codecs.getincrementaldecoder("utf-16-be")("replace")
    return None
