"""Files made to harm the reader: bounded memory, one sentence, a quiet terminal."""

from __future__ import annotations

import pytest

from coreward.errors import LogError
from coreward.logs import LogFollower, LogReadError, read_in_order, read_log, what_it_holds
from support.hostile_files import HOSTILE, read_in_child

MOST_MIB = 900
"""The reader says that one reading stays below about 1 GB; the largest measured is 530."""


@pytest.mark.parametrize("name", HOSTILE)
def test_memory_is_bounded_and_one_sentence_refuses(tmp_path, name):
    """Before, 'cells without end' took 12 GiB, and 'wide row' was read in 1.3 GiB."""
    make, words = HOSTILE[name]
    path = tmp_path / "hostile.bin"
    path.write_bytes(make())
    mebibytes, said, terminal = read_in_child(path, 5 << 30)
    assert words in said
    assert said.startswith("'hostile.bin'")
    assert said.count("\n") == 0
    assert terminal == ""
    assert 0 <= mebibytes < MOST_MIB


@pytest.mark.parametrize("digits", [20, 401, 5000])
def test_numbers_of_many_digits(tmp_path, digits):
    """In a cell they are no temperature, as a time they are no time; never a traceback."""
    long = "9" * digits
    good = "".join(f"{60 * i},110,{4 + i}\n" for i in range(5))
    path = tmp_path / "log.csv"
    path.write_text(f"time_s,air_c,meat_c\n{good}300,110,{long}\n{long},110,9\n360,{long},10\n")
    log = read_log(path)
    assert log.time_s.tolist() == [0.0, 60.0, 120.0, 180.0, 240.0, 300.0, 360.0]
    assert [(r.row, r.column, r.kind) for r in log.repairs] == [
        (8, "time_s", "time unreadable"),
        (9, "air_c", "absurd" if digits == 20 else "not a number"),
        (7, "meat_c", "absurd" if digits == 20 else "not a number"),
    ]
    path.write_text(
        f'{{"time_s":0,"air_c":110,"meat_c":{long}}}\n'
        + "".join(f'{{"time_s":{60 * i},"air_c":110,"meat_c":{4 + i}}}\n' for i in range(1, 5))
    )
    log = read_log(path)
    assert log.meat().temperature_c[1:].tolist() == [5.0, 6.0, 7.0, 8.0]
    assert log.repairs[0].row == 1
    for note in ("start", "unknown span", "left out", "repair", "source"):
        text = f'# coreward probe log, format 1\n# source: "a"\n# {note}: {long}\n'
        path.write_text(text + "time_s,air_c,meat_1_c\n0,1,2\n60,1,2\n")
        if note == "source":
            continue
        with pytest.raises(LogReadError, match="damaged"):
            read_log(path)


def test_nul_in_a_path():
    for read in (read_log, read_in_order, what_it_holds):
        with pytest.raises(LogError, match=r"'a\?b\.csv': ") as caught:
            read("folder/a\0b.csv")
        assert str(caught.value).isprintable()
    follower = LogFollower("a\0b.csv")
    with pytest.raises(LogError, match="'a\\?b"):
        follower.poll()


def test_two_encodings_in_one_file(tmp_path):
    """Text of two bytes a letter with text of one byte behind it would lose rows in silence."""
    path = tmp_path / "log.csv"
    head = "time_s,air_c,meat_c\n" + "".join(f"{60 * i},110,{4 + i}\n" for i in range(20))
    tail = "".join(f"{60 * i},110,{4 + i}\n" for i in range(20, 40))
    path.write_bytes(head.encode("utf-16") + tail.encode())
    with pytest.raises(LogReadError, match="encoding"):
        read_log(path)
    path.write_bytes(head.encode() + tail.encode("utf-16-le"))
    with pytest.raises(LogReadError, match="another encoding"):
        read_log(path)
    path.write_bytes(b"# gril\xe9\n" + "# Fühler\n".encode() + head.encode())
    log = read_log(path)
    assert log.time_s.size == 20
    assert "CP1252" in log.understood[0]
