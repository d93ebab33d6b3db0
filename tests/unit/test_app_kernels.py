"""The seed that kernels are copied from ends when it is asked to, whatever it is at."""

from __future__ import annotations

import asyncio
import signal
import sys
from typing import Any

import pytest

from coreward.app.kernels import Seed


@pytest.mark.skipif(sys.platform != "linux", reason="kernels are copied on Linux only")
def test_a_seed_that_is_still_importing_ends_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    expired, patient = [], asyncio.wait_for

    async def noted(*given: Any) -> Any:
        try:
            return await patient(*given)
        except TimeoutError:
            expired.append(given)
            raise

    async def start_and_stop() -> int | None:
        seed = Seed()
        await seed.start()
        await seed.stop()
        assert seed._process is not None
        return seed._process.returncode

    monkeypatch.setattr(asyncio, "wait_for", noted)
    # Importing takes seconds, and it hears nothing until then. One that was not killed ends
    # with nought once it hears, or keeps us waiting to the end of our patience.
    assert asyncio.run(start_and_stop()) == -signal.SIGKILL
    assert expired == []
