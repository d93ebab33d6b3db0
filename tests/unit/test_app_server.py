"""The app view over the wire: who comes in, what is served, what is refused, how many fit."""

from __future__ import annotations

import contextlib
import itertools
import json
import os
import signal
import socket
import sys
import time
from collections.abc import Iterator
from pathlib import Path

import psutil
import pytest
import websocket

from coreward.app.command import cache_folders
from coreward.app.kernels import can_copy
from coreward.app.limits import GRACE_S, MOST_UNKNOWN
from coreward.app.messages import SHORT_FORM
from coreward.launch import prepare_solver_cache
from support.app_server import (
    AppServer,
    Visitor,
    message,
    packed,
    running_app,
    until_closed,
    write_page,
)

SECRET = "the cook's own recipe"
# A page with one control whose value is a path, as the page that reads logs has one.
PATH_PAGE = """
import ipywidgets
from pathlib import Path
entry, answer = ipywidgets.Text(), ipywidgets.HTML()
def read(change):
    try:
        answer.value = Path(change["new"]).read_text()
    except OSError as error:
        # The path makes each answer a new one, which is what gets sent.
        answer.value = f"{error} ({change['new']})"
entry.observe(read, names="value")
print(entry.comm.comm_id, answer.comm.comm_id)
"""
# A page that tells its environment, and writes to the terminal without end.
LOUD_PAGE = """
import os, sys
for number in range(20_000):
    os.write(2, b"\\x1b[2J a line that nobody asked for %d\\n" % number)
print(sorted(os.environ), os.environ["PATH"] != "")
"""


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    made = tmp_path_factory.mktemp("served")
    write_page(
        made, "start", ("words", "# The way in\n\nOpen [the other](other.ipynb) page."),
        ("code", "import os\nprint('sum', 20 + 22, os.getpid())"),
    )  # fmt: skip
    write_page(
        made, "other", ("words", "# Another\n\nWords."), ("code", "1 / 0"), ("code", "7")
    )
    write_page(made, "paths", ("words", "# Paths"), ("code", PATH_PAGE))
    write_page(
        made,
        "hungry",
        ("words", "# Hungry"),
        ("code", "len(bytearray(8 * 2**30))"),
        ("code", "7"),
    )
    write_page(made, "loud", ("words", "# Loud"), ("code", LOUD_PAGE))
    (made / "secret.txt").write_text(SECRET)
    (made / "data" / "demo").mkdir(parents=True)
    (made / "data" / "demo" / "supper.csv").write_text("minutes,pit\n0,110\n")
    (made / "notebooks" / "way-out").symlink_to(made)
    return made


@pytest.fixture(scope="module")
def server(folder: Path) -> Iterator[AppServer]:
    """Return a server with room for all tests, whose kernels start on their own."""
    secrets = {"COOKS_PASSWORD": SECRET, "LC_COOKS": "C"}
    with running_app(
        folder, most=40, copies=False, abandoned_s=600.0, extra=secrets
    ) as running:
        yield running


@pytest.fixture(scope="module")
def small(folder: Path) -> Iterator[AppServer]:
    """Return a server with two places, each free a second after its page was left."""
    with running_app(folder, most=2, copies=False, abandoned_s=1.0) as running:
        yield running


@pytest.fixture
def visitor(server: AppServer) -> Visitor:
    """Return somebody who was let in."""
    return Visitor.let_in(server)


@pytest.fixture(scope="module")
def opened(server: AppServer) -> tuple[Visitor, str]:
    """Return somebody with a page that has run, and its kernel."""
    somebody = Visitor.let_in(server)
    kernel = somebody.open_page("start")
    somebody.results(kernel)
    return somebody, kernel


def _wait_for_a_place(visitor: Visitor) -> None:
    deadline = time.monotonic() + 30
    while visitor.ask("/page/start")[0] == 503 and time.monotonic() < deadline:
        time.sleep(0.2)


def test_a_server_ends_when_asked_also_where_interrupts_are_ignored(folder: Path) -> None:
    # As in tests that were started in the background: its children inherit it.
    before = signal.signal(signal.SIGINT, signal.SIG_IGN)
    try:
        with running_app(folder, most=1, copies=False) as running:
            assert running.process.poll() is None
    finally:
        signal.signal(signal.SIGINT, before)
    # One that had to be killed says minus nine.
    assert running.process.returncode == 0


# Coming in ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    ["/", "/page/start", "/drawing/scripts/voila.js", "/api/kernels/" + "0" * 8 + "-0000" * 3
     + "-" + "0" * 12, "/nowhere"],
)  # fmt: skip
def test_nothing_but_the_look_is_served_without_the_token(server: AppServer, path: str) -> None:
    for address in (path, path + "?token=", path + "?token=wrong"):
        status, _, text = Visitor(server).ask(address)
        assert status == 403
        assert "whole address" in text
        assert "The way in" not in text


def test_a_forged_cookie_is_not_enough(server: AppServer, visitor: Visitor) -> None:
    name, value = visitor.cookie.split("=", 1)
    forged = value[:-6] + ("A" * 6 if not value.endswith("A" * 6) else "B" * 6)
    assert Visitor(server, cookie=f"{name}={forged}").ask("/")[0] == 403


def test_the_token_leaves_the_address_at_once(server: AppServer) -> None:
    status, headers, _ = Visitor(server).ask(f"/page/start?token={server.token}")
    assert (status, headers["location"]) == (302, "/page/start")
    cookie = headers["set-cookie"].lower()
    assert "httponly" in cookie
    assert "samesite=strict" in cookie
    assert server.token not in cookie


def test_a_foreign_name_does_not_lead_here(visitor: Visitor) -> None:
    # By a name of his own an attacker's page could otherwise reach this machine.
    assert visitor.ask("/", Host="pages.example:80")[0] == 403
    assert visitor.ask("/", Host=f"localhost:{visitor.server.port}")[0] == 200


def test_the_list_of_pages(visitor: Visitor) -> None:
    status, headers, text = visitor.ask("/")
    assert status == 200
    # On its shelf and in the menu, or in the menu alone.
    counts = [text.count(f'href="/page/{name}"') for name in ("start", "other", "paths")]
    assert counts == [2, 1, 1]
    # Shared with others, it takes no place, and nothing leads to where code can be run.
    assert "kernelId" not in text
    assert "/notebook/" not in text
    assert visitor.ask("/notebook/start")[0] == 404
    # Whatever a page tries, the browser loads nothing from elsewhere.
    assert headers["content-security-policy"].startswith("default-src 'self';")
    assert "frame-ancestors 'none'" in headers["content-security-policy"]
    assert (headers["referrer-policy"], headers["cache-control"]) == ("no-referrer", "no-store")


def test_at_home_the_front_door_is_there_before_its_scripts(
    folder: Path, tmp_path: Path
) -> None:
    caches = cache_folders(prepare_solver_cache())
    with running_app(folder, home=str(tmp_path), caches=caches) as running:
        first, second = (Visitor.let_in(running).ask("/")[2] for _ in range(2))
    # The sentence and the picture of a page that had run before anybody came.
    assert "Light the fire at" in first
    assert 'src="data:image/png' in first
    # It is one person's: somebody else gets another.
    assert "Light the fire at" not in second
    assert "kernelId" in second


# What is not served -------------------------------------------------------------------


@pytest.mark.parametrize(
    "path",
    [
        "/secret.txt",
        "/notebooks/start.ipynb",
        "/files/secret.txt",
        "/voila/files/secret.txt",
        "/page/../secret.txt",
        "/page/..%2fsecret.txt",
        "/page/way-out",
        "/look/../pages.py",
        "/look/..%2f..%2fpages.py",
        "/look/%2e%2e/pages.py",
        "/look/page.html",
        "/look//etc/passwd",
        "/drawing/scripts/../../lab/index.html.j2",
        "/drawing/scripts/..%2f..%2flab%2findex.html.j2",
        "/drawing/scripts/%2e%2e/%2e%2e/lab/index.html.j2",
        "/drawing/scripts//etc/passwd",
        "/drawing/scripts/%2fetc%2fpasswd",
        "/drawing/scripts/",
        "/drawing/extensions/@jupyter-widgets/jupyterlab-manager/package.json",
        "/drawing/extensions/@jupyter-widgets/jupyterlab-manager/static/../package.json",
        "/api/contents",
        "/api/kernels",
        "/api/sessions",
        "/api/terminals",
        "/api/kernelspecs",
        "/lab",
        "/tree",
        "/metrics",
    ],
)
def test_no_other_file_and_no_other_address(visitor: Visitor, path: str) -> None:
    status, _, text = visitor.ask(path)
    assert status in {403, 404}
    assert SECRET not in text
    assert "root:" not in text


@pytest.mark.parametrize("method", ["POST", "PUT", "PATCH", "DELETE"])
@pytest.mark.parametrize("path", ["/api/kernels", "/api/contents/x", "/page/start", "/"])
def test_nothing_can_be_sent(visitor: Visitor, method: str, path: str) -> None:
    assert visitor.ask(path, method)[0] in {403, 404, 405}


def test_a_served_file_is_served(visitor: Visitor) -> None:
    # Without this the tests above could pass on a server that serves nothing.
    status, headers, text = visitor.ask("/drawing/scripts/voila.js")
    assert (status, len(text) > 10_000) == (200, True)
    assert "javascript" in headers["content-type"]
    assert visitor.ask("/look/page.css")[0] == 200
    assert Visitor(visitor.server).ask("/look/page.css")[0] == 200


def test_a_page_shows_words_and_not_the_code(visitor: Visitor) -> None:
    text = visitor.ask("/page/start")[2]
    assert "The way in" in text
    assert '<a href="/page/other">the other</a>' in text
    assert "20 + 22" not in text


# The kernel behind a page -------------------------------------------------------------


def test_a_page_runs_and_a_reload_finds_it_as_it_was(visitor: Visitor) -> None:
    kernel = visitor.open_page("start")
    ((output,),) = visitor.results(kernel)
    assert output["text"].startswith("sum 42 ")
    assert visitor.open_page("start") == kernel
    # The same process number: nothing was computed again.
    assert visitor.results(kernel) == [[output]]


def test_a_cell_that_fails_says_so_and_the_next_one_runs(visitor: Visitor) -> None:
    first, second = visitor.results(visitor.open_page("other"))
    assert first == [
        {
            "output_type": "stream",
            "name": "stdout",
            "text": "This part could not be computed (ZeroDivisionError).",
        }
    ]
    assert second[0]["data"] == {"text/plain": "7"}


@pytest.mark.parametrize(
    "sent",
    [
        message("execute_request", code="open('/tmp/x', 'w')", silent=False),
        message("execute_request", "control", code="1", silent=True),
        message("input_reply", "stdin", value="1"),
        message("complete_request", code="os.", cursor_pos=3),
        message("inspect_request", code="os", cursor_pos=2),
        message("history_request", hist_access_type="tail", n=10),
        message("debug_request", "control", command="initialize"),
        message("shutdown_request", "control", restart=False),
        message("interrupt_request", "control"),
        message("comm_open", comm_id="1", target_name="jupyter.widget", data={}),
        message("comm_open", comm_id="1", target_name="anything", data={}),
        message("comm_msg", "iopub", comm_id="1", data={}),
        json.dumps({"channel": "shell", "header": {"msg_type": "comm_msg"}}),
        json.dumps(["execute_request"]),
        "not a message",
    ],
    # Numbers: a message's own name is drawn, and two processes must call a test the same.
    ids=itertools.count(),
)
def test_code_is_refused(opened: tuple[Visitor, str], sent: str) -> None:
    visitor, kernel = opened
    with visitor.connected(f"/api/kernels/{kernel}/channels?session_id=tests") as connection:
        connection.send(sent)
        code, words, before = until_closed(connection)
    assert code == 1008
    assert words.startswith(("a page", "a message"))
    assert [each for each in before if each["msg_type"] == "execute_reply"] == []


def test_code_is_refused_in_the_short_form_too(opened: tuple[Visitor, str]) -> None:
    visitor, kernel = opened
    with visitor.connected(
        f"/api/kernels/{kernel}/channels?session_id=tests",
        subprotocols=[SHORT_FORM],
    ) as connection:
        connection.send_binary(packed(message("execute_request", code="1")))
        kind, data = connection.recv_data()
        while kind != websocket.ABNF.OPCODE_CLOSE:
            kind, data = connection.recv_data()
    assert int.from_bytes(data[:2], "big") == 1008
    assert b"execute_request" in data


def _answers_to(visitor: Visitor, path: str) -> str:
    """Type a path into the page that reads paths, and return what it shows."""
    kernel = visitor.open_page("paths")
    ((printed,),) = visitor.results(kernel)
    entry, answer = printed["text"].split()
    data = {"method": "update", "state": {"value": path}, "buffer_paths": []}
    with visitor.connected(f"/api/kernels/{kernel}/channels?session_id=tests") as connection:
        connection.send(message("comm_msg", comm_id=entry, data=data))
        while True:
            got = json.loads(connection.recv())
            content = got["content"]
            if got["msg_type"] == "comm_msg" and content["comm_id"] == answer:
                value: str = content["data"]["state"]["value"]
                return value


def test_a_control_moves_and_a_path_in_it_opens_no_file_outside(
    visitor: Visitor, folder: Path
) -> None:
    demo = folder / "data" / "demo" / "supper.csv"
    assert _answers_to(visitor, str(demo)).startswith("minutes")
    for path in (folder / "secret.txt", folder / "notebooks" / "way-out" / "secret.txt"):
        assert path.read_text() == SECRET
        assert "The pages read only" in _answers_to(visitor, str(path))
    assert "The pages read only" in _answers_to(visitor, "/etc/passwd")


@pytest.mark.skipif(not can_copy(), reason="kernels are copied on Linux only")
def test_a_copied_kernel_is_fenced_in_and_tells_its_end(folder: Path) -> None:
    with running_app(folder, most=2, copies=True, abandoned_s=600.0) as copying:
        visitor = Visitor.let_in(copying)
        # Not even the folder that the server was started in, as a checkout would be.
        for path in (folder / "secret.txt", Path.cwd() / "pyproject.toml", "/etc/passwd"):
            assert Path(path).is_file()
            assert "The pages read only" in _answers_to(visitor, str(path))
        kernel = visitor.open_page("start")
        ((output,),) = visitor.results(kernel)
        states = visitor.states(kernel)
        assert next(states)["state"] == "ready"
        os.kill(int(output["text"].split()[-1]), signal.SIGKILL)
        assert next(states)["state"] == "ended"
        states.close()


def test_another_visitor_cannot_reach_this_ones_kernel(
    opened: tuple[Visitor, str], visitor: Visitor
) -> None:
    (visitor, kernel), stranger = opened, visitor
    assert stranger.ask(f"/api/kernels/{kernel}")[0] == 404
    assert stranger.ask(f"/state/{kernel}")[0] == 404
    for path in (f"/api/kernels/{kernel}/channels", f"/voila/execution/{kernel}"):
        with (
            pytest.raises(websocket.WebSocketBadStatusException, match="404"),
            stranger.connected(path),
        ):
            pass
    assert visitor.ask(f"/api/kernels/{kernel}")[0] == 200


def test_a_page_from_elsewhere_cannot_connect(opened: tuple[Visitor, str]) -> None:
    visitor, kernel = opened
    with (
        pytest.raises(websocket.WebSocketBadStatusException, match="403"),
        visitor.connected(f"/api/kernels/{kernel}/channels", origin="http://pages.example"),
    ):
        pass


# What is borne ------------------------------------------------------------------------


def test_a_message_that_claims_many_parts_closes_its_own_connection_only(
    opened: tuple[Visitor, str], visitor: Visitor
) -> None:
    offender, kernel = opened
    path = f"/api/kernels/{kernel}/channels?session_id=tests"
    with offender.connected(path, subprotocols=[SHORT_FORM]) as connection:
        connection.send_binary((2**40).to_bytes(8, "little") + bytes(16))
        kind, data = connection.recv_data()
        while kind != websocket.ABNF.OPCODE_CLOSE:
            kind, data = connection.recv_data()
    assert int.from_bytes(data[:2], "big") == 1008
    assert b"parts" in data
    assert visitor.ask("/", timeout=5)[0] == 200


def test_half_open_connections_keep_nobody_out(server: AppServer, visitor: Visitor) -> None:
    before = server.bytes_said()
    held = []
    try:
        for _ in range(3 * MOST_UNKNOWN):
            plain = socket.create_connection(("127.0.0.1", server.port), timeout=10)
            plain.sendall(b"GET / HTTP/1.1\r\nHost: ")
            held.append(plain)
        time.sleep(2 * GRACE_S)
        assert visitor.ask("/", timeout=10)[0] == 200
        assert Visitor(server).ask("/", timeout=10)[0] == 403
        process = psutil.Process(server.process.pid)
        here = [each for each in process.net_connections("tcp") if each.raddr]
        assert len(here) <= MOST_UNKNOWN + 40
    finally:
        for plain in held:
            plain.close()
    assert server.bytes_said() - before < 2000


def test_absurd_headers_and_bodies_end_their_own_connection(
    server: AppServer, visitor: Visitor
) -> None:
    starts = [
        b"Cookie: " + b"x" * 100_000,
        b"\r\n".join(b"X-%d: y" % number for number in range(10_000)),
        b"Content-Length: 100000000",
        b"Transfer-Encoding: chunked\r\n\r\n" + b"ffff\r\n" + b"x" * 70_000,
    ]
    for start in starts:
        with socket.create_connection(("127.0.0.1", server.port), timeout=20) as plain:
            with contextlib.suppress(ConnectionError):
                plain.sendall(b"POST / HTTP/1.1\r\nHost: localhost\r\n" + start + b"\r\n\r\n")
            answer = b""
            with contextlib.suppress(ConnectionError):
                while received := plain.recv(4096):
                    answer += received
        assert answer == b"" or answer.startswith(b"HTTP/1.1 4")
    assert visitor.ask("/", timeout=10)[0] == 200


def test_a_frame_is_not_unpacked_and_a_name_is_an_address(
    opened: tuple[Visitor, str],
) -> None:
    visitor, kernel = opened
    path = f"/api/kernels/{kernel}/channels?session_id="
    compressing = ["Sec-WebSocket-Extensions: permessage-deflate"]
    with visitor.connected(path + "tests", header=compressing) as connection:
        assert "sec-websocket-extensions" not in connection.headers
    for name in ("x" * 300, "..%2f..%2f", "a%00b"):
        with (
            pytest.raises(websocket.WebSocketBadStatusException, match="404"),
            visitor.connected(path + name),
        ):
            pass


def test_what_takes_too_much_memory_is_a_sentence(visitor: Visitor) -> None:
    first, second = visitor.results(visitor.open_page("hungry"))
    if sys.platform == "linux":
        assert first[0]["text"] == "This part could not be computed (MemoryError)."
    assert second[0]["data"] == {"text/plain": "7"}


def test_a_page_knows_no_secrets_of_the_environment_and_does_not_fill_the_terminal(
    server: AppServer, visitor: Visitor
) -> None:
    before = server.bytes_said()
    (outputs,) = visitor.results(visitor.open_page("loud"))
    text = "".join(each.get("text", "") for each in outputs)
    assert "'PATH'" in text
    assert "'LC_COOKS'" in text
    assert "True" in text
    assert "COOKS_PASSWORD" not in text
    assert server.bytes_said() - before < 2000
    assert "\x1b" not in server.said()


def test_one_answer_for_all_that_is_not_served(visitor: Visitor) -> None:
    def answer(path: str) -> tuple[int, str, list[str]]:
        status, headers, text = visitor.ask(path)
        told = [f"{name}: {value}" for name, value in headers.items() if name != "date"]
        return status, text, sorted(told)

    missing = answer("/drawing/scripts/nothing.js")
    assert missing[0] == 404
    for path in (
        "/drawing/scripts/../../lab/index.html.j2",
        "/drawing/scripts/%2e%2e/%2e%2e/lab/",
        "/drawing/scripts//etc/passwd",
        "/drawing/scripts//etc/nothing",
        "/drawing/scripts//root",
        "/drawing/scripts/a%00b",
        "/drawing/scripts/" + "x" * 5000,
        "/drawing/scripts/.",
        "/page/nothing",
        "/page/way-out",
        "/nowhere",
        "/secret.txt",
    ):
        assert answer(path) == missing, path


# How many ------------------------------------------------------------------------------


def test_the_third_gets_a_plain_page_until_a_place_is_free(
    small: AppServer,
) -> None:
    visitor, third = Visitor.let_in(small), Visitor.let_in(small)
    visitor.open_page("start")
    visitor.open_page("other")
    status, headers, text = third.ask("/page/start")
    assert status == 503
    assert int(headers["retry-after"]) > 0
    assert "All 2 places for pages with live controls are taken. Try again" in text
    # He still sees the page as it was saved, and nothing that would try to connect.
    assert "The way in" in text
    assert "<script" not in text
    # Who has a place keeps it.
    assert visitor.ask("/page/other")[0] == 200
    # Nobody reads the two pages: after a second their places are free.
    _wait_for_a_place(third)
    assert third.ask("/page/start")[0] == 200


def test_a_page_that_is_read_keeps_its_place(small: AppServer) -> None:
    visitor = Visitor.let_in(small)
    _wait_for_a_place(visitor)
    kernel = visitor.open_page("start")
    states = visitor.states(kernel)
    assert next(states)["state"] == "computing"
    visitor.results(kernel)
    time.sleep(2.5)  # well beyond the second after which an abandoned page ends
    assert visitor.open_page("start") == kernel
    states.close()


def test_a_killed_kernel_gives_a_word(visitor: Visitor) -> None:
    kernel = visitor.open_page("start")
    ((output,),) = visitor.results(kernel)
    process = int(output["text"].split()[-1])
    states = visitor.states(kernel)
    assert next(states)["state"] == "ready"
    os.kill(process, signal.SIGKILL)
    told = next(states)
    assert told["state"] == "ended"
    assert "stopped unexpectedly" in told["words"]
    states.close()
    # Loading the page again starts afresh.
    again = visitor.open_page("start")
    assert again != kernel
    assert visitor.results(again)[0][0]["text"].startswith("sum 42 ")
