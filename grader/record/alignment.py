"""How two sets of photos of one piece lie over each other."""

from __future__ import annotations

import math
from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Alignment:
    """Turn of the piece and tilt of the camera between two firings.

    Heights are shares of the piece's box on the photo, 0 at its top and 1 at its foot. A camera
    that looks down sees a level line round the pot sag; `before` and `after` undo that.

    Attributes
    ----------
    turned_deg : float
        Positive where the surface moved to the viewer's right; 0 where unknown.
    known : bool
        False where nothing on the surface could tell; then everything else is 0, 0, 1, 0.
    agreement : float
        Correlation of the walls, -1..1.
    sag_before, sag_after : float
        How much higher a level line lies at the edge of the piece than in its middle.
    stretch, shift : float
        The level `l` before is ``0.5 + stretch * (l + shift - 0.5)`` after.
    """

    turned_deg: float = 0.0
    known: bool = False
    agreement: float = 0.0
    sag_before: float = 0.0
    sag_after: float = 0.0
    stretch: float = 1.0
    shift: float = 0.0

    def expected_level(self, height: float, angle_deg: float) -> float:
        """Return the level at which a place of an earlier photo lies on the later ones.

        Parameters
        ----------
        height : float
            On the earlier photo.
        angle_deg : float
            From the middle of the piece on that photo, to the viewer's right.
        """
        level = height + self.sag_before * (1 - math.cos(math.radians(angle_deg)))
        return 0.5 + self.stretch * (level + self.shift - 0.5)

    def level(self, height: float, angle_deg: float) -> float:
        """Return the level of a place of a later photo."""
        return height + self.sag_after * (1 - math.cos(math.radians(angle_deg)))


UNKNOWN = Alignment()
