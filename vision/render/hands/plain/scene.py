"""A whole shot: ground, produce, clutter, insects, what lies over them, and the picture taken of it all."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.plain import grounds, produce
from vision.render.hands.plain.anatomy import Mood
from vision.render.hands.plain.canvas import PAD_PX, Canvas, Figure
from vision.render.hands.plain.clutter import debris
from vision.render.hands.plain.insects import insect
from vision.render.hands.plain.taking import taken
from vision.render.hands.seen import Body, HandDrawn, true_body
from vision.render.truth import TrueBody

_FLORETS = ("broccoli", "cauliflower")
_FULL_AREA_PX = 1600 * 1200
_BENT_RAD = 0.5
"""From here on a body counts as curved."""


@dataclass(frozen=True)
class _Laid:
    """An insect where it was put, px on the canvas; `area_px` is all of its body, hidden or not."""

    figure: Figure
    x_px: float
    y_px: float
    angle_deg: float
    area_px: int
    on_produce: bool


def draw(kind: str, seed: int, insects: int, width_px: int, height_px: int) -> HandDrawn:
    """A shot of that `kind` ("water", "cloth", "broccoli", "cauliflower" or "scallion") with so many insects in its truth.

    The picture is (height_px, width_px, 3) uint8 sRGB at PX_PER_MM. The same arguments give the same bytes.
    """
    rng = np.random.default_rng([seed, sum(kind.encode())])
    h, w = height_px + 2 * PAD_PX, width_px + 2 * PAD_PX
    heated = kind not in ("water", "cloth") and rng.random() < 0.35
    dark_cloth = kind == "cloth" and rng.random() < 0.25
    canvas = Canvas(_ground(kind, h, w, dark_cloth, rng), np.zeros((h, w), np.int16), np.zeros((h, w), np.uint8), rng)
    forms = produce.buds(kind == "cauliflower", rng, heated)
    if kind in _FLORETS:
        produce.florets(canvas, kind == "cauliflower", forms, rng)
    elif kind == "scallion":
        produce.leaves(canvas, rng, heated)
    shadow = 0.0 if kind == "water" else float(rng.uniform(0.1, 0.4))
    count = round(rng.integers(60, 151) * min(1.0, np.sqrt(width_px * height_px / _FULL_AREA_PX)))
    bits = debris(kind, count, rng)
    late = count // 5
    for bit in bits[late:]:
        canvas.lay(
            bit, rng.uniform(PAD_PX, w - PAD_PX), rng.uniform(PAD_PX, h - PAD_PX), rng.uniform(0, 360), 0, shadow
        )
    laid = _insects(kind, insects, canvas, forms, Mood(heated, dark_cloth), shadow)
    for bit in bits[:late]:
        own = max(float(np.abs(part.outline).max()) for part in bit.parts)
        x, y = rng.uniform(PAD_PX, w - PAD_PX), rng.uniform(PAD_PX, h - PAD_PX)
        if laid and rng.random() < 0.3:
            near = laid[int(rng.integers(len(laid)))]
            turn, away_px = np.deg2rad(near.angle_deg), (0.36 * near.figure.length_mm + 0.75 * own) * PX_PER_MM
            x, y = near.x_px + away_px * np.cos(turn), near.y_px + away_px * np.sin(turn)
        # It may touch a body or lie over its end, never over most of it.
        room = min(
            (np.hypot(x - o.x_px, y - o.y_px) / PX_PER_MM - 0.35 * o.figure.length_mm for o in laid), default=own
        )
        if room > 0.7 * own:
            canvas.lay(bit, x, y, rng.uniform(0, 360), 0, shadow)
    pixels = taken(canvas.pixels, rng)
    return HandDrawn(pixels, _truth(kind, laid, canvas, pixels), PX_PER_MM)


def _ground(kind: str, h: int, w: int, dark: bool, rng: np.random.Generator) -> NDArray[np.float32]:
    if kind == "water":
        return grounds.water(h, w, rng)
    if kind == "cloth":
        return grounds.cloth(h, w, rng, dark)
    return grounds.panel(h, w, rng)


def _insects(kind: str, count: int, canvas: Canvas, forms: produce.Buds, mood: Mood, shadow: float) -> list[_Laid]:
    """Draw the insects, the biggest first so that no small one is hidden under a big one."""
    rng = canvas.rng
    room_mm = 0.35 * (min(canvas.labels.shape) - 2 * PAD_PX) / PX_PER_MM
    wanted = []
    for _ in range(count):
        on_produce = bool(canvas.produce.any()) and rng.random() < 0.62
        often = ("thrips", "larva") if kind == "scallion" else ()
        figure = insect(rng, replace(mood, on_dark=mood.on_dark or (kind == "broccoli" and on_produce)), room_mm, often)
        wanted.append((_faint(figure, rng) if rng.random() < 0.12 else figure, on_produce))
    laid: list[_Laid] = []
    for number, (figure, on_produce) in enumerate(sorted(wanted, key=lambda pair: -pair[0].length_mm), 1):
        x, y = _place(figure, on_produce, canvas, laid)
        angle = float(rng.uniform(0, 360))
        here = bool(canvas.produce[round(y), round(x)])
        canvas.lay(figure, x, y, angle, number, shadow)
        one = _Laid(figure, x, y, angle, int((canvas.labels[_window(figure, x, y)] == number).sum()), here)
        laid.append(one)
        if canvas.produce[round(y), round(x)] == 2 and rng.random() < 0.6:
            _tuck_in(one, number, canvas, forms)
    return laid


def _faint(figure: Figure, rng: np.random.Generator) -> Figure:
    """The same as if sunk or soaked: hardly to be told from what is under it."""
    share = float(rng.uniform(0.25, 0.6))
    parts = tuple(replace(p, ink=replace(p.ink, opacity=p.ink.opacity * share)) for p in figure.parts)
    return replace(figure, parts=parts)


def _place(figure: Figure, on_produce: bool, canvas: Canvas, laid: list[_Laid]) -> tuple[float, float]:
    """Of some random places, on produce or beside it as wanted, the one farthest from the other bodies."""
    rng, (h, w) = canvas.rng, canvas.labels.shape
    edge = PAD_PX + 4 + 0.25 * figure.length_mm * PX_PER_MM
    best, best_room = (w / 2.0, h / 2.0), -np.inf
    for _ in range(14):
        x, y = float(rng.uniform(edge, w - edge)), float(rng.uniform(edge, h - edge))
        room = min(
            (np.hypot(x - o.x_px, y - o.y_px) - (o.figure.length_mm + figure.length_mm) / 2 * PX_PER_MM for o in laid),
            default=0.0,
        )
        room = min(room, 20.0) + rng.uniform(0, 5)
        if bool(canvas.produce[round(y), round(x)]) != on_produce:
            room -= 60
        if room > best_room:
            best, best_room = (x, y), room
    return best


def _tuck_in(one: _Laid, number: int, canvas: Canvas, forms: produce.Buds) -> None:
    """Put a few discs over the body's side or end until about half of it still shows."""
    rng = canvas.rng
    turn = np.deg2rad(one.angle_deg)
    ahead, side = np.array([np.cos(turn), np.sin(turn)]), np.array([-np.sin(turn), np.cos(turn)])
    disc = forms.shades[0].shape[0] / 2
    which = rng.choice([-1, 1])
    window = _window(one.figure, one.x_px, one.y_px)
    for _ in range(int(rng.integers(1, 5))):
        before = canvas.pixels[window].copy(), canvas.labels[window].copy()
        along = rng.uniform(-0.55, 0.55) * one.figure.length_mm * PX_PER_MM
        across = which * (one.figure.width_mm / 2 * PX_PER_MM + disc * rng.uniform(-0.15, 0.6))
        x, y = np.array([one.x_px, one.y_px]) + along * ahead + across * side
        forms.put(canvas, float(x), float(y), rng.uniform(0.3, 1), rng.uniform(0.85, 1.05))
        if (canvas.labels[window] == number).sum() < 0.45 * one.area_px:
            canvas.pixels[window], canvas.labels[window] = before


def _window(figure: Figure, x_px: float, y_px: float) -> tuple[slice, slice]:
    """All of a body, and what is round it, on the canvas."""
    reach = 0.55 * figure.length_mm * PX_PER_MM + 32
    return (
        slice(max(int(y_px - reach), 0), int(y_px + reach) + 2),
        slice(max(int(x_px - reach), 0), int(x_px + reach) + 2),
    )


def _truth(kind: str, laid: list[_Laid], canvas: Canvas, pixels: NDArray[np.uint8]) -> tuple[TrueBody, ...]:
    """The rows, measured in the picture taken."""
    labels = canvas.labels[PAD_PX:-PAD_PX, PAD_PX:-PAD_PX]
    h, w = labels.shape
    rows = []
    for number, one in enumerate(laid, 1):
        window = _window(one.figure, one.x_px - PAD_PX, one.y_px - PAD_PX)
        mask = labels[window] == number
        x, y = float(np.clip(one.x_px - PAD_PX, 0, w - 1)), float(np.clip(one.y_px - PAD_PX, 0, h - 1))
        down, across = np.nonzero(mask)
        if len(down):
            x, y = float(across.mean()) + window[1].start, float(down.mean()) + window[0].start
        surface = kind if kind in ("water", "cloth") else ("produce" if one.on_produce else "panel")
        figure = one.figure
        body = Body(
            kind=figure.kind, x_px=x, y_px=y, length_mm=figure.length_mm, width_mm=figure.width_mm,
            angle_deg=one.angle_deg, visible=min(len(down) / max(one.area_px, 1), 1.0),
            curved=abs(figure.bend_rad) > _BENT_RAD,
        )  # fmt: skip
        picture = pixels[window].astype(np.float32) / np.float32(255)
        rows.append(true_body(body, mask.astype(np.float32), picture, PX_PER_MM, surface))
    return tuple(rows)
