"""Attack the plain pages in four ways while another visitor asks every half second.

A program, not a test (`tests/unit/test_app_limits.py` holds each mended thing):
``python tests/verification/attack_pages.py [ATTACK ...]``. It starts a server of its own
on this machine only, attacks nothing else, and ends by itself: each attack is bounded in
count and in time, and a server that grows beyond `TOO_MUCH` is ended, which counts as lost.
Exit code 0 if every attack was borne.
"""

from __future__ import annotations

import io
import socket
import sys
import tempfile
import threading
import time
import zipfile
from collections.abc import Callable
from contextlib import ExitStack, suppress
from dataclasses import dataclass, field
from pathlib import Path

import openpyxl
import psutil
import websocket

sys.path.insert(0, str(Path(__file__).parents[1]))

from support.app_server import AppServer, Visitor, message, packed, running_app, write_page

SLOWEST_S = 2.0
TOO_MUCH = 3 * 2**30  # what all processes of the server may take before it is ended [B]
MOST_SAID = 20_000  # what stays readable on a terminal [B]
UNANSWERED_S = 10.0  # when the other visitor gives up [s]
LASTS_S = 20.0  # how long an attack is watched [s]
PLACES = 12
HALF_OPEN = 1100
CELLS = 17_000_000
COPIES = False  # kernels that start on their own are ready sooner than a first copy
FILES = 1024  # as many open files as many systems allow a program
_BINARY = "v1.kernel.websocket.jupyter.org"
_LOG_PAGE = """
from coreward.questions.review.panel import log_panel
panel = log_panel(units="C")
panel.state.source = "upload"
print(panel.uploader.comm.comm_id, panel._error_line.comm.comm_id)
"""


@dataclass
class Watch:
    """What another visitor and the machine saw."""

    slowest_s: float = 0.0
    unanswered: int = 0
    answers: int = 0
    server: int = 0
    everything: int = 0
    said: int = 0
    notes: list[str] = field(default_factory=list)

    def is_borne(self) -> bool:
        """Tell whether others were answered, memory was bounded, the terminal readable."""
        return (
            self.answers > 0
            and self.unanswered == 0
            and self.slowest_s < SLOWEST_S
            and self.everything < TOO_MUCH
            and self.said < MOST_SAID
        )


# The attacks --------------------------------------------------------------------------


def large_count(server: AppServer, attacker: Visitor, watch: Watch) -> None:
    """Say in 24 bytes that 2**40 parts follow."""
    kernel = attacker.open_page("other")
    attacker.results(kernel)
    path = f"/api/kernels/{kernel}/channels?session_id=attack"
    with attacker.connected(path, subprotocols=[_BINARY]) as connection:
        connection.send_binary((2**40).to_bytes(8, "little") + bytes(16))
        with suppress(TimeoutError, websocket.WebSocketException, OSError):
            connection.settimeout(5)
            kind, data = connection.recv_data()
            while kind != websocket.ABNF.OPCODE_CLOSE:
                kind, data = connection.recv_data()
            watch.notes.append(f"closed with {int.from_bytes(data[:2])}: {data[2:].decode()}")


def workbook() -> bytes:
    """Return a workbook of a few hundred kB whose one row has seventeen million cells."""
    made = io.BytesIO()
    openpyxl.Workbook().save(made)
    cells = b'<c r="A1"/>' * 10_000
    grown = io.BytesIO()
    with (
        zipfile.ZipFile(made) as old,
        zipfile.ZipFile(grown, "w", zipfile.ZIP_DEFLATED, compresslevel=9) as new,
    ):
        for name in old.namelist():
            if not name.endswith("sheet1.xml"):
                new.writestr(name, old.read(name))
        with new.open("xl/worksheets/sheet1.xml", "w") as sheet:
            sheet.write(
                b'<worksheet xmlns="http://schemas.openxmlformats.org/spreadsheetml/2006/main">'
                b'<sheetData><row r="1">'
            )
            for _ in range(CELLS // 10_000):
                sheet.write(cells)
            sheet.write(b"</row></sheetData></worksheet>")
    return grown.getvalue()


def great_workbook(server: AppServer, attacker: Visitor, watch: Watch) -> None:
    """Send a small workbook that unpacks into a great one to the page that reads logs."""
    content = workbook()
    kernel = attacker.open_page("log")
    ((printed,),) = attacker.results(kernel)
    uploader, error = printed["text"].split()
    file = {"name": "great.xlsx", "type": "", "size": len(content), "last_modified": 0}
    data = {
        "method": "update",
        "state": {"value": [file]},
        "buffer_paths": [["value", 0, "content"]],
    }
    sent = packed(message("comm_msg", comm_id=uploader, data=data), [content])
    watch.notes.append(f"a workbook of {len(content) / 1e3:.0f} kB")
    path = f"/api/kernels/{kernel}/channels?session_id=attack"
    states = attacker.states(kernel)
    next(states)
    with attacker.connected(path, subprotocols=[_BINARY]) as connection:
        connection.send_binary(sent)
        connection.settimeout(LASTS_S + 10)
        with suppress(TimeoutError, websocket.WebSocketException, OSError):
            deadline = time.monotonic() + 6 * LASTS_S
            while time.monotonic() < deadline:
                got = connection.recv()
                if isinstance(got, bytes) and error.encode() in got and b"alert" in got:
                    watch.notes.append("the page says why it cannot be read")
                    break
    kernels = [each for each in server_processes(server) if each.pid != server.process.pid]
    watch.notes.append(f"{len(kernels)} other processes afterwards")
    states.close()


def half_open(server: AppServer, attacker: Visitor, watch: Watch) -> None:
    """Open connections that never ask for anything, and keep them."""
    refused = 0
    with ExitStack() as held:
        for _ in range(HALF_OPEN):
            try:
                plain = socket.create_connection(("127.0.0.1", server.port), timeout=1)
            except OSError:
                refused += 1
                if refused > 10:
                    break
                continue
            held.enter_context(plain)
            with suppress(OSError):
                plain.sendall(b"GET / HTTP/1.1\r\nHost: ")
        watch.notes.append(f"{refused} of {HALF_OPEN} could not even connect")
        time.sleep(LASTS_S)


def all_places(server: AppServer, attacker: Visitor, watch: Watch) -> None:
    """Open every page, then pages as ever new visitors; then see whether one is left."""
    begun = time.monotonic()
    got = 0
    for number in range(PLACES + 5):
        got += attacker.ask(f"/page/many-{number}")[0] == 200
    watch.notes.append(
        f"one visitor got {got} of {PLACES} places in {time.monotonic() - begun:.1f} s"
    )
    fresh = Visitor.let_in(server)
    watch.notes.append(f"then somebody new got {fresh.ask('/page/other')[0]}")
    came = 0
    for _ in range(60):
        status, headers, _ = Visitor(server).ask(f"/?token={server.token}")
        if status == 302:
            mask = Visitor(server, cookie=headers["set-cookie"].split(";")[0])
            came += mask.ask("/page/other")[0] == 200
    watch.notes.append(f"sixty masks got {came} places")
    deadline = time.monotonic() + 30
    while fresh.ask("/page/start")[0] == 503 and time.monotonic() < deadline:
        time.sleep(0.5)
    waited = 30 - (deadline - time.monotonic())
    watch.notes.append(f"a page that nobody reads gave its place free after {waited:.0f} s")


ATTACKS: dict[str, Callable[[AppServer, Visitor, Watch], None]] = {
    "large-count": large_count,
    "great-workbook": great_workbook,
    "half-open": half_open,
    "all-places": all_places,
}


# Who watches --------------------------------------------------------------------------


def server_processes(server: AppServer) -> list[psutil.Process]:
    """Return the server and what it has started."""
    try:
        whole = psutil.Process(server.process.pid)
        return [whole, *whole.children(recursive=True)]
    except psutil.Error:
        return []


def memory_of(processes: list[psutil.Process]) -> int:
    """Return what processes take; what several share counts once for each. [B]"""
    found = 0
    for process in processes:
        with suppress(psutil.Error):
            found += process.memory_info().rss
    return found


def watch_memory(server: AppServer, watch: Watch, done: threading.Event) -> None:
    """Note the largest; end a server that takes far too much."""
    before = memory_of(server_processes(server))
    while not done.wait(0.1):
        processes = server_processes(server)
        watch.server = max(watch.server, memory_of(processes[:1]))
        watch.everything = max(watch.everything, memory_of(processes) - before)
        if watch.everything > TOO_MUCH:
            watch.notes.append("ENDED: it took more than 3 GiB and was still growing")
            for process in reversed(processes):
                with suppress(psutil.Error):
                    process.kill()
            return


def ask_for_ever(visitor: Visitor, kernel: str, watch: Watch, done: threading.Event) -> None:
    """Ask for the list, for a page and for one's own kernel every half second."""
    paths = ["/", "/page/start", f"/api/kernels/{kernel}"]
    number = 0
    while not done.wait(0.5):
        number += 1
        begun = time.monotonic()
        try:
            status = visitor.ask(paths[number % len(paths)], timeout=UNANSWERED_S)[0]
        except OSError:
            status = 0
        watch.slowest_s = max(watch.slowest_s, time.monotonic() - begun)
        watch.answers += status == 200
        watch.unanswered += status != 200


def attack(name: str) -> Watch:
    """Run one attack against a server of its own and return what was seen."""
    watch, done = Watch(), threading.Event()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for page in ("start", "other", *(f"many-{number}" for number in range(PLACES + 5))):
            write_page(folder, page, ("words", f"# Page {page}"), ("code", "7"))
        write_page(folder, "log", ("words", "# Log"), ("code", _LOG_PAGE))
        with running_app(
            folder, most=PLACES, most_files=FILES, copies=COPIES, abandoned_s=120.0
        ) as server:
            visitor = Visitor.let_in(server)
            visitor.headers["Connection"] = "close"
            kernel = visitor.open_page("start")
            visitor.results(kernel)
            states = visitor.states(kernel)
            next(states)
            attacker = Visitor.let_in(server)
            threads = [
                threading.Thread(target=watch_memory, args=(server, watch, done)),
                threading.Thread(target=ask_for_ever, args=(visitor, kernel, watch, done)),
            ]
            for thread in threads:
                thread.start()
            begun = time.monotonic()
            try:
                ATTACKS[name](server, attacker, watch)
                # What was started may go on without whoever started it.
                time.sleep(max(0.0, LASTS_S - (time.monotonic() - begun)))
            except (OSError, AssertionError, ValueError, websocket.WebSocketException) as error:
                watch.notes.append(f"the attack ended with {type(error).__name__}")
            finally:
                done.set()
                for thread in threads:
                    thread.join(UNANSWERED_S + 5)
                watch.said = server.bytes_said()
                watch.notes += [line[:160] for line in server.said().splitlines()[:4]]
                if server.process.poll() is None and not watch.is_borne():
                    server.process.kill()  # it may hear nothing any more
                states.close()
    return watch


def main(names: list[str]) -> int:
    """Attack, print what was seen, and return an exit code."""
    borne = True
    for name in names or ATTACKS:
        watch = attack(name)
        borne &= watch.is_borne()
        print(
            f"{name:15} {'borne' if watch.is_borne() else 'LOST ':6} "
            f"slowest answer {watch.slowest_s:6.2f} s, {watch.answers} answers, "
            f"{watch.unanswered} without; server {watch.server / 2**20:.0f} MiB at most, all "
            f"processes {watch.everything / 2**20:+.0f} MiB; terminal {watch.said} B"
        )
        for note in watch.notes:
            print(f"{'':15} {note}")
        sys.stdout.flush()
    return 0 if borne else 1


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
