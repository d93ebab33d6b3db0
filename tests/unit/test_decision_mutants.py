"""The tool that breaks deciding code: what it changes, what it leaves, what it reports."""

from __future__ import annotations

import ast
import csv
import os
import sys
import time
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path

import pytest

from support import mutant_runs
from support.syntax_mutants import (
    WEIGHTS,
    Change,
    changed_tree,
    changes,
    decision_words,
    drawn,
    is_the_same,
)
from verification import decision_mutants as tool

WORDS = {"met": "not met", "not met": "met"}


def results(source: str) -> set[str]:
    """All that one function body can become, as text."""
    return {
        ast.unparse(changed_tree(source, one.index, WORDS)).strip()
        for one in changes(source, WORDS)
    }


def inside(line: str) -> str:
    return f"def f(a, b, c):\n    x = {line}"


@pytest.mark.parametrize(
    ("line", "becomes"),
    [
        ("a < b", {"a <= b", "a >= b"}),
        ("a >= b", {"a > b", "a < b"}),
        ("a == b", {"a != b"}),
        ("a is None", {"a is not None"}),
        ("a + b", {"a - b"}),
        ("a / b", {"a * b"}),
        ("-a", {"a"}),
        ("a and b", {"a or b", "a", "b"}),
        ("not a", {"a"}),
        ("a & ~b", {"a | ~b", "a & b"}),
        ("min(a, b)", {"max(a, b)"}),
        ("np.argmin(a)", {"np.argmax(a)"}),
        ("a.max()", {"a.min()"}),
        ("a.max(axis=-1)", {"a.min(axis=-1)"}),
        ("math.floor(a)", {"math.ceil(a)"}),
        ("60.0", {"3600.0", "120.0", "61.0", "30.0"}),
        ("0", {"1"}),
        ("1e-09", {"0.001"}),
        ("True", {"False"}),
        ("a[0]", {"a[-1]"}),
        ("a[-1]", {"a[0]"}),
        ("a[:, -1]", {"a[:, 0]"}),
        ("a[b:]", {"a[:]", "a[b + 1:]"}),
        ("sorted(a)", {"sorted(a, reverse=True)"}),
        ("sorted(a, reverse=True)", {"sorted(a)"}),
        ("g(a, b)", {"g(b, a)"}),
        ("g(1.5, b=a)", {"g(3.0, b=a)", "g(2.5, b=a)", "g(0.75, b=a)", "g(1.5)"}),
        ("(a, b.c)", {"(b.c,)", "(a,)"}),
        ("{'a': b, 'c': a}", {"{'c': a}", "{'a': b}"}),
        ("[a for a in b if a]", {"[a for a in b if not a]", "[a for a in b]"}),
        ("a if b else c", {"a if not b else c"}),
        ("'met'", {"'not met'"}),
        ("np.searchsorted(a, 'left')", {"np.searchsorted(a, 'right')"}),
        ("timedelta(hours=a)", {"timedelta(minutes=a)"}),
        ("f'{a:.1f} log'", {"f'{2 * a:.1f} log'"}),
        ("say('{0} after {1} of 2.5 h')", {
            "say('{0} after {1} of 3.5 h')", "say('{1} after {0} of 2.5 h')",
        }),
        ("say('{0} h', Held(a))", {
            "say('{0} h', __import__('coreward.words', fromlist=['Needed']).Needed(a))",
        }),
    ],
)  # fmt: skip
def test_an_expression_becomes(line: str, becomes: set[str]) -> None:
    expected = {ast.unparse(ast.parse(inside(one))) for one in becomes}
    assert results(inside(line)) == expected


def test_statements_are_deleted_only_where_the_rest_still_means_something() -> None:
    source = """
def f(rows):
    total = 0.0
    for row in rows:
        if row:
            continue
        total += row
        if total:
            return total
    return total
"""
    deleted = {(one.text, one.before) for one in changes(source) if one.kind == "deleted"}
    assert deleted == {
        ("continue", "continue"), ("total += row", "total += row"),
        ("return total", "return total"),
    }  # fmt: skip
    assert {one.line for one in changes(source) if one.before == "return total"} == {9}
    loops = {one.after for one in changes(source) if one.kind == "dropped"}
    assert loops == {"without the first", "without the last"}


def test_what_only_words_things_is_left_alone() -> None:
    source = '''
"""A module of 3 < 4."""
from typing import TYPE_CHECKING, Literal
if TYPE_CHECKING:
    x = 1 < 2
State = Literal["met", "not met"]
__all__ = ["a", "b"]
class A:
    """Not 5 either."""
    y: tuple[int, Literal[1]]
    def __repr__(self) -> str:
        return f"{self.y:.1f}"
def f(a: int) -> Literal["met"]:
    """Nor 6 h of this."""
    _LOG.warning("%s of 7 h", a)
    return g(f"in {a} it is", "plain words only", "{0} of words")
'''
    assert changes(source, WORDS) == []


def test_an_error_is_preferred_less_and_a_comparison_more() -> None:
    source = "def f(a):\n    if a < 2.5:\n        raise E('more than 2.5 h')\n    g(a + 1)"
    by_kind = {one.kind: one for one in changes(source)}
    assert by_kind["comparison"].weight == WEIGHTS["comparison"] * 2.0
    assert by_kind["comparison"].decides
    assert by_kind["number in a sentence"].weight == pytest.approx(0.3)
    assert by_kind["arithmetic"].weight == WEIGHTS["arithmetic"]
    assert not by_kind["arithmetic"].decides


def test_where_a_change_stands_and_what_an_import_binds() -> None:
    source = "LIMIT = 4.0\ndef f(a, b=3.0):\n    x = g(\n        a,\n        a < 2.0,\n    )\n"
    found = {(one.before, one.after): one for one in changes(source)}
    limit = found["4.0", "8.0"]
    assert (limit.line, limit.names) == (1, ("LIMIT",))
    assert found["3.0", "6.0"].names == ("f",)
    inner = found["a < 2.0", "a <= 2.0"]
    assert (inner.line, inner.first, inner.last, inner.names) == (5, 3, 6, ())
    assert inner.text == "a < 2.0,"


def test_every_change_can_be_compiled_and_differs() -> None:
    source = (tool.PACKAGE / "words.py").read_text(encoding="utf-8")
    words = decision_words((source,))
    found = changes(source, words)
    assert len(found) > 100
    # Some of each kind.
    assert not any(is_the_same(source, one.index, words) for one in found[::15])
    with pytest.raises(LookupError, match="no change number"):
        changed_tree(source, len(found), words)


def test_a_change_of_nothing_is_known() -> None:
    source = "def f(a):\n    return a\n    return -1\n"
    # After a return nothing runs: the compiler leaves it out.
    assert all(is_the_same(source, one.index) for one in changes(source) if one.line == 3)


def test_words_of_a_decision_come_from_their_type() -> None:
    source = 'State = Literal["met", "not met", "cannot tell"]\nOne = Literal["one"]'
    assert decision_words((source,)) == {
        "met": "not met", "not met": "cannot tell", "cannot tell": "met"
    }  # fmt: skip


def test_a_draw_can_be_repeated_and_takes_two_of_a_line() -> None:
    source = (tool.PACKAGE / "words.py").read_text(encoding="utf-8")
    found = changes(source)
    first = [one.index for one in drawn(found, "1")]
    assert first == [one.index for one in drawn(found, "1")]
    assert first != [one.index for one in drawn(found, "2")]
    lines = [found[index].line for index in first]
    assert max(lines.count(line) for line in lines) == 2

    # The preferred kinds come early.
    def mean(kind: str) -> float:
        places = [n for n, index in enumerate(first) if found[index].kind == kind]
        return sum(places) / len(places)

    assert mean("comparison") < mean("constant")


# -- rooms ------------------------------------------------------------------------------


def test_every_room_has_files_and_no_file_two_rooms() -> None:
    files = tool.wanted_files(list(tool.ROOMS))
    every = [name for inside in files.values() for name in inside]
    assert len(every) == len(set(every))
    assert "questions/plan/file.py" not in files["plan"]


def test_what_draws_and_what_is_pressed_is_no_part_of_a_room(tmp_path: Path) -> None:
    for name in (
        "verdict/clock.py",
        "verdict/panel.py",
        "verdict/__init__.py",
        "verdict/document.py",
        "verdict/hold_figure.py",
        "plan/replan.py",
    ):
        (tmp_path / "questions" / name).parent.mkdir(parents=True, exist_ok=True)
        (tmp_path / "questions" / name).touch()
    found = tool.files_of_rooms(tmp_path)
    assert found["verdict"] == ["questions/verdict/clock.py"]
    assert found["replan"] == ["questions/plan/replan.py"]
    with pytest.raises(LookupError, match="No file lies in the room 'fit'"):
        tool.wanted_files(["verdict", "fit"], tmp_path)
    with pytest.raises(LookupError, match="no room 'kitchen'"):
        tool.wanted_files(["kitchen"], tmp_path)
    assert tool.main(["--rooms", "kitchen", "--cache", str(tmp_path)]) == 2


def test_a_count_is_shared_by_the_root() -> None:
    assert tool.shares({"a": 100, "b": 900, "c": 1}, 41) == {"a": 10, "b": 30, "c": 1}
    assert sum(tool.shares({"a": 7, "b": 950, "c": 33}, 100).values()) == 100
    assert tool.shares({"a": 900, "b": 1}, 1) == {"a": 1, "b": 1}


def test_more_mutants_begin_with_the_fewer() -> None:
    offers = tool.offered(tool.wanted_files(["plan"]), WORDS)
    many = tool.draw(offers, 9, 3, WORDS)
    assert tool.draw(offers, 3, 3, WORDS) == many[:3]
    assert len({one.file for one in many}) > 2


# -- which tests ------------------------------------------------------------------------


def mutant(change: Change, file: str = "questions/odds.py") -> tool.Mutant:
    return tool.Mutant("plan", file, change)


@pytest.fixture
def small(tmp_path: Path) -> tuple[Path, mutant_runs.Record]:
    """A package of two files and what three tests run of it."""
    package = tmp_path / "box"
    (package / "questions").mkdir(parents=True)
    (package / "__init__.py").touch()
    (package / "questions" / "odds.py").write_text(
        "A = 2.0\nB = A + 1.0\n\n\ndef f(a):\n    if a > 3.0:\n        return a - 1.0\n"
        "    return B\n"
    )
    (package / "panel.py").write_text(
        "from box.questions.odds import B\n\ndef g():\n    return B\n"
    )
    record = mutant_runs.Record(tmp_path, package, tmp_path / "cache")
    record.files["tests/unit/test_odds.py"] = mutant_runs.Measured(
        {"tests/unit/test_odds.py::slow": 9.0, "tests/unit/test_odds.py::quick": 1.0},
        ["tests/unit/test_odds.py::bad"], ["tests/unit/test_odds.py::late"],
        {"questions/odds.py": {6: [0, 1], 7: [0], 8: [1]}}, {},
    )  # fmt: skip
    record.files["tests/unit/test_panel.py"] = mutant_runs.Measured(
        {"tests/unit/test_panel.py::page": 0.5}, [], [],
        {"questions/odds.py": {6: [0]}, "panel.py": {4: [0]}}, {},
    )  # fmt: skip
    return package, record


def offers_of(package: Path) -> dict[tuple[str, str], Change]:
    source = (package / "questions" / "odds.py").read_text()
    return {(one.before, one.after): one for one in changes(source)}


def test_those_run_that_run_the_line_and_the_room_comes_first(
    small: tuple[Path, mutant_runs.Record],
) -> None:
    package, record = small
    named = {"tests/unit/test_odds.py": True, "tests/unit/test_panel.py": False}
    found = offers_of(package)
    compared = mutant(found["a > 3.0", "a >= 3.0"])
    tests, left = tool.noticing(compared, record, named, 45.0, package)
    assert [name.partition("::")[2] for name in tests] == ["quick", "slow", "page"]
    assert left == 0
    # Not more than wanted, the longest left out.
    tests, left = tool.noticing(compared, record, named, 2.0, package)
    assert [name.partition("::")[2] for name in tests] == ["quick", "page"]
    assert left == 1
    inner = mutant(found["a - 1.0", "a + 1.0"])
    tests, _ = tool.noticing(inner, record, named, 45.0, package)
    assert [name.partition("::")[2] for name in tests] == ["slow"]
    assert "tests/unit/test_odds.py::late" in record.known()


def test_a_constant_is_noticed_where_its_name_is_used(
    small: tuple[Path, mutant_runs.Record],
) -> None:
    package, record = small
    # A is used for B alone, and B in line 8 and in the panel's line 4.
    tests, _ = tool.noticing(
        mutant(offers_of(package)["2.0", "4.0"]), record, {}, 45.0, package
    )
    assert [name.partition("::")[2] for name in tests] == ["page", "quick"]


def test_no_test_is_told_apart_from_no_failure(small: tuple[Path, mutant_runs.Record]) -> None:
    package, record = small
    compared = offers_of(package)["a > 3.0", "a >= 3.0"]
    nowhere = mutant(replace(compared, first=5, last=5))
    assert tool.noticing(nowhere, record, {}, 45.0, package) == ({}, 0)


def test_tests_of_a_room_are_those_that_reach_it(
    small: tuple[Path, mutant_runs.Record], tmp_path: Path
) -> None:
    package, _ = small
    (package / "__init__.py").write_text('_PUBLIC = {"f": "box.questions.odds"}')
    tests = tmp_path / "tests" / "unit"
    tests.mkdir(parents=True)
    (tmp_path / "tests" / "support").mkdir()
    (tmp_path / "tests" / "support" / "help.py").write_text("from box.questions import odds")
    for name, text in {
        "named": "def test():\n    from box.questions.odds import f",
        "public": "import box as cw\ncw.f(1)",
        "page": "from box.panel import g",
        "helped": "from support.help import odds",
        "other": "import json",
        "app_page": "from box.panel import g",
    }.items():
        (tests / f"test_{name}.py").write_text(text)
    reach = tool.files_of_tests({"odds": ["questions/odds.py"]}, tmp_path, package)
    assert {Path(name).stem: named for name, named in reach["odds"].items()} == {
        "test_named": True, "test_public": True, "test_helped": True, "test_page": False,
    }  # fmt: skip


# -- a change, a child and its report ---------------------------------------------------


@pytest.fixture
def package(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A package with one function and tests that do and do not look at it."""
    folder = tmp_path / "pot_of_stew"
    folder.mkdir()
    (folder / "__init__.py").touch()
    (folder / "lid.py").write_text(
        "def shut(a):\n    while a > 9:\n        a -= 1\n    return a > 2\n"
    )
    (tmp_path / "pytest.ini").write_text("[pytest]\n")
    (tmp_path / "conftest.py").touch()
    (tmp_path / "test_lid.py").write_text(
        "import pytest\nfrom pot_of_stew.lid import shut\n"
        "@pytest.fixture(scope='module')\ndef five():\n"
        "    sum(range(10_000_000))\n    return shut(5)\n"
        "def test_blind(five):\n    assert five in (True, False)\n"
        "def test_sees(five):\n    assert five\n    assert not shut(2)\n"
        "def test_long():\n    assert shut(10)\n"
        "def test_broken():\n    assert False\n"
    )
    monkeypatch.syspath_prepend(str(tmp_path))
    yield folder
    for name in [one for one in sys.modules if one.startswith("pot_of_stew")]:
        del sys.modules[name]


def lid(package: Path, before: str, after: str) -> tool.Mutant:
    source = (package / "lid.py").read_text()
    (change,) = [c for c in changes(source) if (c.before, c.after) == (before, after)]
    return tool.Mutant("lid", "lid.py", change)


def tried(
    package: Path, one: tool.Mutant | None, *tests: str
) -> tuple[dict[str, object], mutant_runs.Child]:
    seconds = {f"test_lid.py::test_{name}": 0.1 for name in tests}
    known = frozenset(f"test_lid.py::test_{n}" for n in ("blind", "sees", "long", "broken"))
    work = lambda say: tool.try_mutant(one, seconds, known, {}, say, package)  # noqa: E731
    ((_, child),) = mutant_runs.all_of([("", work)], package.parent, 1)
    return tool.outcome_of(child), child


def test_which_test_runs_which_line_is_measured(package: Path) -> None:
    (package.parent / "tests").mkdir()
    record = mutant_runs.Record(package.parent, package, package.parent / "cache")
    work = lambda say: mutant_runs.measure("test_lid.py", package, package.parent, 60.0, say)  # noqa: E731
    ((_, child),) = mutant_runs.all_of([("", work)], package.parent, 1)
    (raw,) = [one["measured"] for one in child.said if "measured" in one]
    record.keep("test_lid.py", raw)
    assert record.files["test_lid.py"].failing == ["test_lid.py::test_broken"]
    assert {name.partition("::")[2] for name in record.tests_of("lid.py", [3])} == {"test_long"}
    # What the fixture runs counts for both that ask for it.
    assert {name.partition("::")[2] for name in record.tests_of("lid.py", [4])} == {
        "test_blind", "test_sees", "test_long"
    }  # fmt: skip
    # Whichever of them comes first waits for it.
    measured = record.files["test_lid.py"]
    blind, long = "test_lid.py::test_blind", "test_lid.py::test_long"
    assert measured.shared[blind] > measured.seconds[blind]
    assert measured.shared[long] == 0.0
    assert record.alone(blind) == measured.seconds[blind] + measured.shared[blind]
    again = mutant_runs.Record(package.parent, package, package.parent / "cache")
    assert again.load("test_lid.py")
    (package / "lid.py").write_text("def shut(a):\n    return a > 2\n")
    assert not again.load("test_lid.py")


def test_caught_survived_and_nothing_written(package: Path) -> None:
    worse = lid(package, "a > 2", "a >= 2")
    found, child = tried(package, worse, "blind", "sees", "long")
    assert (found["outcome"], found["how"]) == ("caught", "assert")
    assert found["test"] == "test_lid.py::test_sees"
    assert found["ran"] == 2
    assert not child.folder.exists()
    assert tried(package, worse, "blind")[0] == {"outcome": "survived", "ran": 1}
    # Without a change the same tests pass; the one that fails is not asked.
    assert tried(package, None, "blind", "sees", "long")[0]["outcome"] == "survived"
    assert "a > 2\n" in (package / "lid.py").read_text()
    assert "pot_of_stew.lid" not in sys.modules


def test_a_hang_is_caught(package: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(mutant_runs, "PATIENCE_S", 0.5)
    monkeypatch.setattr(mutant_runs, "PATIENCE", 1.0)
    endless = lid(package, "a -= 1", "a += 1")
    found, child = tried(package, endless, "long")
    assert (found["outcome"], found["how"], found["test"]) == (
        "caught", "hang", "test_lid.py::test_long"
    )  # fmt: skip
    assert child.hung


def test_a_child_that_is_kept_waiting_does_not_hang(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A busy machine gives it no time; one that waits for ever is given up all the same."""
    allowed = mutant_runs.PATIENCE_S + mutant_runs.PATIENCE * 2.0
    child = mutant_runs.Child(os.getpid(), 0, tmp_path, heard=1000.0, expected=2.0, used=5.0)
    used: list[float | None] = [5.0]
    now = [1000.0]
    monkeypatch.setattr(mutant_runs, "processor_s", lambda _: used[0])
    monkeypatch.setattr(mutant_runs.time, "monotonic", lambda: now[0])

    def hangs(silent: float, worked: float | None) -> bool:
        now[0], used[0] = 1000.0 + silent, None if worked is None else 5.0 + worked
        return child.hangs()

    more = mutant_runs.WAITS * allowed
    assert [hangs(allowed + 1.0, w) for w in (1.0, allowed, allowed + 1.0, None)] == [
        False,
        False,
        True,
        True,
    ]
    assert [hangs(s, 0.0) for s in (allowed, more, more + 1.0)] == [False, False, True]
    monkeypatch.undo()
    mine = mutant_runs.processor_s(os.getpid())
    assert mine is None or mine == pytest.approx(time.process_time(), abs=2.0)
    assert mutant_runs.processor_s(2**30) is None


def test_what_breaks_at_once_is_told_apart(package: Path) -> None:
    (package / "lid.py").write_text("LIMIT = (2,)[0]\n\ndef shut(a):\n    return a > LIMIT\n")
    found, _ = tried(package, lid(package, "0", "-1"), "sees")
    assert found["outcome"] == "survived"  # the last of one is the first
    (package / "lid.py").write_text("A, B = (1, 2)[:2]\n\ndef shut(a):\n    return a > B\n")
    found, _ = tried(package, lid(package, "..., 1, ...", "left out"), "sees")
    assert (found["outcome"], found["how"]) == ("caught", "import")


# -- rows -------------------------------------------------------------------------------


def row(**cells: object) -> dict[str, object]:
    base = {
        "room": "plan", "line": 3, "text": "x = a < b", "before": "a < b", "after": "a <= b",
        "outcome": "caught", "how": "assert", "test": "t", "seconds": "2.0",
    }  # fmt: skip
    return {**base, **cells}


def test_the_summary_counts_each_mutant_once_and_leaves_out_the_explained() -> None:
    rows = [
        row(outcome="survived", how=""),
        row(),  # caught at last
        row(line=4, how="error"),
        row(line=5, text="y", outcome="survived", how=""),
        row(line=6, text="z", outcome="survived", how="", room="fit"),
        row(line=7, outcome="not covered", how="", seconds="0.0"),
        row(line=8, outcome="survived"),
        row(line=8, outcome="gone"),
    ]
    reasons = {("fit", "z", "a < b", "a <= b"): "the same"}
    table, share = tool.summary(rows, reasons)
    assert table[1:] == [
        ("plan", "4", "2", "1", "1", "0", "1", "50 %", "1.5"),
        ("fit", "1", "0", "0", "0", "1", "0", "100 %", "2.0"),
        ("all", "5", "2", "1", "1", "1", "1", "50 %", "1.6"),
    ]
    assert share == 0.5


def test_rows_are_appended_and_read_again(tmp_path: Path) -> None:
    file = tmp_path / "rows.csv"
    assert tool.read_rows(file) == []
    one = tool.row_of(
        mutant(changes(inside('"a" if a < b else "b"'))[0]), outcome="survived", ran=3
    )
    tool.write_row(file, one)
    tool.write_row(file, {**one, "outcome": "caught"})
    read = tool.read_rows(file)
    assert [r["outcome"] for r in read] == ["survived", "caught"]
    assert tuple(read[0]) == tool.COLUMNS
    assert tool.key_of(read[0]) == mutant(changes(inside('"a" if a < b else "b"'))[0]).key
    assert [r["outcome"] for r in tool.latest(read)] == ["caught"]


def test_the_cache_lies_outside_the_checkout() -> None:
    with pytest.raises(SystemExit):
        tool.arguments_of(["--cache", str(tool.ROOT / "cache")])
    with pytest.raises(SystemExit):
        tool.arguments_of(["--again"])
    assert not tool.default_cache().is_relative_to(tool.ROOT)


def test_every_explanation_still_has_its_line() -> None:
    """A survivor that was explained is offered as it was, with a reason."""
    with tool.EXPLAINED.open(encoding="utf-8", newline="") as lines:
        rows = list(csv.DictReader(lines))
    rooms = list(dict.fromkeys(one["room"] for one in rows))
    keys = {
        one.key
        for group in tool.offered(tool.wanted_files(rooms), tool.words_of_package()).values()
        for one in group
    }
    for one in rows:
        assert len(one["reason"].split()) >= 4, one
        assert (one["room"], one["line"], one["before"], one["after"]) in keys, one
    assert len(tool.explained()) == len(rows)
