"""Whether a standard may be used at all: moisture and oven, while it cooked.

Conditions count only in the stage they are meant for: from the first reading of the piece
until lethality is reached in it.
"""

from __future__ import annotations

import math

import numpy as np

from coreward.questions.verdict.case import ROUNDING_C, SURFACES, Case, lowest_oven
from coreward.tables.standards import Standard
from coreward.words import Held, Mass, Needed, Published, Reading, Text, say

_EXEMPT_SURFACES = SURFACES[:4]
_ENTIRE = 0.999

Application = tuple[bool, Text, Text]
"""Whether it may be used, why, and what would make it apply."""


def application(case: Case, standard: Standard, row_c: float, until_s: float) -> Application:
    """Return whether a standard may be used for a cook that was over at `until_s`."""
    if standard.moisture == "none":
        return True, "it sets no condition on humidity", ""
    if standard.moisture == "food code oven":
        return _food_code_oven(case, until_s)
    return _guideline_moisture(case, row_c, until_s)


def _stage(case: Case, until_s: float) -> tuple[float, float]:
    """Start and end of the cooking in the piece's own history. [s]."""
    start = float(case.record.time_s[0])
    return start, max(until_s, start)


def _humid_s(case: Case, until_s: float) -> float:
    """How long it was humid while it cooked. [s]."""
    start, end = _stage(case, until_s)
    if case.humidity is None:
        return min(case.humid_s or 0.0, end - start)
    time, percent = case.humidity
    enough = percent >= case.rules["humid_air"]
    counted = enough[:-1] & enough[1:] & (np.diff(time) <= case.record.longest_gap_s)
    inside = np.minimum(time[1:], end) - np.maximum(time[:-1], start)
    return float(np.sum(np.maximum(inside, 0.0)[counted]))


def _large(case: Case) -> bool:
    return case.mass_kg is not None and case.mass_kg >= case.rules["large_piece"]


def _guideline_moisture(case: Case, row_c: float, until_s: float) -> Application:
    rules = case.rules
    if case.surface in _EXEMPT_SURFACES:
        return True, f"the surface is kept moist ({case.surface}); no humidity is asked for", ""
    oven_c = lowest_oven(case, until_s)
    hot = Published(rules["large_piece_oven"])
    if _large(case) and oven_c is not None and oven_c >= rules["large_piece_oven"] - ROUNDING_C:
        large = Mass(rules["large_piece"])
        return True, say("{0} or more in an oven held at {1} or hotter", large, hot), ""
    start, end = _stage(case, until_s)
    cook_s, humid, hour = end - start, _humid_s(case, until_s), rules["humid_time"]
    if case.surface == "humid air" or case.humidity is not None:
        if humid >= cook_s * _ENTIRE:
            return True, "the air held 90 % relative humidity through the whole cook", ""
        if cook_s >= hour and humid >= max(rules["humid_share"] * cook_s, hour):
            return True, say("the air held 90 % relative humidity for {0}", Held(humid)), ""
    high_end = row_c >= rules["steam_end_point"] - ROUNDING_C
    if (
        case.surface in ("steam", "sealed oven")
        and high_end
        and cook_s >= hour
        and humid >= max(rules["steam_share"] * cook_s, hour)
    ):
        return True, say("{0} for {1}", case.surface, Held(humid)), ""
    what = (
        "the surface was dry"
        if case.surface == "dry"
        else "nothing in the record shows that the surface stayed moist while it cooked"
    )
    reason = (
        f"the time at temperature is there, but {what}: the table holds for a moist surface "
        "only (on a dry one bacteria can become heat tolerant)"
    )
    remedy = (
        "give a humidity record with 90 % for at least {0} of the cooking (a water pan or "
        "steam before the surface dries), or cook it in a sealed moisture-proof bag and say "
        "that it kept the surface moist, or for a piece of {1} or more hold the oven at {2} or "
        "hotter and say how hot it was at its coldest and what the piece weighs"
    )
    if not high_end:
        remedy += "; below an end point of {3} steam or a sealed oven alone does not do"
    needed = Needed(max(rules["humid_share"] * cook_s, hour) if math.isfinite(cook_s) else hour)
    ends_at = Published(rules["steam_end_point"])
    return False, reason, say(remedy, needed, Mass(rules["large_piece"]), hot, ends_at)


def _food_code_oven(case: Case, until_s: float) -> Application:
    rules = case.rules
    if case.surface == "sealed bag" or _humid_s(case, until_s) >= rules["humid_time"]:
        any_oven = "high humidity or a moisture-proof bag; any oven up to {0} may be used"
        return True, say(any_oven, Published(rules["large_piece_oven"], at_most=True)), ""
    remedy = (
        "say how hot the oven was at its coldest, whether it was still or convection, and "
        "what the piece weighs, or cook in a moisture-proof bag or above 90 % relative "
        "humidity for an hour"
    )
    oven_c = lowest_oven(case, until_s)
    if oven_c is None or case.mass_kg is None or (case.oven is None and not _large(case)):
        return False, "the oven's temperature, its kind or the mass is not known", remedy
    if _large(case):
        needed = rules["large_piece_oven"]
    else:
        needed = rules["still_oven_small" if case.oven == "still" else "convection_oven_small"]
    if oven_c >= needed - ROUNDING_C:
        held = "the oven held {0}, {1} are asked for"
        return True, say(held, Reading(oven_c), Published(needed)), ""
    short = "the oven was at {0} at its coldest; for this size {1} are asked for in dry air"
    return False, say(short, Reading(oven_c), Published(needed)), remedy
