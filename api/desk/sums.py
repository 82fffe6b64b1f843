"""The bench sums as pages: each with its formula, its source, and its curve."""

from collections.abc import Mapping

from flask import Response, abort, request

from api import sums
from api.access import role
from api.desk import pages
from api.desk.blueprint import blueprint
from api.interview.readings import NotRead, quantity_in
from api.service import current
from api.strict_json import Json
from api.sums.model import shown
from api.sums.plot import svg
from engine import RequestError


@blueprint.get("/desk/sums")
@role("read")
def sum_list() -> Response:
    """List the bench sums."""
    return pages.respond("sums.html", sums=sums.SUMS.values())


@blueprint.get("/desk/sums/<name>")
@role("read")
def one_sum(name: str) -> Response:
    """Show a sum, worked where its fields were filled in, else on its example."""
    if name not in sums.SUMS:
        abort(404)
    about = sums.SUMS[name]
    typed = {one.name: request.args.get(one.name, "").strip()[:40] for one in about.fields}
    asked = any(typed.values())
    given = typed if asked else {key: str(value) for key, value in about.example.items()}
    answer, faults = _worked(name, given)
    curve = answer["curve"] if answer else None
    return pages.respond(
        "sum.html", 422 if faults else 200, sum=about, typed=given, asked=asked, answer=answer,
        faults=faults, shown=shown, plot=pages.safe(svg(curve, about.title)) if curve else None,
    )  # fmt: skip


def _worked(name: str, typed: Mapping[str, str]) -> tuple[Json | None, dict[str, str]]:
    units = {one.name: one.unit for one in sums.SUMS[name].fields}
    raw, unread = dict[str, float | str](), dict[str, str]()
    for key, value in typed.items():
        try:
            if value:
                raw[key] = quantity_in(value, units[key])
        except NotRead as fault:
            unread[key] = str(fault)
    if unread:
        return None, unread
    try:
        return sums.compute(current().knowledge, name, raw), {}
    except RequestError as error:
        known = set(typed)
        return None, {
            fault.path if fault.path in known else "form": f"{fault.path.replace('_', ' ')} "
            f"{fault.message}.".strip()
            for fault in error.faults
        }
