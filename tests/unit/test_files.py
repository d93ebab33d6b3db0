"""A file is written whole or not at all, and the reason is a sentence."""

from __future__ import annotations

import errno
import os
import sys
from pathlib import Path
from typing import Any

import pytest

from coreward.errors import InputError
from coreward.files import write_atomically


def _left_in(folder: Path) -> list[str]:
    return sorted(path.name for path in folder.iterdir())


def test_writes_and_replaces(tmp_path: Path) -> None:
    target = tmp_path / "a.html"
    assert write_atomically(target, b"first") == target
    write_atomically(target, b"second")
    assert target.read_bytes() == b"second"
    assert _left_in(tmp_path) == ["a.html"]


@pytest.mark.skipif(sys.platform == "win32", reason="no such modes")
def test_keeps_the_mode_of_a_replaced_file(tmp_path: Path) -> None:
    target = tmp_path / "a.csv"
    target.write_bytes(b"old")
    target.chmod(0o600)
    write_atomically(target, b"new")
    assert target.stat().st_mode & 0o777 == 0o600


@pytest.mark.parametrize("fails", ["fdopen", "fsync"])
def test_a_full_disk_loses_nothing(
    fails: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Some file systems say that they are full at the write, others only at the sync.
    target = tmp_path / "supper.html"
    target.write_bytes(b"yesterday's")
    real = getattr(os, fails)

    def full(*given: Any, **more: Any) -> Any:
        if fails == "fdopen":
            real(*given, **more).close()
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, fails, full)
    with pytest.raises(InputError, match=r"the disk is full.*that was there is unchanged"):
        write_atomically(target, b"today's", what="report")
    monkeypatch.undo()
    assert target.read_bytes() == b"yesterday's"
    assert _left_in(tmp_path) == ["supper.html"]


def test_a_crash_between_write_and_rename_loses_nothing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "supper.pdf"
    target.write_bytes(b"old")

    def crash(self: Path, other: Path) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(Path, "replace", crash)
    with pytest.raises(KeyboardInterrupt):
        write_atomically(target, b"new")
    monkeypatch.undo()
    assert target.read_bytes() == b"old"
    assert _left_in(tmp_path) == ["supper.pdf"]


@pytest.mark.parametrize("number", [errno.EACCES, errno.EROFS])
def test_a_read_only_folder_is_said(
    number: int, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # By the error and not by the mode: the tests may run as root, whom no mode stops.
    def refused(*given: Any, **more: Any) -> Any:
        raise OSError(number, os.strerror(number))

    monkeypatch.setattr("tempfile.mkstemp", refused)
    with pytest.raises(InputError, match=r"supper\.html.*you may write to"):
        write_atomically(tmp_path / "supper.html", b"x", what="report")
    assert _left_in(tmp_path) == []


@pytest.mark.skipif(
    sys.platform == "win32" or os.geteuid() == 0, reason="root writes everywhere"
)
def test_a_really_read_only_folder(tmp_path: Path) -> None:
    tmp_path.chmod(0o500)
    try:
        with pytest.raises(InputError, match="may not be written to"):
            write_atomically(tmp_path / "a.html", b"x")
    finally:
        tmp_path.chmod(0o700)


def test_a_missing_folder_and_a_folder_for_a_file(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="no such folder"):
        write_atomically(tmp_path / "none" / "a.html", b"x")
    with pytest.raises(InputError, match="add a file name"):
        write_atomically(tmp_path, b"x")
    with pytest.raises(InputError, match="too long"):
        write_atomically(tmp_path / ("a" * 5000), b"x")
    with pytest.raises(InputError, match="null"):
        write_atomically(str(tmp_path / "a\0b"), b"x")
