"""Does a profile still hold: each shot against the blanks, in level, colour, evenness, scale and marks.

Limits. Level: a phone chooses its exposure anew, by up to a stop, so only more than that is said. Colour: a phone's white
balance wanders by a tenth, which the map's correction takes out; 15% is a lamp that ages or a setting that was changed.
Evenness: the corrected ground is flat to 1%; at 4% the map no longer is the panel's. Scale: 1% off makes every length 1% wrong.
Marks: some hide under water, specks and blur, but two in three of those in view gone means that another panel, or another side
of it, lies there. All are common practice, no source.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from calib.profile_text import Profile
from calib.realign import Alignment, Kind, cell_medians_of, compare, departure, misfit
from calib.registration import Reduced
from vision.light import log_light
from vision.types import FixedMark, Inspection, ScaleFrom, Shot

LEVELS = (0.5, 2.0)
MOST_COLOUR = 0.15
MOST_UNEVEN = 0.04
MOST_SCALE = 0.01
LEAST_MARKS = 0.35
_ENOUGH_CELLS = 8
_ENOUGH_MARKS = 4
"""Marks in view from which their absence says something."""
_PLAIN_DENSITY = 0.03
"""A mark fainter than this may be lost in noise or under water without having gone."""
_MOST_LOOKED_AT = 60
_COLOURS = ("red", "green", "blue")


@dataclass(frozen=True)
class Drift:
    """How a shot departs from the profile; None where the shot does not show it."""

    kind: Kind
    level: float | None = None
    """Panel's light over that of the blanks."""
    colour: tuple[float, float, float] | None = None
    """By how much each channel (red, green, blue) gained more than their mean, as a share."""
    uneven: float | None = None
    """Departure of the ground's light from the map (standard deviation, robustly), as a share, level and colour set aside."""
    scale: float | None = None
    """Scale over that of the profile."""
    marks_seen: int = 0
    marks_known: int = 0
    """Of those in view on bare ground."""

    @property
    def text(self) -> str:
        """For the table's cell."""
        if self.kind in (Kind.OTHER_CAMERA, Kind.OTHER_LENS, Kind.OTHER_SIZE):
            return f"not compared: {self.kind}"
        said = [str(self.kind)] if self.kind is Kind.MOVED else []
        if self.level is not None:
            said.append(f"level {self.level:.2f}x")
        if self.colour is not None:
            said.append(_colour_text(self.colour))
        if self.uneven is not None:
            said.append(f"evenness within {max(1, math.ceil(100 * self.uneven))}%")
        if self.scale is not None:
            said.append(f"scale {100 * (self.scale - 1):+.1f}%")
        if self.marks_known:
            said.append(f"marks {self.marks_seen} of {self.marks_known}")
        return ", ".join(said)

    @property
    def words(self) -> tuple[str, ...]:
        """What to do, one sentence for each limit that is passed."""
        if self.kind in (Kind.OTHER_CAMERA, Kind.OTHER_LENS, Kind.OTHER_SIZE):
            return ("Use the camera, lens and picture size of the panel profile, or calibrate for this set-up.",)
        if self.kind is Kind.MOVED:
            return (
                "Put camera and panel back where the profile has them, or calibrate again; till then lay the slip in the shot.",
            )
        said = []
        if self.level is not None and not LEVELS[0] <= self.level <= LEVELS[1]:
            said.append(
                f"The panel reads {self.level:.2f} times what it did when it was calibrated: lock the exposure, or look after the panel."
            )
        if self.colour is not None and max(map(abs, self.colour)) > MOST_COLOUR:
            said.append(
                f"The panel's colour has moved ({_colour_text(self.colour)}): lock the white balance, or calibrate again."
            )
        if self.uneven is not None and self.uneven > MOST_UNEVEN:
            said.append(
                f"The panel's light falls otherwise than in its profile, by {100 * self.uneven:.0f}%: calibrate again."
            )
        if self.scale is not None and abs(self.scale - 1) > MOST_SCALE:
            said.append(
                f"The scale is {100 * (self.scale - 1):+.1f}% off the profile's: the camera's height changed; calibrate again."
            )
        if self.marks_known >= _ENOUGH_MARKS and self.marks_seen < LEAST_MARKS * self.marks_known:
            said.append(
                f"Only {self.marks_seen} of {self.marks_known} marks of the panel are where they were: wipe it, and calibrate again."
            )
        return tuple(said)

    @property
    def holds(self) -> bool:
        """Whether the profile can go on being used."""
        return self.kind not in REFUSED and not self.words


REFUSED = (Kind.MOVED, Kind.OTHER_CAMERA, Kind.OTHER_LENS, Kind.OTHER_SIZE)


def _colour_text(colour: Sequence[float]) -> str:
    most = int(np.argmax(np.abs(colour)))
    if abs(colour[most]) < 0.0005:
        return "colour +0.0%"
    return f"colour {100 * colour[most]:+.1f}% {_COLOURS[most]}"


def drift_from(profile: Profile, shot: Shot, inspection: Inspection) -> Drift:
    """The drift of a shot that was scored; its scale counts where the slip in it gave one."""
    own = inspection.px_per_mm if inspection.scale_from is ScaleFrom.SLIP else None
    return measure_drift(profile, shot, own)


def measure_drift(profile: Profile, shot: Shot, px_per_mm: float | None = None) -> Drift:
    """A shot against the profile; `px_per_mm` is the shot's own scale where it has one."""
    found, both = compare(profile, shot)
    if both is None:
        return Drift(found.kind)
    scale = None
    if px_per_mm is not None and profile.px_per_mm is not None:
        scale = px_per_mm / profile.px_per_mm
    elif found.kind in (Kind.SAME, Kind.SHIFTED) or (found.kind is Kind.MOVED and found.scale != 1):
        scale = found.scale
    level, colour = _level(both)
    if not found.same_stand:
        return Drift(found.kind, level, colour, None, scale)
    uneven = None
    # Beside produce lit from above the panel's light is another one, which says nothing of the panel.
    if (found.seen or found.same_light) and np.isfinite(departure(both, found.shift_px)).sum() >= _ENOUGH_CELLS:
        uneven = 10 ** misfit(both, found.shift_px) - 1
    seen, known = marks_in(shot, profile.marks, found, both)
    return Drift(found.kind, level, colour, uneven, scale, seen, known)


def _level(both: Reduced) -> tuple[float | None, tuple[float, float, float] | None]:
    """Median light of bare ground over the map's, and by how much each channel departs from their mean."""
    gains = []
    for channel in range(3):
        cells = cell_medians_of(both.log[..., channel] - both.map_log[..., channel], both.ground)
        if not np.isfinite(cells).any():
            return None, None
        gains.append(float(np.nanmedian(cells)))
    mean = sum(gains) / 3
    red, green, blue = (10 ** (gain - mean) - 1 for gain in gains)
    return 10**mean, (red, green, blue)


def marks_in(shot: Shot, marks: Sequence[FixedMark], found: Alignment, both: Reduced) -> tuple[int, int]:
    """How many of the panel's own marks show in the shot, and how many lie on bare ground in view."""
    plain = [
        m for m in marks if m.answer != "insect" and (m.answer or not m.doubtful) and abs(m.density) >= _PLAIN_DENSITY
    ]
    plain = sorted(plain, key=lambda m: (-abs(m.density) * min(m.radius_px, 20.0), m.x_px, m.y_px))[:_MOST_LOOKED_AT]
    seen = known = 0
    for mark in plain:
        x, y = mark.x_px + found.shift_px[0], mark.y_px + found.shift_px[1]
        row, column = round(y / both.px), round(x / both.px)
        if not (0 <= row < both.ground.shape[0] and 0 <= column < both.ground.shape[1] and both.ground[row, column]):
            continue
        strength = _strength(shot, mark, x, y)
        if strength is not None:
            known += 1
            seen += strength > 0.35 * abs(mark.density)
    return seen, known


def _strength(shot: Shot, mark: FixedMark, x: float, y: float) -> float | None:
    """Density of what shows in a mark's strip against what is beside it, of the mark's own sign; None where it is cut off."""
    long, wide = (mark.length_px, mark.width_px) if mark.length_px > 0 else (2 * mark.radius_px, 2 * mark.radius_px)
    long = min(long, 160.0)
    reach = math.ceil(0.5 * math.hypot(long, wide) + max(6.0, wide))
    left, top = round(x) - reach, round(y) - reach
    if left < 0 or top < 0 or left + 2 * reach >= shot.width_px or top + 2 * reach >= shot.height_px:
        return None
    window = shot.pixels[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
    log = cv2.GaussianBlur(log_light(np.ascontiguousarray(window)).mean(axis=0), (0, 0), 0.8)
    yy, xx = np.mgrid[top : top + 2 * reach + 1, left : left + 2 * reach + 1]
    c, s = math.cos(math.radians(mark.angle_deg)), math.sin(math.radians(mark.angle_deg))
    along, across = np.abs((xx - x) * c + (yy - y) * s), np.abs((yy - y) * c - (xx - x) * s)
    inside = (along <= long / 2 + 1) & (across <= wide / 2 + 1)
    beside = (along <= long / 2 + 1) & (across > wide / 2 + 2) & (across <= wide / 2 + 2 + max(4.0, wide))
    if not inside.any() or beside.sum() < 8:
        return None
    away = (float(np.median(log[beside])) - log[inside]) * math.copysign(1.0, mark.density)
    # The mark fills a part of its strip only.
    return float(np.percentile(away, 85))
