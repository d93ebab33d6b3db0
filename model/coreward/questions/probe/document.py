"""All that is said of a probe's place."""

from __future__ import annotations

from coreward.questions.probe.answer import ProbeError
from coreward.questions.probe.figure import section_figure, section_words
from coreward.reports.document import Document, Facts, Listing, Picture, table_of
from coreward.reports.repeat import call, cook_code
from coreward.reports.things import document_of
from coreward.words import Degrees, Difference, Lasting, Length


@document_of.register
def document(answer: ProbeError) -> Document:
    """Return what is said of where a probe sits."""
    place = (
        ("end of the tip, across", Length(answer.across_m)),
        ("end of the tip, along", Length(answer.along_m)),
        ("stem leans by", f"{answer.angle_deg:g} degrees"),
        ("feels over", Length(answer.tip_m)),
        ("slowest point has", Degrees(answer.at_core_c, None)),
        ("after", Lasting(answer.core_s)),
    )
    rows = (
        (f"{one.way}", Length(one.off_m), Difference(one.over_k, 1), Lasting(one.early_s))
        for one in answer.others
    )
    columns = ("off the best place", "by", "reads too high by", "too early by")
    return Document(
        title="Where the probe sits",
        lead=answer.sentence,
        blocks=(
            Picture(
                lambda units: section_figure(answer, units),
                lambda units: section_words(answer, units),
            ),
            Facts(place, "The probe"),
            table_of("Other places", columns, rows),
            Listing(answer.assumptions, "What this takes for granted"),
        ),
        caution=(
            "A model's answer: it does not replace a second place with a calibrated "
            "thermometer, and safety is judged by the lowest reading.",
        ),
        code=lambda: _code(answer),
        answer=answer,
        numbers={"kind": "probe"},
    )


def _code(answer: ProbeError) -> str:
    given = {
        name: repr(getattr(answer, name))
        for name in ("across_m", "along_m", "angle_deg", "tip_m", "at_core_c")
    }
    lines = [cook_code(answer.cook).rstrip("\n")]
    lines += call("answer = cw.probe_error", given, ("cook",))
    return "\n".join([*lines, "print(cw.document(answer).text())", ""])
