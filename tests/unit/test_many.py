import concurrent.futures
import pickle
import threading

import numpy as np
import pytest

import coreward as cw
from coreward.cook import many
from coreward.cook.many import EnsembleCancelled, simulate_many
from coreward.errors import InputError, SolverError
from coreward.physics.meat import Material

HOUR = 3600.0
PIT = cw.Surroundings(107.0, dew_point_c=35.0, heat_transfer=10.0)
COOK = cw.Stage(PIT, duration_s=3 * HOUR)
SMALL = {"cells": 20, "tolerance": 0.1}


@pytest.fixture(scope="module")
def piece():
    return cw.Piece(cw.Slab(0.05), cw.meat("beef brisket flat"), 4.0)


class CallNow:
    """An executor that is nothing but a `submit`."""

    def __init__(self):
        self.calls = 0

    def submit(self, fn, /, *args):
        self.calls += 1
        future = concurrent.futures.Future()
        try:
            future.set_result(fn(*args))
        except Exception as error:
            future.set_exception(error)
        return future


class ForeignFuture:
    """A future of some other library: a result, and no more than that."""

    def __init__(self, fn, args):
        self.fn, self.args, self.cancelled = fn, args, False

    def result(self):
        return self.fn(*self.args)

    def cancel(self):
        self.cancelled = True
        return True


class CallLater:
    """Computes nothing before it is asked; sends what it gets through a pickle."""

    def __init__(self):
        self.futures = []

    def submit(self, fn, /, *args):
        self.futures.append(ForeignFuture(fn, pickle.loads(pickle.dumps(args))))
        return self.futures[-1]


def alone(piece, stages, times, name="core_c", **options):
    r = cw.simulate(piece, stages, **{**SMALL, **options})
    values = np.full(len(times), np.nan)
    lived = times <= r.duration_s
    values[lived] = np.interp(times[lived], r.time_s, getattr(r, name))
    return r, values


VARIED = {
    "thickness": np.array([0.04, 0.05, 0.06, 0.07, 0.05]),
    "start_c": np.array([4.0, 8.0, 2.0, 4.0, 4.0]),
    "air_c": np.array([100.0, 107.0, 120.0, 110.0, 107.0]),
    "dew_point_c": np.array([30.0, 35.0, 40.0, 20.0, 35.0]),
    "heat_transfer": np.array([8.0, 10.0, 15.0, 12.0, 10.0]),
    "expulsion_rate": np.array([4e-4, 8e-4, 1e-3, 8e-4, 8e-4]),
}


def single(piece, i):
    constants = piece.material.constants._replace(expulsion_rate=VARIED["expulsion_rate"][i])
    material = Material(
        **{
            **{f: getattr(piece.material, f) for f in piece.material.__dataclass_fields__},
            "constants": constants,
        }
    )
    around = cw.Surroundings(
        VARIED["air_c"][i],
        dew_point_c=VARIED["dew_point_c"][i],
        heat_transfer=VARIED["heat_transfer"][i],
    )
    return (
        cw.Piece(cw.Slab(VARIED["thickness"][i]), material, VARIED["start_c"][i]),
        cw.Stage(around, duration_s=3 * HOUR),
    )


@pytest.mark.parametrize("executor", [None, CallNow(), CallLater()])
@pytest.mark.parametrize("chunk", [None, 1, 3])
def test_every_member_is_bit_for_bit_a_single_run(piece, executor, chunk):
    e = simulate_many(
        piece,
        COOK,
        VARIED,
        quantities=("core_c", "mass_loss_fraction", "surface_c"),
        target_c=50.0,
        executor=executor,
        chunk=chunk,
        **SMALL,
    )
    assert e.members == 5
    assert e.time_s[-1] == 3 * HOUR
    for i in range(5):
        p, s = single(piece, i)
        for name in ("core_c", "mass_loss_fraction", "surface_c"):
            r, values = alone(p, s, e.time_s, name)
            assert np.array_equal(e.curve(name)[i], values)
            assert e.final[name][i] == getattr(r, name)[-1]
        reached = r.time_at_core(50.0)
        assert e.finish_s[i] == reached or (reached is None and np.isnan(e.finish_s[i]))
    # and the parameters did something: the five are not one cook
    assert len(np.unique(e.core_c[:, -1])) == 5
    assert not e.failures


def test_processes_give_the_same_bits(piece):
    # spawn: a fork of a process with threads may hang
    import multiprocessing

    context = multiprocessing.get_context("spawn")
    with concurrent.futures.ProcessPoolExecutor(1, mp_context=context) as pool:
        a = simulate_many(piece, COOK, {"start_c": [2.0, 5.0]}, executor=pool, **SMALL)
        # it stays open for the next
        b = simulate_many(piece, COOK, {"start_c": [2.0, 5.0]}, executor=pool, **SMALL)
    c = simulate_many(piece, COOK, {"start_c": [2.0, 5.0]}, **SMALL)
    assert np.array_equal(a.core_c, c.core_c)
    assert np.array_equal(b.core_c, c.core_c)


def test_a_list_of_pieces_and_common_times(piece):
    pieces = [piece, cw.Piece(cw.Sphere(0.06), piece.material, 4.0)]
    times = np.array([0.0, 1000.0, 9999.0])
    e = simulate_many(pieces, COOK, times_s=times, **SMALL)
    for i, p in enumerate(pieces):
        assert np.array_equal(e.core_c[i], alone(p, COOK, times)[1])
    assert e.parameters == {}


def test_members_end_when_they_are_done(piece):
    thickness = [0.03, 0.05]
    e = simulate_many(
        piece,
        cw.Stage(PIT, until_core_c=50.0),
        {"thickness": thickness},
        target_c=50.0,
        **SMALL,
    )
    assert e.end_s[0] < e.end_s[1]
    # the solver lands on the target from either side; it has been reached all the same
    assert np.allclose(e.finish_s, e.end_s, atol=1.0)
    assert np.array_equal(np.isfinite(e.core_c), e.time_s <= e.end_s[:, None])
    assert np.allclose(e.final["core_c"], 50.0, atol=1e-4)
    middle = e.percentiles("core_c", 50.0)[0]
    late = e.time_s > e.end_s[0]
    assert np.array_equal(middle[late], e.core_c[1][late])


def test_a_target_not_reached_is_not_a_number(piece):
    e = simulate_many(piece, COOK, {"thickness": [0.2]}, target_c=90.0, **SMALL)
    assert np.isnan(e.finish_s[0])


def test_several_stages_are_named_by_number(piece):
    rest = cw.Stage(cw.Surroundings(25.0, dew_point_c=10.0, heat_transfer=8.0), duration_s=HOUR)
    e = simulate_many(
        piece,
        [COOK, rest],
        {"stages[0].air_c": [100.0, 130.0], "stages[1].duration_s": [HOUR, 2 * HOUR]},
        **SMALL,
    )
    for i, (air, hours) in enumerate([(100.0, 1.0), (130.0, 2.0)]):
        pit = cw.Surroundings(air, dew_point_c=35.0, heat_transfer=10.0)
        plan = [
            cw.Stage(pit, duration_s=3 * HOUR),
            cw.Stage(rest.surroundings, duration_s=hours * HOUR),
        ]
        assert np.array_equal(e.core_c[i], alone(piece, plan, e.time_s)[1], equal_nan=True)


def test_a_function_builds_the_stages(piece):
    def stages(member):
        pit = cw.Surroundings(107.0 + member["hotter"], dew_point_c=35.0, heat_transfer=10.0)
        return [cw.Stage(pit, duration_s=2 * HOUR), COOK]

    e = simulate_many(piece, stages, {"hotter": [0.0, 9.0], "start_c": 5.0}, **SMALL)
    p = cw.Piece(piece.shape, piece.material, 5.0)
    for i, hotter in enumerate([0.0, 9.0]):
        assert np.array_equal(
            e.core_c[i], alone(p, stages({"hotter": hotter}), e.time_s)[1], equal_nan=True
        )
    assert e.parameters["start_c"].tolist() == [5.0, 5.0]


def test_progress_counts_every_member_once(piece):
    seen = []
    simulate_many(
        piece,
        COOK,
        {"start_c": np.linspace(2.0, 8.0, 7)},
        chunk=2,
        progress=lambda done, total: seen.append((done, total)),
        **SMALL,
    )
    assert seen == [(2, 7), (4, 7), (6, 7), (7, 7)]


@pytest.mark.parametrize("how", ["event", "keyboard"])
def test_cancelling_withdraws_what_waits_and_leaves_a_working_package(piece, how):
    stop = threading.Event()
    executor = CallLater()

    def progress(done, total):
        if how == "keyboard":
            raise KeyboardInterrupt
        stop.set()

    with pytest.raises(EnsembleCancelled if how == "event" else KeyboardInterrupt):
        simulate_many(
            piece,
            COOK,
            {"start_c": np.linspace(2.0, 8.0, 6)},
            executor=executor,
            chunk=1,
            progress=progress,
            cancel=stop,
            **SMALL,
        )
    assert len(executor.futures) == 6
    assert all(future.cancelled for future in executor.futures[1:])
    after = simulate_many(piece, COOK, {"start_c": [4.0]}, **SMALL)
    assert np.array_equal(after.core_c[0], alone(piece, COOK, after.time_s)[1])


@pytest.mark.parametrize("how", ["event", "keyboard"])
def test_cancelling_the_own_threads_computes_no_more_than_what_was_begun(
    piece, how, monkeypatch
):
    stop = threading.Event()
    begun = []
    real = many.simulate

    def counted(*args):
        begun.append(1)
        return real(*args)

    def progress(done, total):
        if how == "keyboard":
            raise KeyboardInterrupt
        stop.set()

    monkeypatch.setattr(many, "simulate", counted)
    before = threading.active_count()
    with pytest.raises(EnsembleCancelled if how == "event" else KeyboardInterrupt):
        simulate_many(
            piece,
            COOK,
            {"start_c": np.linspace(2.0, 8.0, 400)},
            chunk=1,
            progress=progress,
            cancel=stop,
            **SMALL,
        )
    # The first report comes after a handful of some 400 milliseconds' worth of
    # cooks; even a starved main thread does not sleep through most of them.
    assert len(begun) < 400
    assert threading.active_count() == before
    count = len(begun)
    simulate_many(piece, COOK, {"start_c": [4.0]}, **SMALL)
    # nothing went on in the background
    assert len(begun) == count + 1


def test_a_stop_before_the_start_computes_nothing(piece):
    stop = threading.Event()
    stop.set()
    executor = CallNow()
    with pytest.raises(EnsembleCancelled, match="0 of 2"):
        simulate_many(
            piece, COOK, {"start_c": [1.0, 2.0]}, executor=executor, cancel=stop, **SMALL
        )
    assert executor.calls == 0


def test_a_failed_member_is_reported_and_the_rest_is_kept(piece, monkeypatch):
    real = many.simulate

    def sometimes(p, *args):
        if p.start_c == 3.0:
            raise SolverError("The step collapsed.")
        return real(p, *args)

    monkeypatch.setattr(many, "simulate", sometimes)
    e = simulate_many(piece, COOK, {"start_c": [2.0, 3.0, 4.0]}, target_c=40.0, **SMALL)
    assert e.failures == ((1, "The step collapsed."),)
    assert np.isnan(e.core_c[1]).all()
    assert np.isnan(e.finish_s[1])
    assert np.isnan(e.loss_fraction[1])
    assert np.isfinite(e.core_c[[0, 2]]).all()
    assert np.isfinite(e.percentiles("core_c", [10, 90])).all()


@pytest.mark.parametrize(
    ("parameters", "message"),
    [
        ({"thicknes": [0.05]}, "no parameter 'thicknes'"),
        ({"diameter": [0.05]}, "Member 0: A slab has no diameter"),
        ({"start_c": [4.0, 400.0]}, "Member 1: The start temperature"),
        ({"start_c": [4.0, np.nan]}, "'start_c' is not a finite number for member 1"),
        ({"start_c": [4.0, 5.0], "air_c": [100.0]}, "1 values where others have 2"),
        ({"start_c": [[4.0]]}, "2 dimensions"),
        ({"start_c": ["cold"]}, "array of numbers"),
        ({"air_c": [100.0, 2000.0]}, "Member 1: The air temperature"),
        ({"air_c": [100.0, 900.0]}, "Member 1: The air temperature"),
        ({"stages[1].air_c": [100.0]}, "names a stage that is not there"),
    ],
)
def test_what_cannot_be_used_is_named(piece, parameters, message):
    with pytest.raises(InputError, match=message.replace("[", r"\[")):
        simulate_many(piece, COOK, parameters, **SMALL)


def test_other_mistakes_are_named_too(piece):
    with pytest.raises(InputError, match=r"stages\[0\]\.air_c"):
        simulate_many(piece, [COOK, COOK], {"air_c": [100.0]}, **SMALL)
    with pytest.raises(InputError, match="read by the function"):
        simulate_many(piece, lambda member: COOK, {"hoter": [1.0]}, **SMALL)
    with pytest.raises(InputError, match="quantity 'colour'"):
        simulate_many(piece, COOK, quantities=("colour",), **SMALL)
    with pytest.raises(InputError, match="2 pieces but 3 values"):
        simulate_many([piece, piece], COOK, {"start_c": [1.0, 2.0, 3.0]}, **SMALL)
    with pytest.raises(InputError, match="must increase"):
        simulate_many(piece, COOK, times_s=[5.0, 1.0], **SMALL)
    with pytest.raises(InputError, match="at least one member"):
        simulate_many(piece, COOK, chunk=0, **SMALL)
    e = simulate_many(piece, COOK, quantities=("core_c",), **SMALL)
    with pytest.raises(InputError, match="mass_loss_fraction"):
        _ = e.loss_fraction


def test_nothing_in_nothing_out():
    e = simulate_many([], COOK, **SMALL)
    assert e.members == 0
    assert e.core_c.shape == (0, 0)


def test_members_may_differ_in_what_is_a_chambers_and_a_pieces_own():
    piece = cw.Piece(cw.Slab(0.05), cw.meat(), 4.0, 6.0)
    stage = cw.Stage(cw.Chamber(107.0, 1.5, heat_transfer=8.0), duration_s=4 * 3600.0)
    given = {"fresh_air_kg_h": [1.5, 15.0, 15.0], "injected_fraction": [0.0, 0.0, 0.1]}
    many = simulate_many(piece, stage, given)
    alone = cw.simulate(piece, stage)
    assert many.core_c[0, -1] == pytest.approx(alone.core_c[-1], abs=1e-9)
    # Dry air cools the surface, and more water takes longer to warm.
    assert many.core_c[0, -1] > many.core_c[1, -1] > many.core_c[2, -1]


def test_what_surroundings_of_that_kind_have_not_is_refused():
    piece = cw.Piece(cw.Slab(0.05), cw.meat(), 4.0, 6.0)
    with pytest.raises(InputError, match="Surroundings has no fresh_air_kg_h"):
        simulate_many(
            piece, cw.Stage(cw.Surroundings(107.0), duration_s=60.0), {"fresh_air_kg_h": [1.0]}
        )
    with pytest.raises(InputError, match="Chamber has no dew_point_c"):
        simulate_many(
            piece, cw.Stage(cw.Chamber(107.0, 1.5), duration_s=60.0), {"dew_point_c": [30.0]}
        )
