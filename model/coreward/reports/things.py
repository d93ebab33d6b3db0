"""Which function makes the document of each kind of answer."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import cache, singledispatch
from importlib import import_module
from importlib.util import find_spec
from typing import Any, Final, TypeVar

from coreward.errors import InputError
from coreward.reports.document import Document

# What is given to a question, and the room that says it; an answer is said in its own room.
_GIVEN: Final = {
    "coreward.cook.result": "coreward.questions.stall",
    "coreward.cook.section": "coreward.questions.stall",
    "coreward.logs.log": "coreward.questions.review",
    "coreward.experience.own_cooks": "coreward.questions.keep",
}
Function = TypeVar("Function", bound=Callable[[Any], Document])


class _Dispatch:
    """`singledispatch` that loads the room of the answer first."""

    def __init__(self) -> None:
        self._by_type = singledispatch(_unknown)

    def register(self, function: Function) -> Function:
        """Add the document of a type: that of the annotation of the argument."""
        self._by_type.register(function)
        return function

    def __call__(self, answer: Any, *, title: str = "", code: str = "") -> Document:
        """Return all that is said of an answer.

        Parameters
        ----------
        answer : object
            A cook, a log, or what a question returned. A `Document` is returned as it is.
        title, code : str
            Instead of the usual title, and of the lines of Python made from the answer.

        Raises
        ------
        InputError
            If nothing is known of such a thing.
        """
        _load(type(answer).__module__)
        made = self._by_type(answer)
        if made.answer is None and made is not answer:
            made = replace(made, answer=answer)
        return replace(made, title=title or made.title, code=code or made.code)


@cache
def _load(module: str) -> None:
    """Import the document of the room that a module stands in, if it has one."""
    room = _GIVEN.get(module, module.rpartition(".")[0])
    if room.startswith("coreward.questions.") and find_spec(f"{room}.document"):
        import_module(f"{room}.document")


def _unknown(answer: Any) -> Document:
    raise InputError(
        f"There is no report on a {type(answer).__name__}. Give a cook from cw.simulate, a log "
        "from cw.read_log, or what cw.review, cw.verdict or cw.carryover returned."
    )


document_of = _Dispatch()
"""Return the `Document` of an answer; `document_of.register` adds a kind of answer."""


@document_of.register
def _(answer: Document) -> Document:
    return answer
