"""Bounds on what visitors may ask for: paces, connections, files, lines on the terminal."""

from __future__ import annotations

import errno
import io
import logging
import os
import socket
from typing import Any

import pytest

from coreward.app import limits
from coreward.app.limits import Connections, Pace, Paces
from coreward.app.quiet import EVERY_S, LONGEST, MOST_LINES, QuietHandler


class Clock:
    """A clock that goes when told."""

    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Plain:
    """A connection that is only closed."""

    closed = False
    on_end: Any = None

    def close(self) -> None:
        self.closed = True
        if self.on_end is not None:
            self.on_end(self)


# Paces --------------------------------------------------------------------------------


def test_a_pace_lets_a_burst_through_and_then_so_much_a_second() -> None:
    clock = Clock()
    pace = Pace(3, 0.5, clock)
    assert [pace.refused_s() for _ in range(4)] == [0, 0, 0, 2]
    clock.now = 2.0
    assert [pace.refused_s() for _ in range(2)] == [0, 2]
    clock.now = 1000.0
    assert [pace.refused_s() for _ in range(4)] == [0, 0, 0, 2]


def test_a_pace_that_waits_waits_longer_for_each() -> None:
    pace = Pace(10, 5, Clock())
    assert [pace.wait_s(amount) for amount in (10, 5, 20)] == [0, 1, 5]


def test_paces_are_apart_and_not_without_end(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(limits, "_MOST_KEYS", 10)
    paces = Paces(1, 1e-9)
    assert paces.of("a").refused_s() == 0
    assert paces.of("a").refused_s() > 0
    assert paces.of("b").refused_s() == 0
    for number in range(100):
        paces.of(f"visitor {number}")
    assert len(paces._paces) == 10


# Connections --------------------------------------------------------------------------


class Hall(Connections):
    """Connections that come a second apart."""

    def __init__(self, **given: int) -> None:
        self.clock = Clock()
        super().__init__(**given, clock=self.clock)

    def admit(self, stream: Any, address: str) -> bool:
        self.clock.now += 1.0
        return super().admit(stream, address)


def _admitted(connections: Connections, address: str, count: int) -> list[Plain]:
    streams = [Plain() for _ in range(count)]
    for stream in streams:
        connections.admit(stream, address)
    return streams


def test_one_whose_question_is_on_the_way_does_not_give_way() -> None:
    # A thousand at the same moment, and among them somebody who has a question.
    connections = Connections(most=500, most_unknown=10, clock=Clock())
    _admitted(connections, "a", 300)
    (stream,) = _admitted(connections, "a", 1)
    _admitted(connections, "a", 450)
    assert not stream.closed
    assert connections.know(stream, "v")
    assert len(connections) == 500


def test_the_oldest_that_never_said_who_it_is_gives_way() -> None:
    connections = Hall(most=100, most_unknown=10)
    streams = _admitted(connections, "a", 1100)
    assert [each.closed for each in streams] == [True] * 1090 + [False] * 10
    assert len(connections) == 10
    # Somebody from the same address comes in, and from another one too.
    for address in ("a", "b"):
        (stream,) = _admitted(connections, address, 1)
        assert not stream.closed
        assert connections.know(stream, f"visitor from {address}")


def test_whoever_has_shown_who_he_is_does_not_give_way() -> None:
    connections = Hall(most=20, most_unknown=10)
    known = _admitted(connections, "a", 5)
    for number, stream in enumerate(known):
        assert connections.know(stream, f"visitor {number}")
    _admitted(connections, "a", 1000)
    for number in range(50):
        _admitted(connections, f"address {number}", 10)
    assert len(connections) <= 20
    assert not any(each.closed for each in known)


def test_where_all_are_known_a_new_one_is_closed() -> None:
    connections = Connections(most=3)
    for number, stream in enumerate(_admitted(connections, "a", 3)):
        assert connections.know(stream, str(number))
    assert not connections.admit(Plain(), "b")


def test_a_visitor_has_so_many_and_may_come_back_after_closing() -> None:
    connections = Connections(most_of_a_visitor=4)
    streams = _admitted(connections, "a", 5)
    assert [connections.know(each, "v") for each in streams] == [True] * 4 + [False]
    streams[4].close()
    streams[0].close()
    assert len(connections) == 3
    (again,) = _admitted(connections, "a", 1)
    assert connections.know(again, "v")


def test_what_has_given_way_is_nobodys() -> None:
    connections = Hall(most_unknown=1)
    first, second = _admitted(connections, "a", 2)
    assert not connections.know(first, "v")
    second.close()
    assert len(connections) == 0
    assert connections._unknown == connections._known == connections._whose == {}


def test_thirty_people_behind_one_address_find_room() -> None:
    connections = Connections()
    held = []
    # All at the same moment, each with the six connections of a browser and two for a page.
    for _ in range(8):
        streams = _admitted(connections, "school", 30)
        for number, stream in enumerate(streams):
            assert connections.know(stream, f"pupil {number}")
        held += streams
    assert len(connections) == 240
    assert not any(each.closed for each in held)


# Files --------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("files", "wanted", "places"), [(8192, 30, 30), (1024, 30, 20), (256, 30, 3), (64, 5, 1)]
)
def test_places_and_connections_fit_into_the_files(
    files: int, wanted: int, places: int
) -> None:
    found, connections = limits.share_files(files, wanted)
    assert found == places
    assert connections >= 32
    if files >= 256:
        assert connections + found * limits.FILES_OF_A_PAGE <= files


def test_without_files_a_connection_is_closed_and_listening_goes_on(
    monkeypatch: pytest.MonkeyPatch, caplog: pytest.LogCaptureFixture
) -> None:
    with limits._Listening(socket.AF_INET, socket.SOCK_STREAM) as listening:
        listening.bind(("127.0.0.1", 0))
        listening.listen()
        name = listening.getsockname()
        real, failures = socket.socket.accept, [OSError(errno.EMFILE, "no files")]

        def accept(each: socket.socket) -> Any:
            if failures:
                raise failures.pop()
            return real(each)

        monkeypatch.setattr(socket.socket, "accept", accept)
        with socket.create_connection(name) as first:
            with pytest.raises(ConnectionAbortedError):
                listening.accept()
            first.settimeout(5)
            assert first.recv(1) == b""
        with socket.create_connection(name), listening.accept()[0] as second:
            assert second.fileno() > 0
        os.close(listening._spare)


# The terminal -------------------------------------------------------------------------


@pytest.fixture
def quiet() -> tuple[logging.Logger, io.StringIO, Clock]:
    said, clock = io.StringIO(), Clock()
    logger = logging.Logger("tests")
    logger.addHandler(QuietHandler(said, clock))
    return logger, said, clock


def test_a_kind_of_line_comes_once_a_minute_with_a_count(
    quiet: tuple[logging.Logger, io.StringIO, Clock],
) -> None:
    logger, said, clock = quiet

    def complain(number: int) -> None:
        try:
            raise ValueError(f"number {number}\nwith a second line")
        except ValueError:
            logger.exception("It failed")

    for number in range(1000):
        complain(number)
    logger.error("Something else.")
    clock.now = EVERY_S
    complain(1000)
    lines = said.getvalue().splitlines()
    assert len(lines) == 3
    assert "It failed: ValueError: number 0?with a second line (" in lines[0]
    assert lines[1].endswith("Something else.")
    assert lines[2].endswith("(and 999 more like it)")


def test_all_kinds_together_are_bounded(
    quiet: tuple[logging.Logger, io.StringIO, Clock],
) -> None:
    logger, said, _ = quiet
    for number in range(500):
        place = logger.makeRecord("x", logging.ERROR, "x.py", number, "kind", (), None)
        logger.handle(place)
    assert said.getvalue().count("\n") == MOST_LINES


def test_a_line_is_short_and_cannot_move_the_cursor(
    quiet: tuple[logging.Logger, io.StringIO, Clock],
) -> None:
    logger, said, _ = quiet
    logger.error("a visitor's path: %s", "\x1b[2J\r\x07" + "x" * 10_000)
    (line,) = said.getvalue().splitlines()
    assert line.isprintable()
    assert len(line) < LONGEST + 40
