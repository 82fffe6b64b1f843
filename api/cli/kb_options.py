"""The options of the commands that look at machines: which circuits, coil style and voltage."""

import functools
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import click

from api.cli.inputs import BadInput, knowledge_from, overlay_option
from api.curation.facts import shown_machines
from engine import Knowledge
from engine.audit.separation import Survey
from engine.diagnosis import diagnoser_of
from engine.knowledge import items
from engine.knowledge.faults import unknown
from engine.physics.machine import Machine


@dataclass(frozen=True)
class Chosen:
    """The base that was asked for, and the machines to look at."""

    knowledge: Knowledge
    survey: Survey
    machines: list[Machine]


def known(kind: str, wanted: str, there: Mapping[str, Any]) -> str:
    """Return an id that exists. Raises BadInput naming the nearest."""
    if wanted not in there:
        raise BadInput([unknown(kind, wanted, there)])
    return wanted


def on_machines(one_coil: bool = False) -> Callable[[Callable[..., None]], Callable[..., None]]:
    """Return what adds the options; the command gets what they choose as its first argument.

    Without --coil both styles are chosen, or with ``one_coil`` the first.
    """

    coils = items.COILS[:1] if one_coil else items.COILS
    about = f"Coil style; {coils[0] if one_coil else 'both'} when left out."

    def decorate(command: Callable[..., None]) -> Callable[..., None]:
        @click.option("--circuit", metavar="ID", help="One circuit; all of them when left out.")
        @click.option("--coil", type=click.Choice(items.COILS), help=about)
        @click.option("--volts", type=click.Choice([str(one) for one in items.SYSTEM_VOLTS]),
                      default=str(items.SYSTEM_VOLTS[0]), show_default=True,
                      help="System voltage.")  # fmt: skip
        @overlay_option
        @functools.wraps(command)
        def chosen(
            circuit: str | None, coil: str | None, volts: str, overlay: tuple[str, ...], **rest: Any
        ) -> None:
            knowledge = knowledge_from(overlay)
            circuits = [known("circuit", circuit, knowledge.circuits)] if circuit else []
            machines = shown_machines(knowledge, circuits, (coil,) if coil else coils, int(volts))
            command(Chosen(knowledge, Survey(diagnoser_of(knowledge)), machines), **rest)

        return chosen

    return decorate
