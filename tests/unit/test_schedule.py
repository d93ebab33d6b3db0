"""Long computations: progress, stop, and never more than one."""

from __future__ import annotations

import asyncio
import threading
import time
from collections.abc import Callable
from typing import Any

import pytest

from coreward.errors import InputError
from coreward.widgets.panel import View
from coreward.widgets.schedule import Cancelled, Later, LatestWins, Progress, Stopped
from support.toy_panel import ToyPanel, ToyState

PATIENCE_S = 10.0


async def until(true: Callable[[], bool]) -> None:
    """Wait for something to come true, and fail if it never does."""
    deadline = time.monotonic() + PATIENCE_S
    while not true():
        assert time.monotonic() < deadline, "it never came true"
        await asyncio.sleep(0.005)


class Slow:
    """A computation that goes on until it is told to end, and says when it runs."""

    def __init__(self) -> None:
        self.begun = self.running = self.most = 0
        self.let_end = threading.Event()

    def __call__(self, progress: Progress, cancelled: Cancelled) -> str:
        self.begun += 1
        self.running += 1
        self.most = max(self.most, self.running)
        try:
            while not self.let_end.wait(0.002):
                progress(0.25, "a quarter")
            return "done"
        finally:
            self.running -= 1


class Heard:
    """Notes what it is told."""

    def __init__(self) -> None:
        self.answers: list[Any] = []
        self.errors: list[Exception] = []
        self.shares: list[tuple[float, str]] = []

    def start(
        self, schedule: LatestWins, compute: Callable[[Progress, Cancelled], Any]
    ) -> None:
        schedule.start(
            compute,
            done=self.answers.append,
            failed=self.errors.append,
            progressed=lambda share, words: self.shares.append((share, words)),
        )


def test_a_long_computation_tells_how_far_it_is_and_then_the_answer() -> None:
    slow, heard = Slow(), Heard()

    async def page() -> None:
        schedule = LatestWins(lambda preview: None)
        heard.start(schedule, slow)
        await until(lambda: (0.25, "a quarter") in heard.shares)
        assert schedule.is_working
        slow.let_end.set()
        await until(lambda: not schedule.is_working)

    asyncio.run(page())
    assert (heard.answers, heard.errors) == (["done"], [])


def test_stop_ends_it_and_its_answer_is_not_told() -> None:
    slow, heard = Slow(), Heard()

    async def page() -> None:
        schedule = LatestWins(lambda preview: None)
        heard.start(schedule, slow)
        await until(lambda: slow.running == 1)
        schedule.stop()
        assert not schedule.is_working
        await until(lambda: slow.running == 0)
        await asyncio.sleep(0.15)

    asyncio.run(page())
    assert heard.answers == []
    assert [type(error) for error in heard.errors] == [Stopped]


def test_a_new_value_ends_it_silently_and_there_is_never_more_than_one() -> None:
    slow, heard = Slow(), Heard()

    async def page() -> None:
        schedule = LatestWins(
            lambda preview: None if preview else heard.start(schedule, slow), quiet_s=0.01
        )
        for number in range(5):
            schedule.request()
            await until(lambda number=number: slow.begun == number + 1)  # type: ignore[misc]
        slow.let_end.set()
        await until(lambda: heard.answers != [])

    asyncio.run(page())
    assert slow.most == 1
    assert (heard.answers, heard.errors) == (["done"], [])


def test_one_that_does_not_listen_holds_up_no_values_and_gets_no_company() -> None:
    ends, begun, heard = threading.Event(), [], Heard()

    def deaf(progress: Progress, cancelled: Cancelled) -> int:
        begun.append(time.monotonic())
        ends.wait(PATIENCE_S)
        return len(begun)

    async def page() -> None:
        previews: list[bool] = []
        schedule = LatestWins(previews.append, quiet_s=60.0)
        heard.start(schedule, deaf)
        await until(lambda: len(begun) == 1)
        for _ in range(3):
            heard.start(schedule, deaf)
        schedule_asks = LatestWins(previews.append, quiet_s=60.0)
        schedule_asks.request()
        await until(lambda: previews == [True])
        schedule_asks.cancel()
        await asyncio.sleep(0.25)
        assert len(begun) == 1
        ends.set()
        await until(lambda: heard.answers != [])

    asyncio.run(page())
    # Of the three that waited only the last ran.
    assert (len(begun), heard.answers) == (2, [2])


def test_what_goes_wrong_is_told() -> None:
    heard = Heard()

    def broken(progress: Progress, cancelled: Cancelled) -> None:
        raise InputError("too thick")

    async def page() -> None:
        schedule = LatestWins(lambda preview: None)
        heard.start(schedule, broken)
        await until(lambda: heard.errors != [])

    asyncio.run(page())
    heard.start(LatestWins(lambda preview: None), broken)
    assert [str(error) for error in heard.errors] == ["too thick", "too thick"]


def test_a_cell_that_cannot_wait_gets_the_answer_at_once() -> None:
    calls: list[str] = []
    heard = Heard()

    def compute(progress: Progress, cancelled: Cancelled) -> str:
        calls.append(threading.current_thread().name)
        return "done"

    async def cell() -> None:
        schedule = LatestWins(lambda preview: heard.start(schedule, compute))
        schedule.request()
        schedule.settle()
        assert heard.answers == ["done"]
        await asyncio.sleep(0.15)

    asyncio.run(cell())
    assert heard.answers == ["done"]
    assert len(calls) == 1


def test_settling_never_computes_beside_the_one_that_runs() -> None:
    """Failed before: what ran was told to stop, and computed once more beside it."""
    heard, lock = Heard(), threading.Lock()
    running, most = 0, 0
    may_end = threading.Event()

    def compute(progress: Progress, cancelled: Cancelled) -> str:
        nonlocal running, most
        with lock:
            running += 1
            most = max(most, running)
        may_end.wait(PATIENCE_S)
        with lock:
            running -= 1
        return "done"

    async def cell() -> None:
        schedule = LatestWins(lambda preview: None)
        heard.start(schedule, compute)
        await until(lambda: running == 1)
        threading.Timer(0.05, may_end.set).start()
        schedule.settle()
        await asyncio.sleep(0.15)

    asyncio.run(cell())
    assert (most, heard.answers) == (1, ["done"])


def test_many_requests_can_be_made_one() -> None:
    seen: list[bool] = []
    schedule = LatestWins(seen.append)
    with schedule.together():
        schedule.request()
        schedule.request()
        assert seen == []
    assert seen == [False]
    with schedule.together():
        pass
    assert seen == [False]


# In a panel --------------------------------------------------------------------------------


class LongPanel(ToyPanel):
    takes_long = True
    ends: threading.Event
    threads: set[str]

    def compute_long(
        self, inputs: dict[str, Any], progress: Progress, cancelled: Cancelled
    ) -> Any:
        self.threads.add(threading.current_thread().name)
        while not self.ends.wait(0.002):
            progress(0.5, "half of it")
        if inputs["pit_c"] > 175.0:
            raise InputError("The toy is too hot: lower the pit.")
        return {"pit": inputs["pit_c"], "preview": False}

    def view(self, outcome: Any) -> View:
        status = f"pit {outcome['pit']:.0f}{' roughly' if outcome['preview'] else ''}"
        return View(b"not really a PNG", "a pit", status)


@pytest.fixture
def long_panel(monkeypatch: pytest.MonkeyPatch) -> LongPanel:
    monkeypatch.setattr("coreward.widgets.panel._PATIENCE_S", 0.0)
    monkeypatch.setattr("coreward.widgets.schedule.LOOK_S", 0.01)
    LongPanel.ends, LongPanel.threads = threading.Event(), set()
    LongPanel.ends.set()
    panel = LongPanel(ToyState(), "C")
    panel.schedule._quiet_s = 0.01
    return panel


def test_a_panel_opens_with_the_full_answer(long_panel: LongPanel) -> None:
    assert long_panel.status_text == "pit 110"
    assert long_panel.state.stage == "full"
    assert not long_panel._progress_bar.is_shown


def test_the_page_shows_a_preview_then_progress_then_the_full_answer(
    long_panel: LongPanel,
) -> None:
    async def page() -> None:
        long_panel.ends.clear()
        long_panel.state.pit_c = 150.0
        await until(lambda: long_panel._progress_bar.is_shown)
        assert long_panel.status_text == "pit 150 roughly"
        assert long_panel.state.stage == "preview"
        await until(lambda: "half of it: 50 %" in long_panel._progress_bar.text)
        assert 'role="progressbar"' in long_panel._progress_bar.text
        long_panel.ends.set()
        await until(lambda: long_panel.state.stage == "full")
        assert not long_panel._progress_bar.is_shown

    asyncio.run(page())
    assert long_panel.state.outcome == {"pit": 150.0, "preview": False}
    assert long_panel.threads > {threading.main_thread().name}


def test_stop_keeps_the_preview_and_says_so(long_panel: LongPanel) -> None:
    async def page() -> None:
        long_panel.ends.clear()
        long_panel.state.pit_c = 150.0
        await until(lambda: long_panel._progress_bar.is_shown)
        long_panel._progress_bar.stop_button.click()
        assert "Stopped" in long_panel._progress_bar.text
        assert not long_panel._progress_bar.is_shown
        await asyncio.sleep(0.05)
        assert (long_panel.state.stage, long_panel.state.error) == ("preview", None)
        long_panel.ends.set()
        long_panel.state.pit_c = 151.0
        await until(lambda: long_panel.state.stage == "full")

    asyncio.run(page())
    assert long_panel.state.outcome["pit"] == 151.0


def test_a_drag_never_queues_long_computations(long_panel: LongPanel) -> None:
    shown: list[float] = []
    long_panel.state.observe(lambda change: shown.append(change["new"]["pit"]), names="outcome")

    async def drag() -> None:
        long_panel.ends.clear()
        for step in range(30):
            long_panel.state.pit_c = 120.0 + step
            await asyncio.sleep(0.004)
        long_panel.ends.set()
        await until(lambda: long_panel.state.stage == "full")

    asyncio.run(drag())
    assert shown == sorted(shown)
    assert long_panel.state.outcome == {"pit": 149.0, "preview": False}


def test_what_goes_wrong_in_a_long_computation_is_a_sentence(long_panel: LongPanel) -> None:
    long_panel.state.pit_c = 178.0
    assert long_panel.state.error == "The toy is too hot: lower the pit."
    assert "coreward-stale" in long_panel.widget._dom_classes


# What follows a picture -----------------------------------------------------------------


def test_without_a_loop_what_is_put_off_is_done_at_once() -> None:
    done: list[int] = []
    later = Later(10.0, 10.0)
    later.ask(lambda: done.append(1))
    assert done == [1]


def test_of_what_is_put_off_only_the_latest_is_done() -> None:
    done: list[int] = []

    async def page() -> None:
        later = Later(0.02, 10.0)
        for number in range(5):
            later.ask(lambda number=number: done.append(number))  # type: ignore[misc]
        assert done == []
        await until(lambda: done != [])
        await asyncio.sleep(0.05)

    asyncio.run(page())
    assert done == [4]


def test_it_is_not_put_off_for_ever() -> None:
    done: list[float] = []

    async def page() -> float:
        loop = asyncio.get_running_loop()
        later, begun = Later(10.0, 0.05), loop.time()
        while not done:
            later.ask(lambda: done.append(loop.time()))
            assert loop.time() < begun + PATIENCE_S
            await asyncio.sleep(0.005)
        return begun

    begun = asyncio.run(page())
    assert done[0] - begun >= 0.05


def test_what_is_done_now_or_dropped_takes_the_place_of_what_was_put_off() -> None:
    done: list[str] = []

    async def page() -> None:
        later = Later(0.02, 0.02)
        later.ask(lambda: done.append("late"))
        later.do(lambda: done.append("now"))
        later.ask(lambda: done.append("dropped"))
        later.drop()
        await asyncio.sleep(0.08)

    asyncio.run(page())
    assert done == ["now"]
