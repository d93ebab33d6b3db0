"""Probe logs: what a cook's thermometer wrote down, read without changing it."""

from coreward.logs.contents import ColumnGuess, FileContents, Question, what_it_holds
from coreward.logs.follow import LogFollower, follow_log, read_in_order
from coreward.logs.followed import Accounting
from coreward.logs.log import Channel, LeftOutColumn, ProbeLog, RawRows, Repair, RepairLayer
from coreward.logs.read import LogReadError, read_log

__all__ = [
    "Accounting",
    "Channel",
    "ColumnGuess",
    "FileContents",
    "LeftOutColumn",
    "LogFollower",
    "LogReadError",
    "ProbeLog",
    "Question",
    "RawRows",
    "Repair",
    "RepairLayer",
    "follow_log",
    "read_in_order",
    "read_log",
    "what_it_holds",
]
