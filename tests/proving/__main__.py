"""``python -m tests.proving``: simulated machines, to see how often the diagnosis is right."""

import json
import os
from pathlib import Path
from typing import Any

import click

KITS = ("ask", "ask-look-try", "lamp-bench", "all")
EXTRA = "needs the extra 'proving': install threewire[proving]"


@click.command()
@click.option("--machines", default=200, show_default=True, type=click.IntRange(1, 100_000),
              help="How many machines.")  # fmt: skip
@click.option("--seed", default=1, show_default=True, type=click.IntRange(0),
              help="Same seed, same machines.")  # fmt: skip
@click.option("--kit", "kits", multiple=True, type=click.Choice(KITS), help="Only this kit; may be "
              "given again. All when left out.")  # fmt: skip
@click.option("--jobs", default=0, type=click.IntRange(0, 64), help="Processes; 0 is one a core.")
@click.option("--play/--no-play", default=True, help="Play calls to the end for the minutes.")
@click.option("--bound", is_flag=True, help="Estimate what the checks can say at all, with a "
              "classifier: minutes of computing, kept in the folder of --out.")  # fmt: skip
@click.option("--out", type=click.Path(file_okay=False, path_type=Path),
              help="Write the figures and plots here.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def prove(  # noqa: PLR0917 - one argument an option
    machines: int, seed: int, kits: tuple[str, ...], jobs: int, play: bool, bound: bool,
    out: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Try the diagnosis on simulated machines whose true cause is known.

    Prints how often the true cause led, how long the way to the fix was, and how far the chances
    hold; with --out also writes plots.
    """
    from tests.proving import run, table

    chosen = tuple(kit for kit in KITS if kit in (kits or KITS))
    limits = _bound(chosen, out) if bound else None
    results = run.prove(machines, seed, chosen, jobs or os.cpu_count() or 1, play, _progress)
    data = run.as_data(results, limits)
    click.echo(json.dumps(data, indent=1) if as_json else "\n".join(table.lines(data)))
    if out is not None:
        _write(results, data, out)


def _progress(done: int) -> None:
    if os.isatty(2):
        click.echo(f"\r{done} machines", nl=False, err=True)


def _bound(kits: tuple[str, ...], out: Path | None) -> Any:
    from tests.proving import bound

    try:
        return bound.cached(kits, out or Path("proving"))
    except bound.MissingExtraError as error:
        raise click.UsageError(f"--bound {EXTRA}") from error


def _write(results: Any, data: Any, out: Path) -> None:
    from tests.proving import bound, plots

    out.mkdir(parents=True, exist_ok=True)
    (out / "figures.json").write_text(json.dumps(data, indent=1) + "\n", encoding="utf-8")
    try:
        written = plots.write(results, data, out)
    except bound.MissingExtraError:
        click.echo(f"no plots: that {EXTRA}", err=True)
        return
    click.echo("\nplots: " + ", ".join(str(place) for place in written), err=True)


if __name__ == "__main__":
    prove()
