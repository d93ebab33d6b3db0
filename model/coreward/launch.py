"""Prepare the workbench: find the notebooks, prepare the solver, check what is there.

Nothing heavy is imported here at the top, so that ``coreward --help`` answers
at once and so that the compiler's cache folder can be chosen before the
compiler is imported.
"""

from __future__ import annotations

import atexit
import contextlib
import hashlib
import importlib
import importlib.metadata
import json
import os
import socket
import sys
import tempfile
import threading
import time
import tomllib
from dataclasses import dataclass
from pathlib import Path
from typing import TextIO

from coreward.errors import CorewardError, InputError, MissingFeatureError
from coreward.files import OwnFolder, sweep_leftovers, write_atomically

COPY_FOLDER_NAME = "coreward-notebooks"
START_NOTEBOOK = "notebooks/start.ipynb"
LOOPBACK = "127.0.0.1"

_MANIFEST_NAME = ".coreward-originals.json"
_WORKBENCH_PARTS = ("notebooks", "data/demo")
_NEVER_COPIED = frozenset({"__pycache__", ".ipynb_checkpoints"})


@dataclass(frozen=True)
class Originals:
    """Where the notebooks come from."""

    folder: Path
    is_checkout: bool
    """True for a source checkout, False for an installed package."""


@dataclass(frozen=True)
class Workbench:
    """The folder that JupyterLab is opened on, and what had to be done to it."""

    folder: Path
    """Holds ``notebooks`` and ``data/demo``; it can be written to."""
    messages: tuple[str, ...] = ()
    """Sentences for the person: what was copied, kept or renewed."""


def _package_folder() -> Path:
    return Path(__file__).resolve().parent


def _checkout_project() -> dict[str, object] | None:
    """Return the [project] table when this package lies in its own checkout."""
    file = _package_folder().parents[1] / "pyproject.toml"
    if not file.is_file():
        return None
    try:
        project = tomllib.loads(file.read_text(encoding="utf-8")).get("project", {})
    except (OSError, tomllib.TOMLDecodeError):
        return None
    return project if project.get("name") == "coreward" else None


def find_originals(package_folder: Path | None = None) -> Originals:
    """Find the notebooks as they were delivered.

    Parameters
    ----------
    package_folder : Path, optional
        The folder of the ``coreward`` package; for tests.

    Raises
    ------
    MissingFeatureError
        If neither a checkout nor the installed package has the notebooks.
    """
    package = _package_folder() if package_folder is None else package_folder
    # An installed package is asked first: a stray folder named "notebooks" two
    # levels above site-packages must not be taken for ours.
    packaged = package / "_workbench"
    if (packaged / "notebooks").is_dir():
        return Originals(packaged, is_checkout=False)
    root = package.parents[1]
    if (root / "notebooks").is_dir() and (root / "pyproject.toml").is_file():
        return Originals(root, is_checkout=True)
    raise MissingFeatureError(
        f"The notebooks were not found beside the package in {package}. "
        "Install Coreward again, or run it from a complete source checkout."
    )


def is_writable(folder: Path) -> bool:
    """Tell whether files can really be made in a folder.

    Permission bits alone do not tell: root passes them on a disk that is
    mounted read-only, and Windows ignores them for folders. So a file is made
    and removed.
    """
    if not folder.is_dir() or not os.access(folder, os.W_OK):
        return False
    try:
        with tempfile.TemporaryFile(dir=folder):
            return True
    except OSError:
        return False


def default_copy_folder() -> Path:
    """Return the folder for a person's own copy of the notebooks."""
    return Path.home() / COPY_FOLDER_NAME


def prepare_workbench(
    folder: Path | None = None, *, originals: Originals | None = None
) -> Workbench:
    """Return a folder with the notebooks that can be written to.

    In a source checkout that can be written to, that is the checkout itself.
    Otherwise, or when `folder` is given, it is a copy, made or brought up to
    date without ever overwriting a file that the person changed.

    Parameters
    ----------
    folder : Path, optional
        Where the copy goes; None means the person's home.
    originals : Originals, optional
        Where the notebooks come from; None means find them.

    Raises
    ------
    InputError
        If the copy cannot be made there.
    MissingFeatureError
        If the notebooks are not found.
    """
    source = find_originals() if originals is None else originals
    if folder is None:
        if source.is_checkout and is_writable(source.folder / "notebooks"):
            return Workbench(source.folder)
        folder = default_copy_folder()
    target = folder.expanduser().resolve()
    if target == source.folder.resolve():
        if is_writable(target / "notebooks"):
            return Workbench(target)
        raise InputError(
            f"The folder {target} holds the original notebooks and cannot be written to. "
            "Choose another one with --folder."
        )
    try:
        messages = update_copy(source.folder, target)
    except OSError as error:
        reason = error.strerror or str(error)
        raise InputError(
            f"The notebooks cannot be copied to {target}: {reason}. "
            "Choose a folder you can write to with --folder."
        ) from error
    return Workbench(target, tuple(messages))


def update_copy(source: Path, target: Path) -> list[str]:
    """Copy the workbench, or bring a copy up to date, keeping a person's changes.

    A file the person never touched is renewed. A file the person changed stays
    as it is, and a newer original, if there is one, is put beside it under a
    name that says so. What was delivered is remembered by its digest.

    Returns
    -------
    list of str
        What was done, in sentences; empty when nothing had to be done.

    Raises
    ------
    OSError
        If the target cannot be written to.
    """
    is_new = not target.exists()
    target.mkdir(parents=True, exist_ok=True)
    delivered = _read_manifest(target / _MANIFEST_NAME)
    added: list[str] = []
    renewed: list[str] = []
    messages: list[str] = []
    for relative in _workbench_files(source):
        content = (source / relative).read_bytes()
        digest = _digest(content)
        mine = target / relative
        if not mine.exists():
            mine.parent.mkdir(parents=True, exist_ok=True)
            write_atomically(mine, content)
            added.append(relative)
        elif (found := _digest(mine.read_bytes())) == digest:
            pass
        elif found == delivered.get(relative):
            write_atomically(mine, content)
            renewed.append(relative)
        elif delivered.get(relative) != digest:
            beside = _put_beside(mine, content)
            messages.append(
                f"Your changed {relative} was kept; the newer original is beside it as "
                f'"{beside.name}".'
            )
        delivered[relative] = digest
    write_atomically(
        target / _MANIFEST_NAME,
        json.dumps(delivered, indent=1, sort_keys=True).encode("utf-8"),
    )
    if is_new:
        messages.insert(0, f"A copy of the notebooks for you to change was made in {target}.")
    elif added:
        messages.insert(0, "Added to your copy: " + ", ".join(added) + ".")
    if renewed:
        messages.append(
            "Brought up to date (you had not changed them): " + ", ".join(renewed) + "."
        )
    return messages


def _workbench_files(source: Path) -> list[str]:
    files: list[str] = []
    for part in _WORKBENCH_PARTS:
        for path in sorted((source / part).rglob("*")):
            relative = path.relative_to(source)
            if path.is_file() and _NEVER_COPIED.isdisjoint(relative.parts):
                files.append(relative.as_posix())
    return files


def _digest(content: bytes) -> str:
    return hashlib.sha256(content).hexdigest()


def _read_manifest(file: Path) -> dict[str, str]:
    try:
        manifest = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError):
        # Without a record every differing file counts as the person's own,
        # which is the side on which no work is lost.
        return {}
    if not isinstance(manifest, dict):
        return {}
    return {str(name): str(digest) for name, digest in manifest.items()}


def _put_beside(mine: Path, content: bytes) -> Path:
    for number in range(1, sys.maxsize):
        count = "" if number == 1 else f" {number}"
        beside = mine.with_name(f"{mine.stem} (newer original{count}){mine.suffix}")
        if not beside.exists():
            write_atomically(beside, content)
            return beside
        if beside.read_bytes() == content:
            return beside
    raise AssertionError("unreachable")


def choose_port(port: int | None = None, host: str = LOOPBACK) -> int:
    """Return a free port, on this machine's loopback address unless told otherwise.

    Parameters
    ----------
    port : int, optional
        A port the person asked for; None means any free one.
    host : str
        The address it must be free on.

    Raises
    ------
    InputError
        If that port is not between 1 and 65535, or is taken or not allowed.
    """
    if port is not None and not 1 <= port <= 65535:
        raise InputError(f"The port {port} does not exist; choose one between 1 and 65535.")
    with socket.socket(socket.AF_INET, socket.SOCK_STREAM) as probe:
        if os.name == "posix":
            # As the server itself does: a port left a moment ago counts as free.
            probe.setsockopt(socket.SOL_SOCKET, socket.SO_REUSEADDR, 1)
        try:
            probe.bind((host, port or 0))
        except (OSError, OverflowError) as error:
            raise InputError(
                f"The port {port} cannot be used (it is taken, or not allowed for you). "
                "Leave out --port to have a free one chosen."
            ) from error
        chosen: int = probe.getsockname()[1]
        return chosen


def runs_as_root() -> bool:
    """Tell whether this process has the administrator's rights on a Unix."""
    return hasattr(os, "geteuid") and os.geteuid() == 0


def server_arguments(
    workbench: Workbench, *, port: int, token: str, as_root: bool
) -> list[str]:
    """Return the arguments for JupyterLab: this machine only, with a token."""
    arguments = [
        f"--ServerApp.root_dir={workbench.folder}",
        f"--ServerApp.ip={LOOPBACK}",
        "--ServerApp.allow_remote_access=False",
        f"--ServerApp.port={port}",
        # The address has been chosen and is announced: moving on to the next
        # port silently would make the announcement false.
        "--ServerApp.port_retries=0",
        f"--IdentityProvider.token={token}",
        f"--LabApp.default_url=/lab/tree/{START_NOTEBOOK}",
        "--ServerApp.open_browser=False",
        # From a notebook one click leads to its plain page.
        "--ServerApp.jpserver_extensions={'coreward.app.way_back': True}",
        # What other libraries warn of says nothing to a cook.
        "--Application.log_level=ERROR",
        # Ctrl+C stops at once instead of asking once more.
        "--ServerApp.answer_yes=True",
    ]
    if as_root:
        arguments.append("--ServerApp.allow_root=True")
    return arguments


# The compiled solver ------------------------------------------------------------------


def user_cache_folder() -> Path:
    """Return the folder where this system keeps a person's caches."""
    if sys.platform == "win32":
        base = os.environ.get("LOCALAPPDATA")
        return (
            (Path(base) if base else Path.home() / "AppData" / "Local") / "coreward" / "Cache"
        )
    if sys.platform == "darwin":
        return Path.home() / "Library" / "Caches" / "coreward"
    base = os.environ.get("XDG_CACHE_HOME")
    return (Path(base) if base else Path.home() / ".cache") / "coreward"


def prepare_solver_cache() -> Path:
    """Choose where the compiled solver is kept; call before the solver is imported.

    Beside its source when that can be written to, else in the person's cache
    folder, else (no home at all) in a temporary one. A folder the person chose
    through ``NUMBA_CACHE_DIR`` is left alone.

    Returns
    -------
    Path
        The folder under which the compiled code lies.
    """
    chosen = os.environ.get("NUMBA_CACHE_DIR")
    if chosen:
        return Path(chosen)
    package = _package_folder()
    if is_writable(package / "physics"):
        return package
    folder = user_cache_folder() / "compiled"
    with contextlib.suppress(OSError):
        folder.mkdir(parents=True, exist_ok=True)
    if not is_writable(folder):
        sweep_leftovers()
        own = OwnFolder("compiled")
        atexit.register(own.remove)
        folder = own.path
    os.environ["NUMBA_CACHE_DIR"] = str(folder)
    return folder


def solver_is_compiled(cache_folder: Path) -> bool:
    """Tell whether compiled code at least as new as its source is at hand."""
    compiled = [file.stat().st_mtime for file in cache_folder.rglob("fast.*.nbi")]
    if not compiled:
        return False
    sources = (_package_folder() / "physics").rglob("*.py")
    return max(compiled) >= max((file.stat().st_mtime for file in sources), default=0.0)


_COMPILED = ("engines.fast", "fire")


def warm_solver(cache_folder: Path, *, out: TextIO, tell_every_s: float = 5.0) -> None:
    """Compile the solver if it is not compiled yet, saying so while it takes time.

    It is done before a page opens, so that no page ever waits for it without a word.

    Parameters
    ----------
    cache_folder : Path
        Where the compiled code is kept; see `prepare_solver_cache`.
    """
    if solver_is_compiled(cache_folder):
        return
    compiled = [importlib.import_module(f"coreward.physics.{name}") for name in _COMPILED]
    out.write(
        "Preparing the solver for this machine, only this first time; it takes a minute or so: "
    )
    out.flush()
    begin = time.perf_counter()
    is_done = threading.Event()

    def tell() -> None:
        while not is_done.wait(tell_every_s):
            out.write(f"{time.perf_counter() - begin:.0f} s ... ")
            out.flush()

    teller = threading.Thread(target=tell, daemon=True)
    teller.start()
    try:
        for module in compiled:
            module.warm_up()
    finally:
        is_done.set()
        teller.join()
    out.write(f"done in {time.perf_counter() - begin:.0f} s.\n")
    out.flush()


def lab_defaults() -> Path:
    """Return the folder with our defaults for JupyterLab."""
    return _package_folder() / "lab_defaults"


def use_lab_defaults() -> None:
    """Have JupyterLab take our defaults where the person has made no choice.

    Its own default is to ask, over the first page, whether it may fetch news. Our
    folder only moves defaults: a choice in the person's settings goes before it, and a
    path that the person set stays in front of ours.
    """
    own = str(lab_defaults())
    paths = os.environ.get("JUPYTER_CONFIG_PATH", "").split(os.pathsep)
    if own not in paths:
        os.environ["JUPYTER_CONFIG_PATH"] = os.pathsep.join([*filter(None, paths), own])


# Checking -----------------------------------------------------------------------------


@dataclass(frozen=True)
class Check:
    """One line of the environment check."""

    what: str
    finding: str
    is_fine: bool


def check_environment(folder: Path | None = None) -> tuple[Check, ...]:
    """Look at everything that the workbench needs, without changing anything.

    Parameters
    ----------
    folder : Path, optional
        The folder for a writable copy that would be used.
    """
    checks = [_check_python(), *_check_packages(), _check_notebooks(folder), _check_tables()]
    checks.append(_check_solver())
    return tuple(checks)


def _check_python() -> Check:
    found = ".".join(str(part) for part in sys.version_info[:3])
    return Check("Python", f"{found} at {sys.executable}", sys.version_info >= (3, 11))


def _requirements() -> list[str]:
    project = _checkout_project()
    if project is not None:
        listed = project.get("dependencies", [])
        return [str(line) for line in listed] if isinstance(listed, list) else []
    try:
        return importlib.metadata.requires("coreward") or []
    except importlib.metadata.PackageNotFoundError:
        return []


def _check_packages() -> list[Check]:
    try:
        from packaging.requirements import Requirement
    except ImportError:
        return [Check("packages", "cannot be compared: JupyterLab is not installed", False)]
    checks = []
    for line in _requirements():
        requirement = Requirement(line)
        if requirement.marker is not None and not requirement.marker.evaluate({"extra": ""}):
            continue
        try:
            found = importlib.metadata.version(requirement.name)
        except importlib.metadata.PackageNotFoundError:
            checks.append(Check(requirement.name, "is not installed", False))
            continue
        fits = requirement.specifier.contains(found, prereleases=True)
        need = "" if fits else f", but {requirement.specifier} is needed"
        checks.append(Check(requirement.name, f"{found}{need}", fits))
    if not checks:
        checks.append(Check("packages", "no list of requirements found", False))
    return checks


def _check_notebooks(folder: Path | None) -> Check:
    try:
        originals = find_originals()
    except MissingFeatureError as error:
        return Check("notebooks", str(error), False)
    if not (originals.folder / START_NOTEBOOK).is_file():
        return Check("notebooks", f"{START_NOTEBOOK} is missing in {originals.folder}", False)
    in_place = originals.is_checkout and is_writable(originals.folder / "notebooks")
    if folder is None and in_place:
        return Check("notebooks", f"opened in place: {originals.folder}", True)
    copy = (default_copy_folder() if folder is None else folder.expanduser()).resolve()
    existing = next(place for place in (copy, *copy.parents) if place.exists())
    if not is_writable(existing):
        return Check("notebooks", f"no copy can be made in {copy}; use --folder", False)
    return Check("notebooks", f"opened in a copy: {copy}", True)


def _check_tables() -> Check:
    try:
        tables = importlib.import_module("coreward.tables")
        count = sum(len(tables.names(kind)) for kind in tables.kinds())
    except (CorewardError, ImportError) as error:
        return Check("constants tables", str(error), False)
    return Check("constants tables", f"{count} sets, each value with unit and source", True)


def _check_solver() -> Check:
    cache_folder = prepare_solver_cache()
    if solver_is_compiled(cache_folder):
        return Check("solver", f"compiled, kept in {cache_folder}", True)
    # Not a fault: it is compiled when the workbench opens.
    return Check("solver", f"not compiled yet, will be kept in {cache_folder}", True)
