"""A process that has everything imported and, asked to, copies itself into a kernel.

Importing the package and loading the compiled solver takes seconds and over a hundred
megabytes. Thirty pages would each pay both. A copy made by `fork` pays neither: it
starts in a fraction of a second and shares the memory until it writes to it. Only Linux
is trusted with this; elsewhere each kernel starts on its own.

Runs as ``python -m coreward.app.seed``. A line of JSON asks for a kernel, lines of JSON
answer; when the asking side closes, all kernels end.
"""

from __future__ import annotations

import contextlib
import gc
import importlib
import json
import os
import pkgutil
import select
import signal
import sys
from typing import Any

import coreward


def import_everything() -> None:
    """Import what pages use, load the compiled solver and draw one picture."""
    for part in ("drawing", "questions", "widgets", "pages"):
        package = f"coreward.{part}"
        folder = importlib.import_module(package).__path__
        for module in pkgutil.walk_packages(folder, package + "."):
            importlib.import_module(module.name)
    for name in coreward.__all__:
        getattr(coreward, name)
    # Loaded when humid air is first asked for, which takes seconds.
    importlib.import_module("CoolProp.HumidAirProp")
    import ipywidgets

    from coreward.questions.stall.panel import stall_panel

    stall_panel()
    # Otherwise every page would ask for the state of a panel that it does not show.
    ipywidgets.Widget.close_all()


def serve() -> None:
    """Answer requests until the asking side closes."""
    reader, writer = os.pipe()
    os.set_blocking(writer, False)
    signal.set_wakeup_fd(writer, warn_on_full_buffer=False)
    signal.signal(signal.SIGCHLD, lambda *_: None)
    running: set[int] = set()
    _say(ready=True)
    asked = sys.stdin.fileno()
    waiting = b""
    while True:
        ready, _, _ = select.select([asked, reader], [], [])
        if reader in ready:
            os.read(reader, 4096)
            _report_ended(running)
        if asked in ready:
            received = os.read(asked, 1 << 20)
            if not received:
                break
            *lines, waiting = (waiting + received).split(b"\n")
            for line in lines:
                request = json.loads(line)
                process = os.fork()
                if process == 0:
                    _become_kernel(request)
                running.add(process)
                _say(id=request["id"], pid=process)
    for process in running:
        with contextlib.suppress(ProcessLookupError):
            os.kill(process, signal.SIGTERM)


def _say(**words: Any) -> None:
    sys.stdout.write(json.dumps(words) + "\n")
    sys.stdout.flush()


def _report_ended(running: set[int]) -> None:
    while running:
        try:
            process, status = os.waitpid(-1, os.WNOHANG)
        except ChildProcessError:
            return
        if process == 0:
            return
        running.discard(process)
        _say(ended=process, code=os.waitstatus_to_exitcode(status))


def _become_kernel(request: dict[str, Any]) -> None:
    """Turn this copy into a kernel; never returns."""
    code = 1
    try:
        signal.set_wakeup_fd(-1)
        signal.signal(signal.SIGCHLD, signal.SIG_DFL)
        os.setsid()
        # Neither requests nor answers are this process's business any more.
        nothing = os.open(os.devnull, os.O_RDONLY)
        os.dup2(nothing, 0)
        os.dup2(2, 1)
        os.environ.clear()
        os.environ.update(request["environment"])
        os.chdir(request["folder"])
        from ipykernel.kernelapp import IPKernelApp

        # By its parent a kernel knows that it is one among others; it ends with it.
        parent = f"--IPKernelApp.parent_handle={os.getppid()}"
        IPKernelApp.launch_instance([*request["arguments"], parent])
        code = 0
    except SystemExit as leaving:
        code = leaving.code if isinstance(leaving.code, int) else 0
    finally:
        sys.stderr.flush()
        os._exit(code)


if __name__ == "__main__":
    import_everything()
    # What is here now stays: the collector would only touch it, and so unshare it.
    gc.collect()
    gc.freeze()
    serve()
    # Nothing is left to tidy up, and a library's thread must not keep this alive.
    sys.stdout.flush()
    os._exit(0)
