import numpy as np
import pytest

from coreward import tables
from coreward.errors import InputError, TableError
from coreward.physics import statement
from coreward.physics.meat import constant_material, meat


@pytest.mark.parametrize("cut", tables.names("cut"))
def test_every_cut_makes_a_material(cut):
    material = meat(cut)
    c = material.constants
    assert sum(material.composition.values()) == pytest.approx(1.0)
    # water, solids and fat are the whole raw piece
    assert c.raw_water + c.solids_density + c.fat_density == pytest.approx(material.raw_density)
    assert 900.0 < material.raw_density < 1100.0
    assert 0.25 < statement.conductivity(20.0, c.raw_water, 20.0, c) < 0.56
    # fresh meat READ above 0.98 (sources/physics README, section 4)
    assert 0.97 < statement.water_activity(c.raw_water, c) <= 1.0


@pytest.mark.parametrize("kind", ["water_holding", "sorption", "diffusivity", "transport"])
def test_every_set_of_a_kind_can_be_chosen_and_acts(kind):
    base = meat()
    for name in tables.names(kind):
        changed = meat(**{kind: name})
        assert changed.sets[kind] == name
        if name != tables.default_name(kind):
            assert changed.constants != base.constants


def test_a_permeability_set_overrides_the_transport_set():
    for name in tables.names("permeability"):
        chosen = tables.load("permeability", name)
        assert meat(permeability=name).constants.permeability == chosen["permeability"]


@pytest.mark.parametrize("field", ["water", "fat"])
def test_composition_can_be_replaced(field):
    raw = dict(meat("pork loin").composition)
    raw[field] += 0.02
    raw["protein"] -= 0.02
    assert meat("pork loin", composition=raw).composition[field] == pytest.approx(raw[field])


@pytest.mark.parametrize(
    ("composition", "message"),
    [
        ({"water": 1.4}, "between 0 and 1"),
        ({"water": float("nan")}, "between 0 and 1"),
        ({"gristle": 0.1}, "no component"),
        ({"water": 0.1}, "add up to"),
        ({"water": 0.0, "protein": 0.5, "fat": 0.5, "ash": 0.0}, "5 % water"),
    ],
)
def test_impossible_compositions_are_refused(composition, message):
    with pytest.raises(InputError, match=message):
        meat("pork loin", composition=composition)


def test_an_unknown_cut_names_its_neighbours():
    with pytest.raises(TableError, match="pork shoulder"):
        meat("pork sholder")


@pytest.mark.parametrize("bad", [0.0, -1.0, float("nan")])
def test_a_constant_material_needs_positive_numbers(bad):
    with pytest.raises(InputError, match="greater than zero"):
        constant_material(bad, 1000.0, 4000.0)


def test_enthalpy_and_its_inverse_agree_over_the_range():
    c = meat("beef brisket point").constants
    for t in np.linspace(-1.0, 140.0, 60):
        for t_max in (t - 5.0, t, t + 30.0):
            h = statement.enthalpy(t, 500.0, t_max, c)
            # Newton stops at steps of 1e-6 K, where the remainder is its square
            assert statement.temperature(h, 500.0, t_max, t + 3.0, c) == pytest.approx(
                t, abs=1e-9
            )


def test_heat_capacity_is_the_slope_of_enthalpy():
    c = meat("beef brisket flat").constants
    for t in np.linspace(1.0, 110.0, 40):
        d = 1e-4
        slope = (
            statement.enthalpy(t + d, 600.0, t - 1, c)
            - statement.enthalpy(t - d, 600.0, t - 1, c)
        ) / (2 * d)
        # central difference: error of order d² times the third derivative
        assert statement.heat_capacity(t, 600.0, t - 1, c) == pytest.approx(slope, rel=1e-6)


def test_denaturation_takes_heat_only_once():
    c = meat("beef brisket flat").constants
    first = statement.enthalpy(70.0, 600.0, 20.0, c) - statement.enthalpy(20.0, 600.0, 20.0, c)
    again = statement.enthalpy(70.0, 600.0, 70.0, c) - statement.enthalpy(20.0, 600.0, 70.0, c)
    assert first > again
    # total READ 3.4 J/g lean for beef; two of three steps lie below 70 °C
    assert first - again < 3400.0 * c.lean_density


def test_water_activity_inverts_the_gab_isotherm():
    c = meat().constants
    for a in (0.1, 0.5, 0.8, 0.95, 0.985):
        u = c.gab_k * a
        x = c.monolayer * c.gab_c * u / ((1 - u) * (1 + (c.gab_c - 1) * u))
        assert statement.water_activity(x * c.solids_density, c) == pytest.approx(a, rel=1e-10)


def test_water_activity_rises_with_water_and_stays_within_bounds():
    c = meat().constants
    w = np.linspace(-10.0, 900.0, 200)
    a = np.array([statement.water_activity(float(x), c) for x in w])
    assert (np.diff(a) >= 0).all()
    assert a[0] == 0.0
    assert a[-1] <= 1.0
