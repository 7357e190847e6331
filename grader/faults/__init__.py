"""One module a fault, each with `find(evidence)`; `find_all` asks them all.

A new fault is one new module beside its siblings, one line here, one entry in the rules.
"""

from __future__ import annotations

from grader.faults import crack, crawl, flake, pit, pool_tint, scorch, streak
from grader.faults.evidence import Evidence, ViewEvidence
from grader.findings import Finding

__all__ = ["Evidence", "ViewEvidence", "find_all"]

_MODULES = (scorch, pool_tint, flake, pit, streak, crawl, crack)


def find_all(evidence: Evidence) -> tuple[Finding, ...]:
    """Ask every fault module.

    Parameters
    ----------
    evidence : Evidence

    Returns
    -------
    tuple of Finding
        In the order of the modules, then of the views.
    """
    return tuple(each for module in _MODULES for each in module.find(evidence))
