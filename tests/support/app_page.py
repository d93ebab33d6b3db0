"""Drive a page of the app view in a real browser."""

from __future__ import annotations

import time
from pathlib import Path

from playwright.sync_api import Page, Request, expect

from support.app_server import AppServer
from support.workbench import (
    CHANGE_TIMEOUT_MS,
    RUN_TIMEOUT_MS,
    Panel,
    panels_in,
    tracebacks_sent_to,
)

PHONE = {"width": 390, "height": 844}


class AppPage:
    """A page of the app view, opened.

    Parameters
    ----------
    page : Page
        The browser's page.
    server : AppServer
        Where it comes from.
    name : str
        Its name.
    screenshots : Path, optional
        Where pictures of the page are kept; without it none is taken.
    """

    def __init__(
        self, page: Page, server: AppServer, name: str, screenshots: Path | None
    ) -> None:
        self.page = page
        self.name = name
        self._server = server
        self._screenshots = screenshots
        self.console_errors: list[str] = []
        self.from_elsewhere: list[str] = []
        self.tracebacks = tracebacks_sent_to(page)
        page.on(
            "console",
            lambda said: (
                self.console_errors.append(said.text) if said.type == "error" else None
            ),
        )
        page.on("request", self._note)
        page.goto(server.page_address(name))

    def _note(self, request: Request) -> None:
        own = (self._server.address, self._server.address.replace("http", "ws", 1))
        if not request.url.startswith((*own, "data:", "blob:")):
            self.from_elsewhere.append(request.url)

    @property
    def kernel(self) -> str:
        """The name of the kernel behind it."""
        name: str = self.page.evaluate(
            "JSON.parse(document.getElementById('jupyter-config-data').textContent).kernelId"
        )
        return name

    def state(self) -> str:
        """Return the state that the page was told last."""
        return self.page.evaluate("document.body.dataset.state") or ""

    def await_state(self, *wanted: str) -> None:
        """Wait until the page is in one of these states."""
        self.page.wait_for_function(
            "wanted => wanted.includes(document.body.dataset.state)",
            arg=list(wanted),
            timeout=RUN_TIMEOUT_MS,
        )

    def await_ready(self) -> None:
        """Wait until all is computed and in its place.

        However slow the machine, one that goes on from part to part does not hang.
        """
        over = ["ready", "broken", "ended"]
        while self.state() not in over:
            self.page.wait_for_function(
                """([over, parts]) => over.includes(document.body.dataset.state)
                    || document.querySelectorAll('.computed.has-live').length > parts""",
                arg=[over, self.page.locator(".computed.has-live").count()],
                polling=100,
                timeout=RUN_TIMEOUT_MS,
            )
        assert (self.state(), self.notice()) == ("ready", "")
        expect(self.page.locator(".computed:not(.has-live)")).to_have_count(0)

    def notice(self) -> str:
        """Return the words at the top."""
        return self.page.locator("#notice").inner_text().strip()

    def panels(self) -> list[Panel]:
        """Return the panels of the page."""
        return panels_in(self.page.locator(".live"))

    def apologies(self) -> list[str]:
        """Return the sentences in place of a result."""
        return self.page.get_by_text("This part could not be computed").all_inner_texts()

    def overflow(self) -> int:
        """Return by how many pixels something hangs over the right edge."""
        over: int = self.page.evaluate(
            "document.documentElement.scrollWidth - document.documentElement.clientWidth"
        )
        return over

    def cut_off(self) -> list[str]:
        """Return what lies over the right edge of its panel, but in a part that scrolls.

        Tables and pictures scroll by themselves; a sentence must be read without.
        """
        found: list[str] = self.page.evaluate(
            """() => [...document.querySelectorAll('.live .coreward-panel')].flatMap(panel => {
                const right = panel.getBoundingClientRect().right + 7;  // of 8 to its frame
                return [...panel.querySelectorAll('*')]
                    .filter(part => part.offsetParent !== null
                        && part.offsetWidth > 1  // else only for those who listen
                        && part.getBoundingClientRect().right > right
                        && !part.closest('.coreward-scroll, .coreward-sideways, .coreward-map'))
                    .map(part => part.tagName + ' ' + part.className + ' '
                        + part.textContent.slice(0, 60));
            })"""
        )
        return found

    def on_a_phone(self) -> None:
        """Make the window as narrow as a phone, and wait until what fits has fitted in."""
        self.page.set_viewport_size(PHONE)  # type: ignore[arg-type]
        # What still hangs over then will stay so, and is found by whoever asks.
        deadline = time.monotonic() + CHANGE_TIMEOUT_MS / 1000
        while (self.overflow() > 0 or self.cut_off()) and time.monotonic() < deadline:
            self.page.wait_for_timeout(50)

    def keep_picture(self, name: str) -> None:
        """Take a picture of the whole page, if it shall be kept."""
        if self._screenshots is not None:
            self._screenshots.mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=self._screenshots / f"{name}.png", full_page=True)
