"""What a report of each kind of thing holds."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, singledispatch
from importlib import import_module
from typing import Any, Final

from coreward.errors import InputError
from coreward.reports.document import Document
from coreward.reports.pictures import drawing

MODULES: Final = (
    "coreward.questions.stall.report",
    "coreward.questions.forecast.report",
    "coreward.questions.review.report",
    "coreward.questions.plan.report",
    "coreward.questions.rest.report",
    "coreward.questions.verdict.report",
)
"""Where the registered functions are; loaded when the first report is asked for."""


class _Dispatch:
    """`singledispatch` that loads the modules first and draws under our settings."""

    def __init__(self) -> None:
        self._by_type = singledispatch(_unknown)

    def register(self, function: Callable[..., Document]) -> Callable[..., Document]:
        """Add the report of a type: that of the annotation of the first argument.

        Parameters
        ----------
        function : callable
            Takes the thing and the keywords ``units``, ``title`` and ``code``, all
            optional; returns a `Document`.
        """
        added: Callable[..., Document] = self._by_type.register(function)
        return added

    def __call__(self, thing: Any, **about: Any) -> Document:
        """Return the report of a thing.

        Parameters
        ----------
        thing : object
            A cook, a log, a review, a verdict, or whatever was registered. A `Document` is
            returned as it is.
        **about
            ``units``: "C", "F" or a choice of units. ``title``: instead of the usual one.
            ``code``: lines of Python instead of those made from the thing.

        Raises
        ------
        InputError
            If nothing is known of such a thing.
        """
        _load()
        with drawing():
            return self._by_type(thing, **about)


@lru_cache(maxsize=1)
def _load() -> None:
    for name in MODULES:
        import_module(name)


def _unknown(thing: Any, **about: Any) -> Document:
    raise InputError(
        f"There is no report on a {type(thing).__name__}. Give a cook from cw.simulate, a log "
        "from cw.read_log, or what cw.review, cw.verdict or cw.carryover returned."
    )


document_of = _Dispatch()
"""Return the `Document` of a thing; `document_of.register` adds a kind of thing."""


@document_of.register
def _(thing: Document, **about: Any) -> Document:
    return thing


__all__ = ["MODULES", "document_of"]
