"""What a finished log cannot tell of its cook, as a page and a terminal ask for it."""

from __future__ import annotations

from collections.abc import Mapping

from coreward.inputs import Asked
from coreward.words import Degrees, Length, Mass

ASKED = (
    Asked("cut", "cut", "cut", "such as 'pork shoulder'; see `coreward tables piece`"),
    Asked("mass", "mass_kg", "weight, or", "raw; this or the thickness", Mass(5.2)),
    Asked(
        "thickness",
        "thickness_m",
        "thickness",
        "where it is thickest, or its diameter",
        Length(0.08),
    ),
    Asked("pit", "pit", "name of the pit", "your name of the pit, always the same", "drum"),
    Asked("set", "pit_set_c", "pit was set to", "what the pit was set to", Degrees(110.0)),
    Asked("target", "target_c", "pulled at", "the reading it was pulled at", Degrees(93.0)),
)
"""Each of `Finished` but the wrap, of which the log may tell."""
_SIZES = ("mass", "thickness")


def missing(given: Mapping[str, object]) -> list[tuple[Asked, ...]]:
    """Return what is asked for and was not given; of the sizes one is enough.

    Parameters
    ----------
    given : mapping
        From option to what was said.
    """
    sizes = tuple(one for one in ASKED if one.option in _SIZES)
    wanted = dict.fromkeys(sizes if one in sizes else (one,) for one in ASKED)
    return [each for each in wanted if all(given[one.option] in (None, "") for one in each)]
