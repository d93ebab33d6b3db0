"""How long from a slider to its picture, in a real browser. A tool, not a test.

    python tests/browser/latency.py [--app] [NOTEBOOK [CONTROL ...]]

opens a notebook in JupyterLab in Chromium, or with --app in the app view, steps each
slider by keys and drags it by mouse. The time counts in the page: from the key that the
browser hands on to the first frame after the picture of the panel has changed and is
decoded. JupyterLab is as a person finds it who has set nothing, and nobody listens to the
browser meanwhile (`support.quiet_browser` says why). What other work on the machine adds is
in the time; so the load is printed, and beside it the processor time of each part of the way
inside the kernel, and per picture of each process on the way, which load distorts far less.
On an idle machine the time cannot be much above their sum.
"""

from __future__ import annotations

import contextlib
import importlib
import os
import statistics
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Sequence
from itertools import pairwise
from pathlib import Path

import psutil
from playwright.sync_api import Page

from coreward.app.command import cache_folders
from coreward.launch import prepare_solver_cache

ROOT = Path(__file__).parents[2]
sys.path.insert(0, str(ROOT / "tests"))

from support.app_page import AppPage  # noqa: E402  (the path comes first)
from support.app_server import running_app  # noqa: E402
from support.quiet_browser import Line, quiet_browser  # noqa: E402
from support.workbench import (  # noqa: E402
    NotebookPage,
    Panel,
    clear_numbers,
    find_chromium,
    running_server,
)

STEPS = 20
CALM_S = 0.6  # longer than the quiet before a full run, and the run itself

WATCH = """root => {
  window.corewardPanel = root;
  window.corewardTimes = [];
  window.corewardFrames = [];
  let since = null;
  const picture = () => root.querySelector('img.coreward-picture');
  let shown = picture()?.src;
  const mark = event => { if (event.key?.startsWith('Arrow')) since = performance.now(); };
  window.addEventListener('keydown', mark, true);
  new MutationObserver(async () => {
    const image = picture();
    if (!image || image.src === shown) return;
    shown = image.src;
    window.corewardFrames.push(performance.now());
    const from = since;
    since = null;
    if (from === null) return;
    try { await image.decode(); } catch { return; }
    requestAnimationFrame(() => window.corewardTimes.push(performance.now() - from));
  }).observe(root, {subtree: true, childList: true, attributes: true, characterData: true});
}"""


def words(times_ms: Sequence[float]) -> str:
    """Return median and 95th percentile."""
    ordered = sorted(times_ms)
    late = ordered[min(len(ordered) - 1, round(0.95 * (len(ordered) - 1)))]
    return (
        f"median {statistics.median(ordered):5.0f} ms, 95th percentile {late:5.0f} ms, "
        f"worst {ordered[-1]:5.0f} ms ({len(ordered)} steps)"
    )


def step_times(line: Line, control: str) -> list[float]:
    """Step a slider by single keys, each after the page has come to rest."""
    line.evaluate("window.corewardTimes = []")
    line.evaluate(f"{_handle(control)}.focus()")
    for number in range(STEPS):
        line.press("ArrowRight" if number % 10 < 5 else "ArrowLeft")
        time.sleep(CALM_S)
    times: list[float] = line.evaluate("window.corewardTimes")
    return times


def _handle(control: str) -> str:
    return f"corewardPanel.querySelector('.coreward-control-{control} [role=slider]')"


def spent_by_process() -> dict[str, float]:
    """Return the processor time of each process on the way, all being our children. [s]"""
    marks = {
        "kernel": ("ipykernel", "coreward.app.seed"),
        "server": ("jupyterlab", '"token"'),
        "page": ("--type=renderer",),
    }
    spent = dict.fromkeys(marks, 0.0)
    for process in psutil.Process().children(recursive=True):
        with contextlib.suppress(psutil.NoSuchProcess, psutil.ZombieProcess):
            words = " ".join(process.cmdline())
            for name, each in marks.items():
                if any(mark in words for mark in each):
                    times = process.cpu_times()
                    spent[name] += times.user + times.system
                    break
    return spent


def drag_words(line: Line, control: str) -> str:
    """Drag a slider for two seconds; return how many pictures came and how late the last."""
    line.evaluate(f"{_handle(control)}.scrollIntoView({{block: 'center'}})")
    time.sleep(CALM_S)
    left, top, wide, high = line.evaluate(
        f"(box => [box.x, box.y, box.width, box.height])"
        f"({_handle(control)}.getBoundingClientRect())"
    )
    x, y = left + wide / 2, top + high / 2
    line.mouse("mouseMoved", x, y)
    line.mouse("mousePressed", x, y)
    began: float = line.evaluate("window.corewardFrames = [], performance.now()")
    for number in range(120):
        line.mouse("mouseMoved", x + (number % 40) - 20, y)
        time.sleep(0.016)
    ended: float = line.evaluate("performance.now()")
    line.mouse("mouseReleased", x, y)
    time.sleep(1.5)
    frames: list[float] = line.evaluate("window.corewardFrames")
    during = [frame for frame in frames if frame <= ended]
    gaps = [b - a for a, b in pairwise(during)]
    late = [frame - ended for frame in frames if frame > ended]
    return (
        f"{1000 * len(during) / (ended - began):.0f} pictures a second, "
        f"longest gap {max(gaps, default=0):.0f} ms, first picture after the end "
        f"{min(late, default=0):.0f} ms, last {max(late, default=0):.0f} ms"
    )


def load() -> str:
    """Return the load of this machine."""
    return "load " + " ".join(f"{value:.1f}" for value in os.getloadavg())


def kernel_words(module: str, make: str, controls: Sequence[str]) -> str:
    """Return the processor time of each part of a preview, in this process."""
    from coreward.drawing.canvas import PictureCanvas

    panel = getattr(importlib.import_module(f"coreward.questions.{module}.panel"), make)("C")
    panel.schedule.request = lambda: None
    encode = PictureCanvas.picture
    encoded: list[float] = []

    def timed(canvas: PictureCanvas, moving: bool) -> bytes:
        begun = time.process_time()
        picture = encode(canvas, moving)
        encoded.append(time.process_time() - begun)
        return picture

    PictureCanvas.picture = timed  # type: ignore[method-assign]
    spent: dict[str, list[float]] = {part: [] for part in ("compute", "draw", "encode", "send")}
    for control in (panel.controls[name] for name in controls):
        for number in range(STEPS):
            step = control.slider.step if number % 10 < 5 else -control.slider.step
            control.slider.value += step
            stamps = [time.process_time()]
            panel.moving = True
            outcome = panel.compute(True)
            stamps.append(time.process_time())
            view = panel.view(outcome)
            stamps.append(time.process_time())
            panel.state.stage = "preview"
            panel._show(view)
            stamps.append(time.process_time())
            compute, whole, send = (b - a for a, b in pairwise(stamps))
            for part, value in zip(
                spent, (compute, whole - encoded[-1], encoded[-1], send), strict=True
            ):
                spent[part].append(1e3 * value)
    PictureCanvas.picture = encode  # type: ignore[method-assign]
    middle = {part: statistics.median(values) for part, values in spent.items()}
    late = {part: sorted(values)[int(0.95 * len(values))] for part, values in spent.items()}
    parts = ", ".join(f"{part} {middle[part]:.1f} / {late[part]:.1f}" for part in spent)
    return (
        f"processor time in the kernel, median / 95th percentile in ms: {parts}; picture "
        f"{len(view.picture) // 1000} kB"
    )


PANELS = {
    "start": ("stall", "first_look", ("pit", "thickness")),
    "why-the-stall": ("stall", "stall_panel", ("fresh-air", "pit", "thickness", "pan-water")),
    "rest-and-carryover": ("rest", "rest_panel", ("pit", "peak", "look")),
    "is-this-hold-enough": ("verdict", "verdict_panel", ("bath", "hold", "thickness")),
}


@contextlib.contextmanager
def opened(
    notebook: str, folder: Path, private: Path, in_app: bool
) -> Iterator[Callable[[Page, Path], Panel]]:
    """Serve a notebook; what is returned opens it on a page and gives its first panel."""

    def in_lab(page: Page, screenshots: Path) -> Panel:
        lab = NotebookPage(page, screenshots)
        lab.open(server.notebook_address(f"notebooks/{notebook}.ipynb"))
        lab.run_all()
        return lab.panel()

    def as_page(page: Page, screenshots: Path) -> Panel:
        shown = AppPage(page, app, notebook, screenshots)
        shown.await_ready()
        return shown.panels()[0]

    if in_app:
        caches = cache_folders(prepare_solver_cache())
        with running_app(folder, caches=caches) as app:
            yield as_page
    else:
        with running_server(folder, private, as_delivered=True) as server:
            yield in_lab


def measure(notebook: str, controls: Sequence[str], in_app: bool) -> None:
    """Measure one notebook and print what was found."""
    module, make, usual = PANELS[notebook]
    chosen = tuple(controls) or usual
    executable = find_chromium()
    if executable is None:
        raise SystemExit("needs Chromium")
    place_words = "app view" if in_app else "JupyterLab"
    print(f"{notebook} in the {place_words}, {load()}, {os.cpu_count()} processors")
    with tempfile.TemporaryDirectory() as place:
        os.environ["COREWARD_CONFIG_DIR"] = place
        print(f"  {kernel_words(module, make, chosen)}")
        folder = Path(place) / "workbench"
        for part in ("notebooks", "data/demo"):
            target = folder / part
            target.mkdir(parents=True)
            for file in (ROOT / part).iterdir():
                if file.is_file():
                    (target / file.name).write_bytes(file.read_bytes())
        clear_numbers(folder)
        with (
            opened(notebook, folder, Path(place) / "private", in_app) as served,
            quiet_browser(executable) as browser,
        ):

            def set_up(page: Page) -> None:
                panel = served(page, Path(place))
                panel.await_settled()
                panel.root.evaluate(WATCH)

            browser.set_up(set_up)
            every: list[float] = []
            with browser.line() as line:
                for control in chosen:
                    before = spent_by_process()
                    line.evaluate("window.corewardFrames = []")
                    times = step_times(line, control)
                    pictures = len(line.evaluate("window.corewardFrames"))
                    after = spent_by_process()
                    each = ", ".join(
                        f"{name} {1e3 * (after[name] - before[name]) / max(pictures, 1):.0f}"
                        for name in before
                    )
                    every += times
                    print(f"  {control:10} {words(times)}; {load()}")
                    print(f"  {'':10} processor time per picture in ms ({pictures}): {each}")
                    print(f"  {'':10} dragged: {drag_words(line, control)}")
                    time.sleep(1.0)
            print(f"  all steps  {words(every)}")


if __name__ == "__main__":
    asked = [word for word in sys.argv[1:] if word != "--app"]
    for name in asked[:1] or PANELS:
        measure(name.removesuffix(".ipynb"), asked[1:], "--app" in sys.argv[1:])
