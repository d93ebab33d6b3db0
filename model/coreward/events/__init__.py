"""What happened during a cook: the fire, the probes, the meat, its standstills.

Robust statistics of the air and of the meat's response to it, causally: with `until_s`
nothing later is used. Below a confidence of 0.5 an event may still move or go; at or above
it stays. A wrap says what it rests on; one that rests on its opening alone stays
provisional until the probe is pulled, one that is less likely than not for good, and no fit
stands on either. Where a stall begins and ends is what most of a set of courses say, drawn
from what noisy readings leave open. Meat that goes on passes an open lid: if the air shows
none, it is told from the probe. A person's edits lie on top (`EventList`), and everything
downstream uses the edited list.
"""
