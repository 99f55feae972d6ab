"""Pictures of a panel for the person who sets it up: its light in even steps, and how it holds over time.

Steps are told apart by lightness and written numbers, not by hue alone; marks by their rings.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image, ImageDraw

from calib.drift import LEAST_MARKS, LEVELS, MOST_COLOUR, MOST_SCALE, MOST_UNEVEN, REFUSED, Drift
from calib.profile_text import Profile
from vision.text import font as face

_LONG_PX = 1200
_STEP = 0.1
"""Share of the brightest light between two lines of equal light."""
_DARK, _PALE = np.array([38, 48, 92]), np.array([250, 246, 226])
_INK = (20, 20, 20)
LINE = (150, 90, 0)
_PAPER = (255, 255, 255)


def light_picture(profile: Profile) -> NDArray[np.uint8]:
    """The panel's light (h, w, 3): pale where it is brightest, a line at each tenth less, in percent; rings round marks."""
    light = profile.even_light
    zoom = _LONG_PX / max(light.width_px, light.height_px)
    size = (max(1, round(light.width_px * zoom)), max(1, round(light.height_px * zoom)))
    level = cv2.resize(light.level.mean(axis=2), size, interpolation=cv2.INTER_CUBIC)
    # What a line of equal light shows is the lamp's, not the map's grain.
    level = cv2.GaussianBlur(level, (0, 0), _LONG_PX / 60)
    share = np.clip(level / max(float(np.percentile(level, 99)), 1e-6), 0, 1)
    steps = np.ceil(share / _STEP - 1e-6) * _STEP
    colours = _DARK + (steps[..., None] ** 1.5) * (_PALE - _DARK)
    image = Image.fromarray(np.rint(colours).astype(np.uint8))
    draw = ImageDraw.Draw(image)
    font = face(18, bold=True)
    for value in np.arange(1 - _STEP, _STEP / 2, -_STEP):
        _equal_light(draw, share, float(value), font)
    for mark in profile.marks:
        x, y, r = mark.x_px * zoom, mark.y_px * zoom, max(mark.radius_px * zoom, 6) + 4
        draw.ellipse((x - r, y - r, x + r, y + r), outline=_INK, width=5 if mark.doubtful else 2)
    return _with_words(
        image,
        [
            f"Light of the panel in percent of its brightest; it falls by {100 * profile.uneven:.0f}%.",
            f"Rings: {len(profile.marks)} marks; thick rings could be an insect and ask for an answer.",
        ],
    )


def _equal_light(draw: ImageDraw.ImageDraw, share: NDArray[Any], value: float, font: Any) -> None:
    lines, _ = cv2.findContours((share >= value).astype(np.uint8), cv2.RETR_LIST, cv2.CHAIN_APPROX_NONE)
    h, w = share.shape
    for line in lines:
        points = line.reshape(-1, 2)
        inner = (points > 2).all(axis=1) & (points[:, 0] < w - 3) & (points[:, 1] < h - 3)
        if inner.sum() < 120:
            continue
        draw.point([(int(x), int(y)) for x, y in points[inner]], fill=_INK)
        # The number stands where the line is furthest from the picture's edge.
        inside = points[inner]
        room = np.minimum(inside, [w, h] - inside).min(axis=1)
        x, y = inside[int(room.argmax())]
        text = f"{100 * value:.0f}"
        box = draw.textbbox((float(x), float(y)), text, font=font, anchor="mm")
        draw.rectangle((box[0] - 4, box[1] - 3, box[2] + 4, box[3] + 3), fill=_PAPER)
        draw.text((float(x), float(y)), text, font=font, fill=_INK, anchor="mm")


def time_picture(names: Sequence[str], drifts: Sequence[Drift]) -> NDArray[np.uint8]:
    """Level, colour, evenness, scale and marks of several shots against their profile (h, w, 3), a row each, the limits marked."""
    rows = (
        ("Level", "times", [d.level for d in drifts], LEVELS, 1.0),
        ("Colour", "%", [None if d.colour is None else 100 * max(map(abs, d.colour)) for d in drifts], (0, 100 * MOST_COLOUR), 0.0),
        ("Unevenness", "%", [None if d.uneven is None else 100 * d.uneven for d in drifts], (0, 100 * MOST_UNEVEN), 0.0),
        ("Scale", "%", [None if d.scale is None else 100 * (d.scale - 1) for d in drifts], (-100 * MOST_SCALE, 100 * MOST_SCALE), 0.0),
        ("Marks seen", "%", [_marks_pct(d) for d in drifts], (100 * LEAST_MARKS, 100), 100.0),
    )  # fmt: skip
    high, left = 170, 250
    image = Image.new("RGB", (_LONG_PX, high * len(rows) + 40), _PAPER)
    draw = ImageDraw.Draw(image)
    for k, (name, unit, values, limits, usual) in enumerate(rows):
        _row(draw, (left, 30 + k * high, _LONG_PX - 40, k * high + high), f"{name}, {unit}", values, limits, usual)
    elsewhere = [name for name, drift in zip(names, drifts, strict=True) if drift.kind in REFUSED]
    return _with_words(
        image,
        [
            f"{len(names)} shots in order, from {names[0]}",
            f"to {names[-1]}.",
            "Hatched: beyond the limit. No dot: the shot does not show it.",
            _named(elsewhere),
        ],
    )


def _named(names: Sequence[str]) -> str:
    """Shots that can't be laid over the profile's blanks; the first four by name."""
    if not names:
        return "No shot shows that camera or panel moved."
    more = f" and {len(names) - 4} more" if len(names) > 4 else ""
    return f"Moved, or another camera or size: {', '.join(name[:24] for name in names[:4])}{more}."


def _marks_pct(drift: Drift) -> float | None:
    return 100 * drift.marks_seen / drift.marks_known if drift.marks_known else None


def _row(
    draw: ImageDraw.ImageDraw,
    box: tuple[int, int, int, int],
    title: str,
    values: Sequence[float | None],
    limits: tuple[float, float],
    usual: float,
) -> None:
    left, top, right, bottom = box
    font, small = face(19, bold=True), face(16)
    draw.text((20, (top + bottom) / 2), title, font=font, fill=_INK, anchor="lm")
    known = [v for v in values if v is not None]
    span = max([limits[1] - limits[0], *(abs(v - usual) for v in known)]) * 1.2
    low, high = min([limits[0], *known]) - 0.1 * span, max([limits[1], *known]) + 0.1 * span

    def y_of(value: float) -> float:
        return bottom - 12 - (value - low) / (high - low) * (bottom - top - 24)

    for edge, upper, lower in ((limits[1], float(top), y_of(limits[1])), (limits[0], y_of(limits[0]), float(bottom))):
        if edge == usual:
            continue  # nothing can lie beyond
        tall = lower - upper
        for x in np.arange(left - tall, right, 14):
            start, end = max(x, left), min(x + tall, right)
            if end > start:
                draw.line((start, lower - (start - x), end, lower - (end - x)), fill=(170, 170, 170), width=2)
    draw.rectangle((left, top, right, bottom), outline=_INK, width=2)
    draw.line((left, y_of(usual), right, y_of(usual)), fill=(120, 120, 120), width=2)
    step = (right - left) / max(len(values), 1)
    places = [(left + (k + 0.5) * step, y_of(v), v) for k, v in enumerate(values) if v is not None]
    if len(places) > 1:
        draw.line([(x, y) for x, y, _ in places], fill=LINE, width=4)
    for across, y, value in places:
        draw.ellipse((across - 7, y - 7, across + 7, y + 7), fill=LINE)
        if len(places) <= 12:
            draw.text(
                (across + 12, y - 4),
                f"{value:.2f}" if abs(value) < 10 else f"{value:.0f}",
                font=small,
                fill=_INK,
                anchor="ls",
            )


def _with_words(image: Image.Image, lines: Sequence[str]) -> NDArray[np.uint8]:
    font = face(19)
    out = Image.new("RGB", (image.width, image.height + 44 * len(lines) + 16), _PAPER)
    out.paste(image, (0, 0))
    draw = ImageDraw.Draw(out)
    for k, line in enumerate(lines):
        draw.text((16, image.height + 10 + 44 * k), line, font=font, fill=_INK)
    return np.asarray(out, dtype=np.uint8)
