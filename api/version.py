"""Which threewire this is; a module of its own, so that saying so loads nothing else."""

from functools import cache
from importlib import metadata


@cache
def version() -> str:
    """Return the installed version, or 0 when run from a checkout that is not installed."""
    try:
        return metadata.version("threewire")
    except metadata.PackageNotFoundError:
        return "0"
