"""Records become days: home line-days, care intervals, states, skin events, silence.

The only package that counts line-days. Everything in it is a pure function of the records of
whole families, so families may be calculated separately and joined. Frames come in through
`coded` and go out through `frames`; between them are int64 arrays.
"""

from analysis.timeline.build import Timeline, build

__all__ = ["Timeline", "build"]
