"""Use a panel as a person would: controls of each kind, or all of them, one after another.

Nothing here knows a page or a control by its name, so a new notebook is tested as soon
as it lies in the folder. What must hold for any panel: it says something and shows a
drawn picture with words for it; moving a control changes what it shows; what is refused
is refused in a sentence; reset gives back the values and words of the start. (The picture
may keep the wider axes that it grew meanwhile, so that a drag does not make it jump.)
"""

from __future__ import annotations

import os
import re
from collections.abc import Sequence
from dataclasses import dataclass

from playwright.sync_api import FilePayload, expect

from support.workbench import CHANGE_TIMEOUT_MS, RUN_TIMEOUT_MS, Panel

# Found by what they are to assistive software, in the order of the page.
_FIND_CONTROLS = """root => [...root.querySelectorAll('[class*=coreward-control-]')]
    .filter(box => box.offsetParent !== null)
    .map(box => [
        [...box.classList].find(name => name.startsWith('coreward-control-'))
            .slice('coreward-control-'.length),
        box.querySelector('[role=slider]') ? 'slider'
            : box.querySelector('input[type=checkbox]') ? 'box'
            : box.querySelector('select') ? 'list'
            : box.matches('.jupyter-widget-play, .widget-play') ? 'play'
            : box.matches('button') || box.querySelector('button') ? 'button'
            : box.querySelector('input, textarea') ? 'text' : 'other'])"""
_NOT_WORDS = re.compile(r"Traceback|Internal error|internal error|nan\b")
# What nobody means, typed all the same.
_NONSENSE = ("warm", "", "1e999", "-1e300", "nan", "\N{CUT OF MEAT}\u202e<b>", "7" * 400)
_BROKEN: FilePayload = {
    "name": "\N{CUT OF MEAT} broken.json",
    "mimeType": "application/json",
    "buffer": b'{"format": "coreward\xff\x00',
}
# Have checks of their own below, or stop what is not running.
_NOT_PRESSED = ("reset", "keep", "code", "stop")
EVERY = None
"""For `exercise`: move every control, and go through every choice of every list."""


def how_many() -> int | None:
    """Return how many controls of each kind a test moves; every one with COREWARD_FULL=1."""
    return EVERY if os.environ.get("COREWARD_FULL") else 2


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


def exercise(
    panel: Panel, most_of_a_kind: int | None = 2, *, from_the_end: bool = False
) -> None:
    """Try a panel; raise AssertionError where it does not behave.

    Parameters
    ----------
    panel : Panel
        The panel.
    most_of_a_kind : int or None
        How many controls of each kind to move; `EVERY` for all.
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

    if most_of_a_kind is EVERY:
        seen: set[str] = set()
        _move_what_is_new(panel, seen)
        _go_through_lists(panel, seen)
        _press_what_is_new(panel, seen)
    else:
        moved = [_move_slider(panel, name) for name in chosen("slider")]
        # One slider may matter little where the others stand now; not all of them.
        assert any(moved) or not moved
        for name in chosen("slider")[:1]:
            _type_nonsense(panel, name, _NONSENSE[:1])
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


def _move_what_is_new(panel: Panel, seen: set[str]) -> None:
    """Move each slider and tick each box that was not in sight before, and put it back."""
    sliders = [name for name in controls_of(panel, "slider") if name not in seen]
    seen.update(sliders)
    moved = []
    for name in sliders:
        typed = panel.entry(name).input_value()
        moved.append(_move_slider(panel, name))
        _type_nonsense(panel, name, _NONSENSE)
        for key in ("End", "Home"):
            panel.slider(name).press(key)
            _await_heard(panel, name)
            panel.await_settled()
            assert not _NOT_WORDS.search(panel.error())
        _put_back(panel, name, typed)
    # One may matter little where the others stand now; not all of those at the start.
    assert any(moved) or not moved or len(seen) > len(sliders)
    for name in controls_of(panel, "box"):
        if name not in seen:
            seen.add(name)
            for _ in range(2):
                panel.control(name).get_by_role("checkbox").click()
                panel.await_settled()
                assert_fine(panel)
                _move_what_is_new(panel, seen)


def _go_through_lists(panel: Panel, seen: set[str]) -> None:
    """Choose everything that each list offers, with what each choice brings into sight."""
    while new := [name for name in controls_of(panel, "list") if name not in seen]:
        name = new[0]
        seen.add(name)
        menu = panel.control(name).locator("select")
        before = menu.input_value()
        for option in menu.locator("option").all():
            value = option.get_attribute("value")
            if value == before or not option.is_enabled():
                continue
            menu.select_option(value=value)
            panel.await_settled()
            _assert_words(panel)
            if panel.error() == "":
                _move_what_is_new(panel, seen)
                _go_through_lists(panel, seen)
            _type_into_texts(panel, seen)
        menu.select_option(value=before)
        _await_recovered(panel)


def _press_what_is_new(panel: Panel, seen: set[str]) -> None:
    """Press each button, and then those that it brings into sight."""
    passed_over = {*seen, *_NOT_PRESSED}
    for name in controls_of(panel, "button"):
        # One before may have folded away the row of this one.
        if name in passed_over or not panel.button(name).is_visible():
            continue
        seen.add(name)
        if name.endswith("upload"):
            with panel.root.page.expect_file_chooser() as chooser:
                panel.button(name).click()
            chooser.value.set_files(files=[_BROKEN])
        elif panel.button(name).is_enabled():
            panel.button(name).click()
        panel.root.page.wait_for_timeout(300)
        panel.await_settled()
        _assert_words(panel)
        _type_into_texts(panel, seen)
        _press_what_is_new(panel, seen)


def _type_into_texts(panel: Panel, seen: set[str]) -> None:
    """Type nonsense into each line of text that was not in sight before."""
    for name in controls_of(panel, "text"):
        if name in seen:
            continue
        seen.add(name)
        entry = panel.control(name).locator("input, textarea").first
        before = entry.input_value()
        for text in (_NONSENSE[-2], "../../etc/passwd", before):
            # A box for numbers takes no words.
            entry.fill(text if entry.get_attribute("type") != "number" else "-9")
            entry.press("Enter")
            panel.await_settled()
            _assert_words(panel)


def _assert_words(panel: Panel) -> None:
    """Whatever was asked for, what is said are sentences for a person."""
    assert shown(panel).words.strip()
    said = panel.root.inner_text()
    assert not _NOT_WORDS.search(said), said


def assert_fine(panel: Panel) -> None:
    """Look at a panel that has nothing to refuse."""
    wrong = panel.error()
    assert wrong == "", wrong
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
    _await_heard(panel, name)
    panel.await_settled()
    # Whatever the others are, this value may be impossible with them: then it says so.
    assert not _NOT_WORDS.search(panel.error())
    followed = stepped != before or shown(panel) != stepped
    if panel.error():
        _put_back(panel, name, typed)
    return followed


def _put_back(panel: Panel, name: str, typed: str) -> None:
    """Type the value of before: all is as it was, also where another one was impossible."""
    panel.entry(name).fill(typed)
    panel.entry(name).press("Enter")
    _await_recovered(panel)


def _await_recovered(panel: Panel) -> None:
    """Wait until a panel that may have refused something has an answer again.

    What it refused stands there until the kernel has heard of the change.
    """
    panel.await_until(lambda: panel.error() == "", RUN_TIMEOUT_MS)
    panel.await_settled()
    assert_fine(panel)


def _await_heard(panel: Panel, name: str) -> None:
    """Wait until the box beside a slider shows where it stands: then the kernel has heard.

    A kernel that is still at the answer before hears late, and what is typed until then
    would be overwritten.
    """

    def shown_alike() -> bool:
        text = panel.entry(name).input_value()
        # The box has the digits of its quantity, the slider tells its place to one digit.
        digits = min(len(text.partition(".")[2]), 1)
        return abs(float(text) - panel.value(name)) <= 0.51 * 10.0**-digits

    panel.await_until(shown_alike)


def _type_nonsense(panel: Panel, name: str, texts: Sequence[str]) -> None:
    """Type what is no number, or none that can be: a sentence says so, and the value stays."""
    value, entry = panel.value(name), panel.entry(name)
    refusal = panel.control(name).locator(".coreward-refusal").first
    for text in texts:
        before = refusal.inner_text()
        entry.fill(text)
        entry.press("Enter")
        expect(refusal).not_to_have_text(before, timeout=CHANGE_TIMEOUT_MS)
        assert 15 < len(refusal.inner_text()) < 400
        assert panel.value(name) == value
    # Any movement takes the sentence back; from the left end there is none to the left.
    low = float(panel.slider(name).get_attribute("aria-valuemin") or "nan")
    panel.step(name, -1 if value > low else 1)
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
        _assert_words(panel)


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
