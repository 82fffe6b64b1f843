"""Signatures as the Standard Webhooks specification 1.0 describes them, symmetric (``v1``)."""

import base64
import hashlib
import hmac
import secrets
from datetime import datetime

PREFIX = "whsec_"
_SECRET_BYTES = 32  # the specification asks for 24 to 64


def new_secret() -> str:
    """Return a new secret, in the form that receivers' libraries take."""
    return PREFIX + base64.b64encode(secrets.token_bytes(_SECRET_BYTES)).decode("ascii")


def headers(secret: str, message: str, payload: str, at: datetime) -> dict[str, str]:
    """Return the headers of one attempt: what is signed is id, time of the attempt and payload."""
    key = base64.b64decode(secret.removeprefix(PREFIX))
    seconds = str(int(at.timestamp()))
    digest = hmac.digest(key, f"{message}.{seconds}.{payload}".encode(), hashlib.sha256)
    return {
        "webhook-id": message,
        "webhook-timestamp": seconds,
        "webhook-signature": f"v1,{base64.b64encode(digest).decode('ascii')}",
    }
