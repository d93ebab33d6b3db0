"""What a person set stays: over a new kernel and through a file, and long work can stop."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

from playwright.sync_api import expect

from support.workbench import RUN_TIMEOUT_MS, NotebookPage, Panel, clear_numbers

OpenNotebook = Callable[[str], NotebookPage]
NAME = "why-the-stall.ipynb"
# Ends the session, as closing everything and coming back another day does.
END_SESSIONS = """async () => {
    const token = JSON.parse(document.getElementById('jupyter-config-data').textContent).token;
    const sessions = await (await fetch('/api/sessions?token=' + token)).json();
    const crumb = document.cookie.match(/_xsrf=([^;]*)/)?.[1] ?? '';
    for (const session of sessions) {
        await fetch('/api/sessions/' + session.id + '?token=' + token,
            {method: 'DELETE', headers: {'X-XSRFToken': crumb}});
    }
    return sessions.length;
}"""

STOP_WHEN_SEEN = """root => {
    const watch = new MutationObserver(() => {
        const bar = root.querySelector('.coreward-progress [role=progressbar]');
        if (!bar || bar.offsetParent === null) return;
        window.corewardSeen = bar.textContent;
        watch.disconnect();
        root.querySelector('.coreward-control-stop').click();
    });
    watch.observe(root, {subtree: true, childList: true, attributes: true});
}"""


def hanging_over(panel: Panel) -> list[str]:
    """Return what lies over the right edge of a panel, where it would be cut off."""
    found: list[str] = panel.root.evaluate(
        """root => [...root.querySelectorAll('*')].filter(part => part.offsetParent !== null
            && part.getBoundingClientRect().right > root.getBoundingClientRect().right + 1
            && !part.closest('.coreward-scroll'))
            .map(part => part.className + ' ' + part.textContent.slice(0, 40))"""
    )
    return found


def test_a_panel_is_as_it_was_left_with_a_new_kernel(
    open_notebook: OpenNotebook, workbench_folder: Path
) -> None:
    notebook = open_notebook(NAME)
    panel = notebook.panel()
    panel.await_settled()
    before, status = panel.value("pit"), panel.status()
    expect(panel.root.locator(".coreward-note").first).not_to_contain_text("as you left it")
    panel.step("pit", 4)
    panel.await_change(status=status)
    panel.await_settled()
    left, words = panel.value("pit"), panel.status()
    assert left != before
    assert notebook.page.evaluate(END_SESSIONS) == 1
    clear_numbers(workbench_folder)

    again = open_notebook(NAME)
    panel = again.panel()
    panel.await_settled()
    assert again.errors() == []
    assert (panel.value("pit"), panel.status()) == (left, words)
    expect(panel.root.locator(".coreward-note").first).to_contain_text("as you left it")
    again.keep_picture("why-the-stall-as-left")
    panel.control("reset").click()
    panel.await_change(status=words)
    panel.await_settled()
    assert panel.value("pit") == before


def test_saved_by_keyboard_and_opened_again(
    open_notebook: OpenNotebook, tmp_path: Path
) -> None:
    notebook = open_notebook(NAME)
    panel = notebook.panel()
    panel.await_settled()
    status = panel.status()
    panel.step("pit", 6)
    panel.await_change(status=status)
    panel.await_settled()
    pit, words = panel.value("pit"), panel.status()

    panel.control("save").focus()
    notebook.page.keyboard.press("Enter")
    link = panel.root.locator("a[download]")
    expect(link).to_be_visible()
    link.focus()
    with notebook.page.expect_download() as sent:
        notebook.page.keyboard.press("Enter")
    file = tmp_path / sent.value.suggested_filename
    sent.value.save_as(file)
    assert json.loads(file.read_text(encoding="utf-8"))["inputs"]["pit_c"] == pit
    notebook.keep_picture("why-the-stall-save")
    assert hanging_over(panel) == []
    # A notebook's own frame is wider than a telephone; the panel is what is asked about.
    panel.root.evaluate("root => { root.style.width = '360px'; }")
    notebook.keep_picture("why-the-stall-phone")
    assert hanging_over(panel) == []
    panel.root.evaluate("root => { root.style.width = ''; }")

    panel.control("reset").click()
    panel.await_change(status=words)
    panel.await_settled()
    panel.control("open").click()
    upload = panel.root.locator(".coreward-control-open-upload")
    expect(upload).to_be_visible()
    with notebook.page.expect_file_chooser() as chooser:
        upload.click()
    broken = tmp_path / "broken.json"
    broken.write_text(file.read_text(encoding="utf-8")[:-20], encoding="utf-8")
    chooser.value.set_files(broken)
    message = panel.root.locator(".coreward-file-message")
    expect(message).to_contain_text("broken.json: line")
    assert panel.value("pit") != pit
    with notebook.page.expect_file_chooser() as chooser:
        upload.click()
    chooser.value.set_files(file)
    expect(panel.root.locator(".coreward-note").first).to_contain_text("Opened: ")
    panel.await_settled()
    assert (panel.value("pit"), panel.status()) == (pit, words)
    assert notebook.errors() == []


def test_a_long_computation_shows_how_far_it_is_and_stops(open_notebook: OpenNotebook) -> None:
    notebook = open_notebook("is-this-hold-enough.ipynb")
    panel = notebook.panel()
    panel.await_settled()
    # On a fast machine the map is there in a second: pressed by the page itself, in time.
    panel.root.evaluate(STOP_WHEN_SEEN)
    panel.control("by-thickness").get_by_role("checkbox").focus()
    notebook.page.keyboard.press("Space")
    bar = panel.root.locator(".coreward-progress")
    expect(bar).to_contain_text("Stopped", timeout=RUN_TIMEOUT_MS)
    seen = panel.root.evaluate("() => window.corewardSeen")
    assert "computing the map by thickness" in seen
    assert panel.error() == ""
    # The page goes on, and a new value computes the map after all.
    panel.step("thickness", 2)
    words = panel.root.locator(".coreward-map-words")
    expect(words).to_contain_text("from the fridge", timeout=RUN_TIMEOUT_MS)
    expect(bar.get_by_role("progressbar")).to_be_hidden(timeout=RUN_TIMEOUT_MS)
    assert notebook.errors() == []


def test_units_switched_in_the_middle_of_fast_changes(open_notebook: OpenNotebook) -> None:
    notebook = open_notebook(NAME)
    panel = notebook.panel()
    panel.await_settled()
    names = ("thickness", "pit", "fresh-air")
    before, words = {name: panel.value(name) for name in names}, panel.status()
    temperature, length = (
        panel.root.locator(f".coreward-control-units-{kind} select").first
        for kind in ("temperature", "length")
    )
    for number in range(18):
        panel.step(names[number % 3], 2)
        if number % 3 == 1:
            temperature.select_option(label="°F" if number % 2 else "°C")
        if number % 4 == 2:
            length.select_option(label="in" if number % 8 == 2 else "mm")
        if number == 10:
            panel.button("keep").click()
    temperature.select_option(label="°C")
    length.select_option(label="mm")
    panel.await_settled(1000)
    assert panel.error() == ""
    assert {name: panel.value(name) for name in names} != before
    panel.button("reset").click()
    panel.await_until(lambda: panel.status() == words)
    assert {name: panel.value(name) for name in names} == before
    assert notebook.errors() == []
