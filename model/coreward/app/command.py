"""Open the app view: prepare what it needs, say where it is, serve until stopped."""

from __future__ import annotations

import asyncio
import contextlib
import gc
import os
import secrets
import signal
import socket
import sys
import webbrowser
from collections.abc import Callable, Coroutine
from pathlib import Path
from typing import Any, TextIO

import coreward
from coreward import launch, person
from coreward.app.lab import Lab
from coreward.errors import InputError, MissingFeatureError

_EVERYWHERE = "0.0.0.0"
SHARING_WARNING = (
    "Everybody on this network who has this address can use the pages, and what they do "
    "travels unencrypted: share it only on a network you trust, and stop with Ctrl+C when "
    "you are done."
)


def open_app(
    *,
    folder: Path | None = None,
    port: int | None = None,
    open_browser: bool = True,
    share: bool = False,
    places: int | None = None,
    lab_first: bool = False,
    out: TextIO | None = None,
    run: Callable[[Coroutine[Any, Any, None]], None] = asyncio.run,
) -> None:
    """Serve the notebooks as plain pages until stopped.

    Parameters
    ----------
    folder : Path, optional
        A folder with a copy of the notebooks; None means decide, as for the workbench.
    share : bool
        Whether others on the local network may come in; else this machine only.
    places : int, optional
        How many pages may have live controls at once; None means as many as fit.
    lab_first : bool
        Whether JupyterLab is opened, and the pages stay one click away.
    out : text stream, optional
        Where the sentences for the person go; None means standard output.
    run : callable, optional
        Runs the server; for tests.

    Raises
    ------
    CorewardError
        If there is no free port, no network to share on, or a package is missing.
    """
    stream = sys.stdout if out is None else out
    if places is not None and places < 1:
        raise InputError(f"There cannot be {places} places; give --places a number from 1 on.")
    try:
        from coreward.app import server
    except ImportError as error:
        raise MissingFeatureError(
            f"The app view needs the package {error.name}, which is not installed. "
            "Install Coreward again with its dependencies: pip install coreward."
        ) from error
    server.find_drawing()
    workbench = launch.prepare_workbench(folder)
    addresses = local_addresses() if share else ()
    if share and not addresses:
        raise InputError("No local network was found to share on; try without --share.")
    chosen = launch.choose_port(
        None if lab_first else port, _EVERYWHERE if share else launch.LOOPBACK
    )
    cache_folder = launch.prepare_solver_cache()
    os.environ["JUPYTER_PREFER_ENV_PATH"] = "1"
    token = secrets.token_urlsafe(24)

    # It can run any code, so it is never there for others.
    lab = None if share else _lab(workbench, port if lab_first else None)

    print(f"Coreward {coreward.__version__}", file=stream)
    print(f"Folder:  {workbench.folder}", file=stream)
    for message in workbench.messages:
        print(message, file=stream)
    if lab is not None and launch.runs_as_root():
        print(
            "You are root, which JupyterLab refuses by default; Coreward allows it for this "
            "session, so what you run in a notebook can change anything on this machine.",
            file=stream,
        )
    launch.warm_solver(cache_folder, out=stream)
    serving = server.Serving(
        folder=workbench.folder,
        port=chosen,
        token=token,
        version=coreward.__version__,
        host=_EVERYWHERE if share else launch.LOOPBACK,
        names=(*addresses, socket.gethostname()) if share else (),
        most=places,
        caches=cache_folders(cache_folder),
        home=None if share else person.folder(),
        lab=lab,
    )
    here = f"http://{launch.LOOPBACK}:{chosen}/?token={token}"

    async def announce(most: int) -> None:
        address = here
        if lab_first and lab is not None:
            await lab.start(chosen)
            address = lab.address("start", launch.LOOPBACK)
        print(f"Address: {address}", file=stream)
        for address in addresses:
            print(f"For others: http://{address}:{chosen}/?token={token}", file=stream)
        if share:
            print(SHARING_WARNING, file=stream)
        print(
            f"Up to {most} pages can be live at once. Press Ctrl+C here to stop.",
            file=stream, flush=True,
        )  # fmt: skip
        if open_browser:
            # A terminal browser would take the terminal; a missing one is no error.
            await asyncio.to_thread(webbrowser.open, address)

    with contextlib.suppress(KeyboardInterrupt):
        run(_until_asked_to_stop(server.serve(serving, announce)))
    # Whoever stops it waits for its end: looking through all that was imported for what could
    # be freed takes seconds, and the end of the program frees it anyway.
    gc.freeze()


def _lab(workbench: launch.Workbench, port: int | None) -> Lab:
    """Return JupyterLab as it would be started."""
    launch.use_lab_defaults()
    chosen, token = launch.choose_port(port), secrets.token_hex(24)
    arguments = launch.server_arguments(
        workbench, port=chosen, token=token, as_root=launch.runs_as_root()
    )
    return Lab(arguments, chosen, token)


async def _until_asked_to_stop(serving: Coroutine[Any, Any, None]) -> None:
    """Run until it ends, or a signal asks for the end, in good order."""
    task = asyncio.create_task(serving)
    with contextlib.suppress(NotImplementedError):  # Windows has Ctrl+C only
        asyncio.get_running_loop().add_signal_handler(signal.SIGTERM, task.cancel)
    with contextlib.suppress(asyncio.CancelledError):
        await task


def local_addresses() -> tuple[str, ...]:
    """Return this machine's addresses on local networks, the most likely one first."""
    import psutil

    found = [
        entry.address
        for name, entries in sorted(psutil.net_if_addrs().items())
        for entry in entries
        if entry.family == socket.AF_INET
        and not entry.address.startswith(("127.", "169.254."))
        and psutil.net_if_stats().get(name)
        and psutil.net_if_stats()[name].isup
    ]
    preferred = _outward_address()
    return tuple(sorted(dict.fromkeys(found), key=lambda address: address != preferred))


def _outward_address() -> str:
    """Return the address that the system would use to go out; nothing is sent."""
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as probe:
        try:
            # An address reserved for documentation (RFC 5737): a route is looked up, no more.
            probe.connect(("192.0.2.1", 9))
        except OSError:
            return ""
        address: str = probe.getsockname()[0]
        return address


def cache_folders(cache_folder: Path) -> tuple[Path, ...]:
    """Return where compiled code may be written: never beside the code itself."""
    if os.environ.get("NUMBA_CACHE_DIR"):
        return (cache_folder,)
    return tuple(sorted(cache_folder.rglob("__pycache__")))
