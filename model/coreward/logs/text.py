"""From bytes to text, and from text to the cells of a table."""

from __future__ import annotations

import csv
import re
from array import array
from collections.abc import Iterator, Mapping, Sequence
from pathlib import Path
from typing import BinaryIO

from coreward.logs.heading_words import MEAT, role_of, unit_of, words_of
from coreward.logs.parts import HEADER_SEARCH, Reading, Table
from coreward.logs.time_forms import TIME_ROLES

_BLOCK = 1 << 20
_FOUR_BYTES = re.compile(rb"[\xf0-\xf4][\x80-\xbf]{3}")
_NUMBER = re.compile(r"[+-]?\d+(?:[.,]\d+)?")
_TEMPERATURE_UNIT = re.compile(r"[\[(]?\s*(?:[°º˚]|deg\.?)?\s*([cf])\s*[\])]?", re.IGNORECASE)
_UNIT_CELL = re.compile(
    rf"{_TEMPERATURE_UNIT.pattern}|[\[(]?(?:s|sec|min|h|ms|hh:mm(?::ss)?|%|-|—|n/a|rpm|v)[\])]?",
    re.IGNORECASE,
)
_CONTROL = re.compile(r"[\x00-\x08\x0e-\x1f]")  # save for blanks and line ends
_IN_BRACKETS = re.compile(r"[\[(].*[\])]\s*$")
_TWO_IN_ONE = re.compile(
    r"[\u2030-\u203b\u2c30-\u2c39\u0a30-\u0a39\u300a-\u390a]"
)  # "0,", "\\n3"
_THREE_BYTES = re.compile(rb"[\xc4-\xef][\x80-\xbf]")  # in memory two a letter
_DELIMITERS = (("\t", "tab"), (";", "semicolon"), (",", "comma"), ("|", "vertical bar"))


def load_bytes(target: Path, reading: Reading) -> bytes:
    """Return the bytes of a file, within the limits of size."""
    try:
        if target.is_dir():
            reading.fail("This is a folder, not a file.", "Give the path of the log in it.")
        if not target.exists():
            reading.fail("There is no such file.", "Check the path and the spelling.")
        if not target.is_file():
            reading.fail("This is not an ordinary file.", "Copy the log into a file first.")
        with target.open("rb") as stream:
            data = read_bytes(stream, reading)
    except PermissionError:
        reading.fail("You may not read this file.", "Ask for the right to read it, or copy it.")
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        reading.fail(f"It cannot be opened ({reason}).", "Check the path.")
    if not data:
        reading.fail("The file is empty.", "Export the log again.")
    return data


def read_bytes(stream: BinaryIO, reading: Reading) -> bytes:
    """Return the bytes of an open file, within the limits of size."""
    row_limit, byte_limit = reading.limits["row_limit"], reading.limits["byte_limit"]
    blocks: list[bytes] = []
    size = rows = 0
    while block := stream.read(_BLOCK):
        blocks.append(block)
        size += len(block)
        rows += max(block.count(b"\n"), block.count(b"\r"))
        if rows > row_limit + HEADER_SEARCH or size > byte_limit:
            reading.fail(
                f"The file holds more than {row_limit:,.0f} rows or "
                f"{byte_limit / 2**20:.0f} MiB; reading stopped there.",
                "Thin it first: keep every tenth row (a sample every 10 s to 60 s is "
                "plenty for large meat), or cut it into one file per cook.",
            )
    return b"".join(blocks)


def whole_lines(data: bytes) -> bytes:
    """Return the bytes of a file that is still written up to the end of its last line."""
    encoding = _wide_encoding(data)
    width = 1 if encoding is None else int(encoding[4:6]) // 8  # bytes of a letter
    data = data[: len(data) - len(data) % width]
    end = max(data.rfind(b"\n"), data.rfind(b"\r")) + 1
    return data[: end + -end % width]


def _wide_encoding(data: bytes) -> str | None:
    """Return the encoding of a text of two or four bytes a letter, None for others."""
    if data.startswith((b"\xff\xfe\x00\x00", b"\x00\x00\xfe\xff")):
        return "utf-32"
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    head = data[:4096]
    odd, even = head[1::2].count(0), head[0::2].count(0)
    if odd > 0.3 * len(head[1::2]) and even == 0:
        return "utf-16-le"
    return "utf-16-be" if even > 0.3 * len(head[0::2]) and odd == 0 else None


def decode(data: bytes, reading: Reading) -> str:
    """Return bytes as text with plain line ends; refuse what is not text."""
    binary = ("It is not a text file.", "Export the log as CSV (plain text) and give that.")
    wide = _wide_encoding(data)
    if wide is None and 0 in data:
        if not reading.is_growing:
            reading.fail(*binary)
        data = data.replace(b"\0", b"?")  # what a logger leaves that lost its power
    encodings = ("utf-8-sig", "cp1252", "latin-1") if wide is None else (wide,)
    widest, limit = 1, reading.limits["byte_limit"]
    if encodings[0] == "utf-8-sig" and 4 * len(data) > limit:
        widest = 4 if _FOUR_BYTES.search(data) else 2 if _THREE_BYTES.search(data) else 1
    if widest * len(data) > limit:
        reading.fail(
            f"The file holds letters of {'four' if widest == 4 else 'three'} bytes, which make "
            f"{widest * len(data) / 2**20:,.0f} MiB of its text.",
            "Thin it first: keep every tenth row, or cut it into one file per cook.",
        )
    for encoding in encodings:
        try:
            text = data.decode(encoding)
        except UnicodeDecodeError:
            continue
        break
    else:
        reading.fail(*binary)
    sample = text[:100_000]
    if len(_CONTROL.findall(sample)) > 0.01 * len(sample) or "\x00" in text:
        reading.fail(*binary)
    if encoding.startswith("utf-16") and len(_TWO_IN_ONE.findall(text)) > 4:
        reading.fail(
            "A part of the file is in another encoding than its beginning.",
            "Export the log again, or save it as plain text in one encoding (UTF-8).",
        )
    if encoding != "utf-8-sig":
        reading.understood.append(f"The text is encoded as {encoding.upper()}.")
    return text.replace("\r\n", "\n").replace("\r", "\n")


# --- text to cells -----------------------------------------------------------------


def lines_of(text: str, reading: Reading) -> Iterator[str]:
    """Yield the lines of a text without their ends; refuse one that is no row of a log."""
    most = int(reading.limits["line_limit"])
    position = number = 0
    while position < len(text):
        end = text.rfind("\n", position, position + most + 1)
        if end < 0:
            end = len(text)
            if end - position > most:
                reading.fail(
                    f"The row is longer than {most:,} characters.",
                    "This is not a usable log; export it again, or cut out the faulty part.",
                    number + 1,
                )
        lines = text[position:end].split("\n")
        yield from lines
        number += len(lines)
        position = end + 1


def split_table(
    text: str, stated: Mapping[str, str], reading: Reading, from_sheet: bool = False
) -> Table:
    """Return the cells of the table in a text; notes go to the reading."""
    delimiter, header_row = _find_header(text, stated, reading)
    row = 0

    def data_lines() -> Iterator[str]:
        nonlocal row
        for number, line in enumerate(lines_of(text, reading), start=1):
            row = number
            stripped = line.strip()
            if stripped.startswith("#"):
                reading.notes.append(stripped.lstrip("#").strip())
            elif reading.is_growing and line.count('"') % 2:
                reason = "it cannot be split into cells"
                reading.leave_out(number, "not a table row", line, reason)
            elif stripped:
                if number < header_row:
                    if not stripped.lower().startswith("sep="):
                        reading.notes.append(stripped)
                else:
                    yield line

    rows: list[list[str]] = []
    pool: dict[str, str] = {}  # equal cells share one text: a third less memory
    numbers: array[int] = array("q")
    limit = int(reading.limits["row_limit"])
    room = int(reading.limits["cell_limit"])
    reader = csv.reader(data_lines(), delimiter=delimiter, skipinitialspace=True)
    taken = 0
    try:
        for cells in reader:
            taken += 1
            if reader.line_num != taken:
                reading.fail(
                    "A quotation mark is opened and not closed on the same line.",
                    "Remove it or close it.",
                    row,
                )
            if len(rows) > limit:
                reading.fail(
                    f"The file holds more than {limit:,} rows.",
                    "Thin it first: keep every tenth row, or cut it into one file per cook.",
                )
            room -= len(cells)
            if room < 0:
                reading.fail(
                    f"The file holds more than {reading.limits['cell_limit']:,.0f} cells.",
                    "Keep time, air and meat, and thin it: every tenth row is plenty.",
                    row,
                )
            rows.append(list(map(pool.setdefault, cells, cells)))
            numbers.append(row)
    except csv.Error as error:
        reading.fail(f"The row cannot be split into cells ({error}).", "Correct it.", row)
    if not rows:
        reading.fail("There is no table in it.", "Export the log again.")
    header = tuple(cell.strip() for cell in rows.pop(0))
    header_number = numbers.pop(0)
    if not rows:
        reading.fail(
            "There is a header and no reading below it.", "Export the log again.", header_number
        )
    with_units = _with_units(header, rows, stated, reading)
    if with_units is not header:
        header = with_units
        rows.pop(0)
        numbers.pop(0)
    separated = "" if from_sheet else f", separated by {dict(_DELIMITERS)[delimiter]}"
    reading.understood.append(
        f"A table of {len(rows)} rows and {len(header)} columns{separated}."
    )
    cut_off = not text.endswith("\n") and len(rows) > 1 and len(rows[-1]) < len(header)
    return Table(header, header_number, rows, numbers, cut_off, delimiter, not from_sheet)


def _find_header(text: str, stated: Mapping[str, str], reading: Reading) -> tuple[str, int]:
    """Return the delimiter and the row of the header."""
    lines: list[tuple[int, str]] = []
    for number, line in enumerate(lines_of(text, reading), start=1):
        stripped = line.strip()
        if stripped and not stripped.startswith("#"):
            lines.append((number, line))
        if len(lines) >= 3 * HEADER_SEARCH:
            break
    if not lines:
        reading.fail(
            "There is no table in it, only blank lines or notes.", "Export the log again."
        )
    best: tuple[float, str, int] | None = None
    for delimiter, _ in _DELIMITERS:
        split = _split(lines, delimiter)
        for i, cells in enumerate(split[:HEADER_SEARCH]):
            if len(cells) > 1 and is_header(cells, stated):
                below = split[i + 1 :]
                alike = sum(1 for other in below if len(other) == len(cells))
                score = alike / len(below) if below else 0.5
                # A title above it may speak of time and meat too, with a comma between.
                is_title = bool(below) and is_header(below[0], stated)
                score /= 1 + is_title
                if best is None or score > best[0]:
                    best = (score, delimiter, lines[i][0])
                if score > 0 and not is_title:
                    break
    if best is not None:
        return best[1], best[2]
    found = _header_by_shape(lines)
    if found is not None:
        return found
    number, line = lines[0]
    counts = {delimiter: line.count(delimiter) for delimiter, _ in _DELIMITERS}
    if not any(counts.values()):
        reading.fail(
            "It does not look like a table: no comma, semicolon, tab or vertical bar in its "
            "first row.",
            "Give a CSV file with a header such as: time_s,air_C,meat_C",
            number,
        )
    return max(counts, key=lambda delimiter: counts[delimiter]), number


def _split(lines: Sequence[tuple[int, str]], delimiter: str) -> list[list[str]]:
    """Return the cells of lines, each on its own; none if one cannot be split."""
    try:
        return [
            next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
            for _, line in lines
        ]
    except csv.Error:
        return []


def _header_by_shape(lines: Sequence[tuple[int, str]]) -> tuple[str, int] | None:
    """Return delimiter and row of a header in words not known here: texts above numbers."""
    for delimiter, _ in _DELIMITERS:
        split = _split(lines, delimiter)
        for i, cells in enumerate(split[:HEADER_SEARCH]):
            below = split[i + 1 : i + 6]
            if (
                len(cells) > 1
                and all(any(c.isalpha() for c in cell) for cell in cells)
                and below
                and all(
                    len(row) == len(cells) and any(_NUMBER.fullmatch(c.strip()) for c in row)
                    for row in below
                )
            ):
                return delimiter, lines[i][0]
    return None


def _with_units(
    header: tuple[str, ...],
    rows: list[list[str]],
    stated: Mapping[str, str],
    reading: Reading,
) -> tuple[str, ...]:
    """Return headings with the units that stand in a row of their own below them."""
    cells = [cell.strip() for cell in rows[0]]
    said = [cell for cell in cells if _UNIT_CELL.fullmatch(cell)]
    if (
        len(rows) < 3
        or len(cells) != len(header)
        or len(said) < 2
        or any(cell and cell not in said for cell in cells)
        or not any(_TEMPERATURE_UNIT.fullmatch(cell) for cell in said)
    ):
        return header
    reading.understood.append("The row below the headings holds their units.")
    return tuple(
        name
        if not cell or name in stated or _IN_BRACKETS.search(name)
        else f"{name} [{_TEMPERATURE_UNIT.sub(_degree, cell)}]"
        for name, cell in zip(header, (cell.strip("[]() ") for cell in cells), strict=True)
    )


def _degree(match: re.Match[str]) -> str:
    return f"°{match[1].upper()}"


def is_header(cells: Sequence[str], stated: Mapping[str, str]) -> bool:
    """Tell whether cells are headings: one of time, and one of a temperature."""
    if all(_UNIT_CELL.fullmatch(cell.strip()) for cell in cells if cell.strip()):
        return False  # their units, in a row of its own
    roles = [stated.get(cell.strip()) or role_of(cell) for cell in cells]
    timed = any(role in TIME_ROLES or role == "date" for role in roles)
    measured = any(
        role in ("air", "meat", "ambient", "probe")
        or (role not in (*TIME_ROLES, "date") and (unit_of(cell) or words_of(cell) & MEAT))
        for role, cell in zip(roles, cells, strict=True)
    )
    return timed and measured


def is_other_header(cells: Sequence[str], header: Sequence[str]) -> bool:
    """Tell whether cells are headings under which the columns hold something else."""

    def is_same(cell: str, name: str) -> bool:
        # Units that stand in a row of their own were added to the headings above.
        alike = role_of(cell) == role_of(name) and unit_of(cell) in (None, unit_of(name))
        return name.startswith(cell) or (alike and cell not in header)

    found = [cell.strip() for cell in cells]
    if any(cell[:1].isdigit() for cell in found):
        return False  # a row, or what is left of one
    return len(found) != len(header) or not all(map(is_same, found, header))
