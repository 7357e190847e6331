"""How each fault is marked on a picture: its own shape and line, so that no colour is needed."""

from __future__ import annotations

from dataclasses import dataclass

from grader.findings import FaultName


@dataclass(frozen=True, slots=True)
class Mark:
    """Shape and line of one fault.

    Attributes
    ----------
    path : str
        SVG path of the shape in a square of 16 by 16.
    dashes : str
        SVG dash pattern of the outline; empty for an unbroken line.
    """

    path: str
    dashes: str


MARKS: dict[FaultName, Mark] = {
    "scorch": Mark("M8 2 L14.5 13.5 L1.5 13.5 Z", ""),
    "one_sided_browning": Mark("M8 1.5 A6.5 6.5 0 0 0 8 14.5 Z", "12 5"),
    "flake": Mark("M8 1 L15 8 L8 15 L1 8 Z", ""),
    "pit": Mark("M8 4.5 A3.5 3.5 0 1 0 8 11.5 A3.5 3.5 0 1 0 8 4.5 Z", ""),
    "pool_tint": Mark("M1.5 3 L14.5 3 L8 14 Z", "3 4"),
    "streak": Mark("M2 2 H5 V14 H2 Z M7 2 H10 V14 H7 Z M12 2 H15 V14 H12 Z", "8 3 2 3"),
    "crawl": Mark("M6 1 H10 V6 H15 V10 H10 V15 H6 V10 H1 V6 H6 Z", "6 3"),
    "crack": Mark("M3 1 L8 6 L13 1 L15 3 L10 8 L15 13 L13 15 L8 10 L3 15 L1 13 L6 8 L1 3 Z", ""),
}
