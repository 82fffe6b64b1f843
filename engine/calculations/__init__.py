"""The bench sums as pure functions: SI units in and out, ValueError for nonsense."""
