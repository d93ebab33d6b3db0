"""Start the app view on a folder, as a program of its own, and talk to it without a browser."""

from __future__ import annotations

import http.client
import itertools
import json
import os
import secrets
import socket
import subprocess
import sys
import tempfile
import threading
import time
import uuid
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path
from typing import IO, Any

import nbformat
import websocket

from support.workbench import LOOPBACK, free_port

START_TIMEOUT_S = 120.0
ANSWER_TIMEOUT_S = 120.0
_PROGRAM = """
import asyncio, json, signal, sys
from pathlib import Path
from coreward.app.server import Serving, serve

# Ignored where the tests were started in the background; it is how this program is ended.
signal.signal(signal.SIGINT, signal.default_int_handler)
given = json.loads(sys.argv[1])
given |= {name: Path(given[name]) for name in ("folder", "home") if given.get(name)}
given["caches"] = tuple(Path(each) for each in given["caches"])

async def ready(most):
    print("ready", most, flush=True)

try:
    asyncio.run(serve(Serving(**given), ready))
except KeyboardInterrupt:
    pass
"""


@dataclass
class AppServer:
    """A running app view."""

    port: int
    token: str
    process: subprocess.Popen[str]
    terminal: IO[str]

    def said(self) -> str:
        """Return what it has written to its terminal, beside that it is ready."""
        return os.pread(self.terminal.fileno(), 2**22, 0).decode("utf-8", "replace")

    def bytes_said(self) -> int:
        """Return how much that is."""
        return os.fstat(self.terminal.fileno()).st_size

    @property
    def address(self) -> str:
        """Where it answers."""
        return f"http://{LOOPBACK}:{self.port}"

    def page_address(self, name: str) -> str:
        """Return where a page opens for somebody new."""
        return f"{self.address}/page/{name}?token={self.token}"


@dataclass
class Visitor:
    """Somebody with a cookie (or not yet), asking for addresses."""

    server: AppServer
    cookie: str = ""
    headers: dict[str, str] = field(default_factory=dict)

    @classmethod
    def let_in(cls, server: AppServer) -> Visitor:
        """Return a visitor who has shown the token."""
        visitor = cls(server)
        status, headers, _ = visitor.ask(f"/?token={server.token}")
        assert status == 302
        visitor.cookie = headers["set-cookie"].split(";")[0]
        return visitor

    def ask(
        self,
        path: str,
        method: str = "GET",
        *,
        timeout: float = ANSWER_TIMEOUT_S,
        **headers: str,
    ) -> tuple[int, Any, str]:
        """Return status, headers and text of an answer; the path is sent as it is."""
        connection = http.client.HTTPConnection(LOOPBACK, self.server.port, timeout=timeout)
        sent = {"Cookie": self.cookie} | self.headers | headers
        try:
            connection.request(method, path, headers={k: v for k, v in sent.items() if v})
            answer = connection.getresponse()
            found = {name.lower(): value for name, value in answer.getheaders()}
            return answer.status, found, answer.read().decode("utf-8", "replace")
        finally:
            connection.close()

    def open_page(self, name: str) -> str:
        """Open a page and return the name of its kernel."""
        status, _, text = self.ask(f"/page/{name}")
        assert status == 200, text
        settings = text.split('type="application/json">')[1].split("</script>")[0]
        kernel: str = json.loads(settings)["kernelId"]
        return kernel

    @contextmanager
    def connected(self, path: str, **options: Any) -> Iterator[websocket.WebSocket]:
        """Hold a connection that is not HTTP."""
        # An own socket: the library leaves its one open where it is refused.
        with socket.create_connection((LOOPBACK, self.server.port)) as plain:
            plain.settimeout(ANSWER_TIMEOUT_S)
            connection = websocket.create_connection(
                f"ws://{LOOPBACK}:{self.server.port}{path}",
                cookie=self.cookie,
                socket=plain,
                timeout=ANSWER_TIMEOUT_S,
                **options,
            )
            yield connection
            connection.close()

    def results(self, kernel: str) -> list[list[dict[str, Any]]]:
        """Let the page run and return the outputs of its cells."""
        outputs: list[list[dict[str, Any]]] = []
        with self.connected(f"/voila/execution/{kernel}") as connection:
            connection.send(json.dumps({"action": "execute", "payload": {"kernel_id": kernel}}))
            while True:
                payload = json.loads(connection.recv())["payload"]
                outputs.append(payload["output_cell"]["outputs"])
                if payload["cell_index"] + 1 == payload["total_cell"]:
                    return outputs

    def states(self, kernel: str) -> Iterator[dict[str, str]]:
        """Yield the states that the page is told, one after another."""
        connection = http.client.HTTPConnection(
            LOOPBACK, self.server.port, timeout=ANSWER_TIMEOUT_S
        )
        connection.request("GET", f"/state/{kernel}", headers={"Cookie": self.cookie})
        try:
            for line in connection.getresponse():
                if line.startswith(b"data: "):
                    yield json.loads(line[6:])
        finally:
            connection.close()


def message(kind: str, channel: str = "shell", **content: Any) -> str:
    """Return a message to a kernel, as a page could write it."""
    header = {
        "msg_id": uuid.uuid4().hex, "msg_type": kind, "session": "tests", "username": "",
        "version": "5.3", "date": "2000-01-01T00:00:00Z",
    }  # fmt: skip
    return json.dumps(
        {"channel": channel, "header": header, "parent_header": {}, "metadata": {},
         "content": content, "buffers": []}
    )  # fmt: skip


def packed(whole: str, buffers: Sequence[bytes] = ()) -> bytes:
    """Return a message in the short binary form that a browser uses."""
    words = json.loads(whole)
    names = ("header", "parent_header", "metadata", "content")
    parts = [words["channel"].encode(), *(json.dumps(words[name]).encode() for name in names)]
    parts += buffers
    offsets = [8 * (len(parts) + 2)]
    for part in parts:
        offsets.append(offsets[-1] + len(part))
    numbers = (len(offsets), *offsets)
    return b"".join(number.to_bytes(8, "little") for number in numbers) + b"".join(parts)


def unpacked(data: bytes) -> dict[str, Any]:
    """Return kind, content and buffers of a message in the short binary form."""
    count = int.from_bytes(data[:8], "little")
    at = [int.from_bytes(data[8 * i : 8 * i + 8], "little") for i in range(1, count + 1)]
    parts = [data[begin:end] for begin, end in itertools.pairwise(at)]
    return {
        "msg_type": json.loads(parts[1])["msg_type"],
        "content": json.loads(parts[4]),
        "buffers": parts[5:],
    }


def until_closed(connection: websocket.WebSocket) -> tuple[int, str, list[dict[str, Any]]]:
    """Read until the other side closes; return its code, its words and what came before."""
    before: list[dict[str, Any]] = []
    deadline = time.monotonic() + ANSWER_TIMEOUT_S
    while time.monotonic() < deadline:
        kind, data = connection.recv_data()
        if kind == websocket.ABNF.OPCODE_CLOSE:
            return int.from_bytes(data[:2], "big"), data[2:].decode(), before
        before.append(json.loads(data))
    raise AssertionError("the connection stayed open")


def write_page(folder: Path, name: str, *cells: tuple[str, str]) -> None:
    """Write a notebook from pairs of kind ("words" or "code") and text."""
    made = [
        (nbformat.v4.new_markdown_cell if kind == "words" else nbformat.v4.new_code_cell)(text)
        for kind, text in cells
    ]
    (folder / "notebooks").mkdir(parents=True, exist_ok=True)
    nbformat.write(nbformat.v4.new_notebook(cells=made), folder / "notebooks" / f"{name}.ipynb")


@contextmanager
def running_app(
    folder: Path,
    *,
    caches: Sequence[Path] = (),
    most_files: int | None = None,
    extra: dict[str, str] | None = None,
    **given: Any,
) -> Iterator[AppServer]:
    """Start the app view on a folder.

    Parameters
    ----------
    folder : Path
        Holds ``notebooks`` and ``data``.
    caches : sequence of Path
        What kernels may write beside their own folders.
    most_files : int, optional
        How many files the server may have open, as on a machine that allows few.
    extra : dict, optional
        Further environment variables.
    given : any
        Further fields of `coreward.app.server.Serving`.
    """
    port, token = free_port(), secrets.token_hex(16)
    serving = {
        "folder": str(folder), "port": port, "token": token, "version": "tests",
        "caches": [str(each) for each in caches],
    } | given  # fmt: skip
    environment = os.environ | {"JUPYTER_PREFER_ENV_PATH": "1"} | (extra or {})
    program = _PROGRAM
    if most_files is not None:
        limit = f"resource.setrlimit(resource.RLIMIT_NOFILE, ({most_files}, {most_files}))"
        program = f"import resource\n{limit}\n{program}"
    with tempfile.TemporaryFile("w+") as log:
        process = subprocess.Popen(
            [sys.executable, "-c", program, json.dumps(serving)],
            stdout=subprocess.PIPE, stderr=log, text=True, env=environment,
        )  # fmt: skip
        # A server that never answers is ended, so that reading its answer ends too.
        timer = threading.Timer(START_TIMEOUT_S, process.kill)
        timer.start()
        try:
            assert process.stdout is not None
            said = process.stdout.readline()
            timer.cancel()
            if not said.startswith("ready"):
                log.seek(0)
                raise AssertionError("the app view did not start:\n" + log.read()[-3000:])
            yield AppServer(port, token, process, log)
        finally:
            timer.cancel()
            process.send_signal(2)  # as Ctrl+C does
            try:
                process.wait(20)
            except subprocess.TimeoutExpired:
                process.kill()
                process.wait()
            if process.stdout is not None:
                process.stdout.close()
