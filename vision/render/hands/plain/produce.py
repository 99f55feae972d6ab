"""Produce on the panel: florets as fields of shaded discs on stalks, scallion leaves as long striped bands."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.render.hands import PX_PER_MM
from vision.render.hands.plain.anatomy import Colour, pick, times, varied
from vision.render.hands.plain.canvas import Canvas, Ink, spots
from vision.render.hands.plain.clutter import stain
from vision.render.hands.plain.outlines import moved, rough, tube, wandering

_BUD_FORMS = 14


@dataclass(frozen=True)
class Buds:
    """How the discs of one scene look: a few forms, each `shade` (n, n) and `cover` (n, n), the colours at foot and top.

    `edge_tone` is how light the edge of a head is beside its middle, 0..1.
    """

    shades: tuple[NDArray[np.float32], ...]
    covers: tuple[NDArray[np.float32], ...]
    low: Colour
    high: Colour
    edge_tone: float

    def put(self, canvas: Canvas, x_px: float, y_px: float, height: float, tone: float) -> None:
        """One disc over whatever is there; `height` 0..1 goes from the colour at the foot to that at the top."""
        which = int(canvas.rng.integers(len(self.shades)))
        shade, cover = self.shades[which], self.covers[which]
        side = shade.shape[0]
        left, top = round(x_px) - side // 2, round(y_px) - side // 2
        h, w = canvas.labels.shape
        x0, y0, x1, y1 = max(left, 0), max(top, 0), min(left + side, w), min(top + side, h)
        if x1 <= x0 or y1 <= y0:
            return
        part = slice(y0 - top, y1 - top), slice(x0 - left, x1 - left)
        window = slice(y0, y1), slice(x0, x1)
        colour = np.array([(a + height * (b - a)) * tone for a, b in zip(self.low, self.high, strict=True)], np.float32)
        alpha, under = cover[part], canvas.pixels[window]
        own = shade[part][..., None] * colour
        own -= under
        own *= alpha[..., None]
        under += own
        inside = alpha > 0.5
        np.copyto(canvas.labels[window], 0, where=inside)
        np.copyto(canvas.produce[window], 2, where=inside)


def buds(pale: bool, rng: np.random.Generator, heated: bool) -> Buds:
    """The discs of a scene: green ones with a seam and a glint, or pale grains of curd."""
    mean_px = float(rng.uniform(0.65, 1.0) if pale else rng.uniform(0.8, 1.4)) * PX_PER_MM
    shades, covers = [], []
    for _ in range(_BUD_FORMS):
        wide = mean_px * float(np.clip(rng.normal(1, 0.18), 0.6, 1.5))
        side = int(wide) + 7
        axis = np.arange(side, dtype=np.float32) - np.float32(side // 2)
        x, y = np.meshgrid(axis, axis)
        turn, squash = rng.uniform(0, np.pi), rng.uniform(0.82, 1.0)
        u, v = x * np.cos(turn) + y * np.sin(turn), (y * np.cos(turn) - x * np.sin(turn)) / squash
        far = np.hypot(u, v) / (wide / 2)
        edge = rng.uniform(0.06, 0.14) if pale else rng.uniform(0.25, 0.42)
        shade = 1.0 - edge * np.clip(far, 0, 1.2) ** 3
        shade += (0.05 if pale else 0.14) * np.exp(-((x + 0.2 * wide) ** 2 + (y + 0.2 * wide) ** 2) / (0.2 * wide) ** 2)
        if not pale:
            shade -= 0.22 * np.exp(-((u / (0.06 * wide + 0.5)) ** 2)) * (far < 0.6)
        shades.append(shade.astype(np.float32))
        covers.append(np.clip((1 - far) * wide / 2 + 0.5, 0, 1).astype(np.float32))
    if pale:
        low = varied((0.93, 0.89, 0.77), rng, 0.012)
        high = varied((0.99, 0.97, 0.89) if rng.random() < 0.6 else (0.97, 0.92, 0.77), rng, 0.012)
    else:
        low = pick([(0.30, 0.44, 0.18), (0.37, 0.50, 0.22), (0.26, 0.40, 0.24)], rng)
        high = pick([(0.42, 0.57, 0.26), (0.52, 0.63, 0.30), (0.42, 0.55, 0.38)], rng)
    fade = (0.95 if pale else 0.85) if heated else 1.0
    edge_tone = float(rng.uniform(0.9, 0.98) if pale else rng.uniform(0.78, 0.94))
    return Buds(tuple(shades), tuple(covers), times(low, fade), times(high, fade), edge_tone)


def florets(canvas: Canvas, pale: bool, forms: Buds, rng: np.random.Generator) -> None:
    """A few opened pieces: a stalk that forks, a head of discs at the end of every branch."""
    h, w = canvas.labels.shape
    fleshes: list[Colour] = (
        [(0.90, 0.88, 0.74), (0.84, 0.86, 0.68)] if pale else [(0.66, 0.74, 0.46), (0.58, 0.68, 0.38)]
    )
    flesh = varied(fleshes[int(rng.integers(2))], rng, 0.015)
    share, target = 0.0, rng.uniform(0.3, 0.55)
    for _ in range(14):
        if share > target:
            break
        size = float(rng.uniform(7, 15)) * PX_PER_MM * min(1.0, min(h, w) / 900)
        _piece(canvas, forms, flesh, rng.uniform(0, w), rng.uniform(0, h), size, rng)
        share = float((canvas.produce[::8, ::8] > 0).mean())
    spoiled: list[Colour] = [(0.48, 0.32, 0.14), (0.60, 0.46, 0.24), (0.34, 0.24, 0.12)]
    for x, y in on_produce(canvas, int(rng.integers(4, 26) if pale else rng.integers(2, 10)), rng):
        canvas.lay(stain(rng, spoiled), x, y, rng.uniform(0, 360))


def _piece(
    canvas: Canvas, forms: Buds, flesh: Colour, x: float, y: float, size: float, rng: np.random.Generator
) -> None:
    turn = rng.uniform(0, 360)
    stalk = wandering(1.1 * size, 0.12, rng) - [0.55 * size, 0.0]
    half = np.linspace(rng.uniform(0.1, 0.2), 0.16, len(stalk)) * size
    # Without its first round end: the stalk is cut straight.
    cut = tube(stalk, half)[:-5]
    canvas.fill(moved(cut, x, y, turn), Ink(flesh, 0.97, rng.uniform(0.1, 0.3), 0.03), produce=True)
    heads = []
    for lean in np.linspace(-1, 1, int(rng.integers(4, 8))):
        way = np.deg2rad(lean * rng.uniform(55, 85) + rng.normal(0, 8))
        reach = size * rng.uniform(0.45, 0.95)
        end = np.array([np.cos(way), np.sin(way)]) * reach
        bow = np.linspace(0, 1, 10)[:, None]
        line = bow * end + [[0.0, 0.0]] + np.sin(np.pi * bow) * rng.normal(0, 0.05, 2) * size
        thick = np.linspace(0.1, rng.uniform(0.05, 0.1), 10) * size
        canvas.fill(
            moved(tube(line, thick), x, y, turn), Ink(varied(flesh, rng, 0.012), 0.97, 0.25, 0.03), produce=True
        )
        heads.append((end, size * rng.uniform(0.24, 0.42)))
    for number in rng.permutation(len(heads)):
        end, radius = heads[int(number)]
        centre = moved(end[None], x, y, turn)[0]
        _head(canvas, forms, float(centre[0]), float(centre[1]), radius, rng)


def _head(canvas: Canvas, forms: Buds, x: float, y: float, radius: float, rng: np.random.Generator) -> None:
    """A round field of discs, from the outside in, the middle lighter as on a dome."""
    step = 0.62 * float(np.mean([form.shape[0] - 7 for form in forms.shades]))
    count = max(int(1.05 * np.pi * radius**2 / step**2), 5)
    # What lies between the discs is deep inside, never the panel behind.
    deep = times(forms.low, forms.edge_tone**2)
    inner = moved(rough(1.75 * radius, 1.75 * radius, 0.08, rng), x, y, 0.0)
    canvas.fill(inner, Ink(deep, 1.0, mottle=0.06), produce=True)
    far = np.sqrt(rng.uniform(0, 1, count))
    turn = rng.uniform(0, 2 * np.pi, count)
    lobes = 1 + 0.12 * np.sin(3 * turn + rng.uniform(0, 6)) + 0.08 * np.sin(5 * turn + rng.uniform(0, 6))
    tones = rng.normal(1.0, 0.02 + 0.25 * (1 - forms.edge_tone), count)
    for number in np.argsort(-far + rng.normal(0, 0.12, count)):
        reach = far[number] * radius * lobes[number]
        height = float(np.clip(1.05 - far[number] ** 2 + 0.1 * np.sin(turn[number] * 2), 0, 1))
        tone = float(tones[number] * (forms.edge_tone + (1 - forms.edge_tone) * np.sqrt(max(1 - far[number] ** 2, 0))))
        forms.put(
            canvas, x + reach * float(np.cos(turn[number])), y + reach * float(np.sin(turn[number])), height, tone
        )


def leaves(canvas: Canvas, rng: np.random.Generator, heated: bool) -> None:
    """Cut layers of scallion across the panel, some over others."""
    h, w = canvas.labels.shape
    share, target, main = 0.0, rng.uniform(0.35, 0.65), rng.uniform(0, 180)
    for _ in range(10):
        if share > target:
            break
        length = float(rng.uniform(0.5, 1.1)) * max(h, w)
        wide = float(rng.uniform(6, 15)) * PX_PER_MM * min(1.0, min(h, w) / 700)
        turn = main + rng.normal(0, 25) + (180 if rng.random() < 0.5 else 0)
        _leaf(canvas, rng.uniform(0, w), rng.uniform(0, h), turn, length, wide, rng, heated)
        share = float((canvas.produce[::8, ::8] > 0).mean())
    marks: list[Colour] = [(0.60, 0.52, 0.28), (0.36, 0.30, 0.16), (0.84, 0.86, 0.74), (0.30, 0.40, 0.20)]
    for x, y in on_produce(canvas, int(rng.integers(8, 30)), rng):
        canvas.lay(stain(rng, marks), x, y, main + rng.normal(0, 10))


def _leaf(
    canvas: Canvas,
    x: float,
    y: float,
    turn_deg: float,
    length: float,
    wide: float,
    rng: np.random.Generator,
    heated: bool,
) -> None:
    """A band (px) bowed a little: white at its foot, green at its tip, veins along it, cut off straight at both ends."""
    bow = rng.normal(0, 0.12) / length
    along = np.linspace(-0.5, 0.5, 40) * length
    line = np.stack([along, bow * along**2], axis=1)
    half = 0.5 * wide * np.interp(np.linspace(0, 1, 40), [0, 0.5, 1], [rng.uniform(0.75, 1), 1, rng.uniform(0.7, 1)])
    outline = moved(tube(line, half)[[*range(40), *range(45, 85)]], x, y, turn_deg)
    shape = np.asarray(canvas.labels.shape[::-1])
    low = np.maximum(np.floor(outline.min(axis=0)).astype(int) - 2, 0)
    high = np.minimum(np.ceil(outline.max(axis=0)).astype(int) + 3, shape)
    if (high <= low).any():
        return
    window = slice(int(low[1]), int(high[1])), slice(int(low[0]), int(high[0]))
    w, h = (int(side) for side in high - low)
    mask = np.zeros((h, w), np.uint8)
    cv2.fillPoly(mask, [np.rint((outline - low) * 16).astype(np.int32)], 255, lineType=cv2.LINE_AA, shift=4)
    cos, sin = np.float32(np.cos(np.deg2rad(turn_deg))), np.float32(np.sin(np.deg2rad(turn_deg)))
    xs = np.arange(w, dtype=np.float32)[None, :] + np.float32(low[0] - x)
    ys = np.arange(h, dtype=np.float32)[:, None] + np.float32(low[1] - y)
    u = xs * cos + ys * sin
    v = ys * cos - xs * sin - np.float32(bow) * u * u
    foot, start = rng.uniform(-0.6, 0.3), rng.uniform(0.1, 0.35)
    green = np.clip((u / np.float32(length) - np.float32(foot)) / np.float32(start), 0, 1)[..., None]
    fade = 0.88 if heated else 1.0
    white = np.array(times(varied((0.86, 0.88, 0.72), rng, 0.02), fade), np.float32)
    leaf = np.array(times(pick([(0.42, 0.58, 0.24), (0.34, 0.50, 0.24), (0.56, 0.68, 0.34)], rng), fade), np.float32)
    # Veins: one row of tones across the band, stretched along it.
    across = np.linspace(-1, 1, 512)
    pitch = rng.uniform(0.35, 0.9) * PX_PER_MM
    ribs = np.cos(2 * np.pi * across * wide / 2 / pitch + 1.5 * np.cumsum(rng.normal(0, 0.12, 512)))
    tones = (
        1 + rng.uniform(0.02, 0.09) * np.sign(ribs) * np.abs(ribs) ** 0.6 + rng.normal(0, 0.012, 512) - 0.14 * across**4
    )
    place = np.clip((v / np.float32(wide / 2) + 1) * np.float32(255.5), 0, 511).astype(np.int32)
    tone = tones.astype(np.float32)[place] * (1 + np.float32(0.018) * spots(rng, h, w, 40))
    colour = (white + green * (leaf - white)) * tone[..., None]
    alpha = mask.astype(np.float32)[..., None] * np.float32(rng.uniform(0.84, 0.97) / 255)
    canvas.pixels[window] += alpha * (colour - canvas.pixels[window])
    canvas.produce[window][mask > 127] = 1


def on_produce(canvas: Canvas, count: int, rng: np.random.Generator) -> list[tuple[float, float]]:
    """Up to `count` places on produce, px."""
    rows, columns = np.nonzero(canvas.produce[::4, ::4])
    if not len(rows):
        return []
    chosen = rng.integers(0, len(rows), count)
    return [(float(4 * columns[c]), float(4 * rows[c])) for c in chosen]
