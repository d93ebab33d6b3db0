"""The README's first command as a person meets it: an answer, two shelves, code and back."""

from __future__ import annotations

import os
import re
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, expect

from support.app_page import PHONE
from support.workbench import KEPT, RUN_TIMEOUT_MS, Panel, end

LEARN = 5
COOK = (
    "start",
    "plan-the-day",
    "the-pit",
    "my-log",
    "rest-and-carryover",
    "is-this-hold-enough",
)
PROGRAM = "import sys; from coreward.cli import main; sys.exit(main(['--no-browser']))"
# As a projector shows it.
SCREEN = {"width": 1280, "height": 720}


@pytest.fixture(scope="module")
def address(browser: Browser, tmp_path_factory: pytest.TempPathFactory) -> Iterator[str]:
    private = tmp_path_factory.mktemp("door")
    environment = os.environ | {
        "COREWARD_CONFIG_DIR": str(private / KEPT),
        **{
            f"JUPYTER_{name}_DIR": str(private / name) for name in ("CONFIG", "DATA", "RUNTIME")
        },
        "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
    }
    process = subprocess.Popen(
        [sys.executable, "-u", "-c", PROGRAM], stdout=subprocess.PIPE, env=environment
    )
    try:
        assert process.stdout is not None
        told = (re.match(rb"Address: (\S+)", line) for line in process.stdout)
        found = next(line for line in told if line)
        yield found[1].decode()
    finally:
        end(process)
        if process.stdout is not None:
            process.stdout.close()


@pytest.fixture(scope="module")
def door(browser: Browser, address: str) -> Iterator[Page]:
    context = browser.new_context(viewport=SCREEN)  # type: ignore[arg-type]
    page = context.new_page()
    page.goto(address)
    yield page
    context.close()


def _panel(page: Page) -> Panel:
    root = page.locator(".live .coreward-panel").first
    root.wait_for(timeout=RUN_TIMEOUT_MS)
    return Panel(root)


def test_the_answer_is_there_before_any_script(browser: Browser, address: str) -> None:
    context = browser.new_context(viewport=SCREEN, java_script_enabled=False)  # type: ignore[arg-type]
    plain = context.new_page()
    plain.goto(address)
    expect(plain.locator(".stored .told")).to_contain_text("Light the fire at")
    expect(plain.locator(".stored img")).to_be_in_viewport()
    context.close()


def test_the_first_screen_is_a_live_answer(door: Page, screenshots: Path | None) -> None:
    # Whoever came without scripts has taken the page that was prepared; this one gets its own.
    panel = _panel(door)
    panel.await_settled()
    assert panel.error() == ""
    expect(panel.root.locator("img.coreward-picture").first).to_be_in_viewport(ratio=0.9)
    expect(panel.root.locator(".coreward-status")).to_be_in_viewport()
    assert door.locator(".jp-CodeCell, .coreward-lesson").count() == 0
    if screenshots is not None:
        screenshots.mkdir(parents=True, exist_ok=True)
        door.screenshot(path=screenshots / "front-door.png")
    status = panel.status()
    panel.entry("mass").fill("2")
    panel.entry("mass").press("Enter")
    panel.await_change(status=status)


def test_two_shelves_lead_to_the_pages(door: Page) -> None:
    shelves = door.locator(".shelf")
    expect(shelves).to_have_count(2)
    for name in COOK:
        expect(shelves.nth(0).locator(f'a[href="/page/{name}"]')).to_be_visible()
    for shelf, pages in zip(shelves.all(), (len(COOK), LEARN), strict=True):
        expect(shelf.locator("li svg")).to_have_count(pages)
        line = (
            "links => links.every(a => getComputedStyle(a).textDecorationLine === 'underline')"
        )
        assert shelf.locator("li a").evaluate_all(line)


def test_nothing_is_cut_on_a_phone(door: Page) -> None:
    door.set_viewport_size(PHONE)  # type: ignore[arg-type]
    over = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
    door.wait_for_function(f"() => {over} <= 0")
    door.set_viewport_size(SCREEN)  # type: ignore[arg-type]


def test_a_page_leads_to_its_notebook_and_back(door: Page) -> None:
    door.locator('.shelf a[href="/page/plan-the-day"]').click()
    door.get_by_role("link", name="The same as a notebook").click(timeout=RUN_TIMEOUT_MS)
    door.locator(".jp-Notebook").wait_for(timeout=RUN_TIMEOUT_MS)
    # The code is folded: its cell shows no editor.
    expect(door.locator(".jp-CodeCell .jp-InputArea-editor:visible")).to_have_count(0)
    back = door.get_by_role("link", name="The same as a plain page").first
    with door.context.expect_page() as opened:
        back.click(timeout=RUN_TIMEOUT_MS)
    expect(opened.value).to_have_url(re.compile(r"/page/plan-the-day$"))
    expect(opened.value.locator("h1")).to_have_text("When do I light the fire?")
