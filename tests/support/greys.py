"""How light a colour is, and which inks meet on one axis."""

from __future__ import annotations

import numpy as np
from matplotlib import colors as mcolors

SHARED_AXES = {
    "temperature": ("core", "mean", "surface", "air", "wet_bulb", "dew_point"),
    "heat": ("evaporation", "convection", "radiation", "conduction"),
    "water": ("supply", "demand", "drip"),
    "log": ("air", "meat", "meat_2", "meat_3"),
}


def lightness(colour: str) -> float:
    """Return CIE lightness L* (0 black, 100 white) of an sRGB colour.

    The constants are those of IEC 61966-2-1 (sRGB) and of CIE 15 (L*), from memory.
    """
    rgb = np.asarray(mcolors.to_rgb(colour))
    linear = np.where(rgb <= 0.04045, rgb / 12.92, ((rgb + 0.055) / 1.055) ** 2.4)
    y = float(np.dot(linear, (0.2126, 0.7152, 0.0722)))
    return 116.0 * y ** (1.0 / 3.0) - 16.0 if y > 0.008856 else 903.3 * y
