"""The proving ground: simulated machines, strategies played on them, and what they score.

What is independent of the engine: the faults (``faults.yaml``), probe points (``probes.yaml``) and
context (``context.yaml``), the circuit equations (``network``: modified nodal analysis with ideal
sources, one machine at a time), switching, hard limits, fuse, meters and human slips, and the ohms,
volts and tolerances of sound parts (``world.yaml``), wider than the engine's and drawn a machine.
Severities are continuous. What makes machines rough is listed in ``roughness``, each with a switch
(``--smooth``): coils, batteries and starters of the whole trade, machines that do not charge, 24 V
with ordinary wires, low-side and chopped outputs, faults that come and go, a wrong part replaced
between two findings, two faults at once, and faults that the knowledge base does not hold
(``unlisted.yaml``; the truth is then ``not-listed``).

What is not independent: which parts a circuit has, between which nodes, what each phase makes, what
an output needs and when it trips; the shares and minutes of causes; the blade fuse's table; which
outcomes a check has and to which machines it applies; and, for the few checks that physics cannot
predict, the rows of the kb's tables (shaken by Dirichlet noise, one shake a run). These are read
from kb/ as data; ``--smooth spread`` reads ohms and tolerances there as well, as does a part that
``world.yaml`` does not have. What a request can say is asked of the engine's schema. Both sides
were written with the same trade in mind, so a mistake about the trade that both share does not
show here. An unlisted fault is unlisted by name: one that looks just like a listed cause in every
reading cannot be told from it, and counts as wrong all the same.

Seeds 1 to 9 are for tuning; 11 to 13 are run once, for the report at the end.
"""
