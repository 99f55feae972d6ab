"""Thin jointed lines: legs, antennae, hairs, veins, stalks and fibres all come from here."""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from vision.render.hands.loosened.canvas import Canvas
from vision.render.hands.loosened.chance import Points, between, fourier

_SUB = 4


@dataclass(frozen=True)
class Strand:
    """A jointed line: places (n, 2) in mm, thickness (n,) in mm, and opacity 0..1."""

    places_mm: Points
    thick_mm: Points
    opacity: float


def jointed(
    start_mm: Points,
    heading: float,
    length_mm: float,
    joints: int,
    thick_mm: float,
    opacity: float,
    rng: np.random.Generator,
    bend: float,
    wild: float,
) -> Strand:
    """A limb of so many joints that bends by about `bend` radians at each, give or take `wild`, and tapers."""
    shares = np.exp(rng.normal(0, 0.25, joints))
    shares = shares / shares.sum() * length_mm
    places = [np.asarray(start_mm, dtype=np.float64)]
    for number in range(joints):
        places.append(places[-1] + shares[number] * np.array([math.cos(heading), math.sin(heading)]))
        heading += bend + rng.normal(0, wild)
    taper = np.linspace(1, between(rng, (0.4, 0.8)), joints + 1) * np.exp(rng.normal(0, 0.12, joints + 1))
    return Strand(np.array(places), thick_mm * taper, opacity)


def waving(
    start_mm: Points,
    heading: float,
    length_mm: float,
    thick_mm: float,
    opacity: float,
    rng: np.random.Generator,
    curl: float,
) -> Strand:
    """A smooth thread that curls by about `curl` radians in all."""
    count = max(6, int(length_mm * 14))
    u = np.linspace(0, 1, count)
    ahead = heading + rng.normal(0, curl) * u + fourier(u * 0.7, rng, 0.4 * curl, 3)
    ahead = ahead - ahead[0] + heading
    steps = np.stack([np.cos(ahead), np.sin(ahead)], axis=1) * length_mm / (count - 1)
    places = np.concatenate([np.zeros((1, 2)), np.cumsum(steps[:-1], axis=0)]) + start_mm
    thick = thick_mm * np.clip(1 + fourier(u, rng, 0.1, 4), 0.5, 1.5)
    return Strand(places, thick * np.linspace(1, between(rng, (0.3, 1)), count), opacity)


def reach_mm(strands: list[Strand]) -> float:
    """Distance in mm from the origin to the farthest point of any strand."""
    return max((float(np.hypot(s.places_mm[:, 0], s.places_mm[:, 1]).max()) for s in strands), default=0.0)


def lay_strands(
    canvas: Canvas, strands: list[Strand], colour: Points, rng: np.random.Generator, solid: bool = False
) -> None:
    """Draw strands in one linear colour (3,); a solid lot counts as body."""
    if not strands:
        return
    everything = canvas.to_px(np.concatenate([s.places_mm for s in strands]))
    room = max(float(s.thick_mm.max()) for s in strands) * canvas.scale + 3
    top, bottom, left, right = canvas.window(everything, room)
    mask = np.zeros((bottom - top, right - left), dtype=np.uint8)
    for strand in strands:
        _draw(mask, canvas.to_px(strand.places_mm) - (left, top), strand, canvas.scale)
    cover = np.asarray(mask, dtype=np.float32) / np.float32(255)
    hand = canvas.hand
    density = np.float32(3.0 if hand.below else 4.0)
    take = hand.greyness + (1 - hand.greyness) * 1.5 * (1 - colour)
    through = np.exp(-density * take)[None, None].astype(np.float32)
    own = (colour * hand.lamp * between(rng, (0.7, 1.0)))[None, None].astype(np.float32)
    where = slice(top, bottom), slice(left, right)
    canvas.lay(where, cover, through, own)
    if solid:
        canvas.cover_body(where, (cover > 0.2).astype(np.float32))


def _draw(mask: np.ndarray[tuple[int, int], np.dtype[np.uint8]], line: Points, strand: Strand, scale: float) -> None:
    """Fill one strand's tapered pieces and round joints into a mask, in its opacity."""
    shade = int(255 * min(max(strand.opacity, 0.0), 1.0))
    half = np.maximum(strand.thick_mm * scale / 2, 0.45)
    for first in range(len(line) - 1):
        step = line[first + 1] - line[first]
        size = float(np.hypot(step[0], step[1]))
        if size < 1e-6:
            continue
        side = np.array([-step[1], step[0]]) / size
        a, b = side * half[first], side * half[first + 1]
        quad = np.array([line[first] + a, line[first + 1] + b, line[first + 1] - b, line[first] - a])
        cv2.fillConvexPoly(mask, np.rint(quad * 2**_SUB).astype(np.int32), shade, cv2.LINE_AA, _SUB)
        if half[first] > 1.2:
            centre = round(line[first, 0] * 2**_SUB), round(line[first, 1] * 2**_SUB)
            cv2.circle(mask, centre, int(half[first] * 2**_SUB), shade, -1, cv2.LINE_AA, _SUB)
