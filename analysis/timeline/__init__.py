"""Records become days: home line-days, care intervals, states, skin events, silence.

The only room that counts line-days. Everything in it is a pure function of the records of
whole families, so families may be worked on apart and laid side by side.
"""

from analysis.timeline.build import Timeline, build

__all__ = ["Timeline", "build"]
