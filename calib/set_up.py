"""Shots of the slip on a stand -> scale, plane, lens and sharpness of the set-up.

On a fixed stand every slip of every shot is a flat piece on one plane under one camera, so all are fitted together: the more of the
picture they cover, the further the map reaches. Where they do not fit together the camera was moved between the shots, which
then tell the lens only.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from calib.ground_plane import NOT_FLAT_PX, fit_ground
from calib.lens import lens_from_views
from calib.profile_text import Profile
from calib.reading import Told, focal_px, read_setup
from calib.slip.find import find_slip
from calib.slip.view import PieceView
from vision.errors import ProfileError
from vision.geometry import px_per_mm_at
from vision.types import GroundMap, Lens, ScaleFrom, Sharpness, Shot

_MOVED_PX = 2.0
"""Residual from which the shots do not show one stand."""
_SAME_SCALE = 0.02
_ENOUGH_REACH = 0.5
"""Share of the picture's width and height the slips should span before the map counts as known all over it."""


@dataclass(frozen=True)
class SetUp:
    """What shots of the slip tell of a stand; None for what they do not."""

    ground_map: GroundMap | None
    lens: Lens | None
    px_per_mm: float | None
    sharpness: Sharpness | None
    words: tuple[str, ...]


def measure_set_up(shots: Sequence[Shot]) -> SetUp:
    """The stand from one or more shots of the slip lying on it, all of one size.

    Raises ProfileError with a sentence where a shot shows no slip, or the shots differ in size.
    """
    size = (shots[0].width_px, shots[0].height_px)
    pieces: list[PieceView] = []
    each: list[GroundMap] = []
    for shot in shots:
        if (shot.width_px, shot.height_px) != size:
            raise ProfileError(
                f"{shot.name} is {shot.width_px} x {shot.height_px} pixels, {shots[0].name} {size[0]} x {size[1]}."
            )
        found = find_slip(shot.pixels)
        if not found.pieces:
            why = found.complaints[0] if found.complaints else "Lay the slip flat where all of it shows."
            raise ProfileError(f"{shot.name} shows no slip. {why}")
        pieces += found.pieces
        single = fit_ground(found.pieces, *size, None, focal_px(shot.camera, *size))
        if single.ground_map is None:
            raise ProfileError(f"{shot.name}: {single.words[0]}")
        each.append(single.ground_map)
    together = fit_ground(pieces, *size, None, focal_px(shots[0].camera, *size))
    sharpness = _on_a_slip(shots)
    if (
        together.ground_map is None
        or together.residual_px > _MOVED_PX
        or _apart(together.ground_map, each) > _SAME_SCALE
    ):
        return _hand_held(pieces, size, sharpness)
    said = [*together.words] if together.residual_px > NOT_FLAT_PX else []
    points = np.concatenate([piece.points_px for piece in pieces])
    if (np.ptp(points, axis=0) < _ENOUGH_REACH * np.array(size)).any():
        said.append(
            "The slips cover a small part of the picture: lay the slip near each corner and in the middle, a shot each, and sizes "
            "will hold all over it."
        )
    return SetUp(together.ground_map, together.ground_map.lens, _scale(together.ground_map), sharpness, tuple(said))


def _apart(ground_map: GroundMap, each: Sequence[GroundMap]) -> float:
    """By how much, as a share, a slip's own scale differs from what the plane of all of them says there."""
    points = np.array([[one.x_px, one.y_px] for one in each])
    own = np.array([_scale(one) for one in each])
    return float(np.nanmax(np.abs(px_per_mm_at(ground_map, points) / own - 1)))


def _hand_held(pieces: Sequence[PieceView], size: tuple[int, int], sharpness: Sharpness | None) -> SetUp:
    """The lens alone, from views of a camera that moved; without it where the views are too few or too alike."""
    moved = "Camera or stand moved between the slip shots, so they give no scale: each shot needs a slip of its own."
    try:
        fit = lens_from_views([(piece.points_mm, piece.points_px) for piece in pieces], *size)
    except ProfileError as error:
        return SetUp(None, None, None, sharpness, (f"{moved} {error}",))
    return SetUp(None, fit.lens, None, sharpness, (f"{moved} The lens is known from them, to {fit.rms_px:.2f} px.",))


def _on_a_slip(shots: Sequence[Shot]) -> Sharpness | None:
    """Sharpness of the first shot whose slip shows its edges whole."""
    seen = (read_setup(shot, Told(), None).setup.sharpness for shot in shots)
    return next((sharpness for sharpness in seen if sharpness is not None and sharpness.from_slip), None)


def with_set_up(profile: Profile, set_up: SetUp) -> Profile:
    """The profile with what the slip shots told of its stand."""
    if set_up.px_per_mm is None:
        return replace(profile, lens=set_up.lens, sharpness=set_up.sharpness)
    return replace(
        profile,
        px_per_mm=round(set_up.px_per_mm, 4),
        scale_from=ScaleFrom.SLIP,
        lens=set_up.lens,
        ground_map=set_up.ground_map,
        sharpness=set_up.sharpness,
    )


def _scale(ground_map: GroundMap) -> float:
    return float(px_per_mm_at(ground_map, np.array([[ground_map.x_px, ground_map.y_px]]))[0])
