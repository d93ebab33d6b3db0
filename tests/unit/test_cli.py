"""The command: what it prints, how it ends, and that it stays quick and readable."""

from __future__ import annotations

import importlib
import json
import subprocess
import sys
import tomllib
import types
from collections.abc import Callable
from dataclasses import dataclass, field
from pathlib import Path

import pytest

from coreward import cli, launch
from coreward.app import command
from coreward.errors import InputError, LogError, TableError

pytestmark = pytest.mark.quick

ROOT = Path(__file__).parents[2]


@pytest.fixture(autouse=True)
def _environment(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path))


@dataclass(frozen=True)
class _Answer:
    exit_code: int = 0


@dataclass
class _Called:
    log: object = None
    units: object = None
    organism: object = None
    show_units: object = None
    others: dict[str, object] = field(default_factory=dict, compare=False)
    reading: dict[str, object] = field(default_factory=dict, compare=False)


@pytest.fixture
def answering(monkeypatch: pytest.MonkeyPatch) -> Callable[..., _Called]:
    """Put recorders in place of reading and answering, to see what the command asks."""

    def install(exit_code: int = 0, failure: Exception | None = None) -> _Called:
        called = _Called()

        def read_log(path: Path, *, units: str | None = None, **others: object) -> str:
            if failure is not None:
                raise failure
            called.log, called.units, called.reading = path, units, others
            return "log"

        def answer(log: str, *, organism: str | None = None, **others: object) -> _Answer:
            called.organism, called.others = organism, others
            return _Answer(exit_code)

        class Said:
            def text(self, units: str) -> str:
                called.show_units = units
                return f"answer in {units}"

            def data(self, units: str) -> dict[str, object]:
                called.show_units = units
                return {"units": units, "meat": "Rücken"}

        reading = types.ModuleType("coreward.logs.read")
        reading.read_log = read_log  # type: ignore[attr-defined]
        monkeypatch.setitem(sys.modules, "coreward.logs.read", reading)
        for place, given in (
            ("questions.review.answer", {"review": answer}),
            ("questions.verdict", {"verdict": answer}),
            ("reports.things", {"document_of": lambda answer: Said()}),
        ):
            module = types.ModuleType(f"coreward.{place}")
            vars(module).update(given)
            monkeypatch.setitem(sys.modules, f"coreward.{place}", module)
        return called

    return install


@pytest.mark.parametrize("command", ["review", "verdict"])
def test_a_log_is_read_and_answered(
    command: str, answering: Callable[..., _Called], capsys: pytest.CaptureFixture[str]
) -> None:
    called = answering()
    arguments = ["--units", "f", "--organism", "salmonella", "--show-units", "F"]
    assert cli.main([command, "a.csv", *arguments]) == 0
    assert called == _Called(Path("a.csv"), "F", "salmonella", "F")
    assert capsys.readouterr().out == "answer in F\n"


@pytest.mark.parametrize("command", ["review", "verdict"])
def test_json_is_json(
    command: str, answering: Callable[..., _Called], capsys: pytest.CaptureFixture[str]
) -> None:
    answering()
    assert cli.main([command, "a.csv", "--json"]) == 0
    assert json.loads(capsys.readouterr().out) == {"units": "C", "meat": "Rücken"}


@pytest.mark.parametrize("code", [0, 1, 2])
def test_a_verdict_is_the_exit_code(code: int, answering: Callable[..., _Called]) -> None:
    answering(exit_code=code)
    assert cli.main(["verdict", "a.csv"]) == code
    assert cli.main(["review", "a.csv"]) == 0


def test_a_verdict_is_told_the_meat(answering: Callable[..., _Called]) -> None:
    called = answering()
    cli.main(["verdict", "a.csv"])
    assert called.others == {"condition": "intact"}
    cli.main(["verdict", "a.csv", "--meat", "beef", "--meat", "pork", "--condition", "ground"])
    assert called.others == {"meat": ["beef", "pork"], "condition": "ground"}


@pytest.mark.parametrize("command", ["review", "verdict"])
def test_reading_is_told_what_the_file_does_not_say(
    command: str, answering: Callable[..., _Called]
) -> None:
    called = answering()
    cli.main([command, "a.csv"])
    assert called.reading == {}
    arguments = [
        "--column", "a=b=meat", "--column", "pit = air",
        "--start-date", "2026-10-03", "--accept-jumps",
    ]  # fmt: skip
    cli.main([command, "a.csv", *arguments])
    assert called.reading == {
        "columns": {"a=b": "meat", "pit": "air"},
        "start_date": "2026-10-03",
        "accept_jumps": True,
    }


@pytest.mark.parametrize(
    ("arguments", "told"),
    [
        (["--standard", "food code roast"], {"standards": ["food code roast"]}),
        (["--standard", "a", "--standard", "b"], {"standards": ["a", "b"]}),
        (["--cooling"], {"cooling": True}),
        (["--cooling", "food code cooling"], {"cooling": "food code cooling"}),
        (["--reheating"], {"reheating": True}),
        (["--reheating", "food code reheating"], {"reheating": "food code reheating"}),
        (["--probe-error", "1.5"], {"probe_error_c": 1.5}),
        (["--surface", "sealed bag"], {"surface": "sealed bag"}),
        (["--humid", "90"], {"humid_s": 5400.0}),
        (["--oven", "121C"], {"oven_c": 121.0}),
        (["--oven", "121"], {"oven_c": 121.0}),
        (["--oven", "212 °F"], {"oven_c": 100.0}),
        (["--oven-kind", "still"], {"oven": "still"}),
        (["--mass", "4.6"], {"mass_kg": 4.6}),
        (["--pieces", "each"], {"pieces": "each"}),
        (
            ["--pieces", "brisket=T1, T2;pork=T3"],
            {"pieces": {"brisket": ("T1", "T2"), "pork": ("T3",)}},
        ),
        (["--probe", "T3=in the air"], {"probes": {"T3": "in the air"}}),
        (["--new-piece", "5:20"], {"new_piece_s": [19200.0]}),
        (["--new-piece", "0:05:30", "--new-piece", "26:00"], {"new_piece_s": [330.0, 93600.0]}),
        (["--new-piece", "none"], {"new_piece_s": []}),
        (["--condition", "rolled"], {"condition": "rolled"}),
        (["--condition", "rolled, stuffed"], {"condition": ["rolled", "stuffed"]}),
        (
            ["--condition", "rolled", "--condition", "injected"],
            {"condition": ["rolled", "injected"]},
        ),
    ],
    ids=lambda value: " ".join(value) if isinstance(value, list) else "",
)
def test_a_verdict_is_told_each_option(
    arguments: list[str], told: dict[str, object], answering: Callable[..., _Called]
) -> None:
    called = answering()
    cli.main(["verdict", "a.csv", *arguments])
    assert called.others == {"condition": "intact"} | told


def test_a_verdict_is_told_where_the_probe_sat(
    answering: Callable[..., _Called], capsys: pytest.CaptureFixture[str]
) -> None:
    # Not by way of the recorder that stands in for its package.
    importlib.import_module("coreward.questions.verdict.coldest")
    called = answering()
    place = ["--thickness", "60", "--probe-depth", "20", "--depth-error", "5"]
    assert cli.main(["verdict", "a.csv", *place, "--shape", "slab"]) == 0
    assert called.others["probe_offset_m"] == pytest.approx(0.015)
    assert called.others["shape"] == "slab"
    assert cli.main(["verdict", "a.csv", *place]) == 3
    assert "--shape" in capsys.readouterr().err


@pytest.mark.parametrize("failure", [LogError, InputError, TableError])
def test_an_expected_error_is_one_sentence(
    failure: type[Exception],
    answering: Callable[..., _Called],
    capsys: pytest.CaptureFixture[str],
) -> None:
    answering(failure=failure("Row 7 of a.csv\nhas no time; give it one."))
    assert cli.main(["review", "a.csv"]) == 3
    captured = capsys.readouterr()
    assert captured.out == ""
    assert captured.err == "coreward: Row 7 of a.csv has no time; give it one.\n"


@pytest.mark.parametrize(
    "arguments",
    [
        ["review"],
        ["verdict", "a.csv", "--units", "K"],
        ["nonsense"],
        ["--port", "many"],
        ["verdict", "a.csv", "--mass", "heavy"],
        ["verdict", "a.csv", "--mass", "nan"],
        ["verdict", "a.csv", "--oven", "hot"],
        ["verdict", "a.csv", "--shape", "cube"],
        ["verdict", "a.csv", "--pieces", "two"],
        ["verdict", "a.csv", "--pieces", "a=T1;a=T2"],
        ["verdict", "a.csv", "--pieces", "a="],
        ["verdict", "a.csv", "--probe", "T3"],
        ["verdict", "a.csv", "--new-piece", "5"],
        ["verdict", "a.csv", "--new-piece", "5:75"],
        ["verdict", "a.csv", "--new-piece", "-1:10"],
        ["review", "a.csv", "--column", "probe 1"],
        ["review", "a.csv", "--column", "=meat"],
    ],
)
def test_wrong_usage_cannot_be_taken_for_a_verdict(
    arguments: list[str], capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        cli.main(arguments)
    assert ended.value.code == 64
    assert "usage:" in capsys.readouterr().err


def test_ctrl_c_is_not_a_traceback(
    monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def interrupt(**_: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr(command, "open_app", interrupt)
    assert cli.main([]) == 130
    assert capsys.readouterr().err == "Stopped.\n"


def test_without_a_subcommand_the_workbench_opens(monkeypatch: pytest.MonkeyPatch) -> None:
    opened: list[dict[str, object]] = []
    monkeypatch.setattr(command, "open_app", lambda **options: opened.append(options))
    assert cli.main([]) == 0
    assert cli.main(["--no-browser", "--port", "4242", "--folder", "here"]) == 0
    assert cli.main(["lab"]) == 0
    assert cli.main(["app", "--share", "--places", "3"]) == 0
    usual = {
        "folder": None, "port": None, "open_browser": True, "share": False, "places": None,
        "lab_first": False,
    }  # fmt: skip
    assert opened == [
        usual,
        usual | {"folder": Path("here"), "port": 4242, "open_browser": False},
        usual | {"lab_first": True},
        usual | {"share": True, "places": 3},
    ]


@pytest.mark.parametrize("is_fine", [True, False])
def test_the_check_ends_with_its_finding(
    is_fine: bool, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    found = (launch.Check("numba", "0.1", is_fine),)
    monkeypatch.setattr(launch, "check_environment", lambda folder: found)
    assert cli.main(["--check"]) == (0 if is_fine else 1)
    assert ("WRONG numba" in capsys.readouterr().out) is not is_fine


def test_the_version_is_told(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["--version"]) == 0
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert capsys.readouterr().out == f"coreward {project['version']}\n"


def test_tables_print_value_unit_and_source(capsys: pytest.CaptureFixture[str]) -> None:
    from coreward import tables

    assert cli.main(["tables", "cut"]) == 0
    printed = capsys.readouterr().out
    default = tables.load("cut")
    for parameter, record in default.records:
        assert f"{parameter} = {record.value:g} {record.unit}" in printed
        assert tables.source(record.source).citation() in printed


def test_an_unknown_table_is_one_sentence(capsys: pytest.CaptureFixture[str]) -> None:
    assert cli.main(["tables", "unicorns"]) == 3
    assert "unicorns" in capsys.readouterr().err


def test_a_missing_log_is_one_sentence(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert cli.main(["review", str(tmp_path / "absent.csv")]) == 3
    captured = capsys.readouterr()
    assert "absent.csv" in captured.err
    assert captured.err.count("\n") == 1


def _written(path: Path, hold_min: int) -> Path:
    """Write a straight rise to 64 °C within 90 minutes and a hold, a sample a minute."""
    readings = [4.0 + 60.0 * minute / 90.0 for minute in range(90)] + [64.0] * (hold_min + 1)
    lines = [f"{minute * 60},{reading:.2f}" for minute, reading in enumerate(readings)]
    path.write_text("\n".join(["elapsed (s),core meat (°C)", *lines]) + "\n", "utf-8")
    return path


# Without an air column the meat must be named.
_NAMED = ["--meat", "beef", "--column", "core meat (°C)=meat"]


@pytest.mark.parametrize(
    ("hold_min", "arguments", "code", "words"),
    [
        # 64 °C less 1 K of error reaches the row of 62.8 °C: 3 min and the consumer's rest.
        (30, ["--surface", "sealed bag"], 0, "Meets"),
        (0, ["--surface", "sealed bag"], 1, "Does not meet"),
        (30, [], 2, "Cannot tell"),
        (30, ["--surface", "sealed bag", "--probe-error", "9"], 1, "Does not meet"),
        (30, ["--surface", "sealed bag", "--cooling"], 2, "Cannot tell"),
        (30, ["--standard", "us consumer whole cuts"], 0, "Meets"),
    ],
)
def test_a_real_log_gives_each_exit_code(
    hold_min: int,
    arguments: list[str],
    code: int,
    words: str,
    tmp_path: Path,
    capsys: pytest.CaptureFixture[str],
) -> None:
    log = _written(tmp_path / "hold.csv", hold_min)
    standards = [] if "--standard" in arguments else ["--standard", "us meat 6.5 log"]
    command = ["verdict", str(log), *_NAMED, *standards, *arguments]
    assert cli.main(command) == code
    printed = capsys.readouterr().out
    assert printed.startswith(words)
    assert "does not replace a calibrated thermometer" in printed
    assert cli.main([*command, "--json"]) == code
    answer = json.loads(capsys.readouterr().out)
    assert answer["exit_code"] == code
    assert answer["standards"][0]["sources"]


def test_a_doubtful_log_ends_with_two_until_it_is_answered(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Two probes, the second put into warm meat an hour late; and two cooks in a file."""
    rows = [(60 * n, min(4.0 + n / 3.0, 80.0)) for n in range(301)]
    late = tmp_path / "late.csv"
    late.write_text(
        "time_s,probe 1 (°C),probe 2 (°C)\n"
        + "".join(f"{t},{c:.1f},{f'{c:.1f}' if t >= 3600 else ''}\n" for t, c in rows),
        encoding="utf-8",
    )
    named = ["--column", "probe 1 (°C)=meat", "--column", "probe 2 (°C)=meat"]
    given = ["--meat", "beef", "--surface", "sealed bag", "--column", "time_s=time"]
    command = ["verdict", str(late), *named, *given]
    assert cli.main(command) == 2
    printed = capsys.readouterr().out
    assert "Only you can say" in printed
    name = json.loads(_json_of(command, capsys))["doubts"][0]["channel"]
    assert cli.main([*command, "--probe", f"{name}=not used"]) == 0
    capsys.readouterr()
    again = [(t + 18060 + 60, min(5.0 + t / 180.0, 80.0)) for t, _ in rows]
    two = tmp_path / "two.csv"
    two.write_text(
        "time_s,probe 1 (°C)\n" + "".join(f"{t},{c:.1f}\n" for t, c in [*rows, *again]),
        encoding="utf-8",
    )
    command = ["verdict", str(two), *named[:2], *given]
    assert cli.main(command) == 2
    assert "--new-piece 5:02" in capsys.readouterr().out
    assert cli.main([*command, "--new-piece", "5:02"]) == 0
    assert cli.main([*command, "--new-piece", "none", "--new-piece", "5:02"]) == 3


def _json_of(command: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    cli.main([*command, "--json"])
    return str(capsys.readouterr().out)


def test_what_the_reader_asks_for_is_said_as_an_option(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = _written(tmp_path / "hold.csv", 1)
    assert cli.main(["verdict", str(log)]) == 3
    assert "--column 'HEADING=ROLE'" in capsys.readouterr().err


def test_the_probe_beside_the_centre_is_worth_less(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = _written(tmp_path / "hold.csv", 12)
    command = [
        "verdict", str(log), *_NAMED, "--surface", "immersed",
        "--standard", "us meat 6.5 log", "--json",
    ]  # fmt: skip
    assert cli.main(command) == 0
    place = ["--thickness", "90", "--probe-depth", "15", "--shape", "slab"]
    assert cli.main([*command, *place]) == 1
    assert "estimated 30 mm" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "code"),
    [
        # A pulled plug leaves twelve minutes of the hold without a reading.
        (["--meat", "pork"], 2),
        (["--meat", "pork", "--standard", "uk 70 for 2 min"], 2),
        # A bag keeps the surface moist, but does not fill the hole.
        (["--meat", "pork", "--surface", "sealed bag", "--cooling"], 2),
    ],
)
def test_the_demo_log_gets_an_answer(
    arguments: list[str], code: int, capsys: pytest.CaptureFixture[str]
) -> None:
    log = ROOT / "data" / "demo" / "harvest-supper.csv"
    assert cli.main(["verdict", str(log), *arguments, "--json"]) == code
    answer = json.loads(capsys.readouterr().out)
    assert answer["exit_code"] == code
    assert "no reading from" in json.dumps(answer)


@pytest.mark.slow
def test_a_reader_that_stops_early_does_not_turn_the_verdict_into_met() -> None:
    log = ROOT / "data" / "demo" / "harvest-supper.csv"
    command = [sys.executable, "-m", "coreward.cli", "verdict", str(log)]
    with subprocess.Popen(
        command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, cwd=ROOT / "model"
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        errors = process.stderr.read()
    assert (process.returncode, errors) == (2, b"")


@pytest.mark.slow
def test_help_does_not_wait_for_anything_heavy() -> None:
    """Importing the command must leave the slow libraries alone.

    It also must: the compiler reads where its cache is when it is imported.
    """
    code = (
        "import sys, coreward.cli\n"
        "heavy = {'numba', 'scipy', 'pandas', 'matplotlib', 'CoolProp', 'jupyterlab',"
        " 'ipywidgets', 'IPython'}\n"
        "print(sorted(heavy & set(sys.modules)))\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", code], capture_output=True, text=True, check=True
    )
    assert run.stdout == "[]\n"


@pytest.mark.slow
def test_a_reader_that_stops_early_is_no_error() -> None:
    program = (
        "import sys\nfrom coreward import cli, launch\n"
        "launch.check_environment = lambda folder: ("
        "launch.Check('x' * 10, 'y' * 100, True),) * 5000\n"
        "sys.exit(cli.main(['--check']))\n"
    )
    with subprocess.Popen(
        [sys.executable, "-c", program], stdout=subprocess.PIPE, stderr=subprocess.PIPE
    ) as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        errors = process.stderr.read()
    assert process.returncode == 0
    assert errors == b""
