"""Refuse numbers that mean nothing, naming the argument, before a formula hides them."""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# A function typed with Quantity gives back what it was given: a number for a number, an array for
# an array.
Quantity = TypeVar("Quantity", float, Array)


def _require(good: NDArray[np.bool_], name: str, value: object, want: str) -> None:
    """Raise ValueError unless every element of the mask ``good`` is true."""
    if not good.all():
        raise ValueError(f"{name} must be {want}, got {value!r}")


def finite(name: str, value: Quantity) -> Quantity:
    """Return ``value`` if it is a finite number; ValueError names ``name`` otherwise."""
    try:
        good = np.asarray(np.isfinite(value))
    except TypeError:
        good = np.array(False)
    _require(good, name, value, "a finite number")
    return value


def positive(name: str, value: Quantity) -> Quantity:
    """Return ``value`` if it is finite and above zero; ValueError names ``name`` otherwise."""
    finite(name, value)
    _require(np.asarray(value) > 0, name, value, "above zero")
    return value


def not_negative(name: str, value: Quantity) -> Quantity:
    """Return ``value`` if it is finite and not below zero; ValueError names ``name`` otherwise."""
    finite(name, value)
    _require(np.asarray(value) >= 0, name, value, "zero or above")
    return value


def above(name: str, value: Quantity, low: float) -> Quantity:
    """Return ``value`` if it is finite and above ``low``; ValueError names ``name`` otherwise."""
    finite(name, value)
    _require(np.asarray(value) > low, name, value, f"above {low:g}")
    return value
