"""How much one visitor, one address and all together may ask of the server.

A class behind one address must find room, so nothing is refused for an address alone: of
connections that have not yet shown who they are the oldest give way, and a visitor (a
cookie) has shares that no single person at a browser uses up.
"""

from __future__ import annotations

import errno
import logging
import os
import socket
import time
from collections import OrderedDict
from collections.abc import Callable
from typing import Any, Final

from tornado.httpserver import HTTPServer
from tornado.iostream import IOStream
from tornado.netutil import bind_sockets

MOST_CONNECTIONS: Final = 800
"""Of all visitors together: thirty browsers hold under three hundred."""
MOST_UNKNOWN: Final = 128
"""From one address, of connections that have not shown a cookie or the token."""
GRACE_S: Final = 0.5
"""How long one of these does not give way where there is room: its question comes. [s]"""
MOST_OF_A_VISITOR: Final = 60
"""A browser holds six for pages and two more for each page that is open."""
MOST_HEADER: Final = 16 * 2**10
"""What comes before a body; cookies of other servers on this machine are in it. [B]"""
MOST_BODY: Final = 2**10
"""No page sends a body. [B]"""
MOST_UNREAD: Final = 48 * 2**20
"""What waits for a reader who does not read. [B]"""
PATIENCE_S: Final = 20.0
"""How long headers, a body or the next question may take. [s]"""
_WANTED_FILES: Final = 8192
_FILES_OF_THE_SERVER: Final = 120
FILES_OF_A_PAGE: Final = 32
"""Measured: 20 for a kernel and its page; a page that is loaded again has its own twice."""
_CONNECTIONS_OF_A_PAGE: Final = 12
_MOST_KEYS: Final = 4096

_LOG: Final = logging.getLogger("coreward.app")


class Pace:
    """So much at once, and so much in a second from then on.

    Parameters
    ----------
    at_once, per_s : float
        How much, in what the user of it counts.
    """

    def __init__(
        self, at_once: float, per_s: float, clock: Callable[[], float] | None = None
    ) -> None:
        self._at_once, self._per_s = at_once, per_s
        self._clock = clock or time.monotonic
        self._left, self._then = at_once, self._clock()

    def _refill(self) -> None:
        now = self._clock()
        self._left = min(self._at_once, self._left + (now - self._then) * self._per_s)
        self._then = now

    def wait_s(self, amount: float = 1.0) -> float:
        """Take an amount and return how long to wait until it is there, in seconds."""
        self._refill()
        self._left -= amount
        return max(0.0, -self._left / self._per_s)

    def refused_s(self, amount: float = 1.0) -> float:
        """Take an amount if it is there, else return in how many seconds it will be."""
        self._refill()
        if self._left < amount:
            return (amount - self._left) / self._per_s
        self._left -= amount
        return 0.0


class Paces:
    """A pace for each visitor or address; those longest unused are forgotten."""

    def __init__(self, at_once: float, per_s: float) -> None:
        self._given = at_once, per_s
        self._paces: OrderedDict[str, Pace] = OrderedDict()

    def of(self, key: str) -> Pace:
        """Return the pace of one of them."""
        pace = self._paces.setdefault(key, Pace(*self._given))
        self._paces.move_to_end(key)
        if len(self._paces) > _MOST_KEYS:
            self._paces.popitem(last=False)
        return pace


# Connections --------------------------------------------------------------------------


class Stream(IOStream):
    """A connection that tells when it is closed and does not hoard what nobody reads."""

    on_end: Callable[[Stream], None] | None = None

    def close_fd(self) -> None:
        """Close, and tell."""
        super().close_fd()
        if self.on_end is not None:
            self.on_end(self)


class Connections:
    """Who is connected; the oldest that has not shown who it is gives way.

    Parameters
    ----------
    most : int
        Of all together.
    most_unknown : int
        From one address, of those that have not shown who they are.
    most_of_a_visitor : int
        Of one visitor.
    """

    def __init__(
        self,
        most: int = MOST_CONNECTIONS,
        most_unknown: int = MOST_UNKNOWN,
        most_of_a_visitor: int = MOST_OF_A_VISITOR,
        clock: Callable[[], float] | None = None,
    ) -> None:
        self._most = most
        self._most_unknown = most_unknown
        self._most_of_a_visitor = most_of_a_visitor
        self._clock = clock or time.monotonic
        # In the order in which they came, and when.
        self._unknown: dict[str, dict[Any, float]] = {}
        self._known: dict[str, set[Any]] = {}
        self._whose: dict[Any, tuple[bool, str]] = {}

    def __len__(self) -> int:
        return len(self._whose)

    def admit(self, stream: Any, address: str) -> bool:
        """Take a new connection in; return False where it must be closed instead."""
        now = self._clock()
        mine = self._unknown.get(address, {})
        if len(self) >= self._most:
            if not self._unknown:
                return False
            self._close_oldest(max(self._unknown.values(), key=len))
        while len(mine) >= self._most_unknown and now - next(iter(mine.values())) > GRACE_S:
            self._close_oldest(mine)
        self._unknown.setdefault(address, {})[stream] = now
        self._whose[stream] = (False, address)
        stream.on_end = self.forget
        return True

    def _close_oldest(self, streams: dict[Any, float]) -> None:
        stream = next(iter(streams))
        self.forget(stream)
        stream.close()

    def forget(self, stream: Any) -> None:
        """Note that a connection has ended."""
        is_known, whose = self._whose.pop(stream, (False, ""))
        if is_known:
            streams = self._known[whose]
            streams.discard(stream)
            if not streams:
                del self._known[whose]
        elif whose in self._unknown:
            self._unknown[whose].pop(stream, None)
            if not self._unknown[whose]:
                del self._unknown[whose]

    def know(self, stream: Any, visitor: str) -> bool:
        """Note whose a connection is; return False if the visitor has too many."""
        if stream not in self._whose:
            return False  # it has had to give way meanwhile
        if visitor in self._known and stream in self._known[visitor]:
            return True
        self.forget(stream)
        self._whose[stream] = (True, visitor)
        self._known.setdefault(visitor, set()).add(stream)
        return len(self._known[visitor]) <= self._most_of_a_visitor


class _Listening(socket.socket):
    """A socket that goes on listening when the system has no more files to give."""

    _spare: int = -1

    def accept(self) -> tuple[socket.socket, Any]:
        """Accept; where there is no file left, close what waits instead of failing."""
        if self._spare < 0:
            self._spare = os.open(os.devnull, os.O_RDONLY)
        try:
            return super().accept()
        except OSError as error:
            if error.errno not in {errno.EMFILE, errno.ENFILE, errno.ENOBUFS, errno.ENOMEM}:
                raise
            _LOG.error("A connection was closed: %s.", error.strerror)
            os.close(self._spare)
            self._spare = -1
            try:
                super().accept()[0].close()
            finally:
                self._spare = os.open(os.devnull, os.O_RDONLY)
            raise ConnectionAbortedError from error


class BoundedServer(HTTPServer):
    """Answer HTTP within bounds of connections, sizes and time."""

    connections: Connections

    def bind_and_listen(self, port: int, host: str, connections: Connections) -> None:
        """Start to answer on a port of an address."""
        self.connections = connections
        self.add_sockets(
            _Listening(each.family, each.type, each.proto, each.detach())
            for each in bind_sockets(port, host, backlog=4096)
        )

    def _handle_connection(self, connection: socket.socket, address: Any) -> None:
        if hasattr(socket, "TCP_USER_TIMEOUT"):
            # What was sent to somebody who does not take it does not stay for ever.
            connection.setsockopt(socket.IPPROTO_TCP, socket.TCP_USER_TIMEOUT, 60_000)
        stream = Stream(
            connection,
            max_buffer_size=self.max_buffer_size,
            max_write_buffer_size=MOST_UNREAD,
        )
        if self.connections.admit(stream, str(address[0])):
            self.handle_stream(stream, address)
        else:
            stream.close()


def bounded_server(application: Any, largest_message: int) -> BoundedServer:
    """Return a server that is not listening yet.

    Parameters
    ----------
    largest_message : int
        That a connection which is not HTTP may bring. [B]
    """
    return BoundedServer(
        application,
        max_header_size=MOST_HEADER,
        max_body_size=MOST_BODY,
        max_buffer_size=largest_message + 2**16,
        idle_connection_timeout=PATIENCE_S,
        body_timeout=PATIENCE_S,
    )


def allow_files() -> int:
    """Let this process open as many files as it may, and return how many that is."""
    try:
        import resource
    except ImportError:  # Windows has no such limit for sockets
        return _WANTED_FILES
    soft, hard = resource.getrlimit(resource.RLIMIT_NOFILE)
    wanted = _WANTED_FILES if hard == resource.RLIM_INFINITY else min(hard, _WANTED_FILES)
    if soft != resource.RLIM_INFINITY and soft < wanted:
        resource.setrlimit(resource.RLIMIT_NOFILE, (wanted, hard))
        soft = wanted
    return _WANTED_FILES if soft == resource.RLIM_INFINITY else soft


def share_files(files: int, places: int) -> tuple[int, int]:
    """Return how many places and how many connections fit into so many open files."""
    free = files - _FILES_OF_THE_SERVER
    places = max(1, min(places, free // (FILES_OF_A_PAGE + _CONNECTIONS_OF_A_PAGE)))
    return places, max(32, min(MOST_CONNECTIONS, free - places * FILES_OF_A_PAGE))
