"""Files that are no logs, or hardly: the same seed always makes the same file."""

from __future__ import annotations

import io
import json
import random
import zipfile
from collections.abc import Callable
from datetime import datetime, timedelta
from functools import lru_cache
from itertools import pairwise
from pathlib import Path
from typing import Any

import openpyxl

DEMO = Path(__file__).parents[2] / "data" / "demo"

_HEADS = (
    "time_s,air_c,meat_c",
    "time,pit F,meat F",
    "date,time,air_c,meat_c",
    "clock;air;meat",
    "elapsed\tair_c\tmeat_c",
    "# zone: Europe/Berlin\ntimestamp,air_c,meat_c,ambient_c",
    "# coreward probe log, format 1\ntime_s,meat_1_c",
    "unit,time_s,air,meat",
    "sep=;\ntime_s;air_c;meat_c",
    "",
)
_CELLS = (
    *("", "0", "60", "120", "1e308", "-1e999", "nan", "inf", "---", "999", "-127", "1_000"),
    *("12:00", "25:61:99", "0:00", "23:59:59", "11:59 PM", "13:00 pm", "24:00"),
    *("2026-05-02T10:00:00Z", "9999-12-31T23:59:59+00:00", "0001-01-01T00:00:00+14:00"),
    *("2026-10-25T02:59:30", "2026-10-25T02:00:00", "2026-03-29T02:30:00", "20260502T100000Z"),
    *("02/05/2026 10:00", "99/99/9999 99:99", "31 Feb 2026 10:00", "46144.5", "1777716000"),
    *(
        "1777716000000",
        "1777716000000000",
        "63.5 C",
        "145 F",
        "63,5",
        '"',
        "#",
        "\ufeff",
        "\x00",
    ),
    *("time_s", "air_c", "C", "F", "{", "[1,2", "\u0661\u0662", "\U0001f525", "\u2028", "\x1c"),
)
_OPTIONS: tuple[dict[str, Any], ...] = (
    {"units": "C"},
    {"units": "F", "zone": "America/New_York"},
    {"zone": "Europe/Berlin", "start_date": "2026-10-24"},
    {"sheet": "log"},
    {"columns": {"time": "clock", "meat": "meat"}, "units": "C"},
    {"columns": {"time_s": "serial days"}, "accept_jumps": True},
)


@lru_cache(maxsize=1)
def _good_files() -> tuple[bytes, ...]:
    names = ("harvest-supper.csv", "quiet-sunday.csv")
    demo = [(DEMO / name).read_bytes()[:6000] for name in names]
    start = datetime(2026, 10, 25, 1, 30)
    objects = [
        {
            "time": (start + timedelta(seconds=30 * i)).isoformat(),
            "probes": {"pit_c": 110 + i % 3, "meat_c": 4 + i / 10},
            "note": None,
        }
        for i in range(40)
    ]
    lines = "\n".join(json.dumps(one) for one in objects)
    plain = "time_s,air_c,meat_c\n" + "".join(f"{60 * i},110,{4 + i / 10}\n" for i in range(40))
    return (
        *demo,
        plain.encode(),
        plain.encode("utf-16"),
        lines.encode(),
        json.dumps(objects, indent=1).encode(),
        json.dumps({"unit": "C", "samples": objects}).encode(),
    )


@lru_cache(maxsize=1)
def _good_book() -> bytes:
    book = openpyxl.Workbook()
    sheet = book.active
    sheet.title = "log"
    sheet.append(["date and time", "pit air (°C)", "meat (°C)"])
    start = datetime(2026, 9, 6, 13, 5)
    for i in range(20):
        sheet.append([start + timedelta(minutes=i), 110.5, 4 + i / 10])
    stream = io.BytesIO()
    book.save(stream)
    return stream.getvalue()


def _mutated(chance: random.Random, data: bytes, most: int = 12) -> bytes:
    result = bytearray(data)
    for _ in range(chance.choice((1, 1, 2, 3, most))):
        if not result:
            break
        place = chance.randrange(len(result))
        action = chance.randrange(6)
        if action == 0:
            result[place] = chance.randrange(256)
        elif action == 1:
            del result[place : place + chance.randrange(1, 60)]
        elif action == 2:
            result[place:place] = bytes(chance.choices(b'0123456789.,;:-\n\t\r#"CFe {}[]', k=9))
        elif action == 3:
            result[place:place] = result[place : place + chance.randrange(1, 400)]
        elif action == 4:
            del result[place:]
        else:
            result[place:place] = chance.choice(_CELLS).encode("utf-8", "replace")
    return bytes(result)


def _random_bytes(chance: random.Random) -> bytes:
    head = chance.choice(
        (b"", b"PK\x03\x04", b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1", b"\xff\xfe", b"{")
    )
    return head + chance.randbytes(chance.randrange(0, 2000))


def _mutated_log(chance: random.Random) -> bytes:
    return _mutated(chance, chance.choice(_good_files()))


def _nonsense_table(chance: random.Random) -> bytes:
    delimiter = chance.choice(",;\t")
    head = chance.choice(_HEADS)
    rows = [
        delimiter.join(chance.choice(_CELLS) for _ in range(chance.randrange(1, 6)))
        for _ in range(chance.randrange(0, 40))
    ]
    text = "\n".join([head, *rows]) + chance.choice(("", "\n", "\r\n"))
    encoding = chance.choice(("utf-8", "utf-8", "utf-16", "utf-32", "cp1252"))
    return text.encode(encoding, "replace")


def _nonsense_times(chance: random.Random) -> bytes:
    """Rows that look well but whose times jump as they like."""
    forms: tuple[Callable[[float], str], ...] = (
        lambda s: f"{s:.3f}",
        lambda s: (datetime(2026, 10, 24) + timedelta(seconds=s)).isoformat(),
        lambda s: (datetime(2026, 10, 24) + timedelta(seconds=s)).strftime("%H:%M"),
        lambda s: (datetime(2026, 1, 2) + timedelta(seconds=s)).strftime(
            "%d/%m/%Y %I:%M:%S %p"
        ),
        lambda s: str(int(1777716000 + s)),
    )
    write = chance.choice(forms)
    now, lines = 0.0, [chance.choice(("time_s", "time", "clock")) + ",air_c,meat_c"]
    for _ in range(chance.randrange(1, 120)):
        now += chance.choice((1, 30, 60, 60, 60, 0, -60, -3570, 3630, 86400, -86400, 1e6, 1e-9))
        now = min(max(now, -1e7), 1e8)
        lines.append(
            f"{write(now)},{chance.choice((110, 230, 43))},{chance.uniform(-50, 200):.1f}"
        )
    return "\n".join(lines).encode()


def _nonsense_json(chance: random.Random) -> bytes:
    values = (
        None,
        True,
        1e400,
        60,
        "60",
        "---",
        [1, [2]],
        {"a": {"b": 1}},
        "\ud800",
        {},
        [],
        -0.0,
    )
    keys = ("time", "time_s", "air_c", "meat_c", "", "probes", "unit", "a.b", "\u2028")
    objects = [
        {chance.choice(keys): chance.choice(values) for _ in range(chance.randrange(0, 6))}
        for _ in range(chance.randrange(1, 30))
    ]
    if chance.random() < 0.1:
        return b"[{" + chance.choice((b"[", b'{"a":')) * chance.randrange(1, 50_000)
    form = chance.randrange(3)
    text = "\n".join(map(json.dumps, objects)) if form else json.dumps(objects)
    data = text.encode("utf-8", "replace")
    return _mutated(chance, data, 6) if chance.random() < 0.7 else data


def _broken_book(chance: random.Random) -> bytes:
    book = _good_book()
    if chance.random() < 0.3:
        return _mutated(chance, book)
    # A sound archive with nonsense inside reaches further than a broken one.
    out = io.BytesIO()
    with zipfile.ZipFile(io.BytesIO(book)) as old, zipfile.ZipFile(out, "w") as new:
        for name in old.namelist():
            data = old.read(name)
            if chance.random() < 0.1:
                continue
            if name.startswith("xl/worksheets/") or chance.random() < 0.2:
                data = _mutated_xml(chance, data)
            new.writestr(name, data)
    return out.getvalue()


def _mutated_xml(chance: random.Random, data: bytes) -> bytes:
    text = data.decode("utf-8")
    pieces = (
        *(('r="A2"', 'r="XFD9999999"'), ('r="3"', 'r="999999999"'), ('r="B2"', 'r="ZZZZ1"')),
        *(("<v>", "<v>1e999"), ("<v>", "<v>-9e15"), ('s="1"', 's="77"'), ('t="n"', 't="s"')),
        *(("</row>", ""), ("<c ", "<c t='e' "), ("sheetData", "sheetdata"), ("&", "&x;")),
        *(
            ("<v>", "<f>A1</f><v>"),
            ('t="s"', 't="d"'),
            ('t="n"', 't="b"'),
            ("A1:C21", "A1:XFD99"),
        ),
    )
    for old, new in chance.choices(pieces, k=chance.randrange(1, 4)):
        text = text.replace(old, new, chance.choice((1, 1, -1)))
    data = text.encode()
    return _mutated(chance, data, 4) if chance.random() < 0.3 else data


KINDS: tuple[Callable[[random.Random], bytes], ...] = (
    _random_bytes,
    _mutated_log,
    _mutated_log,
    _nonsense_table,
    _nonsense_times,
    _nonsense_json,
    _broken_book,
)


def garbage(seed: int) -> tuple[str, bytes, dict[str, Any]]:
    """Return the kind of a file, its bytes, and arguments for `read_log`."""
    chance = random.Random(seed)
    kind = KINDS[seed % len(KINDS)]
    options = dict(chance.choice(_OPTIONS)) if chance.random() < 0.4 else {}
    return kind.__name__.strip("_"), kind(chance), options


def chunks(data: bytes, seed: int) -> list[bytes]:
    """Return data cut at random places."""
    chance = random.Random(seed)
    places = sorted(chance.randrange(len(data) + 1) for _ in range(chance.randrange(1, 6)))
    ends = [0, *places, len(data)]
    return [data[a:b] for a, b in pairwise(ends)]
