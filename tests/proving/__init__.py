"""The proving ground: simulated machines, strategies played on them, and what they score.

How the generator is independent of the engine: its faults (``faults.yaml``), probe points
(``probes.yaml``), context (``context.yaml``), circuit equations (``network``: modified nodal
analysis with ideal sources, one machine at a time), switching, hard limits, fuse, meters and human
slips are its own, and severities are continuous. Where it is not independent: the nominal ohms,
nodes and tolerances of healthy parts, the shares and minutes of causes, and, for the few checks
that physics cannot predict, the rows of the kb's tables (shaken by Dirichlet noise, one shake a
run) are read from kb/ as data. Both were written with the same trade in mind, so a mistake about
the trade that both share does not show here.
"""
