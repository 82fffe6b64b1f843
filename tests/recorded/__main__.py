"""Records the answers of all cases, or compares today's answers with a record.

``python -m tests.recorded record FILE`` writes one line a request: the request and its answer.
``python -m tests.recorded compare FILE`` asks the same requests again and prints what differs,
counted by the place in the answer, with the first example of each.
"""

import json
import re
import sys
from collections import Counter
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import yaml

import engine
from tests.recorded.random_requests import random_requests

CASES = Path(__file__).parents[1] / "cases"
SAME = 1e-9  # numbers closer than this, as a share, count as the same


def requests() -> Iterator[tuple[str, dict[str, Any]]]:
    """Yield every request with a name: worked cases, rule cases, then 300 random ones."""
    for file in sorted(CASES.rglob("*.yaml")):
        if "blind" in file.parts:  # calls that nobody looks at
            continue
        content = yaml.safe_load(file.read_text(encoding="utf-8"))
        if "request" in content:
            yield file.stem, content["request"]
        for kind in ("fires", "silent"):
            for number, case in enumerate(content.get(kind, ())):
                if "request" in case:  # not what a caller says
                    yield f"{file.stem}:{kind}[{number}]", case["request"]
    yield from random_requests(300)


def answer(request: dict[str, Any]) -> Any:
    """Return the answer of a request, or the faults of a bad one."""
    try:
        return json.loads(json.dumps(engine.diagnose(request)))
    except engine.RequestError as error:
        return {"faults": [str(fault) for fault in error.faults]}


def differences(before: Any, after: Any, path: str = "") -> Iterator[tuple[str, Any, Any]]:
    """Yield the places at which two answers differ, with what stood and stands there."""
    if isinstance(before, dict) and isinstance(after, dict):
        for key in [*before, *(key for key in after if key not in before)]:
            yield from differences(before.get(key), after.get(key), f"{path}.{key}".strip("."))
    elif isinstance(before, list) and isinstance(after, list) and len(before) == len(after):
        for number, (one, other) in enumerate(zip(before, after, strict=True)):
            yield from differences(one, other, f"{path}[{number}]")
    elif isinstance(before, float) and isinstance(after, (int, float)):
        if abs(before - after) > SAME * max(abs(before), abs(after)):
            yield path, before, after
    elif before != after:
        yield path, before, after


def record(file: Path) -> None:
    """Write the record."""
    with file.open("w", encoding="utf-8") as lines:
        for name, request in requests():
            entry = {"name": name, "request": request, "answer": answer(request)}
            lines.write(json.dumps(entry) + "\n")


def compare(file: Path) -> int:
    """Print what differs from the record; return the number of requests that differ."""
    places: Counter[str] = Counter()
    examples: dict[str, str] = {}
    changed = total = 0
    for line in file.read_text(encoding="utf-8").splitlines():
        entry = json.loads(line)
        found = list(differences(entry["answer"], answer(entry["request"])))
        total += 1
        changed += bool(found)
        for place in {re.sub(r"\[\d+\]", "[]", path) for path, _, _ in found}:
            places[place] += 1
        for path, before, after in found:
            place = re.sub(r"\[\d+\]", "[]", path)
            example = f"{entry['name']} {path}: {before!r:.120} -> {after!r:.120}"
            examples.setdefault(place, example)
    for place, count in places.most_common():
        print(f"{count:5} {place}\n      {examples[place]}")
    print(f"{changed} of {total} answers differ")
    return changed


if __name__ == "__main__":
    if len(sys.argv) != 3 or sys.argv[1] not in ("record", "compare"):
        sys.exit(__doc__)
    target = Path(sys.argv[2])
    if sys.argv[1] == "record":
        record(target)
    else:
        sys.exit(1 if compare(target) else 0)
