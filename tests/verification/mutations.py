"""Break an equation, see which test notices.

Run by hand: ``python tests/verification/mutations.py [word ...]``; with
``--csv tests/verification/mutations_found.csv`` the notebook
does-it-solve-its-equations shows what was found, and rows that were not asked for stay.
Each mutation is a change of text in a copy of the package in a temporary folder; the
verification tests then run against the copy. A mutation that no test catches is a hole in
the suite, and the script ends with 1.

The FiPy engine shares the statement with the fast engine, so comparing the
two cannot find a wrong equation; its tests are left out here.
"""

from __future__ import annotations

import argparse
import csv
import os
import re
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Collection
from dataclasses import dataclass
from pathlib import Path

HERE = Path(__file__).resolve().parent
ROOT = HERE.parent.parent
PACKAGE = ROOT / "model" / "coreward"
TESTS = (
    "test_faces.py",
    "test_local_physics.py",
    "test_conduction.py",
    "test_orders.py",
    "test_boiling.py",
    "test_conservation.py",
    "test_invariance.py",
    "test_chamber.py",
    "test_together.py",
)
CHAMBER = "physics/chamber.py"
TOGETHER = "cook/together.py"
STATEMENT = "physics/statement.py"
FAST = "physics/engines/fast.py"
EXCHANGE = "physics/exchange.py"
BODY = "physics/body.py"
SIMULATE = "cook/march.py"
STAGES = "cook/stages.py"


@dataclass(frozen=True)
class Mutation:
    """A change of text; the old text must occur exactly `count` times.

    `tests` are those that reach the line; all of them if not said.
    """

    name: str
    file: str
    old: str
    new: str
    count: int = 1
    tests: tuple[str, ...] = TESTS


MUTATIONS = (
    Mutation(
        "film evaporation with the wrong sign",
        STATEMENT,
        "film_ev = share * wet",
        "film_ev = -share * wet",
    ),
    Mutation(
        "evaporation from the solid with the wrong sign",
        STATEMENT,
        "solid_ev = (1.0 - share) * dry",
        "solid_ev = -(1.0 - share) * dry",
    ),
    Mutation(
        "latent heat missing",
        STATEMENT,
        "return water_enthalpy(t, m) + latent_heat(t)",
        "return water_enthalpy(t, m)",
    ),
    Mutation(
        "face area of a slab for every shape",
        BODY,
        "face_area=face**n,",
        "face_area=face**0,",
    ),
    Mutation(
        "film without heat",
        FAST,
        "film = surface_area * s / volume[last] if m.moist else 0.0",
        "film = 0.0",
    ),
    Mutation(
        "Stefan's logarithm replaced by a straight line",
        EXCHANGE,
        "        _stefan_potential(surface_vapour_pressure / pressure)\n"
        "        - _stefan_potential(air_vapour_pressure / pressure)\n",
        "        surface_vapour_pressure / pressure\n"
        "        - air_vapour_pressure / pressure\n",
    ),
    Mutation(
        "Lewis number left out",
        EXCHANGE,
        "        * lewis_power\n    )\n",
        "        * 1.0\n    )\n",
    ),
    Mutation(
        "expelled water does not leave its volume",
        FAST,
        "            f_w[i] -= out\n",
        "",
    ),
    Mutation(
        "expelled water leaves its heat behind",
        FAST,
        "            flux_e += stream * water_enthalpy(",
        "            flux_e += 0.0 * stream * water_enthalpy(",
        count=2,
    ),
    Mutation(
        "ledger copied from the contents",
        SIMULATE,
        "abs(e1 - e0 - gained) / scale",
        "abs(e1 - e0 - (e1 - e0)) / scale",
    ),
    Mutation(
        "radiation with the third power",
        EXCHANGE,
        "(wall_k**4 - surface_k**4)",
        "(wall_k**3 - surface_k**3) * 373.15",
    ),
    Mutation(
        "slope of radiation with the wrong sign",
        EXCHANGE,
        "return -4.0 * emissivity",
        "return 4.0 * emissivity",
    ),
    Mutation(
        "no boiling inside",
        STATEMENT,
        "rate = BOILING_RATE / depth",
        "rate = 0.0 / depth",
    ),
    Mutation(
        "boiling ten times too weak",
        STATEMENT,
        "rate = BOILING_RATE / depth",
        "rate = 0.1 * BOILING_RATE / depth",
    ),
    Mutation(
        "what heat did is undone on cooling",
        FAST,
        "            if t[i] > t_max[i]:\n                t_max[i] = t[i]\n",
        "            t_max[i] = t[i]\n",
    ),
    Mutation(
        "wrap without resistance",
        STATEMENT,
        "    if c.thermal_resistance <= 0.0:\n        return t\n",
        "    if c.thermal_resistance <= 1e9:\n        return t\n",
    ),
    Mutation(
        "conductivity of one side instead of the mean",
        FAST,
        "flux_e = g * 0.5 * (k_node[i] + k_node[i + 1]) * (t[i] - t[i + 1])",
        "flux_e = g * k_node[i] * (t[i] - t[i + 1])",
    ),
    Mutation(
        "a coefficient of the time stepping off by one per cent",
        FAST,
        "1.5452602553351020, g]",
        "1.5607128578884530, g]",
    ),
    Mutation(
        "drip and film exchanged",
        FAST,
        "bypass = (1.0 - m.surface_share) * stream",
        "bypass = 0.9 * m.surface_share * stream",
    ),
    Mutation(
        "water diffuses without the area of the face",
        FAST,
        "            flux_w *= g\n",
        "            flux_w *= 1.0 / spacing[i]\n",
    ),
    Mutation(
        "swelling pressure pulls instead of pushing",
        STATEMENT,
        "return modulus * width * math.log1p(e), modulus * e / (1.0 + e)",
        "return -0.5 * modulus * width * math.log1p(e), -0.5 * modulus * e / (1.0 + e)",
    ),
    Mutation(
        "chamber without an outlet",
        CHAMBER,
        "outward = leaving * GAS_RATIO / r.pressure",
        "outward = 0.0 * leaving",
        tests=("test_chamber.py",),
    ),
    Mutation(
        "condensation on the walls with the wrong sign",
        CHAMBER,
        "gain = carried_in + given_off - condensed",
        "gain = carried_in + given_off + condensed",
        tests=("test_chamber.py",),
    ),
    Mutation(
        "fresh air without its vapour",
        CHAMBER,
        "carried_in = (fresh + max(-breath, 0.0)) * outside_ratio + brought",
        "carried_in = brought",
        tests=("test_chamber.py",),
    ),
    Mutation(
        "air that warms does not breathe out",
        CHAMBER,
        "leaving = fresh + max(breath, 0.0)",
        "leaving = fresh",
        tests=("test_chamber.py",),
    ),
    Mutation(
        "what drips leaves its heat behind",
        FAST,
        "f_e[last] -= evaporated * hv + dripped * ew",
        "f_e[last] -= evaporated * hv",
        tests=("test_conservation.py", "test_chamber.py"),
    ),
    Mutation(
        "dew point of the air one step late",
        FAST,
        "_surroundings(then, segment, times, table, vapour_y, r, env_later)",
        "_surroundings(then, segment, times, table, vapour, r, env_later)",
        tests=("test_chamber.py",),
    ),
    Mutation(
        "what flows out of the surface is not spent",
        FAST,
        "        f_w[last] -= out\n        stream += out\n",
        "        f_w[last] -= volume[last] * expulsion(w[last], max(t[last], t_max[last]), m)\n"
        "        stream += out\n",
        tests=("test_conservation.py", "test_chamber.py"),
    ),
    Mutation(
        "injected water not counted",
        SIMULATE,
        "start_water = m.raw_water + piece.injected_water",
        "start_water = m.raw_water",
        tests=("test_together.py",),
    ),
    Mutation(
        "a spray without its heat",
        SIMULATE,
        "mixed = temperature((held + heat) / volume,",
        "mixed = temperature(held / volume,",
        tests=("test_together.py",),
    ),
    Mutation(
        "pieces take each other's vapour instead of sharing it",
        TOGETHER,
        "image = portions * rates.sum(axis=0) - rates",
        "image = rates - portions * rates.sum(axis=0)",
        tests=("test_together.py",),
    ),
    Mutation(
        "each piece alone with all of the chamber",
        SIMULATE,
        "share = chamber_share(piece, mesh) / s.portion",
        "share = chamber_share(piece, mesh)",
        tests=("test_together.py",),
    ),
    Mutation(
        "fibre direction swapped",
        BODY,
        'along = {"through": 0, "crosswise": 1, "lengthwise": 2}[grain]',
        'along = {"through": 2, "crosswise": 1, "lengthwise": 0}[grain]',
        tests=("test_local_physics.py",),
    ),
    Mutation(
        "no easier along the fibres than across them",
        STAGES,
        "easier = 1.0 + (self.material.grain_ratio - 1.0) * share",
        "easier = 1.0",
        tests=("test_local_physics.py",),
    ),
)
UNCHANGED = Mutation("nothing changed", BODY, "face_area=face**n,", "face_area=face**n,")
# Cheap to notice, for the ordinary run: the mutation and a test that must fail.
SAMPLE = (
    ("film evaporation with the wrong sign", "test_wet_surface"),
    ("latent heat missing", "test_vapour_takes_its_latent_heat"),
)


def apply(mutation: Mutation, folder: Path) -> None:
    """Copy the package to `folder` and change the text.

    Raises
    ------
    LookupError
        If the text to change is not there as often as expected: the package
        has moved on and the mutation must follow.
    """
    shutil.copytree(
        PACKAGE, folder / "coreward", ignore=shutil.ignore_patterns("__pycache__", "_workbench")
    )
    file = folder / "coreward" / mutation.file
    text = file.read_text(encoding="utf-8")
    found = text.count(mutation.old)
    if found != mutation.count:
        raise LookupError(f"{mutation.name}: found {found} times in {mutation.file}")
    file.write_text(text.replace(mutation.old, mutation.new), encoding="utf-8")


def caught_by(
    mutation: Mutation,
    tests: tuple[str, ...] = TESTS,
    leave_out: Collection[str] = (),
    most: int = 6,
) -> list[str]:
    """Return tests that fail with the mutation, by name, the first `most`.

    ``UNCHANGED`` for the mutation tells which fail without any: those to leave out.
    """
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        apply(mutation, folder)
        environment = {
            **os.environ,
            "PYTHONPATH": str(folder),
            "PYTHONDONTWRITEBYTECODE": "1",
            "CI": "1",
        }
        command = [
            sys.executable, "-m", "pytest", "-q", "--no-header", "--tb=no",
            "-p", "no:cacheprovider",
            f"--maxfail={most}",
            *(f"--deselect=tests/verification/{test}" for test in leave_out),
            *(f"tests/verification/{test}" for test in tests),
        ]  # fmt: skip
        run = subprocess.run(
            command,
            cwd=ROOT,
            env=environment,
            capture_output=True,
            text=True,
            check=False,
            timeout=1200,
        )
    # The summary of pytest's -ra, which the project sets.
    return re.findall(
        r"^(?:FAILED|ERROR) \S*?(test_\w+\.py::\S+|test_\w+\.py)", run.stdout, re.M
    )


def write_csv(file: Path, rows: list[tuple[str, str, str, str]]) -> None:
    """Write what was found, as `coreward.evidence.verification.mutation_rows` reads it."""
    with file.open("w", encoding="utf-8", newline="") as lines:
        writer = csv.writer(lines, lineterminator="\n")
        writer.writerow(("name", "file", "caught by", "seconds"))
        writer.writerows(rows)


def read_csv(file: Path) -> list[tuple[str, str, str, str]]:
    """Read what was found before; nothing where there is no such file."""
    if not file.is_file():
        return []
    with file.open(encoding="utf-8", newline="") as lines:
        return [(a, b, c, d) for a, b, c, d in list(csv.reader(lines))[1:]]


def main(arguments: list[str] | None = None) -> int:
    """Print a table; return 1 if a mutation survives."""
    parser = argparse.ArgumentParser(description="Break an equation, see which test notices.")
    parser.add_argument("word", nargs="*", help="only mutations with one of these in the name")
    parser.add_argument("--csv", type=Path, metavar="FILE", help="also write the table there")
    parser.add_argument(
        "--first", action="store_true", help="stop at the first test that notices"
    )
    options = parser.parse_args(arguments)
    wanted = options.word
    if options.csv and not options.csv.resolve().parent.is_dir():
        parser.error(f"there is no folder {options.csv.resolve().parent}")
    survivors = 0
    rows: list[tuple[str, str, str, str]] = []
    chosen = [
        mutation
        for mutation in MUTATIONS
        if not wanted or any(word in mutation.name for word in wanted)
    ]
    reached = tuple(test for test in TESTS if any(test in one.tests for one in chosen))
    before = set(caught_by(UNCHANGED, reached, most=100))
    for test in sorted(before):
        print(f"fails without any mutation, not counted: {test}", flush=True)
    for mutation in chosen:
        start = time.perf_counter()
        try:
            tests = caught_by(mutation, mutation.tests, before, 1 if options.first else 6)
        except LookupError as error:
            print(f"CANNOT APPLY  {error}", flush=True)
            survivors += 1
            rows.append((mutation.name, mutation.file, "", ""))
            continue
        survivors += not tests
        seconds = f"{time.perf_counter() - start:.0f}"
        print(
            f"{'caught' if tests else 'SURVIVES'}  {mutation.name} "
            f"({seconds} s, {len(tests)} failures)",
            flush=True,
        )
        shown: dict[str, int] = {}
        for test in tests:
            bare = test.split("[")[0]
            shown[bare] = shown.get(bare, 0) + 1
        for test, times in shown.items():
            print(f"        {test}{f'  x{times}' if times > 1 else ''}", flush=True)
        rows.append((mutation.name, mutation.file, "; ".join(shown), seconds))
    if options.csv:
        # Those that were not asked for keep what was found of them before.
        found = {row[0]: row for row in (*read_csv(options.csv), *rows)}
        write_csv(options.csv, [found[m.name] for m in MUTATIONS if m.name in found])
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main())
