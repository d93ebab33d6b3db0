"""Throw away compiled code that no longer matches its sources.

Numba notices a change in the file of a compiled function, but not in the
functions that it calls from other files: after an upgrade it could go on
running old equations. So a fingerprint of all sources is kept beside the
compiled files, and where it differs they are removed.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
from pathlib import Path

_STAMP = "coreward-sources.sha256"


def fingerprint(folder: Path) -> str:
    """Digest of every Python source below a folder."""
    digest = hashlib.sha256()
    for path in sorted(folder.rglob("*.py")):
        digest.update(path.name.encode())
        digest.update(path.read_bytes())
    return digest.hexdigest()


def _store(folder: Path) -> tuple[Path, list[Path]]:
    """Where the fingerprint lies, and the folders of compiled files it is for."""
    own = os.environ.get("NUMBA_CACHE_DIR")
    if own:
        base = Path(own)
        return base, [base, *(p for p in base.glob("*") if p.is_dir())]
    return folder / "__pycache__", [
        p / "__pycache__" for p in (folder, *folder.rglob("*")) if p.is_dir()
    ]


def discard_stale(folder: Path) -> int:
    """Remove compiled files older than the sources.

    Returns
    -------
    int
        How many files were removed. Where nothing may be written, nothing is
        removed and Numba's own checks remain.
    """
    names = {path.stem for path in folder.rglob("*.py")}
    now = fingerprint(folder)
    base, stores = _store(folder)
    stamp = base / _STAMP
    removed = 0
    with contextlib.suppress(OSError):
        if stamp.is_file() and stamp.read_text() == now:
            return 0
        for store in stores:
            for path in store.glob("*.nb[ic]"):
                if path.name.split(".")[0] in names:
                    path.unlink()
                    removed += 1
        base.mkdir(parents=True, exist_ok=True)
        stamp.write_text(now)
    return removed
