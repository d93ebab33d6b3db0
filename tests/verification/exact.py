"""Exact solutions of heat conduction, by series to full precision.

Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, sections 3.11
(slab), 7.7 (cylinder) and 9.4 (sphere), surface condition of the third kind;
from memory, checked here against the one-term coefficients of textbooks.
Positions are in units of the half size, times are Fourier numbers.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

Floats = NDArray[np.float64]
TERMS = 300


def roots(shape: str, biot: float, count: int = TERMS) -> Floats:
    """First positive roots of the surface condition."""
    tiny = 1e-12
    if shape == "slab":
        edges = [(n * np.pi, n * np.pi + np.pi / 2) for n in range(count)]

        def f(z: float) -> float:
            return float(z * np.sin(z) - biot * np.cos(z))

    elif shape == "cylinder":
        lower = np.concatenate(([0.0], jn_zeros(1, count - 1)))
        edges = list(zip(lower, jn_zeros(0, count), strict=True))

        def f(z: float) -> float:
            return float(z * j1(z) - biot * j0(z))

    else:
        edges = [(n * np.pi, (n + 1) * np.pi) for n in range(count)]

        def f(z: float) -> float:
            return float((1.0 - biot) * np.sin(z) - z * np.cos(z))

    return np.array([brentq(f, a + tiny, b - tiny, xtol=1e-14, rtol=1e-14) for a, b in edges])


@dataclass(frozen=True)
class Series:
    """Uniform start 1, surroundings 0, from Fourier number 0 on."""

    shape: str
    root: Floats
    weight: Floats

    def mode(self, x: float | Floats) -> Floats:
        """Eigenfunctions, last axis."""
        z = np.asarray(x, dtype=float)[..., None] * self.root
        if self.shape == "slab":
            return np.cos(z)
        if self.shape == "cylinder":
            return j0(z)
        return np.sinc(z / np.pi)

    def mean_of_modes(self) -> Floats:
        """Volume means of the eigenfunctions."""
        z = self.root
        if self.shape == "slab":
            return np.sin(z) / z
        if self.shape == "cylinder":
            return 2.0 * j1(z) / z
        return 3.0 * (np.sin(z) - z * np.cos(z)) / z**3

    def decay(self, fourier: float | Floats) -> Floats:
        return np.exp(-np.minimum(np.asarray(fourier)[..., None] * self.root**2, 700.0))

    def at(self, x: float, fourier: Floats) -> Floats:
        """Dimensionless temperature at one position."""
        return self.decay(fourier) @ (self.weight * self.mode(x))

    def mean(self, fourier: Floats) -> Floats:
        return self.decay(fourier) @ (self.weight * self.mean_of_modes())

    def integral(self, modes: Floats, fourier: Floats) -> Floats:
        """Integral over Fourier number of the value that `modes` weigh."""
        return (1.0 - self.decay(fourier)) @ (self.weight * modes / self.root**2)


def series(shape: str, biot: float) -> Series:
    """Eigenvalues and weights for a uniform start."""
    z = roots(shape, biot)
    if shape == "slab":
        weight = 4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z))
    elif shape == "cylinder":
        weight = 2.0 * j1(z) / (z * (j0(z) ** 2 + j1(z) ** 2))
    else:
        weight = 4.0 * (np.sin(z) - z * np.cos(z)) / (2.0 * z - np.sin(2.0 * z))
    return Series(shape, z, weight)
