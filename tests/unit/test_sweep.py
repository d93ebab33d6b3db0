"""Sweeps: kept in chunks, gone on with after a stop, the same wherever they are computed."""

from __future__ import annotations

import json
import os
import pickle
import signal
import subprocess
import sys
import textwrap
import threading
import time
from collections.abc import Callable
from concurrent.futures import Future
from pathlib import Path

import numpy as np
import pytest

import coreward as cw
from coreward.cook.many import Ensemble, EnsembleCancelled
from coreward.cook.sweep import MANIFEST, question_digest, sweep

COOKS, CHUNK = 24, 6


def question(cooks: int = COOKS) -> dict:
    rng = np.random.default_rng(7)
    return {
        "piece": cw.Piece(cw.Slab(0.03), cw.meat("pork loin"), 4.0),
        "stages": cw.Stage(cw.Surroundings(110.0), duration_s=20000.0, until_core_c=65.0),
        "parameters": {
            "thickness": rng.uniform(0.025, 0.04, cooks),
            "air_c": rng.uniform(100.0, 130.0, cooks),
        },
        "target_c": 60.0,
    }


def same(one: Ensemble, two: Ensemble) -> bool:
    """Whether two ensembles agree to the last bit."""
    pairs = [(one.finish_s, two.finish_s), (one.end_s, two.end_s)]
    pairs += [(one.curves[n], two.curves[n]) for n in one.curves]
    pairs += [(one.final[n], two.final[n]) for n in one.final]
    return all(a.tobytes() == b.tobytes() for a, b in pairs)


@pytest.fixture(scope="module")
def whole(tmp_path_factory) -> Ensemble:
    return sweep(**question(), folder=tmp_path_factory.mktemp("whole"), chunk=CHUNK)


def test_a_sweep_is_what_simulate_many_computes(whole: Ensemble) -> None:
    from coreward.cook.light import LIGHT_CELLS, LIGHT_TOLERANCE

    asked = question()
    plain = cw.simulate_many(
        asked["piece"],
        asked["stages"],
        asked["parameters"],
        target_c=60.0,
        times_s=[0.0],
        cells=LIGHT_CELLS,
        tolerance=LIGHT_TOLERANCE,
    )
    assert same(whole, plain)
    assert whole.members == COOKS
    assert np.isfinite(whole.finish_s).all()
    assert whole.parameters["thickness"].tolist() == asked["parameters"]["thickness"].tolist()


def test_a_sweep_goes_on_where_it_was_stopped(tmp_path: Path, whole: Ensemble) -> None:
    stop, seen = threading.Event(), []

    def watch(done: int, total: int) -> None:
        seen.append(done)
        if done >= CHUNK:
            stop.set()

    with pytest.raises(EnsembleCancelled):
        sweep(**question(), folder=tmp_path, chunk=CHUNK, progress=watch, cancel=stop)
    kept = sorted(path.name for path in tmp_path.glob("chunk-*.npz"))
    assert 1 <= len(kept) < COOKS // CHUNK
    stamps = {name: (tmp_path / name).stat().st_mtime_ns for name in kept}
    seen.clear()
    again = sweep(
        **question(), folder=tmp_path, chunk=CHUNK, progress=lambda d, t: seen.append((d, t))
    )
    assert seen[0] == (CHUNK * len(kept), COOKS)
    assert seen[-1] == (COOKS, COOKS)
    assert [d for d, _ in seen] == sorted(d for d, _ in seen)
    # What was kept was not computed again.
    assert {name: (tmp_path / name).stat().st_mtime_ns for name in kept} == stamps
    assert same(again, whole)


@pytest.mark.skipif(os.name != "posix", reason="kills a process as POSIX does")
def test_a_sweep_that_was_killed_goes_on(tmp_path: Path) -> None:
    """Also when it was killed without warning, in the middle of a chunk."""
    script = textwrap.dedent(
        f"""
        import sys
        sys.path.insert(0, {str(Path(__file__).parent)!r})
        from test_sweep import question
        from coreward.cook.sweep import sweep
        sweep(**question(400), folder={str(tmp_path)!r}, chunk=20)
        """
    )
    child = subprocess.Popen([sys.executable, "-c", script])
    try:
        end = time.monotonic() + 60.0
        while not list(tmp_path.glob("chunk-*.npz")) and time.monotonic() < end:
            assert child.poll() is None
            time.sleep(0.02)
    finally:
        child.send_signal(signal.SIGKILL)
        child.wait()
    kept = len(list(tmp_path.glob("chunk-*.npz")))
    assert 1 <= kept < 20
    seen = []
    found = sweep(
        **question(400), folder=tmp_path, chunk=20, progress=lambda d, t: seen.append(d)
    )
    assert seen[0] == 20 * kept
    assert np.isfinite(found.finish_s).all()
    assert found.members == 400


@pytest.mark.parametrize(
    ("change", "what"),
    [
        ({"target_c": 61.0}, "question"),
        ({"chunk": 8}, "chunk"),
        ({"piece": cw.Piece(cw.Slab(0.03), cw.meat("pork loin"), 5.0)}, "question"),
        ({"tolerance": 0.1}, "question"),
        ({"times_s": [0.0, 600.0]}, "question"),
    ],
)
def test_a_changed_question_is_not_mixed_in(tmp_path: Path, change: dict, what: str) -> None:
    asked = question(3) | {"folder": tmp_path, "chunk": 3}
    sweep(**asked)
    with pytest.raises(cw.InputError, match=f"holds another sweep.*{what}"):
        sweep(**(asked | change))


def test_one_changed_value_among_thousands_is_seen() -> None:
    values = np.linspace(0.0, 1.0, 10000)
    other = values.copy()
    other[7777] = np.nextafter(other[7777], 2.0)
    assert question_digest({"p": values}) == question_digest({"p": values.copy()})
    assert question_digest({"p": values}) != question_digest({"p": other})


def test_a_damaged_chunk_is_computed_again(tmp_path: Path, whole: Ensemble) -> None:
    sweep(**question(), folder=tmp_path, chunk=CHUNK)
    victim = tmp_path / "chunk-00001.npz"
    victim.write_bytes(victim.read_bytes()[:200])
    (tmp_path / "chunk-00002.npz").unlink()
    assert same(sweep(**question(), folder=tmp_path, chunk=CHUNK), whole)


def test_chunks_without_a_manifest_are_refused(tmp_path: Path) -> None:
    sweep(**question(3), folder=tmp_path, chunk=3)
    (tmp_path / MANIFEST).unlink()
    with pytest.raises(cw.InputError, match=r"holds chunks but no manifest\.json"):
        sweep(**question(3), folder=tmp_path, chunk=3)


def test_the_manifest_says_what_it_holds(tmp_path: Path) -> None:
    sweep(**question(3), folder=tmp_path, chunk=3)
    told = json.loads((tmp_path / MANIFEST).read_text())
    assert told["cooks"] == 3
    assert told["chunk"] == 3


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"stages": lambda member: None}, "not as a function"),
        ({"parameters": {"thickness": 0.03}}, "one length"),
        ({"parameters": {"thickness": [0.03], "air_c": [1.0, 2.0]}}, "one length"),
        ({"chunk": 0}, "at least one"),
    ],
)
def test_what_cannot_be_swept_is_refused(tmp_path: Path, change: dict, message: str) -> None:
    with pytest.raises(cw.InputError, match=message):
        sweep(**(question(3) | {"folder": tmp_path} | change))


class Far:
    """An executor that hands on nothing but what a pickle holds, as another program's does."""

    def submit(self, fn: Callable[..., object], /, *args: object) -> Future[object]:
        done: Future[object] = Future()
        far, given = pickle.loads(pickle.dumps((fn, args)))
        done.set_result(pickle.loads(pickle.dumps(far(*given))))
        return done


def test_an_executor_gives_the_same_numbers_to_the_last_bit(
    tmp_path: Path, whole: Ensemble
) -> None:
    assert same(sweep(**question(), folder=tmp_path, chunk=CHUNK, executor=Far()), whole)


@pytest.mark.skipif(
    not os.environ.get("COREWARD_FULL"),
    reason="starts five programs; part of the full list: set COREWARD_FULL=1",
)
@pytest.mark.filterwarnings("ignore::DeprecationWarning", "ignore::ResourceWarning")
def test_a_cluster_gives_the_same_numbers_to_the_last_bit(
    tmp_path: Path, whole: Ensemble, root: Path
) -> None:
    parallel = pytest.importorskip("ipyparallel")
    paths = [str(root / "model"), os.environ.get("PYTHONPATH", "")]
    os.environ["PYTHONPATH"] = os.pathsep.join(filter(None, paths))
    cluster = parallel.Cluster(n=2, profile_dir=str(tmp_path / "profile"), log_level=40)
    with np.errstate(all="warn"):
        client = cluster.start_and_connect_sync()
    try:
        far = sweep(
            **question(),
            folder=tmp_path / "sweep",
            chunk=CHUNK,
            executor=client.load_balanced_view().executor,
        )
    finally:
        cluster.stop_cluster_sync()
        client.close()
    assert same(far, whole)
