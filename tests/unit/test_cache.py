import pytest

from coreward.physics import _cache


@pytest.fixture
def package(tmp_path, monkeypatch):
    monkeypatch.delenv("NUMBA_CACHE_DIR", raising=False)
    folder = tmp_path / "physics"
    (folder / "engines" / "__pycache__").mkdir(parents=True)
    (folder / "engines" / "fast.py").write_text("x = 1\n")
    return folder


def compiled(folder, name="fast.solve-1.py311.nbi"):
    path = folder / name
    path.write_text("compiled")
    return path


def test_compiled_files_stay_while_sources_do(package):
    _cache.discard_stale(package)
    kept = compiled(package / "engines" / "__pycache__")
    assert _cache.discard_stale(package) == 0
    assert kept.exists()


def test_a_changed_source_removes_them(package):
    _cache.discard_stale(package)
    old = compiled(package / "engines" / "__pycache__")
    (package / "engines" / "fast.py").write_text("x = 2\n")
    assert _cache.discard_stale(package) == 1
    assert not old.exists()


def test_a_cache_elsewhere_is_kept_and_cleared_too(package, tmp_path, monkeypatch):
    elsewhere = tmp_path / "cache"
    monkeypatch.setenv("NUMBA_CACHE_DIR", str(elsewhere))
    _cache.discard_stale(package)
    (elsewhere / "engines_abc").mkdir()
    ours = compiled(elsewhere / "engines_abc")
    theirs = compiled(elsewhere / "engines_abc", "other.f-1.py311.nbi")
    assert _cache.discard_stale(package) == 0
    assert ours.exists()
    (package / "engines" / "fast.py").write_text("x = 3\n")
    assert _cache.discard_stale(package) == 1
    assert theirs.exists()


def test_where_nothing_can_be_written_nothing_breaks(package, monkeypatch):
    def refuse(*_args, **_kwargs):
        raise PermissionError

    monkeypatch.setattr("pathlib.Path.write_text", refuse)
    assert _cache.discard_stale(package) == 0
