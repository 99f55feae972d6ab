"""Florets grown onto a pile: each a stalk that forks to some heads, each head a dome of buds. Sizes and colours are from memory."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.render.hands.pieced.buds import SIZES, TURNS, Buds, bed, buds, stalk
from vision.render.hands.pieced.pile import Pile, empty_pile
from vision.render.hands.pieced.textures import pick

_Colours = list[tuple[int, int, int]]
_GREENS: _Colours = [(92, 116, 58), (84, 108, 62), (104, 124, 64), (84, 106, 82), (88, 106, 92)]
_OFF_GREENS: _Colours = [(158, 158, 78), (172, 168, 92), (118, 98, 60), (96, 80, 50), (132, 142, 70)]
_CREAMS: _Colours = [(234, 224, 194), (230, 217, 180), (240, 233, 212), (226, 213, 176)]
_OFF_CREAMS: _Colours = [(170, 128, 78), (196, 160, 104)]
_GREEN_STALKS: _Colours = [(172, 190, 124), (150, 172, 100), (190, 202, 146)]
_PALE_STALKS: _Colours = [(222, 224, 188), (212, 220, 176)]


@dataclass(frozen=True)
class _Plant:
    """What all florets of a shot share."""

    curd: bool
    buds: Buds
    odd: float
    """Share of buds that are yellow or brown."""

    @property
    def colours(self) -> tuple[_Colours, _Colours, _Colours]:
        """Of buds, of odd buds, of stalks."""
        return (_CREAMS, _OFF_CREAMS, _PALE_STALKS) if self.curd else (_GREENS, _OFF_GREENS, _GREEN_STALKS)


@dataclass(frozen=True)
class _Head:
    """A dome of buds: middle, radius, how high its rim stands, and its buds' colour."""

    x: float
    y: float
    radius: float
    foot: float
    colour: NDArray[np.float64]
    browned: bool


def grown(shape: tuple[int, int], curd: bool, rng: np.random.Generator) -> Pile:
    """Florets until they cover 42 to 78 % of the picture."""
    pile, plant = empty_pile(shape), _Plant(curd, buds(curd, rng), pick(rng, (0.01, 0.03, 0.09)))
    target = rng.uniform(0.42, 0.78)
    taken: list[tuple[float, float, float]] = []
    for _ in range(math.ceil(26 * max(1.0, shape[0] * shape[1] / 3e6))):
        if pile.covered() > target:
            break
        radius = rng.uniform(190, 400)
        for _ in range(30):
            x, y = rng.uniform(-60, shape[1] + 60), rng.uniform(-60, shape[0] + 60)
            if all(math.hypot(x - a, y - b) > 0.72 * (radius + r) for a, b, r in taken):
                break
        taken.append((x, y, radius))
        _floret(pile, plant, x, y, radius, rng)
    return pile


def _floret(pile: Pile, plant: _Plant, x: float, y: float, radius: float, rng: np.random.Generator) -> None:
    bud_colours, _, stalk_colours = plant.colours
    cut = rng.uniform(0, 2 * np.pi)
    way = np.array([np.cos(cut), np.sin(cut)])
    fork = np.array([x, y]) + radius * 0.75 * way
    colour = np.array(pick(rng, bud_colours), np.float64)
    heads = [_head(x, y, radius, cut, colour, rng) for _ in range(int(rng.integers(5, 11)))]
    end = fork + rng.uniform(0.3, 0.8) * radius * way
    stalks = [(end, fork, rng.uniform(26, 55), 4.0)]
    stalks += [(fork + rng.normal(0, 8, 2), np.array([h.x, h.y]), rng.uniform(9, 22), 6 + h.foot * 0.3) for h in heads]
    for start, stop, half, foot in stalks:
        made = stalk((start[0], start[1]), (stop[0], stop[1]), half, pile.height.shape, rng)
        if made is not None:
            shade = np.array(pick(rng, stalk_colours)) + rng.normal(0, 5, 3)
            pile.put(*made, foot, shade, bud=False)
    for head in heads:
        pile.put(bed(head.radius * 0.6, plant.buds, rng), head.x, head.y, head.foot + 3, colour * 0.62, bud=True)
        _dome(pile, plant, head, rng)


def _head(
    x: float, y: float, radius: float, cut: float, colour: NDArray[np.float64], rng: np.random.Generator
) -> _Head:
    """A head away from the side where the stalk lies."""
    way, off = cut + np.pi + rng.uniform(-1.9, 1.9), radius * rng.uniform(0.15, 0.85)
    own = colour * rng.uniform(0.9, 1.08) + rng.normal(0, 2.5, 3)
    at_x, at_y = x + off * np.cos(way), y + off * np.sin(way)
    return _Head(at_x, at_y, radius * rng.uniform(0.2, 0.42), rng.uniform(10, 60), own, bool(rng.random() < 0.12))


@dataclass(frozen=True)
class _Dome:
    """A head's form: size 0..1 of its buds, how oval it is and which way, how high it rises."""

    size: float
    oval: float
    way: float
    steep: float

    def out(self, dx: float, dy: float, head: _Head) -> float:
        """0 in the head's middle, 1 at its lobed rim."""
        c, s = math.cos(self.way), math.sin(self.way)
        u, v = dx * c + dy * s, (dy * c - dx * s) / self.oval
        angle = math.atan2(v, u)
        lobes = 0.13 * math.sin(3 * angle + head.foot) + 0.08 * math.sin(5 * angle + head.radius)
        return math.hypot(u, v) / (head.radius * (1 + lobes))


def _dome(pile: Pile, plant: _Plant, head: _Head, rng: np.random.Generator) -> None:
    """Buds in loose rows over the head; those outside the picture are left away."""
    dome = _Dome(rng.uniform(0.15, 0.75), rng.uniform(0.75, 1.0), rng.uniform(0, 3.1), rng.uniform(0.5, 1.0))
    apart = (8 + 10 * dome.size) * (1.35 if plant.curd else 1.5)
    reach = int(head.radius / apart) + 1
    high, wide = pile.height.shape
    for row in range(-reach, reach + 1):
        for column in range(-reach, reach + 1):
            jitter = rng.standard_normal(2) * apart * 0.17
            dx, dy = (column + 0.5 * (row % 2)) * apart + jitter[0], row * apart * 0.87 + jitter[1]
            out = dome.out(dx, dy, head)
            if out > 1 or rng.random() < 0.03 + 0.12 * (out > 0.85):
                continue
            if -25 < head.x + dx < wide + 25 and -25 < head.y + dy < high + 25:
                _set_bud(pile, plant, head, dome, (dx, dy, out), rng)


def _set_bud(
    pile: Pile, plant: _Plant, head: _Head, dome: _Dome, place: tuple[float, float, float], rng: np.random.Generator
) -> None:
    dx, dy, out = place
    wobble = rng.standard_normal(2)
    size = min(SIZES - 1, max(0, round(dome.size * (SIZES - 1) + 0.8 * wobble[0])))
    stretch = int(rng.random() < 0.5) + (out > 0.75)
    way = math.atan2(dy, dx) if out > 0.5 else rng.uniform(0, 6.3)
    bud = plant.buds.one(size, stretch, round(way / (math.pi / 6)) % TURNS, rng)
    foot = head.foot + dome.steep * head.radius * math.sqrt(max(0.0, 1 - out * out)) + 3.5 * wobble[1]
    if plant.curd:  # a curd swells and sinks
        foot += 9 * math.sin(dx / 21 + head.foot) * math.sin(dy / 19 + head.radius)
    pile.put(bud, head.x + dx, head.y + dy, foot, _bud_colour(plant, head, rng), bud=True)


def _bud_colour(plant: _Plant, head: _Head, rng: np.random.Generator) -> NDArray[np.float64]:
    curd, noise = plant.curd, rng.standard_normal(4)
    colour = head.colour * (1 + (0.03 if curd else 0.075) * noise[0]) + (1.2 if curd else 2.4) * noise[1:]
    if rng.random() < plant.odd * (0.5 if curd else 1) or (head.browned and rng.random() < 0.35):
        odd = np.array(pick(rng, plant.colours[1])) + rng.normal(0, 8, 3)
        colour = 0.35 * odd + 0.65 * head.colour if curd else odd
    return np.asarray(colour, np.float64)
