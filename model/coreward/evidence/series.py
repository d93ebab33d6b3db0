"""Exact solutions of heat conduction, by series to full precision.

Carslaw and Jaeger, Conduction of Heat in Solids, 2nd ed. 1959, sections 3.11
(slab), 7.7 (cylinder) and 9.4 (sphere), surface condition of the third kind;
from memory, held by the tests against the one-term coefficients of textbooks.
Positions are in units of the half size, times are Fourier numbers. No engine
uses these: they are what engines are held against.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.optimize import brentq
from scipy.special import j0, j1, jn_zeros

from coreward.errors import InputError

Floats = NDArray[np.float64]
TERMS = 300
_SHAPES = ("slab", "cylinder", "sphere")


def roots(shape: str, biot: float, count: int = TERMS) -> Floats:
    """First positive roots of the surface condition.

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
    biot : float
        Heat transfer coefficient times half size over conductivity.
    count : int

    Returns
    -------
    ndarray, shape (count,)

    Raises
    ------
    InputError
        If the shape is unknown or the Biot number not positive and finite.
    """
    if shape not in _SHAPES:
        raise InputError(f"There is no series for {shape!r}; choose from {', '.join(_SHAPES)}.")
    if not (math.isfinite(biot) and biot > 0.0):
        raise InputError(f"The Biot number must be greater than zero; it is {biot}.")
    tiny = 1e-12
    if shape == "slab":
        edges = [(n * np.pi, n * np.pi + np.pi / 2) for n in range(count)]

        def f(z: float) -> float:
            return float(z * np.sin(z) - biot * np.cos(z))

    elif shape == "cylinder":
        lower = np.concatenate(([0.0], jn_zeros(1, count)))[:count]
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
    """Uniform start 1, surroundings 0, from Fourier number 0 on.

    Attributes
    ----------
    shape : str
    root, weight : ndarray, shape (terms,)
        Eigenvalues, and the weight of each eigenfunction.
    """

    shape: str
    root: Floats
    weight: Floats

    def mode(self, x: ArrayLike) -> Floats:
        """Eigenfunctions at positions `x`, last axis."""
        return modes(self.shape, self.root, x)

    def mean_of_modes(self) -> Floats:
        """Volume means of the eigenfunctions."""
        z = self.root
        mean: Floats
        if self.shape == "slab":
            mean = np.sin(z) / z
        elif self.shape == "cylinder":
            mean = 2.0 * j1(z) / z
        else:
            mean = 3.0 * (np.sin(z) - z * np.cos(z)) / z**3
        return mean

    def decay(self, fourier: ArrayLike) -> Floats:
        """What is left of each mode, last axis."""
        exponent = np.asarray(fourier, dtype=float)[..., None] * self.root**2
        left: Floats = np.exp(-np.minimum(exponent, 700.0))
        return left

    def at(self, x: float, fourier: ArrayLike) -> Floats:
        """Dimensionless temperature at one position."""
        value: Floats = self.decay(fourier) @ (self.weight * self.mode(x))
        return value

    def mean(self, fourier: ArrayLike) -> Floats:
        """Dimensionless volume mean."""
        value: Floats = self.decay(fourier) @ (self.weight * self.mean_of_modes())
        return value

    def integral(self, modes: Floats, fourier: ArrayLike) -> Floats:
        """Integral over Fourier number of the value that `modes` weigh."""
        value: Floats = (1.0 - self.decay(fourier)) @ (self.weight * modes / self.root**2)
        return value


def modes(shape: str, root: ArrayLike, x: ArrayLike) -> Floats:
    """Eigenfunctions of a shape for the given roots (last axis) at positions `x`."""
    z = np.asarray(x, dtype=float)[..., None] * np.asarray(root, dtype=float)
    value: Floats
    if shape == "slab":
        value = np.cos(z)
    elif shape == "cylinder":
        value = j0(z)
    else:
        value = np.sinc(z / np.pi)
    return value


def series(shape: str, biot: float) -> Series:
    """Eigenvalues and weights for a uniform start.

    Parameters
    ----------
    shape : {"slab", "cylinder", "sphere"}
    biot : float

    Returns
    -------
    Series

    Raises
    ------
    InputError
        As `roots`.
    """
    z = roots(shape, biot)
    if shape == "slab":
        weight = 4.0 * np.sin(z) / (2.0 * z + np.sin(2.0 * z))
    elif shape == "cylinder":
        weight = 2.0 * j1(z) / (z * (j0(z) ** 2 + j1(z) ** 2))
    else:
        weight = 4.0 * (np.sin(z) - z * np.cos(z)) / (2.0 * z - np.sin(2.0 * z))
    return Series(shape, z, weight)
