"""The page of the rest as a person meets it: play it, look inside, wrap it, box it."""

from __future__ import annotations

import re
from collections.abc import Callable

from playwright.sync_api import expect

from support.workbench import RUN_TIMEOUT_MS, NotebookPage

OpenNotebook = Callable[[str], NotebookPage]
NAME = "rest-and-carryover"


def test_the_rest_is_played_wrapped_and_boxed(open_notebook: OpenNotebook) -> None:
    notebook = open_notebook(f"{NAME}.ipynb")
    assert notebook.errors() == []
    panel = notebook.panel()
    panel.await_settled()
    assert panel.error() == ""
    assert "for a peak of 57 °C; serve between" in panel.status()
    assert panel.picture_is_drawn()
    assert "Section coloured by temperature" in panel.picture_text()
    notebook.keep_picture(f"{NAME}-opened")
    over = panel.root.evaluate("root => root.scrollWidth - root.clientWidth")
    assert over <= 1

    # The slider looks inside at another time: other picture, same answer.
    picture, status = panel.picture(), panel.status()
    image = panel.root.locator("img.coreward-picture").first
    panel.drag("look", 0.3)
    expect(image).not_to_have_attribute("src", picture, timeout=RUN_TIMEOUT_MS)
    panel.await_settled()
    assert panel.status() == status

    # Play goes on by itself.
    picture = panel.picture()
    panel.control("play").get_by_role("button").first.click()
    for _ in range(2):
        expect(image).not_to_have_attribute("src", picture, timeout=RUN_TIMEOUT_MS)
        picture = panel.picture()
    panel.control("play").get_by_role("button").first.click()
    panel.await_settled()

    # The moment of the wrap, which softens the crust.
    explanation = panel.root.locator(".coreward-explanation")
    panel.choose("wrap-when", "when the core is at")
    expect(panel.control("wrap-core")).to_be_visible()
    panel.drag("wrap-core", 0.05)
    expect(explanation).to_contain_text("It is wrapped", timeout=RUN_TIMEOUT_MS)
    expect(explanation).to_contain_text("softens to 1.00", timeout=RUN_TIMEOUT_MS)
    panel.await_settled()
    notebook.keep_picture(f"{NAME}-wrapped")

    # The box, with its number of pieces and its band.
    status = panel.status()
    panel.choose("place", "Hard cool box of 30 to 50 litres")
    expect(panel.control("pieces")).to_be_visible()
    panel.await_change(status=status)
    window = re.compile(r"pull (at|between) \d")
    expect(explanation).to_contain_text(window, timeout=RUN_TIMEOUT_MS)
    panel.await_settled()
    assert panel.error() == ""
    assert notebook.errors() == []
    assert [line for line in notebook.console_errors if "widget" in line.lower()] == []
    notebook.keep_picture(f"{NAME}-boxed")
