"""A shop system opens a case from its work order, once, and remembers the case's number.

Usage: THREEWIRE_URL=http://127.0.0.1:8000 THREEWIRE_KEY=tw_... python shop_system.py FILE

Run it again with the same work order, or kill it half way and run it again: there is one case.
"""

import json
import os
import sys
import time
from pathlib import Path
from typing import Any

import requests

URL = os.environ.get("THREEWIRE_URL", "http://127.0.0.1:8000")
KEY = os.environ.get("THREEWIRE_KEY")
TRIES = 5


def case_of(order: dict[str, Any]) -> dict[str, Any]:
    """Return the case that a work order of this shop asks for."""
    circuit = order["fuel_solenoid"]
    return {
        "by": order["taken_by"],
        "reference": order["order"],
        "fleet_number": order["asset"],
        "machine_type": order["kind"],
        "complaint": order["reported"],
        "machine": {
            "duty": "fuel-shutoff",
            "control": circuit.get("command", "unknown"),
            "coil": circuit.get("ground", "unknown"),
        },
    }


def open_case(order: dict[str, Any]) -> dict[str, Any]:
    """Open the case. The key makes it safe to send again whatever became of the answer."""
    headers = {"Idempotency-Key": f"open-{order['order']}"}
    if KEY:
        headers["Authorization"] = f"Bearer {KEY}"
    for attempt in range(TRIES):
        try:
            response = requests.post(
                f"{URL}/v1/cases", json=case_of(order), headers=headers, timeout=10
            )
        except requests.ConnectionError:
            time.sleep(2**attempt)
            continue
        if response.status_code in (429, 503):
            time.sleep(float(response.headers.get("Retry-After", 2**attempt)))
            continue
        if not response.ok:
            raise SystemExit(response.text)  # every fault, with its path
        return dict(response.json())
    raise SystemExit("the service does not answer; try again later")


def main() -> None:
    """Open the case and print what the shop system keeps and shows."""
    case = open_case(json.loads(Path(sys.argv[1]).read_text(encoding="utf-8")))
    print("case", case["number"])
    leading = case["leading"]
    for caution in leading["cautions"]:  # these concern the whole job
        print("!", caution["text"])
    for text in leading["next_check"]["cautions"]:  # and these the next step: before it is asked
        print("!", text)
    print("ask", leading["next_check"]["say"])


if __name__ == "__main__":
    main()
