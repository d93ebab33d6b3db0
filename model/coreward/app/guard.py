"""Fence in the kernel behind a page: no file outside the given folders, no new program.

Runs inside the kernel. The page cannot send code (see `server`), so what runs there is
the notebook and this package; but a control can carry a path, and a path can name any
file. The interpreter's own audit events are used, so the fence holds for every panel,
also for one written later by somebody who never read this. It is not a sandbox: it
would not hold against code made to break it.
"""

from __future__ import annotations

import os
import sys
import sysconfig
from collections.abc import Iterable
from pathlib import Path
from typing import Any, Final

_LISTING: Final = frozenset({"os.listdir", "os.scandir"})
_CHANGING: Final = frozenset(
    {"os.remove", "os.rename", "os.rmdir", "os.mkdir", "os.link", "os.symlink",
     "os.truncate", "os.chmod", "os.chown", "shutil.rmtree", "shutil.move"}
)  # fmt: skip
_STARTING: Final = frozenset(
    {"subprocess.Popen", "os.system", "os.exec", "os.posix_spawn", "os.spawn", "os.startfile",
     "pty.spawn"}
)  # fmt: skip
# What a Unix shows every program and holds nobody's files.
_ALWAYS: Final = ("/dev/null", "/dev/urandom", "/dev/random")
_WRITING_FLAGS: Final = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class Fence:
    """Decide which files may be opened.

    Parameters
    ----------
    readable, writable : iterable of path
        Folders; what may be written may be read.
    """

    def __init__(
        self, readable: Iterable[str | Path] = (), writable: Iterable[str | Path] = ()
    ) -> None:
        self._writable = _real(writable)
        self._readable = _real(readable) + self._writable

    def refuses(self, path: object, *, to_write: bool) -> bool:
        """Tell whether a file or folder is out of bounds."""
        if path is None:
            path = "."
        if not isinstance(path, str | bytes | os.PathLike):
            return False  # a descriptor that is open already
        place = os.path.realpath(os.fsdecode(path))
        if place in _ALWAYS:
            return False
        allowed = self._writable if to_write else self._readable
        return not any(place == each or place.startswith(each + os.sep) for each in allowed)

    def __call__(self, event: str, arguments: tuple[Any, ...]) -> None:
        """Judge one audit event of the interpreter."""
        if event == "open":
            path, mode, flags = arguments
            to_write = bool(
                (isinstance(mode, str) and set(mode) & set("wax+"))
                or (isinstance(flags, int) and flags & _WRITING_FLAGS)
            )
            if self.refuses(path, to_write=to_write):
                raise _refusal()
        elif event in _LISTING:
            if self.refuses(arguments[0], to_write=False):
                raise _refusal()
        elif event in _CHANGING:
            paths = [each for each in arguments if isinstance(each, str | bytes | os.PathLike)]
            if any(self.refuses(each, to_write=True) for each in paths):
                raise _refusal()
        elif event in _STARTING:
            raise PermissionError("A page of the app view starts no other program.")


def _refusal() -> PermissionError:
    # The path is left out: the answer is the same whether the file exists or not.
    return PermissionError(
        "The pages read only the demo logs and the files that you send to them; open the "
        "notebook in JupyterLab to read other files of this computer."
    )


def _real(folders: Iterable[str | Path]) -> tuple[str, ...]:
    return tuple(os.path.realpath(folder).rstrip(os.sep) for folder in folders)


def program_folders() -> list[str]:
    """Return the folders of Python, its packages and the system's shared files."""
    paths = sysconfig.get_paths()
    found = [paths["stdlib"], paths["platstdlib"], paths["purelib"], paths["platlib"]]
    found += [sys.prefix, sys.exec_prefix]
    found += [entry for entry in sys.path if entry]
    # What a checkout keeps beside the package and an installed package has inside it.
    root = Path(__file__).resolve().parents[3]
    if (root / "pyproject.toml").is_file():
        record = root / "tests" / "verification" / "mutations_found.csv"
        found += [str(root / "data"), str(record)]
    # Fonts and time zones; on Windows the fonts.
    found += ["/usr/share", "/usr/local/share", "/System/Library/Fonts", "/Library/Fonts"]
    found += [str(Path(os.environ.get("WINDIR", "/usr/share")) / "Fonts")]
    # A prefix that is the root of a disk would open everything below it.
    return [each for each in found if Path(each).resolve() != Path(each).resolve().parent]


def close(readable: Iterable[str], writable: Iterable[str]) -> Fence:
    """Put the fence up for the rest of this process; it cannot be taken down.

    Parameters
    ----------
    readable, writable : iterable of str
        Folders beside those of the program itself; what may be written may be read.
    """
    import mimetypes

    import matplotlib

    # The writer of PDF asks for the type of a file, whose list lies with the system's settings.
    mimetypes.init()
    # Its list of fonts lies in the person's cache.
    fonts = [matplotlib.get_cachedir(), matplotlib.get_configdir()]
    fence = Fence([*readable, *program_folders()], [*writable, *fonts])
    sys.addaudithook(fence)
    return fence
