"""Pages from templates, with every value shown as text."""

from __future__ import annotations

from functools import cache

from jinja2 import Environment, PackageLoader, StrictUndefined


@cache
def environment(package: str = "grader") -> Environment:
    """Return what renders the templates of a package.

    Parameters
    ----------
    package : str
        Dotted name of the package that holds the folder ``templates``.

    Returns
    -------
    Environment
        Escapes by itself, and raises where a template names a value that it was not given.
    """
    return Environment(
        loader=PackageLoader(package),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
