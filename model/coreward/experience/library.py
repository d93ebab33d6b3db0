"""The cooks of other makings that come with the package (``data/library``)."""

from __future__ import annotations

import csv
import io
from functools import cache
from pathlib import Path

import numpy as np

from coreward.errors import InputError
from coreward.experience.past_cook import PastCook

_EVERY_S = 300.0
_MISSING = -32768
# The library's words for a cut, and the name of table ``cut`` that comes nearest.
_CUTS = {
    "brisket_whole": "beef brisket whole",
    "brisket_flat": "beef brisket flat",
    "pork_shoulder": "pork shoulder",
    "beef_chuck": "beef chuck",
    "lamb_shoulder": "lamb shoulder",
    "spare_ribs": "pork spare ribs",
    "back_ribs": "pork spare ribs",
    "short_ribs": "beef ribs",
    "belly_soft": "pork belly",
    "belly_bacon": "pork belly",
    "pork_chop": "pork loin",
    "chicken_pieces": "chicken thigh",
    "turkey_breast": "turkey breast",
    "chicken_whole": "chicken breast",
    "turkey_whole": "turkey breast",
    "rib_roast": "beef rib roast",
    "small_roast": "beef rib roast",
    "round_roast": "beef round",
    "pork_loin": "pork loin",
    "fresh_ham": "pork ham",
    "lamb_leg": "lamb leg",
}


def library_folder() -> Path:
    """Return where the library lies: in a checkout, or in what was installed.

    Raises
    ------
    InputError
        If there is none.
    """
    package = Path(__file__).resolve().parents[1]
    for folder in (
        package.parents[1] / "data" / "library",
        package / "_workbench" / "data" / "library",
    ):
        if (folder / "curves.npz").is_file():
            return folder
    raise InputError(
        "The library of cooks did not come with this installation; install it again."
    )


@cache
def library_cooks() -> tuple[PastCook, ...]:
    """Return the library's cooks, read once."""
    return read_cooks(library_folder())


def read_cooks(folder: Path) -> tuple[PastCook, ...]:
    """Read a set of cooks in the form of ``data/library/README.md``.

    Only what a person would know and what the probes read is taken, and for a cook of the
    past when it was done; the true curves stay where they are.

    Parameters
    ----------
    folder : Path
        Holds ``cooks.csv`` and ``curves.npz``.
    """
    with np.load(folder / "curves.npz") as stored:
        air, core = (
            np.where(column == _MISSING, np.nan, column / 100.0)
            for column in (stored["read_air"], stored["read_core"])
        )
    text = (folder / "cooks.csv").read_text(encoding="utf-8")
    lines = list(csv.DictReader(io.StringIO(text)))
    cooks = []
    for line in lines:
        first, rows = int(line["first_row"]), int(line["rows"])
        part = slice(first, first + rows)
        cooks.append(
            PastCook(
                name=f"library {line['cook']}",
                origin="library",
                cut=_CUTS[line["cut"]],
                time_s=np.arange(0.0, _EVERY_S * rows, _EVERY_S),
                air_c=air[part],
                core_c=core[part],
                target_c=float(line["target_c"]),
                finish_s=_or_none(line["reading_finish_s"] or line["finish_s"]),
                thickness_m=float(line["thickness_mm"]) / 1000.0,
                mass_kg=float(line["mass_kg"]),
                start_c=float(line["start_c"]),
                pit=line["fire"],
                pit_set_c=float(line["pit_set_c"]),
                wrap=None if line["wrap"] == "none" or not line["wrap_s"] else line["wrap"],
                wrap_s=_or_none(line["wrap_s"]),
                structure=line["structure"],
            )
        )
    return tuple(cooks)


def _or_none(text: str) -> float | None:
    return float(text) if text else None
