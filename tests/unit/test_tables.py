"""The constants are complete, plausible and findable; defects are refused by name."""

from __future__ import annotations

import math
import pickle
from pathlib import Path

import pytest

from coreward import tables
from coreward.errors import TableError

KINDS_OF_THE_MODEL = (
    "choi_okos",
    "conductivity",
    "cut",
    "diffusivity",
    "elastic_modulus",
    "emissivity",
    "fire",
    "permeability",
    "sorption",
    "surface",
    "transitions",
    "transport",
    "water_holding",
    "wrap",
)

# What a number of a given quantity can be at all, wide enough for any food and any
# pit: a slip of a decimal point falls outside, a disagreement of sources does not.
PLAUSIBLE_BY_UNIT = {
    "kg/kg": (0.0, 1.0),
    "-": (0.0, 30.0),
    "degC": (-20.0, 150.0),
    "m": (0.01, 0.3),
    "m2/s": (1e-12, 1e-8),
    "J/mol": (0.0, 1e5),
    "m2": (0.0, 1e-14),
    "Pa": (1e3, 1e6),
    "Pa s": (1e-5, 1e-4),
    "1/s": (0.0, 1e-2),
    "s": (1.0, 600.0),
    "kg/m2": (0.0, 100.0),
    "m2 K/W": (0.0, 0.1),
    "m/s": (0.0, 30.0),
    "kg/(m2 s)": (0.0, 0.1),
    "W/(m2 K)": (3.0, 50.0),
    "J/kg": (0.0, 1.2e5),
    "K": (-30.0, 260.0),
    "W/(m K)": (0.1, 0.7),
    "W/(m K2)": (-1e-2, 1e-2),
    "W/(m K3)": (-1e-4, 1e-4),
    "kg/m3": (700.0, 2600.0),
    "kg/(m3 K)": (-1.0, 1.0),
    "kg/(m3 K2)": (-1e-2, 1e-2),
    "J/(kg K)": (1000.0, 4300.0),
    "J/(kg K2)": (-10.0, 10.0),
    "J/(kg K3)": (-0.02, 0.02),
    "kg/h": (0.0, 0.5),
}

PLAUSIBLE_BY_NAME = {
    "emissivity": (0.02, 1.0),
    "meat_emissivity": (0.5, 1.0),
    "wall_emissivity": (0.02, 1.0),
    "lewis_number_power": (0.8, 1.1),
    "mixing_exponent": (0.0, 1.0),
    "monolayer": (0.03, 0.15),
    "k": (0.8, 1.0),
    "surface_share": (0.0, 1.0),
    "vapour_permeance_factor": (0.0, 1.0),
    "convective_coefficient": (3.0, 50.0),
    "reference_value": (1e-11, 1e-8),
}

RECORDS = list(tables.all_records())
RECORD_IDS = [f"{kind}-{name}-{parameter}" for kind, name, parameter, _ in RECORDS]
# Tables of other layers (safety, logs) bring their own units; they are checked there.
MODEL_RECORDS = [entry for entry in RECORDS if entry[0] in KINDS_OF_THE_MODEL]
MODEL_RECORD_IDS = [f"{kind}-{name}-{parameter}" for kind, name, parameter, _ in MODEL_RECORDS]

GOOD_RECORD = {
    "value": "1.0",
    "unit": '"m"',
    "range": "[0.5, 2.0]",
    "source": '"common_practice"',
    "basis": '"assumed"',
    "status": '"memory"',
}


def table_text(*, set_lines: str = 'title = "A"\ndefault = true', **changes: str | None) -> str:
    """Return a table of one record; a change of None drops the line."""
    lines = {**GOOD_RECORD, **changes}
    body = "\n".join(f"{key} = {value}" for key, value in lines.items() if value is not None)
    return f"[a]\n{set_lines}\n[a.length]\n{body}\n"


def write(folder: Path, text: str, name: str = "made_up.toml") -> Path:
    path = folder / name
    path.write_text(text, encoding="utf-8")
    return path


# --- every record of the package -------------------------------------------------------


def test_the_tables_of_the_model_are_all_there():
    assert set(KINDS_OF_THE_MODEL) <= set(tables.kinds())
    assert "sources" not in tables.kinds()


@pytest.mark.parametrize(("kind", "name", "parameter", "record"), RECORDS, ids=RECORD_IDS)
def test_every_record_is_complete(kind, name, parameter, record):
    assert math.isfinite(record.value)
    assert record.unit
    assert record.inside_range
    assert record.basis in tables.BASES
    assert record.status in tables.STATUSES
    cited = tables.source(record.source)
    assert record.where or cited.general
    # A number nobody measured has to say why it is what it is, unless its source is
    # the open admission that there is no reason.
    if kind in KINDS_OF_THE_MODEL and record.source in ("assumed_here", "prior_set"):
        assert record.note


@pytest.mark.parametrize(
    ("kind", "name", "parameter", "record"), MODEL_RECORDS, ids=MODEL_RECORD_IDS
)
def test_every_value_is_plausible_for_its_quantity(kind, name, parameter, record):
    low, high = PLAUSIBLE_BY_NAME.get(parameter, PLAUSIBLE_BY_UNIT[record.unit])
    assert low <= record.value <= high
    if parameter.endswith("_c"):
        assert record.unit == "degC"


def test_a_decimal_slip_would_be_seen():
    """The plausible band of density catches a factor of ten either way."""
    low, high = PLAUSIBLE_BY_UNIT["kg/m3"]
    for name in tables.names("choi_okos"):
        density = tables.load("choi_okos", name)["density_c0"]
        assert not low <= density * 10 <= high
        assert not low <= density / 10 <= high


@pytest.mark.parametrize("kind", KINDS_OF_THE_MODEL)
def test_sets_of_one_table_can_stand_in_for_each_other(kind):
    first = tables.load(kind)
    for name in tables.names(kind):
        other = tables.load(kind, name)
        assert set(other) == set(first)
        assert {key for key, _ in other.texts} == {key for key, _ in first.texts}


def test_every_source_is_cited_somewhere():
    """A source that nothing cites is a leftover; checks in the tests count as citing."""
    root = Path(__file__).parents[2]
    files = [*(root / "model").rglob("*.py"), *(root / "tests").rglob("*.py")]
    files += [file for file in (root / "model").rglob("*.toml") if file.name != "sources.toml"]
    cited = "\n".join(file.read_text(encoding="utf-8") for file in files)
    assert not [key for key in tables.sources() if key not in cited]


def test_defaults():
    expected = {
        "choi_okos": "water",
        "cut": "beef brisket flat",
        "water_holding": "honikel_fit",
        "transport": "expulsion",
        "sorption": "gab_fresh_anchored",
        "transitions": "beef_dsc",
        "wrap": "none",
    }
    assert {kind: tables.default_name(kind) for kind in expected} == expected
    assert tables.load("cut").name == "beef brisket flat"


# --- cuts ------------------------------------------------------------------------------


@pytest.mark.parametrize("name", tables.names("cut"))
def test_composition_sums_to_one(name):
    cut = tables.load("cut", name)
    total = sum(cut[part] for part in ("water", "protein", "fat", "ash", "carbohydrate"))
    # Each printed part carries an error of sampling; 2 % is the worst a row may show.
    assert total == pytest.approx(1.0, abs=0.02)


@pytest.mark.parametrize("name", tables.names("cut"))
def test_cut_texts(name):
    cut = tables.load("cut", name)
    assert cut.text("species") in {"beef", "pork", "chicken", "turkey", "lamb", "salmon"}
    assert cut.text("usual_shape") in {"slab", "cylinder", "sphere"}
    assert cut.record("usual_thickness").source == "common_practice"


def test_every_species_has_its_transitions():
    species = {tables.load("cut", name).text("species") for name in tables.names("cut")}
    covered = {
        word
        for name in tables.names("transitions")
        for word in tables.load("transitions", name).text("species").split(", ")
    }
    assert species <= covered


# --- physics of the numbers ------------------------------------------------------------


def mixture_heat_capacity(composition: dict[str, float], temperature_c: float) -> float:
    total = 0.0
    for name, fraction in composition.items():
        component = tables.load("choi_okos", name)
        total += fraction * sum(
            component[f"heat_capacity_c{power}"] * temperature_c**power for power in range(3)
        )
    return total


# Heat capacity above freezing, source ashrae_2006: ASHRAE Handbook Refrigeration 2006
# ch. 9, Table 3 (read in a copy), with the composition of the row of the same vintage in
# the USDA Standard Reference (read): water, protein, fat, ash in kg/kg.
ASHRAE_TABLE_3 = {
    "beef carcass choice, NDB 13001": (0.5726, 0.1732, 0.2405, 0.0081, 3240.0),
    "beef carcass select, NDB 13002": (0.5821, 0.1748, 0.2255, 0.0082, 3250.0),
    "pork belly, NDB 10005": (0.3674, 0.0934, 0.5301, 0.0049, 2800.0),
    "pork carcass, NDB 10001": (0.4983, 0.1391, 0.3507, 0.0072, 3080.0),
    "pork backfat, NDB 10004": (0.0769, 0.0292, 0.8869, 0.0070, 2170.0),
    "pork shoulder lean, NDB 10072": (0.7263, 0.1955, 0.0714, 0.0102, 3590.0),
    "salmon pink, NDB 15083": (0.7552, 0.2050, 0.0440, 0.0152, 3680.0),
}


@pytest.mark.parametrize("food", ASHRAE_TABLE_3)
def test_heat_capacity_against_the_handbook(food):
    water, protein, fat, ash, printed = ASHRAE_TABLE_3[food]
    computed = mixture_heat_capacity(
        {"water": water, "protein": protein, "fat": fat, "ash": ash}, temperature_c=5.0
    )
    # 1 %: the table prints three digits (0.25 % of the smallest value) and its composition
    # is rounded too; the other printing of water, 1.1 % lower, would miss the lean rows by
    # 1.2 % and so be seen.
    assert computed == pytest.approx(printed, rel=0.01)


def test_heat_capacity_of_water_agrees_with_steam_tables():
    # 4182 J/(kg K) at 20 degC and ambient pressure, steam tables (from memory). The other
    # printing, 4128.9, would miss this by 1.3 %.
    assert mixture_heat_capacity({"water": 1.0}, 20.0) == pytest.approx(4182.0, rel=0.003)


@pytest.mark.parametrize("component", tables.names("choi_okos"))
@pytest.mark.parametrize("quantity", ["conductivity", "density", "heat_capacity"])
def test_components_stay_plausible_from_freezing_to_boiling(component, quantity):
    chosen = tables.load("choi_okos", component)
    unit = chosen.record(f"{quantity}_c0").unit
    low, high = PLAUSIBLE_BY_UNIT[unit]
    for temperature_c in (0.0, 50.0, 100.0):
        value = sum(chosen[f"{quantity}_c{power}"] * temperature_c**power for power in range(3))
        assert low <= value <= high


# Honikel, Table 6.1 (read): cooking loss of lean beef, percent of initial mass.
COOKING_LOSS_PERCENT = {
    20: 0, 30: 0, 40: 2, 50: 6, 55: 9, 60: 13, 65: 18, 70: 23, 75: 28, 80: 33, 90: 41, 100: 45
}  # fmt: skip


def held_water(chosen: tables.ParameterSet, temperature_c: float) -> float:
    exponent = -(temperature_c - chosen["midpoint_c"]) / chosen["width"]
    return chosen["cold_level"] - chosen["drop"] / (1.0 + math.exp(exponent))


@pytest.mark.parametrize("temperature_c", COOKING_LOSS_PERCENT)
def test_water_holding_fit_reproduces_its_table(temperature_c):
    chosen = tables.load("water_holding", "honikel_fit")
    printed = 0.75 - COOKING_LOSS_PERCENT[temperature_c] / 100
    # The table is printed to 1 % of mass, so half a per cent is its own rounding.
    assert held_water(chosen, temperature_c) == pytest.approx(printed, abs=0.005)


@pytest.mark.parametrize("temperature_c", [40.0, 60.0, 80.0, 100.0])
def test_sigmoid_keeps_the_form_it_was_printed_in(temperature_c):
    printed = 0.745 - 0.345 / (1 + 30 * math.exp(-0.25 * (temperature_c - 52)))
    chosen = tables.load("water_holding", "feyissa_sigmoid")
    # The midpoint is kept to three decimals: 0.0005 K times the slope 0.02 /K.
    assert held_water(chosen, temperature_c) == pytest.approx(printed, abs=2e-5)


def gab_water(chosen: tables.ParameterSet, water_activity: float) -> float:
    product = chosen["k"] * water_activity
    return (
        chosen["monolayer"]
        * chosen["c"]
        * product
        / ((1 - product) * (1 - product + chosen["c"] * product))
    )


def test_anchored_isotherm_meets_fresh_meat():
    # K is kept to six decimals; the slope there is 180 kg/kg per unit of K.
    chosen = tables.load("sorption", "gab_fresh_anchored")
    assert gab_water(chosen, 0.99) == pytest.approx(3.0, abs=2e-4)


def test_prior_isotherm_cannot_hold_fresh_meat():
    """The reason the anchored set exists: saturated air would hold less than 3 kg/kg."""
    assert gab_water(tables.load("sorption", "gab_prior"), 1.0) < 3.0


@pytest.mark.parametrize("name", tables.names("transitions"))
def test_shares_of_denaturation_sum_to_one_in_rising_order(name):
    chosen = tables.load("transitions", name)
    assert sum(chosen[f"share_{step}"] for step in (1, 2, 3)) == pytest.approx(1.0, abs=1e-12)
    assert chosen["midpoint_1_c"] < chosen["midpoint_2_c"] < chosen["midpoint_3_c"]


def test_closures_switch_the_other_mechanism_off():
    assert tables.load("transport", "expulsion")["permeability"] == 0.0
    assert tables.load("transport", "swelling_pressure")["expulsion_rate"] == 0.0
    assert tables.load("transport", "along_the_grain")["expulsion_rate"] == 0.0
    both = tables.load("transport", "both")
    assert both["permeability"] > 0.0
    assert both["expulsion_rate"] > 0.0


def test_viscosity_of_water():
    chosen = tables.load("transport")
    kelvin = 293.15
    viscosity = chosen["viscosity_a"] * 10 ** (
        chosen["viscosity_b"] / (kelvin - chosen["viscosity_t0"])
    )
    # 1.002 mPa s at 20 degC, the usual calibration point (from memory); the formula is
    # good to 2.5 %.
    assert viscosity == pytest.approx(1.002e-3, rel=0.025)


# --- access ----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "wanted"),
    [
        (lambda: tables.load("cuts"), "'cut'"),
        (lambda: tables.load("cut", "beef briscuit flat"), "'beef brisket flat'"),
        (lambda: tables.load("cut", "shoulder"), "'pork shoulder'"),
        (lambda: tables.load("cut")["watter"], "'water'"),
        (lambda: tables.load("cut").text("specie"), "'species'"),
        (lambda: tables.load("cut").replace(protien=0.2), "'protein'"),
        (lambda: tables.source("choi_okos_1968"), "'choi_okos_1986'"),
        (lambda: tables.names("wraps"), "'wrap'"),
    ],
)
def test_a_wrong_name_is_answered_with_near_matches(call, wanted):
    with pytest.raises(TableError, match="Did you mean") as caught:
        call()
    assert wanted in str(caught.value)


def test_a_name_like_nothing_is_answered_with_the_list():
    with pytest.raises(TableError, match="There are: 'none', 'foil', 'paper'"):
        tables.load("wrap", "zzz")


def test_set_behaves_like_a_mapping_of_values():
    cut = tables.load("cut")
    assert list(cut)[:2] == ["water", "protein"]
    assert len(cut) == len(list(cut))
    assert "fat" in cut
    assert "bones" not in cut
    assert cut["fat"] == cut.record("fat").value


def test_replace_makes_a_marked_copy():
    cut = tables.load("cut")
    before = cut["fat"]
    changed = cut.replace(fat=0.15)
    assert (changed["fat"], cut["fat"]) == (0.15, before)
    record = changed.record("fat")
    assert (record.basis, record.source) == ("assumed", "user")
    assert record.inside_range
    assert changed.record("water") == cut.record("water")


def test_replace_outside_the_range_is_allowed_and_visible():
    record = tables.load("cut").replace(fat=0.9).record("fat")
    assert not record.inside_range
    assert "Outside the range" in record.note


@pytest.mark.parametrize("value", [math.nan, math.inf, "0.2", True, None])
def test_replace_refuses_what_is_no_number(value):
    with pytest.raises(TableError, match="not a finite number"):
        tables.load("cut").replace(fat=value)


def test_sets_survive_pickling():
    """Ensembles send sets to other processes."""
    cut = tables.load("cut")
    again = pickle.loads(pickle.dumps(cut))
    assert again == cut
    assert again["water"] == cut["water"]
    assert hash(again) == hash(cut)


@pytest.mark.parametrize("kind", KINDS_OF_THE_MODEL)
def test_describe_names_every_parameter_and_source(kind):
    for name in tables.names(kind):
        text = tables.describe(kind, name)
        chosen = tables.load(kind, name)
        for parameter, record in chosen.records:
            assert parameter in text
            assert tables.source(record.source).title.rstrip(".") in text


# --- defects are refused ---------------------------------------------------------------


def test_a_good_file_is_accepted(tmp_path):
    sets, default = tables.read_file(write(tmp_path, table_text()))
    assert default == "a"
    assert sets["a"]["length"] == 1.0
    assert sets["a"].kind == "made_up"


def test_zero_with_a_closed_range_is_accepted(tmp_path):
    sets, _ = tables.read_file(write(tmp_path, table_text(value="0", range="[0, 0]")))
    assert sets["a"]["length"] == 0.0


@pytest.mark.parametrize("key", list(GOOD_RECORD))
def test_a_missing_key_is_refused(tmp_path, key):
    with pytest.raises(TableError, match=f"'{key}' missing") as caught:
        tables.read_file(write(tmp_path, table_text(**{key: None})))
    for place in ("made_up.toml", "'a'", "'length'"):
        assert place in str(caught.value)


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"unit": '" "'}, "'unit' is empty"),
        ({"unit": "3"}, "write text in quotes"),
        ({"source": '"comon_practice"'}, "Did you mean 'common_practice'"),
        ({"source": '"usda_sr"'}, "'where' is missing"),
        (
            {"source": '"feyissa_2013"', "where": '"K"', "status": '"read"'},
            "cannot be better known",
        ),
        ({"value": "3.0"}, "outside its range"),
        ({"value": "0.1"}, "outside its range"),
        ({"value": "nan"}, "not a finite number"),
        ({"value": "inf"}, "not a finite number"),
        ({"value": '"1.0"'}, "not a finite number"),
        ({"value": "true"}, "not a finite number"),
        ({"range": "[0.5, inf]"}, "not a finite number"),
        ({"range": "[nan, 2.0]"}, "not a finite number"),
        ({"range": "[2.0, 0.5]"}, "upside down"),
        ({"range": "[1.0]"}, "low, high"),
        ({"range": "2.0"}, "low, high"),
        ({"basis": '"guessed"'}, "write one of measured"),
        ({"status": '"seen"'}, "write one of read"),
        ({"whre": '"table 3"'}, "Did you mean 'where'"),
        ({"set_lines": "default = true"}, "has no 'title'"),
        ({"set_lines": 'title = ""\ndefault = true'}, "has no 'title'"),
        ({"set_lines": 'title = "A"'}, "0 sets are marked default"),
        ({"set_lines": 'title = "A"\ndefault = 1'}, "write true or false"),
        ({"set_lines": 'title = "A"\ndefault = true\nwidth = 2.0'}, "bare float"),
        ({"set_lines": 'title = "A"\ndefault = true\nnote = 3'}, "write text in quotes"),
    ],
)
def test_a_defect_is_refused(tmp_path, changes, message):
    with pytest.raises(TableError, match=message) as caught:
        tables.read_file(write(tmp_path, table_text(**changes)))
    assert "made_up.toml" in str(caught.value)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", "holds no set"),
        ("a = 1\n", "is not a table"),
        ("[a\n", "not valid TOML"),
        ('[a]\ntitle = "A"\ndefault = true\n', "holds no parameter"),
        (table_text() + table_text().replace("[a", "[b"), "2 sets are marked default"),
        (
            table_text() + table_text(set_lines='title = "B"', unit='"mm"').replace("[a", "[b"),
            "differs from 'm'",
        ),
    ],
)
def test_a_defective_file_is_refused(tmp_path, text, message):
    with pytest.raises(TableError, match=message):
        tables.read_file(write(tmp_path, text))


def test_an_unreadable_file_is_refused(tmp_path):
    with pytest.raises(TableError, match="cannot be read"):
        tables.read_file(tmp_path / "absent.toml")


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ('[x]\ntitle = "X"\n', "'status' missing"),
        ('[x]\nstatus = "read"\n', "'title' missing"),
        ('[x]\ntitle = ""\nstatus = "read"\n', "'title' is empty"),
        ('[x]\ntitle = "X"\nstatus = "seen"\n', "write one of read"),
        ('[x]\ntitle = "X"\nstatus = "read"\nyaer = "1986"\n', "Did you mean 'year'"),
        ('[x]\ntitle = "X"\nstatus = "read"\nyear = 1986\n', "write text in quotes"),
        ('[x]\ntitle = "X"\nstatus = "read"\ngeneral = "yes"\n', "write true or false"),
        ("x = 1\n", "is not a table"),
    ],
)
def test_a_defective_source_is_refused(tmp_path, text, message):
    with pytest.raises(TableError, match=message):
        tables.read_sources(write(tmp_path, text, "sources.toml"))


def test_a_file_may_bring_its_own_sources(tmp_path):
    own = tables.read_sources(
        write(tmp_path, '[mine]\ntitle = "Mine"\nstatus = "read"\n', "sources.toml")
    )
    text = table_text(source='"mine"', where='"page 1"', status='"read"')
    sets, _ = tables.read_file(write(tmp_path, text), own)
    assert sets["a"].record("length").source == "mine"
