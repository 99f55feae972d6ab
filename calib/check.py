"""Is this shot good enough for its task? One instruction at a time, the largest gain first; the rest is said as facts.

To add a condition: add a rule to RULES. A rule reads the evidence and gives a finding or None. `gain` says how much more the next
shot would show once it is mended, as a share 0..1 of what there is to be seen; only the finding with the largest is spoken.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

from calib.drift import drift_from
from calib.facts import find_facts
from calib.messenger import shrunk_by_messenger
from calib.profile import Profile
from calib.reading import Reading
from vision.conditions.numbers import Conditions
from vision.guides import PX_PER_MM, Guide
from vision.guides.views import OVERVIEW_PX_PER_MM, view_from
from vision.quality import MTF50_OF_BLUR
from vision.types import Inspection, LitFrom, Shot, ShotQuality, Usable

_BURNT_OUT = 0.05
"""Share of the picture at full scale from which the light is too strong to judge by."""
_BLACK = 0.004
"""Linear light of about one level in a hundred of 8 bits."""
_BLUR_LIMIT_MM = 0.11
"""Blur (standard deviation) from which a thrips, 0.2-0.3 mm wide (from memory), melts into its surroundings."""
_BLUR_LIMIT_PX = 5.0
_SHARP_PX = 1.5
"""Blur up to which a camera is as sharp as its pixels allow."""
_OUTSHINES = 4.0
"""The panel under produce lit from above may be so many times brighter than it (a starting value, common practice, no source)."""
_MOST_BUBBLES = 0.1
_MOST_GLARE = 0.01
_MOST_WALL = 0.05
_MOST_SHADE = 0.1
_LEAST_MIST = 0.005
_ENLARGED = 1.25
_FLICKER = 0.01


@dataclass(frozen=True)
class Evidence:
    """All that a rule may read."""

    inspection: Inspection
    reading: Reading
    needs_px_per_mm: float
    shrunk: str
    """A sentence where the file was shrunk on its way here."""

    @property
    def quality(self) -> ShotQuality:
        return self.inspection.quality

    @property
    def seen(self) -> Conditions:
        return self.inspection.conditions

    @property
    def blur_px(self) -> float | None:
        sharp = self.quality.sharpness_cy_px
        return None if sharp is None else MTF50_OF_BLUR / sharp


@dataclass(frozen=True)
class Finding:
    """One thing that should be changed, and what to do."""

    sentence: str
    gain: float
    blocks: bool = False
    """True: the shot can't show what it is meant to."""


Rule = Callable[[Evidence], Finding | None]


def _light(e: Evidence) -> Finding | None:
    q, c = e.quality, e.seen
    if q.panel_level < _BLACK:
        return Finding("Too dark: hardly any light reached the camera; more light, or expose longer.", 1.0, True)
    # A mirrored lamp burns at any exposure, and is spoken of by itself.
    if q.clipped - c.glare > _BURNT_OUT:
        less = f"expose {_stops(c.too_bright_stops or 0.5)} less"
        return Finding(f"Over-exposed: {100 * q.clipped:.0f}% of the picture is burnt out; {less}.", 0.9, True)
    if c.too_bright_stops > 0:
        return Finding(f"Expose {_stops(c.too_bright_stops)} less: the brightest parts burn out.", 0.25)
    if c.too_dark_stops > 0:
        return Finding(f"Expose {_stops(c.too_dark_stops)} more: noise hides what is faint.", 0.3)
    return None


def _stops(stops: float) -> str:
    halves = max(1, round(2 * stops))
    if halves == 1:
        return "half a stop"
    return f"{halves / 2:g} stop{'' if halves == 2 else 's'}"


def _outshines(e: Evidence) -> Finding | None:
    if e.inspection.lit_from is LitFrom.BELOW or e.seen.outshines <= _OUTSHINES:
        return None
    return Finding(
        f"The panel outshines the produce {e.seen.outshines:.0f} times: turn it down, light from both sides, tap the produce on "
        "the phone.",
        0.7,
    )


def _lens(e: Evidence) -> Finding | None:
    if e.seen.smeared <= 0:
        return None
    return Finding("Wipe the lens: a smear veils the picture.", 0.6 + 0.3 * min(1.0, e.seen.smeared))


def _steam(e: Evidence) -> Finding | None:
    if e.seen.steam <= 0:
        return None
    return Finding("Let it cool: steam veils the picture.", 0.6 + 0.3 * min(1.0, e.seen.steam))


def _blur(e: Evidence) -> Finding | None:
    blur, sharp = e.blur_px, e.reading.setup.sharpness
    scale = e.inspection.px_per_mm
    if blur is None:
        return None
    # Of a picture too coarse for its task, even a sharp edge is wide in millimetres.
    soft = blur > _BLUR_LIMIT_PX if scale is None else blur / scale > _BLUR_LIMIT_MM and blur > _SHARP_PX
    moved = sharp is not None and sharp.smear_px > 0
    if moved and sharp is not None:
        size = f"by about {sharp.smear_px:.0f} px" + ("" if scale is None else f", {sharp.smear_px / scale:.1f} mm")
        return Finding(f"Hold still: the shot moved {size}; use a stand, and a timer or a foot switch.", 0.85, soft)
    # Only the slip's edges tell for sure which of the two it was.
    if sharp is not None and sharp.from_slip and sharp.defocus_px > 0 and soft:
        return Finding(
            "Out of focus: tap what you look at on the phone, or move the stand to where it is sharp.", 0.85, True
        )
    if soft:
        return Finding(
            "Out of focus or moved: the sharpest edges are soft; hold still, focus on the produce.", 0.85, True
        )
    return None


def _finer(e: Evidence) -> Finding | None:
    scale, needs = e.inspection.px_per_mm, e.needs_px_per_mm
    if scale is None or scale >= 0.98 * needs:
        return None
    # What lies between an overview and the need is seen in part.
    gain = 0.3 + 0.6 * min(1.0, 2 * (1 - scale / needs))
    return Finding(
        f"Closer, or 2x: {scale:.0f} px/mm, this needs {needs:.0f}.", gain, scale < OVERVIEW_PX_PER_MM * 0.99
    )


def _slip(e: Evidence) -> Finding | None:
    return Finding(e.reading.complaints[0], 0.5) if e.reading.complaints else None


def _touching(e: Evidence) -> Finding | None:
    if not e.seen.touching:
        return None
    first, second = e.seen.touching[0]
    more = len(e.seen.touching) - 1
    also = "" if not more else f", and {more} more pair{'' if more == 1 else 's'}"
    return Finding(f"Pieces {first} and {second} touch{also}: lay them a finger apart.", 0.35)


def _drops(e: Evidence) -> Finding | None:
    return Finding(f"Dry the panel: {e.seen.drops} drops on it.", 0.45) if e.seen.drops else None


def _bubbles(e: Evidence) -> Finding | None:
    if e.seen.bubbles <= _MOST_BUBBLES:
        return None
    share = 100 * e.seen.bubbles
    return Finding(
        f"Tap the tray and wait: bubbles cover {share:.0f}% of the water.", 0.4 + 0.5 * min(1.0, e.seen.bubbles)
    )


def _depth(e: Evidence) -> Finding | None:
    if e.seen.deep == "bottom":
        return Finding("Too deep: the surface is sharp, the bottom soft; less water, 5 to 8 mm.", 0.5)
    if e.seen.deep == "surface":
        return Finding("Too deep: the bottom is sharp, the surface soft; less water, 5 to 8 mm.", 0.5)
    if e.seen.soft_side:
        return Finding(f"Soft {e.seen.soft_side}: hold the camera level above the middle.", 0.4)
    return None


def _glare(e: Evidence) -> Finding | None:
    if e.seen.glare <= _MOST_GLARE:
        return None
    return Finding(f"Glare {e.seen.glare_at}: move the lamp.", 0.35 + 0.5 * min(1.0, 4 * e.seen.glare))


def _wall(e: Evidence) -> Finding | None:
    if e.seen.mist > _LEAST_MIST:
        return Finding("Wipe the mist off tray and cover: droplets hide what lies under them.", 0.35)
    if e.seen.wall <= _MOST_WALL:
        return None
    share = 100 * e.seen.wall
    return Finding(
        f"The tray's wall hides {share:.0f}% of the picture: swirl, so that specks drift to the middle.", 0.3
    )


def _shade(e: Evidence) -> Finding | None:
    if e.seen.shade <= _MOST_SHADE:
        return None
    share = 100 * e.seen.shade
    return Finding(
        f"{share:.0f}% of the produce is too dark to judge: open the pieces further, light from both sides.", 0.45
    )


def _flicker(e: Evidence) -> Finding | None:
    if e.seen.flicker <= _FLICKER:
        return None
    return Finding("The panel flickers in bands: expose longer than 1/50 s, or use another supply.", 0.2)


def _enlarged(e: Evidence) -> Finding | None:
    sharp = e.reading.setup.sharpness
    if sharp is not None and sharp.upsampled >= _ENLARGED:
        return Finding(
            f"The picture was enlarged {sharp.upsampled:.1f} times or more after it was taken: use the lens's own 2x, not the screen's.",
            0.55,
        )
    scale = e.inspection.px_per_mm
    # Shrinking matters where it leaves too little; then it is why the shot is coarse, and goes first.
    coarse = scale is None or scale < 0.98 * e.needs_px_per_mm
    return Finding(e.shrunk, 0.95, scale is not None and scale < OVERVIEW_PX_PER_MM) if e.shrunk and coarse else None


def _nothing(e: Evidence) -> Finding | None:
    i = e.inspection
    if i.ground_share + i.produce_share < 0.05:
        return Finding("Neither ground nor produce was made out: fill the picture with the panel.", 0.95, True)
    if e.quality.unsearched > 0.5:
        return Finding("Most of the picture could not be searched: fill it with the panel.", 0.8, True)
    return None


RULES: tuple[Rule, ...] = (
    _light, _nothing, _blur, _finer, _outshines, _lens, _steam, _bubbles, _drops, _depth, _enlarged, _slip, _glare, _shade,
    _touching, _wall, _flicker,
)  # fmt: skip


def find_wrong(evidence: Evidence) -> tuple[Finding, ...]:
    """What should be changed, the largest gain first; what makes the shot unusable before what does not."""
    found = [finding for rule in RULES if (finding := rule(evidence)) is not None]
    return tuple(sorted(found, key=lambda finding: (not finding.blocks, -finding.gain)))


@dataclass(frozen=True)
class Checked:
    """An inspection with what is to be said of its shot; `drift` is how the shot differs from the panel's profile, '' without one."""

    inspection: Inspection
    drift: str = ""


def check(
    shot: Shot, inspection: Inspection, reading: Reading, guide: Guide | None, view: str, profile: Profile | None = None
) -> Checked:
    """Says whether the shot can show what it is meant to, the one thing to change first, and what limits it."""
    needs = (guide.px_per_mm if guide else PX_PER_MM)[view or view_from(inspection.ground, inspection.lit_from)]
    shrunk = shrunk_by_messenger(shot.camera, shot.width_px, shot.height_px) or ""
    drift = None if profile is None else drift_from(profile, shot, inspection)
    if drift is not None:
        reading = replace(reading, complaints=(*reading.complaints, *drift.words))
    evidence = Evidence(inspection, reading, needs, shrunk)
    wrong = find_wrong(evidence)
    unusable = any(finding.blocks for finding in wrong)
    checked = replace(
        inspection,
        usable=Usable.NO if unusable else Usable.YES,
        instruction=wrong[0].sentence if wrong else "",
        reasons=(*find_facts(inspection, reading, needs), *shot.notes),
        # A shot that has to be taken again is asked nothing further.
        limit_round_mm=None if unusable else inspection.limit_round_mm,
        limit_linear_mm=None if unusable else inspection.limit_linear_mm,
    )
    return Checked(checked, "" if drift is None else drift.text)
