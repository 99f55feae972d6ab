"""What a set-up can show, and the one thing that would improve it most."""

from __future__ import annotations

import numpy as np

from calib.panel import PanelMeasurement
from calib.profile_text import Profile
from vision.guides.views import OVERVIEW_PX_PER_MM, VIEWS
from vision.quality import MTF50_OF_BLUR, smallest_specks_mm
from vision.types import ScaleFrom

_UNEVEN = 0.4
_DARK, _BRIGHT = 0.25, 0.9
_FLICKER = 0.005
_LEAST_CY_MM = 2.0
"""MTF50 a set-up should reach: half of the contrast of lines a quarter of a millimetre wide, about a thrips (from memory)."""
_ENOUGH_BLANKS = 3


def set_up_lines(profile: Profile, measured: PanelMeasurement) -> tuple[str, ...]:
    """Sentences that end a calibration: what this set-up can show, and what to do next, the largest gain first."""
    return (*_shows(profile), f"Next: {_next(profile, measured)}")


def _shows(profile: Profile) -> list[str]:
    if profile.px_per_mm is None:
        return ["How small a speck this set-up can show is not known without a scale."]
    views = [name for name, view in VIEWS.items() if name != "blank" and profile.px_per_mm >= 0.98 * view.px_per_mm]
    fine = ", ".join(views) if views else "none of the views; an overview for caterpillars and grown aphids"
    said = [f"{profile.px_per_mm:.1f} px/mm is fine enough for: {fine}."]
    sharp = profile.sharpness
    if sharp is not None and sharp.from_slip:
        said.append(f"Sharpness at the slip: MTF50 {MTF50_OF_BLUR / sharp.blur_px * profile.px_per_mm:.1f} cycles/mm.")
        round_mm, thin_mm = smallest_specks_mm(float(np.mean(profile.noise)), sharp.blur_px, profile.px_per_mm)
        said.append(
            f"On bare ground this set-up can show round specks from {round_mm:.2f} mm across and thin ones from {thin_mm:.2f} mm wide."
        )
    return said


def _next(profile: Profile, measured: PanelMeasurement) -> str:
    sharp = profile.sharpness
    cy_mm = None if sharp is None or profile.px_per_mm is None else MTF50_OF_BLUR / sharp.blur_px * profile.px_per_mm
    wishes = (
        (profile.level < _DARK, "expose more, to about half of full scale, and take the blanks again."),
        (profile.level > _BRIGHT, "expose half a stop less and take the blanks again."),
        (profile.px_per_mm is None, "print the slip (`speckwise slip --out slip.pdf`), lay it on the panel and give its shot as --slip."),
        ((profile.px_per_mm or OVERVIEW_PX_PER_MM) < OVERVIEW_PX_PER_MM, "closer, or the lens's own 2x: too coarse for any view."),
        (cy_mm is not None and cy_mm < _LEAST_CY_MM, "focus on the slip, or wipe the lens: the shot is soft."),
        (measured.panel_share < 0.8, "go closer, so that the panel fills the picture."),
        (profile.flicker > _FLICKER, "the panel flickers: expose longer than 1/50 s, or use another supply."),
        (profile.uneven > _UNEVEN, "a second sheet of diffuser: the light falls off strongly towards the edges."),
        (len(profile.shot_sha256) < _ENOUGH_BLANKS, f"more blanks: {_ENOUGH_BLANKS} tell fixed marks from dust that moves."),
        (any(m.doubtful and not m.answer for m in profile.marks), "answer the marks that could be an insect."),
        (profile.scale_from is not ScaleFrom.SLIP, "a shot of the slip would tell sharpness and lens as well: give it as --slip."),
    )  # fmt: skip
    after = "score a first lot with --panel, and compare blanks with --check each week."
    return next((words for missing, words in wishes if missing), after)
