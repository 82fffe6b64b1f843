"""Writes the blocks of README.md that show real output. Run: ``python -m tests.readme``."""

import json
import re
import sys
from pathlib import Path
from typing import Any

from click.testing import CliRunner

import engine

ROOT = Path(__file__).parents[1]
README = ROOT / "README.md"
REPORT_LINES = 32
LONG_LIST = 3
WIDTH = 100


def block(text: str, language: str, word: str) -> str:
    """Return the fenced block of a language that contains a word."""
    found = re.findall(rf"```{language}\n(.*?)```", text, re.DOTALL)
    return next(one for one in found if word in one)


def report(text: str) -> str:
    """Return the first screen of the report on the YAML case that README prints."""
    from api.cli.main import threewire

    case = block(text, "yaml", "findings:")
    done = CliRunner().invoke(threewire, ["diagnose", "-"], input=case)
    lines = done.output.rstrip().split("\n")[:REPORT_LINES]
    return "```text\n" + "\n".join(line.rstrip() for line in lines) + "\n...\n```"


def shortened(value: Any) -> Any:
    """Return an answer with its long lists cut; "..." stands where something was left out."""
    if isinstance(value, dict):
        return {key: shortened(inner) for key, inner in value.items()}
    if isinstance(value, list):
        most = LONG_LIST if len(str(value)) <= WIDTH else 1
        kept = [shortened(one) for one in value[:most]]
        return [*kept, "..."] if len(value) > most else kept
    return value


def laid_out(value: Any, before: str = "", indent: str = "") -> str:
    """Return JSON text with everything on one line that fits there."""
    flat = before + json.dumps(value, ensure_ascii=False)
    if not value or not isinstance(value, (dict, list)) or len(indent + flat) <= WIDTH:
        return indent + flat
    pairs = value.items() if isinstance(value, dict) else ((None, one) for one in value)
    inner = ",\n".join(
        laid_out(one, "" if key is None else f"{json.dumps(key)}: ", indent + " ")
        for key, one in pairs
    )
    first, last = "{}" if isinstance(value, dict) else "[]"
    return f"{indent}{before}{first}\n{inner}\n{indent}{last}"


def answer(text: str) -> str:
    """Return the answer to the request that README's curl command sends, shortened."""
    request = json.loads(re.search(r"-d '\n(.*?)'\n", text, re.DOTALL)[1])  # type: ignore[index]
    found = {**shortened(engine.diagnose(request)), "trace": ["..."]}
    return f"```json\n{laid_out(found)}\n```"


def written(text: str) -> str:
    """Return README with its blocks made anew."""
    for name, content in (("report", report(text)), ("answer", answer(text))):
        pattern = rf"(<!-- {name}:begin -->\n).*?(<!-- {name}:end -->)"
        text = re.sub(
            pattern, lambda m, c=content: f"{m[1]}{c}\n{m[2]}", text, flags=re.DOTALL
        )  # fmt: skip
    return text


def main() -> None:
    """Write README, or with --check exit 1 where it would change."""
    text = README.read_text(encoding="utf-8")
    new = written(text)
    if "--check" in sys.argv:
        sys.exit(new != text)
    README.write_text(new, encoding="utf-8")


if __name__ == "__main__":
    main()
