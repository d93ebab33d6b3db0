"""Kernels for pages: copies of the seed where that works, else started on their own."""

from __future__ import annotations

import asyncio
import contextlib
import json
import logging
import os
import signal
import sys
import uuid
from collections.abc import Mapping
from typing import Any, Final

from jupyter_client.provisioning.local_provisioner import LocalProvisioner
from jupyter_server.services.kernels.kernelmanager import (
    AsyncMappingKernelManager,
    ServerKernelManager,
)
from traitlets import Any as AnyTrait
from traitlets import Bool

from coreward.errors import CorewardError

_LOG: Final = logging.getLogger("coreward.app")
_GONE: Final = -int(signal.SIGTERM)
# What a kernel needs of the environment. Whatever else stands there, such as a password for
# another program, is not the business of a page.
_PASSED_ON: Final = frozenset(
    {"PATH", "HOME", "USER", "LOGNAME", "LANG", "LANGUAGE", "TZ", "TZDIR", "TMPDIR", "TEMP",
     "TMP", "PYTHONPATH", "PYTHONHOME", "PYTHONUTF8", "VIRTUAL_ENV", "LD_LIBRARY_PATH",
     "DYLD_LIBRARY_PATH", "MPLCONFIGDIR", "MPLBACKEND", "NUMBA_CACHE_DIR", "NUMBA_CPU_NAME",
     "NUMBA_NUM_THREADS", "XDG_CACHE_HOME", "XDG_CONFIG_HOME", "FONTCONFIG_PATH",
     "JUPYTER_PREFER_ENV_PATH", "SYSTEMROOT", "SYSTEMDRIVE", "WINDIR", "COMSPEC", "PATHEXT",
     "APPDATA", "LOCALAPPDATA", "USERPROFILE", "NUMBER_OF_PROCESSORS"}
)  # fmt: skip


def passed_on(environment: Mapping[str, str]) -> dict[str, str]:
    """Return what of an environment a page's kernel is given."""
    return {
        name: value
        for name, value in environment.items()
        if name.upper() in _PASSED_ON or name.startswith("LC_")
    }


class Said:
    """What kernels write to the terminal, taken line by line by the server's own log."""

    def __init__(self) -> None:
        self._reader, self.writer = os.pipe()
        os.set_blocking(self._reader, False)
        asyncio.get_running_loop().add_reader(self._reader, self._listen)

    def _listen(self) -> None:
        received = os.read(self._reader, 1 << 16)
        lines = received.decode("utf-8", "replace").split("\n")
        if words := next((line for line in reversed(lines) if line.strip()), ""):
            _LOG.error("The program behind a page: %s", words)

    def close(self) -> None:
        """Listen no longer."""
        asyncio.get_running_loop().remove_reader(self._reader)
        os.close(self._reader)
        os.close(self.writer)


class Copy:
    """A kernel copied from the seed, in the words of `subprocess.Popen`."""

    stdin = stdout = stderr = None

    def __init__(self, pid: int, ended: dict[int, int]) -> None:
        self.pid = pid
        self._ended = ended

    def poll(self) -> int | None:
        """Return the exit code, or None while it runs."""
        return self._ended.get(self.pid)

    def wait(self) -> int:
        """Return the exit code; it has ended when this is asked."""
        return self._ended.get(self.pid, _GONE)

    def send_signal(self, number: int) -> None:
        """Send a signal, if it still runs."""
        if self.poll() is None:
            os.kill(self.pid, number)

    def kill(self) -> None:
        """End it at once."""
        self.send_signal(signal.SIGKILL)

    def terminate(self) -> None:
        """Ask it to end."""
        self.send_signal(signal.SIGTERM)


class Seed:
    """The process that kernels are copied from, seen from the server.

    Parameters
    ----------
    stderr : int, optional
        Where it and its copies write what goes wrong; None means the terminal.
    """

    def __init__(self, stderr: int | None = None) -> None:
        self._stderr = stderr
        self._process: asyncio.subprocess.Process | None = None
        self._ended: dict[int, int] = {}
        self._asked: dict[str, asyncio.Future[int]] = {}
        self._ready: asyncio.Future[None] = asyncio.get_running_loop().create_future()
        self._listening: asyncio.Task[None] | None = None

    async def start(self) -> None:
        """Start it; copies are to be had once `ready` returns."""
        self._process = await asyncio.create_subprocess_exec(
            # -P: the folder that the server was started in is not a place of modules, and
            # the fence lets modules be read.
            sys.executable, "-P", "-m", "coreward.app.seed",
            stdin=asyncio.subprocess.PIPE, stdout=asyncio.subprocess.PIPE,
            stderr=self._stderr, env=passed_on(os.environ),
        )  # fmt: skip
        self._listening = asyncio.create_task(self._listen())

    async def ready(self) -> None:
        """Wait until everything is imported."""
        await asyncio.shield(self._ready)

    async def copy(self, arguments: list[str], folder: str, env: dict[str, str]) -> Copy:
        """Return a new kernel.

        Raises
        ------
        CorewardError
            If the seed has died.
        """
        await self.ready()
        assert self._process is not None
        assert self._process.stdin is not None
        name = uuid.uuid4().hex
        self._asked[name] = asyncio.get_running_loop().create_future()
        request = {"id": name, "arguments": arguments, "folder": folder, "environment": env}
        self._process.stdin.write(json.dumps(request).encode() + b"\n")
        return Copy(await self._asked[name], self._ended)

    async def stop(self) -> None:
        """End it, and with it all copies."""
        if self._process is None:
            return
        assert self._process.stdin is not None
        if not self._ready.done():
            # It is still importing and would not hear. There is no copy that it must end.
            with contextlib.suppress(ProcessLookupError):
                self._process.kill()
        self._process.stdin.close()
        try:
            await asyncio.wait_for(self._process.wait(), 5)
        except TimeoutError:
            self._process.kill()
            await self._process.wait()
        if self._listening is not None:
            await self._listening

    async def _listen(self) -> None:
        assert self._process is not None
        assert self._process.stdout is not None
        async for line in self._process.stdout:
            words: dict[str, Any] = json.loads(line)
            if "ready" in words:
                self._ready.set_result(None)
            elif "ended" in words:
                self._ended[words["ended"]] = words["code"]
            else:
                self._asked.pop(words["id"]).set_result(words["pid"])
        gone = CorewardError("The process that pages are started from has ended.")
        futures: list[asyncio.Future[Any]] = [self._ready, *self._asked.values()]
        for future in futures:
            if not future.done():
                future.set_exception(gone)
                # Nobody may be waiting, as when the server stops.
                with contextlib.suppress(CorewardError):
                    await future


class CopiedProvisioner(LocalProvisioner):
    """Launch by copying the seed; everything else as for a program of its own."""

    seed: Seed | None = None

    async def launch_kernel(self, cmd: list[str], **kwargs: Any) -> Any:
        """Launch the kernel that a command describes."""
        assert self.seed is not None
        # The command is "python -m ipykernel_launcher" and what the kernel itself reads.
        arguments = cmd[cmd.index("-m") + 2 :]
        folder = str(kwargs.get("cwd") or os.getcwd())
        copied: Any = await self.seed.copy(arguments, folder, dict(kwargs["env"]))
        self.process = copied
        self.pid = self.pgid = copied.pid
        self.cwd = folder
        return self.connection_info


class PageKernel(ServerKernelManager):
    """One kernel. It is not restarted when it dies: a fresh one would know nothing."""

    autorestart = Bool(False)

    def _transport_default(self) -> str:
        # Sockets in a folder of this user's own: no other user of the machine can listen.
        return "ipc" if sys.platform == "linux" else "tcp"

    async def _async_pre_start_kernel(self, **kwargs: Any) -> Any:
        seed = getattr(self.parent, "seed", None)
        if self.provisioner is None and seed is not None:
            self.kernel_id = self.kernel_id or kwargs.pop("kernel_id", str(uuid.uuid4()))
            self.provisioner = CopiedProvisioner(
                kernel_id=self.kernel_id, kernel_spec=self.kernel_spec, parent=self
            )
            self.provisioner.seed = seed
        return await super()._async_pre_start_kernel(**kwargs)


class PageKernels(AsyncMappingKernelManager):
    """All kernels behind pages."""

    seed = AnyTrait(None, allow_none=True)


def can_copy() -> bool:
    """Tell whether kernels may be copied from a seed on this system."""
    return sys.platform == "linux"
