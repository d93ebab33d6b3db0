"""Who gets a place: shares of one visitor, a class behind one address, pages nobody reads."""

from __future__ import annotations

import asyncio
import time
from collections.abc import Awaitable, Callable
from pathlib import Path
from types import SimpleNamespace
from typing import Any

import pytest

from coreward.app import sessions
from coreward.app.pages import Page
from coreward.app.sessions import FullHouseError, Sessions

PAGES = [Page(f"page-{number}", "Title", "Words", ()) for number in range(40)]


class NoKernels:
    """Starts nothing."""

    def __contains__(self, name: str) -> bool:
        return False

    async def start_kernel(self, **given: Any) -> None:
        """Start nothing."""


@pytest.fixture
def clock(monkeypatch: pytest.MonkeyPatch) -> SimpleNamespace:
    """Return a clock that goes when told, on a machine with memory for all."""
    found = SimpleNamespace(now=time.monotonic())
    monkeypatch.setattr(sessions.time, "monotonic", lambda: found.now)
    free = SimpleNamespace(available=2**40)
    monkeypatch.setattr(sessions.psutil, "virtual_memory", lambda: free)
    return found


def _run(most: int, act: Callable[[Sessions], Awaitable[None]]) -> None:
    async def inside() -> None:
        made: Any = NoKernels()
        all_of_them = Sessions(made, Path(), most=most)
        try:
            await act(all_of_them)
        finally:
            await all_of_them.close()

    asyncio.run(inside())


def _opened(places: Sessions, visitor: str, count: int) -> int:
    got = 0
    for page in PAGES[:count]:
        try:
            places.open(visitor, page)
            got += 1
        except FullHouseError:
            pass
    return got


def test_one_visitor_does_not_take_all_places(clock: SimpleNamespace) -> None:
    async def act(places: Sessions) -> None:
        assert _opened(places, "greedy", 40) == 10
        with pytest.raises(FullHouseError, match=r"You have 10 pages .* Close one of them"):
            places.open("greedy", PAGES[30])
        assert [_opened(places, f"visitor {number}", 1) for number in range(20)] == [1] * 20

    _run(30, act)


def test_a_class_of_thirty_finds_thirty_places(clock: SimpleNamespace) -> None:
    async def act(places: Sessions) -> None:
        assert [_opened(places, f"pupil {number}", 1) for number in range(30)] == [1] * 30
        with pytest.raises(FullHouseError, match="All 30 places"):
            places.open("late", PAGES[0])

    _run(30, act)


def test_masks_that_read_nothing_give_way_to_who_does(clock: SimpleNamespace) -> None:
    async def act(places: Sessions) -> None:
        reader = places.open("reader", PAGES[0])
        reader.readers = 1
        assert sum(_opened(places, f"mask {number}", 1) for number in range(60)) == 5
        clock.now += sessions.GIVES_WAY_S + 1
        assert _opened(places, "somebody", 1) == 1
        # Who reads keeps the place, and loading the page again finds it.
        for number in range(20):
            _opened(places, f"somebody {number}", 1)
        assert places.open("reader", PAGES[0]) is reader
        assert len(places) == 6

    _run(6, act)


def test_pages_that_one_has_left_make_room_for_ones_next(clock: SimpleNamespace) -> None:
    async def act(places: Sessions) -> None:
        for number in range(8):
            session = places.open("wanderer", PAGES[number])
            session.readers += 1
            clock.now += 60.0
            session.readers -= 1
            session.left = clock.now
            clock.now += sessions.GIVES_WAY_S + 1
        assert len(places) == 2
        assert places.find("wanderer", PAGES[7]) is session

    _run(6, act)


def test_starting_page_after_page_is_slowed(clock: SimpleNamespace) -> None:
    async def act(places: Sessions) -> None:
        refused = ""
        for number in range(40):
            try:
                session = places.open("hasty", PAGES[number])
            except FullHouseError as error:
                refused = str(error)
                break
            session.left = clock.now - 60.0
        assert number == 12
        assert "in 5 seconds" in refused
        clock.now += 5.0
        assert places.open("hasty", PAGES[number]) is not None

    _run(6, act)
