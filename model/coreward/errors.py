"""Every error this package raises on purpose.

One base class, so that a panel, the command line or a script can show the
sentence to a person and keep everything else for the developer.
"""

from __future__ import annotations

from typing import Any


class CorewardError(Exception):
    """Base class. The message says what is wrong, where, and what to do.

    It is plain words, or a sentence with quantities (`coreward.words.Say`): as text it is
    in °C, and `shown` gives it in the units of the reader.
    """

    def shown(self, units: Any) -> str:
        """Return the message in the reader's units."""
        message = self.args[0] if self.args else ""
        # By duck: words stands above this module, since it raises these errors.
        show = getattr(message, "shown", None)
        return str(self) if show is None else str(show(units))


class InputError(CorewardError, ValueError):
    """A value a person or a program gave cannot be used."""


class OutOfRangeError(InputError):
    """A value lies outside the range in which the equation or table holds."""


class TableError(CorewardError):
    """A constants table is incomplete, inconsistent or has no such entry."""


class LogError(CorewardError):
    """A probe log cannot be read. The message names file, row and column."""


class SolverError(CorewardError):
    """The numerical solution failed; the result would not be trustworthy."""


class MissingFeatureError(CorewardError):
    """Something optional is not installed; the message says how to get it."""
