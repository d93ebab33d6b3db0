"""Every page of the app view in a browser: controls, narrow windows, accessibility, mishaps."""

from __future__ import annotations

import os
import re
import signal
from collections.abc import Callable
from pathlib import Path

import psutil
import pytest
from axe_playwright_python.sync_playwright import Axe
from playwright.sync_api import Browser, expect

from coreward.app.pages import COOK, LEARN
from support.app_page import AppPage
from support.app_server import AppServer
from support.exercise import exercise, how_many, shown
from support.workbench import RUN_TIMEOUT_MS

OpenPage = Callable[[str], AppPage]
NAMES = sorted(path.stem for path in (Path(__file__).parents[2] / "notebooks").glob("*.ipynb"))
# Every control of these in each run; of all pages with COREWARD_FULL=1, which takes long.
EXERCISED = ("start", "why-the-stall")
# The rules of WCAG 2.1 at levels A and AA, as the checker knows them.
RULES = {"runOnly": {"type": "tag", "values": ["wcag2a", "wcag2aa", "wcag21a", "wcag21aa"]}}


def found_by_the_checker(page: AppPage) -> list[str]:
    """Return what the accessibility checker objects to, in one line each."""
    answer = Axe().run(page.page, options=RULES)
    return [
        f"{each['id']}: {each['help']}: {node['html'][:160]}"
        for each in answer.response["violations"]
        for node in each["nodes"][:3]
    ]


@pytest.mark.parametrize("name", NAMES)
def test_a_page_answers_and_is_for_everybody(open_page: OpenPage, name: str) -> None:
    if name.startswith("lesson-") and not os.environ.get("COREWARD_FULL"):
        pytest.skip("panels and cards of other pages; part of the full list: COREWARD_FULL=1")
    page = open_page(name)
    page.await_ready()
    assert page.apologies() == []
    page.keep_picture(f"app-{name}-1280")
    assert page.overflow() <= 0
    if name in EXERCISED or os.environ.get("COREWARD_FULL"):
        for panel in page.panels():
            exercise(panel, how_many(), from_the_end=True)
    assert found_by_the_checker(page) == []
    page.on_a_phone()
    page.keep_picture(f"app-{name}-390")
    assert page.overflow() <= 0
    assert page.cut_off() == []
    assert page.from_elsewhere == []
    assert page.tracebacks == []
    assert [said for said in page.console_errors if "Unsatisfied version" not in said] == []


def test_the_list_of_pages_is_for_everybody(open_page: OpenPage, app: AppServer) -> None:
    page = open_page("start")
    page.page.goto(app.address)
    for name in (*COOK, *LEARN):
        expect(page.page.locator(f'.shelf a[href="/page/{name}"]')).to_be_visible()
    assert found_by_the_checker(page) == []
    page.keep_picture("app-list-1280")
    page.on_a_phone()
    assert page.overflow() <= 0
    page.keep_picture("app-list-390")


def test_the_checker_can_find_something(open_page: OpenPage) -> None:
    page = open_page("start")
    page.page.evaluate("document.body.append(new Image())")
    assert any(line.startswith("image-alt") for line in found_by_the_checker(page))


def test_a_hotter_pit_makes_a_hotter_core(open_page: OpenPage) -> None:
    page = open_page("start")
    page.await_ready()
    panel = next(each for each in page.panels() if "pit" in each.slider_names())
    panel.await_settled()

    def core_at_the_end() -> float:
        found = re.search(r"the core ends at ([\d.]+)", panel.status())
        assert found, panel.status()
        return float(found[1])

    cooler, before = core_at_the_end(), shown(panel)
    panel.entry("pit").fill("140")
    panel.entry("pit").press("Enter")
    panel.await_until(lambda: shown(panel).picture != before.picture)
    panel.await_settled()
    assert panel.value("pit") == 140
    assert core_at_the_end() > cooler + 1


def test_units_chosen_once_hold_on_the_visitors_other_pages(
    open_page: OpenPage, browser: Browser, app: AppServer
) -> None:
    start = open_page("start")
    start.await_ready()
    settings = start.panels()[0]
    settings.choose("units-temperature", "°F")
    settings.await_until(lambda: "°F" in settings.status())
    other = open_page("why-the-stall")
    other.await_ready()
    assert "°F" in other.panels()[0].status()
    # Somebody else goes on reading °C.
    context = browser.new_context()
    stranger = AppPage(context.new_page(), app, "why-the-stall", None)
    stranger.await_ready()
    assert "°C" in stranger.panels()[0].status()
    context.close()


def test_a_reload_in_mid_computation_loses_nothing(open_page: OpenPage) -> None:
    page = open_page("slow")
    page.await_state("computing")
    kernel = page.kernel
    expect(page.page.locator(".computed.has-live")).to_contain_text(
        "the first part", timeout=RUN_TIMEOUT_MS
    )
    assert page.state() == "computing"
    page.page.reload()
    assert page.kernel == kernel
    page.await_ready()
    for part in ("the first part", "the second part"):
        live = page.page.locator(".computed.has-live > .live")
        expect(live.get_by_text(part)).to_be_visible()
    assert page.apologies() == []


def test_a_reload_finds_the_controls_as_they_were(open_page: OpenPage) -> None:
    page = open_page("why-the-stall")
    page.await_ready()
    (panel,) = page.panels()
    panel.await_settled()
    before = shown(panel)
    panel.step("thickness", 4)
    panel.await_until(lambda: shown(panel).picture != before.picture)
    panel.await_settled()
    left, value = shown(panel), panel.value("thickness")
    page.page.reload()
    page.await_ready()
    expect(page.page.locator(".live .coreward-panel").first).to_be_visible(timeout=60_000)
    (panel,) = page.panels()
    panel.await_settled()
    assert (shown(panel), panel.value("thickness")) == (left, value)
    panel.step("thickness", 2)
    panel.await_until(lambda: shown(panel).picture != left.picture)


def _kernels_of(server: AppServer) -> set[int]:
    """Return the processes that were copied from the seed."""
    everything = psutil.Process(server.process.pid).children(recursive=True)
    parents = {process.ppid() for process in everything}
    return {
        process.pid
        for process in everything
        if "coreward.app.seed" in " ".join(process.cmdline()) and process.pid not in parents
    }


def test_a_killed_kernel_gives_a_word(open_page: OpenPage, app: AppServer) -> None:
    before = _kernels_of(app)
    page = open_page("why-the-stall")
    page.await_ready()
    (kernel,) = _kernels_of(app) - before
    os.kill(kernel, signal.SIGKILL)
    page.await_state("ended")
    assert "stopped unexpectedly" in page.notice()
    # The picture stays, and the page can be started again.
    assert page.panels()[0].picture_is_drawn()
    page.page.get_by_role("button", name="Start this page again").click()
    page.await_ready()
    assert page.panels()[0].status() != ""


def test_without_scripts_it_is_the_page_as_it_was_saved(
    browser: Browser, app: AppServer
) -> None:
    context = browser.new_context(java_script_enabled=False)
    plain = context.new_page()
    plain.goto(app.page_address("why-the-stall"))
    assert "need JavaScript" in plain.content()
    expect(plain.locator(".stored img").first).to_be_visible()
    context.close()
