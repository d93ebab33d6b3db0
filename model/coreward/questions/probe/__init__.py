"""Where to put the probe, and how wrong another place is."""

from coreward.questions.probe.answer import ProbeError, probe_error

__all__ = ["ProbeError", "probe_error"]
