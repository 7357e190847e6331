"""What stands beside the piece for measuring: the marker for scale, the chart for colour."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import cv2
import numpy as np
from numpy.typing import NDArray

from grader.colour.chart import find_charts
from grader.colour.difference import ciede2000
from grader.colour.fit import ChartFit, ChartRefusal, fit_chart
from grader.colour.srgb import linear_to_lab
from grader.colour.white import (
    GREY_CARD_NUMBERS,
    read_backdrop,
    read_grey_card,
    read_surroundings,
    white_balance,
)
from grader.photo import Photo
from grader.scale import DEFAULT_MARKER_MM, Marker, find_markers, scale_at_row


@dataclass(frozen=True, slots=True)
class Scale:
    """Pixels per millimetre in the plane of the marker, or from the piece's own height.

    Attributes
    ----------
    px_per_mm : float or None
        In the plane of the piece's axis.
    source : {"marker", "height"} or None
    marker_px : ndarray of float, shape (4, 2), or None
        Corners (x, y) of the marker.
    tilt_deg : float or None
        Angle between the marker and the plane of the picture; taken out of ``px_per_mm``.
    pitch_deg : float
        How far the camera looks down, if the card stands upright; 0 without a marker.
    """

    px_per_mm: float | None = None
    source: Literal["marker", "height"] | None = None
    marker_px: NDArray[np.float64] | None = None
    tilt_deg: float | None = None
    pitch_deg: float = 0.0


@dataclass(frozen=True, slots=True)
class Colour:
    """How linear camera RGB becomes linear sRGB under the reference light.

    Attributes
    ----------
    matrix : ndarray of float, shape (3, 3)
        ``linear_rgb @ matrix.T``; the identity where nothing could be corrected.
    source : {"chart", "grey", "backdrop"} or None
        ``backdrop`` is any white paper: that of the marker's card, or the backdrop itself.
    leave_one_out_de00 : float or None
        Mean CIEDE2000 of each patch predicted without itself.
    expected_de00 : float
        How far a corrected colour is expected to be from the truth; limits on colour between
        photos should not be narrower.
    patches_used : int
        Patches of the chart that the fit rests on; 0 without a chart.
    paper_linear, surroundings_linear : ndarray of float, shape (3,), or None
        Linear camera colours of the marker's paper and of the edges of the picture in the photo
        that the matrix was made from; they tie other photos of the session to it.
    from_photo : str
        Name of the photo that shows the chart, where it is another one; else empty.
    """

    matrix: NDArray[np.float64]
    source: Literal["chart", "grey", "backdrop"] | None = None
    leave_one_out_de00: float | None = None
    expected_de00: float = 10.0
    patches_used: int = 0
    paper_linear: NDArray[np.float64] | None = None
    surroundings_linear: NDArray[np.float64] | None = None
    from_photo: str = ""


@dataclass(frozen=True, slots=True)
class Target:
    """Everything that was found beside the piece.

    Attributes
    ----------
    scale : Scale
    colour : Colour
    cards_px : tuple of ndarray, each shape (4, 2)
        Outlines (x, y) of every card in the picture, its border included: no part of the piece.
    notes : tuple of str
        What was missing or refused, in plain words.
    paper_linear, surroundings_linear : ndarray of float, shape (3,), or None
        Linear camera colour of the marker's white paper, and of the edges of the picture, in
        this photo; None where it is clipped or missing.
    photo : str
        Name of the photo.
    chart_refused : bool
        True where a chart was seen but could not be used.
    """

    scale: Scale
    colour: Colour
    cards_px: tuple[NDArray[np.float64], ...] = ()
    notes: tuple[str, ...] = ()
    paper_linear: NDArray[np.float64] | None = None
    surroundings_linear: NDArray[np.float64] | None = None
    photo: str = ""
    chart_refused: bool = False


# How far corrected colours are from the truth, dE00, by what they were corrected with. Neutral
# balance cannot repair the camera's primaries and tone curve (2.7 to 10 for phones); paper adds
# its own tint, 2 to 5 through brighteners; a backdrop may be of any white.
_EXPECTED_GREY_DE00 = 5.0
_EXPECTED_PAPER_DE00 = 7.0
_EXPECTED_BACKDROP_DE00 = 8.0
_EXPECTED_NONE_DE00 = 10.0
# A session's chart carried over: by the marker's paper, whose shading adds to the fit's own
# error; or by the surroundings, which also depend on where the piece and the lamp stand.
_SESSION_BY_PAPER_DE00 = 1.0
_SESSION_BY_SURROUNDINGS_DE00 = 3.0

# Between two photos under one light the phone may shift exposure and balance; more than this is
# another light, and a chart shot in the first says nothing of the second. The surroundings may
# themselves be others, so they are believed less far.
_MAX_EXPOSURE_RATIO = 3.0
_MAX_PAPER_SHIFT_DE00 = 12.0
_MAX_SURROUNDINGS_SHIFT_DE00 = 5.0

# Markers of one photo that disagree by more do not stand at one distance.
_MARKER_AGREEMENT = 0.10


def read_target(
    photo: Photo,
    *,
    marker_mm: float = DEFAULT_MARKER_MM,
    height_px_and_mm: tuple[float, float] | None = None,
    session_colour: Colour | None = None,
) -> Target:
    """Find marker and chart in a photo and say what they are worth.

    Parameters
    ----------
    photo : Photo
    marker_mm : float
        Side of the marker's black square.
    height_px_and_mm : tuple of float, optional
        Height of the piece in the picture and in millimetres; the scale where there is no
        marker.
    session_colour : Colour, optional
        From `session_colour`: serves photos without a usable chart of their own.

    Returns
    -------
    Target
        Nothing found is a result; it never raises for what the picture shows.
    """
    notes: list[str] = []
    markers = find_markers(photo.rgb, marker_mm=marker_mm, focal_35mm=photo.focal_35mm)
    scale = _scale(markers, notes)
    if scale.source is None and height_px_and_mm is not None:
        scale = scale_from_height(*height_px_and_mm)
        notes.append("No marker: sizes are worked out from the height of the piece.")
    elif scale.source is None:
        notes.append("No marker: sizes are only known as a share of the height of the piece.")
    paper = next((m.paper_linear for m in markers if m.paper_linear is not None), None)
    chart, chart_cards, refused = _chart(photo, notes)
    cards = tuple(m.card_px for m in markers) + _grey_cards(markers) + chart_cards
    colour = chart if chart is not None else _balance(photo, markers, cards, paper, notes)
    surroundings = read_surroundings(photo.rgb, cards)
    colour = replace(colour, paper_linear=paper, surroundings_linear=surroundings)
    target = Target(
        scale=scale,
        colour=colour,
        cards_px=cards,
        notes=tuple(notes),
        paper_linear=paper,
        surroundings_linear=surroundings,
        photo=photo.name,
        chart_refused=refused and chart is None,
    )
    return target if session_colour is None else apply_session(target, session_colour)


def scale_from_height(height_px: float, height_mm: float) -> Scale:
    """Return the scale that the piece's own height gives, or none where it is impossible."""
    if height_px <= 0 or height_mm <= 0:
        return Scale()
    return Scale(px_per_mm=height_px / height_mm, source="height")


def scale_on_axis(
    scale: Scale, size_px: tuple[int, int], focal_35mm: float | None, *, middle_row_px: float
) -> float:
    """Return px per mm on the axis of the piece at the row of its middle.

    The card stands beside the foot, which a camera that looks down sees from farther away.

    Parameters
    ----------
    scale : Scale
        With ``px_per_mm``.
    size_px : tuple of int
    focal_35mm : float or None
    middle_row_px : float
        Row of the middle of the piece.
    """
    if scale.px_per_mm is None:
        raise ValueError("there is no scale to carry to the axis")
    if scale.marker_px is None:
        return scale.px_per_mm
    return scale_at_row(
        scale.px_per_mm,
        size_px,
        focal_35mm,
        pitch_deg=scale.pitch_deg,
        from_row_px=float(scale.marker_px[:, 1].mean()),
        to_row_px=middle_row_px,
    )


def session_colour(targets: tuple[Target, ...]) -> Colour | None:
    """Choose the chart that serves the photos of a session which show none.

    Returns
    -------
    Colour or None
        That of the photo whose chart fits best; None where no photo shows a usable chart.
    """
    charts = [t for t in targets if t.colour.source == "chart" and not t.colour.from_photo]
    if not charts:
        return None
    # A chart whose photo also shows unclipped paper can be carried over; that is worth more
    # than a slightly better fit.
    best = min(
        charts,
        key=lambda t: (t.colour.paper_linear is None, t.colour.leave_one_out_de00 or 0.0, t.photo),
    )
    return replace(best.colour, from_photo=best.photo)


def apply_session(target: Target, session: Colour) -> Target:
    """Give a photo without a usable chart the correction of its session.

    What the phone changed between the two photos (exposure, white balance) is taken out by a
    surface that both show: the marker's unclipped paper, else the surroundings. Where nothing
    ties them together, or the light was another, the photo keeps what it has.

    Parameters
    ----------
    target : Target
    session : Colour
        From `session_colour`.

    Returns
    -------
    Target
        Unchanged where the photo has its own chart.
    """
    if target.colour.source == "chart" or session.source != "chart":
        return target
    if session.paper_linear is not None and target.paper_linear is not None:
        change = session.paper_linear / target.paper_linear
        limit, added = _MAX_PAPER_SHIFT_DE00, _SESSION_BY_PAPER_DE00
    elif session.surroundings_linear is not None and target.surroundings_linear is not None:
        change = session.surroundings_linear / target.surroundings_linear
        limit, added = _MAX_SURROUNDINGS_SHIFT_DE00, _SESSION_BY_SURROUNDINGS_DE00
    else:
        return target
    exposure = float(np.exp(abs(np.log(change).mean())))
    # A mid grey that is balanced in one photo, as the other sees it.
    shift = float(ciede2000(linear_to_lab(0.2 * change / change.mean()), linear_to_lab([0.2] * 3)))
    if exposure > _MAX_EXPOSURE_RATIO or shift > limit:
        note = (
            f"The light or the setting differs from that of {session.from_photo}, so its chart "
            "was not used: photograph the chart again in this light."
        )
        return replace(target, notes=(*target.notes, note))
    colour = replace(
        session,
        matrix=session.matrix @ np.diag(change),
        expected_de00=session.expected_de00 + added,
        paper_linear=target.paper_linear,
        surroundings_linear=target.surroundings_linear,
    )
    note = f"Colours are corrected by the chart in {session.from_photo}."
    return replace(target, colour=colour, notes=(*target.notes, note))


def _scale(markers: tuple[Marker, ...], notes: list[str]) -> Scale:
    if not markers:
        return Scale()
    first = markers[0]
    if any(abs(m.px_per_mm / first.px_per_mm - 1) > _MARKER_AGREEMENT for m in markers[1:]):
        notes.append(
            "Two markers disagree about the scale; the larger one was used. Leave only the one "
            "beside the piece."
        )
    return Scale(
        first.px_per_mm, "marker", first.corners_px, first.tilt_deg, max(0.0, first.pitch_deg)
    )


def _chart(
    photo: Photo, notes: list[str]
) -> tuple[Colour | None, tuple[NDArray[np.float64], ...], bool]:
    """Return the colour by the chart, the outlines of charts, and whether one was refused."""
    fits: list[ChartFit] = []
    cards: list[NDArray[np.float64]] = []
    refusals: list[str] = []
    for reading in find_charts(photo.rgb):
        fit = fit_chart(reading)
        if isinstance(fit, ChartFit):
            fits.append(fit)
            cards.append(reading.outline_px)
        elif isinstance(fit, ChartRefusal):
            if fit.is_chart or reading.is_card:
                cards.append(reading.outline_px)
            refusals.append(fit.reason)
    if not fits:
        if refusals:
            notes.append(f"A colour chart was seen but not used: {refusals[0]}.")
        return None, tuple(cards), bool(refusals)
    if len(fits) > 1:
        notes.append("There are two colour charts; the one that fits better was used.")
    fit = min(fits, key=lambda one: one.leave_one_out_de00)
    colour = Colour(
        matrix=fit.matrix,
        source="chart",
        leave_one_out_de00=fit.leave_one_out_de00,
        expected_de00=fit.leave_one_out_de00,
        patches_used=int(fit.used.sum()),
    )
    return colour, tuple(cards), bool(refusals)


def _grey_cards(markers: tuple[Marker, ...]) -> tuple[NDArray[np.float64], ...]:
    """Outlines of the frames whose window shows a grey card; they reach right of the marker."""
    square = np.array([[0, 0], [1, 0], [1, 1], [0, 1]], dtype=np.float32)
    # The frame: marker, gap of a quarter, window of one side, and half a side of border around.
    frame = np.array([[-0.5, -0.5], [2.75, -0.5], [2.75, 1.5], [-0.5, 1.5]])
    return tuple(
        np.asarray(
            cv2.perspectiveTransform(
                frame[None],
                cv2.getPerspectiveTransform(square, marker.corners_px.astype(np.float32)),
            )[0],
            dtype=np.float64,
        )
        for marker in markers
        if marker.number in GREY_CARD_NUMBERS
    )


def _balance(
    photo: Photo,
    markers: tuple[Marker, ...],
    cards: tuple[NDArray[np.float64], ...],
    paper: NDArray[np.float64] | None,
    notes: list[str],
) -> Colour:
    """White balance from the best neutral surface there is."""
    for marker in markers:
        if marker.number in GREY_CARD_NUMBERS:
            neutral, reason = read_grey_card(photo.rgb, marker)
            if neutral is not None:
                notes.append("No colour chart: the grey card gives the white balance only.")
                return Colour(white_balance(neutral), "grey", expected_de00=_EXPECTED_GREY_DE00)
            notes.append(f"The grey card was not used: {reason}.")
    if paper is not None and paper.min() > 0:
        notes.append("No colour chart: the marker's white paper gives the white balance only.")
        return Colour(white_balance(paper), "backdrop", expected_de00=_EXPECTED_PAPER_DE00)
    neutral, reason = read_backdrop(photo.rgb, cards)
    if neutral is not None:
        notes.append("No colour chart: the backdrop, taken for neutral, gives the white balance.")
        return Colour(white_balance(neutral), "backdrop", expected_de00=_EXPECTED_BACKDROP_DE00)
    notes.append(
        f"No colour chart, and the backdrop was not used: {reason}. Colours are as the camera "
        "made them."
    )
    return Colour(np.eye(3), None, expected_de00=_EXPECTED_NONE_DE00)
