"""From the tables to the constants of the statement.

A material is a name, the constants the compiled equations take, and the
sources they came from. Nothing is computed here that belongs to the
equations; nothing is written here that belongs to the tables.

Table `transport` says which ways out are open to water. `expulsion` (default): heated meat
squeezes out what it no longer holds, at a first-order rate, and the water runs to the
surface; it needs no permeability, piece size hardly matters at long times, as measured
(Oillic 2011, abstract read), and the share that meets the air (`surface_share`) is assumed.
`swelling_pressure`: flow driven by the pressure of the squeezed network; its permeability
spans four decades in print and decides everything. `both` has both.

Ours, each in a table with its reason: `surface_share` 0.6, soot-dulled foil, paper that
passes 5 % of the bare vapour flow, the isotherm stretched above 50 °C, the rate at which a
crust takes water back. They move a finish time by hours: fit before you trust.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from types import MappingProxyType
from typing import Any

from coreward import tables
from coreward.errors import InputError
from coreward.physics.statement import MaterialConstants

# One kilogram of lean is its water, protein and ash with about 1 % of other
# matter; the water-holding curve is stated per kilogram of lean, as its source
# measured it on lean beef (table `water_holding`).
_LEAN_SHARE_ACCOUNTED_FOR = 0.99
_COMPONENTS = ("water", "protein", "fat", "ash", "carbohydrate")
# Composition tables round to 0.01 %; sums within this are rescaled to one.
_SUM_TOLERANCE = 0.05
_REFERENCE_C = 4.0

FLOWING: Mapping[str, Any] = MappingProxyType(
    {"transport": "along_the_grain", "water_holding": "through_grain"}
)
"""Sets for questions about the standstill: ``meat(cut, **FLOWING)``.

A stall that stands needs water that arrives at constant temperature for hours. Pressed flow
with an outlet, easier along the fibres, and the holding curve fitted through it, give that
and the losses of small cubes, of a roast and of a whole brisket with one law
(tests/validation/test_plateau.py); release at one
rate for every size, the default elsewhere, spends its water too soon and gives a slope. The
default stays for all other questions, whose checks were made with it: the rows that would
turn are not known yet.
"""


@dataclass(frozen=True)
class Material:
    """What a piece is made of.

    Attributes
    ----------
    name : str
    constants : MaterialConstants
        Across the fibres; a piece makes of them what its shape and grain need.
    raw_density : float
        [kg/m³]
    composition : mapping
        Mass fractions of the raw piece; empty for a constant material.
    sets : mapping
        Kind of table -> set used, for the record of a result.
    sources : tuple of str
        Keys of every source used.
    fat_rendering : tuple of float
        Share of the fat that can be lost, midpoint [°C] and width [K].
    grain_ratio : float
        Permeability along the fibres over that across. [-]
    """

    name: str
    constants: MaterialConstants
    raw_density: float
    composition: Mapping[str, float] = field(default_factory=dict)
    sets: Mapping[str, str] = field(default_factory=dict)
    sources: tuple[str, ...] = ()
    fat_rendering: tuple[float, float, float] = (0.0, 0.0, 1.0)
    meat_emissivity: float = 0.9
    species: str = ""
    grain_ratio: float = 1.0

    @property
    def moist(self) -> bool:
        """Whether the material holds water that can move and evaporate."""
        return bool(self.constants.moist)


def _sources(*sets: tables.ParameterSet) -> tuple[str, ...]:
    return tuple(sorted({s.record(name).source for s in sets for name in s}))


def _density(component: str, t: float) -> float:
    s = tables.load("choi_okos", component)
    value = s["density_c0"] + s["density_c1"] * t
    return value + (s["density_c2"] * t * t if "density_c2" in list(s) else 0.0)


def _blend(components: Mapping[str, float], quantity: str, order: int) -> float:
    """Sum of mass (or volume) weighted polynomial coefficients."""
    total = 0.0
    for name, weight in components.items():
        s = tables.load("choi_okos", name)
        key = f"{quantity}_c{order}"
        if key in list(s):
            total += weight * s[key]
    return total


def meat(
    cut: str | None = None,
    *,
    composition: Mapping[str, float] | None = None,
    transport: str | tables.ParameterSet | None = None,
    water_holding: str | tables.ParameterSet | None = None,
    permeability: str | tables.ParameterSet | None = None,
    elastic_modulus: str | tables.ParameterSet | None = None,
    diffusivity: str | tables.ParameterSet | None = None,
    sorption: str | tables.ParameterSet | None = None,
    transitions: str | tables.ParameterSet | None = None,
    conductivity: str | tables.ParameterSet | None = None,
    surface: str | tables.ParameterSet | None = None,
) -> Material:
    """Meat by cut, with every property taken from a named set of a table.

    Parameters
    ----------
    cut : str, optional
        A name from ``coreward.tables.names("cut")``; the table's default if None.
    composition : mapping, optional
        Mass fractions ``water, protein, fat, ash, carbohydrate`` that replace
        the cut's own; those not named keep the cut's.
    transport, water_holding, permeability, elastic_modulus, diffusivity, sorption, \
transitions, conductivity, surface : str or ParameterSet, optional
        Set of that kind: a name, a changed copy, or None for the default.
        A `permeability` or `elastic_modulus` set overrides the numbers of
        `transport`.

    Returns
    -------
    Material

    Raises
    ------
    TableError
        If a name is not in its table; near matches are listed.
    InputError
        If the composition cannot be that of meat.
    """

    def pick(kind: str, choice: str | tables.ParameterSet | None) -> tables.ParameterSet:
        if isinstance(choice, tables.ParameterSet):
            return choice
        return tables.load(kind, choice)

    cut_set = tables.load("cut", cut)
    species = cut_set.text("species")
    fractions = {name: cut_set[name] for name in _COMPONENTS}
    if composition is not None:
        for name, value in composition.items():
            if name not in _COMPONENTS:
                raise InputError(
                    f"Composition has no component {name!r}; it may name "
                    f"{', '.join(_COMPONENTS)}."
                )
            if not math.isfinite(value) or not 0.0 <= value <= 1.0:
                raise InputError(
                    f"The mass fraction of {name} must lie between 0 and 1; it is {value}."
                )
            fractions[name] = float(value)
    total = sum(fractions.values())
    if abs(total - 1.0) > _SUM_TOLERANCE:
        raise InputError(
            f"The mass fractions add up to {total:.3f}; they should add up to 1. "
            "Please name all of water, protein, fat and ash."
        )
    fractions = {name: value / total for name, value in fractions.items()}
    if fractions["water"] < 0.05 or fractions["protein"] <= 0.0:
        raise InputError(
            "Meat needs at least 5 % water and some protein; for a dry solid use "
            "constant_material()."
        )

    moving = pick("transport", transport)
    if permeability is not None:
        p = pick("permeability", permeability)
        moving = moving.replace(**{k: p[k] for k in p if k in list(moving)})
    if elastic_modulus is not None:
        e = pick("elastic_modulus", elastic_modulus)
        moving = moving.replace(**{k: e[k] for k in e if k in list(moving)})
    holding = pick("water_holding", water_holding)
    diffusion = pick("diffusivity", diffusivity)
    isotherm = pick("sorption", sorption)
    mixing = pick("conductivity", conductivity)
    skin = pick("surface", surface)
    if transitions is None:
        change = next(
            (
                tables.load("transitions", name)
                for name in tables.names("transitions")
                if species in tables.load("transitions", name).text("species")
            ),
            tables.load("transitions"),
        )
    else:
        change = pick("transitions", transitions)

    raw_density = 1.0 / sum(x / _density(name, _REFERENCE_C) for name, x in fractions.items())
    solids = {k: fractions[k] for k in ("protein", "ash", "carbohydrate")}
    solids_fraction = sum(solids.values())
    dry = {**solids, "fat": fractions["fat"]}
    lean_fraction = (
        fractions["water"] + fractions["protein"] + fractions["ash"]
    ) / _LEAN_SHARE_ACCOUNTED_FOR
    lean_fraction = min(lean_fraction, 1.0)
    # Volume weights turn the component conductivities and densities into
    # those of "solids", which the statement mixes with water and fat.
    volumes = {k: x / _density(k, _REFERENCE_C) for k, x in solids.items()}
    shares = {k: v / sum(volumes.values()) for k, v in volumes.items()}
    water = tables.load("choi_okos", "water")
    fat = tables.load("choi_okos", "fat")
    denaturing = change["denaturation_enthalpy"] * lean_fraction * raw_density
    steps = sum(change[f"share_{i}"] for i in (1, 2, 3))

    constants = MaterialConstants(
        moist=True,
        dry_c0=raw_density * _blend(dry, "heat_capacity", 0),
        dry_c1=raw_density * _blend(dry, "heat_capacity", 1),
        dry_c2=raw_density * _blend(dry, "heat_capacity", 2),
        water_c0=water["heat_capacity_c0"],
        water_c1=water["heat_capacity_c1"],
        water_c2=water["heat_capacity_c2"],
        solids_density=solids_fraction * raw_density,
        fat_density=fractions["fat"] * raw_density,
        lean_density=lean_fraction * raw_density,
        raw_water=fractions["water"] * raw_density,
        bone_density=0.0,
        fixed_conductivity=0.0,
        k_water_0=water["conductivity_c0"],
        k_water_1=water["conductivity_c1"],
        k_water_2=water["conductivity_c2"],
        k_solids_0=_blend(shares, "conductivity", 0),
        k_solids_1=_blend(shares, "conductivity", 1),
        k_solids_2=_blend(shares, "conductivity", 2),
        k_fat_0=fat["conductivity_c0"],
        k_fat_1=fat["conductivity_c1"],
        k_fat_2=fat["conductivity_c2"],
        rho_water_0=water["density_c0"],
        rho_water_1=water["density_c1"],
        rho_water_2=water["density_c2"],
        rho_solids_0=_blend(shares, "density", 0),
        rho_solids_1=_blend(shares, "density", 1),
        rho_fat_0=fat["density_c0"],
        rho_fat_1=fat["density_c1"],
        mixing_exponent=mixing["mixing_exponent"],
        cooked_factor=mixing["cooked_factor"],
        cooked_midpoint=mixing["cooked_midpoint_c"],
        cooked_width=mixing["cooked_width"],
        hold_cold=holding["cold_level"],
        hold_drop=holding["drop"],
        hold_midpoint=holding["midpoint_c"],
        hold_width=holding["width"],
        expulsion_rate=moving["expulsion_rate"],
        surface_share=moving["surface_share"],
        permeability=moving["permeability"],
        modulus_raw=moving["modulus_raw"],
        modulus_rise=moving["modulus_rise"],
        modulus_midpoint=moving["modulus_midpoint_c"],
        modulus_width=moving["modulus_width"],
        suction_width=moving["suction_width"],
        viscosity_a=moving["viscosity_a"],
        viscosity_b=moving["viscosity_b"],
        viscosity_t0=moving["viscosity_t0"],
        diffusivity=diffusion["reference_value"],
        diffusivity_reference_k=diffusion["reference_c"] + 273.15,
        diffusivity_activation=diffusion["activation_energy"],
        monolayer=isotherm["monolayer"],
        gab_c=isotherm["c"],
        gab_k=isotherm["k"],
        free_activity=isotherm["free_activity"],
        fusion=change["fat_fusion_enthalpy"] * fractions["fat"] * raw_density,
        fusion_midpoint=change["fat_fusion_midpoint_c"],
        fusion_width=change["fat_fusion_width"],
        denature_1=denaturing * change["share_1"] / steps,
        denature_midpoint_1=change["midpoint_1_c"],
        denature_width_1=change["width_1"],
        denature_2=denaturing * change["share_2"] / steps,
        denature_midpoint_2=change["midpoint_2_c"],
        denature_width_2=change["width_2"],
        denature_3=denaturing * change["share_3"] / steps,
        denature_midpoint_3=change["midpoint_3_c"],
        denature_width_3=change["width_3"],
        film_scale=skin["film_wetting_scale"],
        film_capacity=skin["film_capacity"],
        drip_time=skin["drip_time"],
        rewetting_rate=skin["rewetting_rate"],
        lewis_power=skin["lewis_number_power"],
    )
    used = (cut_set, moving, holding, diffusion, isotherm, mixing, skin, change, water, fat)
    return Material(
        name=cut_set.name,
        constants=constants,
        raw_density=raw_density,
        composition=fractions,
        sets={s.kind: s.name for s in used[:8]},
        sources=_sources(*used),
        fat_rendering=(
            skin["fat_rendering_share"],
            skin["fat_rendering_midpoint_c"],
            skin["fat_rendering_width"],
        ),
        meat_emissivity=skin["meat_emissivity"],
        species=species,
        grain_ratio=moving["grain_ratio"],
    )


def constant_material(conductivity: float, density: float, heat_capacity: float) -> Material:
    """Return a dry solid with fixed properties: no water, no transitions.

    Parameters
    ----------
    conductivity : float
        [W/(m K)]
    density : float
        [kg/m³]
    heat_capacity : float
        [J/(kg K)]

    Returns
    -------
    Material

    Raises
    ------
    InputError
        If a value is not a positive number.
    """
    for what, value in (
        ("conductivity", conductivity),
        ("density", density),
        ("heat capacity", heat_capacity),
    ):
        if not math.isfinite(value) or value <= 0.0:
            raise InputError(f"The {what} must be a number greater than zero; it is {value}.")
    # Zero water and unit widths: the moist terms are never evaluated.
    numbers: dict[str, Any] = dict.fromkeys(MaterialConstants._fields, 0.0)
    numbers.update(
        moist=False,
        dry_c0=float(density * heat_capacity),
        fixed_conductivity=float(conductivity),
        solids_density=float(density),
    )
    return Material(
        name="constant material", constants=MaterialConstants(**numbers), raw_density=density
    )


_PER_VOLUME = (
    "dry_c0", "dry_c1", "dry_c2", "solids_density", "fat_density", "lean_density", "raw_water",
    "fusion", "denature_1", "denature_2", "denature_3",
)  # fmt: skip


def with_bone(material: Material, mass_share: float) -> Material:
    """Return a material with bone spread through it, which warms and loses nothing.

    Parameters
    ----------
    material : Material
        Of the meat around the bone.
    mass_share : float
        Bone, of the whole. [-]

    Raises
    ------
    InputError
        If the share is not from 0 to 0.6.

    Notes
    -----
    Everything that a volume of meat holds is thinned by the volume of the bone; what is a
    ratio, such as the activity of its water, stays. It conducts like the meat.
    """
    if not 0.0 <= mass_share <= 0.6:
        raise InputError(
            f"The share of bone must lie between 0 and 0.6 of the mass; it is {mass_share}."
        )
    if mass_share == 0.0:
        return material
    bone = tables.load("piece")
    meat_volume = (1.0 - mass_share) / material.raw_density
    bone_volume = mass_share / bone["bone_density"]
    density = 1.0 / (meat_volume + bone_volume)
    left = meat_volume * density
    c = material.constants
    thinned = {name: getattr(c, name) * left for name in _PER_VOLUME}
    inert = mass_share * density
    thinned["dry_c0"] += inert * bone["bone_heat_capacity"]
    return replace(
        material, constants=c._replace(bone_density=inert, **thinned), raw_density=density
    )
