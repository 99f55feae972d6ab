"""What everything lies on: a lit panel, rinse water in a tray over it, a wet cloth; and the last washes of light and camera."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands.washed.sheet import Floats, Rng, field, fractal, toned, warped


def _coloured(tone: Floats, colour: tuple[float, float, float]) -> Floats:
    return np.asarray(tone[..., None] * np.asarray(colour, np.float32), np.float32)


def _enlarged(flat: Floats, h: int, w: int) -> Floats:
    return np.asarray(cv2.resize(flat, (w, h), interpolation=cv2.INTER_LINEAR), np.float32)


def panel(rng: Rng, h: int, w: int) -> Floats:
    """The bare panel (h, w, 3): nearly even, with smears of wet and dried drops."""
    small_h, small_w = h // 4 + 2, w // 4 + 2
    smear = fractal(rng, small_h, small_w, float(rng.uniform(30, 120)), 4)
    tone = 1 + rng.uniform(0.0, 0.035) * smear
    wet = warped(rng, small_h, small_w, float(rng.uniform(25, 70)), 4, 14.0)
    rim = np.exp(-(((wet - rng.uniform(0.5, 1.0)) / rng.uniform(0.05, 0.2)) ** 2)) + 0.4 * np.clip(wet * 2 - 1, 0, 1)
    tone -= max(float(rng.uniform(-0.03, 0.06)), 0.0) * rim
    base = toned(rng, (0.9, 0.9, 0.87), 0.04)
    return _coloured(_enlarged(tone.astype(np.float32), h, w), base)


def water(rng: Rng, h: int, w: int, px_per_mm: float) -> Floats:
    """Rinse water (h, w, 3): ripples that gather the light, cloudy washes of soil or plant juice, perhaps the tray's wall."""
    small_h, small_w = h // 3 + 2, w // 3 + 2
    tone = np.ones((small_h, small_w), np.float32)
    ripple = warped(rng, small_h, small_w, float(rng.uniform(25, 90)), 3, float(rng.uniform(10, 40)))
    tone += (
        rng.uniform(0.0, 0.06) * (np.exp(-((ripple / rng.uniform(0.12, 0.4)) ** 2)) - 0.2)
        + rng.uniform(0, 0.04) * ripple
    )
    cloud = np.clip(warped(rng, small_h, small_w, float(rng.uniform(60, 200)), 5, 40.0) * 0.6 + 0.4, 0, 1)
    base = toned(rng, (0.9, 0.91, 0.88), 0.05)
    soil = toned(rng, ((0.7, 0.62, 0.42), (0.66, 0.72, 0.45), (0.75, 0.74, 0.7))[int(rng.integers(3))], 0.08)
    share = (cloud * rng.uniform(0.0, 0.55)).astype(np.float32)
    if rng.random() < 0.35:
        wall = float(rng.uniform(0.02, 0.12)) * small_w
        along = np.arange(small_w, dtype=np.float32)[:: int(rng.choice([-1, 1]))]
        bow = field(rng, small_h, 1, small_h / 2, 1) * 4
        depth = along[None, :] - wall + bow
        tone *= (
            1
            - 0.3 * np.exp(-((depth / 5) ** 2))
            - 0.22 * np.clip(0.5 - depth / 2, 0, 1)
            + 0.12 * np.exp(-(((depth - 9) / 4) ** 2))
        )
    dimmed = 1 - _enlarged(share, h, w)[..., None] * (1 - np.asarray(soil, np.float32))
    return _coloured(_enlarged(tone, h, w), base) * dimmed


def cloth(rng: Rng, h: int, w: int, px_per_mm: float) -> tuple[Floats, bool]:
    """Woven cloth (h, w, 3) at any angle with threads of uneven thickness, folds and wet parts; and whether it is dark."""
    dark = bool(rng.random() < 0.22)
    pitch = float(rng.uniform(0.26, 0.7)) * px_per_mm
    turn = rng.uniform(0, np.pi)
    skew = turn + np.pi / 2 + rng.normal(0, 0.05)
    drift = [_enlarged(fractal(rng, h // 6 + 2, w // 6 + 2, 40, 3) * pitch * 0.22, h, w) for _ in range(2)]
    ys, xs = np.arange(h, dtype=np.float32)[:, None], np.arange(w, dtype=np.float32)[None, :]
    sheets = []
    for way, off in zip((turn, skew), drift, strict=True):
        place = (xs * np.float32(np.cos(way)) + ys * np.float32(np.sin(way)) + off) / np.float32(pitch)
        number = np.floor(place)
        tones = rng.normal(1, 0.05, 8192).astype(np.float32)
        index = number.astype(np.int32) % 8192
        sheets.append((1 - (2 * (place - number) - 1) ** 2, index, tones[index]))
    (a, i, tone_a), (b, j, tone_b) = sheets
    over = ((i + j) % 2) == 0
    rounds = float(rng.uniform(0.25, 0.6))
    woven = np.where(over, a * (0.7 + 0.3 * b) * tone_a, b * (0.7 + 0.3 * a) * tone_b)
    tone = 1 - rounds + rounds * woven
    gap = np.clip(1 - np.maximum(a, b) * float(rng.uniform(1.6, 3.5)), 0, 1)
    tone += gap * float(rng.uniform(-0.7, 0.4) if not dark else rng.uniform(-0.2, 0.9))
    folds = _enlarged(warped(rng, h // 6 + 2, w // 6 + 2, float(rng.uniform(60, 160)), 3, 25.0), h, w)
    tone *= 1 + rng.uniform(0.02, 0.14) * folds
    wet = _enlarged(np.clip(warped(rng, h // 6 + 2, w // 6 + 2, 70.0, 4, 20.0) * 3, 0, 1).astype(np.float32), h, w)
    tone *= 1 - rng.uniform(0.0, 0.2) * wet
    nap = fractal(rng, h, w, 3.0, 2)
    tone += nap * float(rng.uniform(0.01, 0.05))
    light = ((0.9, 0.9, 0.88), (0.88, 0.87, 0.8), (0.84, 0.87, 0.92))
    deep = ((0.13, 0.14, 0.17), (0.16, 0.2, 0.32), (0.2, 0.15, 0.13))
    colour = toned(rng, (deep if dark else light)[int(rng.integers(3))], 0.06)
    return _coloured(tone.astype(np.float32), colour), dark


def developed(rng: Rng, picture: Floats) -> NDArray[np.uint8]:
    """The shot (h, w, 3) sRGB as a camera gives it: light uneven and tinted, blurred, noisy, sometimes pressed into blocks.

    The picture (h, w, 3) is worked on in place.
    """
    h, w = picture.shape[:2]
    ys, xs = np.linspace(-1, 1, h, dtype=np.float32)[:, None], np.linspace(-1, 1, w, dtype=np.float32)[None, :]
    a, fall = rng.uniform(0, 6.3), float(rng.uniform(0.0, 0.1))
    cx, cy = rng.normal(0, 0.3, 2)
    round_off = float(rng.uniform(0, 0.12))
    light = 1 + fall * (np.cos(a) * xs + np.sin(a) * ys) - round_off * ((xs - cx) ** 2 + (ys - cy) ** 2)
    level, contrast = float(rng.uniform(0.78, 1.12)), float(rng.uniform(0.85, 1.15))
    tints = np.array([rng.normal(0, 0.03), rng.normal(0, 0.012), rng.normal(0, 0.038)]) + 1
    picture *= _coloured((light * level * contrast).astype(np.float32), (tints[0], tints[1], tints[2]))
    picture += np.float32(0.5 - 0.5 * contrast)
    np.clip(picture, 0, 1, out=picture)
    blur = float(rng.choice([rng.uniform(0.3, 0.7), rng.uniform(0.6, 1.1), rng.uniform(1.0, 1.7)], p=[0.45, 0.4, 0.15]))
    out = np.asarray(cv2.GaussianBlur(picture, (0, 0), blur), np.float32)
    if rng.random() < 0.4:
        more = float(rng.uniform(0.2, 0.7))
        out = np.asarray(cv2.addWeighted(out, 1 + more, cv2.blur(out, (5, 5)), -more, 0), np.float32)
    noise = float(rng.uniform(0.002, 0.02))
    coloured = rng.standard_normal((h // 2 + 1, w // 2 + 1, 3), np.float32) * np.float32(noise * rng.uniform(0.3, 1.0))
    out += np.asarray(cv2.resize(coloured, (w, h)), np.float32)
    out += (rng.standard_normal((h, w), np.float32) * np.float32(noise))[..., None]
    out *= 255
    shot = np.clip(out, 0, 255, out=out).astype(np.uint8)
    if rng.random() < 0.6:
        quality = int(rng.integers(62, 95))
        pressed = cv2.imencode(".jpg", shot[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])[1]
        shot = np.ascontiguousarray(np.asarray(cv2.imdecode(pressed, cv2.IMREAD_COLOR), np.uint8)[..., ::-1])
    return shot
