"""Probe logs: what a cook's thermometer wrote down, read without changing it."""

from coreward.logs.log import Channel, ProbeLog, RawRows, Repair
from coreward.logs.read import LogReadError, read_log

__all__ = ["Channel", "LogReadError", "ProbeLog", "RawRows", "Repair", "read_log"]
