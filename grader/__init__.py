"""Grade a load of handmade pots from photographs: first quality, refire or second."""

from importlib.metadata import PackageNotFoundError, version

try:
    __version__ = version("unload-grader")
except PackageNotFoundError:  # running from a source tree that was never installed
    __version__ = "0+source"

__all__ = ["__version__"]
