"""Signatures of the Standard Webhooks specification 1.0, symmetric (``v1``), by its library."""

import base64
import secrets
from collections.abc import Iterable
from datetime import UTC, datetime

from standardwebhooks.webhooks import Webhook

PREFIX = "whsec_"
_SECRET_BYTES = 32  # the specification asks for 24 to 64


def new_secret() -> str:
    """Return a new secret, in the form that receivers' libraries take."""
    return PREFIX + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode("ascii")


def headers(secrets_: Iterable[str], message: str, payload: str, at: datetime) -> dict[str, str]:
    """Return the headers of one attempt, with a signature by each secret.

    What is signed is id, time of the attempt and payload.
    """
    at = at.astimezone(UTC)  # the library takes the clock's figures for UTC
    return {
        "webhook-id": message,
        "webhook-timestamp": str(int(at.timestamp())),
        "webhook-signature": " ".join(Webhook(one).sign(message, at, payload) for one in secrets_),
    }
