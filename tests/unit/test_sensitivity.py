"""The study of sensitivity: it computes, it can be stopped, and its indices mean something."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.evidence import sensitivity as study
from coreward.evidence.sensitivity_figure import figure_sensitivity, sensitivity_table


class _StopError(Exception):
    pass


@pytest.fixture(scope="module")
def small() -> tuple[study.Sensitivity, list[tuple[int, int]]]:
    steps: list[tuple[int, int]] = []
    with np.errstate(all="raise", under="ignore"):
        result = study.sensitivity(8, lambda *step: steps.append(step))
    return result, steps


def test_progress_counts_every_cook(
    small: tuple[study.Sensitivity, list[tuple[int, int]]],
) -> None:
    result, steps = small
    everything = 8 * (len(result.inputs) + 2)
    assert result.runs == everything == len(steps)
    assert steps[0] == (1, everything)
    assert steps[-1] == (everything, everything)


def test_indices_are_shaped_and_ordered(
    small: tuple[study.Sensitivity, list[tuple[int, int]]],
) -> None:
    result, _ = small
    shape = (len(study.OUTCOMES), len(result.inputs))
    for field in (result.first, result.total, result.total_low, result.total_high):
        assert field.shape == shape
        assert np.isfinite(field).all()
    assert (result.total >= -1e-12).all()  # a mean of squares
    assert (result.low < result.middle).all()
    assert (result.middle < result.high).all()
    ranked = result.ranked(0)
    totals = [total for _, _, total in ranked]
    assert totals == sorted(totals, reverse=True)
    assert {item.name for item, _, _ in ranked} == {item.name for item in result.inputs}


def test_what_the_heat_supply_is_matters_most_for_the_finish(
    small: tuple[study.Sensitivity, list[tuple[int, int]]],
) -> None:
    # Even with eight samples: the walls and the coefficient carry the finish, and the
    # start temperature does not.
    strongest = {item.name for item, _, _ in small[0].ranked(0)[:3]}
    assert {"wall_offset", "heat_transfer"} <= strongest
    assert "start_c" not in strongest


def test_the_direction_of_things() -> None:
    nominal = study.one_cook({})
    assert nominal[3]
    assert study.one_cook({"pit_c": 112.0})[0] < nominal[0]
    assert study.one_cook({"thickness_factor": 1.1})[0] > nominal[0]
    assert study.one_cook({"surface_share": 1.0})[0] > nominal[0]
    assert study.one_cook({"fat": 0.25})[1] < nominal[1]


def test_a_coarse_mesh_is_enough() -> None:
    coarse, fine = study.one_cook({}), study.one_cook({}, cells=80, tolerance=0.01)
    # Far below what the inputs do (11 to 33 h, 37 to 44 %, 0 to 0.6 K).
    assert coarse[0] == pytest.approx(fine[0], rel=0.005)
    assert coarse[1] == pytest.approx(fine[1], abs=0.1)
    assert coarse[2] == pytest.approx(fine[2], abs=0.02)


def test_it_can_be_stopped() -> None:
    def stop(done: int, everything: int) -> None:
        if done == 3:
            raise _StopError

    with pytest.raises(_StopError):
        study.sensitivity(8, stop)


def test_it_can_be_repeated(small: tuple[study.Sensitivity, list[tuple[int, int]]]) -> None:
    again = study.sensitivity(8)
    np.testing.assert_array_equal(again.total, small[0].total)


@pytest.mark.parametrize("samples", [0, 7, 12, -8])
def test_wrong_sample_counts(samples: int) -> None:
    with pytest.raises(InputError, match="power of two"):
        study.sensitivity(samples)


def test_unknown_input() -> None:
    with pytest.raises(InputError, match="no input 'moon'"):
        study.one_cook({"moon": 1.0})


def test_picture_and_table(small: tuple[study.Sensitivity, list[tuple[int, int]]]) -> None:
    figure = figure_sensitivity(small[0])
    assert [ax.get_title(loc="left") for ax in figure.axes] == [n for n, _ in study.OUTCOMES]
    labels = [text.get_text() for text in figure.axes[0].get_yticklabels()]
    assert set(labels) == {item.label for item in small[0].inputs}
    text = sensitivity_table(small[0])
    assert text.count("<tr>") == len(small[0].inputs) + 1


def test_the_study_of_the_standstill_ranks_what_sets_the_finish() -> None:
    result = study.plateau_sensitivity(8)
    assert result.runs == 8 * (len(result.inputs) + 2)
    assert result.total.shape == (len(study.PLATEAU_OUTCOMES), len(study.plateau_inputs()))
    text = sensitivity_table(result, study.PLATEAU_OUTCOMES)
    assert "length: alone" in text
    assert "carryover" not in text
    figure = figure_sensitivity(result, study.PLATEAU_OUTCOMES)
    names = [ax.get_title(loc="left") for ax in figure.axes]
    assert names == [name for name, _ in study.PLATEAU_OUTCOMES]
    # Even with eight samples: how thick it is rules when it is done.
    assert result.ranked(2)[0][0].name == "thickness"
    # A finish that nobody waits for would be no finish.
    assert result.unfinished == 0


def test_the_direction_of_a_standstill() -> None:
    height, length, finish, _ = study.one_plateau({})
    damp = study.one_plateau({"fresh_air": 0.75})
    assert damp[0] > height + 2.0
    assert damp[1] > length
    # Airier than this the supply holds it, and that is where the meat is and not the air.
    airy, leaky = (study.one_plateau({"fresh_air": kg_h}) for kg_h in (6.0, 16.0))
    assert airy[0] == pytest.approx(leaky[0], abs=0.5)
    thick = study.one_plateau({"thickness": 0.07})
    assert thick[2] > finish
    assert study.one_plateau({"injected": 0.2})[1] > length
    # What the film keeps hardly tells, where a piece of 5 kg dries the air too soon to fill it.
    assert study.one_plateau({"film_capacity": 0.05})[1] <= length
    fine = study.one_plateau({}, cells=60, tolerance=0.02)
    assert (height, finish) == pytest.approx((fine[0], fine[2]), rel=0.01)
    # Read off every two minutes, where the core hardly moves.
    assert length == pytest.approx(fine[1], rel=0.05)
