"""Writing a file so that nothing is lost when the writing fails."""

from __future__ import annotations

import errno
import os
import tempfile
from pathlib import Path

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
    content : bytes
        All of it.
    what : str
        What is being written, for the sentence of the error.

    Returns
    -------
    Path
        The file written.

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
