"""Break the code that decides, at random, and see whether a test notices.

    python tests/verification/decision_mutants.py [--rooms verdict,plan] [--count 200]
        [--seed 1] [--since FILE] [--again] [--near] [--jobs 2] [--list]

`mutations.py` breaks equations that somebody chose. Here a change is drawn from all that the
source offers: a comparison that takes the limit in, hours for minutes, the last for the
first, a quantity rounded to its other side. Each is made in memory, in a process of its own;
then the tests that run the line run, the shortest first, until one fails.

Which test runs which line is measured once for each file of tests, and again when the file
or what it runs has changed (`--cache`, in the user's cache if not given). A survivor is
either a hole in the tests, or the change alters no answer. The second is for a person to
say, in ``decision_mutants_explained.csv``; a test refuses rows whose line is gone.
"""

from __future__ import annotations

import argparse
import ast
import csv
import os
import re
import sys
import time
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
sys.path.insert(0, str(ROOT / "tests"))

from support import mutant_runs  # noqa: E402  (the path comes first)
from support.syntax_mutants import (  # noqa: E402
    Change,
    changed_tree,
    changes,
    decision_words,
    drawn,
    is_the_same,
)

PACKAGE = ROOT / "model" / "coreward"
EXPLAINED = HERE / "decision_mutants_explained.csv"
# Where the code of a room lies. A file belongs to the first room that claims it.
ROOMS: dict[str, tuple[str, ...]] = {
    "verdict": ("questions/verdict/*.py",),
    "holding": ("questions/rest/holding.py",),
    "hold": ("questions/hold/*.py",),
    "chilling": ("questions/chill/*.py",),
    "carryover": ("questions/rest/*.py",),
    "calendar_file": ("questions/plan/calendar.py",),
    "plan_file": ("questions/plan/file.py",),
    "replan": ("questions/plan/replan.py",),
    "compare_ways": ("questions/plan/ways.py",),
    "plan": ("questions/plan/*.py",),
    "fit": ("questions/forecast/fit.py",),
    "forecast": ("questions/forecast/*.py",),
    "events": ("events/*.py",),
    "review": ("questions/review/*.py",),
    "stall": ("questions/stall/*.py",),
    "logs": ("logs/**/*.py",),
}
# In a question's folder, what draws and what is clicked decides nothing; nor does
# a list of names.
NOT_DECIDING = re.compile(r"(figure|scene|panel|ways_table|document|__init__)\.py$")
# Below all rooms: imported once. Each that exists.
FLOOR = ("errors", "units", "files", "words", "tables", "physics", "cook")
TESTS = ("tests/unit", "tests/verification", "tests/validation")
# Servers, browsers, whole installations, and programs that run for minutes.
NO_TESTS = re.compile(
    r"test_(app_\w+|launch|first_run|log_speed|fuzz_logs|benchmark|mutations|engines|"
    r"decision_mutants|suite_rules)\.py$"
)
COLUMNS = (
    "room", "file", "line", "text", "kind", "before", "after", "outcome", "how", "test",
    "seconds", "ran", "left out",
)  # fmt: skip
WANTED_SHARE = 0.9


@dataclass(frozen=True)
class Mutant:
    """A change in a file of a room."""

    room: str
    file: str
    change: Change

    @property
    def key(self) -> tuple[str, str, str, str]:
        """How a row of a table names it; no line number, which moves."""
        return self.room, self.change.text, self.change.before, self.change.after


# -- what there is to change ------------------------------------------------------------


def files_of_rooms(package: Path = PACKAGE) -> dict[str, list[str]]:
    """Return the files of each room, relative to the package."""
    taken: set[str] = set()
    found: dict[str, list[str]] = {}
    for room, patterns in ROOMS.items():
        files = sorted(
            {
                str(path.relative_to(package))
                for pattern in patterns
                for path in package.glob(pattern)
                if not NOT_DECIDING.search(str(path.relative_to(package)))
            }
            - taken
        )
        taken.update(files)
        found[room] = files
    return found


def wanted_files(rooms: Sequence[str], package: Path = PACKAGE) -> dict[str, list[str]]:
    """Return the files of the rooms wanted.

    Raises
    ------
    LookupError
        If there is no such room, or nothing in it: the code has moved and the table of
        rooms must follow.
    """
    found = files_of_rooms(package)
    for room in rooms:
        if room not in found:
            raise LookupError(f"There is no room {room!r}; there are: {', '.join(found)}.")
        if not found[room]:
            raise LookupError(f"No file lies in the room {room!r}: {', '.join(ROOMS[room])}.")
    return {room: found[room] for room in rooms}


def words_of_package(package: Path = PACKAGE) -> dict[str, str]:
    """Return words that are decisions, each with a wrong one."""
    sources = (path.read_text(encoding="utf-8") for path in sorted(package.rglob("*.py")))
    return decision_words(tuple(sources))


def offered(
    files: Mapping[str, Sequence[str]], words: Mapping[str, str], package: Path = PACKAGE
) -> dict[str, list[Mutant]]:
    """Return all that the rooms offer."""
    return {
        room: [
            Mutant(room, file, change)
            for file in inside
            for change in changes((package / file).read_text(encoding="utf-8"), words)
        ]
        for room, inside in files.items()
    }


def shares(offers: Mapping[str, int], count: int) -> dict[str, int]:
    """Share a count among rooms by the root of what they offer, at least one for each."""
    total = sum(n**0.5 for n in offers.values())
    exact = {room: count * n**0.5 / total for room, n in offers.items()}
    given = {room: max(1, int(share)) for room, share in exact.items()}
    rest = sorted(exact, key=lambda room: int(exact[room]) - exact[room])
    for room in rest[: max(0, count - sum(given.values()))]:
        given[room] += 1
    return given


def draw(
    offers: Mapping[str, Sequence[Mutant]],
    count: int,
    seed: int,
    words: Mapping[str, str],
    package: Path = PACKAGE,
) -> list[Mutant]:
    """Draw mutants, repeatably; more of them begin with the fewer ones."""
    chosen: list[Mutant] = []
    for room, number in shares({r: len(o) for r, o in offers.items()}, count).items():
        streams = []
        for file in dict.fromkeys(one.file for one in offers[room]):
            own = [one.change for one in offers[room] if one.file == file]
            streams.append((file, len(own), drawn(own, f"{seed} {room} {Path(file).name}")))
        chosen += _from_streams(room, streams, number, words, package)
    return chosen


def _from_streams(
    room: str,
    streams: Sequence[tuple[str, int, Iterator[Change]]],
    number: int,
    words: Mapping[str, str],
    package: Path,
) -> Iterator[Mutant]:
    """Take from the files of a room in turn, each in proportion to what it offers."""
    taken = [0] * len(streams)
    ended: set[int] = set()
    while sum(taken) < number and len(ended) < len(streams):
        turn = min(
            (n for n in range(len(streams)) if n not in ended),
            key=lambda n: ((taken[n] + 1) / streams[n][1], n),
        )
        file, _, stream = streams[turn]
        change = next(stream, None)
        if change is None:
            ended.add(turn)
            continue
        source = (package / file).read_text(encoding="utf-8")
        if not is_the_same(source, change.index, words):
            taken[turn] += 1
            yield Mutant(room, file, change)


# -- which tests may notice -------------------------------------------------------------


def module_name(file: str, package: Path = PACKAGE) -> str:
    """Return the name by which a file of the package is imported."""
    parts = [package.name, *Path(file).with_suffix("").parts]
    return ".".join(parts[:-1] if parts[-1] == "__init__" else parts)


def public_names(package: Path = PACKAGE) -> dict[str, str]:
    """Return the names that the package itself offers, each with its module."""
    tree = ast.parse((package / "__init__.py").read_text(encoding="utf-8"))
    for node in tree.body:
        match node:
            case ast.Assign(targets=[ast.Name(id="_PUBLIC")], value=ast.Dict() as table):
                found = ast.literal_eval(table)
                assert isinstance(found, dict)
                return found
    return {}


def files_of_tests(
    files: Mapping[str, Sequence[str]], root: Path = ROOT, package: Path = PACKAGE
) -> dict[str, dict[str, bool]]:
    """Return the files of tests that may reach each room; True where they name it.

    Reached is what a test imports, and what that imports: a panel, a report, a command.
    """
    public = public_names(package)
    imports = {
        module_name(str(path.relative_to(package)), package): mutant_runs.imported(path)
        for path in sorted(package.rglob("*.py"))
    }
    direct: dict[str, set[str]] = {}
    for folder in TESTS:
        for path in sorted((root / folder).glob("test_*.py")):
            if NO_TESTS.search(path.name):
                continue
            text = path.read_text(encoding="utf-8")
            named = mutant_runs.imported(path)
            used = set(re.findall(r"\bcw\.(\w+)", text))
            used |= {name.partition(".")[2] for name in named}
            named |= {public[name] for name in used & public.keys()}
            for helper in [name for name in named if name.startswith("support.")]:
                source = (root / "tests").joinpath(*helper.split(".")).with_suffix(".py")
                if source.is_file():
                    named |= mutant_runs.imported(source)
            direct[str(path.relative_to(root))] = named & imports.keys()
    reach: dict[str, dict[str, bool]] = {}
    for room, inside in files.items():
        own = {module_name(file, package) for file in inside}
        # A folder is named for all of it.
        own |= {name.rpartition(".")[0] for name in own}
        own -= {package.name, f"{package.name}.questions"}
        reach[room] = {}
        for test_file, named in direct.items():
            if named & own:
                reach[room][test_file] = True
            elif any(imports[name] & own for name in named if name != package.name):
                reach[room][test_file] = False
    return reach


def lines_of(mutant: Mutant, package: Path = PACKAGE) -> Iterator[tuple[str, set[int]]]:
    """Give the lines, by file, whose tests may notice a change.

    Inside a function, those of its statement. What runs at import is noticed by whoever
    uses the names it binds; the first pair is that, the second all of its file.
    """
    change = mutant.change
    if not change.names:
        yield mutant.file, set(range(change.first, change.last + 1))
        return
    names = _names_made_of(change.names, package / mutant.file)
    for path in sorted(package.rglob("*.py")):
        source = path.read_text(encoding="utf-8")
        found = {
            number
            for number, line in enumerate(source.splitlines(), 1)
            if any(re.search(rf"\b{re.escape(name)}\b", line) for name in names)
        }
        if path == package / mutant.file:
            found |= _bodies(source, names)
        if found:
            yield str(path.relative_to(package)), found


def _names_made_of(names: Iterable[str], file: Path) -> set[str]:
    """Return names with all those of a file that are made of them at import."""
    tree = ast.parse(file.read_text(encoding="utf-8"))
    found = set(names)
    while True:
        more = set(found)
        for node in tree.body:
            if isinstance(node, ast.Assign | ast.AnnAssign):
                used = {n.id for n in ast.walk(node) if isinstance(n, ast.Name)}
                if used & found:
                    more |= used & {
                        n.id for n in ast.walk(node)
                        if isinstance(n, ast.Name) and isinstance(n.ctx, ast.Store)
                    }  # fmt: skip
        if more == found:
            return found
        found = more


def _bodies(source: str, names: set[str]) -> set[int]:
    """Lines inside functions and classes of these names."""
    lines: set[int] = set()
    for node in ast.parse(source).body:
        if isinstance(node, ast.FunctionDef | ast.ClassDef) and node.name in names:
            lines |= set(range(node.lineno, (node.end_lineno or node.lineno) + 1))
    return lines


def noticing(
    mutant: Mutant,
    record: mutant_runs.Record,
    named: Mapping[str, bool],
    at_most_s: float,
    package: Path = PACKAGE,
) -> tuple[dict[str, float], int]:
    """Return the tests to run, in order, with their times; and how many are left out.

    First those of files that name the room, the shortest first.
    """
    found: dict[str, float] = {}
    for file, lines in lines_of(mutant, package):
        found |= record.tests_of(file, lines)
    if not found and mutant.change.names:
        found = record.tests_of(mutant.file, record.lines_run(mutant.file))
    order = sorted(
        found,
        key=lambda name: (not named.get(name.partition("::")[0]), record.alone(name), name),
    )
    kept: dict[str, float] = {}
    total = 0.0
    for name in order:
        if kept and total + found[name] > at_most_s:
            continue
        kept[name] = found[name]
        total += found[name]
    return kept, len(found) - len(kept)


# -- running ----------------------------------------------------------------------------


def try_mutant(
    mutant: Mutant | None,
    tests: Mapping[str, float],
    known: frozenset[str],
    words: Mapping[str, str],
    say: Callable[..., None],
    package: Path = PACKAGE,
) -> None:
    """Make the change and run the tests; in a child. Without a mutant, only run them."""
    finder = None
    if mutant is not None:
        name = module_name(mutant.file, package)
        if name in sys.modules:
            raise LookupError(f"{name} was imported before it could be changed")
        source = (package / mutant.file).read_text(encoding="utf-8")
        finder = mutant_runs.Finder(name, changed_tree(source, mutant.change.index, words))
        sys.meta_path.insert(0, finder)  # type: ignore[arg-type]
    mutant_runs.run_tests(tests, known, say)
    if finder is not None and (finder.loader is None or not finder.loader.loaded):
        raise LookupError(f"no test imported {finder.name}")


def outcome_of(child: mutant_runs.Child) -> dict[str, object]:
    """Return what a child found, as cells of a row."""
    merged: dict[str, object] = {}
    for message in child.said:
        merged |= message
    ran = sum("begins" in one and bool(one["begins"]) for one in child.said)
    if "failed" in merged:
        return {
            "outcome": "caught", "how": merged["how"], "test": merged["failed"], "ran": ran
        }  # fmt: skip
    if child.hung:
        return {"outcome": "caught", "how": "hang", "test": child.running, "ran": ran}
    if "broken" in merged:
        return {"outcome": "cannot run", "how": str(merged["broken"]), "ran": ran}
    if "ran" not in merged:
        return {"outcome": "caught", "how": "died", "test": child.running, "ran": ran}
    return {"outcome": "survived", "ran": ran}


def measure_all(
    test_files: Sequence[str], record: mutant_runs.Record, jobs: int, at_most_s: float
) -> None:
    """Learn which test runs which line, where that is not known yet."""
    stale = [name for name in test_files if not record.load(name)]
    if not stale:
        return
    print(f"Which test runs which line: {len(stale)} of {len(test_files)} files to measure.")
    works = (
        (name, partial(mutant_runs.measure, name, PACKAGE, ROOT, at_most_s)) for name in stale
    )
    for number, (name, child) in enumerate(mutant_runs.all_of(works, ROOT, jobs), 1):
        raw = next((one["measured"] for one in child.said if "measured" in one), None)
        if raw is None:
            why = next((one["broken"] for one in child.said if "broken" in one), "it hangs")
            print(f"  {name} cannot be measured and is not used: {why} {child.running}")
            continue
        one = record.keep(name, raw)
        print(
            f"  [{number}/{len(stale)}] {name}: {len(one.seconds)} tests"
            f"{f', {len(one.failing)} fail unchanged' if one.failing else ''}"
            f"{f', {len(one.left)} left out' if one.left else ''} ({child.seconds:.0f} s)",
            flush=True,
        )


def read_rows(file: Path) -> list[dict[str, str]]:
    """Return the rows of an earlier run; none where there is no file."""
    if not file.is_file():
        return []
    with file.open(encoding="utf-8", newline="") as lines:
        return list(csv.DictReader(lines))


def write_row(file: Path | None, row: Mapping[str, object]) -> None:
    """Append a row as soon as it is known."""
    if file is None:
        return
    new = not file.is_file()
    with file.open("a", encoding="utf-8", newline="") as lines:
        writer = csv.DictWriter(lines, COLUMNS, lineterminator="\n", restval="")
        if new:
            writer.writeheader()
        writer.writerow(dict(row))


def key_of(row: Mapping[str, object]) -> tuple[str, str, str, str]:
    """How a row names its mutant."""
    return str(row["room"]), str(row["text"]), str(row["before"]), str(row["after"])


def latest(rows: Iterable[Mapping[str, object]]) -> list[Mapping[str, object]]:
    """Return one row for each mutant: the last."""
    return list({(key_of(row), str(row["line"])): row for row in rows}.values())


def explained(file: Path = EXPLAINED) -> dict[tuple[str, str, str, str], str]:
    """Return the survivors that a person has found to alter no answer, each with why."""
    with file.open(encoding="utf-8", newline="") as lines:
        rows = [row | {"text": row["line"]} for row in csv.DictReader(lines)]
    return {key_of(row): row["reason"] for row in rows}


def summary(
    rows: Iterable[Mapping[str, object]], reasons: Mapping[tuple[str, str, str, str], str]
) -> tuple[list[tuple[str, ...]], float]:
    """Return a table by room, with all below it, and the share caught.

    Of the mutants that change an answer: all but those explained, and those whose source
    has changed since.
    """
    head = ("room", "mutants", "caught", "by an assertion", "survived", "explained",
            "not covered", "share", "seconds each")  # fmt: skip
    by_room: dict[str, list[Mapping[str, object]]] = {}
    for row in latest(rows):
        if row["outcome"] == "gone":
            continue
        by_room.setdefault(str(row["room"]), []).append(row)
    every = [row for group in by_room.values() for row in group]
    table = [head]
    share = 1.0
    for room, group in [*by_room.items(), ("all", every)]:
        count = {
            outcome: sum(
                (
                    "explained"
                    if row["outcome"] in ("survived", "not covered") and key_of(row) in reasons
                    else row["outcome"]
                )
                == outcome
                for row in group
            )
            for outcome in ("caught", "survived", "explained", "not covered")
        }
        counted = len(group) - count["explained"]
        share = count["caught"] / counted if counted else 1.0
        table.append(
            (
                room, str(len(group)), str(count["caught"]),
                str(sum(row["how"] == "assert" for row in group)), str(count["survived"]),
                str(count["explained"]), str(count["not covered"]), f"{100.0 * share:.0f} %",
                f"{sum(float(str(row['seconds'])) for row in group) / max(len(group), 1):.1f}",
            )
        )  # fmt: skip
    return table, share


def control(
    rows: Iterable[Mapping[str, object]], record: mutant_runs.Record, jobs: int
) -> list[str]:
    """Run each test that has caught something once with nothing changed; who fails?"""
    files: dict[str, dict[str, float]] = {}
    for row in rows:
        name = str(row["test"])
        if row["outcome"] == "caught" and "::" in name:
            file = name.partition("::")[0]
            known = record.files.get(file)
            if known and name in known.seconds:
                files.setdefault(file, {})[name] = known.seconds[name]
    known_names = record.known()
    works = (
        (file, lambda say, tests=tests: try_mutant(None, tests, known_names, {}, say))
        for file, tests in files.items()
    )
    return [
        str(found["test"])
        for _, child in mutant_runs.all_of(works, ROOT, jobs)
        if (found := outcome_of(child))["outcome"] == "caught"
    ]


def _warm_up() -> None:
    """Load what is compiled, once for all processes to come."""
    from coreward.physics.engines import fast

    fast.warm_up()


def default_cache() -> Path:
    """Return the folder of the user's cache where measurements are kept."""
    base = os.environ.get("XDG_CACHE_HOME") or Path.home() / ".cache"
    return Path(base) / "coreward" / "decision-mutants"


def arguments_of(arguments: Sequence[str] | None) -> argparse.Namespace:
    """Read the command line."""
    parser = argparse.ArgumentParser(description="Break the code that decides, at random.")
    parser.add_argument("--rooms", default=",".join(ROOMS), help="some of: %(default)s")
    parser.add_argument("--count", type=int, default=200, help="mutants (%(default)s)")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument(
        "--since", type=Path, metavar="FILE",
        help="append rows to this CSV as they come, and skip the mutants in it",
    )  # fmt: skip
    parser.add_argument(
        "--again", action="store_true", help="only what survived in the file of --since"
    )
    parser.add_argument("--jobs", type=int, choices=(1, 2), default=1)
    parser.add_argument("--cache", type=Path, default=default_cache(), metavar="DIR")
    parser.add_argument(
        "--most-seconds", type=float, default=30.0, metavar="S",
        help="of tests for one mutant (%(default)s); more are left out",
    )  # fmt: skip
    parser.add_argument(
        "--file-seconds", type=float, default=120.0, metavar="S",
        help="for measuring one file of tests (%(default)s); more are left out",
    )  # fmt: skip
    parser.add_argument(
        "--near", action="store_true", help="only files of tests that name the room itself"
    )
    parser.add_argument("--list", action="store_true", help="only show what is drawn")
    options = parser.parse_args(arguments)
    if options.cache.resolve().is_relative_to(ROOT):
        parser.error("the cache must lie outside the checkout")
    if options.again and not options.since:
        parser.error("--again needs --since FILE")
    return options


def chosen(options: argparse.Namespace, files: Mapping[str, Sequence[str]],
           words: Mapping[str, str]) -> list[Mutant]:  # fmt: skip
    """Return the mutants to try, and say how they were drawn."""
    offers = offered(files, words)
    everything = [one for group in offers.values() for one in group]
    earlier = latest(read_rows(options.since)) if options.since else []
    if options.again:
        wanted = {key_of(r) for r in earlier if r["outcome"] in ("survived", "not covered")}
        lines = {(key_of(row), str(row["line"])) for row in earlier}
        found: dict[tuple[str, str, str, str], Mutant] = {}
        for one in everything:
            if one.key in wanted and (
                one.key not in found or (one.key, str(one.change.line)) in lines
            ):
                found[one.key] = one
        for row in earlier:
            if key_of(row) in wanted - found.keys():
                print(f"gone since: {' | '.join(key_of(row))}")
                write_row(options.since, {**row, "outcome": "gone"})
        return list(found.values())
    mutants = draw(offers, options.count, options.seed, words)
    percent = [
        100.0 * sum(one.change.decides for one in group) / max(len(group), 1)
        for group in (everything, mutants)
    ]
    print(
        f"{len(everything)} changes are offered, {percent[0]:.0f} % of them where something is "
        f"compared, computed or returned; {len(mutants)} are drawn, {percent[1]:.0f} % there."
    )
    done = {(key_of(row), str(row["line"])) for row in earlier}
    return [one for one in mutants if (one.key, str(one.change.line)) not in done]


def row_of(mutant: Mutant, **cells: object) -> dict[str, object]:
    """Return a mutant as a row."""
    change = mutant.change
    return {
        "room": mutant.room, "file": mutant.file, "line": change.line, "text": change.text,
        "kind": change.kind, "before": change.before, "after": change.after, "how": "",
        "test": "", "seconds": "0.0", "ran": 0, "left out": 0, **cells,
    }  # fmt: skip


def main(arguments: Sequence[str] | None = None) -> int:
    """Run; return 1 if too many survive."""
    options = arguments_of(arguments)
    try:
        files = wanted_files([room for room in options.rooms.split(",") if room])
    except LookupError as error:
        print(error)
        return 2
    words = words_of_package()
    mutants = chosen(options, files, words)
    if options.list:
        for one in mutants:
            print(f"{one.file}:{one.change.line}  {one.change.kind}: "
                  f"{one.change.before}  ->  {one.change.after}")  # fmt: skip
        return 0
    mutant_runs.prepare(options.cache, PACKAGE.name, FLOOR)
    _warm_up()
    record = mutant_runs.Record(ROOT, PACKAGE, options.cache)
    reach = {
        room: {name: near for name, near in inside.items() if near or not options.near}
        for room, inside in files_of_tests(files).items()
    }
    rows: list[dict[str, object]] = []
    # Room by room: what is measured for one is of use at once, also if the run is cut.
    for room in dict.fromkeys(one.room for one in mutants):
        measure_all(list(reach[room]), record, options.jobs, options.file_seconds)
        own = [one for one in mutants if one.room == room]
        rows += run_all(own, record, reach[room], words, options)
    every = (read_rows(options.since) if options.since else []) or rows
    doubtful = control(rows, record, options.jobs)
    table, share = summary(every, explained())
    widths = [max(len(row[n]) for row in table) for n in range(len(table[0]))]
    for row in table:
        print("  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)))
    for name in doubtful:
        print(f"FAILS WITH NOTHING CHANGED, so what it caught is in doubt: {name}")
    return 0 if share >= WANTED_SHARE and not doubtful else 1


def run_all(
    mutants: Sequence[Mutant],
    record: mutant_runs.Record,
    named: Mapping[str, bool],
    words: Mapping[str, str],
    options: argparse.Namespace,
) -> list[dict[str, object]]:
    """Try every mutant of a room, print and write each row as it comes."""
    rows: list[dict[str, object]] = []
    reasons = explained()
    known = record.known()

    def done(row: dict[str, object]) -> None:
        rows.append(row)
        write_row(options.since, row)
        word = str(row["outcome"])
        if word == "survived":
            word = "explained" if key_of(row) in reasons else "SURVIVES"
        print(
            f"[{len(rows)}/{len(mutants)}] {word}  {row['file']}:{row['line']}  {row['kind']}: "
            f"{row['before']}  ->  {row['after']}  ({row['seconds']} s, {row['ran']} tests"
            f"{', ' + str(row['how']) if row['how'] else ''}) {row['test']}",
            flush=True,
        )

    def works() -> Iterator[tuple[tuple[Mutant, int], Callable[[Callable[..., None]], None]]]:
        for mutant in mutants:
            tests, left = noticing(mutant, record, named, options.most_seconds)
            if not tests:
                done(row_of(mutant, outcome="not covered"))
                continue
            yield (
                (mutant, left),
                lambda say, m=mutant, t=tests: try_mutant(m, t, known, words, say),
            )

    begun = time.monotonic()
    for (mutant, left), child in mutant_runs.all_of(works(), ROOT, options.jobs):
        cells = outcome_of(child)
        done(row_of(mutant, **{**cells, "seconds": f"{child.seconds:.1f}", "left out": left}))
    used = sum(float(str(row["seconds"])) for row in rows)
    print(
        f"{len(rows)} mutants in {time.monotonic() - begun:.0f} s by the clock; "
        f"{used / max(len(rows), 1):.1f} s of processor time for each."
    )
    return rows


if __name__ == "__main__":
    sys.exit(main())
