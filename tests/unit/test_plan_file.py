"""A plan written down: what a good file gives, and one sentence for every bad one."""

from __future__ import annotations

from pathlib import Path

import pytest

from coreward.errors import InputError
from coreward.questions.plan.file import _LONGEST_TITLE, read_plan_file

pytestmark = pytest.mark.quick

GOOD = """
title = "Supper"
serve_at = 2026-10-24T18:30:00
zone = "Europe/London"
chance = 0.8
not_before = 2026-10-24T06:00:00

[pit]
air = 112
dew_point = 30
fire = "charcoal"
warm_up = 1.5
turn_up = 140
turn_up_after = 5
pressure = 1000
doubt = { pit_level = 3.0 }

[[piece]]
name = "shoulder"
cut = "pork shoulder"
shape = "cylinder"
size = 120
start = 4
mass = 4.2
core = 93
tenderness = 0.9
most_loss = 0.45
crust_activity = 0.8
standards = ["us meat 6.5 log"]
wrap = "foil"
wrap_at = 70
not_before = 2026-10-24T07:00:00
slicing = 0.2
doubt = { size = 0.05 }
hold = { place = "box", least = 0.5, most = 6, preheated = 70, limit = "food code hot holding" }

[[piece]]
name = "brisket"
cut = "beef brisket flat"
shape = "slab"
size = 65
start = 4
mass = 3.4
core = 90
lethality = false
"""
DIGITS = "9" * 401


def read(folder: Path, text: str | bytes):
    path = folder / "plan.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_plan_file(path)


def test_every_key_of_a_file_arrives_in_si(tmp_path: Path) -> None:
    plan = read(tmp_path, GOOD)
    assert (plan.title, plan.chance) == ("Supper", 0.8)
    assert plan.serve_at.isoformat() == "2026-10-24T18:30:00+01:00"
    assert plan.not_before.isoformat() == "2026-10-24T06:00:00+01:00"
    pit = plan.pit
    assert (pit.air_c, pit.dew_point_c, pit.fire) == (112.0, 30.0, "charcoal")
    assert (pit.warm_up_s, pit.turn_up_c, pit.turn_up_after_s) == (5400.0, 140.0, 18000.0)
    assert (pit.pressure_pa, dict(pit.doubt)) == (100_000.0, {"pit_level": 3.0})
    one, two = plan.pieces
    assert (one.name, one.mass_kg, one.wrap, one.wrap_at_core_c) == (
        "shoulder",
        4.2,
        "foil",
        70,
    )
    assert (one.piece.shape.size, one.piece.start_c) == (pytest.approx(0.12), 4.0)
    assert one.piece.material.name == "pork shoulder"
    wanted = one.wanted
    assert (wanted.core_c, wanted.tenderness, wanted.most_loss) == (93.0, 0.9, 0.45)
    assert (wanted.crust_activity, wanted.lethality) == (0.8, ("us meat 6.5 log",))
    assert one.not_before.isoformat() == "2026-10-24T07:00:00+01:00"
    assert (one.slicing_s, dict(one.doubt)) == (720.0, {"size": 0.05})
    hold = one.hold
    assert (hold.place, hold.least_s, hold.most_s) == ("box", 1800.0, 21600.0)
    assert (hold.preheated_c, hold.limit) == (70.0, "food code hot holding")
    assert two.wanted.lethality is False
    assert two.wrap is None


def test_a_file_may_leave_out_what_has_a_usual_value(tmp_path: Path) -> None:
    short = GOOD[: GOOD.index("chance")] + GOOD[GOOD.index('[[piece]]\nname = "brisket') :]
    plan = read(tmp_path, short)
    assert (plan.chance, plan.not_before, plan.pit.air_c) == (None, None, 110.0)
    assert plan.pieces[0].hold.least_s == 1800.0


# What is replaced, by what, the place that has to be named, and a word of the remedy.
MUTATIONS = [
    ('zone = "Europe/London"\n', "", "zone is missing", "write a line"),
    ("serve_at = 2026-10-24T18:30:00\n", "", "serve_at is missing", "write a line"),
    ('name = "shoulder"\n', "", "piece 1: name is missing", "write a line"),
    ('cut = "pork shoulder"\n', "", "'shoulder': cut is missing", "write a line"),
    ('shape = "cylinder"\n', "", "'shoulder': shape is missing", "write a line"),
    ("size = 120\n", "", "'shoulder': size is missing", "write a line"),
    ("start = 4\nmass = 4.2", "mass = 4.2", "start is missing", "write a line"),
    ("core = 93\n", "", "core is missing", "write a line"),
    ("core = 93", "core_temp = 93", "core_temp is not known", "use name, wrap"),
    ("air = 112", "aire = 112", "pit: aire is not known", "use air"),
    ("least = 0.5", "lest = 0.5", "hold: lest is not known", "use place"),
    ("chance = 0.8", "chanse = 0.8", "chanse is not known", "use title"),
    ("core = 93", 'core = "hot"', "core is 'hot'", "must be a number"),
    ("core = 93", "core = true", "core is True", "must be a number"),
    ("core = 93", "core = nan", "core is nan", "must be a number"),
    ("core = 93", "core = inf", "core is inf", "must be a number"),
    ("core = 93", f"core = {DIGITS}", f"core is {DIGITS[:37]}...", "must be a number"),
    ("core = 93", "core = -93", "The core wanted is -93 °C", "give a number from 20 to 99"),
    ("core = 93", "core = 1e300", "The core wanted is 1e+99 °C", "give a number from 20 to 99"),
    ("core = 93", "core = [[[[93]]]]", "core is [[[[93]]]]", "must be a number"),
    ("core = 93", "core = 2026-10-24", "core is datetime.date", "must be a number"),
    ("core = 93", "core = { value = 93 }", "core is {'value': 93}", "must be a number"),
    ("core = 93", "core = 199.4", "The core wanted is 199.4 °C", "from 20 to 99 °C"),
    ("size = 120", "size = -120", "size is -120 mm", "from 5 to 600 mm"),
    ("size = 120", "size = 0.12", "size is 0.12 mm", "from 5 to 600 mm"),
    ("size = 120", "size = 1e9", "size is 1e+09 mm", "from 5 to 600 mm"),
    ("start = 4\nmass = 4.2", "start = -40\nmass = 4.2", "'shoulder': The start", "thaw it"),
    (
        "start = 4\nmass = 4.2",
        "start = 400\nmass = 4.2",
        "'shoulder': The start",
        "lie between",
    ),
    ("mass = 4.2", "mass = -4.2", "the mass is -4.2 kg", "from 0.02 to 200 kg"),
    ("mass = 4.2", "mass = 0", "the mass is 0 kg", "from 0.02 to 200 kg"),
    ("mass = 4.2", "mass = 4200", "the mass is 4200 kg", "from 0.02 to 200 kg"),
    ("mass = 4.2", 'mass = "4.2 kg"', "mass is '4.2 kg'", "must be a number"),
    ("mass = 4.2\n", "", "needs the mass", "mass_kg"),
    ("tenderness = 0.9", "tenderness = -1", "tenderness is -1", "give a number above 0"),
    ("most_loss = 0.45", "most_loss = 45", "most_loss is 45", "at most 0.7"),
    ("crust_activity = 0.8", "crust_activity = 2", "crust_activity is 2", "at most 1"),
    ('standards = ["us meat 6.5 log"]', "standards = []", "lethality is ()", "use True"),
    ('standards = ["us meat 6.5 log"]', "standards = [1]", "standards is [1]", "in quotes"),
    ('["us meat 6.5 log"]', '"us meat 6.5 log"', "standards is 'us meat", "in quotes"),
    ('["us meat 6.5 log"]', '["us meat 66 log"]', "no standard called", "try us meat"),
    ("lethality = false", 'lethality = "no"', "lethality is 'no'", "write true or false"),
    ("lethality = false", "lethality = 0", "lethality is 0", "write true or false"),
    (
        'standards = ["us',
        'lethality = true\nstandards = ["us',
        "lethality is True",
        "write true",
    ),
    ('wrap = "foil"', 'wrap = "wool"', "the wrap is 'wool'", "use foil"),
    ('wrap = "foil"', 'wrap = ["foil"]', "wrap is ['foil']", "word in quotes"),
    ('wrap = "foil"\n', "", "give both the wrap and", "or neither"),
    ("wrap_at = 70", "wrap_at = 95", "wrapped at a core of 95 °C", "must lie between"),
    ("wrap_at = 70", "wrap_at = 1e9", "the core at the wrap is 1e+09", "from -30 to 99"),
    ("slicing = 0.2", "slicing = -1", "the time to slice is -1 h", "from 0 to 96 h"),
    ("slicing = 0.2", "slicing = 1e12", "the time to slice is 1e+12 h", "from 0 to 96 h"),
    ("doubt = { size = 0.05 }", "doubt = { size = -1 }", "doubt of size is -1", "from 0 to"),
    ("doubt = { size = 0.05 }", "doubt = { luck = 1 }", "no doubt called luck", "use size"),
    ("doubt = { size = 0.05 }", "doubt = 0.05", "doubt is 0.05", "names and values"),
    ("doubt = { size = 0.05 }", 'doubt = { size = "x" }', "doubt of size is 'x'", "number"),
    ("doubt = { pit_level = 3.0 }", "doubt = { size = 3 }", "no doubt called size", "use heat"),
    ('place = "box"', 'place = "attic"', "hold: There is no place 'attic'", "use 'box'"),
    ('place = "box"', "place = 5", "hold: place is 5", "word in quotes"),
    ("least = 0.5", "least = 7", "shorter than the least rest", "lengthen"),
    ("least = 0.5", "least = -1", "The least rest is -1 h", "from 0 to 96 h"),
    ("most = 6", "most = 1e9", "The longest hold is 1e+09 h", "from 0 to 96 h"),
    ("preheated = 70", "preheated = 700", "The preheated box is 700 °C", "from -30 to 99"),
    (
        'limit = "food code hot holding"',
        'limit = "warm"',
        "limit is called 'warm'",
        "there are",
    ),
    ("hold = { place", 'hold = "box"\nx = { place', "x is not known", "use name"),
    ("air = 112", "air = 20", "pit: The pit is 20 °C", "from 60 to 220 °C"),
    ("air = 112", 'air = "112 °C"', "pit: air is '112 °C'", "must be a number"),
    ("air = 112", "air = 150", "turned up to 140", "must lie above"),
    ("dew_point = 30", "dew_point = -300", "The dew point is -300 °C", "from -30 to 99"),
    ('fire = "charcoal"', 'fire = "dragon"', "pit: ", "dragon"),
    ('fire = "charcoal"', "fire = 7", "pit: fire is 7", "word in quotes"),
    ("warm_up = 1.5", "warm_up = -1", "The time to warm up is -1 h", "from 0 to 96 h"),
    ("turn_up_after = 5\n", "", "the hotter level and when it begins", "or neither"),
    ("pressure = 1000", "pressure = 1", "The pressure is 1 hPa", "from 500 to 1100 hPa"),
    ("chance = 0.8", "chance = 80", "The chance wanted is 80", "between 0.5 and 0.99"),
    ("chance = 0.8", 'chance = "sure"', "chance is 'sure'", "must be a number"),
    ('zone = "Europe/London"', 'zone = "Moon/Base"', "no time zone 'Moon/Base'", "write one"),
    ('zone = "Europe/London"', 'zone = ""', "no time zone ''", "write one such as"),
    ('zone = "Europe/London"', "zone = 1", "zone is 1", "word in quotes"),
    ('zone = "Europe/London"', 'zone = "a\\u0000b"', "no time zone", "write one such as"),
    ('zone = "Europe/London"', 'zone = "Europe"', "no time zone 'Europe'", "write one such as"),
    (
        "serve_at = 2026-10-24T18:30:00",
        "serve_at = 18:30:00",
        "serve_at is",
        "a date with a time",
    ),
    ("serve_at = 2026-10-24T18:30:00", "serve_at = 2026-10-24", "serve_at is", "a date with a"),
    (
        "serve_at = 2026-10-24T18:30:00",
        'serve_at = "tonight"',
        "serve_at is 'tonight'",
        "a date",
    ),
    ("serve_at = 2026-10-24", "serve_at = 2026-13-24", "is no TOML", "check that place"),
    ("serve_at = 2026-10-24", "serve_at = 9999-12-31", "in the year 9999", "from 2000 to 2199"),
    ("serve_at = 2026-10-24", "serve_at = 0001-01-01", "in the year 1", "from 2000 to 2199"),
    (
        "serve_at = 2026-10-24T18",
        "serve_at = 2027-03-28T01",
        "serve_at: The time 2027",
        "Give a",
    ),
    (
        "not_before = 2026-10-24T07",
        "not_before = 2027-03-28T01",
        "does not exist",
        "Give a time",
    ),
    ("not_before = 2026-10-24T06:00:00", "not_before = 6", "not_before is 6", "a date with"),
    ('name = "brisket"', 'name = "shoulder"', "have the same name, 'shoulder'", "give each"),
    ('name = "brisket"', 'name = "Shoulder "', "have the same name, 'shoulder'", "give each"),
    ('name = "brisket"', 'name = " "', "Give each piece a name", "which is which"),
    ('name = "brisket"', "name = 7", "piece 2: name is 7", "word in quotes"),
    ('name = "brisket"', 'name = "a\\u0000b"', "cannot stand on a sheet", "in one line"),
    ('name = "brisket"', f'name = "{"x" * 999}"', "cannot stand on a sheet", "at most 80"),
    ('cut = "pork shoulder"', 'cut = "unicorn"', "'shoulder': ", "unicorn"),
    ('cut = "pork shoulder"', "cut = []", "cut is []", "word in quotes"),
    ('shape = "slab"', 'shape = "ring"', "the shape is 'ring'", "use slab"),
    ('shape = "slab"', "shape = {}", "shape is {}", "word in quotes"),
    ('title = "Supper"', "title = 5", "title is 5", "word in quotes"),
    ('title = "Supper"', 'title = "a\\nb"', "title is 'a", "in one line"),
    ("chance = 0.8", "chance = [", "is no TOML", "check that place"),
    ("chance = 0.8", "chance = " + "[" * 5000, "is no TOML", "check that place"),
    ("chance = 0.8", "chance = " + "9" * 5000, "is no TOML", "check that place"),
    ("chance = 0.8", "chance = 0.8\nchance = 0.8", "is no TOML", "check that place"),
    ("[pit]\n", "[pit]\n\x00", "is no TOML", "check that place"),
]


@pytest.mark.parametrize(("old", "new", "place", "remedy"), MUTATIONS)
def test_a_slip_is_one_sentence_with_place_and_remedy(
    tmp_path: Path, old: str, new: str, place: str, remedy: str
) -> None:
    assert GOOD.count(old) >= 1
    with pytest.raises(InputError) as refused:
        read(tmp_path, GOOD.replace(old, new, 1))
    said = str(refused.value)
    assert said.startswith(("plan.toml", "The plan plan.toml"))
    assert place in said
    assert remedy in said
    assert said.isprintable()
    assert said[-1] in ".?"
    assert len(said) < 400


def test_there_are_enough_slips() -> None:
    assert len(MUTATIONS) >= 100
    assert len({(old, new) for old, new, _, _ in MUTATIONS}) == len(MUTATIONS)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\npiece = []', "at least one"),
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\npiece = [1, 2]', r"\[\[piece\]\]"),
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\n[piece]\nname = "a"', r"\[\[piece\]\]"),
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\npit = 5\npiece = []', "at least one"),
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\npiece = 5', r"\[\[piece\]\]"),
        ('serve_at = 2026-10-24T18:30:00\nzone = "UTC"\n[piece]\n', r"\[\[piece\]\]"),
        (GOOD.replace("[pit]", "pit = 5\n[pitt]"), "pitt is not known"),
        ("pit = 5\n" + GOOD[: GOOD.index("[pit]")] + GOOD[GOOD.index("[[piece]]"):],
         "pit is 5; write names and values"),
        ("", "zone is missing"),
        (b"\xff\xfe\x00", "cannot be read"),
        ("#" * 200_000, "it is no plan"),
        (GOOD + GOOD[GOOD.index("[[piece]]"):] * 5, "12 pieces; a plan takes 10 at most"),
    ],
)  # fmt: skip
def test_what_is_no_plan_at_all_is_said(tmp_path: Path, text, message: str) -> None:
    with pytest.raises(InputError, match=message):
        read(tmp_path, text)


@pytest.mark.parametrize("name", ["none.toml", "a\0b.toml", ".", "x" * 5000])
def test_a_path_that_cannot_be_is_said(tmp_path: Path, name: str) -> None:
    with pytest.raises(InputError, match=r"cannot be read .*: check the name of the file"):
        read_plan_file(str(tmp_path) + "/" + name)


def test_the_demo_file_is_read(root: Path) -> None:
    demo = read_plan_file(root / "data/demo/village-hall-supper.toml")
    assert [one.name for one in demo.pieces] == ["shoulder", "brisket", "turkey"]


def test_a_title_has_at_most_so_many_letters(tmp_path: Path) -> None:
    longest = "x" * _LONGEST_TITLE
    assert read(tmp_path, GOOD.replace('"Supper"', f'"{longest}"')).title == longest
    with pytest.raises(InputError, match=f"give at most {_LONGEST_TITLE} letters"):
        read(tmp_path, GOOD.replace('"Supper"', f'"{longest}x"'))


def test_names_of_standards_are_all_words(tmp_path: Path) -> None:
    with pytest.raises(InputError, match="write names in quotes, between"):
        read(tmp_path, GOOD.replace('["us meat 6.5 log"]', '["us meat 6.5 log", 5]'))
