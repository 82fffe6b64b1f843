"""A recording of the pull on a call: dropped as a file, looked at, each finding confirmed."""

import io
from typing import cast

from flask import Response, request

from api import strict_json
from api.access import role
from api.desk import pages
from api.desk.answering import call_at
from api.desk.blueprint import blueprint, book, by
from api.desk.calls import Call, address_of, desk
from api.desk.forms import FormFault
from api.desk.submitting import NEW, Refusal, seen, submitted
from api.recordings.document import READING, cautions, document, found_words, read_file
from api.recordings.picture import picture
from api.service import current
from api.strict_json import Json
from api.translation import gettext
from engine.traces.trace import ROLES, TraceError

MOST_FINDINGS = 12


@blueprint.get("/desk/cases/<number>/recording")
@role("agent")
def recording_page(number: str) -> Response:
    """Show the cautions of recording a pull, and take the file."""
    return _page(call_at(number))


@blueprint.post("/desk/cases/<number>/recording")
@role("agent")
def recording(number: str) -> Response:
    """Read the file that was dropped; nothing of it counts yet."""
    call = call_at(number, request.form.get("side"))
    sent = request.files.get("file")
    if sent is None or not sent.filename:
        none = gettext("Choose the file that the recorder saved.")
        return _page(call, Refusal(422, {"file": none}))
    typed = request.form.get("rate", "").strip().replace(",", ".")
    try:
        rate = float(typed) if typed else None
    except ValueError:
        rate = 0.0  # told as one out of bounds
    if not READING.acquire(blocking=False):
        busy = gettext("Another recording is being read just now. Send the file again in a moment.")
        return _page(call, Refusal(429, {"file": busy}))
    try:
        trace = read_file(
            cast(io.BufferedReader, sent.stream), sent.filename,
            request.form.get("channels", "")[:400], rate,
        )  # fmt: skip
        read = document(current().knowledge, trace, "cranking" in request.form)
    except TraceError as error:
        told = "; ".join(str(fault) for fault in error.faults)
        return _page(call, Refusal(422, {"file": f"{told[:1].upper()}{told[1:]}."}))
    finally:
        READING.release()
    return _page(call, read=read)


def _page(call: Call, no: Refusal = NEW, read: Json | None = None) -> Response:
    names = call.desk.knowledge.checks
    found = [
        (strict_json.dumps(one).strip(), names[one["check"]].name, found_words(one))
        for one in (read["findings"] if read else ())
        if one["check"] in call.desk.checks(call.inquiry)
    ]  # fmt: skip
    title = gettext("The recording, and what was read from it")
    plot = pages.safe(picture(read, title, embed=True)) if read else None
    return no.page(
        "recording.html", call=call, read=read, found=found, plot=plot, form=request.form,
        roles=list(ROLES), cautions=cautions(call.desk.knowledge),
    )  # fmt: skip


@blueprint.post("/desk/cases/<number>/recording/findings")
@role("agent")
def confirm(number: str) -> Response:
    """Add the findings of a recording that somebody ticked, in one step."""
    side = request.form.get("side")
    return submitted(
        lambda also: book().add_findings(number, _ticked(side), by(), seen(), also),
        lambda case: address_of(case, side), lambda no: _page(call_at(number, side), no),
    )  # fmt: skip


def _ticked(side: str | None) -> list[Json]:
    """Return the findings that were ticked; of two solenoids they belong to a side.

    Raises FormFault.
    """
    ticked = request.form.getlist("finding")[:MOST_FINDINGS]
    if not ticked:
        raise FormFault({"form": gettext("Tick each finding that you confirm.")})
    try:
        found = [strict_json.loads(one.encode()) for one in ticked]
    except strict_json.JsonError:
        found = [None]
    bodies = [one for one in found if isinstance(one, dict)]
    if len(bodies) < len(found):
        raise FormFault({"form": gettext("Read the recording once more.")})
    return [desk().sided(one, side) for one in bodies]
