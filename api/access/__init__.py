"""Who may do what: a view says the role it needs, and one hook holds every request to it.

``public`` needs no key, ``read`` looks and diagnoses, ``agent`` opens cases and writes in them,
``admin`` manages. Each role may do what stands before it.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, Literal, TypeVar, cast, get_args

from flask import g

Role = Literal["public", "read", "agent", "admin"]
ROLES: tuple[Role, ...] = get_args(Role)
_View = TypeVar("_View", bound=Callable[..., Any])
_ATTRIBUTE = "threewire_role"


@dataclass(frozen=True)
class Caller:
    """Who makes this request: ``id`` tells callers apart, ``name`` goes into cases and logs."""

    id: str
    name: str
    role: str

    def may(self, needed: str) -> bool:
        """Return whether this caller's role covers the one that is needed."""
        return ROLES.index(self.role) >= ROLES.index(needed)


LOCAL = Caller("local", "local", "admin")  # everybody, where no keys are asked for


def role(name: Role) -> Callable[[_View], _View]:
    """Return a decorator that says which role a view needs; ``read`` where nothing is said."""

    def mark(view: _View) -> _View:
        setattr(view, _ATTRIBUTE, name)
        return view

    return mark


def needed(view: Callable[..., Any] | None) -> str:
    """Return the role that a view needs; an address that is not served needs none."""
    return "public" if view is None else cast(str, getattr(view, _ATTRIBUTE, "read"))


def caller() -> Caller:
    """Return who makes the request that is being handled."""
    return cast(Caller, g.get("caller", LOCAL))
