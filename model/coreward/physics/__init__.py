"""The physics: water, humid air, exchange, meat, the statement and its engines.

Nothing here knows of a cook, a log, a plot or a widget.
"""

from pathlib import Path

from coreward.physics._cache import discard_stale

discard_stale(Path(__file__).parent)
