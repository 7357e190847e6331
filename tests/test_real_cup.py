"""The real photograph of a glazed cup that scikit-image carries: its sound wall gets no flag.

Source: ``skimage.data.coffee`` of scikit-image, a photograph by Rachel Michetti, courtesy of Pikolo
Espresso Bar, CC0. A cup of red glaze with a white lip, on a saucer, lit from above, with hard
highlights and the reflection of the saucer in its wall: nothing in it is made for this project.
"""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from skimage import data

from grader.facts import Finish
from grader.faults import Evidence, find_all
from grader.piece import Silhouette
from grader.surface import Surface, read_surface
from grader.survey import view_evidence
from grader.target import Colour, Scale, Target

CUP_WIDE_MM = 85.0
"""Width over the lip of such a cup, from memory: common ware, no source."""

LIP_PX = (174, 406)
"""Columns of the lip's outline in the photograph."""

WALL_PX = ((183, 150), (196, 170), (226, 194), (270, 208), (320, 208), (360, 196), (390, 168))
WALL_LOW_PX = ((380, 200), (352, 234), (318, 232), (270, 240), (228, 222), (200, 196))
"""Outline of the outer wall between the white lip and what stands before it: handle, spoon and the
saucer; read off the photograph by hand."""


LARGER = 3
"""The photograph is small; at three times its size, 8 px/mm, every search has its say."""


def _surface() -> Surface:
    rgb = cv2.resize(
        data.coffee(), None, fx=LARGER, fy=LARGER, interpolation=cv2.INTER_CUBIC
    ).astype(np.uint8)
    outline = LARGER * np.array(WALL_PX + WALL_LOW_PX, np.int32)
    mask = np.zeros(rgb.shape[:2], np.uint8)
    cv2.fillPoly(mask, [outline], 1)
    x, y, width, height = (int(value) for value in cv2.boundingRect(outline))
    px_per_mm = LARGER * (LIP_PX[1] - LIP_PX[0]) / CUP_WIDE_MM
    return read_surface(
        rgb,
        Silhouette(mask > 0, (x, y, width, height), 1.0),
        Target(Scale(px_per_mm, "marker"), Colour(np.eye(3))),
        photo="cup.jpg",
        view="front",
        px_per_mm=px_per_mm,
    )


@pytest.mark.parametrize("finish", ["glazed", "coloured"])
@pytest.mark.parametrize("decorated", [False, None])
def test_the_wall_of_a_real_cup_is_sound(finish: Finish, decorated: bool | None) -> None:
    views = view_evidence([_surface()], decorated=decorated)
    assert views[0].zones.wall.sum() > 20_000
    assert find_all(Evidence(views, finish, decorated)) == ()
