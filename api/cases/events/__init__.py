"""Events: what happened to a case, sent to the addresses that an administrator has given.

``enqueue`` writes an event into the caller's transaction; a thread in each worker sends what is
due. Messages are signed as the Standard Webhooks specification describes.
"""

from api.cases.events.outbox import EVENTS, KINDS, EventData, enqueue
from api.cases.events.sender import start, stop

__all__ = ["EVENTS", "KINDS", "EventData", "enqueue", "start", "stop"]
