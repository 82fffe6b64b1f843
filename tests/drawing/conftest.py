"""Every circuit as it is drawn, healthy and with all that may be wrong with it."""

import itertools
from typing import Any
from xml.etree.ElementTree import Element, fromstring

SHAPES = ("wide", "tall")
COILS = ("case-ground", "body-ground", "unknown")
MACHINES = [
    (duty, control, coil)
    for (duty, controls), coil in itertools.product(
        {
            "fuel-shutoff": ("ignition-timed", "controller-on-crank", "unknown"),
            "brake-release": ("ignition-timed", "controller-on-request", "unknown"),
        }.items(),
        COILS,
    )
    for control in controls
]


def parsed(picture: str) -> Element:
    """Return a drawing as an independent reader of XML sees it."""
    return fromstring(picture)  # noqa: S314 - it is our own


def machine_of(duty: str, control: str, coil: str) -> dict[str, Any]:
    """Return a machine as a request has it."""
    return {"duty": duty, "control": control, "coil": coil}
