"""All that is said of a cook that was kept, and of those that are."""

from __future__ import annotations

from collections.abc import Sequence

from coreward import cautions
from coreward.experience.learned import learned, pits
from coreward.experience.own_cooks import OwnCook, Shelf
from coreward.experience.past_cook import PastCook
from coreward.questions.keep.answer import Kept
from coreward.reports.document import Block, Document, Listing, table_of
from coreward.reports.things import document_of
from coreward.words import Degrees, Lasting, Length, Mass, Text, say, together


@document_of.register
def document(answer: Kept) -> Document:
    """Return what was kept, and what the pit has taught by now."""
    cook = answer.own.cook
    count = len(answer.own.happened)
    events = f"What the log told goes with it: {count} event{'' if count == 1 else 's'}."
    return Document(
        title="A cook of your own, kept",
        lead=together((_line(cook), events, *answer.noted, *answer.learned.said)),
        blocks=(),
        caution=(cautions.ODDS,),
        answer=answer,
        numbers={"kind": "kept cook", "said": answer.learned.said},
    )


@document_of.register
def of_shelf(answer: Shelf) -> Document:
    """Return a list of the cooks that are kept, and what each pit has taught."""
    count = len(answer.kept)
    lead = say(
        "{0} of your own {1} kept in {2}, and nowhere else.",
        f"{count} cook{'' if count == 1 else 's'}",
        "is" if count == 1 else "are",
        str(answer.place),
    )
    rows = [_row(each) for each in answer.kept]
    taught = [learned(answer.cooks, pit) for pit in pits(answer.cooks)]
    blocks: list[Block] = []
    if rows:
        columns = ("name", "piece", "pit", "time", "to")
        blocks.append(table_of("Your cooks", columns, rows))
    said = [sentence for one in taught for sentence in one.said]
    if said:
        blocks.append(Listing(tuple(said), "What they have taught"))
    if answer.damaged:
        blocks.append(
            Listing(tuple(why for _, why in answer.damaged), "Cannot be used, and left alone")
        )
    return Document(
        title="Your own cooks",
        lead=lead,
        blocks=tuple(blocks),
        caution=(cautions.ODDS,),
        answer=answer,
        numbers={
            "kind": "own cooks",
            "place": str(answer.place),
            "learned": taught,
            "said": said,
        },
    )


def _line(cook: PastCook) -> Text:
    took: Text = "not finished"
    if cook.finish_s is not None:
        took = say("{0} to {1}", Lasting(cook.finish_s), Degrees(cook.target_c, None))
    wrapped: Text = ""
    if cook.wrap is not None and cook.wrap_s is not None:
        wrapped = say(", in {0} from {1} on", cook.wrap, Lasting(cook.wrap_s))
    return say(
        "Kept as '{0}': {1}, {2}{3}.",
        cook.name,
        _piece(cook),
        took,
        wrapped,
    )


def _piece(cook: PastCook) -> Text:
    sizes: list[Text] = [cook.cut]
    if cook.mass_kg is not None:
        sizes.append(Mass(cook.mass_kg))
    if cook.thickness_m is not None:
        sizes.append(Length(cook.thickness_m))
    return together(sizes, ", ")


def _row(own: OwnCook) -> Sequence[Text]:
    cook = own.cook
    return (
        cook.name,
        _piece(cook),
        say("{0} at {1}", cook.pit, Degrees(cook.pit_set_c, None)),
        "not finished" if cook.finish_s is None else Lasting(cook.finish_s),
        Degrees(cook.target_c, None),
    )
