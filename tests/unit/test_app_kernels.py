"""The seed that kernels are copied from ends when it is asked to, whatever it is at."""

from __future__ import annotations

import asyncio
import sys
import time

import pytest

from coreward.app.kernels import Seed


@pytest.mark.skipif(sys.platform != "linux", reason="kernels are copied on Linux only")
def test_a_seed_that_is_still_importing_ends_at_once() -> None:
    async def start_and_stop() -> float:
        seed = Seed()
        await seed.start()
        begun = time.monotonic()
        await seed.stop()
        return time.monotonic() - begun

    # Importing takes seconds, and it hears nothing until then; it used to be given five.
    assert asyncio.run(start_and_stop()) < 3.0
