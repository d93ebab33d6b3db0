"""Reports: whole, self-contained, repeatable, and proof against what labels may hold."""

from __future__ import annotations

import dataclasses
import datetime as dt
import errno
import io
import os
import re
import xml.etree.ElementTree as ET
import zipfile
from html.parser import HTMLParser
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from matplotlib.figure import Figure
from pypdf import PdfReader

import coreward as cw
from coreward import cautions, cli, tables
from coreward.cook.result import Result
from coreward.drawing import style
from coreward.errors import InputError
from coreward.logs.log import Channel, ProbeLog, Repair
from coreward.questions.forecast.answer import forecast
from coreward.questions.review.answer import Review
from coreward.questions.verdict import Verdict
from coreward.reports.document import (
    Data,
    Document,
    Facts,
    Finding,
    Heading,
    Lines,
    Listing,
    PageBreak,
    Paragraph,
    Picture,
    Table,
    data_of,
    table_of,
    tables_digest,
    versions,
)
from coreward.reports.html_page import block_html, html_page
from coreward.reports.pdf_pages import pdf_pages
from coreward.reports.pictures import png_bytes, svg_text
from coreward.reports.repeat import cook_code, expression
from coreward.reports.things import document_of
from coreward.reports.write import KINDS, download_link, file_name, report, report_bytes
from coreward.words import Degrees, Held, Needed, Published, say, shown
from support.greys import lightness
from support.pictures import is_drawn

ROOT = Path(__file__).parents[2]
HOSTILE = (
    "<script>alert('x')</script>\"&'><img src=http://evil.example/a.png onerror=y> $\\frac{"
)
VOID = {"meta", "img", "br", "link", "input", "hr"}


class StrictParser(HTMLParser):
    """Raise where a tag is not closed in order, an id occurs twice or a script is there."""

    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.open: list[str] = []
        self.ids: set[str] = set()
        self.tags: list[str] = []
        self.links: list[str] = []
        self.words: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.handle_startendtag(tag, attrs)
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        names = [name for name, _ in attrs]
        assert len(names) == len(set(names)), f"<{tag}> has an attribute twice: {names}"
        for name, value in attrs:
            assert not name.startswith("on"), f"<{tag}> runs something: {name}"
            if name == "id":
                assert value not in self.ids, f"id {value} occurs twice"
                self.ids.add(value or "")
            if name in ("src", "href", "xlink:href"):
                self.links.append(value or "")

    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open[-1] == tag, f"</{tag}> closes <{self.open[-1]}>"
        self.open.pop()

    def handle_data(self, data: str) -> None:
        if not self.open or self.open[-1] not in ("style", "script"):
            self.words.append(data)

    @property
    def text(self) -> str:
        return " ".join(" ".join(self.words).split())


def parsed(page: str) -> StrictParser:
    parser = StrictParser()
    parser.feed(page)
    parser.close()
    assert parser.open == []
    assert "script" not in parser.tags
    # Self-contained: only links into the page and files held by the page.
    assert [link for link in parser.links if not link.startswith(("#", "data:"))] == []
    return parser


def pdf_text(content: bytes) -> str:
    pages = PdfReader(io.BytesIO(content)).pages
    return " ".join(" ".join(page.extract_text() for page in pages).split())


@pytest.fixture(scope="module")
def cook() -> Result:
    piece = cw.Piece(
        cw.Slab(0.05), cw.meat("pork shoulder", permeability="feyissa2013"), start_c=4.0
    )
    pit = cw.Surroundings(air_c=([0.0, 3600.0], [90.0, 120.0]), dew_point_c=30, air_speed=0.7)
    stages = [
        cw.Stage(pit, duration_s=3 * 3600.0, until_core_c=60.0, label="bare"),
        cw.Stage(cw.Surroundings(110.0, 30.0), duration_s=3600.0, wrap="foil"),
        cw.rest_stage("towels", 1800.0, piece=piece),
    ]
    return cw.simulate(piece, stages, cells=30)


@pytest.fixture(scope="module")
def log() -> ProbeLog:
    return cw.read_log(ROOT / "data" / "demo" / "harvest-supper.csv")


@pytest.fixture(scope="module")
def review(log: ProbeLog) -> Review:
    found: Review = cw.review(log, organism="salmonella beef guideline", probe_error_k=0.7)
    return found


@pytest.fixture(scope="module")
def verdict(log: ProbeLog) -> Verdict:
    found: Verdict = cw.verdict(log, meat="pork", surface="sealed bag", cooling=True)
    return found


# -- what a report holds ---------------------------------------------------------------------


def test_cook_report_holds_everything_asked_for(cook: Result) -> None:
    assert "To repeat it" not in report_bytes(cook, "html").decode("utf-8")
    page = report_bytes(cook, "html", with_code=True).decode("utf-8")
    parser = parsed(page)
    for words_ in (
        "pork shoulder",
        "slab, 50 mm",
        "Caution",
        "calibrated thermometer",
        "To repeat it",
        "Sources",
        f"Coreward {cw.__version__}",
        f"tables of constants {tables_digest()}",
        "cook.csv",
    ):
        assert words_ in parser.text
    for source in cook.sources:
        assert source.title.rstrip(".") in parser.text
    assert "svg" in parser.tags
    assert "numpy" in parser.text


def test_review_report_tells_every_repair_and_assumption(review: Review) -> None:
    text = parsed(report_bytes(review, "html").decode("utf-8")).text
    assert len(review.repairs) > 0
    for repair in review.repairs:
        assert repair.reason in text
    for sentence in (*review.assumptions, *review.caution, *review.understood):
        assert " ".join(str(sentence).split()) in text
    # Rounded down, and the figure less the probe error, never the larger one.
    assert review.coldest.lethality is not None
    assert "over 10,000 min" in text


def test_verdict_report_tells_all_views_and_never_says_safe(verdict: Verdict) -> None:
    text = parsed(report_bytes(verdict, "html").decode("utf-8")).text
    for item in verdict.standards:
        assert shown(item.title, "C") in text
    for limit in verdict.limits:
        assert shown(limit.text, "C") in text
    for sentence in (*verdict.assumptions, *verdict.cautions, *verdict.blind_spots):
        assert shown(sentence, "C") in text
    assert "given: surface sealed bag" in text
    assert not re.search(r"\bis safe\b", text.replace("that food is safe to eat", ""))


def _turkey(**given: Any) -> Verdict:
    """A log of a turkey breast that keeps 66.5 °C, more or less, for two hours."""
    time_s = np.arange(0.0, 5 * 3600.0, 15.0)
    wave = 0.2 * np.sin(time_s / 500.0)
    core = np.minimum(4.0 + time_s / 180.0, 66.5 + wave)
    meat = Channel("breast", "meat", core)
    start = dt.datetime(2026, 10, 24, 14, 20)
    log = ProbeLog(time_s, start, (meat,), source="supper.csv")
    found: Verdict = cw.verdict(log, meat="turkey", standards=["uk 70 for 2 min"], **given)
    return found


@pytest.mark.parametrize("units", ["C", "F"])
def test_the_first_page_is_what_an_inspector_reads(units: str) -> None:
    answer = _turkey()
    assert answer.state == "met"
    entries = {"Kitchen": "Lower Wending hall", "Batch": "T1"}
    content = report_bytes(answer, "pdf", units=units, entries=entries)
    pages = PdfReader(io.BytesIO(content)).pages
    first = " ".join(pages[0].extract_text().split())
    only = next(item for item in answer.standards if item.counts)
    for words_ in (
        "Kitchen Lower Wending hall Batch T1",
        "24 October 2026, 14:20 to 19:19",
        "log supper.csv, 1200 readings in 5 h",
        "turkey, intact",
        "UK health officer (FSA)",
        "MET",
        shown(answer.headline, units),
        shown(only.title, units),
        shown(say("{0} at {1}", Needed(only.required_s), Published(only.limit_c)), units),
        shown(Held(only.held_s), units),
        *(shown(sentence, units) for sentence in answer.assumptions),
        *cautions.REPORT,
        "Cooked by: name, date, time",
        "Seen by: name, office, date, time",
        f"page 1 of {len(pages)}",
    ):
        assert " ".join(words_.split()) in first, words_
    whole = pdf_text(content)
    assert "To repeat it" not in whole
    assert "import coreward" not in whole
    assert "To repeat it" in pdf_text(report_bytes(answer, "pdf", with_code=True))
    if units == "F":
        assert "°C" not in whole.replace("70 °C for 2 min", "")
    for source in document_of(answer).sources:
        assert " ".join(source.split()) in whole


def test_the_command_fills_the_form_and_shows_code_when_asked(tmp_path: Path) -> None:
    target = tmp_path / "r.html"
    log = str(ROOT / "data" / "demo" / "harvest-supper.csv")
    command = ["report", log, "--verdict", "--meat", "pork", "-o", str(target)]
    assert cli.main([*command, "--entry", "Kitchen=Village hall"]) == 0
    page = target.read_text(encoding="utf-8")
    assert "<dt>Kitchen</dt><dd>Village hall</dd>" in page
    assert "To repeat it" not in page
    assert cli.main([*command, "--with-code"]) == 0
    assert "To repeat it" in target.read_text(encoding="utf-8")
    assert cli.main([*command, "--entry", "Cook=x"]) == cli.EXIT_ERROR


def test_what_is_not_known_is_a_line_to_fill_in() -> None:
    page = report_bytes(_turkey(), "html").decode("utf-8")
    assert "<dt>Kitchen</dt><dd></dd>" in page
    assert "<dt>Cooked by</dt><dd></dd>" in page
    parsed(page)
    filled = report_bytes(_turkey(), "html", entries={"Kitchen": HOSTILE}).decode("utf-8")
    parsed(filled)
    assert "<dt>Kitchen</dt><dd></dd>" not in filled
    with pytest.raises(InputError, match="no entry 'Kitchn'; use Kitchen, Batch,"):
        report_bytes(_turkey(), "html", entries={"Kitchn": "x"})
    with pytest.raises(InputError, match="it has none"):
        report_bytes(Document("t", "l", ()), "html", entries={"Kitchen": "x"})


@pytest.mark.parametrize("state", ["met", "not met", "cannot tell"])
def test_a_finding_is_told_by_words_and_shape(state: Any) -> None:
    found = Document("t", "lead", (Finding(state, "lead", "why", "change"),))
    page = report_bytes(found, "html").decode("utf-8")
    assert parsed(page).text.split().count("lead") == 1
    shapes = {"met": "<circle", "not met": 'fill="#a3200f"', "cannot tell": "stroke-dasharray"}
    for name, mark in shapes.items():
        assert (mark in page) == (name == state)
    for text in (parsed(page).text, pdf_text(report_bytes(found, "pdf")), found.text()):
        assert f"{state.upper()}" in text
        assert "why" in text
        assert "What would change it" in text


def test_a_log_is_reported_by_its_review(log: ProbeLog) -> None:
    found = document_of(cw.review(log, organism="salmonella beef guideline")).shown()
    assert "Salmonella" in " ".join(column for column in _columns(found))
    assert "Salmonella" not in " ".join(column for column in _columns(document_of(log).shown()))


def _columns(document: Document) -> list[str]:
    return [
        column
        for block in document.blocks
        if isinstance(block, Table)
        for column in block.columns
    ]


def test_forecast_report(log: ProbeLog) -> None:
    piece = cw.Piece(cw.Slab(0.065), cw.meat("beef brisket point"), start_c=4.0)
    told = forecast(log, piece, 90.0, meat=2, until_s=8 * 3600.0, members=20)
    found = document_of(told, code="x = 1").shown("F")
    page = html_page(found)
    text = parsed(page).text
    assert "194 °F" in text
    assert "A forecast gives odds, not a promise" in text
    assert "5 in 100" in text
    assert "svg" in page
    bands = next(data for data in found.attached() if data.name == "forecast-bands.csv")
    header = bands.text.splitlines()[1].split(",")
    assert header == ["time_s", "p5_c", "p25_c", "p50_c", "p75_c", "p95_c"]
    # Without the log there is no picture, and the words still stand.
    past = dataclasses.replace(told.fitted.past, log=None)
    bare = dataclasses.replace(told, fitted=dataclasses.replace(told.fitted, past=past))
    assert not any(isinstance(block, Picture) for block in document_of(bare).blocks)


def test_carryover_report_and_its_code(tmp_path: Path) -> None:
    piece = cw.Piece(cw.Cylinder(0.08), cw.meat("pork loin"), start_c=5.0)
    oven = cw.Surroundings(air_c=160.0, dew_point_c=40.0)
    stages = [
        cw.Stage(oven, duration_s=6 * 3600.0, until_core_c=50.0),
        cw.rest_stage("kitchen", 2400.0, piece=piece),
    ]
    told = cw.carryover(cw.simulate(piece, stages, cells=30))
    found = document_of(told).shown("F")
    text = parsed(html_page(found)).text
    assert "After the pull: pork loin" in text
    assert "core at the pull 122.0 °F" in text
    assert "°C" not in found.lead
    again = _run(document_of(told).repeat(), tmp_path)["answer"]
    assert again.sentence == told.sentence


def test_units_are_the_readers(cook: Result, verdict: Verdict) -> None:
    shown = parsed(report_bytes(cook, "html", units="F").decode("utf-8")).text
    assert "39.2 °F" in shown  # 4 °C at the start
    assert "1.97 in" in shown
    assert "°C" not in shown.split("Data")[0]
    found = document_of(verdict).shown("F")
    limits = [item for item in verdict.standards if item.limit_c is not None]
    table = next(b for b in found.blocks if isinstance(b, Table) and "standard" in b.title)
    asked = re.findall(r" at (\d+\.\d) °F", " ".join(row[2] for row in table.rows))
    assert limits
    # Turned into °F upwards: never a limit that is lower than the one that was judged.
    exact = sorted(float(9 / 5 * item.limit_c + 32) for item in limits if item.limit_c)
    assert [
        0.0 <= shown - real < 0.1 + 1e-6
        for shown, real in zip(sorted(map(float, asked)), exact, strict=True)
    ] == [True] * len(exact)


def test_title_and_code_can_be_given(cook: Result) -> None:
    found = document_of(cook, title="Supper", code="print('mine')")
    assert (found.title, found.code) == ("Supper", "print('mine')")


def test_warnings_of_a_cook_are_in_its_report(cook: Result) -> None:
    warned = dataclasses.replace(cook, warnings=("Beware of the dog.",))
    assert "Beware of the dog." in html_page(document_of(warned))


def test_an_unknown_thing_is_refused() -> None:
    with pytest.raises(InputError, match=r"no report on a dict.*cw\.simulate"):
        report_bytes({}, "html")


def test_another_kind_of_thing_is_added_in_five_lines() -> None:
    @dataclasses.dataclass(frozen=True)
    class Wish:
        what: str

    def document(thing: Wish) -> Document:
        return Document("A wish", thing.what, (Paragraph(say("{0} hot", Degrees(100.0))),))

    document.__annotations__["thing"] = Wish  # a class of this function, not of the module
    document_of.register(document)
    assert "212 °F hot" in report_bytes(Wish("more smoke"), "html", units="F").decode()
    assert "100 °C hot" in document_of(Wish("more smoke")).text()
    assert document_of(Wish("more smoke")).data() == {"what": "more smoke"}
    assert "more smoke" in report_bytes(Wish("more smoke"), "html").decode()
    assert "more smoke" in pdf_text(report_bytes(Wish("more smoke"), "pdf"))


# -- the same again --------------------------------------------------------------------------


def test_the_same_cook_gives_the_same_bytes(cook: Result) -> None:
    assert report_bytes(cook, "html") == report_bytes(cook, "html")


def test_the_same_document_gives_the_same_bytes() -> None:
    def packed() -> bytes:
        data = (Data("a.csv", "a\n1\n"),)
        shown = (Picture(figure(), "alt"), Facts((("a", "b"),)))
        return report_bytes(Document("t", "l", shown, files=data, code="1"), "zip")

    assert KINDS[-1] == "zip"  # which holds every other kind
    assert packed() == packed()


def test_no_machine_and_no_date_in_a_report(cook: Result) -> None:
    page = report_bytes(cook, "html").decode()
    assert str(ROOT) not in page
    assert not re.search(r"20\d\d-\d\d-\d\d", page)
    assert "<metadata" not in page


def _run(code: str, folder: Path) -> dict[str, Any]:
    space: dict[str, Any] = {}
    before = Path.cwd()
    os.chdir(folder)
    try:
        exec(compile(code, "repeat.py", "exec"), space)
    finally:
        os.chdir(before)
    return space


def test_the_code_of_a_cook_repeats_it(cook: Result, tmp_path: Path) -> None:
    # The wrap of the towels is made by the rest and is no set of a table: without the last
    # stage everything has a name, and the answer must be the same to the last digit.
    named = cw.simulate(cook.piece, cook.stages[:2], cells=30)
    again = _run(cook_code(named), tmp_path)["cook"]
    np.testing.assert_array_equal(again.core_c, named.core_c)
    np.testing.assert_array_equal(again.mass_loss_fraction, named.mass_loss_fraction)


def test_the_code_says_what_it_cannot_repeat(cook: Result) -> None:
    changed = cw.meat(
        "pork shoulder", transport=tables.load("transport").replace(surface_share=0.9)
    )
    other = dataclasses.replace(
        cook, piece=dataclasses.replace(cook.piece, material=changed), stages=cook.stages[:1]
    )
    assert "changed by hand" in cook_code(other)
    assert "changed by hand" not in cook_code(cook)


def test_a_changed_wrap_is_repeated(cook: Result, tmp_path: Path) -> None:
    foil = tables.load("wrap", "foil").replace(emissivity=0.5)
    stages = [dataclasses.replace(cook.stages[1], wrap=foil)]
    named = cw.simulate(cook.piece, stages, cells=30)
    again = _run(cook_code(named), tmp_path)["cook"]
    np.testing.assert_array_equal(again.core_c, named.core_c)


def test_a_dry_solid_is_reported_and_repeated(tmp_path: Path) -> None:
    piece = cw.Piece(cw.Sphere(0.06), cw.constant_material(0.45, 1050.0, 3500.0), start_c=10.0)
    cook = cw.simulate(piece, cw.Stage(cw.Surroundings(80.0), duration_s=3600.0), cells=20)
    assert parsed(report_bytes(cook, "html").decode()).text
    again = _run(cook_code(cook), tmp_path)["cook"]
    np.testing.assert_allclose(again.core_c, cook.core_c, rtol=1e-12)


def test_the_zip_repeats_a_review_from_what_is_in_it(review: Review, tmp_path: Path) -> None:
    path = report(review, tmp_path / "all.zip")
    with zipfile.ZipFile(path) as packed:
        assert packed.testzip() is None
        packed.extractall(tmp_path)
        names = packed.namelist()
    assert {"report.html", "report.pdf", "repeat.py", "harvest-supper-cleaned.csv"} <= set(
        names
    )
    again = _run((tmp_path / "repeat.py").read_text(encoding="utf-8"), tmp_path)["answer"]
    assert again.coldest.lethality == review.coldest.lethality
    assert again.coldest.ranges == review.coldest.ranges


def test_a_verdict_is_repeated_from_its_data(verdict: Verdict, tmp_path: Path) -> None:
    found = document_of(verdict)
    for data in found.attached():
        (tmp_path / data.name).write_text(data.text, encoding="utf-8")
    again = _run(found.repeat(), tmp_path)["answer"]
    assert again.state == verdict.state
    assert again.headline == verdict.headline
    assert [item.held_s for item in again.standards] == [
        item.held_s for item in verdict.standards
    ]


def test_a_verdict_on_a_cook_or_a_pair_is_repeated(cook: Result, tmp_path: Path) -> None:
    named = cw.simulate(cook.piece, cook.stages[:2], cells=30)
    told = cw.verdict(named, meat="pork", surface="sealed bag")
    code = document_of(told).repeat()
    assert _run(code, tmp_path)["answer"].headline == told.headline
    pair = cw.verdict((named.time_s, named.core_c), meat="pork", surface="sealed bag")
    report(pair, tmp_path / "pair.csv")
    (tmp_path / "pair.csv").rename(tmp_path / "judged-record.csv")
    again = _run(document_of(pair).repeat(), tmp_path)["answer"]
    assert again.headline == pair.headline
    assert again.standards == pair.standards


# -- hostile and foreign content -------------------------------------------------------------


def hostile_log(label: str, rows: int = 60) -> ProbeLog:
    time_s = np.arange(rows) * 60.0
    return ProbeLog(
        time_s,
        None,
        (
            Channel(label, "meat", np.linspace(5.0, 70.0, rows)),
            Channel(f"{label} air", "air", np.full(rows, 110.0)),
        ),
        repairs=(Repair(3, label, label, label, label, label),),
        understood=(label,),
        source=f"{label}.csv",
        warnings=(label,),
    )


def test_hostile_labels_stay_words() -> None:
    page = report_bytes(hostile_log(HOSTILE), "html").decode()
    parser = parsed(page)  # no script, no handler, no address outside
    assert "<script" not in page
    assert "alert('x')" in parser.text
    assert "default-src 'none'" in page
    short = Document(HOSTILE, HOSTILE, (Facts(((HOSTILE, HOSTILE),)),), code=HOSTILE)
    assert "alert('x')" in pdf_text(pdf_pages(short))
    assert report_bytes(hostile_log(HOSTILE), "csv").startswith(b"# coreward probe log")


def test_a_dollar_sign_is_no_formula() -> None:
    assert "$5 and $6" in report_bytes(hostile_log("$5 and $6"), "html").decode()


def test_control_characters_are_dropped() -> None:
    page = report_bytes(hostile_log("a\x00\x0b\x1bb"), "html").decode()
    assert not re.search(r"[\x00-\x08\x0b\x0c\x0e-\x1f]", page)
    assert "ab" in pdf_text(pdf_pages(Document("t", "a\x00\x0bb", ())))


LETTERS = ("Grüße", "Свинина", "χοιρινό", "כתף", "ضأن", "豚肩肉", "🔥")


@pytest.mark.parametrize("label", LETTERS)
def test_letters_of_other_scripts_in_html(label: str) -> None:
    log = hostile_log(label, rows=3)
    assert label in parsed(report_bytes(log, "html").decode("utf-8")).text


def test_letters_of_other_scripts_on_paper() -> None:
    rows = tuple((str(number), label) for number, label in enumerate(LETTERS))
    text = pdf_text(pdf_pages(Document("Letters", "", (Facts(rows),))))
    for label in LETTERS[:3]:
        assert label in text
    # Not in the font: shown as boxes, and the page says so.
    assert "□" in text
    assert "4 different letters are not in the font" in text
    assert "the HTML form of this report has them" in text


def test_spreadsheets_get_no_formulas() -> None:
    data = data_of("a.csv", {"=HYPERLINK(1)": [1.0, 2.0], "words": ["=cmd()", "-3"]}, "note")
    lines = data.text.splitlines()
    assert lines[1] == "'=HYPERLINK(1),words"
    assert lines[2] == "1.0,'=cmd()"
    assert lines[3] == "2.0,-3"


def test_long_tables_and_long_cells() -> None:
    rows = [(str(number), "x" * 30, "end") for number in range(300)]
    rows.append(("long", "word " * 900, "last"))
    rows.append(("unbroken", "y" * 3000, "very last"))
    document = Document(
        "Long", "", (table_of("All rows", ("number", "what", "why"), rows, (1, 3, 1)),)
    )
    page = parsed(html_page(document))
    assert page.tags.count("tr") == len(rows) + 1
    reader = PdfReader(io.BytesIO(pdf_pages(document)))
    texts = [page.extract_text() for page in reader.pages]
    assert len(texts) > 6
    # The headings are on every page that has rows, and no row is lost.
    assert all("number" in text for text in texts)
    every = " ".join(" ".join(texts).split())
    assert all(f"{number} xxx" in every for number in range(0, 300, 37))
    assert every.count("word") == 900
    assert sum(text.count("y") for text in texts) >= 3000


def test_a_report_of_nothing_but_words() -> None:
    document = Document(
        "Words",
        "Lead.",
        (
            Heading("A heading"),
            Paragraph("Plain."),
            Paragraph("Small.", "small"),
            Facts((("name", "value"),), "Facts"),
            Listing(("one", "two"), "List"),
            Listing(("tick me",), boxes=True),
            Table(("a", "b"), (), "Empty"),
            Lines(2),
            PageBreak(),
            Paragraph("On the second page.", "strong"),
        ),
        caution=("Careful.",),
        footer="The end.",
    )
    text = parsed(html_page(document)).text
    pages = PdfReader(io.BytesIO(pdf_pages(document))).pages
    for words_ in ("Lead.", "A heading", "Plain.", "value", "two", "tick me", "Careful."):
        assert words_ in text
        assert words_ in pages[0].extract_text()
    assert "On the second page." in pages[1].extract_text()
    assert "page 2 of 2" in " ".join(pages[1].extract_text().split())
    assert block_html(Heading("<b>")) == "<h2>&lt;b&gt;</h2>"


def test_a_table_with_a_missing_cell_is_refused() -> None:
    with pytest.raises(InputError, match="2 headings"):
        Table(("a", "b"), (("only one",),), "Odd")
    with pytest.raises(InputError, match="not equally long"):
        data_of("a.csv", {"a": [1.0], "b": [1.0, 2.0]})


# -- figures ---------------------------------------------------------------------------------


def figure(label: str = "core") -> Figure:
    drawn = Figure()
    ax = drawn.subplots()
    ax.plot([0, 1], [0, 1], label=label)
    ax.set_yscale("symlog")
    ax.legend()
    return drawn


def test_text_in_a_figure_stays_text_and_ids_do_not_meet() -> None:
    first, second = (svg_text(figure("brisket"), prefix) for prefix in ("a-", "b-"))
    assert ">brisket</text>" in first
    ids = [set(re.findall(r'\bid="([^"]+)"', text)) for text in (first, second)]
    assert ids[0]
    assert not ids[0] & ids[1]
    used = set(re.findall(r'(?:url\(#|href="#)([^)"]+)', first))
    assert used <= ids[0]
    ET.fromstring(first)  # well formed by itself
    assert first == svg_text(figure("brisket"), "a-")


def test_figures_are_readable_in_grey() -> None:
    # What a grey printer makes of our two main inks on white must stay apart.
    core, air = (lightness(style.PALETTE[name]) for name in ("core", "air"))
    assert core < 30
    assert abs(core - air) > 10
    assert is_drawn(png_bytes(figure()))


def test_pdf_has_figure_alt_text_and_attached_data(cook: Result) -> None:
    reader = PdfReader(io.BytesIO(report_bytes(cook, "pdf")))
    assert sum(len(page.images) for page in reader.pages) == 1
    assert reader.attachments["cook.csv"][0].decode().startswith("# Computed by Coreward")
    assert reader.metadata is not None
    assert reader.metadata.title == "A cook of pork shoulder"
    text = " ".join(" ".join(p.extract_text() for p in reader.pages).split())
    assert "does not replace a calibrated thermometer" in text
    assert "page 1 of" in text


# -- files -----------------------------------------------------------------------------------


def test_report_writes_by_suffix(cook: Result, tmp_path: Path) -> None:
    short = Document("Short", "Said.", (), files=(Data("a.csv", "a"),))
    for suffix, start in ((".html", b"<!DOCTYPE html>"), (".PDF", b"%PDF"), (".zip", b"PK")):
        path = report(short, tmp_path / f"supper{suffix}")
        assert path.read_bytes().startswith(start)
    table = report(cook, tmp_path / "supper.csv")
    assert table.read_text(encoding="utf-8") == cook.to_csv_text()
    assert (tmp_path / "supper-cook-surface.csv").is_file()


@pytest.mark.parametrize("name", ["supper.docx", "supper"])
def test_an_unknown_suffix_is_refused(cook: Result, name: str, tmp_path: Path) -> None:
    with pytest.raises(InputError, match=r"\.html, \.pdf, \.csv or \.zip"):
        report(cook, tmp_path / name)
    assert list(tmp_path.iterdir()) == []


def test_no_data_means_no_csv(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="holds no data"):
        report(Document("a", "", ()), tmp_path / "a.csv")


def test_a_full_disk_leaves_the_old_report(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    target = tmp_path / "supper.html"
    target.write_text("yesterday's")

    def full(number: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(InputError, match=r"The report cannot be written.*disk is full"):
        report(Document("Short", "", ()), target)
    assert target.read_text() == "yesterday's"
    assert [path.name for path in tmp_path.iterdir()] == ["supper.html"]


def test_download_link_holds_the_file() -> None:
    link = download_link(b"abc", "../<evil>.pdf")
    parser = parsed(f"<p>{link}</p>")
    assert parser.links == ["data:application/pdf;base64,YWJj"]
    assert "Save evil-.pdf" in parser.text or "Save -evil-.pdf" in parser.text


@pytest.mark.parametrize(
    ("label", "name"),
    [("a/b\\c.csv", "b-c.csv"), ("", "data"), ("..", "data"), ("Жар.csv", "Жар.csv")],
)
def test_file_names_are_fit_for_every_disk(label: str, name: str) -> None:
    assert file_name(label) == name


def test_the_command_writes_reports(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(tmp_path / "cache"))
    log = str(ROOT / "data" / "demo" / "quiet-sunday.csv")
    page = tmp_path / "sunday.html"
    assert cli.main(["report", log, "-o", str(page), "--show-units", "F"]) == 0
    assert str(page) in capsys.readouterr().out
    assert "Review of quiet-sunday.csv" in parsed(page.read_text(encoding="utf-8")).text
    judged = tmp_path / "judged.html"
    given = ["--verdict", "--meat", "pork", "--probe-error", "2", "--json"]
    assert cli.main(["report", log, "-o", str(judged), *given]) == 0
    assert '"kind": "report"' in capsys.readouterr().out
    text = parsed(judged.read_text(encoding="utf-8")).text
    assert "Does it meet its target?" in text
    assert "2 K" in text
    missing = str(tmp_path / "none" / "a.pdf")
    assert cli.main(["report", log, "-o", missing]) == cli.EXIT_ERROR
    assert "no such folder" in capsys.readouterr().err


# -- parts ----------------------------------------------------------------------------------


def test_expressions_give_their_value_back() -> None:
    for value in (1.5, float("inf"), None, True, "a'b", (1.0,), [1, 2], np.float64(0.1)):
        assert eval(expression(value)) == value
    assert expression(np.array([1.0, 2.5])) == "[1.0, 2.5]"


def test_versions_name_the_tables() -> None:
    assert dict(versions())["tables of constants"] == tables_digest()
    assert re.fullmatch(r"[0-9a-f]{12}", tables_digest())


def test_data_is_plain() -> None:
    assert Data("a.csv", "x").note == ""
    assert isinstance(document_of(Document("t", "", (Picture(figure(), "alt"),))), Document)


def test_the_code_of_a_cook_in_a_chamber_knows_the_whole_piece(tmp_path: Path) -> None:
    """Its mass, what was injected and its grain once were left out: another cook."""
    piece = cw.Piece(
        cw.Slab(0.03),
        cw.meat("beef brisket flat", **cw.FLOWING),
        4.0,
        1.5,
        0.1,
        grain="through",
    )
    stage = cw.Stage(cw.Chamber(107.0, 1.5, heat_transfer=8.0), duration_s=1800.0)
    cook = cw.simulate(piece, stage, cells=20, tolerance=0.05)
    again = _run(cook_code(cook), tmp_path)["cook"]
    assert again.piece.mass_kg == 1.5
    assert again.piece.injected_fraction == 0.1
    assert again.piece.grain == "through"
    assert again.core_c[-1] == pytest.approx(cook.core_c[-1], abs=1e-6)
