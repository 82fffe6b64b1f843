"""The life of a case with plain requests: open, add, read, close, keep the sheet.

Usage: THREEWIRE_URL=http://127.0.0.1:8000 THREEWIRE_KEY=tw_... python case.py
"""

import os
import uuid
from pathlib import Path
from typing import Any

import requests

URL = os.environ.get("THREEWIRE_URL", "http://127.0.0.1:8000")
http = requests.Session()
if key := os.environ.get("THREEWIRE_KEY"):
    http.headers["Authorization"] = f"Bearer {key}"


def send(method: str, path: str, body: Any = None, **headers: str) -> requests.Response:
    """Send a request; whatever is created is created once. Raises on a refusal."""
    if method == "POST":
        headers["Idempotency-Key"] = str(uuid.uuid4())
    response = http.request(method, URL + path, json=body, headers=headers, timeout=10)
    if response.status_code == 412:  # somebody else was faster: look, then decide
        for step in response.json()["changes"]:
            print("meanwhile:", step["words"])
    response.raise_for_status()
    return response


machine = {"duty": "fuel-shutoff", "control": "controller-on-crank", "coil": "body-ground"}
response = send("POST", "/v1/cases", {
    "by": "Dana", "fleet_number": "L-07", "machine": machine,
    "findings": [{"check": "engine-response", "outcome": "cranks-no-start"}],
})  # fmt: skip
case, address = response.json(), response.headers["Location"]
print("opened", case["number"], "at", address)

send("POST", f"{address}/findings", {"by": "Ana", "findings": [
    {"check": "relay-click", "outcome": "heard"},
    {"check": "ground-side-voltage", "value": 5.2, "unit": "V"},
]})  # fmt: skip

diagnosis = send("GET", f"{address}/diagnosis").json()
for cause in diagnosis["causes"][:3]:
    print(f"{cause['probability']:6.1%}  {cause['name']}")

seen = send("GET", address).headers["ETag"]
closing = {
    "by": "Ana", "cause": diagnosis["causes"][0]["id"], "replaced": ["ground eye"], "minutes": 35,
}  # fmt: skip
case = send("POST", f"{address}/close", closing, **{"If-Match": seen}).json()
print(case["state"], "as", case["outcome"]["cause"])

page = send("GET", f"{address}/work-order.html").text
Path("work-order.html").write_text(page, encoding="utf-8")
