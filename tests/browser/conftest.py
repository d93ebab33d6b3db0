"""The browser once per session; a server and a page of its own for each test."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import ExitStack
from pathlib import Path

import pytest
from playwright.sync_api import Browser

from support.workbench import (
    NotebookPage,
    clear_numbers,
    find_chromium,
    running_browser,
    running_server,
)

ROOT = Path(__file__).parents[2]
WINDOW = {"width": 1400, "height": 1100}

OpenNotebook = Callable[[str], NotebookPage]


@pytest.fixture(scope="session")
def browser() -> Iterator[Browser]:
    executable = find_chromium()
    if executable is None:
        if os.environ.get("CI"):
            pytest.fail("Chromium is missing; in CI a browser test must not be skipped.")
        pytest.skip("needs Chromium (on Debian: apt-get install chromium)")
    with running_browser(executable) as started:
        yield started


@pytest.fixture(scope="session")
def screenshots(tmp_path_factory: pytest.TempPathFactory) -> Path:
    chosen = os.environ.get("COREWARD_SCREENSHOTS")
    return Path(chosen) if chosen else tmp_path_factory.mktemp("screenshots")


@pytest.fixture
def workbench_folder(tmp_path: Path) -> Path:
    """Return a copy of the notebooks and demo logs, laid out as they are delivered."""
    folder = tmp_path / "workbench"
    ignore = shutil.ignore_patterns(".ipynb_checkpoints")
    shutil.copytree(ROOT / "notebooks", folder / "notebooks", ignore=ignore)
    shutil.copytree(ROOT / "data" / "demo", folder / "data" / "demo", ignore=ignore)
    return folder


@pytest.fixture
def open_notebook(
    browser: Browser, workbench_folder: Path, tmp_path: Path, screenshots: Path
) -> Iterator[OpenNotebook]:
    """Return a function that opens a notebook of the copy and runs all of it."""
    clear_numbers(workbench_folder)
    with ExitStack() as stack:
        server = stack.enter_context(running_server(workbench_folder, tmp_path / "private"))
        context = browser.new_context(viewport=WINDOW)
        stack.callback(context.close)

        def open_and_run(name: str) -> NotebookPage:
            notebook = NotebookPage(context.new_page(), screenshots)
            notebook.open(server.notebook_address(f"notebooks/{name}"))
            notebook.run_all()
            return notebook

        yield open_and_run
