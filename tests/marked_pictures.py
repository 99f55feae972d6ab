"""Inspections made up for the annotated picture: bodies of every class, a photograph, and what a shot gave."""

from __future__ import annotations

import re

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.annotate import draw_inspection
from vision.labels import Label
from vision.marks import look_for
from vision.shapes import SHAPES
from vision.table import Belonging
from vision.types import (
    Candidate,
    Ground,
    Inspection,
    LitFrom,
    Measures,
    ScaleFrom,
    Shot,
    ShotQuality,
    Surface,
    Tone,
    Usable,
)

FORBIDDEN = re.compile(r"\b(clean|clear|cleared|pass|passed|passes|safe|free|ok|okay)\b|[✓✔☑✅🟢👍]", re.IGNORECASE)
BELONGING = Belonging("tray.jpg", "r0123456789ab")
KINDS = [shape.name for shape in SHAPES]


def outline(kind: str, length: float, width: float) -> NDArray[np.float64]:
    """A body of one class round the origin, (n, 2)."""
    t = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    if kind in ("round", "linear"):
        return np.stack([length / 2 * np.cos(t), width / 2 * np.sin(t)], axis=1)
    if kind == "irregular":
        r = length / 2 * (0.65 + 0.35 * np.cos(5 * t))
        return np.stack([r * np.cos(t), r * np.sin(t)], axis=1)
    x = np.linspace(-length / 2, length / 2, 60)
    y = width * (1.5 * np.cos(x / length * 3) if kind == "curved" else 2.5 * np.sin(x / length * 14))
    return np.concatenate([np.stack([x, y - width / 2], axis=1), np.stack([x, y + width / 2], axis=1)[::-1]])


def candidate(number: int, kind: str, x: float, y: float, length: float, angle: float = 0.0) -> Candidate:
    width = length / {"round": 1.7, "linear": 5, "curved": 6, "trail": 20, "irregular": 1.1}[kind]
    a = np.deg2rad(angle)
    turn = np.array([[np.cos(a), np.sin(a)], [-np.sin(a), np.cos(a)]])
    points = (outline(kind, length, width) @ turn + [x, y]).astype(np.float32)
    left, top = np.floor(points.min(axis=0)).astype(int)
    right, bottom = np.ceil(points.max(axis=0)).astype(int)
    measures = Measures(
        x_px=x,
        y_px=y,
        left_px=int(left),
        top_px=int(top),
        wide_px=int(right - left + 1),
        high_px=int(bottom - top + 1),
        angle_deg=angle,
        length_px=length,
        width_px=width,
        max_feret_px=length,
        min_feret_px=width,
        area_px=float(cv2.contourArea(points)),
        equivalent_diameter_px=width,
        aspect_ratio=width / length,
        circularity=0.8,
        solidity=0.9,
        delta_e=12.0,
        density=0.4,
        snr=20.0,
        blur_px=1.2,
        outline_px=points,
    )
    return Candidate(number, measures, Surface.PANEL, Tone.DARKER, kind, "aphid", "roundish, brown", 0.5, None, 0.08)


def photograph(height: int, width: int, seed: int = 0) -> NDArray[np.uint8]:
    """White panel on the left, dark produce on the right, with noise, so that a changed pixel shows."""
    random = np.random.default_rng(seed)
    picture = np.empty((height, width, 3), dtype=np.uint8)
    picture[:, : width // 2] = random.integers(222, 240, (height, width // 2, 3))
    picture[:, width // 2 :] = random.integers(30, 70, (height, width - width // 2, 3))
    return picture


def inspected(
    pixels: NDArray[np.uint8] | NDArray[np.uint16],
    candidates: tuple[Candidate, ...] = (),
    unsearched: NDArray[np.bool_] | None = None,
    name: str = "tray.jpg",
) -> tuple[Shot, Inspection]:
    shot = Shot(pixels, "ab" * 32, name)
    grid = np.zeros((9, 12), dtype=bool) if unsearched is None else unsearched
    quality = ShotQuality(0.8, 0.001, 0.2, 0.2, 0.01, float(grid.mean()))
    inspection = Inspection(
        shot_name=name,
        shot_sha256=shot.sha256,
        width_px=shot.width_px,
        height_px=shot.height_px,
        taken_at=None,
        px_per_mm=20.0,
        scale_from=ScaleFrom.OPTION,
        ground=Ground.PANEL,
        lit_from=LitFrom.BELOW,
        quality=quality,
        usable=Usable.YES,
        reasons=(),
        limit_round_mm=0.321,
        limit_linear_mm=0.138,
        candidates=candidates,
        left_out=0,
        unsearched=grid,
    )
    return shot, inspection


def scattered(count: int, height: int, width: int, seed: int) -> tuple[Candidate, ...]:
    """Bodies of all classes; none lies on another, but marks may touch, cross and hold each other, and run over the edge."""
    random = np.random.default_rng(seed)
    sizes = {"round": 40, "linear": 24, "curved": 90, "trail": 200, "irregular": 44}
    taken = np.zeros((height, width), dtype=bool)
    found: list[Candidate] = []
    while len(found) < count:
        kind = KINDS[int(random.integers(len(KINDS)))]
        x, y, angle = random.uniform(0, width), random.uniform(0, height), random.uniform(0, 180)
        one = candidate(len(found) + 1, kind, x, y, sizes[kind], angle)
        body = body_mask((one,), height, width)
        if not (body & taken).any():
            taken |= body
            found.append(one)
    return tuple(found)


def body_mask(candidates: tuple[Candidate, ...], height: int, width: int) -> NDArray[np.bool_]:
    mask = np.zeros((height, width), dtype=np.uint8)
    for one in candidates:
        cv2.fillPoly(mask, [np.round(one.measures.outline_px * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return mask.astype(bool)


def drawn(
    candidates: tuple[Candidate, ...], height: int = 900, width: int = 1200
) -> tuple[NDArray[np.uint8], list[Label]]:
    picture = photograph(height, width)
    _, inspection = inspected(picture, candidates)
    return picture, draw_inspection(picture, inspection, 1.0, look_for(width, height))
