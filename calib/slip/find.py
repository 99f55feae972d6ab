"""The slips in a shot: markers first, looked for in a smaller picture, then every saddle point of the pieces they belong to."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.slip.growth import Known, grown
from calib.slip.layout import STRIP, Marker, Piece, all_pieces, mirrored
from calib.slip.markers import Sighting, laid_upon, likeness, look_for_markers, our_numbers
from calib.slip.plane import Plane, fit_plane
from calib.slip.text import read_code
from calib.slip.view import PieceView, Points, SlipFound, SlipText

_FEWEST_POINTS = 10
_SMALLEST_SHARE = 0.25
"""Of the saddle points inside the picture: below it, what was found is something else."""
_CORNER_SIGMA = 0.06
"""In cells: of a marker's corner."""
_APART = 0.3
_LIKE = 0.75

_SURELY_LIKE = 0.85

TWO_STRIPS = "Two strips are in the shot: leave one in it, so that it is known which one the sizes go by."
TWO_CORNERS = "Two corner pieces of the same number are in the shot: each of the four may lie there once."
FACE_DOWN = "The strip lies face down: turn it over, printed side up."
TOO_LITTLE = "The strip can't be measured: too little of it is seen, or it is bent. Lay all of it into the shot, flat, with nothing on it."
OTHER_PRINT = "There are markers in the shot that are not those of our strip: take them out, or print the strip anew."
CODE_UNREAD = "The strip's code can't be read, so lot and sample are not known: go closer, or make the shot sharper."


@dataclass(frozen=True)
class _Grown:
    """A piece that was found: its layout as seen, its view, and how it lies."""

    piece: Piece
    view: PieceView
    plane: Plane
    from_behind: bool


def find_slip(pixels: NDArray[np.uint8] | NDArray[np.uint16]) -> SlipFound:
    """The strip and corner pieces in a shot (h, w, 3) uint8 or uint16, sRGB-encoded.

    Never raises on a picture of that form. Two strips: both are given, the one with more points first.
    """
    grey = _grey(pixels)
    seen = look_for_markers(grey)
    if not seen:
        return SlipFound()
    pieces: list[_Grown] = []
    lost: list[tuple[Piece, list[Sighting]]] = []
    for piece, cluster in _clusters(seen):
        each = _grow(grey, piece, cluster)
        if each is None:
            lost.append((piece, cluster))
        elif not any(_same_place(each, other) for other in pieces):
            pieces.append(each)
    pieces.sort(key=lambda g: (g.piece.name != STRIP, g.piece.name, -len(g.view.points_px)))
    said = _complaints(pieces) + _of_what_is_lost(grey, seen, lost, pieces)
    text, is_unread = _text(grey, pieces)
    return SlipFound(tuple(g.view for g in pieces), text, (*said, CODE_UNREAD) if is_unread else said)


def _complaints(pieces: list[_Grown]) -> tuple[str, ...]:
    names = [g.view.name for g in pieces]
    said = []
    if names.count(STRIP) > 1:
        said.append(TWO_STRIPS)
    if any(names.count(name) > 1 for name in set(names) - {STRIP}):
        said.append(TWO_CORNERS)
    if any(g.from_behind for g in pieces):
        said.append(FACE_DOWN)
    return tuple(said)


def _of_what_is_lost(
    grey: NDArray[np.uint8], seen: list[Sighting], lost: list[tuple[Piece, list[Sighting]]], pieces: list[_Grown]
) -> tuple[str, ...]:
    """A sentence for markers that are surely there and belong to no piece that was found."""
    ours = set(our_numbers())
    others = [s for s in seen if s.number not in ours and _surely(grey, s)]
    stray = [(piece, sure) for piece, cluster in lost if (sure := [s for s in cluster if _surely(grey, s)])]
    # Several of the strip's markers that do not lie as on the strip are somebody else's print.
    apart = sum(piece.name == STRIP for piece, _ in stray) > 1
    if others or apart:
        return (OTHER_PRINT,)
    return (TOO_LITTLE,) if stray and not pieces else ()


def _text(grey: NDArray[np.uint8], pieces: list[_Grown]) -> tuple[SlipText | None, bool]:
    """What the first strip's code says, and whether it has one that can't be read."""
    for each in pieces:
        if each.piece.code_mm is not None:
            text, is_there = read_code(grey, each.plane.whole, each.piece.code_mm, each.from_behind)
            return text, is_there and text is None
    return None, False


def _grey(pixels: NDArray[np.uint8] | NDArray[np.uint16]) -> NDArray[np.uint8]:
    if pixels.dtype == np.uint16:
        pixels = (pixels >> 8).astype(np.uint8)
    return np.asarray(cv2.cvtColor(np.ascontiguousarray(pixels), cv2.COLOR_RGB2GRAY), dtype=np.uint8)


def _surely(grey: NDArray[np.uint8], seen: Sighting) -> bool:
    """Whether what was taken for a marker looks like that marker at full resolution, too."""
    laid = laid_upon(grey, seen)
    return laid is not None and likeness(grey, laid) > _SURELY_LIKE


def _clusters(seen: list[Sighting]) -> list[tuple[Piece, list[Sighting]]]:
    """Sightings of our markers put together by the piece they lie on, judged by their places and sizes."""
    found: list[tuple[Piece, list[Sighting]]] = []
    for piece in all_pieces():
        numbers = {marker.number for marker in piece.markers}
        groups: list[list[Sighting]] = []
        for one in (s for s in seen if s.number in numbers):
            layout = mirrored(piece) if one.mirrored else piece
            fits = [(_mismatch(layout, group, one), group) for group in groups]
            best = min(fits, key=lambda fit: fit[0], default=(np.inf, []))
            if best[0] < _APART:
                best[1].append(one)
            else:
                groups.append([one])
        found += [(mirrored(piece) if group[0].mirrored else piece, group) for group in groups]
    return found


def _mismatch(piece: Piece, group: list[Sighting], one: Sighting) -> float:
    """How far `one` lies from where the nearest of the group says it should, over their distance; inf where it can't belong."""
    if any(other.number == one.number or other.mirrored != one.mirrored for other in group):
        return np.inf
    middle = one.corners_px.mean(axis=0)
    near = min(group, key=lambda other: float(np.hypot(*(other.corners_px.mean(axis=0) - middle))))
    away = float(np.hypot(*(near.corners_px.mean(axis=0) - middle)))
    wrong = 0.0
    for a, b in ((near, one), (one, near)):
        marker_a, marker_b = _marker(piece, a.number), _marker(piece, b.number)
        steps, *_ = np.linalg.lstsq(
            marker_a.corners_mm - marker_a.corners_mm.mean(axis=0),
            a.corners_px - a.corners_px.mean(axis=0),
            rcond=None,
        )
        between = (marker_b.corners_mm.mean(axis=0) - marker_a.corners_mm.mean(axis=0)) @ steps
        place = a.corners_px.mean(axis=0) + between
        wrong = max(wrong, float(np.hypot(*(place - b.corners_px.mean(axis=0)))))
    return wrong / max(away, 1e-6)


def _marker(piece: Piece, number: int) -> Marker:
    return next(marker for marker in piece.markers if marker.number == number)


def _grow(grey: NDArray[np.uint8], piece: Piece, cluster: list[Sighting]) -> _Grown | None:
    """All of a piece from a few of its markers; None where it is not there."""
    laid = [found for seen in cluster if (found := laid_upon(grey, seen)) is not None]
    if not laid:
        return None
    corners_mm = np.concatenate([_marker(piece, s.number).corners_mm for s in laid])
    corners_px = np.concatenate([s.corners_px for s in laid])
    sigma = np.concatenate([np.full(4, _CORNER_SIGMA * s.side_px / 6 + 0.1) for s in laid])
    plane = fit_plane(corners_mm, corners_px, sigma)
    if plane is None:
        return None
    points = grown(grey, piece, plane, Known(corners_mm, corners_px, sigma))
    if points is None:
        return None
    plane, good = points.plane, points.good
    in_picture = _inside(plane.at(piece.saddles_mm), grey.shape)
    if good.sum() < max(_FEWEST_POINTS, _SMALLEST_SHARE * in_picture.sum()):
        return None
    seen = sum(
        1
        for m in piece.markers
        if likeness(grey, Sighting(m.number, plane.at(m.corners_mm), cluster[0].mirrored)) > _LIKE
    )
    return _Grown(
        piece,
        PieceView(
            name=piece.name,
            points_mm=piece.saddles_mm[good],
            points_px=points.places_px[good],
            sigma_px=points.sigma_px[good],
            outline_mm=piece.outline_mm,
            edges=piece.edges,
            markers_seen=max(seen, 1),
            markers_printed=len(piece.markers),
        ),
        plane,
        cluster[0].mirrored,
    )


def _inside(points_px: Points, shape: tuple[int, ...]) -> NDArray[np.bool_]:
    with np.errstate(invalid="ignore"):
        return np.asarray(
            (points_px >= 0).all(axis=1) & (points_px <= np.array([shape[1] - 1, shape[0] - 1])).all(axis=1)
        )


def _same_place(one: _Grown, other: _Grown) -> bool:
    if one.piece.name != other.piece.name:
        return False
    middle = one.piece.outline_mm.mean(axis=0, keepdims=True)
    away = float(np.hypot(*(one.plane.at(middle) - other.plane.at(middle))[0]))
    high = float(np.linalg.norm(one.plane.steps(middle)[0, :, 1])) * one.piece.high_mm
    return not away > 0.5 * high
