"""The physics: water, humid air, exchange, meat, the statement and its engines.

Nothing here knows of a cook, a log, a plot or a widget.

Limits: one dimension; no bone in its place (it is mass that warms and loses nothing, spread
through the meat), no fat cap as a layer, no freezing, no moving mesh (shrinkage is reported
at the end); convection is not corrected for outflowing vapour (0.1 to 0.3 K at the
surface); isotherms above 50 °C are extrapolated; fat that renders is a loss of mass but
stays in the heat balance.
"""

from pathlib import Path

from coreward.physics._cache import discard_stale

discard_stale(Path(__file__).parent)
