"""Whether a photo can carry a verdict, and what to do about it if it cannot.

Every check turns one measurement into a `Problem` with advice that a maker can follow with the
piece still on the stand. A blocking problem means that the photo is not used; the others are
said and leave the photo in use.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.difference import ciede2000
from grader.colour.srgb import linear_to_lab
from grader.exposure import Exposure, measure_exposure
from grader.findings import SIDES_IN_TURN, PhotoReport, Problem, View
from grader.focus import Sharpness, measure_sharpness
from grader.photo import Photo
from grader.piece import Silhouette
from grader.target import Target

SMALLEST_MM = 0.5
"""The smallest speck that is looked for."""

FLOOR_PX = 3.0
"""Fewer pixels than this across a speck, and noise looks the same."""

# Blur (full width at half maximum) that leaves less than half of the contrast of the smallest
# speck; and blur that swallows marked ones (1.5 mm) as well.
_SOFT_MM, _BLURRED_MM = 0.7, 1.5
# A sharp phone picture has blur of 2 to 3 px, of which its smoothing makes most: less than this
# is no fault of the maker's.
_SOFT_PX = 4.0
# Sharp along one direction and three times as blurred across: the phone moved.
_SHAKEN_RATIO = 3.0
# The card is in focus and the piece is not, rather than both a little soft.
_CARD_SHARPER_RATIO = 2.0
# Height taken for a piece of unknown size, mm, when blur is put into millimetres.
_ASSUMED_HEIGHT_MM = 100.0

# Shares of the piece. Colour is unsure on a burnt quarter, and nothing is left to look at when a
# third is white or nearly all has lost a channel.
_BURNT_SHARE, _BURNT_BLOCKS, _LOST_BLOCKS = 0.25, 0.9, 0.35
# Glare hides what is below: a tenth is worth moving the lamp, with half of it the side was not
# seen.
_GLARE_SHARE, _GLARE_BLOCKS = 0.10, 0.45
# Linear light that the brightest hundredth of a well exposed photo exceeds (0.15 is encoded 108
# of 255): below it noise covers fine colour; a third of that is a black picture.
_DARK, _DARK_BLOCKS = 0.15, 0.05

# Below this certainty of the outline the background may have been taken for the piece.
_UNSURE_OUTLINE = 0.5

# Views whose outline is the outline of the piece; a close-up of the inside may fill the picture.
_WHOLE_VIEWS = frozenset(SIDES_IN_TURN)

# Tint, CIEDE2000 of a mid grey, between photos of a piece on one stand: about 1 comes from the
# piece's own reflections and the phone's balance; more moves limits of browning.
_CAST_DE00 = 4.0


def check_photo(
    photo: Photo,
    target: Target,
    silhouette: Silhouette | None,
    *,
    view: View,
    near_px_per_mm: float | None = None,
) -> tuple[Problem, ...]:
    """Check one photo.

    Parameters
    ----------
    photo : Photo
    target : Target
    silhouette : Silhouette or None
        None where no piece was found.
    view : str
    near_px_per_mm : float, optional
        Scale on the near surface of the piece.

    Returns
    -------
    tuple of Problem
        Blocking ones first; empty for a good photo.
    """
    if silhouette is None:
        return (
            Problem(
                "no_piece",
                "No piece stands out from the background: use a plain backdrop of another colour "
                "and put the piece in the middle.",
                blocks=True,
            ),
        )
    problems = [
        *check_outline(silhouette, view),
        *check_size(near_px_per_mm),
        *check_target(target, near_px_per_mm is not None),
    ]
    exposure = measure_exposure(photo.rgb, silhouette.mask)
    if exposure is not None:
        problems += check_exposure(exposure)
    sharpness = measure_sharpness(photo.rgb, silhouette.mask)
    if sharpness is not None:
        scale = near_px_per_mm or silhouette.bbox_px[3] / _ASSUMED_HEIGHT_MM
        problems += check_focus(sharpness, scale, _sharpness_of_card(photo, target))
    return tuple(sorted(problems, key=lambda problem: not problem.blocks))


def check_outline(silhouette: Silhouette, view: View) -> tuple[Problem, ...]:
    """Check that the whole piece is in the picture and stands out from the background."""
    problems = []
    unsure = silhouette.certainty < _UNSURE_OUTLINE
    cut_off = silhouette.touches_frame and view in _WHOLE_VIEWS
    if cut_off and not unsure:
        text = "The piece runs out of the picture: step back or turn the phone."
        problems.append(Problem("cut_off", text, blocks=True))
    if unsure:
        text = (
            "The piece hardly stands out from what is behind it: use a plain backdrop, darker or "
            "lighter than the piece."
        )
        # An unsure outline that reaches the frame is no piece cut off: it has run into the ground.
        problems.append(Problem("background", text, blocks=cut_off))
    return tuple(problems)


def check_size(near_px_per_mm: float | None) -> tuple[Problem, ...]:
    """Check that the smallest specks would be seen."""
    if near_px_per_mm is None or near_px_per_mm * SMALLEST_MM >= FLOOR_PX:
        return ()
    pixels = near_px_per_mm * SMALLEST_MM
    text = (
        f"Too far: {SMALLEST_MM} mm is {pixels:.1f} px here, so small pits cannot be judged. Go "
        "closer, or set the camera to more pixels."
    )
    return (Problem("too_far", text),)


def check_target(target: Target, has_scale: bool) -> tuple[Problem, ...]:
    """Check marker and chart."""
    problems = []
    if target.scale.source is None and not has_scale:
        text = (
            "No marker found, and no height given: sizes are unknown. Stand the card beside the "
            "middle of the piece, all four corners in the picture."
        )
        problems.append(Problem("no_scale", text))
    problems += [
        Problem("markers_disagree", note) for note in target.notes if note.startswith("Two markers")
    ]
    if target.chart_refused and target.colour.source != "chart":
        reason = next((note for note in target.notes if note.startswith("A colour chart")), "")
        text = f"{reason or 'The colour chart cannot be used.'} Colours are less sure."
        problems.append(Problem("chart_unusable", text))
    return tuple(problems)


def check_exposure(exposure: Exposure) -> tuple[Problem, ...]:
    """Check for burnt-out surface, glare and darkness."""
    problems = []
    if exposure.burnt_share > _BURNT_SHARE or exposure.lost_share > _LOST_BLOCKS:
        blocks = exposure.burnt_share > _BURNT_BLOCKS or exposure.lost_share > _LOST_BLOCKS
        text = (
            f"Over-exposed: {exposure.burnt_share:.0%} of the piece is too bright for its colour "
            "to show. Tap the piece on the screen and draw the brightness down."
        )
        problems.append(Problem("over_exposed", text, blocks))
    if exposure.glare_share > _GLARE_SHARE:
        text = (
            f"Glare covers {exposure.glare_share:.0%} of the piece: move the lamp to the side, or "
            "hang thin white paper before it."
        )
        problems.append(Problem("glare", text, exposure.glare_share > _GLARE_BLOCKS))
    if exposure.brightest < _DARK:
        text = "Too dark: add light, or tap the piece on the screen and draw the brightness up."
        problems.append(Problem("too_dark", text, exposure.brightest < _DARK_BLOCKS))
    return tuple(problems)


def check_focus(
    sharpness: Sharpness, px_per_mm: float, card: Sharpness | None = None
) -> tuple[Problem, ...]:
    """Check that the piece itself is sharp.

    Parameters
    ----------
    sharpness : Sharpness
        Of the piece.
    px_per_mm : float
        On the piece.
    card : Sharpness, optional
        Of the marker's card.
    """
    blur_mm = sharpness.blur_px / px_per_mm
    if blur_mm <= _SOFT_MM or sharpness.blur_px <= _SOFT_PX:
        return ()
    if sharpness.blur_px > _SHAKEN_RATIO * max(sharpness.least_blur_px, 1.0):
        code, what = "shaken", "The phone moved: stand it on something and use the self-timer."
    elif card is not None and sharpness.blur_px > _CARD_SHARPER_RATIO * max(card.blur_px, 2.0):
        code, what = "out_of_focus", "The card is sharp, the piece is not: tap the piece."
    else:
        code, what = "out_of_focus", "Out of focus: tap the piece before shooting."
    text = f"{what} Edges are {blur_mm:.1f} mm wide, so specks below that are lost."
    return (Problem(code, text, blocks=blur_mm > _BLURRED_MM),)


def _sharpness_of_card(photo: Photo, target: Target) -> Sharpness | None:
    if target.scale.marker_px is None:
        return None
    card = np.zeros(photo.rgb.shape[:2], dtype=np.uint8)
    cv2.fillPoly(card, [np.round(target.scale.marker_px).astype(np.int32)], 1)
    return measure_sharpness(photo.rgb, card.astype(bool))


# --- more than one photo -------------------------------------------------------------------


def check_views(
    seen: Sequence[View], required: Sequence[View], advised: Sequence[View] = ()
) -> tuple[Problem, ...]:
    """Check that every side of a piece was photographed.

    Parameters
    ----------
    seen : sequence of str
        Views of the photos that can be used.
    required, advised : sequence of str
        Views without which the piece cannot be passed, and those that are worth having.
    """
    spare = sum(view.startswith("view ") for view in seen)
    shown = set(seen) | ({"inside"} if "top" in seen else set())
    missing = [view for view in required if view not in shown][spare:]
    problems = [Problem("view_missing", _not_seen(view), blocks=True) for view in missing]
    wished = [view for view in advised if view not in shown and view not in required]
    problems += [Problem("view_advised", _not_seen(view)) for view in wished]
    return tuple(problems)


def _not_seen(view: View) -> str:
    side = f"{view} side" if view in {"left", "right"} else view
    return f"The {side} was not photographed."


def check_casts(targets: Mapping[str, Target]) -> dict[str, Problem]:
    """Compare the light of the photos of one piece, made on one stand.

    Parameters
    ----------
    targets : mapping of str to Target
        By name of the photo.

    Returns
    -------
    dict of str to Problem
        Only the photos whose tint differs from that of the others.
    """
    # Paper is the better witness, but only if every photo shows it.
    by_paper = all(target.paper_linear is not None for target in targets.values())
    tints = {n: tint for n, t in targets.items() if (tint := _tint(t, by_paper)) is not None}
    if len(tints) < 3:
        # Of two photos that differ nobody can tell which is the odd one.
        return {}
    middle = np.median(list(tints.values()), axis=0)
    problems = {}
    for name, tint in tints.items():
        change = np.exp(tint - middle)
        grey = linear_to_lab(0.2 * np.stack([change / change.mean(), np.ones(3)]))
        shift = float(ciede2000(grey[0], grey[1]))
        if shift > _CAST_DE00:
            text = (
                f"The light has another colour here than in the other photos of this piece "
                f"({shift:.0f} dE00): keep lamp, window and white balance as they are."
            )
            problems[name] = Problem("colour_cast", text)
    return problems


def with_casts(
    reports: Sequence[PhotoReport], targets: Mapping[str, Target]
) -> tuple[PhotoReport, ...]:
    """Add to the reports of a piece's photos what `check_casts` says of them."""
    casts = check_casts(targets)
    return tuple(
        replace(report, problems=(*report.problems, casts[report.photo]))
        if report.photo in casts
        else report
        for report in reports
    )


def _tint(target: Target, by_paper: bool) -> NDArray[np.float64] | None:
    """Log colour of what stays the same between photos, after the photo's own correction."""
    seen = target.paper_linear if by_paper else target.surroundings_linear
    if seen is None:
        return None
    own = target.colour.source == "chart" and not target.colour.from_photo
    corrected = target.colour.matrix @ seen if own else seen
    if corrected.min() <= 0:
        return None
    logs = np.log(corrected)
    return np.asarray(logs - logs.mean())
