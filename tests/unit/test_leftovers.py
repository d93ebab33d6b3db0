"""Temporary folders of a process that was killed are gone after the next start, no others."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest

from coreward import files


@pytest.fixture
def place(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """Let temporary folders be made in one of this test."""
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    return tmp_path


def _killed(place: Path) -> Path:
    """Return the folder that a killed process has left."""
    program = (
        "import sys, time; from coreward.files import OwnFolder; own = OwnFolder('pages')\n"
        "(own.path / 'inside').mkdir(); (own.path / 'inside' / 'log.csv').write_text('x')\n"
        "print(own.path, flush=True); time.sleep(60)"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program],
        stdout=subprocess.PIPE, text=True, env=os.environ | {"TMPDIR": str(place)},
    ) as process:  # fmt: skip
        assert process.stdout is not None
        folder = Path(process.stdout.readline().strip())
        # While it lives, nothing is swept.
        assert files.sweep_leftovers() == []
        assert (folder / "inside" / "log.csv").is_file()
        process.send_signal(signal.SIGKILL)
    return folder


@pytest.mark.skipif(os.name != "posix", reason="sends SIGKILL")
def test_what_a_killed_process_left_is_swept_and_nothing_else(place: Path) -> None:
    elsewhere = place / "elsewhere"
    elsewhere.mkdir()
    (elsewhere / ".in-use").touch()
    (elsewhere / "mine.txt").write_text("mine")
    folder = _killed(place)
    # A link to a folder of somebody else, from outside and from inside; a link for a lock;
    # a folder without a lock; a file; and one that this process holds.
    (place / "coreward-pages-link").symlink_to(elsewhere)
    (folder / "inside" / "out").symlink_to(elsewhere)
    linked = place / "coreward-pages-lock"
    linked.mkdir()
    (linked / ".in-use").symlink_to(elsewhere / ".in-use")
    (place / "coreward-notes").mkdir()
    (place / "coreward-file").touch()
    own = files.OwnFolder("pages")
    assert files.sweep_leftovers() == [folder]
    assert not folder.exists()
    assert (elsewhere / "mine.txt").read_text() == "mine"
    for kept in ("coreward-pages-link", "coreward-pages-lock", "coreward-notes"):
        assert (place / kept).is_dir()
    assert own.path.is_dir()
    own.remove()
    assert not own.path.exists()


@pytest.mark.skipif(not hasattr(os, "geteuid"), reason="needs owners of files")
def test_a_folder_of_another_person_stays(place: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    folder = place / "coreward-pages-theirs"
    folder.mkdir()
    (folder / ".in-use").touch()
    me = os.geteuid()
    with monkeypatch.context() as patch:
        patch.setattr(os, "geteuid", lambda: me + 1)
        assert files.sweep_leftovers() == []
    assert files.sweep_leftovers() == [folder]
