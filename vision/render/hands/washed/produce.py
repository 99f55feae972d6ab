"""Cut produce on the panel: stalks and leaf layers as long washes, florets as knobs of many buds or grains of curd."""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.render.hands.washed.bits import lumpy, wavy
from vision.render.hands.washed.board import PRODUCE, STALK, Board
from vision.render.hands.washed.sheet import Colour, Floats, Rng, Sheet, Stamp, field, fractal, mixed, toned, warped


@dataclass(frozen=True)
class StripLook:
    """A long piece: its size, colours at both ends, how many veins run along it and how strong, opacity at both ends,
    how much wider its far end is, and whether its ends are cut (else torn)."""

    length_px: float
    width_px: float
    near: Colour
    far: Colour
    veins: float
    vein_strength: float
    opaque: tuple[float, float]
    flare: float
    cut: bool


def strip(rng: Rng, look: StripLook, x_px: float, y_px: float, angle_deg: float, frame: tuple[int, int]) -> Stamp:
    """The piece with its middle at a point, running along `angle_deg`; only what is in the frame (h, w) is made."""
    w, tall = int(look.length_px) + 8, int(look.width_px * (1 + abs(look.flare))) + 60
    s = np.linspace(0, 1, w, dtype=np.float32)[None, :]
    rows = (np.arange(tall, dtype=np.float32) - tall / 2)[:, None]
    bow = field(rng, 1, w, 1, w / 2.2) * np.float32(14) * (s - s.mean())
    wide = look.width_px / 2 * (1 + look.flare * (s - 0.5) + 0.07 * field(rng, 1, w, 1, max(look.width_px * 0.6, 8)))
    off = rows - bow
    across = off / wide
    bristle = field(rng, tall, w, 2.5, 130) * 0.5 + field(rng, tall, w, 9, 260) * 0.6
    blotch = fractal(rng, tall, w, max(look.width_px * 0.5, 12), 3, 0.6, 2.0)
    bend = across + 0.03 * field(rng, tall, w, tall / 2, 90)
    vein = np.abs(np.cos(np.pi * look.veins * bend / 2)) ** 6
    share = np.clip(s + 0.08 * blotch, 0, 1)[..., None]
    colour = np.asarray(look.near, np.float32) * (1 - share) + np.asarray(look.far, np.float32) * share
    tone = (
        1
        + 0.07 * bristle
        + 0.06 * blotch
        + look.vein_strength * (vein - 0.3)
        - 0.2 * np.clip(np.abs(across), 0, 1) ** 4
    )
    ends = np.minimum(s * w - 3, w - 3 - s * w)
    slant = off * float(rng.normal(0, 0.15)) * np.where(s < 0.5, 1, -1)
    ragged = fractal(rng, tall, 1, 22, 4, 0.6) * (1.2 if look.cut else 7) + slant
    cover = np.clip(np.minimum(wide - np.abs(off), ends + ragged - 8) + 0.5, 0, 1)
    dense = look.opaque[0] + (look.opaque[1] - look.opaque[0]) * s
    alpha = np.clip(cover * (dense + 0.08 * bristle + 0.15 * np.abs(across) ** 6), 0, 1).astype(np.float32)
    rgb = (np.clip(colour * tone[..., None], 0, 1) * alpha[..., None]).astype(np.float32)
    return _turned(rgb, alpha, x_px, y_px, angle_deg, frame)


def _turned(rgb: Floats, alpha: Floats, x_px: float, y_px: float, angle_deg: float, frame: tuple[int, int]) -> Stamp:
    """A flat piece turned about its middle and cut to the frame."""
    tall, w = alpha.shape
    c, s = np.cos(np.deg2rad(angle_deg)), np.sin(np.deg2rad(angle_deg))
    half_x, half_y = (abs(w * c) + abs(tall * s)) / 2, (abs(w * s) + abs(tall * c)) / 2
    x0, y0 = int(np.clip(x_px - half_x, 0, frame[1] - 1)), int(np.clip(y_px - half_y, 0, frame[0] - 1))
    x1, y1 = int(np.clip(x_px + half_x, x0 + 1, frame[1])), int(np.clip(y_px + half_y, y0 + 1, frame[0]))
    move = np.array([[c, -s, 0], [s, c, 0]])
    move[:, 2] = np.array([x_px - x0, y_px - y0]) - move[:, :2] @ np.array([w / 2, tall / 2])
    size = (x1 - x0, y1 - y0)
    turned = [np.asarray(cv2.warpAffine(p, move, size, flags=cv2.INTER_LINEAR), np.float32) for p in (rgb, alpha)]
    return Stamp(x0, y0, turned[0], turned[1], turned[1])


@dataclass(frozen=True)
class Tuft:
    """What a floret's surface is made of: ready stamps of buds or curd grains centred on (0, 0), and their size."""

    stamps: tuple[Stamp, ...]
    size_px: float
    curd: bool


def tuft(rng: Rng, curd: bool, px_per_mm: float) -> Tuft:
    """Buds of broccoli, or grains of cauliflower curd, all of one head's colours."""
    size = float(rng.uniform(0.7, 1.4) if not curd else rng.uniform(0.9, 2.0)) * px_per_mm
    greens: tuple[Colour, ...] = ((0.3, 0.42, 0.2), (0.36, 0.47, 0.3), (0.42, 0.5, 0.22))
    creams: tuple[Colour, ...] = ((0.86, 0.8, 0.61), (0.88, 0.84, 0.7), (0.84, 0.75, 0.52))
    own = toned(rng, (creams if curd else greens)[int(rng.integers(3))], 0.08)
    stamps = []
    edge = float(rng.uniform(0.05, 0.3) if curd else rng.uniform(0.25, 0.75))
    for _ in range(20):
        r = size / 2 * float(rng.uniform(0.75, 1.3))
        sheet = Sheet.blank(0, 0, r * 1.7)
        tint = toned(rng, own, 0.05 if curd else 0.12)
        outline = lumpy(rng, r, 0.09 if curd else 0.06, float(rng.uniform(1, 1.35)))
        bud = sheet.polygon(sheet.fine_px(outline))
        sheet.wash(rng, bud, tint, 0.96, edge, 0.15 if curd else 0.25, soft=r * 0.09 * sheet.fine if curd else 0.6)
        up = sheet.polygon(sheet.fine_px(outline * 0.55 + rng.normal(0, r * 0.14, 2)))
        pale = mixed(tint, (0.95, 0.92, 0.78) if curd else (0.68, 0.76, 0.46), float(rng.uniform(0.15, 0.6)))
        sheet.wash(rng, up, pale, float(rng.uniform(0.3, 0.8)), 0.0, 0.35, soft=r * 0.16 * sheet.fine)
        if not curd:
            a = rng.uniform(0, np.pi)
            step = np.array([np.cos(a), np.sin(a)]) * r * 0.6
            seams = [np.stack([-step, step * rng.uniform(0, 1)]), np.stack([step[::-1] * 0.8, -step[::-1] * 0.1])]
            seam = sheet.lines([sheet.fine_px(one) for one in seams], 2.0, 1.2)
            sheet.wash(rng, seam, mixed(tint, (0.1, 0.16, 0.06), 0.7), float(rng.uniform(0.2, 0.7)))
        stamps.append(sheet.stamp())
    return Tuft(tuple(stamps), size, curd)


def put(board: Board, one: Stamp, x_px: float, y_px: float, tone: float, shadow: float = 0.0) -> None:
    """Lay a ready stamp centred on (0, 0) somewhere else, as produce."""
    moved = replace(one, x0_px=one.x0_px + round(x_px), y0_px=one.y0_px + round(y_px))
    board.lay(moved, PRODUCE, tone, shadow)


def floret(board: Board, rng: Rng, made_of: Tuft, x_px: float, y_px: float, mm: float) -> None:
    """An opened floret: stalks that fan out from a cut foot to knobs of buds, lit from one side and dim between the knobs."""
    frame = board.owner.shape[0], board.owner.shape[1]
    way, reach = rng.uniform(0, 2 * np.pi), float(rng.uniform(7, 17)) * mm
    fan, from_above = float(rng.uniform(0.5, 1.2)), bool(rng.random() < 0.35)
    foot = np.array([x_px - np.cos(way) * reach * 0.6, y_px - np.sin(way) * reach * 0.6])
    pale: Colour = (0.84, 0.84, 0.7) if made_of.curd else (0.64, 0.72, 0.42)
    stalk = toned(rng, pale, 0.08)
    knobs = []
    for _ in range(int(rng.integers(9, 17))):
        a = way + rng.uniform(-fan, fan)
        far = reach * (rng.uniform(0.8, 1.15) if not from_above else rng.uniform(0.2, 1.0))
        knobs.append((foot[0] + np.cos(a) * far, foot[1] + np.sin(a) * far, float(rng.uniform(1.5, 3.3)) * mm))
    for x, y, r in knobs:
        long = float(np.hypot(x - foot[0], y - foot[1])) + 10
        look = StripLook(long, r * float(rng.uniform(0.5, 0.9)), toned(rng, stalk, 0.04), mixed(stalk, (0.4, 0.5, 0.25), 0.25),
                         3.0, 0.04, (0.92, 0.9), float(rng.uniform(-0.6, 0.1)), True)  # fmt: skip
        tilt = float(np.rad2deg(np.arctan2(y - foot[1], x - foot[0])))
        board.lay(strip(rng, look, (x + foot[0]) / 2, (y + foot[1]) / 2, tilt, frame), STALK, 1.0, 0.6)
    lit = rng.uniform(0, 2 * np.pi)
    for x, y, r in knobs:
        if not (-r < x < frame[1] + r and -r < y < frame[0] + r):
            continue
        _knob(board, rng, made_of, (x, y, r), float(lit))


def _knob(board: Board, rng: Rng, made_of: Tuft, at: tuple[float, float, float], lit_rad: float) -> None:
    """One knob: a dim wash, then buds from its rim to its middle, each tone by its place on the dome."""
    x, y, r = at
    first = Sheet.blank(x, y, r * 1.3, 1)
    base: Colour = (0.72, 0.66, 0.48) if made_of.curd else (0.2, 0.28, 0.12)
    round_it = first.fine_px(lumpy(rng, r * 0.86, 0.08) + np.array([x, y]))
    first.wash(rng, first.polygon(round_it), toned(rng, base, 0.1), 0.95, 0.3, 0.4)
    board.lay(first.stamp(), PRODUCE, 1.0, 0.7)
    step = made_of.size_px * (0.62 if made_of.curd else 0.8)
    n = max(int((2.2 if made_of.curd else 2.7) * (r / step) ** 2), 4)
    turn = np.arange(n) * 2.39996 + rng.uniform(0, 6.3)
    far = np.sqrt((np.arange(n)[::-1] + 0.5) / n) * r * wavy(rng, turn, 0.09, (1, 2, 3, 4))
    spots = np.stack([far * np.cos(turn), far * np.sin(turn)], axis=1) + rng.normal(0, step * 0.22, (n, 2))
    deep = float(rng.uniform(0.1, 0.4)) * (0.5 if made_of.curd else 1.0)
    for dx, dy in spots:
        share = min(float(np.hypot(dx, dy)) / r, 1.0)
        side = (dx * np.cos(lit_rad) + dy * np.sin(lit_rad)) / r
        tone = 1.06 - deep * share**2 + 0.12 * side + float(rng.normal(0, 0.05))
        put(board, made_of.stamps[int(rng.integers(len(made_of.stamps)))], x + dx, y + dy, tone)


def weathered(board: Board, rng: Rng, strength: float) -> None:
    """Uneven pigment over all produce: noise of several scales, warped by noise."""
    h, w = board.owner.shape
    flow = warped(rng, h // 2 + 1, w // 2 + 1, float(rng.uniform(12, 40)), 5, 12.0)
    tone = 1 + strength * np.asarray(cv2.resize(flow, (w, h)), np.float32) * (board.owner < 0)
    board.picture[...] *= tone[..., None]


def leaves(board: Board, rng: Rng, mm: float) -> None:
    """Layers of cut scallion over each other, white to green, roughly along one way or strewn."""
    h, w = board.owner.shape
    area_mm2 = h * w / mm**2
    way, strewn = rng.uniform(0, 180), bool(rng.random() < 0.5)
    white, green = toned(rng, (0.92, 0.93, 0.82), 0.04), toned(rng, (0.32, 0.5, 0.18), 0.15)
    for _ in range(int(np.clip(area_mm2 / 420 * rng.uniform(0.7, 1.5), 2, 18))):
        near, far = sorted(rng.uniform(0, 1, 2))
        width_mm, length_mm = float(rng.uniform(3.5, 12)), float(rng.uniform(14, 48))
        look = StripLook(
            length_mm * mm, width_mm * mm, toned(rng, mixed(white, green, float(near**1.4)), 0.05),
            toned(rng, mixed(white, green, float(far**0.8)), 0.05), width_mm * float(rng.uniform(1.4, 3.0)),
            float(rng.uniform(0.02, 0.1)), (float(rng.uniform(0.55, 0.85)), float(rng.uniform(0.7, 0.95))),
            float(rng.uniform(-0.3, 0.3)), bool(rng.random() < 0.75),
        )  # fmt: skip
        angle = float(rng.uniform(0, 360)) if strewn else float(way + rng.normal(0, 14) + 180 * rng.integers(2))
        board.lay(strip(rng, look, rng.uniform(0, w), rng.uniform(0, h), angle, (h, w)), PRODUCE, 1.0, 0.7)
    for _ in range(int(rng.integers(0, 5))):
        x, y, r = float(rng.uniform(0, w)), float(rng.uniform(0, h)), float(rng.uniform(1.5, 4.5)) * mm
        board.lay(_ring(rng, x, y, r, mixed(white, green, float(rng.uniform(0.1, 1)))), PRODUCE, 1.0, 0.7)


def _ring(rng: Rng, x_px: float, y_px: float, r_px: float, colour: Colour) -> Stamp:
    """A slice across a scallion: rings in each other, dented."""
    sheet = Sheet.blank(x_px, y_px, r_px * 1.6, 2)
    turn = np.linspace(0, 2 * np.pi, 32)
    dents = wavy(rng, turn, 0.06, (2, 3))
    for share in np.arange(1.0, rng.uniform(0.1, 0.6), -rng.uniform(0.16, 0.3)):
        r = (r_px * share * dents)[:, None]
        line = np.stack([np.cos(turn), np.sin(turn)], axis=1) * r + np.array([x_px, y_px])
        wide = r_px * float(rng.uniform(0.06, 0.11)) * sheet.fine
        loop = sheet.ribbon(sheet.fine_px(line), np.full(32, wide))
        sheet.wash(rng, loop, toned(rng, colour, 0.06), float(rng.uniform(0.5, 0.9)), 0.0, 0.3)
    return sheet.stamp()


def scrap(board: Board, rng: Rng, x_px: float, y_px: float, gap_px: float, mm: float) -> None:
    """A small torn strip of leaf whose long edge lies `gap_px` beside a point; under 0: over it."""
    tint = mixed((0.9, 0.92, 0.8), toned(rng, (0.36, 0.52, 0.2)), float(rng.random()))
    dense, wide, angle = float(rng.uniform(0.5, 0.95)), float(rng.uniform(1.0, 3.0)) * mm, float(rng.uniform(0, 360))
    far, way = wide / 2 + gap_px, np.deg2rad(angle + 90)
    look = StripLook(
        float(rng.uniform(3, 10)) * mm, wide, tint, toned(rng, tint), float(rng.uniform(3, 8)),
        float(rng.uniform(0.02, 0.1)), (dense, dense), float(rng.uniform(-0.4, 0.4)), bool(rng.random() < 0.4),
    )  # fmt: skip
    h, w = board.owner.shape
    placed = strip(rng, look, x_px + np.cos(way) * far, y_px + np.sin(way) * far, angle, (h, w))
    board.lay(placed, PRODUCE, 1.0, 0.7)
