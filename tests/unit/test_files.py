"""A file is written whole or not at all, and the reason is a sentence."""

from __future__ import annotations

import ast
import errno
import os
import sys
from pathlib import Path
from typing import Any

import pytest

import coreward as cw
from coreward.cook.result import Result
from coreward.errors import InputError
from coreward.files import write_atomically
from coreward.logs.demo import SUPPER_LOG, demo_folder

PACKAGE = Path(cw.__file__).parent


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


def _plainly(call: ast.Call) -> bool:
    """Tell whether a call opens or writes a file that is there, in place."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else ""
    if name in ("write_text", "write_bytes"):
        return True
    named_open = name == "open" or (isinstance(call.func, ast.Name) and call.func.id == "open")
    modes = [*call.args, *(word.value for word in call.keywords if word.arg == "mode")]
    return named_open and any(
        isinstance(mode, ast.Constant) and str(mode.value) in ("w", "wb", "w+", "wt")
        for mode in modes
    )


# Makes what can be made again at any time: a stamp of the cache, a table of times, the judged
# forecasts; a copy of a file that was sent, and the lock, in a folder of its own.
IN_PLACE = {
    "physics/_cache.py",
    "evidence/benchmark.py",
    "evidence/backtest.py",
    "files.py",
    "widgets/log_source.py",
}


def test_nothing_that_a_person_keeps_is_written_in_place() -> None:
    found = {
        file.relative_to(PACKAGE).as_posix()
        for file in PACKAGE.rglob("*.py")
        for node in ast.walk(ast.parse(file.read_text(encoding="utf-8")))
        if isinstance(node, ast.Call) and _plainly(node)
    }
    assert found - IN_PLACE == set()


@pytest.fixture(scope="module")
def cook() -> Result:
    piece = cw.Piece(cw.Slab(0.03), cw.meat("beef brisket flat"), start_c=4.0)
    return cw.simulate(piece, [cw.Stage(cw.Surroundings(110.0), duration_s=1800.0)])


@pytest.mark.parametrize("name", ["cook.csv", "cook.html", "cook.pdf", "log.csv"])
def test_an_export_to_a_full_disk_loses_nothing(
    name: str, cook: Result, tmp_path: Path
) -> None:
    resource = pytest.importorskip("resource")
    target = tmp_path / name
    log = cw.read_log(demo_folder() / SUPPER_LOG)

    def export() -> None:
        if name == "log.csv":
            log.to_csv(target)
        elif name == "cook.csv":
            cook.to_csv(target)
        else:
            cw.report(cook, target)

    export()  # what it compiles is kept in files too, and must be there before
    target.write_bytes(b"yesterday's")
    limits = resource.getrlimit(resource.RLIMIT_FSIZE)
    # A real limit on the size of files: writing stops half way, as on a full disk.
    resource.setrlimit(resource.RLIMIT_FSIZE, (400, limits[1]))
    try:
        with pytest.raises(InputError, match=r"cannot be written.*that was there is unchanged"):
            export()
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, limits)
    assert target.read_bytes() == b"yesterday's"
    assert _left_in(tmp_path) == [name]
    export()
    assert len(target.read_bytes()) > 400
