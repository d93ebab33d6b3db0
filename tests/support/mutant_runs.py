"""Which tests run which line, and whether they notice a change: one forked process each.

The parent imports what is heavy and never changes, once. A child has a copy of all that,
imports the rest anew, a changed module from its syntax tree in memory, and runs the tests
that it is told to. Nothing is written into the checkout.
"""

from __future__ import annotations

import ast
import gzip
import hashlib
import importlib
import importlib.machinery
import importlib.util
import json
import os
import pkgutil
import select
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from types import CodeType, ModuleType
from typing import Any

import coverage
import pytest

_REMEMBERS = type(lru_cache(len))
# Heavy, and no part of the package.
HEAVY = (
    "numpy", "scipy.optimize", "scipy.interpolate", "scipy.special", "scipy.integrate",
    "scipy.ndimage", "scipy.signal", "scipy.stats", "numba", "CoolProp", "ipywidgets",
    "matplotlib.pyplot", "matplotlib.backends.backend_agg", "openpyxl", "icalendar", "fpdf",
    "pypdf", "hypothesis", "coverage", "asyncio", "zoneinfo",
)  # fmt: skip
# A test is given so much before it counts as hanging, beside a multiple of its own time:
# the machine may be busy.
PATIENCE_S, PATIENCE, WAITS = 40.0, 12.0, 30.0


# -- in the parent, before any fork -----------------------------------------------------


def prepare(cache: Path, package: str, floor: Sequence[str]) -> None:
    """Import what never changes, and keep compiled files out of the checkout.

    `floor` names the parts of the package below everything that is to be changed.
    """
    cache.mkdir(parents=True, exist_ok=True)
    os.environ.update(
        {
            "CI": "1", "MPLBACKEND": "Agg", "OMP_NUM_THREADS": "1",
            "PYTEST_DISABLE_PLUGIN_AUTOLOAD": "1", "NUMBA_CACHE_DIR": str(cache / "numba"),
            "HYPOTHESIS_STORAGE_DIRECTORY": str(cache / "hypothesis"),
        }
    )  # fmt: skip
    sys.pycache_prefix = str(cache / "bytecode")
    for name in HEAVY:
        with suppress(ImportError):
            importlib.import_module(name)
    for name in floor:
        try:
            part = importlib.import_module(f"{package}.{name}")
        except ImportError:
            continue
        for one in pkgutil.walk_packages(getattr(part, "__path__", []), f"{part.__name__}."):
            with suppress(ImportError):  # an engine that is not installed
                importlib.import_module(one.name)


# -- a child ----------------------------------------------------------------------------


def processor_s(pid: int) -> float | None:
    """Return the processor time that a running process has used, where it is told. [s]."""
    try:
        told = Path(f"/proc/{pid}/stat").read_text(encoding="ascii", errors="replace")
    except OSError:
        return None
    # Behind the name, which may hold anything: fields 14 and 15.
    fields = told.rpartition(")")[2].split()
    return (int(fields[11]) + int(fields[12])) / os.sysconf("SC_CLK_TCK")


@dataclass
class Child:
    """A running process and what it has said so far."""

    pid: int
    pipe: int
    folder: Path
    heard: float
    expected: float = 20.0
    used: float = 0.0  # of processor time when it was heard last
    running: str = ""
    rest: bytes = b""
    said: list[dict[str, Any]] = field(default_factory=list)
    over: bool = False
    hung: bool = False
    seconds: float = 0.0  # of processor time: the clock counts what others do

    def listen(self) -> None:
        """Take what has come."""
        data = os.read(self.pipe, 65536)
        if not data:
            self.over = True
            return
        *lines, self.rest = (self.rest + data).split(b"\n")
        for line in lines:
            message = json.loads(line)
            self.said.append(message)
            self.heard = time.monotonic()
            self.used = processor_s(self.pid) or 0.0
            self.running = message.get("begins", "")
            self.expected = float(message.get("expected", 20.0))

    def hangs(self) -> bool:
        """Whether it has been silent for longer than what it does can take.

        That is counted in its own processor time: on a busy machine the clock runs on. One
        that waits for ever uses none, and is given up after so many times as long.
        """
        allowed = PATIENCE_S + PATIENCE * self.expected
        silent = time.monotonic() - self.heard
        if silent <= allowed:
            return False
        used = processor_s(self.pid)
        worked = silent if used is None else used - self.used
        return worked > allowed or silent > WAITS * allowed

    def end(self) -> None:
        """Stop it and all that it started, and leave nothing behind."""
        with suppress(ProcessLookupError, PermissionError):
            os.killpg(self.pid, signal.SIGKILL)
        os.close(self.pipe)
        _, _, used = os.wait4(self.pid, 0)
        self.seconds = used.ru_utime + used.ru_stime
        shutil.rmtree(self.folder, ignore_errors=True)


def start(work: Callable[[Callable[..., None]], None], root: Path) -> Child:
    """Fork a process that does some work; it is handed a function to report with."""
    reader, writer = os.pipe()
    folder = Path(tempfile.mkdtemp(prefix="mutant-"))
    sys.stdout.flush()
    sys.stderr.flush()
    pid = os.fork()
    if pid == 0:
        code = 1
        try:
            os.close(reader)
            os.setpgid(0, 0)
            signal.signal(signal.SIGTERM, signal.SIG_DFL)
            _be_quiet(folder)
            os.chdir(root)

            def say(**message: object) -> None:
                os.write(writer, json.dumps(message).encode() + b"\n")

            work(say)
            code = 0
        except BaseException as error:
            os.write(writer, json.dumps({"broken": repr(error)}).encode() + b"\n")
        finally:
            os._exit(code)
    os.close(writer)
    with suppress(OSError):
        os.setpgid(pid, pid)
    return Child(pid, reader, folder, time.monotonic())


def _be_quiet(folder: Path) -> None:
    """Send a child's words nowhere and its files into a folder of its own."""
    empty = os.open(os.devnull, os.O_RDWR)
    for number in (0, 1, 2):
        os.dup2(empty, number)
    sys.stdout = sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115
    tempfile.tempdir = str(folder)
    os.environ.update({"TMPDIR": str(folder), "PYTEST_DEBUG_TEMPROOT": str(folder)})


def all_of(
    works: Iterable[tuple[Any, Callable[[Callable[..., None]], None]]], root: Path, jobs: int
) -> Iterator[tuple[Any, Child]]:
    """Run one process for each of several works, a few at a time; give them as they end."""
    # Told to end, the parent ends its children first.
    before = signal.signal(signal.SIGTERM, lambda *_: sys.exit(1))
    waiting = iter(works)
    running: dict[int, tuple[Any, Child]] = {}
    more = True
    try:
        while more or running:
            while more and len(running) < jobs:
                try:
                    what, work = next(waiting)
                except StopIteration:
                    more = False
                    break
                child = start(work, root)
                running[child.pipe] = what, child
            if not running:
                break
            ready, _, _ = select.select(list(running), [], [], 0.5)
            for pipe in list(running):
                what, child = running[pipe]
                if pipe in ready:
                    child.listen()
                if not child.over and child.hangs():
                    child.hung = child.over = True
                if child.over:
                    del running[pipe]
                    child.end()
                    yield what, child
    finally:
        for _, child in running.values():
            child.end()
        signal.signal(signal.SIGTERM, before)


# -- a changed module -------------------------------------------------------------------


class Changed(importlib.machinery.SourceFileLoader):
    """Load a module from a syntax tree instead of its file."""

    def __init__(self, name: str, path: str, tree: ast.Module) -> None:
        super().__init__(name, path)
        self.tree = tree
        self.loaded = False

    def get_code(self, fullname: str) -> CodeType:
        """Compile the tree; the file's own code is not looked at."""
        return compile(self.tree, self.path, "exec", dont_inherit=True)

    def exec_module(self, module: ModuleType) -> None:
        """Run it."""
        self.loaded = True
        super().exec_module(module)


class Finder:
    """Come before all other finders, for one module."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name = name
        self.tree = tree
        self.loader: Changed | None = None

    def find_spec(
        self, name: str, path: Sequence[str] | None = None, target: ModuleType | None = None
    ) -> importlib.machinery.ModuleSpec | None:
        """Return the spec of the module, with our loader."""
        if name != self.name:
            return None
        spec = importlib.machinery.PathFinder.find_spec(name, path)
        if spec is None or spec.origin is None:
            return None
        self.loader = Changed(name, spec.origin, self.tree)
        spec.loader = self.loader
        return spec


# -- running tests in a child -----------------------------------------------------------


class _Chosen:
    """Run only the tests wanted, in the order wanted, and report as it goes."""

    def __init__(
        self, seconds: Mapping[str, float], known: frozenset[str], say: Callable[..., None]
    ) -> None:
        self.seconds = seconds
        self.known = known
        self.say = say
        self.ran = 0
        self.failed = False

    @pytest.hookimpl(trylast=True)
    def pytest_collection_modifyitems(self, items: list[pytest.Item]) -> None:
        place = {name: n for n, name in enumerate(self.seconds)}
        # One that is not known has come with the change.
        kept = [i for i in items if i.nodeid in place or i.nodeid not in self.known]
        items[:] = sorted(kept, key=lambda item: place.get(item.nodeid, len(place)))

    def pytest_runtest_logstart(self, nodeid: str) -> None:
        self.ran += 1
        self.say(begins=nodeid, expected=self.seconds.get(nodeid, 10.0))

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed and not self.failed:
            self.failed = True
            crash = getattr(report.longrepr, "reprcrash", None)
            message = str(getattr(crash, "message", report.longrepr))
            asserted = message.startswith(("assert", "AssertionError", "Failed:"))
            how = "assert" if asserted else "error"
            self.say(failed=report.nodeid, how=how, message=message[:300])

    def pytest_collectreport(self, report: pytest.CollectReport) -> None:
        if report.failed and not self.failed:
            self.failed = True
            self.say(failed=report.nodeid, how="import", message=str(report.longrepr)[-300:])


def run_tests(
    seconds: Mapping[str, float], known: frozenset[str], say: Callable[..., None]
) -> bool:
    """Run tests by name in their order until one fails; True if one does."""
    files = list(dict.fromkeys(name.partition("::")[0] for name in seconds))
    say(begins="", expected=20.0)
    chosen = _Chosen(seconds, known, say)
    pytest.main(
        ["-x", "-q", "--no-header", "--tb=line", "-p", "no:cacheprovider", "-s", *files],
        plugins=[chosen],
    )
    say(ran=chosen.ran)
    return chosen.failed


# -- which test runs which line ---------------------------------------------------------


@dataclass
class Measured:
    """What one file of tests runs.

    Attributes
    ----------
    seconds : dict
        Processor time of each test that passes, by name, with its lines followed.
    failing : list of str
        Tests that fail with nothing changed: not used.
    left : list of str
        Tests not measured, since the file took too long: not used.
    lines : dict
        File of the package -> line -> numbers of tests (in the order of `seconds`).
    sources : dict
        What it depends on: file -> digest.
    shared : dict
        Processor time of what a test shares with others of its file and asks for.
    """

    seconds: dict[str, float]
    failing: list[str]
    left: list[str]
    lines: dict[str, dict[int, list[int]]]
    sources: dict[str, str]
    shared: dict[str, float] = field(default_factory=dict)


class _Follower:
    """Say to the tracer whose lines come next.

    What a fixture of a module runs counts for every test that asks for the fixture.
    """

    def __init__(self, tracer: Any, root: Path, at_most_s: float, say: Any) -> None:
        self.tracer = tracer
        self.root = root
        self.at_most_s = at_most_s
        self.say = say
        self.before = set(sys.modules)
        self.now = ""
        self.seconds: dict[str, float] = {}
        self.fixtures: dict[str, list[str]] = {}
        self.made: dict[str, float] = {}
        self.bad: set[str] = set()
        self.all: list[str] = []

    def pytest_collection_finish(self, session: pytest.Session) -> None:
        self.all = [item.nodeid for item in session.items]

    @pytest.hookimpl(wrapper=True)
    def pytest_runtest_protocol(self, item: pytest.Item) -> Iterator[Any]:
        self._forget()
        self.say(begins=item.nodeid, expected=60.0)
        self.fixtures[item.nodeid] = list(getattr(item, "fixturenames", []))
        self.now = item.nodeid
        self.tracer.switch_context(self.now)
        self.seconds[self.now] = -time.process_time()
        try:
            return (yield)
        finally:
            self.seconds[item.nodeid] += time.process_time()
            self.tracer.switch_context("")
            if sum(self.seconds.values()) > self.at_most_s:
                item.session.shouldstop = "long enough"

    @pytest.hookimpl(wrapper=True)
    def pytest_fixture_setup(self, fixturedef: Any) -> Iterator[Any]:
        if fixturedef.scope == "function":
            return (yield)
        before, self.now = self.now, f"fixture {fixturedef.argname}"
        self.tracer.switch_context(self.now)
        begun = time.process_time()
        try:
            return (yield)
        finally:
            took = self.made[fixturedef.argname] = time.process_time() - begun
            if before in self.seconds:
                self.seconds[before] -= took
            self.now = before
            self.tracer.switch_context(before)

    def pytest_runtest_logreport(self, report: pytest.TestReport) -> None:
        if report.failed:
            self.bad.add(report.nodeid)

    def _forget(self) -> None:
        """Empty what functions remember, so that each test runs what it needs itself."""
        for name, module in list(sys.modules.items()):
            file = getattr(module, "__file__", None) or ""
            if name not in self.before and file.startswith(str(self.root)):
                for thing in list(vars(module).values()):
                    if isinstance(thing, _REMEMBERS):
                        thing.cache_clear()


def measure(
    test_file: str, package: Path, root: Path, at_most_s: float, say: Callable[..., None]
) -> None:
    """Run a file of tests and report which test runs which line. In a child."""
    tracer = coverage.Coverage(
        data_file=None, config_file=False, include=[f"{package}/*"], messages=False
    )
    tracer.start()
    follower = _Follower(tracer, root, at_most_s, say)
    try:
        pytest.main(
            ["-q", "--no-header", "--tb=no", "-p", "no:cacheprovider", "-s", test_file],
            plugins=[follower],
        )
    finally:
        tracer.stop()
    say(begins="", expected=60.0)
    names = [name for name in follower.seconds if name not in follower.bad]
    asked: dict[str, list[int]] = {}
    for number, name in enumerate(names):
        for context in (name, *(f"fixture {f}" for f in follower.fixtures.get(name, []))):
            asked.setdefault(context, []).append(number)
    data = tracer.get_data()
    lines: dict[str, dict[int, list[int]]] = {}
    for file in data.measured_files():
        found = {
            line: sorted({n for context in contexts for n in asked.get(context, ())})
            for line, contexts in data.contexts_by_lineno(file).items()
        }
        found = {line: numbers for line, numbers in found.items() if numbers}
        if found:
            lines[str(Path(file).relative_to(package))] = found
    say(
        measured={
            "seconds": {name: follower.seconds[name] for name in names},
            "failing": sorted(follower.bad),
            "left": [name for name in follower.all if name not in follower.seconds],
            "lines": lines,
            "shared": {
                name: max(
                    (follower.made.get(f, 0.0) for f in follower.fixtures[name]), default=0
                )
                for name in names
            },
        }
    )


def digest(file: Path) -> str:
    """Fingerprint of a file; empty if there is none."""
    return hashlib.sha256(file.read_bytes()).hexdigest() if file.is_file() else ""


class Record:
    """What is known of the tests, kept in a folder and renewed where a file has changed."""

    def __init__(self, root: Path, package: Path, cache: Path) -> None:
        self.root = root
        self.package = package
        self.folder = cache / "lines"
        self.folder.mkdir(parents=True, exist_ok=True)
        self.files: dict[str, Measured] = {}

    def _kept(self, test_file: str) -> Path:
        return self.folder / (test_file.replace("/", "-") + ".json.gz")

    def _own(self, test_file: str) -> dict[str, str]:
        """Digests of the tests and of the helpers they import."""
        tests = self.root / "tests"
        own = [self.root / test_file, tests / "conftest.py"]
        for name in imported(self.root / test_file):
            helper = tests.joinpath(*name.split(".")).with_suffix(".py")
            if helper.is_file():
                own.append(helper)
        return {f"tests:{file.relative_to(self.root)}": digest(file) for file in own}

    def load(self, test_file: str) -> bool:
        """Whether what is kept of a file of tests is still true; then it is taken."""
        kept = self._kept(test_file)
        if not kept.is_file():
            return False
        with gzip.open(kept, "rt", encoding="utf-8") as text:
            raw = json.load(text)
        own = self._own(test_file)
        for name, was in raw["sources"].items():
            now = own.get(name) if name.startswith("tests:") else digest(self.package / name)
            if now != was:
                return False
        raw["lines"] = {
            file: {int(line): numbers for line, numbers in found.items()}
            for file, found in raw["lines"].items()
        }
        self.files[test_file] = Measured(**raw)
        return True

    def keep(self, test_file: str, raw: dict[str, Any]) -> Measured:
        """Keep what a child has measured."""
        sources = self._own(test_file)
        sources |= {name: digest(self.package / name) for name in raw["lines"]}
        raw["sources"] = sources
        with gzip.open(self._kept(test_file), "wt", encoding="utf-8") as text:
            json.dump(raw, text)
        assert self.load(test_file)
        return self.files[test_file]

    def tests_of(self, file: str, lines: Iterable[int]) -> dict[str, float]:
        """Return the tests that run one of the lines of a file of the package."""
        wanted = set(lines)
        found: dict[str, float] = {}
        for one in self.files.values():
            of_file = one.lines.get(file, {})
            numbers = {n for line in wanted & of_file.keys() for n in of_file[line]}
            if numbers:
                names = list(one.seconds)
                found |= {names[n]: one.seconds[names[n]] for n in numbers}
        return found

    def alone(self, name: str) -> float:
        """Return what a test takes that is the first of its file to run."""
        one = self.files[name.partition("::")[0]]
        return one.seconds[name] + one.shared.get(name, 0.0)

    def lines_run(self, file: str) -> set[int]:
        """Return the lines of a file that some test runs."""
        return {line for one in self.files.values() for line in one.lines.get(file, ())}

    def known(self) -> frozenset[str]:
        """Names of all tests, those that are not used included."""
        return frozenset(
            name
            for one in self.files.values()
            for name in (*one.seconds, *one.failing, *one.left)
        )


def imported(file: Path) -> set[str]:
    """Modules that a source file names in an import, anywhere in it, in full."""
    names: set[str] = set()
    for node in ast.walk(ast.parse(file.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            names |= {alias.name for alias in node.names}
        elif isinstance(node, ast.ImportFrom) and node.module and not node.level:
            names.add(node.module)
            names |= {f"{node.module}.{alias.name}" for alias in node.names}
    return names
