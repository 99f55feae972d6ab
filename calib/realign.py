"""Does a profile still fit a shot: same camera and lens, same stand, same light; and by how much the panel has shifted.

A phone switches lenses by itself and a stand gets nudged. What no longer holds is said in one sentence and never used.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from enum import StrEnum

import cv2
import numpy as np

from calib.profile_text import Profile
from calib.registration import Fit, Reduced, fit_panel, reduce_both
from vision.types import CameraFacts, EvenLight, FixedMark, FloatArray, MaskArray, Shot

_LEAST_SHIFT = 1 / 800
"""Shift, as a share of the picture's long side, below which nothing is moved: less than a mark's own margin."""
_MOST_SHIFT = 0.04
"""Beyond it the lens's own falloff, which does not move with the panel, would be moved too far along."""
_MOST_SCALE = 0.01
"""A scale off by more makes sizes wrong by more."""
_MOST_TURN_DEG = 0.5
_FOUND_SHARE, _FOUND_CERTAINTY = 0.2, 6.0
"""Share of the expected pattern, in size and in its own standard deviations, from which the panel counts as found."""
_PLAIN, _PLAIN_SHARE = 30.0, 0.6
"""Where the pattern would show as plainly as this, more of it has to be there: one mark of six lies near any other."""
_MOST_SHARE, _COULD_TELL = 1.7, 9.0
"""More than all of the pattern, or a pattern that was hardly to be seen, is something else that looks like it."""
_SURE = 20.0
"""Standard deviations from which a place far off is believed."""
_TELLING = 14.0
"""Standard deviations a pattern must be able to reach before its absence means anything."""
_OTHER_LIGHT = 0.02
"""Density by which the ground's light may depart from the map (standard deviation), exposure and colour set aside: 5% of light."""
_LEAST_GROUND = 0.05
_SAME_FOCAL = 0.03
"""Relative difference of focal lengths that rounding explains."""


class Kind(StrEnum):
    """How a shot stands to a profile."""

    SAME = "same stand"
    SHIFTED = "shifted a little"
    UNTOLD = "can't be told"
    OTHER_LIGHT = "other light"
    MOVED = "moved"
    OTHER_LENS = "other lens"
    OTHER_CAMERA = "other camera"
    OTHER_SIZE = "other size"


@dataclass(frozen=True)
class Alignment:
    """How a shot lies against the profile's blanks; `shift_px`: how much further right and down the panel lies in the shot."""

    shift_px: tuple[float, float]
    scale: float
    """How much larger the panel is in the shot; 1 where that can't be told."""
    kind: Kind
    sentence: str
    """For the person; '' where there is nothing to say."""
    same_stand: bool = False
    """Marks and scale of the profile hold, after the shift."""
    same_light: bool = False
    """The profile's map of light holds, after the shift."""
    seen: bool = False
    """The panel's own pattern was found in the shot; else nothing but its light and size speaks."""


def realign(profile: Profile, shot: Shot) -> Alignment:
    """Compares a shot with the profile it is to be scored with."""
    return compare(profile, shot)[0]


def compare(profile: Profile, shot: Shot) -> tuple[Alignment, Reduced | None]:
    """`realign`, and both pictures at the size at which they were compared; None where they can't be."""
    refused = _other_camera(profile, shot)
    if refused is not None:
        return refused, None
    both = reduce_both(profile.even_light, shot)
    fit = fit_panel(both, [mark for mark in profile.marks if mark.answer != "insect"])
    return judge(fit, both, profile, max(shot.width_px, shot.height_px)), both


def judge(fit: Fit, both: Reduced, profile: Profile, long_px: int) -> Alignment:
    """What the registration of the panel comes to."""
    px_per_mm = profile.px_per_mm
    ground = float(both.ground.mean())
    # Marks are drawn from a few numbers each, so that even the blanks show a part of what is expected only.
    share = fit.share / profile.pattern if profile.pattern > 0 else fit.share
    least = _PLAIN_SHARE if fit.could_tell * profile.pattern > _PLAIN else _FOUND_SHARE
    found = least < share < _MOST_SHARE and fit.certainty > _FOUND_CERTAINTY and fit.could_tell > _COULD_TELL
    telling = replace(fit, could_tell=fit.could_tell * (profile.pattern or 1.0))
    if not found:
        return _not_found(telling, both, ground)
    away = math.hypot(fit.right_px, fit.down_px)
    shift = (0.0, 0.0) if away <= _LEAST_SHIFT * long_px else (round(fit.right_px, 1), round(fit.down_px, 1))
    elsewhere = abs(fit.scale - 1) > _MOST_SCALE or abs(fit.turn_deg) > _MOST_TURN_DEG or away > _MOST_SHIFT * long_px
    if elsewhere and fit.certainty < _SURE:
        return _not_found(replace(fit, could_tell=0.0), both, ground)
    if abs(fit.scale - 1) > _MOST_SCALE:
        nearer = "nearer" if fit.scale > 1 else "further away"
        return _moved(fit, shift, f"the camera is {100 * abs(fit.scale - 1):.0f}% {nearer}")
    if abs(fit.turn_deg) > _MOST_TURN_DEG:
        return _moved(fit, shift, f"camera or panel was turned by {abs(fit.turn_deg):.1f} degrees")
    if away > _MOST_SHIFT * long_px:
        return _moved(fit, shift, f"camera or panel was shifted by {_length(away, px_per_mm)}")
    fits = misfit(both, shift) <= _OTHER_LIGHT
    if shift == (0.0, 0.0):
        kind, said = (Kind.SAME, "") if fits else (Kind.OTHER_LIGHT, _OTHER_LIGHT_SAID)
    else:
        kind = Kind.SHIFTED if fits else Kind.OTHER_LIGHT
        said = (
            f"The panel lies {_direction(*shift)} where the profile has it, by {_length(away, px_per_mm)}: its light and "
            "marks were moved along."
        )
        said += "" if fits else " " + _OTHER_LIGHT_SAID
    return Alignment(shift, fit.scale, kind, said, same_stand=True, same_light=fits, seen=True)


_OTHER_LIGHT_SAID = "The light falls differently than in the panel profile: the shot's own ground was used for it."


def _not_found(fit: Fit, both: Reduced, ground: float) -> Alignment:
    """Without the pattern: either it would have shown, or nothing speaks against the stand being as it was."""
    still = (0.0, 0.0)
    if fit.could_tell >= _TELLING and ground >= _LEAST_GROUND:
        said = (
            "The panel's marks and light are not where the profile has them: camera or panel moved, or it is another panel. "
            "Nothing of the profile was used."
        )
        return Alignment(still, 1.0, Kind.MOVED, said)
    said = "No mark shows whether camera or panel moved since the profile was made: it was used as it is"
    if ground >= _LEAST_GROUND and misfit(both, still) <= _OTHER_LIGHT:
        return Alignment(still, 1.0, Kind.UNTOLD, said + ".", same_stand=True, same_light=True)
    said += ", but for its light, which falls differently here; the slip in the shot would tell."
    return Alignment(still, 1.0, Kind.OTHER_LIGHT, said, same_stand=True)


def _moved(fit: Fit, shift: tuple[float, float], what: str) -> Alignment:
    said = f"Since the profile was made, {what}: nothing of the profile was used."
    return Alignment(shift, fit.scale, Kind.MOVED, said)


def _length(px: float, px_per_mm: float | None) -> str:
    return f"{px:.0f} px" if px_per_mm is None else f"{px / px_per_mm:.1f} mm"


def _direction(right: float, down: float) -> str:
    across = "" if abs(right) < 0.4 * abs(down) else "right" if right > 0 else "left"
    along = "" if abs(down) < 0.4 * abs(right) else "below" if down > 0 else "above"
    if across:
        return f"{along} and {across} of" if along else f"to the {across} of"
    return along


def misfit(both: Reduced, shift_px: tuple[float, float]) -> float:
    """Standard deviation of the density by which the ground's slow light departs from the map, robustly; nan without ground."""
    rest = departure(both, shift_px)
    # 80% of a normal spread lies within 1.2816 of its sigmas; so a shadow or a tray's wall in some cells does not count.
    return float(np.nanpercentile(np.abs(rest), 80) / 1.2816) if np.isfinite(rest).any() else math.nan


def departure(both: Reduced, shift_px: tuple[float, float]) -> FloatArray:
    """Log light of the shot's bare ground over the map's, medians of about 30 x 22 cells, their own median taken off; nan elsewhere."""
    level = _shifted(both.map_log, shift_px[0] / both.px, shift_px[1] / both.px)
    away = cell_medians_of((both.log - level).mean(axis=2), both.ground)
    return np.asarray(away - np.nanmedian(away) if np.isfinite(away).any() else away, dtype=np.float32)


def cell_medians_of(values: FloatArray, known: MaskArray, side: int = 16) -> FloatArray:
    """Median of the known values of each cell of `side` pixels where half of it is known; nan elsewhere."""
    h, w = values.shape[0] // side, values.shape[1] // side
    masked = np.where(known, values, np.nan)[: h * side, : w * side].reshape(h, side, w, side)
    flat = masked.transpose(0, 2, 1, 3).reshape(h, w, side * side)
    count = np.isfinite(flat).sum(axis=2)
    # What is not known is sorted to the end.
    middle = np.take_along_axis(np.sort(flat, axis=2), np.maximum(count - 1, 0)[..., None] // 2, axis=2)[..., 0]
    return np.where(count > 0.5 * side * side, middle, np.nan).astype(np.float32)


def _shifted(grid: FloatArray, right: float, down: float) -> FloatArray:
    """The grid's picture moved by so many of its cells; at the edge it moves out of, the last values go on."""
    if right == 0 and down == 0:
        return grid
    warp = np.array([[1.0, 0.0, right], [0.0, 1.0, down]])
    size = (grid.shape[1], grid.shape[0])
    return np.asarray(cv2.warpAffine(grid, warp, size, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32)


def moved_light(even_light: EvenLight, shift_px: tuple[float, float]) -> EvenLight:
    """The map moved along with the panel."""
    gh, gw = even_light.level.shape[:2]
    right, down = shift_px[0] * gw / even_light.width_px, shift_px[1] * gh / even_light.height_px
    return replace(even_light, level=_shifted(even_light.level, right, down))


def moved_marks(
    marks: Sequence[FixedMark], shift_px: tuple[float, float], width_px: int, height_px: int
) -> tuple[FixedMark, ...]:
    """The marks moved along with the panel; those that have left the picture are gone."""
    moved = (replace(m, x_px=m.x_px + shift_px[0], y_px=m.y_px + shift_px[1]) for m in marks)
    return tuple(m for m in moved if -0.5 <= m.x_px <= width_px - 0.5 and -0.5 <= m.y_px <= height_px - 0.5)


def _other_camera(profile: Profile, shot: Shot) -> Alignment | None:
    """Whether file and size say that another camera or lens took the shot."""
    still = (0.0, 0.0)
    own = (profile.even_light.width_px, profile.even_light.height_px)
    kind, what = _facts_differ(profile.camera, shot.camera)
    if kind is None and own != (shot.width_px, shot.height_px):
        turned = own == (shot.height_px, shot.width_px)
        kind = Kind.OTHER_SIZE
        what = (
            f"the profile is for shots of {own[0]} x {own[1]} pixels and this one is {shot.width_px} x {shot.height_px}"
            + (", turned by a quarter" if turned else "")
        )
    if kind is None:
        return None
    said = f"The panel profile was not used: {what}."
    return Alignment(still, 1.0, kind, said)


def same_camera(profile: Profile, shot: Shot) -> bool:
    """Whether nothing in the two files speaks for another camera, lens or size: the profile's lens may then be undone."""
    own = (profile.even_light.width_px, profile.even_light.height_px)
    return own == (shot.width_px, shot.height_px) and _facts_differ(profile.camera, shot.camera)[0] is None


def _facts_differ(blank: CameraFacts, shot: CameraFacts) -> tuple[Kind | None, str]:
    """What of the two files' facts shows another camera or lens; only what both say counts."""
    for one, other in ((blank.make, shot.make), (blank.model, shot.model)):
        if one and other and one.casefold() != other.casefold():
            return Kind.OTHER_CAMERA, f"it was made with {one} and this shot with {other}"
    if blank.digital_zoom is not None or shot.digital_zoom is not None:
        one_zoom, other_zoom = blank.digital_zoom or 1.0, shot.digital_zoom or 1.0
        if (
            abs(other_zoom / one_zoom - 1) > _SAME_FOCAL
            and (blank.model or blank.focal_mm)
            and (shot.model or shot.focal_mm)
        ):
            return Kind.OTHER_LENS, f"it was made at zoom {one_zoom:g} and this shot at {other_zoom:g}"
    for one_mm, other_mm, of in (
        (blank.focal_mm, shot.focal_mm, ""),
        (blank.focal_35mm, shot.focal_35mm, " (of the same view on film)"),
    ):
        if one_mm is not None and other_mm is not None and abs(other_mm / one_mm - 1) > _SAME_FOCAL:
            return (
                Kind.OTHER_LENS,
                f"it was made with a lens of {one_mm:g} mm{of} and this shot with {other_mm:g} mm: phones switch lenses by themselves",
            )
    if blank.lens and shot.lens and blank.lens.casefold() != shot.lens.casefold():
        return Kind.OTHER_LENS, f"it was made with the lens {blank.lens} and this shot with {shot.lens}"
    return None, ""
