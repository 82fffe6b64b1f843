"""``python -m tests.proving``: simulated machines, to see how often the diagnosis is right."""

import json
import os
import time
from pathlib import Path
from typing import Any

import click

from tests.proving.kits import KITS
from tests.proving.roughness import NAMES, smooth

EXTRA = "needs the extra 'proving': pip install '.[proving]'"


@click.command()
@click.option("--machines", default=200, show_default=True, type=click.IntRange(1, 100_000),
              help="How many machines of each seed.")  # fmt: skip
@click.option("--seed", "seeds", multiple=True, default=[1], show_default=True,
              type=click.IntRange(0, 1000), help="Same seed, same machines; again, for a table of "
              "all. 1 to 9 are for tuning, 11 to 13 for the report at the end.")  # fmt: skip
@click.option("--kit", "kits", multiple=True, type=click.Choice(list(KITS)), help="Only this kit; "
              "may be given again. All when left out.")  # fmt: skip
@click.option("--smooth", "off", multiple=True, type=click.Choice(["all", *NAMES]), help="Machines "
              "without this roughness; may be given again.")  # fmt: skip
@click.option("--jobs", default=0, type=click.IntRange(0, 64), help="Processes; 0 is one a core.")
@click.option("--played", type=click.IntRange(0), help="How many machines of each seed are played "
              "to the end, for the minutes; a third of the time. All when left out.")  # fmt: skip
@click.option("--bound", is_flag=True, help="Ask a classifier about the same machines, for what "
              "the findings can say; what it learned is kept in the folder of --out.")  # fmt: skip
@click.option("--out", type=click.Path(file_okay=False, path_type=Path),
              help="Write the figures and plots here.")  # fmt: skip
@click.option("--json", "as_json", is_flag=True, help="Print the figures as JSON.")
def prove(  # noqa: PLR0917 - one argument an option
    machines: int, seeds: tuple[int, ...], kits: tuple[str, ...], off: tuple[str, ...], jobs: int,
    played: int | None, bound: bool, out: Path | None, as_json: bool,
) -> None:  # fmt: skip
    """Try the diagnosis on simulated machines whose true cause is known.

    Prints how often the true cause led, how long the way to the fix was, and how far the chances
    hold; with --out also writes plots.
    """
    from tests.proving import run, table
    from tests.proving.bound import MissingExtraError, check_extra

    chosen = tuple(kit for kit in KITS if kit in (kits or KITS))
    place = (out or Path("proving")) if bound else None
    began = time.monotonic()
    try:
        if bound:
            check_extra()
        results = run.prove(machines, seeds, chosen, jobs or os.cpu_count() or 1, played,
                            _progress, smooth(off), place)  # fmt: skip
    except MissingExtraError as error:
        raise click.UsageError(f"--bound {EXTRA}") from error
    data = {**run.as_data(results), "smooth": sorted(off)}
    click.echo(json.dumps(data, indent=1) if as_json else "\n".join(table.lines(data)))
    click.echo(f"\ntook {time.monotonic() - began:.0f} seconds", err=True)
    if out is not None:
        _write(results, data, out)


def _progress(done: int) -> None:
    if os.isatty(2):
        click.echo(f"\r{done} machines", nl=False, err=True)


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
