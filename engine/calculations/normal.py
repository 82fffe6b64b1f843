"""The normal distribution, from the error function of the standard library."""

import math

import numpy as np

from engine.calculations.guard import Array, Quantity

_erfc = np.vectorize(math.erfc, otypes=[np.float64])


def normal_cdf(z: Quantity) -> Quantity:
    """Return the probability that a standard normal value is at most ``z`` (no unit).

    Source: Phi(z) = erfc(-z / sqrt 2) / 2, Abramowitz and Stegun 26.2.29 (from memory). The
    complement keeps its digits far out in the lower tail. Infinite ``z`` gives 0 or 1.
    """
    if isinstance(z, np.ndarray):
        shares: Array = 0.5 * _erfc(-z / math.sqrt(2.0)) if z.size else np.zeros(z.shape)
        return shares
    return 0.5 * math.erfc(-z / math.sqrt(2.0))
