"""One row of the table of trust."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


Verdict = Literal["inside", "outside"]


@dataclass(frozen=True)
class TrustRow:
    """One case: what was published, what the model gives, and the verdict.

    Attributes
    ----------
    topic, case, source, status : str
        `status` says whether the source was read, derived from one that was read,
        or is common practice from memory.
    unit : str
    allowed : tuple of float
        Published value with its tolerance, or the published range. [unit]
    computed : tuple of float
        Lowest and highest that the model gives; equal unless the case is a bracket.
    published_text : str
        What the source says, in short.
    how : str
        How it was compared, and what had to be assumed.
    independent : bool
        False where the value was in view when a parameter of the model was chosen.
    published_value : float
        NaN for a range or a statement.
    """

    topic: str
    case: str
    source: str
    status: str
    unit: str
    allowed: tuple[float, float]
    computed: tuple[float, float]
    published_text: str
    how: str
    independent: bool = True
    published_value: float = math.nan

    @property
    def verdict(self) -> Verdict:
        """Return "inside" when computed and allowed ranges meet."""
        meets = self.computed[1] >= self.allowed[0] and self.computed[0] <= self.allowed[1]
        return "inside" if meets else "outside"

    @property
    def miss(self) -> float:
        """Distance of what we compute from the allowed range; 0 inside. [unit]."""
        if not all(map(math.isfinite, self.computed)):
            return math.inf
        return max(0.0, self.allowed[0] - self.computed[1], self.computed[0] - self.allowed[1])

    @property
    def published(self) -> str:
        """What was published, as text."""
        return self.published_text

    @property
    def ours(self) -> str:
        """What the model gives, as text."""
        low, high = self.computed
        if not math.isfinite(low):
            return "never"
        text = _number(low) if low == high else f"{_number(low)} to {_number(high)}"
        return f"{text} {self.unit}".strip()

    @property
    def difference(self) -> str:
        """Ours less the published value; for a range, how far outside it."""
        if math.isfinite(self.published_value) and self.computed[0] == self.computed[1]:
            return f"{self.computed[0] - self.published_value:+.3g} {self.unit}".strip()
        if self.verdict == "inside":
            return "within"
        return f"{self.miss:.3g} {self.unit} outside".strip()


def _number(value: float) -> str:
    return f"{value:.2f}" if abs(value) < 100 else f"{value:.0f}"
