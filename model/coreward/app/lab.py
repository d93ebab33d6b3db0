"""JupyterLab beside the plain pages: started when somebody first asks for a notebook.

It can run any code, so it is there only for the one person at this machine, with a token of
its own, and never where pages are shared. The pages lead to it, and its notebooks lead
back (`coreward.app.way_back`).

Runs as ``python -m coreward.app.lab`` in a process of its own, and ends with the pages:
its arguments come over its standard input, whose end is its own. So the token stands in no
list of processes.
"""

from __future__ import annotations

import asyncio
import contextlib
import json
import os
import signal
import sys
import threading
from collections.abc import Sequence
from typing import Final

from coreward.errors import CorewardError

PAGES_VARIABLE: Final = "COREWARD_PAGES"
"""Environment variable: the port of the plain pages that belong to a JupyterLab."""
# A cold start from a slow disk takes several seconds; a minute means it will not come.
_START_TIMEOUT_S: Final = 60.0


class Lab:
    """JupyterLab of one person, not yet started.

    Parameters
    ----------
    arguments : sequence of str
        Its own, with port and token among them.
    port : int
        Where it will answer, on this machine only.
    """

    def __init__(self, arguments: Sequence[str], port: int, token: str) -> None:
        self._arguments = list(arguments)
        self.port, self._token = port, token
        self._process: asyncio.subprocess.Process | None = None
        self._starting = asyncio.Lock()

    def address(self, notebook: str, host: str) -> str:
        """Return where a notebook opens."""
        return (
            f"http://{host}:{self.port}/lab/tree/notebooks/{notebook}.ipynb?token={self._token}"
        )

    async def start(self, pages_port: int) -> None:
        """Start it unless it runs, and wait until it answers.

        Raises
        ------
        CorewardError
            If it does not.
        """
        async with self._starting:
            if self._process is None or self._process.returncode is not None:
                self._process = await asyncio.create_subprocess_exec(
                    sys.executable, "-m", "coreward.app.lab",
                    stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.DEVNULL,
                    # What it and its kernels warn of says nothing to a cook.
                    stderr=asyncio.subprocess.DEVNULL,
                    env=os.environ | {PAGES_VARIABLE: str(pages_port)},
                )  # fmt: skip
                assert self._process.stdin is not None
                self._process.stdin.write(json.dumps(self._arguments).encode() + b"\n")
            try:
                await asyncio.wait_for(self._answer(), _START_TIMEOUT_S)
            except TimeoutError:
                raise CorewardError(
                    "JupyterLab does not answer; start Coreward again."
                ) from None

    async def _answer(self) -> None:
        assert self._process is not None
        while True:
            if self._process.returncode is not None:
                raise CorewardError("JupyterLab has ended; start Coreward again.")
            with contextlib.suppress(OSError):
                _, writer = await asyncio.open_connection("127.0.0.1", self.port)
                writer.close()
                return
            await asyncio.sleep(0.1)

    async def stop(self) -> None:
        """End it, if it runs."""
        if self._process is None or self._process.returncode is not None:
            return
        assert self._process.stdin is not None
        self._process.stdin.close()
        try:
            await asyncio.wait_for(self._process.wait(), 10)
        except TimeoutError:
            self._process.kill()
            await self._process.wait()


def _end_with_the_pages() -> None:
    sys.stdin.buffer.read()
    os.kill(os.getpid(), signal.SIGTERM)


def main() -> None:
    """Read the arguments from standard input, and serve until it ends."""
    from jupyterlab.labapp import LabApp

    arguments = json.loads(sys.stdin.buffer.readline())
    threading.Thread(target=_end_with_the_pages, daemon=True).start()
    LabApp.launch_instance(argv=arguments)


if __name__ == "__main__":
    main()
