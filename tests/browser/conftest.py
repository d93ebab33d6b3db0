"""One browser, one JupyterLab and one app view for all tests; a window for each.

They end with the last test of this folder (which is a package for that reason alone): the
browser's driver keeps an event loop running in the thread of the tests, beside which those
of a panel cannot run their own.
"""

from __future__ import annotations

import json
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import AbstractContextManager, contextmanager
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from coreward.app.command import cache_folders
from coreward.launch import prepare_solver_cache
from support.app_page import AppPage
from support.app_server import AppServer, running_app, write_page
from support.workbench import (
    KEPT,
    NotebookPage,
    Server,
    clear_numbers,
    find_chromium,
    running_browser,
    running_server,
)

ROOT = Path(__file__).parents[2]
WINDOW = {"width": 1280, "height": 1000}
FULL = bool(os.environ.get("COREWARD_FULL"))
SLOW = "slow"
"""A page of the app view that computes for some seconds on any machine, and does nothing."""
_SLOW_CELL = "import time\n\ntime.sleep(6)\nprint('the second part')"

_FEW_DRAWS = (
    "from coreward import tables",
    "for kind, few in (('plan', {'members': 60, 'settled': 50}),",
    "                  ('forecast', {'members': 60})):",
    "    sets, _ = tables._table(kind)",
    "    sets['numerics'] = sets['numerics'].replace(**few)",
)
QUICKER = {
    "plan-the-day": _FEW_DRAWS,
    "my-log": _FEW_DRAWS,
    "lesson-plan": _FEW_DRAWS,
    "lesson-log": _FEW_DRAWS,
    "how-far-to-trust-it": (
        "import functools",
        "import coreward.evidence.sensitivity as study",
        "study.sensitivity = functools.partial(study.sensitivity, 8)",
        "study.plateau_sensitivity = functools.partial(study.plateau_sensitivity, 8)",
    ),
    # It then finds no second engine, and says how to get it.
    "does-it-solve-its-equations": ("import sys", "sys.modules['fipy'] = None"),
}

NotebookOpener = Callable[..., AbstractContextManager[NotebookPage]]
OpenNotebook = Callable[[str], NotebookPage]
OpenPage = Callable[[str], AppPage]


@pytest.fixture(scope="package")
def browser() -> Iterator[Browser]:
    executable = find_chromium()
    if executable is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing; in CI a browser test must not be skipped.")
        pytest.skip("needs Chromium (on Debian: apt-get install chromium)")
    with running_browser(executable) as started:
        yield started


@pytest.fixture(scope="session")
def screenshots() -> Path | None:
    chosen = os.environ.get("COREWARD_SCREENSHOTS")
    return Path(chosen) if chosen else None


@pytest.fixture(scope="session")
def workbench_folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return a copy of the notebooks and demo logs, made ready to be run by hand."""
    folder = _copied(tmp_path_factory.mktemp("workbench"))
    clear_numbers(folder)
    return folder


def _copied(folder: Path) -> Path:
    """Copy the notebooks and demo logs, laid out as they are delivered."""
    ignore = shutil.ignore_patterns(".ipynb_checkpoints")
    for part in ("notebooks", "data"):
        shutil.copytree(ROOT / part, folder / part, ignore=ignore)
    _made_quick(folder / "notebooks")
    return folder


def _made_quick(folder: Path) -> None:
    """Let some pages compute less than they do for a cook.

    What they say of it is not what is looked at here: tests/notebooks runs them as they are.
    """
    for name, lines in () if FULL else QUICKER.items():
        path = folder / f"{name}.ipynb"
        notebook = json.loads(path.read_text(encoding="utf-8"))
        first = next(cell for cell in notebook["cells"] if cell["cell_type"] == "code")
        first["source"] = [*(f"{line}\n" for line in lines), *first["source"]]
        path.write_text(json.dumps(notebook), encoding="utf-8")


# JupyterLab ---------------------------------------------------------------------------


@pytest.fixture(scope="session")
def private(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Return the folder that stands for the home of whoever uses JupyterLab here."""
    return tmp_path_factory.mktemp("private")


@pytest.fixture(scope="package")
def lab(workbench_folder: Path, private: Path) -> Iterator[Server]:
    with running_server(workbench_folder, private) as server:
        yield server


@pytest.fixture(scope="package")
def notebook_opener(
    browser: Browser, lab: Server, screenshots: Path | None, private: Path
) -> NotebookOpener:
    """Return what opens a notebook of the copy and runs all of it, in a window of its own.

    A panel is found as it was left, also by the next test: unless told that it is the
    same person who comes back, what was left is forgotten first.
    """

    @contextmanager
    def opened(name: str, *, again: bool = False) -> Iterator[NotebookPage]:
        if not again:
            shutil.rmtree(private / KEPT, ignore_errors=True)
        context = browser.new_context(viewport=WINDOW)  # type: ignore[arg-type]
        try:
            notebook = NotebookPage(context.new_page(), screenshots)
            notebook.open(lab.notebook_address(f"notebooks/{name}"))
            notebook.run_all()
            yield notebook
        finally:
            context.close()
            # The next test must meet a kernel that knows nothing.
            lab.stop_kernels()

    return opened


@pytest.fixture
def open_notebook(notebook_opener: NotebookOpener) -> Iterator[OpenNotebook]:
    """Return a function that opens one notebook for this test."""
    holder: list[AbstractContextManager[NotebookPage]] = []

    def open_and_run(name: str) -> NotebookPage:
        holder.append(notebook_opener(name, again=bool(holder)))
        return holder[-1].__enter__()

    yield open_and_run
    for opened in reversed(holder):
        opened.__exit__(None, None, None)


# The app view -------------------------------------------------------------------------


@pytest.fixture(scope="package")
def app(tmp_path_factory: pytest.TempPathFactory) -> Iterator[AppServer]:
    folder = _copied(tmp_path_factory.mktemp("pages"))
    write_page(folder, SLOW, ("code", "print('the first part')"), ("code", _SLOW_CELL))
    caches = cache_folders(prepare_solver_cache())
    with running_app(folder, caches=caches, most=20, abandoned_s=5.0) as server:
        yield server


@pytest.fixture
def open_page(browser: Browser, app: AppServer, screenshots: Path | None) -> Iterator[OpenPage]:
    """Return a function that opens pages, all as the same new visitor."""
    context = browser.new_context(viewport=WINDOW)  # type: ignore[arg-type]

    def opened(name: str) -> AppPage:
        return AppPage(context.new_page(), app, name, screenshots)

    yield opened
    context.close()
