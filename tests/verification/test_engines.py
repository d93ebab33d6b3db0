"""The fast engine against FiPy: other mesh, other surface, other time stepping.

Two of the cooks in the list run always: the cold piece on which water condenses is compared
in the notebook on the numerics, the dry sphere with its series. The whole list, some minutes,
runs with ``COREWARD_FULL=1`` or as ``python tests/verification/cooks.py``.
"""

from __future__ import annotations

import os

import numpy as np
import pytest

import coreward as cw
from coreward.errors import MissingFeatureError
from verification.cooks import CORE_K, DEW_K, WATER_SHARE, Cook, cooks, run

FULL = os.environ.get("COREWARD_FULL") == "1"
pytest.importorskip("fipy", reason="the FiPy engine is optional: install the extra 'fipy'")


@pytest.mark.parametrize("cook", cooks(), ids=lambda cook: cook.name)
def test_agreement(cook: Cook) -> None:
    if not (FULL or cook.quick):
        pytest.skip("part of the full list: set COREWARD_FULL=1")
    a = run(cook)
    assert a.core_k <= CORE_K
    assert a.water_share <= WATER_SHARE
    assert a.dew_k <= DEW_K


def test_the_list_is_complete() -> None:
    """At least twelve cooks, with the hard ones among them."""
    names = " ".join(cook.name for cook in cooks())
    assert len(cooks()) >= 12
    for word in ("foil", "paper", "condensation", "lid", "altitude", "drying", "swelling"):
        assert word in names
    assert [cook.name for cook in cooks() if cook.quick] == [
        "drying out, 150 °C",
        "tight chamber with cold walls, expulsion",
    ]


def test_fipy_lands_on_the_core_temperature() -> None:
    piece = cw.Piece(cw.Slab(0.03), cw.constant_material(0.5, 1000.0, 3500.0), 5.0)
    stage = cw.Stage(
        cw.Surroundings(107.0, heat_transfer=30.0, emissivity=0.0), until_core_c=30.0
    )
    r = cw.simulate(piece, stage, engine="fipy", cells=30)
    assert r.core_c[-1] == pytest.approx(30.0, abs=1e-3)
    assert r.records[0].reached
    fast = cw.simulate(piece, stage, tolerance=1e-3)
    assert r.duration_s == pytest.approx(fast.duration_s, rel=2e-3)


def test_fipy_books_what_it_moves() -> None:
    """Energy and water close to the error of interpolation between the two meshes."""
    piece = cw.Piece(cw.Slab(0.04), cw.meat("beef brisket flat"), 4.0)
    stage = cw.Stage(cw.Surroundings(120.0, dew_point_c=30.0), duration_s=1500.0)
    r = cw.simulate(piece, stage, engine="fipy")
    assert r.balance.energy < 1e-3
    assert r.balance.water < 1e-3
    assert np.isfinite(r.temperature_c).all()


def test_without_fipy_the_error_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    import builtins

    real = builtins.__import__

    def refuse(name: str, *args: object, **kwargs: object) -> object:
        if name == "fipy":
            raise ImportError("not here")
        return real(name, *args, **kwargs)  # type: ignore[arg-type]

    monkeypatch.setattr(builtins, "__import__", refuse)
    piece = cw.Piece(cw.Slab(0.04), cw.constant_material(0.5, 1000.0, 3500.0), 4.0)
    stage = cw.Stage(cw.Surroundings(100.0, heat_transfer=10.0), duration_s=60.0)
    with pytest.raises(MissingFeatureError, match="FiPy"):
        cw.simulate(piece, stage, engine="fipy")
