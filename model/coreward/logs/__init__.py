"""Probe logs: what a cook's thermometer wrote down, read without changing it.

A log has layers: rows left out, times changed, readings missing. A layer never makes a
number, and `raw` keeps the bytes of the file. Columns that became no channel stand in
`left_out` with their numbers; where how much time passed cannot be known, `unknown_spans`
says so. Words of a heading only propose (`heading_words`); a unit and readings that move as
meat does outvote them (`meat_like`). There is one reader: a log that is followed is read
again whole when its file has changed.
"""

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
