"""Finding the notebooks, copying them without losing work, ports, caches, arguments."""

from __future__ import annotations

import importlib
import io
import json
import os
import socket
import sys
import tempfile
import threading
import time
import types
from collections.abc import Callable
from pathlib import Path

import pytest

from coreward import launch
from coreward.errors import InputError, MissingFeatureError

START = "notebooks/start.ipynb"
DEMO = "data/demo/supper.csv"


def _originals(folder: Path, start: str = "first edition") -> Path:
    """Lay out a workbench as it is delivered."""
    for name, text in {START: start, DEMO: "minutes,pit\n0,110\n"}.items():
        file = folder / name
        file.parent.mkdir(parents=True, exist_ok=True)
        file.write_text(text, encoding="utf-8")
    checkpoint = folder / "notebooks" / ".ipynb_checkpoints" / "start-checkpoint.ipynb"
    checkpoint.parent.mkdir(exist_ok=True)
    checkpoint.write_text("scratch", encoding="utf-8")
    return folder


@pytest.fixture
def source(tmp_path: Path) -> Path:
    return _originals(tmp_path / "delivered")


@pytest.fixture
def target(tmp_path: Path) -> Path:
    return tmp_path / "mine"


def _notebooks_in(folder: Path) -> list[str]:
    return sorted(file.name for file in (folder / "notebooks").iterdir())


def test_a_fresh_copy_holds_notebooks_and_demo_logs(source: Path, target: Path) -> None:
    messages = launch.update_copy(source, target)
    assert len(messages) == 1
    assert str(target) in messages[0]
    assert (target / START).read_text() == "first edition"
    assert (target / DEMO).is_file()
    assert _notebooks_in(target) == ["start.ipynb"]


def test_a_second_start_does_and_says_nothing(source: Path, target: Path) -> None:
    launch.update_copy(source, target)
    (target / START).write_text("my own work", encoding="utf-8")
    assert launch.update_copy(source, target) == []
    assert (target / START).read_text() == "my own work"
    assert _notebooks_in(target) == ["start.ipynb"]


def test_an_untouched_file_is_brought_up_to_date(source: Path, target: Path) -> None:
    launch.update_copy(source, target)
    _originals(source, "second edition")
    (message,) = launch.update_copy(source, target)
    assert START in message
    assert (target / START).read_text() == "second edition"
    assert _notebooks_in(target) == ["start.ipynb"]


def test_a_changed_file_is_kept_and_the_newer_original_put_beside(
    source: Path, target: Path
) -> None:
    launch.update_copy(source, target)
    (target / START).write_text("my own work", encoding="utf-8")
    _originals(source, "second edition")
    (message,) = launch.update_copy(source, target)
    beside = target / "notebooks" / "start (newer original).ipynb"
    assert (target / START).read_text() == "my own work"
    assert beside.read_text() == "second edition"
    assert "kept" in message
    assert beside.name in message
    # Told once, not at every start; and a removed neighbour stays removed.
    beside.unlink()
    assert launch.update_copy(source, target) == []
    assert not beside.exists()


def test_a_neighbour_that_the_person_worked_in_is_kept_too(source: Path, target: Path) -> None:
    launch.update_copy(source, target)
    (target / START).write_text("my own work", encoding="utf-8")
    _originals(source, "second edition")
    launch.update_copy(source, target)
    beside = target / "notebooks" / "start (newer original).ipynb"
    beside.write_text("worked here as well", encoding="utf-8")
    _originals(source, "third edition")
    launch.update_copy(source, target)
    assert beside.read_text() == "worked here as well"
    assert (target / START).read_text() == "my own work"
    second = target / "notebooks" / "start (newer original 2).ipynb"
    assert second.read_text() == "third edition"


@pytest.mark.parametrize("record", [None, "{broken", "[]"])
def test_without_a_usable_record_a_differing_file_counts_as_the_persons(
    source: Path, target: Path, record: str | None
) -> None:
    launch.update_copy(source, target)
    manifest = target / ".coreward-originals.json"
    manifest.unlink()
    if record is not None:
        manifest.write_text(record, encoding="utf-8")
    (target / START).write_text("who wrote this?", encoding="utf-8")
    launch.update_copy(source, target)
    assert (target / START).read_text() == "who wrote this?"
    assert "start (newer original).ipynb" in _notebooks_in(target)


def test_a_removed_file_comes_back(source: Path, target: Path) -> None:
    launch.update_copy(source, target)
    (target / START).unlink()
    (message,) = launch.update_copy(source, target)
    assert START in message
    assert (target / START).read_text() == "first edition"


def test_files_of_the_person_s_own_are_never_touched(source: Path, target: Path) -> None:
    launch.update_copy(source, target)
    own = target / "data" / "demo" / "my cook.csv"
    own.write_text("mine", encoding="utf-8")
    _originals(source, "second edition")
    launch.update_copy(source, target)
    assert own.read_text() == "mine"


# Which folder is opened ---------------------------------------------------------------


def test_a_checkout_that_can_be_written_to_is_opened_in_place(source: Path) -> None:
    originals = launch.Originals(source, is_checkout=True)
    assert launch.prepare_workbench(originals=originals) == launch.Workbench(source)


def test_a_read_only_checkout_is_copied_home(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(
        launch, "is_writable", lambda folder: not str(folder).startswith(str(source))
    )
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    workbench = launch.prepare_workbench(originals=launch.Originals(source, is_checkout=True))
    assert workbench.folder == (tmp_path / "coreward-notebooks").resolve()
    assert (workbench.folder / START).is_file()


def test_an_installed_package_is_copied_even_if_it_could_be_written_to(
    source: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    workbench = launch.prepare_workbench(originals=launch.Originals(source, is_checkout=False))
    assert workbench.folder == (tmp_path / "coreward-notebooks").resolve()


def test_a_chosen_folder_always_gets_the_copy(source: Path, target: Path) -> None:
    workbench = launch.prepare_workbench(
        target, originals=launch.Originals(source, is_checkout=True)
    )
    assert workbench.folder == target.resolve()
    assert workbench.messages


def test_choosing_the_originals_themselves_copies_nothing(
    source: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = launch.Originals(source, is_checkout=True)
    assert launch.prepare_workbench(source, originals=originals).folder == source.resolve()
    monkeypatch.setattr(launch, "is_writable", lambda folder: False)
    with pytest.raises(InputError, match="--folder"):
        launch.prepare_workbench(source, originals=originals)


def test_a_folder_that_is_a_file_is_refused_in_words(source: Path, tmp_path: Path) -> None:
    file = tmp_path / "taken"
    file.write_text("", encoding="utf-8")
    with pytest.raises(InputError, match=r"taken.*--folder"):
        launch.prepare_workbench(file, originals=launch.Originals(source, is_checkout=True))


def test_writable_is_found_out_by_writing(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert launch.is_writable(tmp_path)
    assert not launch.is_writable(tmp_path / "absent")
    assert list(tmp_path.iterdir()) == []

    def refuse(**_: object) -> None:
        raise OSError("read-only file system")

    # What root meets on a disk mounted read-only: the bits allow it, the disk does not.
    monkeypatch.setattr(launch.tempfile, "TemporaryFile", refuse)
    assert not launch.is_writable(tmp_path)


def test_permission_bits_are_heeded(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(os, "access", lambda *_: False)
    assert not launch.is_writable(tmp_path)


def test_originals_of_a_package_and_of_a_checkout(tmp_path: Path) -> None:
    package = tmp_path / "model" / "coreward"
    package.mkdir(parents=True)
    with pytest.raises(MissingFeatureError, match="notebooks"):
        launch.find_originals(package)
    (tmp_path / "notebooks").mkdir()
    (tmp_path / "pyproject.toml").write_text("", encoding="utf-8")
    assert launch.find_originals(package) == launch.Originals(tmp_path, is_checkout=True)
    (package / "_workbench" / "notebooks").mkdir(parents=True)
    assert launch.find_originals(package) == launch.Originals(
        package / "_workbench", is_checkout=False
    )


# Port and server ----------------------------------------------------------------------


def test_a_free_port_is_chosen() -> None:
    with socket.socket() as probe:
        probe.bind((launch.LOOPBACK, launch.choose_port()))


def test_a_taken_port_is_refused_in_words() -> None:
    with socket.socket() as taken:
        taken.bind((launch.LOOPBACK, 0))
        taken.listen()
        port = taken.getsockname()[1]
        with pytest.raises(InputError, match=f"{port}.*--port"):
            launch.choose_port(port)


@pytest.mark.parametrize("port", [0, -1, 65536, 10**9])
def test_a_port_that_does_not_exist_is_refused(port: int) -> None:
    with pytest.raises(InputError, match="between 1 and 65535"):
        launch.choose_port(port)


@pytest.mark.parametrize("as_root", [True, False])
def test_the_server_is_for_this_machine_and_wants_a_token(
    as_root: bool, tmp_path: Path
) -> None:
    arguments = launch.server_arguments(
        launch.Workbench(tmp_path),
        port=4242,
        token="secret",
        as_root=as_root,
    )
    assert "--ServerApp.ip=127.0.0.1" in arguments
    assert "--ServerApp.allow_remote_access=False" in arguments
    assert "--IdentityProvider.token=secret" in arguments
    assert "--ServerApp.open_browser=False" in arguments
    assert ("--ServerApp.allow_root=True" in arguments) is as_root


# The compiled solver ------------------------------------------------------------------


def test_the_cache_stays_beside_its_source_where_that_can_be_written(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    monkeypatch.setattr(launch, "is_writable", lambda folder: True)
    assert launch.prepare_solver_cache() == Path(launch.__file__).parent
    assert "NUMBA_CACHE_DIR" not in os.environ


def test_a_read_only_installation_compiles_into_the_persons_cache(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Set first, so that the change made by the code under test is undone afterwards.
    monkeypatch.setenv("NUMBA_CACHE_DIR", "")
    monkeypatch.setattr(launch, "user_cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(launch, "is_writable", lambda folder: folder.is_relative_to(tmp_path))
    chosen = launch.prepare_solver_cache()
    assert chosen == tmp_path / "cache" / "compiled"
    assert os.environ["NUMBA_CACHE_DIR"] == str(chosen)
    assert chosen.is_dir()


def test_without_any_home_a_temporary_cache_is_used(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", "")
    monkeypatch.setattr(launch, "user_cache_folder", lambda: tmp_path / "cache")
    monkeypatch.setattr(launch, "is_writable", lambda folder: False)
    monkeypatch.setattr(tempfile, "tempdir", str(tmp_path))
    at_the_end: list[Callable[[], None]] = []
    monkeypatch.setattr(launch.atexit, "register", at_the_end.append)
    folder = launch.prepare_solver_cache()
    assert folder.parent == tmp_path
    assert folder.name.startswith("coreward-compiled-")
    assert os.environ["NUMBA_CACHE_DIR"] == str(folder)
    # It is nobody's once the program has ended.
    at_the_end[0]()
    assert not folder.exists()


def test_a_cache_that_the_person_chose_is_left_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", "chosen")
    assert launch.prepare_solver_cache() == Path("chosen")


@pytest.mark.parametrize("platform", ["linux", "darwin", "win32"])
def test_every_system_has_a_cache_folder(
    platform: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(Path, "home", lambda: tmp_path)
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    monkeypatch.delenv("LOCALAPPDATA", raising=False)
    folder = launch.user_cache_folder()
    assert folder.is_relative_to(tmp_path)
    assert "coreward" in folder.parts


def test_warming_speaks_only_when_it_compiles(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    warmed: list[bool] = []
    engine = types.ModuleType("fast")
    engine.warm_up = lambda: warmed.append(True)  # type: ignore[attr-defined]
    monkeypatch.setattr(launch.importlib, "import_module", lambda name: engine)
    out = io.StringIO()
    launch.warm_solver(tmp_path, out=out)
    assert warmed == [True, True]
    assert "first time" in out.getvalue()
    assert "done" in out.getvalue()

    (tmp_path / "fast.solve-1.py311.nbi").write_bytes(b"")
    out = io.StringIO()
    launch.warm_solver(tmp_path, out=out)
    assert warmed == [True, True]
    assert out.getvalue() == ""


def test_warming_goes_on_speaking_while_it_takes_time(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    engine = types.ModuleType("fast")
    engine.warm_up = lambda: time.sleep(0.2)  # type: ignore[attr-defined]
    monkeypatch.setattr(launch.importlib, "import_module", lambda name: engine)
    out = io.StringIO()
    launch.warm_solver(tmp_path, out=out, tell_every_s=0.02)
    assert out.getvalue().count(" s ... ") > 2
    assert out.getvalue().endswith("s.\n")


def test_a_failure_to_warm_stops_the_telling(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fail() -> None:
        raise InputError("no compiler")

    engine = types.ModuleType("fast")
    engine.warm_up = fail  # type: ignore[attr-defined]
    monkeypatch.setattr(launch.importlib, "import_module", lambda name: engine)
    threads = threading.active_count()
    with pytest.raises(InputError, match="no compiler"):
        launch.warm_solver(tmp_path, out=io.StringIO())
    assert threading.active_count() == threads


@pytest.mark.parametrize("name", launch._COMPILED)
def test_what_is_compiled_can_be_warmed(name: str) -> None:
    # The name is all that joins the two: a renamed function would surface only when
    # somebody opens the workbench for the first time.
    assert callable(importlib.import_module(f"coreward.physics.{name}").warm_up)


def test_compiled_code_older_than_its_source_does_not_count(tmp_path: Path) -> None:
    compiled = tmp_path / "fast.solve-1.py311.nbi"
    compiled.write_bytes(b"")
    assert launch.solver_is_compiled(tmp_path)
    os.utime(compiled, (1.0, 1.0))
    assert not launch.solver_is_compiled(tmp_path)


# JupyterLab's question about news -----------------------------------------------------

NEWS = "@jupyterlab/apputils-extension:notification"


def _news(settings: Path) -> str:
    """Return what JupyterLab would do about news for a person with these settings."""
    from jupyterlab.commands import get_app_dir
    from jupyterlab_server.settings_utils import get_settings

    app = Path(get_app_dir())
    found, _ = get_settings(
        str(app / "settings"), str(app / "schemas"), str(settings), schema_name=NEWS
    )
    default = found["schema"]["properties"]["fetchNews"]["default"]
    chosen: str = found["settings"].get("fetchNews", default)
    return chosen


def test_the_news_are_not_asked_about_but_a_persons_choice_stands(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("JUPYTER_CONFIG_DIR", str(tmp_path / "config"))
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "")
    assert _news(tmp_path) == "none"  # that is, JupyterLab asks
    launch.use_lab_defaults()
    assert _news(tmp_path) == "false"
    mine = tmp_path / "@jupyterlab" / "apputils-extension"
    mine.mkdir(parents=True)
    (mine / "notification.jupyterlab-settings").write_text('{"fetchNews": "true"}')
    assert _news(tmp_path) == "true"


def test_jupyterlab_knows_the_parts_whose_defaults_we_change() -> None:
    """A name that JupyterLab no longer has would change nothing and say nothing."""
    from jupyterlab.commands import get_app_dir

    ours = launch.lab_defaults() / "labconfig"
    app = Path(get_app_dir())
    settings = json.loads((ours / "default_setting_overrides.json").read_text())
    assert len(settings) == 2
    for name, changed in settings.items():
        package, part = name.split(":")
        schema = json.loads((app / "schemas" / package / f"{part}.json").read_text())
        assert set(changed) <= set(schema["properties"]), name
    (disabled,) = json.loads((ours / "page_config.json").read_text())["disabledExtensions"]
    scripts = (app / "static").glob("jlab_core.*.js")
    assert any(f'"{disabled}"' in script.read_text("utf-8") for script in scripts)


def test_paths_that_the_person_set_stay_in_front(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("JUPYTER_CONFIG_PATH", "mine")
    for _ in range(2):
        launch.use_lab_defaults()
    first, own = os.environ["JUPYTER_CONFIG_PATH"].split(os.pathsep)
    assert first == "mine"
    assert (Path(own) / "labconfig" / "default_setting_overrides.json").is_file()


# The check ----------------------------------------------------------------------------


def test_the_check_names_a_package_that_is_too_old(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(
        launch, "_requirements", lambda: ["numpy>=999", "no-such-thing-here", 'x; extra == "t"']
    )
    too_old, absent = launch._check_packages()
    assert not too_old.is_fine
    assert ">=999" in too_old.finding
    assert not absent.is_fine
    assert "not installed" in absent.finding


def test_the_check_finds_this_project_s_requirements() -> None:
    names = {check.what for check in launch._check_packages()}
    assert {"numpy", "scipy", "numba", "jupyterlab"} <= names


def test_the_check_tells_missing_notebooks(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    originals = launch.Originals(tmp_path, is_checkout=True)
    monkeypatch.setattr(launch, "find_originals", lambda: originals)
    check = launch._check_notebooks(None)
    assert not check.is_fine
    assert START in check.finding
    _originals(tmp_path)
    assert launch._check_notebooks(None).is_fine
    monkeypatch.setattr(launch, "is_writable", lambda folder: False)
    assert "--folder" in launch._check_notebooks(tmp_path / "elsewhere").finding
