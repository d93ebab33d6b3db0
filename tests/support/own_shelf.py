"""Invented cooks of one's own: curves drawn with a ruler, paces and levels as stated."""

from __future__ import annotations

import math

import numpy as np

from coreward.experience.learned import usual_time
from coreward.experience.past_cook import PastCook


def past_cook(
    number: int,
    pace: float = 0.0,
    offset_k: float = 0.0,
    *,
    pit: str = "drum",
    scatter_k: float = 4.0,
    thickness_m: float = 0.1,
    finished: bool = True,
) -> PastCook:
    """Return a cook that took ``exp(pace)`` of the usual time, so far off its setting."""
    usual = usual_time("pork shoulder", thickness_m, 110.0, 93.0, 5.0)
    finish = usual * math.exp(pace)
    time = np.arange(0.0, finish + 601.0, 300.0)
    # A wave whose median departure is that of a bell curve of this scatter.
    wave = np.sin(1.7 * np.arange(len(time))) / (1.4826 * math.sin(math.pi / 4.0))
    return PastCook(
        name=f"cook {number:02d}",
        origin="own",
        cut="pork shoulder",
        time_s=time,
        air_c=110.0 + offset_k + scatter_k * wave,
        core_c=5.0 + 88.0 * time / finish,
        target_c=93.0,
        finish_s=finish if finished else None,
        thickness_m=thickness_m,
        mass_kg=None,
        start_c=5.0,
        pit=pit,
        pit_set_c=110.0,
    )
