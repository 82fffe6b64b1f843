"""What each field of a request means, in words, for /openapi.json.

The schemas of engine.reasoning.request say what is taken; a test holds that none is unexplained.
"""

from collections.abc import Mapping

FIELDS: Mapping[str, Mapping[str, str]] = {
    "Request": {
        "machine": "The machine that the findings are about.",
        "findings": "What was asked, seen, tried or measured, in any order.",
        "on_hand": "Kinds of check that can be done now; all when left out. Limits next_checks, "
        "not the reasoning.",
        "excluded": "Ids of causes that were put right already, the complaint unchanged.",
        "limit": "How many causes to return; 0 is all.",
    },
    "Machine": {
        "duty": "What the solenoid does: hold the fuel on, or keep the brake lock lifted.",
        "control": "What commands pull and hold; 'unknown' weighs all that the duty can have.",
        "coil": "How the windings are grounded; 'unknown' weighs both.",
        "system_volts": "System voltage in volts.",
        "fuel_actuation": "How a fuel solenoid reaches the fuel; decides what can be seen.",
        "fuse_amps": "Rating of the pull feed fuse in amperes.",
        "pull_ohms": "Good resistance of the pull winding at 20 C, in ohms.",
        "hold_ohms": "Good resistance of the hold winding at 20 C, in ohms.",
        "ambient_celsius": "Temperature around the machine in degrees Celsius.",
        "solenoids": "How many brake solenoids the machine has.",
    },
    "Meter": {
        "percent": "Accuracy, the part that is percent of the reading.",
        "counts": "Accuracy, the part that is counts of the last digit.",
        "resolution": "The last digit, in the check's own unit (V, A, ohm or s).",
    },
    "Finding": {
        "check": "Id of the check; see /v1/checks.",
        "outcome": "One of the check's outcomes; 'not-known' for any check, and 'open' for ohms "
        "over range.",
        "value": "The reading, in the unit beside it.",
        "unit": "Unit of the value; SI prefixes are taken (mV, mA, kohm).",
        "lead_ohms": "Resistance of the test leads in ohms, when they were not zeroed.",
        "measured_to": "Where the other lead stood for ohms of a winding.",
        "celsius": "Temperature of the winding in degrees Celsius.",
        "meter": "Accuracy of the meter, when known.",
        "plug": "Whether the plug was on.",
        "moment": "When it was read.",
        "side": "Which of two brake solenoids.",
        "circumstances": "What else was so when it was read, as tags.",
        "note": "Anything else; it is not read.",
    },
}
