"""The circuit drawn as SVG, from the circuit data and an answer. Pure: no Flask, no file written.

>>> from api.drawing import svg
>>> picture = svg(knowledge, request, answer, shape="tall", embed=True)   # doctest: +SKIP
"""

from api.drawing.diagram import SHAPES, Shape
from api.drawing.drawing import circuit_svg, in_full, stylesheet, svg

__all__ = ["SHAPES", "Shape", "circuit_svg", "in_full", "stylesheet", "svg"]
