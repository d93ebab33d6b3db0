"""What is refused before the air of a log is cleaned, and what of it is trusted."""

from __future__ import annotations

import numpy as np
import pytest

from coreward.errors import InputError
from coreward.events.cleaning import air_without_events, clean_meat
from coreward.events.listed import Event
from coreward.logs.log import Channel, ProbeLog

TIME = 60.0 * np.arange(120.0)
AIR = 100.0 + 0.1 * np.arange(120.0)


def log_of(air: np.ndarray | None, size: int = 120) -> ProbeLog:
    channels = [Channel("flat", "meat", np.linspace(5.0, 30.0, size))]
    if air is not None:
        channels.append(Channel("pit", "air", air[:size]))
    return ProbeLog(TIME[:size], None, tuple(channels))


def test_a_log_without_air_or_with_one_sample_is_refused() -> None:
    with pytest.raises(InputError, match="no air probe, or too few samples; state the air"):
        air_without_events(log_of(None), ())
    with pytest.raises(InputError, match="too few samples"):
        air_without_events(log_of(AIR), (), until_s=0.0)
    assert air_without_events(log_of(AIR), (), until_s=60.0)[0][-1] <= 60.0


def test_air_is_trusted_outside_the_faults_of_its_own_probe() -> None:
    wild = AIR.copy()
    wild[40:60] = 300.0
    fault = Event("sensor_fault", TIME[40], TIME[59], channel="pit")
    time, air = air_without_events(log_of(wild), (fault,))
    assert np.interp(TIME[[20, 50, 100]], time, air) == pytest.approx(AIR[[20, 50, 100]], abs=2)
    # The fault of another probe leaves the air as it is.
    other = Event("sensor_fault", TIME[40], TIME[59], channel="flat")
    time, air = air_without_events(log_of(wild), (other,))
    assert np.interp(TIME[50], time, air) > 250.0
    with pytest.raises(InputError, match="no reading that can be trusted"):
        air_without_events(log_of(AIR), (Event("sensor_fault", 0.0, TIME[-1], channel="pit"),))


def test_a_lid_is_no_fault_of_the_air() -> None:
    wild = AIR.copy()
    wild[40:60] = 60.0
    lid = Event("lid_opened", TIME[40], TIME[59], channel="pit")
    time, air = air_without_events(log_of(wild), (lid,))
    assert np.interp(TIME[50], time, air) == pytest.approx(60.0, abs=2.0)


def test_of_meat_that_is_pulled_the_reading_at_that_moment_is_not_trusted() -> None:
    log = log_of(AIR)
    meat = log.meat(1)
    pulled = Event("pulled", TIME[50], TIME[50], channel=meat.name)
    kept = clean_meat(log, 1, (pulled,)).mask
    assert (bool(kept[49]), bool(kept[50])) == (True, False)
