"""Opening the app view: what is said, where it listens, what is refused in words."""

from __future__ import annotations

import io
import re
import socket
from pathlib import Path
from typing import Any

import pytest

from coreward import launch
from coreward.app import command, server
from coreward.app.lab import Lab
from coreward.app.sessions import MOST_SESSIONS, sessions_that_fit
from coreward.cli import build_parser
from coreward.errors import InputError, MissingFeatureError
from coreward.widgets import settings

ROOT = Path(__file__).parents[2]


@pytest.fixture
def served(monkeypatch: pytest.MonkeyPatch) -> list[server.Serving]:
    """Keep the server from starting; return how it would have been."""
    asked: list[server.Serving] = []

    async def serve(serving: server.Serving, ready: Any) -> None:
        asked.append(serving)
        await ready(7)

    monkeypatch.setattr(server, "serve", serve)
    monkeypatch.setattr(launch, "warm_solver", lambda cache_folder, out: None)
    monkeypatch.setenv("JUPYTER_PREFER_ENV_PATH", "0")
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "")
    monkeypatch.setenv("NUMBA_CACHE_DIR", "")
    return asked


def _open(**given: Any) -> str:
    out = io.StringIO()
    command.open_app(out=out, open_browser=False, **given)
    return out.getvalue()


def test_this_machine_only_unless_told_otherwise(served: list[server.Serving]) -> None:
    said = _open()
    (serving,) = served
    assert (serving.host, serving.names) == ("127.0.0.1", ())
    assert serving.folder == ROOT
    assert f"http://127.0.0.1:{serving.port}/?token={serving.token}" in said
    assert "Up to 7 pages" in said
    assert command.SHARING_WARNING not in said
    assert len(serving.token) >= 32
    assert serving.home == settings.folder()
    assert serving.lab is not None
    notebook = serving.lab.address("start", "127.0.0.1")
    assert re.fullmatch(
        r"http://127\.0\.0\.1:\d+/lab/tree/notebooks/start\.ipynb\?token=[0-9a-f]{48}", notebook
    )
    assert serving.token not in notebook


@pytest.mark.parametrize("as_root", [True, False])
def test_root_is_told_once_what_notebooks_can_do(
    served: list[server.Serving], as_root: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(launch, "runs_as_root", lambda: as_root)
    assert _open().count("You are root") == int(as_root)


def test_jupyterlab_first_takes_the_port_that_was_asked_for(
    served: list[server.Serving], monkeypatch: pytest.MonkeyPatch
) -> None:
    begun: list[int] = []

    async def start(lab: Lab, pages_port: int) -> None:
        begun.append(pages_port)

    monkeypatch.setattr(Lab, "start", start)
    port = launch.choose_port()
    said = _open(lab_first=True, port=port)
    (serving,) = served
    assert begun == [serving.port] != [port]
    assert f"Address: http://127.0.0.1:{port}/lab/tree/notebooks/start.ipynb?token=" in said


def test_every_start_has_its_own_token(served: list[server.Serving]) -> None:
    _open()
    _open()
    assert served[0].token != served[1].token


def test_sharing_prints_the_address_for_others_and_a_warning(
    served: list[server.Serving], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "local_addresses", lambda: ("192.0.2.7",))
    said = _open(share=True, places=3)
    (serving,) = served
    assert (serving.host, serving.most) == ("0.0.0.0", 3)
    assert "192.0.2.7" in serving.names
    assert f"http://192.0.2.7:{serving.port}/?token={serving.token}" in said
    assert command.SHARING_WARNING in said
    # JupyterLab can run any code, and what one person set is not another's.
    assert (serving.lab, serving.home) == (None, None)


def test_jupyterlab_cannot_be_served_to_others(tmp_path: Path) -> None:
    asked: dict[str, Any] = {"folder": tmp_path, "port": 1, "token": "x", "version": "1"}
    lab = Lab((), 2, "y")
    for wrong in ({}, {"home": tmp_path, "names": ("192.0.2.7",)}):
        with pytest.raises(ValueError, match="one person"):
            server.Serving(**asked, lab=lab, **wrong)
    assert server.Serving(**asked, lab=lab, home=tmp_path).lab is lab


def test_without_a_network_there_is_nothing_to_share_on(
    served: list[server.Serving], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(command, "local_addresses", lambda: ())
    with pytest.raises(InputError, match="without --share"):
        _open(share=True)
    assert served == []


@pytest.mark.parametrize("places", [0, -1])
def test_no_places_is_refused(served: list[server.Serving], places: int) -> None:
    with pytest.raises(InputError, match="--places"):
        _open(places=places)


def test_a_taken_port_is_refused(served: list[server.Serving]) -> None:
    with socket.socket() as holder:
        holder.bind(("127.0.0.1", 0))
        holder.listen()
        with pytest.raises(InputError, match="--port"):
            _open(port=holder.getsockname()[1])


def test_without_the_drawing_part_it_says_what_to_install(
    served: list[server.Serving], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(server, "jupyter_path", lambda: ["nowhere"])
    with pytest.raises(MissingFeatureError, match="voila"):
        _open()


def test_addresses_are_of_local_networks() -> None:
    for address in command.local_addresses():
        assert re.fullmatch(r"\d+(\.\d+){3}", address)
        assert not address.startswith("127.")


def test_how_many_fit() -> None:
    gigabyte = 2**30
    assert sessions_that_fit(100 * gigabyte) == MOST_SESSIONS
    assert sessions_that_fit(2 * gigabyte, 120 * 2**20) == 12
    # One is always tried: the machine of whoever started it is his own.
    assert sessions_that_fit(0) == 1


def test_the_options_are_those_of_the_workbench() -> None:
    parse = build_parser().parse_args
    for way in ("app", "lab"):
        assert vars(parse(["--port", "9", way])) == vars(parse([way, "--port", "9"]))
    options = parse(["app", "--share", "--places", "4", "--no-browser", "--folder", "x"])
    assert (options.share, options.places, options.no_browser) == (True, 4, True)
    assert options.folder == Path("x")
    assert not parse(["app"]).share
