"""What an answer does not say: every caution, once.

Whoever gives an answer takes its caution from here. One is made stricter in this file, for
all who say it, and never weaker anywhere else.
"""

from __future__ import annotations

from typing import Final

ANSWER: Final[str] = (
    "This does not replace a calibrated thermometer, the local food code or a licensed "
    "process authority."
)
"""What every answer says, the command line's help too."""

COMPUTED: Final[str] = "This was computed, not measured."

FORECAST: Final[str] = (
    f"A forecast is no proof of safety. {ANSWER} Check the finished cook with verdict."
)
ODDS: Final[str] = "A forecast gives odds, not a promise: go by the thermometer."

LESSON: Final[str] = (
    f"A lesson about heat and water. It does not say that any food is safe to eat. {ANSWER}"
)

REPORT: Final[tuple[str, ...]] = (
    "Nothing here says that food is safe to eat. A result holds at the point it was computed "
    "or measured for and under the assumptions printed with it.",
    ANSWER,
)
"""What every report says that has no caution of its own."""

REVIEW: Final[tuple[str, ...]] = (
    "These figures hold at the point where the probe was, and only if it read right: the "
    "coldest point of the meat may have been elsewhere and colder.",
    f"{ANSWER} Nothing here says that the food may be served.",
    "A probe that sticks at one reading for part of the time, or that slipped out of the "
    "meat, is not found here; compare the curve with what you saw.",
)
