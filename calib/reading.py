"""What is known of a shot's stand before it is searched: what a person said, what the slip in it shows, what the profile holds.

Each source goes before the next where both speak: the person, the slip, the profile. Nothing is used in silence that the other
sources contradict.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.enlarged import enlarged
from calib.ground_plane import fit_ground
from calib.own_edges import own_sharpness
from calib.profile import Profile, setup_for
from calib.realign import same_camera
from calib.sharpness import Edge, measure_sharpness
from calib.shown import Shown, black_over_white
from calib.slip.find import find_slip
from calib.slip.view import PieceView, SlipText
from vision.geometry import px_per_mm_at
from vision.guides.views import VIEWS, View
from vision.types import CameraFacts, Ground, GroundMap, Lens, LitFrom, ScaleFrom, Setup, Sharpness, Shot

_SAME_SCALE = 0.02
"""Two sources of a scale that differ by more contradict each other: a print stretched to fit a page is off by 3 % and more."""
_FILM_DIAGONAL_MM = math.hypot(36.0, 24.0)


@dataclass(frozen=True)
class Told:
    """What a person said of all shots of a call; None where they said nothing."""

    px_per_mm: float | None = None
    scale_from: ScaleFrom = ScaleFrom.OPTION
    ground: Ground | None = None
    lit_from: LitFrom | None = None


@dataclass(frozen=True)
class Reading:
    """The set-up of one shot, and what is to be said of how it came about."""

    setup: Setup
    text: SlipText | None = None
    """What the slip's code says."""
    complaints: tuple[str, ...] = ()
    """Sentences about slip and profile that ask for something to be changed."""
    facts: tuple[str, ...] = ()
    """Sentences that only limit what the shot says."""


def read_setup(shot: Shot, told: Told, profile: Profile | None, view: str = "") -> Reading:
    """Scale, geometry, sharpness, even light and fixed marks of a shot, from all that is known of it.

    `view` is a key of VIEWS or ''; it goes before a guide, which speaks of a kind of produce as a whole.
    """
    seen = VIEWS.get(view, View(0.0))
    setup, said = (Setup(), ()) if profile is None else setup_for(profile, shot)
    slip = find_slip(shot.pixels)
    complaints = [*slip.complaints]
    shown = [Shown(piece) for piece in slip.pieces]
    if shown:
        lens = profile.lens if profile is not None and same_camera(profile, shot) else None
        setup, more = _with_slip(shot, setup, slip.pieces, lens)
        complaints += more
    edges = [edge for one in shown for edge in one.edges()]
    setup = replace(
        setup,
        sharpness=_sharpness(shot, edges, shown),
        slip_outlines_px=tuple(one.outline_px for one in shown),
        black_over_white=black_over_white(shot.pixels, edges),
        ground=told.ground or seen.ground,
        lit_from=told.lit_from or seen.lit_from,
    )
    if told.px_per_mm is not None:
        complaints += _contradicts(told.px_per_mm, setup, "the scale given by hand")
        setup = replace(setup, px_per_mm=told.px_per_mm, scale_from=told.scale_from, ground_map=None)
    return Reading(setup, slip.text, tuple(complaints), said)


def _with_slip(shot: Shot, setup: Setup, pieces: Sequence[PieceView], lens: Lens | None) -> tuple[Setup, list[str]]:
    """The set-up with the slip's scale and plane, and what the slip contradicts."""
    fit = fit_ground(pieces, shot.width_px, shot.height_px, lens, focal_px(shot.camera, shot.width_px, shot.height_px))
    if fit.ground_map is None:
        return setup, list(fit.words)
    scale = _scale(fit.ground_map)
    words = [*fit.words, *_contradicts(scale, _quoted_at(setup, fit.ground_map), "the slip")]
    if setup.ground_map is not None and not words:
        # The stand's own map was made from many shots and reaches over all of the picture; the slip bears it out.
        return setup, words
    taken = replace(
        setup, px_per_mm=scale, scale_from=ScaleFrom.SLIP, ground_map=fit.ground_map, camera_mm=fit.distance_mm
    )
    return taken, words


def _quoted_at(setup: Setup, slip: GroundMap) -> Setup:
    """The set-up with the scale its own map has where the slip lies: a tilted stand's is another there."""
    if setup.ground_map is None:
        return setup
    there = px_per_mm_at(setup.ground_map, np.array([[slip.x_px, slip.y_px]]))[0]
    return replace(setup, px_per_mm=float(there) if np.isfinite(there) else setup.px_per_mm)


def _contradicts(scale: float, setup: Setup, who: str) -> list[str]:
    if setup.px_per_mm is None or abs(scale / setup.px_per_mm - 1) <= _SAME_SCALE:
        return []
    other = {ScaleFrom.SLIP: "the slip", ScaleFrom.PROFILE: "the panel profile"}.get(setup.scale_from, "another source")
    return [
        f"Scales disagree: {who} says {scale:.2f} px/mm, {other} {setup.px_per_mm:.2f}: measure the slip's 50.0 mm bar with a "
        "ruler, and look whether camera or stand moved."
    ]


def _sharpness(shot: Shot, edges: Sequence[Edge], shown: Sequence[Shown]) -> Sharpness | None:
    crossings = [crossing for one in shown for crossing in one.crossings()]
    measured = measure_sharpness(shot.pixels, edges, crossings) or own_sharpness(shot.pixels)
    return None if measured is None else replace(measured, upsampled=enlarged(shot.pixels))


def _scale(ground_map: GroundMap) -> float:
    return float(px_per_mm_at(ground_map, np.array([[ground_map.x_px, ground_map.y_px]]))[0])


def focal_px(camera: CameraFacts, width_px: int, height_px: int) -> float | None:
    """The focal length in pixels that the file's 35 mm equivalent stands for (by the diagonal; from memory)."""
    if camera.focal_35mm is None or not 5 <= camera.focal_35mm <= 2000:
        return None
    return camera.focal_35mm * math.hypot(width_px, height_px) / _FILM_DIAGONAL_MM
