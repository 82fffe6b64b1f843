"""The bench sums as pure functions: SI units in and out.

Numbers that mean nothing are refused at the doors, by the schemas of a request and of a sum.
"""

from typing import TypeVar

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
# A function typed with Quantity gives back what it was given: a number for a number, an array for
# an array.
Quantity = TypeVar("Quantity", float, Array)
