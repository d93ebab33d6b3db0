"""The fence around a kernel, tried in a process of its own: it cannot be taken down."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

from coreward.app.command import cache_folders
from coreward.app.guard import Fence
from coreward.launch import prepare_solver_cache

ROOT = Path(__file__).parents[2]


@pytest.fixture
def places(tmp_path: Path) -> dict[str, Path]:
    made = {name: tmp_path / name for name in ("pages", "own", "outside", "pages-beside")}
    for folder in made.values():
        folder.mkdir()
        (folder / "file.txt").write_text(folder.name)
    (made["pages"] / "link").symlink_to(made["outside"])
    return made


def test_what_may_be_read_and_written(places: dict[str, Path]) -> None:
    fence = Fence([places["pages"]], [places["own"]])
    inside, own = places["pages"] / "file.txt", places["own"] / "file.txt"
    assert not fence.refuses(inside, to_write=False)
    assert fence.refuses(inside, to_write=True)
    assert not fence.refuses(own, to_write=False)
    assert not fence.refuses(own, to_write=True)
    assert not fence.refuses(str(places["pages"]).encode(), to_write=False)
    assert not fence.refuses(3, to_write=True)  # open already
    for path in (
        places["outside"] / "file.txt",
        places["pages"] / ".." / "outside" / "file.txt",
        places["pages"] / "link" / "file.txt",
        places["pages-beside"] / "file.txt",
        places["pages"].parent,
        "/etc/passwd",
        "/etc/no-such-file",
        "a\0b",
        b"/etc/\xff",
        "x" * 100_000,
    ):
        assert fence.refuses(path, to_write=False), path


TRIALS = {
    "open(pages / 'file.txt').read()": "pages",
    "open(own / 'new.txt', 'w').write('x')": "1",
    "open(outside / 'file.txt').read()": "refused",
    "open(outside / 'file.txt', 'rb').read()": "refused",
    "(pages / 'link' / 'file.txt').read_text()": "refused",
    "open(pages / 'file.txt', 'r+')": "refused",
    "open(pages / 'new.txt', 'x')": "refused",
    "os.open(pages / 'file.txt', os.O_WRONLY)": "refused",
    "os.open(outside / 'file.txt', os.O_RDONLY)": "refused",
    "os.listdir(outside)": "refused",
    "list(os.scandir(outside))": "refused",
    "os.remove(pages / 'file.txt')": "refused",
    "os.rename(own / 'file.txt', outside / 'moved.txt')": "refused",
    "os.symlink(outside, own / 'way-out')": "refused",
    "os.mkdir(outside / 'new')": "refused",
    "shutil.rmtree(outside)": "refused",
    "subprocess.run(['true'])": "refused",
    "os.system('true')": "refused",
    "len(numpy.loadtxt(outside / 'file.txt'))": "refused",
    "open(sys.prefix + '/pyvenv.cfg').read()": "refused",
    "open(coreward.__file__).read()": "refused",
    "Path(coreward.__file__).read_text()": "refused",
    "os.listdir(os.path.dirname(coreward.__file__))": "refused",
    "open(numpy.__file__, 'rb').read()": "refused",
    "len(numpy.loadtxt(numpy.__file__))": "refused",
    "open('/usr/share/no-such-file')": "refused",
    "open(os.path.dirname(os.__file__) + '/no-such-file')": "refused",
    "open('/proc/self/environ').read()": "refused",
    "coreward.read_log(coreward.__file__)": "LogReadError",
    "open('a' + chr(0))": "ValueError",
    "__import__('zoneinfo').ZoneInfo('Europe/Berlin').key": "Europe/Berlin",
    "__import__('dateutil.tz').tz.gettz('Europe/London') is None": "False",
    "bytearray(8 * 2**30)": "MemoryError",
    "open(own / 'great', 'wb').write(bytes(10**8))": "OSError",
    "__import__('colorsys').__name__": "colorsys",
    "float(coreward.simulate(piece, stage).core_c[0])": "4.0",
    "report_bytes(coreward.simulate(piece, stage), 'pdf')[:4]": "b'%PDF'",
    "report_bytes(coreward.simulate(piece, stage), 'html')[:2]": "b'<!'",
}


def test_the_fence_holds_in_a_process(places: dict[str, Path]) -> None:
    caches = [str(folder) for folder in cache_folders(prepare_solver_cache())]
    program = [
        "import os, shutil, subprocess, sys, numpy, coreward",
        "from pathlib import Path",
        "from coreward.app import guard",
        "from coreward.reports.write import report_bytes",
        *(f"{name} = Path({str(places[name])!r})" for name in ("pages", "own", "outside")),
        f"guard.close([str(pages)], [str(own), *{caches!r}])",
        # The compiled solver is loaded, and drawn from its cache, behind the fence.
        "piece = coreward.Piece(coreward.Slab(0.05), coreward.meat('beef brisket flat'), 4.0)",
        "stage = coreward.Stage(coreward.Surroundings(110), duration_s=600.0)",
        f"for trial in {list(TRIALS)!r}:",
        "    try:",
        "        print(eval(trial))",
        "    except PermissionError as error:",
        "        print('refused', str(outside) in str(error))",
        "    except Exception as error:",
        "        print(type(error).__name__)",
    ]
    run = subprocess.run(
        [sys.executable, "-c", "\n".join(program)],
        capture_output=True,
        text=True,
        check=False,
        timeout=120,
        cwd=ROOT / "model",
    )
    found = dict(zip(TRIALS, run.stdout.splitlines(), strict=False))
    # A refusal names no path: it must not tell which files there are.
    wanted = {
        trial: "refused False" if answer == "refused" else answer
        for trial, answer in TRIALS.items()
    }
    assert found == wanted, run.stderr
    assert (places["outside"] / "file.txt").read_text() == "outside"
