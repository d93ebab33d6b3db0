"""Writing a file so that nothing is lost, and folders of which nothing is left."""

from __future__ import annotations

import contextlib
import errno
import os
import shutil
import stat
import tempfile
from pathlib import Path
from typing import Final

from coreward.errors import InputError

_ADVICE = {
    errno.ENOSPC: "the disk is full; free some space or choose another folder",
    errno.EDQUOT: "your share of the disk is used up; free some space or choose another folder",
    errno.EROFS: "the disk is read-only; choose a folder that you may write to",
    errno.EACCES: "the folder may not be written to; choose one that you may write to",
    errno.EPERM: "the folder may not be written to; choose one that you may write to",
    errno.ENOENT: "there is no such folder; make it first or choose another",
    errno.ENOTDIR: "there is no such folder; make it first or choose another",
    errno.EISDIR: "that is a folder; add a file name",
    errno.ENAMETOOLONG: "the name is too long; choose a shorter one",
}


def write_atomically(path: str | Path, content: bytes, *, what: str = "file") -> Path:
    """Write a whole file or nothing.

    The content goes to a new file in the same folder, down to the disk, and only then
    takes the name. A full disk, a crash or a read-only folder leaves what was there.

    Parameters
    ----------
    path : str or Path
        File to write; a file of that name is replaced.
    what : str
        What is being written, for the sentence of the error.

    Raises
    ------
    InputError
        If it cannot be written; the sentence says why and what to do.
    """
    target = Path(path)
    try:
        if target.is_dir():
            raise IsADirectoryError(errno.EISDIR, os.strerror(errno.EISDIR))
        handle, name = tempfile.mkstemp(dir=target.parent, prefix=".coreward-")
        temporary = Path(name)
        try:
            with os.fdopen(handle, "wb") as stream:
                stream.write(content)
                stream.flush()
                # Some disks say that they are full only now; the rename must not come first.
                os.fsync(stream.fileno())
            # mkstemp gives access to the owner only; keep what a replaced file had.
            temporary.chmod(target.stat().st_mode & 0o777 if target.exists() else 0o644)
            temporary.replace(target)
        except BaseException:
            temporary.unlink(missing_ok=True)
            raise
    except (OSError, ValueError) as error:
        number = getattr(error, "errno", None)
        reason = _ADVICE.get(number or 0) or getattr(error, "strerror", None) or str(error)
        kept = " The file that was there is unchanged." if _is_file(target) else ""
        raise InputError(
            f"The {what} cannot be written to '{target}': {reason}.{kept}"
        ) from error
    return target


def _is_file(path: Path) -> bool:
    try:
        return path.is_file()
    except (OSError, ValueError):
        return False


# Temporary folders ----------------------------------------------------------------------

_PREFIX: Final = "coreward-"
_IN_USE: Final = ".in-use"


class OwnFolder:
    """A temporary folder that is found and removed later if this process is killed.

    A file in it is locked as long as the process lives, whatever ends it.

    Parameters
    ----------
    kind : str
        What it is for; part of its name.
    """

    def __init__(self, kind: str) -> None:
        self.path = Path(tempfile.mkdtemp(prefix=f"{_PREFIX}{kind}-"))
        self._lock = os.open(self.path / _IN_USE, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600)
        _lock(self._lock)

    def remove(self) -> None:
        """Remove it and all in it."""
        if self._lock >= 0:
            os.close(self._lock)
            self._lock = -1
        shutil.rmtree(self.path, ignore_errors=True)


def _lock(handle: int) -> bool:
    """Lock an open file for this process; return False if another one has it."""
    try:
        import fcntl
    except ImportError:  # Windows removes no file that a process has open, which is enough
        return True
    try:
        fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
    except OSError:
        return False
    return True


def sweep_leftovers() -> list[Path]:
    """Remove the temporary folders of processes that were killed, and return them.

    Only real folders of this person are touched, and only where nobody holds the lock;
    no link is followed.
    """
    removed = []
    with contextlib.suppress(OSError), os.scandir(tempfile.gettempdir()) as found:
        for entry in found:
            if entry.name.startswith(_PREFIX) and _is_left_over(Path(entry.path)):
                shutil.rmtree(entry.path, ignore_errors=True)
                removed.append(Path(entry.path))
    return removed


def _is_left_over(folder: Path) -> bool:
    flags = os.O_RDWR | getattr(os, "O_NOFOLLOW", 0)
    try:
        about = folder.lstat()
        if not stat.S_ISDIR(about.st_mode):
            return False
        if hasattr(os, "geteuid") and about.st_uid != os.geteuid():
            return False
        handle = os.open(folder / _IN_USE, flags)
    except OSError:  # no lock: not one of these folders, or one that is being made
        return False
    try:
        if not _lock(handle):
            return False
    finally:
        os.close(handle)
    if os.name == "nt":
        try:
            (folder / _IN_USE).unlink()
        except OSError:
            return False
    return True
