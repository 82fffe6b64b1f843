"""Who may do what: a view says the role it needs, and one hook holds every request to it."""

from api.access.roles import Caller, caller, role

__all__ = ["Caller", "caller", "role"]
