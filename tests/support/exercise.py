"""Use a panel as a person would: one control of each kind after another.

Nothing here knows a page or a control by its name, so a new notebook is tested as soon
as it lies in the folder. What must hold for any panel: it says something and shows a
drawn picture with words for it; moving a control changes what it shows; what is refused
is refused in a sentence; reset gives back the values and words of the start. (The picture
may keep the wider axes that it grew meanwhile, so that a drag does not make it jump.)
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from playwright.sync_api import expect

from support.workbench import CHANGE_TIMEOUT_MS, Panel

# Found by what they are to assistive software, in the order of the page.
_FIND_CONTROLS = """root => [...root.querySelectorAll('[class*=coreward-control-]')]
    .filter(box => box.offsetParent !== null)
    .map(box => [
        [...box.classList].find(name => name.startsWith('coreward-control-'))
            .slice('coreward-control-'.length),
        box.querySelector('[role=slider]') ? 'slider'
            : box.querySelector('input[type=checkbox]') ? 'box'
            : box.querySelector('select') ? 'list'
            : box.matches('button') || box.querySelector('button') ? 'button' : 'other'])"""
_NOT_WORDS = re.compile(r"Traceback|Internal error|internal error|nan\b")


@dataclass(frozen=True)
class Shown:
    """What a panel shows at one moment."""

    words: str
    picture: str


def shown(panel: Panel) -> Shown:
    """Return what a panel shows now."""
    words = panel.root.locator(
        ".coreward-status, .coreward-explanation, .coreward-tables, .coreward-error"
    ).all_inner_texts()
    return Shown("\n".join(words), panel.picture() if panel.has_picture() else "")


def controls_of(panel: Panel, kind: str) -> list[str]:
    """Return the names of the controls of one kind that are in sight."""
    found: list[list[str]] = panel.root.evaluate(_FIND_CONTROLS)
    names = [name for name, is_of in found if is_of == kind]
    return [name for name in dict.fromkeys(names) if not name.startswith("units")]


def exercise(panel: Panel, most_of_a_kind: int = 2, *, from_the_end: bool = False) -> None:
    """Try a panel; raise AssertionError where it does not behave.

    Parameters
    ----------
    panel : Panel
        The panel.
    most_of_a_kind : int
        How many controls of each kind to move.
    from_the_end : bool
        Whether to take the last ones on the page instead of the first.
    """
    panel.root.scroll_into_view_if_needed()
    panel.await_settled()
    assert_fine(panel)
    start, entries = shown(panel), _entries(panel)

    def chosen(kind: str) -> Sequence[str]:
        names = controls_of(panel, kind)
        return names[-most_of_a_kind:] if from_the_end else names[:most_of_a_kind]

    moved = [_move_slider(panel, name) for name in chosen("slider")]
    # One slider may matter little where the others stand now; not all of them.
    assert any(moved) or not moved
    for name in chosen("slider")[:1]:
        _type_nonsense(panel, name)
    for name in chosen("box"):
        panel.control(name).get_by_role("checkbox").click()
        panel.await_settled()
        assert_fine(panel)
    for name in chosen("list"):
        _choose_another(panel, name)
    if controls_of(panel, "button").count("reset"):
        press(panel, "reset")
        expect_back(panel, start, entries)
        _keep_and_drop(panel)
        _show_code(panel)
    _change_units(panel)


def assert_fine(panel: Panel) -> None:
    """Look at a panel that has nothing to refuse."""
    assert panel.error() == ""
    assert panel.status() != ""
    assert not _NOT_WORDS.search(shown(panel).words)
    if panel.has_picture():
        assert panel.picture_is_drawn()
        # Somebody who cannot see the picture must still learn what it says.
        assert len(panel.picture_text()) > 20


def press(panel: Panel, name: str) -> None:
    """Press a button and wait for what comes of it."""
    panel.button(name).click()
    panel.await_settled()


def expect_back(panel: Panel, start: Shown, entries: dict[str, str]) -> None:
    """Wait until a panel says what it said at the start, with the same values."""
    panel.await_until(lambda: (shown(panel).words, _entries(panel)) == (start.words, entries))


def _entries(panel: Panel) -> dict[str, str]:
    return {name: panel.entry(name).input_value() for name in controls_of(panel, "slider")}


def _move_slider(panel: Panel, name: str) -> bool:
    """Step a slider by keys, then drag it. Return whether words or picture followed."""
    before, value, typed = shown(panel), panel.value(name), panel.entry(name).input_value()
    up = value < float(panel.slider(name).get_attribute("aria-valuemax") or "nan")
    panel.step(name, 3 if up else -3)
    panel.await_until(lambda: panel.value(name) != value)
    panel.await_until(lambda: panel.entry(name).input_value() != typed)
    panel.await_settled()
    assert_fine(panel)
    stepped = shown(panel)
    panel.drag(name, 0.62)
    panel.await_settled()
    # Whatever the others are, this value may be impossible with them: then it says so.
    assert not _NOT_WORDS.search(panel.error())
    return stepped != before or shown(panel) != stepped


def _type_nonsense(panel: Panel, name: str) -> None:
    """Type what is no number: a sentence says so, and the value stays."""
    value, entry = panel.value(name), panel.entry(name)
    entry.fill("warm")
    entry.press("Enter")
    refusal = panel.control(name).locator(".coreward-refusal").first
    expect(refusal).not_to_be_empty(timeout=CHANGE_TIMEOUT_MS)
    assert len(refusal.inner_text()) > 15
    assert panel.value(name) == value
    panel.step(name, -1)
    panel.await_until(lambda: refusal.inner_text().strip() == "")
    panel.await_settled()


def _choose_another(panel: Panel, name: str) -> None:
    menu = panel.control(name).locator("select")
    before = menu.input_value()
    others = [
        option.get_attribute("value")
        for option in menu.locator("option").all()
        if option.get_attribute("value") != before and option.is_enabled()
    ]
    if others:
        menu.select_option(value=others[0])
        panel.await_settled()
        # Some choices ask for a file first, or do not go with the rest: in words.
        assert shown(panel).words.strip()
        assert not _NOT_WORDS.search(shown(panel).words)


def _keep_and_drop(panel: Panel) -> None:
    if "keep" not in controls_of(panel, "button"):
        return
    words = panel.button("keep").inner_text()
    press(panel, "keep")
    expect(panel.button("keep")).not_to_have_text(words, timeout=CHANGE_TIMEOUT_MS)
    assert_fine(panel)
    press(panel, "keep")
    expect(panel.button("keep")).to_have_text(words, timeout=CHANGE_TIMEOUT_MS)


def _show_code(panel: Panel) -> None:
    area = panel.root.locator(".coreward-code textarea")
    panel.button("code").click()
    expect(area).to_be_visible(timeout=CHANGE_TIMEOUT_MS)
    expect(area).to_have_value(re.compile("import coreward"), timeout=CHANGE_TIMEOUT_MS)
    panel.button("code").click()
    expect(area).to_be_hidden(timeout=CHANGE_TIMEOUT_MS)


def _change_units(panel: Panel) -> None:
    """Ask for °F: the words change over, and back."""
    menus = panel.root.locator(".coreward-control-units-temperature select")
    if not menus.count() or "°C" not in panel.status():
        return
    before = shown(panel)
    menus.first.select_option(label="°F")
    panel.await_until(lambda: "°F" in panel.status() and "°C" not in panel.status())
    panel.await_settled()
    assert_fine(panel)
    menus.first.select_option(label="°C")
    panel.await_until(lambda: shown(panel).words == before.words)
