"""The HTTP interface: a blueprint a resource, and what is common to all of them.

A view says what it takes and answers in its decorator (operations); that holds requests to it and
stands in /openapi.json. ``BLUEPRINTS`` is the one list of what is served.
"""

from flask import Blueprint

from api.web import (
    batch,
    cases,
    diagnoses,
    drawings,
    health,
    knowledge,
    reference,
    sums,
    traces,
)

_ROOMS = (
    diagnoses, batch, cases, knowledge, drawings, sums, traces, reference, health,
)  # fmt: skip
BLUEPRINTS: list[Blueprint] = [one.blueprint for one in _ROOMS]
