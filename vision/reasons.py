"""Why a speck is listed, in plain words a checker would use: colour, form, size, sharpness, what it stands out from."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.measure import Measured
from vision.types import SizesMm, Tone

_FORMS = {
    "round": "roundish", "linear": "thin and straight", "curved": "long and bent", "trail": "long and winding",
    "irregular": "of irregular form",
}  # fmt: skip


def colour_name(lab: tuple[float, float, float]) -> str:
    """An everyday name of a CIELAB colour; bounds are ours, chosen to agree with how people name such specks."""
    lightness, a, b = lab
    chroma, hue = float(np.hypot(a, b)), float(np.degrees(np.arctan2(b, a))) % 360
    if lightness < 18 and chroma < 18:
        return "black"
    if chroma < 9:
        return "dark grey" if lightness < 40 else "grey" if lightness < 72 else "pale"
    if hue < 25 or hue > 330 or (hue < 50 and chroma > 60):
        return "reddish"
    if hue < 80:
        return "dark brown" if lightness < 30 else "brown" if lightness < 66 else "tan"
    if hue < 108:
        return "olive brown" if lightness < 50 else "yellowish"
    if hue < 200:
        return "dark green" if lightness < 35 else "green" if lightness < 75 else "pale green"
    return "bluish"


def say_why(m: Measured, shape: str, sizes: SizesMm | None, surface: str) -> str:
    """One line such as 'brown, roundish, 1.8 x 1.0 mm, sharp, darker than the produce round it; not green like it'."""
    x = m.measures
    lab = (float(m.body_lab[0]), float(m.body_lab[1]), float(m.body_lab[2]))
    size = f"{x.length_px:.0f} x {x.width_px:.0f} px"
    if sizes is not None:
        size = f"{sizes.length_mm:.1f} x {sizes.width_mm:.1f} mm"
    soft = "soft" if x.blur_px > max(2.5, 0.35 * x.width_px) else "sharp"
    tone = "darker" if m.speck.tone == Tone.DARKER else "lighter"
    return f"{colour_name(lab)}, {_FORMS[shape]}, {size}, {soft}, {tone} than the {surface} round it{_other_colour(m)}"


def _other_colour(m: Measured) -> str:
    """What is round a speck on produce, where that has a colour of its own and another one."""
    if not m.speck.on_produce:
        return ""
    own, around = _hue(m.body_lab), _hue(m.around_lab)
    return f"; not {around} like it" if around and own != around else ""


def _hue(lab: NDArray[np.float64]) -> str:
    """The colour without its lightness; '' for greys."""
    name = colour_name((float(lab[0]), float(lab[1]), float(lab[2])))
    return next((hue for hue in ("green", "brown", "yellowish", "reddish", "bluish", "tan") if hue in name), "")
