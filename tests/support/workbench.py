"""Drive a notebook in a real browser: server, page, controls.

Controls are found by the classes that the panels set, never by their place, and
the text status is awaited before a picture is looked at: text is deterministic.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import shutil
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psutil
from playwright.sync_api import (
    Browser,
    ConsoleMessage,
    Locator,
    Page,
    WebSocket,
    expect,
    sync_playwright,
)

from coreward.launch import lab_defaults

LOOPBACK = "127.0.0.1"
# Two shared cores, cold caches: the limits say "it hangs", not "it is slow".
SERVER_TIMEOUT_S = 60.0
KEPT = "coreward"  # of a server's private folder: units, and panels as they were left
RUN_TIMEOUT_MS = 180_000
CHANGE_TIMEOUT_MS = 30_000

_CHROMIUM_NAMES = ("chromium", "chromium-browser", "google-chrome", "chrome")
_CHROMIUM_ARGUMENTS = [
    "--disable-gpu",
    "--disable-dev-shm-usage",
    "--disable-quic",
    "--disable-background-networking",
    "--disable-component-update",
    "--disable-sync",
    "--no-first-run",
]
# Cells out of sight would not be in the page at all, and no test is about that.
_SETTINGS: dict[str, dict[str, object]] = {
    "@jupyterlab/notebook-extension/tracker.jupyterlab-settings": {"windowingMode": "none"},
}


def find_chromium() -> str | None:
    """Return the browser's path, or None."""
    return next((path for name in _CHROMIUM_NAMES if (path := shutil.which(name))), None)


def browser_arguments() -> list[str]:
    """Return what a browser for tests is started with."""
    arguments = list(_CHROMIUM_ARGUMENTS)
    if hasattr(os, "geteuid") and os.geteuid() == 0:
        arguments.append("--no-sandbox")  # Chromium refuses to start as root otherwise.
    return arguments


def end(process: subprocess.Popen[bytes]) -> None:
    """Ask a process to end, and make it end if it does not."""
    process.terminate()
    try:
        process.wait(20)
    except subprocess.TimeoutExpired:
        process.kill()
        process.wait()


@contextmanager
def running_browser(executable: str) -> Iterator[Browser]:
    """Start the browser without a screen."""
    arguments = browser_arguments()
    with sync_playwright() as playwright:
        browser = playwright.chromium.launch(executable_path=executable, args=arguments)
        try:
            yield browser
        finally:
            browser.close()


@dataclass(frozen=True)
class Server:
    """A running JupyterLab, for this machine only."""

    port: int
    token: str

    def notebook_address(self, path: str) -> str:
        """Return where a notebook is opened, with yesterday's layout forgotten."""
        return f"http://{LOOPBACK}:{self.port}/lab/tree/{path}?token={self.token}&reset"

    def stop_kernels(self) -> None:
        """End all kernels and forget which notebooks they belonged to."""
        for session in json.loads(self._ask("GET", "/api/sessions")):
            # One that ended meanwhile is as good.
            with contextlib.suppress(urllib.error.HTTPError):
                self._ask("DELETE", f"/api/sessions/{session['id']}")

    def kernel_process(self) -> int:
        """Return the process number of the one kernel that runs."""
        (session,) = json.loads(self._ask("GET", "/api/sessions"))
        (process,) = [
            process
            for process in psutil.process_iter(["cmdline"])
            if session["kernel"]["id"] in " ".join(process.info["cmdline"] or ())
        ]
        number: int = process.pid
        return number

    def _ask(self, method: str, path: str) -> bytes:
        request = urllib.request.Request(
            f"http://{LOOPBACK}:{self.port}{path}",
            method=method,
            headers={"Authorization": f"token {self.token}"},
        )
        with urllib.request.urlopen(request, timeout=SERVER_TIMEOUT_S) as answer:
            content: bytes = answer.read()
            return content


def free_port() -> int:
    """Return a port that nobody listens on."""
    with socket.socket() as probe:
        probe.bind((LOOPBACK, 0))
        port: int = probe.getsockname()[1]
        return port


@contextmanager
def running_server(
    folder: Path, private: Path, *, as_delivered: bool = False
) -> Iterator[Server]:
    """Start JupyterLab on a folder, with settings and files of its own.

    Parameters
    ----------
    folder : Path
        What the server shows.
    private : Path
        Where the server keeps its settings and run-time files.
    as_delivered : bool
        Whether it shows notebooks as it does for a person who has set nothing.
    """
    for name, content in () if as_delivered else _SETTINGS.items():
        file = private / "settings" / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(json.dumps(content), encoding="utf-8")
    private.mkdir(parents=True, exist_ok=True)
    environment = os.environ | {
        "JUPYTERLAB_SETTINGS_DIR": str(private / "settings"),
        "JUPYTERLAB_WORKSPACES_DIR": str(private / "workspaces"),
        "JUPYTER_CONFIG_DIR": str(private / "config"),
        # What `coreward` itself sets: without it, a question covers a corner of the page.
        "JUPYTER_CONFIG_PATH": str(lab_defaults()),
        "JUPYTER_DATA_DIR": str(private / "data"),
        "JUPYTER_RUNTIME_DIR": str(private / "runtime"),
        "JUPYTER_PREFER_ENV_PATH": "1",
        # The units that the person at this machine chose are not the test's.
        "COREWARD_CONFIG_DIR": str(private / KEPT),
    }
    server = Server(free_port(), secrets.token_hex(16))
    command = [
        sys.executable, "-m", "jupyterlab", "--no-browser", "--allow-root",
        f"--ServerApp.ip={LOOPBACK}", f"--ServerApp.port={server.port}",
        "--ServerApp.port_retries=0", f"--IdentityProvider.token={server.token}",
        f"--ServerApp.root_dir={folder}",
    ]  # fmt: skip
    log = private / "server.log"
    with log.open("wb") as stream:
        process = subprocess.Popen(
            command, stdout=stream, stderr=subprocess.STDOUT, env=environment
        )
        try:
            _await_answer(server, process, log)
            yield server
        finally:
            # Asks the server to stop, and the server stops its kernels.
            end(process)


def _await_answer(server: Server, process: subprocess.Popen[bytes], log: Path) -> None:
    url = f"http://{LOOPBACK}:{server.port}/api?token={server.token}"
    deadline = time.monotonic() + SERVER_TIMEOUT_S
    while time.monotonic() < deadline and process.poll() is None:
        try:
            with urllib.request.urlopen(url, timeout=2):
                return
        except (urllib.error.URLError, OSError):
            time.sleep(0.1)
    raise AssertionError(
        "JupyterLab did not start:\n" + log.read_text(errors="replace")[-3000:]
    )


def clear_numbers(folder: Path) -> None:
    """Empty the numbers and outputs of all notebooks, so that a run can be seen.

    Their code is unfolded: a folded cell shows no number.
    """
    for path in folder.rglob("*.ipynb"):
        notebook = json.loads(path.read_text(encoding="utf-8"))
        for cell in notebook["cells"]:
            if cell["cell_type"] == "code":
                cell["execution_count"], cell["outputs"] = None, []
                cell["metadata"].pop("jupyter", None)
        path.write_text(json.dumps(notebook), encoding="utf-8")


def tracebacks_sent_to(page: Page) -> list[str]:
    """Return a list that fills with each traceback that a kernel sends to a page.

    A page shows few of them: what a control raises when it is moved goes to a log that
    nobody opens, and the control just seems dead.
    """
    heard: list[str] = []
    mark = b"Traceback (most recent call last)"

    def look(payload: str | bytes) -> None:
        data = payload if isinstance(payload, bytes) else payload.encode()
        at = data.find(mark)
        if at >= 0:
            heard.append(data[at : at + 4000].decode("utf-8", "replace"))

    def listen(socket: WebSocket) -> None:
        socket.on("framereceived", look)

    page.on("websocket", listen)
    return heard


class NotebookPage:
    """A notebook opened in the browser.

    Parameters
    ----------
    page : Page
        The browser's page.
    screenshots : Path, optional
        Where pictures of the page are kept; without it none is taken.
    """

    def __init__(self, page: Page, screenshots: Path | None) -> None:
        self.page = page
        self.screenshots = screenshots
        self.console_errors: list[str] = []
        self.tracebacks = tracebacks_sent_to(page)
        page.on("console", self._note)

    def _note(self, message: ConsoleMessage) -> None:
        if message.type == "error":
            self.console_errors.append(message.text)

    def open(self, address: str) -> None:
        """Open the notebook and wait until it is joined to a kernel that waits.

        The sign on the page can say idle before there is a kernel; a run asked for
        then is lost, or ends in a question which kernel to take. So the server is
        asked as well: a kernel, idle, with the page connected to it.
        """
        self.page.goto(address)
        self._await_kernel()

    def reload(self) -> None:
        """Load the page again, as a person does in a browser; the kernel goes on."""
        # The browser asks whether to leave a notebook that was not saved.
        self.page.once("dialog", lambda dialog: dialog.accept())
        self.page.reload()
        self._await_kernel()

    def save(self) -> None:
        """Save the notebook as it stands."""
        self.page.locator('.jp-Toolbar [data-command="docmanager:save"]').first.click()
        expect(self.page.locator(".jp-mod-current.jp-mod-dirty")).to_have_count(0)

    def _await_kernel(self) -> None:
        self.page.locator(".jp-Notebook").wait_for(timeout=RUN_TIMEOUT_MS)
        self.page.wait_for_function(
            """async () => {
                const token = new URLSearchParams(location.search).get('token')
                    ?? JSON.parse(document.getElementById(
                        'jupyter-config-data').textContent).token;
                const answer = await fetch('/api/sessions?token=' + token);
                const kernels = (await answer.json()).map(session => session.kernel);
                return kernels.some(kernel => kernel?.execution_state === 'idle'
                    && kernel.connections > 0);
            }""",
            polling=200,
            timeout=RUN_TIMEOUT_MS,
        )
        expect(self.page.locator(".jp-KernelName").first).to_contain_text(
            "Python", timeout=CHANGE_TIMEOUT_MS
        )
        self._await_idle()

    def _await_idle(self) -> None:
        self.page.locator('.jp-Notebook-ExecutionIndicator[data-status="idle"]').wait_for(
            timeout=RUN_TIMEOUT_MS
        )

    def run_all(self) -> None:
        """Run every cell and wait until none waits any more.

        The kernel's idle sign alone is not enough: it can still be idle before the
        run begins. So the cells' own numbers are read: they must have been empty
        (see `clear_numbers`), a star means waiting, and after a failure the rest
        go back to empty. However slow the machine, a run that goes on from cell to cell
        does not hang.
        """
        self.page.get_by_role("menuitem", name="Run", exact=True).click()
        self.page.locator('[data-command="runmenu:run-all"]').click()
        run = 0
        while run >= 0:
            went_on = self.page.wait_for_function(
                r"""run => {
                    const prompts = [...document.querySelectorAll('.jp-CodeCell')]
                        .filter(cell => cell.querySelector('.cm-content')?.textContent.trim())
                        .map(cell => cell.querySelector('.jp-InputPrompt')?.textContent ?? '');
                    const now = prompts.filter(prompt => /\d/.test(prompt)).length;
                    const waits = prompts.some(prompt => prompt.includes('*'));
                    return now > 0 && !waits ? {run: -1} : now > run ? {run: now} : null;
                }""",
                arg=run,
                polling=100,
                timeout=RUN_TIMEOUT_MS,
            )
            run = went_on.json_value()["run"]
        self._await_idle()

    def errors(self) -> list[str]:
        """Return what goes wrong: tracebacks, also those not shown, and dead widgets."""
        seen = self.page.locator(
            '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.error"], '
            '.jp-OutputArea-output[data-mime-type="application/vnd.jupyter.stderr"]'
        ).all_inner_texts()
        dead = self.page.get_by_text("Error displaying widget").all_inner_texts()
        return [text for text in [*seen, *dead, *self.tracebacks] if text.strip()]

    def panel(self, holding: str = "img.coreward-picture") -> Panel:
        """Return the first panel that holds something: a picture, unless told otherwise."""
        inside = self.page.locator(holding)
        root = self.page.locator(".coreward-panel").filter(has=inside).first
        root.wait_for(timeout=RUN_TIMEOUT_MS)
        root.scroll_into_view_if_needed()
        return Panel(root)

    def keep_picture(self, name: str) -> None:
        """Take a screenshot, if it shall be kept."""
        if self.screenshots is not None:
            self.screenshots.mkdir(parents=True, exist_ok=True)
            self.page.screenshot(path=self.screenshots / f"{name}.png")


def panels_in(place: Page | Locator) -> list[Panel]:
    """Return the panels in sight that have something to move and something to say."""
    roots = place.locator(".coreward-panel:visible").all()
    return [Panel(root) for root in roots if root.locator(".coreward-status").count()]


@dataclass(frozen=True)
class Panel:
    """One panel: controls, status, picture and error line."""

    root: Locator

    def control(self, name: str) -> Locator:
        """Return the box of a control; its class says what it sets."""
        return self.root.locator(f".coreward-control-{name}").first

    def slider(self, name: str) -> Locator:
        """Return the handle of a slider."""
        return self.control(name).get_by_role("slider").first

    def slider_names(self) -> list[str]:
        """Return the names of all controls in sight with a slider handle."""
        return self.root.evaluate(
            """root => [...root.querySelectorAll('[class*=coreward-control-]')]
                .filter(box => box.querySelector('[role=slider]') && box.offsetParent !== null)
                .map(box => [...box.classList].find(c => c.startsWith('coreward-control-'))
                    .slice('coreward-control-'.length))"""
        )

    def value(self, name: str) -> float:
        """Return the slider's value as the page tells it to assistive software."""
        return float(self.slider(name).get_attribute("aria-valuenow") or "nan")

    def entry(self, name: str) -> Locator:
        """Return the box beside a slider to type into."""
        return self.control(name).locator("input[type=text], input[type=number]").first

    def button(self, name: str) -> Locator:
        """Return a button."""
        return self.root.locator(
            f"button.coreward-control-{name}, .coreward-control-{name} button"
        ).first

    def has_picture(self) -> bool:
        """Tell whether there is a picture."""
        return self.root.locator("img.coreward-picture").count() > 0

    def status(self) -> str:
        """Return the status line."""
        return self.root.locator(".coreward-status").first.inner_text().strip()

    def error(self) -> str:
        """Return the error line; empty when all is fine."""
        lines = self.root.locator(".coreward-error").all_inner_texts()
        return " ".join(lines).strip()

    def picture(self) -> str:
        """Return the picture's content as the page holds it."""
        return self.root.locator("img.coreward-picture").first.get_attribute("src") or ""

    def picture_text(self) -> str:
        """Return what the picture says to somebody who cannot see it."""
        return self.root.locator("img.coreward-picture").first.get_attribute("alt") or ""

    def picture_is_drawn(self) -> bool:
        """Tell whether the browser could decode the picture."""
        drawn: bool = self.root.locator("img.coreward-picture").first.evaluate(
            "image => image.complete && image.naturalWidth > 0"
        )
        return drawn

    def step(self, name: str, steps: int = 1) -> None:
        """Move a slider by keys; negative goes left."""
        handle = self.slider(name)
        handle.focus()
        for _ in range(abs(steps)):
            handle.press("ArrowRight" if steps > 0 else "ArrowLeft")

    def choose(self, name: str, label: str) -> None:
        """Choose a line of a drop-down list."""
        self.control(name).locator("select").select_option(label=label)

    def drag(self, name: str, fraction: float) -> None:
        """Drag a slider's handle with the mouse, passing through values on the way.

        Parameters
        ----------
        name : str
            The control.
        fraction : float
            Where to let go, from 0 (left end) to 1 (right end).
        """
        handle = self.slider(name)
        handle.scroll_into_view_if_needed()
        box = handle.bounding_box()
        track = handle.locator("xpath=ancestor::*[contains(@class,'noUi-target')]")
        rail = track.bounding_box()
        assert box is not None
        assert rail is not None
        y = box["y"] + box["height"] / 2
        mouse = handle.page.mouse
        mouse.move(box["x"] + box["width"] / 2, y)
        mouse.down()
        mouse.move(rail["x"] + fraction * rail["width"], y, steps=12)
        mouse.up()

    def await_until(self, holds: Callable[[], bool], limit_ms: int | None = None) -> None:
        """Wait until something holds."""
        deadline = time.monotonic() + (limit_ms or CHANGE_TIMEOUT_MS) / 1000
        while not holds():
            assert time.monotonic() < deadline, "what was waited for never came"
            self.root.page.wait_for_timeout(50)

    def await_settled(self, quiet_ms: int = 350) -> None:
        """Wait until a full answer is shown, in place of a preview, and stays.

        The quiet begins before the first preview: a control that was moved a moment ago
        may not have been heard yet. A fit with its forecast may take as long as a page.
        """
        self.root.evaluate(
            """(root, [quiet, limit]) => new Promise((done, fail) => {
                const begin = performance.now();
                let since = begin, before = null;
                const look = () => {
                    const status = root.querySelector('.coreward-status');
                    const stage = status?.querySelector('[data-stage]')?.dataset.stage;
                    const picture = root.querySelector('img.coreward-picture')?.src ?? '';
                    const now = (status?.textContent ?? '') + picture;
                    const time = performance.now();
                    if (now !== before || stage === 'preview') { before = now; since = time; }
                    if (time - since >= quiet) done();
                    else if (time - begin > limit) fail(new Error('it never came to rest'));
                    else setTimeout(look, 40);
                };
                look();
            })""",
            [quiet_ms, RUN_TIMEOUT_MS],
        )

    def await_change(self, *, status: str, picture: str | None = None) -> None:
        """Wait until the status, and the picture if given, differ from before."""
        line = self.root.locator(".coreward-status").first
        expect(line).not_to_have_text(status, timeout=CHANGE_TIMEOUT_MS)
        if picture is not None:
            image = self.root.locator("img.coreward-picture").first
            expect(image).not_to_have_attribute("src", picture, timeout=CHANGE_TIMEOUT_MS)
