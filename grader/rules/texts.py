"""Put what was found into words for the maker."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from grader.findings import FaultName, Finding, View
from grader.rules.model import FaultRule
from grader.rules.schema import VIEWS

# Faults of colour: how strong they are says more than how long they are.
_BY_COLOUR: frozenset[FaultName] = frozenset(
    {"scorch", "one_sided_browning", "pool_tint", "streak"}
)


def what_was_seen(
    fault: FaultName, rule: FaultRule, findings: Sequence[Finding], places: int
) -> str:
    """Name a fault with its number, size, colour difference and place.

    Parameters
    ----------
    fault : str
    rule : FaultRule
        For its label.
    findings : sequence of Finding
        All of this fault, at least one.
    places : int
        Least number of places on the piece.

    Returns
    -------
    str
        Without a final stop, for instance ``At least 3 pits, the largest 0.8 mm (front, right)``.
    """
    # One veil or browned side can reach round to both of two opposite photos: it is not counted.
    several = places > 1 and fault not in _BY_COLOUR
    photos = {finding.photo for finding in findings}
    if several:
        least = "At least " if len(photos) > 1 else ""
        head = f"{least}{places} {rule.plural}"
    else:
        head = rule.label[:1].upper() + rule.label[1:]
    details = [_extent(fault, findings, several)]
    if fault in _BY_COLOUR:
        shifts = [f.shift_de00 for f in findings if f.shift_de00 is not None]
        if shifts:
            details.append(f"colour difference {max(shifts):.1f} dE00")
    said = ", ".join([head, *filter(None, details)])
    return f"{said} ({listed(_views(findings))})"


def listed(words: Iterable[str], last: str = "") -> str:
    """Join words with commas; with `last` ("and", "or") before the last one."""
    items = list(words)
    if not last or len(items) < 2:
        return ", ".join(items)
    return f"{', '.join(items[:-1])} {last} {items[-1]}"


def capital(text: str) -> str:
    """The text with its first letter large."""
    return text[:1].upper() + text[1:]


def in_view_order(views: Iterable[View]) -> list[View]:
    """Views once each: the named ones as one turns the piece, then the others by name."""
    known = {view: number for number, view in enumerate(VIEWS)}
    return sorted(set(views), key=lambda view: (known.get(view, len(known)), view))


def _views(findings: Sequence[Finding]) -> list[str]:
    parts = {finding.zone for finding in findings}
    views: list[str] = list(in_view_order(finding.view for finding in findings))
    if parts == {"inside"} and views != ["inside"]:
        return [f"inside, seen from {listed(views)}"]
    if parts == {"foot"} and views != ["foot"]:
        return [f"foot, seen from {listed(views)}"]
    return views


def _extent(fault: FaultName, findings: Sequence[Finding], several: bool) -> str:
    share = max(finding.height_share for finding in findings)
    sizes = [finding.diameter_mm for finding in findings if finding.diameter_mm is not None]
    if fault == "one_sided_browning" or not sizes:
        return f"over {_percent(share)} of the height"
    size = f"{max(sizes):.1f} mm" if max(sizes) < 10 else f"{max(sizes):.0f} mm"
    return f"the largest {size}" if several else size


def _percent(share: float) -> str:
    percent = 100 * share
    return f"{percent:.0f} %" if percent >= 1 else "less than 1 %"
