"""All that is said of a watched log at one moment."""

from __future__ import annotations

from coreward import cautions
from coreward.questions.watch.answer import Watch
from coreward.reports.document import Document, Facts
from coreward.reports.things import document_of
from coreward.words import Held, Reading, Text, together


@document_of.register
def document(answer: Watch) -> Document:
    """Return what is new, how things stand, and until when nobody is needed."""
    said: tuple[Text, ...] = (*(one.words for one in answer.news), answer.quiet)
    lead = together(one for one in said if one)
    rows = tuple(
        (name, "nothing" if value is None else Reading(value))
        for name, value in answer.readings_c.items()
    )
    return Document(
        title="Does anybody have to come?",
        lead=lead if lead.values else "Nothing new.",
        blocks=(Facts((*rows, ("last row", Held(answer.age_s))), "How things stand"),),
        caution=(cautions.ODDS, cautions.ANSWER),
        answer=answer,
        numbers={"kind": "watch"},
    )
