"""Fence in the kernel behind a page: no file outside the given folders, no new program.

Runs inside the kernel. The page cannot send code (see `server`), so what runs there is
the notebook and this package; but a control can carry a path, and a path can name any
file. The interpreter's own audit events are used, so the fence holds for every panel,
also for one written later by somebody who never read this. It is not a sandbox: it
would not hold against code made to break it.

The files of Python, of its packages and of this package are open only to what reads them
for its own sake, such as the import of a module or a font; a panel is refused them.

Memory is bounded as well, where the system has such a bound: Linux has one for what a
process writes to; macOS and Windows have none that can be relied on, and there only the
number of pages is bounded.
"""

from __future__ import annotations

import importlib.util
import os
import sys
import sysconfig
from collections.abc import Iterable
from pathlib import Path
from types import FrameType
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
# Who opens a file for somebody else: whoever asked for it decides.
_MIDDLEMEN: Final = (
    "pathlib", "io", "codecs", "contextlib", "tempfile", "gzip", "zipfile", "shutil", "os",
    "genericpath", "posixpath", "ntpath", "tomllib", "glob", "fnmatch", "csv", "json", "numpy",
    "importlib.resources", "importlib.readers", "importlib.abc", "importlib._abc",
)  # fmt: skip
# Who opens a program's file for its own sake. What a visitor sends or types is opened by the
# readers of logs and by panels, which are not among them.
_PROGRAMS: Final = (
    "importlib", "pkgutil", "linecache", "tokenize", "inspect", "mimetypes", "zoneinfo",
    "tzdata", "dateutil", "numba", "llvmlite", "matplotlib", "matplotlib_inline", "PIL",
    "fontTools", "fpdf", "icalendar", "scipy", "CoolProp", "IPython", "ipykernel",
    "ipywidgets", "traitlets", "jupyter_client", "jupyter_core", "traceback",
    "coreward.tables", "coreward.reports", "coreward.questions.plan.file",
    "coreward.physics", "coreward.drawing", "coreward.lessons",
    "coreward.evidence", "coreward.logs.demo", "coreward.experience.library",
)  # fmt: skip
MEMORY_OF_A_KERNEL: Final = 512 * 2**20
"""What a page may take beyond its start: 83 to 149 MB were measured for all pages. [B]"""
LARGEST_FILE: Final = 64 * 2**20
"""That a page may write. [B]"""
_WRITING_FLAGS: Final = os.O_WRONLY | os.O_RDWR | os.O_CREAT | os.O_TRUNC | os.O_APPEND


class Fence:
    """Decide which files may be opened.

    Parameters
    ----------
    readable, writable : iterable of path
        Folders; what may be written may be read.
    programs : iterable of path
        Folders that only programs read, for their own sake.
    """

    def __init__(
        self,
        readable: Iterable[str | Path] = (),
        writable: Iterable[str | Path] = (),
        programs: Iterable[str | Path] = (),
    ) -> None:
        self._writable = _real(writable)
        self._readable = _real(readable) + self._writable
        self._programs = _real(programs)

    def refuses(self, path: object, *, to_write: bool) -> bool:
        """Tell whether a file or folder is out of bounds."""
        if path is None:
            path = "."
        if not isinstance(path, str | bytes | os.PathLike):
            return False  # a descriptor that is open already
        try:
            place = os.path.normcase(os.path.realpath(os.fsdecode(path)))
        except (ValueError, OSError):  # a letter that no path has; links in a circle
            return True
        if place in _ALWAYS or _is_within(place, self._writable):
            return False
        if to_write:
            return True
        if _is_within(place, self._readable):
            return False
        return not (_is_within(place, self._programs) and _asked_by_a_program(place))

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
    return tuple(os.path.normcase(os.path.realpath(each)).rstrip(os.sep) for each in folders)


def _is_within(place: str, folders: tuple[str, ...]) -> bool:
    return any(place == each or place.startswith(each + os.sep) for each in folders)


def _asked_by_a_program(place: str) -> bool:
    """Tell whether a file is opened by the import of a module, or by the library it is of."""
    frame: FrameType | None = sys._getframe()
    while frame is not None:
        name = str(frame.f_globals.get("__name__", ""))
        if name != __name__ and not _is_of(name, _MIDDLEMEN):
            return _is_of(name, _PROGRAMS) or _is_within(place, _folder_of(name))
        frame = frame.f_back
    return False


def _folder_of(name: str) -> tuple[str, ...]:
    """Return the folder of the library that a module belongs to; none for this package."""
    library = sys.modules.get(name.partition(".")[0])
    folders = () if name.startswith("coreward") else getattr(library, "__path__", ())
    return _real(folders)


def _is_of(name: str, packages: tuple[str, ...]) -> bool:
    return any(name == each or name.startswith(each + ".") for each in packages)


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
    import zoneinfo

    import matplotlib

    # The writer of PDF asks for the type of a file, whose list lies with the system's settings.
    mimetypes.init()
    # Its list of fonts lies in the person's cache.
    fonts = [matplotlib.get_cachedir(), matplotlib.get_configdir()]
    limit_this_process()
    # Time zones are opened by code without a name, and are the same on every computer.
    package = importlib.util.find_spec("tzdata")
    packaged = (package.submodule_search_locations or ()) if package is not None else ()
    zones = [*zoneinfo.TZPATH, *packaged]
    fence = Fence([*readable, *zones], [*writable, *fonts], program_folders())
    sys.addaudithook(fence)
    return fence


def limit_this_process(more: int = MEMORY_OF_A_KERNEL) -> bool:
    """Bound what this process takes; return whether this system bounds memory.

    Parameters
    ----------
    more : int
        Memory beyond what it has taken by now. [B]
    """
    if hasattr(os, "nice"):
        # The server answers everybody; a page computes for one.
        os.nice(5)
    try:
        import resource
    except ImportError:
        return False
    resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
    resource.setrlimit(resource.RLIMIT_FSIZE, (LARGEST_FILE, LARGEST_FILE))
    taken = _memory_written_to()
    if not taken:
        return False
    resource.setrlimit(resource.RLIMIT_DATA, (taken + more, taken + more))
    return True


def _memory_written_to() -> int:
    """Return what Linux counts against its bound in bytes; 0 elsewhere."""
    try:
        words = Path("/proc/self/status").read_text(encoding="ascii", errors="replace")
    except OSError:
        return 0
    found = [line.split() for line in words.splitlines() if line.startswith("VmData:")]
    return int(found[0][1]) * 1024 if found else 0
