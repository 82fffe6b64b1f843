"""The addresses that an administrator has given: made, listed, taken out of use and back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import uuid4

from sqlalchemy import and_, func, select, update
from sqlalchemy.orm import Session

from api.cases.events import posting
from api.cases.events.addresses import target
from api.store.models import Delivery, Endpoint

OVERLAP = timedelta(hours=24)  # in which a receiver changes its secret


class EndpointError(Exception):
    """There is no such endpoint."""


def add(
    session: Session, url: str, kinds: Sequence[str], allowed: Sequence[str], now: datetime
) -> Endpoint:
    """Make an endpoint, with a secret of its own, for these kinds of event.

    ``kinds`` are of outbox.KINDS. Raises AddressRefusedError when ``allowed`` does not let it be
    called.
    """
    target(url, allowed)
    endpoint = Endpoint(
        id=f"ep_{uuid4().hex[:12]}",
        url=url,
        events=sorted(set(kinds)),
        secret=posting.new_secret(),
        made_at=now,
    )
    session.add(endpoint)
    return endpoint


@dataclass(frozen=True)
class Standing:
    """An endpoint and how many of its deliveries are in each state."""

    endpoint: Endpoint
    counts: dict[str, int]
    last_result: str  # of the newest delivery that did not get through


def standings(session: Session) -> list[Standing]:
    """Return every endpoint, oldest first, with what became of its deliveries."""
    query = select(Delivery.endpoint_id, Delivery.state, func.count()).group_by(
        Delivery.endpoint_id, Delivery.state
    )
    counts: dict[str, dict[str, int]] = {}
    for endpoint_id, state, count in session.execute(query):
        counts.setdefault(endpoint_id, {})[state] = count
    found = session.scalars(select(Endpoint).order_by(Endpoint.made_at, Endpoint.id))
    return [Standing(one, counts.get(one.id, {}), _last(session, one.id)) for one in found]


def _last(session: Session, endpoint_id: str) -> str:
    query = (
        select(Delivery.last_result)
        .where(Delivery.endpoint_id == endpoint_id, Delivery.state != "delivered")
        .order_by(Delivery.id.desc())
        .limit(1)
    )
    return session.scalar(query) or ""


def disable(session: Session, endpoint_id: str, now: datetime, why: str) -> int:
    """Take an endpoint out of use and give up what waits for it; returns how many that were.

    Raises EndpointError when there is none.
    """
    endpoint = _existing(session, endpoint_id)
    endpoint.disabled_at = endpoint.disabled_at or now
    waiting = update(Delivery).where(
        Delivery.endpoint_id == endpoint_id, Delivery.state == "waiting"
    )
    return _count(session, waiting.values(state="given-up", last_result=why, next_at=now))


def retry(session: Session, endpoint_id: str, now: datetime) -> int:
    """Take an endpoint back into use and send now what was given up, or failed and waits.

    Returns how many that are. Raises EndpointError when there is none.
    """
    _existing(session, endpoint_id).disabled_at = None
    failed = and_(Delivery.state != "delivered", Delivery.last_result != "")
    lost = update(Delivery).where(Delivery.endpoint_id == endpoint_id, failed)
    return _count(session, lost.values(state="waiting", attempts=0, next_at=now))


def rotate(session: Session, endpoint_id: str, now: datetime) -> str:
    """Give an endpoint a new secret and return it; the old one signs too for OVERLAP.

    Raises EndpointError when there is none.
    """
    endpoint = _existing(session, endpoint_id)
    endpoint.old_secret, endpoint.old_until = endpoint.secret, now + OVERLAP
    endpoint.secret = posting.new_secret()
    return endpoint.secret


def _existing(session: Session, endpoint_id: str) -> Endpoint:
    found = session.get(Endpoint, endpoint_id, with_for_update=True)
    if found is None:
        raise EndpointError(f"there is no endpoint '{endpoint_id}'; 'events list' shows them")
    return found


def _count(session: Session, statement: object) -> int:
    return int(session.execute(statement).rowcount)  # type: ignore[call-overload]
