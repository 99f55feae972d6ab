"""Whole shots: the ground, what lies on it, insects among bits, and what is true of each insect."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from vision.render.hands import PX_PER_MM
from vision.render.hands.seen import HandDrawn
from vision.render.hands.washed import bits
from vision.render.hands.washed.bits import Painter
from vision.render.hands.washed.board import GROUND, PRODUCE, STALK, Board, Light
from vision.render.hands.washed.grounds import cloth, developed, panel, water
from vision.render.hands.washed.long_bodied import paint
from vision.render.hands.washed.plans import Plan, planned
from vision.render.hands.washed.plant_bits import SORTS, mix, stain
from vision.render.hands.washed.produce import Tuft, floret, leaves, put, scrap, tuft, weathered
from vision.render.hands.washed.sheet import Colour, Floats, Rng, mixed

_SEEDS = {"water": 11, "cloth": 12, "broccoli": 13, "cauliflower": 14, "scallion": 15}
_EDGE_PX = 5.0


def draw(kind: str, seed: int, insects: int, width_px: int, height_px: int) -> HandDrawn:
    """A shot of `kind` ("water", "cloth", "broccoli", "cauliflower" or "scallion") with so many insects; the same
    arguments give the same bytes."""
    rng = np.random.default_rng([_SEEDS[kind], seed])
    mm = PX_PER_MM
    ground, dark = _ground(rng, kind, height_px, width_px)
    board = Board(ground, np.zeros((height_px, width_px), np.int16), _light(rng, kind, dark), mm)
    made_of = _produce(board, rng, kind)
    many = float(rng.uniform(0.5, 1.5)) * height_px * width_px / 1600 / 1200
    sorts = mix(rng, (bits.bubble, stain) if kind == "cloth" else ())
    _strew(board, rng, sorts, int(145 * many) + 8)
    if kind == "cloth":
        _strew(board, rng, ((bits.fibre, bits.drop), [0.7, 0.3]), int(35 * many) + 3)
    _dust(board, rng, int(260 * many) + 10)
    for _ in range(insects):
        _settle(board, rng, kind, made_of)
    _strew(board, rng, sorts, int(45 * many) + 4)
    shot = developed(rng, board.picture)
    finished: Floats = shot.astype(np.float32) / np.float32(255)
    rows = tuple(board.row(number, finished) for number in range(1, insects + 1))
    return HandDrawn(shot, rows, mm)


def _ground(rng: Rng, kind: str, h: int, w: int) -> tuple[Floats, bool]:
    if kind == "water":
        return water(rng, h, w, PX_PER_MM), False
    if kind == "cloth":
        return cloth(rng, h, w, PX_PER_MM)
    return panel(rng, h, w), False


def _light(rng: Rng, kind: str, dark: bool) -> Light:
    """From below alone, what lies on the panel is dark and casts nothing; with a lamp above it is brighter and has a shadow."""
    above = dark or bool(rng.random() < (0.75 if kind == "cloth" else 0.5))
    if not above:
        return Light(float(rng.uniform(0.55, 0.9)), (0.0, 0.0), float(rng.uniform(1.5, 4)), float(rng.uniform(0, 0.2)))
    a, far = rng.uniform(0, 2 * np.pi), rng.uniform(1.5, 6)
    shift = float(np.cos(a) * far), float(np.sin(a) * far)
    return Light(float(rng.uniform(0.85, 1.1)), shift, float(rng.uniform(1.2, 4)), float(rng.uniform(0.12, 0.45)))


def _produce(board: Board, rng: Rng, kind: str) -> Tuft | None:
    """Lay the produce, if this kind has any; gives what florets are made of."""
    h, w = board.owner.shape
    if kind == "scallion":
        leaves(board, rng, PX_PER_MM)
        weathered(board, rng, float(rng.uniform(0.01, 0.06)))
    if kind not in ("broccoli", "cauliflower"):
        return None
    made_of = tuft(rng, kind == "cauliflower", PX_PER_MM)
    count = max(round(h * w / PX_PER_MM**2 / 800 * rng.uniform(0.6, 1.4)), 1)
    for _ in range(count):
        floret(board, rng, made_of, rng.uniform(0.05, 0.95) * w, rng.uniform(0.05, 0.95) * h, PX_PER_MM)
    weathered(board, rng, float(rng.uniform(0.03, 0.07 if made_of.curd else 0.14)))
    if kind == "cauliflower":
        for _ in range(int(rng.integers(3, 25) * h * w / 1600 / 1200) + 1):
            x, y = _somewhere(board, rng, PRODUCE)
            board.lay(stain(rng, x, y, PX_PER_MM), PRODUCE)
    return made_of


def _somewhere(board: Board, rng: Rng, wanted: int) -> tuple[float, float]:
    """A place in the frame that belongs to `wanted`, if one is found soon."""
    h, w = board.owner.shape
    x, y = 0.0, 0.0
    for _ in range(24):
        x, y = float(rng.uniform(_EDGE_PX, w - _EDGE_PX)), float(rng.uniform(_EDGE_PX, h - _EDGE_PX))
        if board.owner[int(y), int(x)] == wanted:
            break
    return x, y


def _strew(board: Board, rng: Rng, sorts: tuple[tuple[Painter, ...], list[float]], count: int) -> None:
    """Lay bits about. A bit that would hide much of an insect is mostly left out."""
    h, w = board.owner.shape
    for one in rng.choice(len(sorts[0]), count, p=sorts[1]):
        x, y = float(rng.uniform(0, w)), float(rng.uniform(0, h))
        size = float(rng.choice([0.6, 1.0, 1.0, 1.35]))
        if rng.random() < 0.85 and _crowded(board, x, y, 18):
            continue
        stamp = sorts[0][int(one)](rng, x, y, board.px_per_mm * size)
        tone = board.light.tone * float(rng.uniform(0.85, 1.1))
        board.lay(stamp, _under(board, x, y), tone, float(rng.uniform(0.2, 1)))


def _crowded(board: Board, x_px: float, y_px: float, round_px: int) -> bool:
    """Whether an insect lies within so many pixels."""
    x, y = int(x_px), int(y_px)
    return bool((board.owner[max(y - round_px, 0) : y + round_px, max(x - round_px, 0) : x + round_px] > 0).any())


def _under(board: Board, x_px: float, y_px: float) -> int:
    return min(int(board.owner[int(y_px), int(x_px)]), GROUND)


def _dust(board: Board, rng: Rng, count: int) -> None:
    """Grains of a pixel or three, more of them in some places."""
    h, w = board.owner.shape
    heaps = rng.uniform(0, 1, (4, 2)) * (w, h)
    for _ in range(count):
        x, y = rng.uniform(0, 1, 2) * (w, h)
        if rng.random() < 0.4:
            x, y = heaps[int(rng.integers(4))] + rng.normal(0, 0.12 * h, 2)
        x, y = float(np.clip(x, 0, w - 1)), float(np.clip(y, 0, h - 1))
        board.lay(SORTS[0](rng, x, y, board.px_per_mm), _under(board, x, y), board.light.tone)


def _settle(board: Board, rng: Rng, kind: str, made_of: Tuft | None) -> None:
    """Paint one insect where there is room; among produce something may lie partly over it."""
    plan = planned(rng, kind)
    has_produce = kind not in ("water", "cloth")
    wanted = int(rng.choice([PRODUCE, STALK, GROUND], p=[0.5, 0.15, 0.35])) if has_produce else GROUND
    x, y = _somewhere(board, rng, wanted)
    for _ in range(14):
        if not _crowded(board, x, y, int(plan.length_mm * board.px_per_mm * 0.5) + 10):
            break
        x, y = _somewhere(board, rng, wanted)
    under = _under(board, x, y)
    surface = "produce" if under < 0 else ("panel" if has_produce else kind)
    plan = _disguised(board, rng, plan, x, y)
    painted = paint(rng, plan, x, y, float(rng.uniform(0, 360)), board.px_per_mm)
    tone = float(rng.uniform(0.85, 1.1)) * (1.0 if under < 0 else board.light.tone)
    board.lay_insect(painted, tone, float(rng.uniform(0.3, 1.0)), surface)
    if under == PRODUCE and rng.random() < 0.5:
        _cover(board, rng, plan, made_of, x, y)


def _disguised(board: Board, rng: Rng, plan: Plan, x_px: float, y_px: float) -> Plan:
    """Some insects take on the colour of what they lie on, or let it shine through, as soaked ones do."""
    if rng.random() > 0.38:
        return plan
    x, y = int(x_px), int(y_px)
    near = board.picture[max(y - 15, 0) : y + 15, max(x - 15, 0) : x + 15].mean(axis=(0, 1))
    colour: Colour = (float(near[0]), float(near[1]), float(near[2]))
    share = float(rng.uniform(0.3, 0.85 if plan.length_mm > 1.0 else 0.6))
    thinner = 1.0 if plan.opaque < 0.6 else float(rng.uniform(0.6, 1.0))
    return replace(plan, colour=mixed(plan.colour, colour, share), opaque=plan.opaque * thinner)


def _cover(board: Board, rng: Rng, plan: Plan, made_of: Tuft | None, x: float, y: float) -> None:
    """Something of the produce over one side of an insect."""
    half = plan.width_mm * board.px_per_mm / 2
    way = rng.uniform(0, 2 * np.pi)
    if made_of is None:
        scrap(board, rng, x, y, half * float(rng.uniform(-0.6, 1.5)), board.px_per_mm)
        return
    for _ in range(int(rng.integers(1, 3))):
        far = made_of.size_px * 0.68 + half * rng.uniform(-0.7, 0.9)
        a = way + rng.normal(0, 0.5)
        one = made_of.stamps[int(rng.integers(len(made_of.stamps)))]
        put(board, one, x + np.cos(a) * far, y + np.sin(a) * far, float(rng.uniform(0.8, 1.1)), 0.7)
