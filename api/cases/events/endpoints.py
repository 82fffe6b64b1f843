"""The addresses that an administrator has given: made, listed, taken out of use and back."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from uuid import uuid4

from sqlalchemy import ColumnElement, func, select, update
from sqlalchemy.orm import Session

from api.cases.events import posting
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
    posting.target(url, allowed)
    endpoint = Endpoint(
        id=f"ep_{uuid4().hex[:12]}", url=url, events=sorted(set(kinds)),
        secret=posting.new_secret(), made_at=now,
    )  # fmt: skip
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
    found = session.scalars(select(Endpoint).order_by(Endpoint.made_at, Endpoint.id))
    return [_standing(session, one) for one in found]


def _standing(session: Session, endpoint: Endpoint) -> Standing:
    mine = Delivery.endpoint_id == endpoint.id
    number = func.count().label("number")
    counted = select(Delivery.state, number).where(mine).group_by(Delivery.state)
    failed = select(Delivery.last_result).where(mine, Delivery.state != "delivered")
    last = session.scalar(failed.order_by(Delivery.id.desc()).limit(1))
    counts = {row.state: row.number for row in session.execute(counted)}
    return Standing(endpoint, counts, last or "")


def disable(session: Session, endpoint_id: str, now: datetime, why: str) -> int:
    """Take an endpoint out of use and give up what waits for it; returns how many that were.

    Raises EndpointError when there is none.
    """
    endpoint = _existing(session, endpoint_id)
    endpoint.disabled_at = endpoint.disabled_at or now
    values = {"state": "given-up", "last_result": why, "next_at": now}
    return _set(session, endpoint, Delivery.state == "waiting", **values)


def retry(session: Session, endpoint_id: str, now: datetime) -> int:
    """Take an endpoint back into use and send now what was given up, or failed and waits.

    Returns how many that are. Raises EndpointError when there is none.
    """
    endpoint = _existing(session, endpoint_id)
    endpoint.disabled_at = None
    failed = (Delivery.state != "delivered") & (Delivery.last_result != "")
    return _set(session, endpoint, failed, state="waiting", attempts=0, next_at=now)


def _set(session: Session, endpoint: Endpoint, where: ColumnElement[bool], **values: object) -> int:
    """Set columns of deliveries to an endpoint; returns how many they are."""
    found = update(Delivery).where(Delivery.endpoint_id == endpoint.id, where).values(**values)
    return len(session.scalars(found.returning(Delivery.id)).all())


def rotate(session: Session, endpoint_id: str, now: datetime) -> str:
    """Give an endpoint a new secret and return it; the old one signs too for OVERLAP.

    Raises EndpointError when there is none.
    """
    endpoint = _existing(session, endpoint_id)
    endpoint.old_secret, endpoint.old_until = endpoint.secret, now + OVERLAP
    endpoint.secret = posting.new_secret()
    return endpoint.secret


def secrets_of(endpoint: Endpoint, now: datetime) -> tuple[str, ...]:
    """Return what an endpoint's messages are signed with: for a while the secret before, too."""
    both = endpoint.old_until is not None and endpoint.old_until > now
    return (endpoint.secret, endpoint.old_secret) if both else (endpoint.secret,)


def _existing(session: Session, endpoint_id: str) -> Endpoint:
    found = session.get(Endpoint, endpoint_id, with_for_update=True)
    if found is None:
        raise EndpointError(f"there is no endpoint '{endpoint_id}'; 'events list' shows them")
    return found
