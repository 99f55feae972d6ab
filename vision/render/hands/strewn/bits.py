"""Dirt: shards, threads, seeds, torn leaf, drops and the like, made of the same matters as the animals."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.strewn.anatomy import guts, profile, rod
from vision.render.hands.strewn.coats import Coat, Rng, aged, colour, random_coat
from vision.render.hands.strewn.matter import Limb, Part, Sheet, Thing, render
from vision.render.hands.strewn.solids import Doubles, Facets, Solid, Spine, blob, join, make_spine, turn


def _pose(rng: Rng) -> Doubles:
    return turn(2, rng.uniform(0, 6.3)) @ turn(1, rng.normal(0, 0.3)) @ turn(0, rng.uniform(0, 6.3))


def _size(rng: Rng, low_mm: float, high_mm: float) -> float:
    """Between two lengths in mm, small ones likelier."""
    return float(low_mm * (high_mm / low_mm) ** rng.random())


def _pod(rng: Rng, length: float, slim: tuple[float, float], bend: float, lumps: float = 0.05) -> Spine:
    """A closed rounded thing along a spine."""
    uni = rng.uniform
    radius = profile(44, uni(0.35, 0.68), uni(0.4, 1.0), rng, lumps) * length * uni(*slim)
    return make_spine(length, radius, (rng.normal(0, bend), rng.normal(0, bend / 3)), uni(0, 6.3), _pose(rng))


def _shard(rng: Rng, reach: float, aspect: float) -> Facets:
    """A convex broken piece with flat faces; `reach` is half its length in mm, `aspect` its slimness."""
    uni = rng.uniform
    count = int(rng.integers(6, 15))
    bearing = np.linspace(0, 2 * np.pi, count, endpoint=False) + rng.normal(0, 0.25, count)
    slope = uni(0.4, 3, count)
    along, across = np.cos(bearing) * slope, np.sin(bearing) * slope / aspect
    height = slope * reach * uni(0.5, 0.8, count)
    spin = uni(0, 2 * np.pi)
    planes = np.stack(
        [height, along * np.cos(spin) - across * np.sin(spin), along * np.sin(spin) + across * np.cos(spin)], 1
    )
    lid = np.array([[reach * aspect * uni(0.3, 0.9), rng.normal(0, 0.2), rng.normal(0, 0.2)]])
    return Facets(np.concatenate([planes, lid]), reach * 1.5)


def _walk(rng: Rng, length: float, count: int, curl: float) -> Doubles:
    """(count, 3) a curling line about the origin, in mm."""
    turns = np.cumsum(rng.normal(0, curl, count)) * 0.35 + rng.normal(0, curl * 0.5)
    heading = np.cumsum(turns) + rng.uniform(0, 6.3)
    points = np.cumsum(np.stack([np.cos(heading), np.sin(heading), rng.normal(0, 0.2, count)], 1), 0) * length / count
    return np.asarray(points - (points.min(axis=0) + points.max(axis=0)) / 2)


def _ring(rng: Rng, long: float, wide: float, rough: float) -> Doubles:
    """(n, 3) a torn outline about the origin."""
    t = np.linspace(0, 2 * np.pi, 90, endpoint=False)
    edge = 1 + sum(rng.normal(0, rough) / k**0.8 * np.cos(k * t + rng.uniform(0, 6.3)) for k in range(2, 22))
    points = np.stack([np.cos(t) * long * edge, np.sin(t) * wide * edge, 0.1 * long * np.sin(2 * t)], 1)
    return np.asarray(points @ (turn(2, rng.uniform(0, 6.3)) @ turn(0, rng.normal(0, 0.5))).T)


def bubble(rng: Rng, water: bool = False) -> list[Thing]:
    """One to three spheres of air: dark rings with bright middles and a glint; or a low puddle, clear or stained."""
    uni, first, bearing, made = rng.uniform, _size(rng, 0.06, 0.8), rng.uniform(0, 6.3), list[Thing]()
    tone = colour(rng) if water else np.full(3, 0.9)
    coat = Coat(
        tone,
        tone,
        skin_depth=uni(0, 0.12),
        flesh_depth=uni(0, 0.5) * water,
        haze=0.1,
        rim=uni(0.4, 1) if water else uni(0.8, 1),
        glint=uni(0.1, 0.8),
        bump=0.0,
        mottle=uni(0.02, 0.3),
        lens=uni(0.0, 0.3),
    )
    for k in range(int(rng.choice([1, 1, 2, 3]))):
        place = np.array([np.cos(bearing + k), np.sin(bearing + k), 0]) * first * k * (0.6 if water else 1.7)
        r = first * uni(0.4, 1.0)
        made.append(Part(blob(place, (r, r * uni(0.85, 1), r * (0.4 if water else 1))), coat, (), 0.01 * k))
    pools = [part.solid for part in made if isinstance(part, Part) and isinstance(part.solid, Solid)]
    return [Part(join(pools, 0.2 * first**2), coat)] if water else made


def fibre(rng: Rng, root: bool = False) -> list[Thing]:
    """One or more threads, curled or nearly straight, with frayed ends; or one tapering root with branches."""
    uni, tone = rng.uniform, colour(rng, "white cream tan brown dark_brown pink amber" if root else "")
    depth, length, radius, made = uni(0.15, 1.3), _size(rng, 0.5, 4.2), uni(0.006, 0.035), list[Thing]()
    for _ in range(1 if root else int(rng.choice([1, 1, 1, 2, 4]))):
        points = _walk(rng, length * uni(0.5, 1), 36, uni(0.05, 0.3 if root else 0.7)) + rng.normal(0, 0.06, 3)
        waves = 1 + 0.35 * np.sin(np.arange(36) * uni(0.3, 1.5))
        radii = radius * (np.linspace(1.8, 0.6, 36) * uni(0.8, 1.2, 36) if root else waves)
        made.append(Limb(points, radii, tone, depth, float(rng.normal(0, 0.1)), True))
        ends = rng.integers(2, 35, int(rng.integers(2, 14))) if root else rng.choice([0, 35], rng.choice([0, 3, 8]))
        for i in ends:
            way = rng.normal(0, 0.05, 3) * (1.6 if root else 0.5)
            steps = [way + rng.normal(0, 0.03, 3) for _ in range(5 if root else 3)]
            hair = rod(points[i], steps, max(radius * uni(0.2, 0.8), 0.006), 0.5, tone, depth)
            made.append(replace(hair, is_body=root))
    return made


def grit(rng: Rng, reach_mm: tuple[float, float] = (0.06, 0.6), slim: tuple[float, float] = (0.45, 1.0)) -> list[Thing]:
    """A mineral grain, glassy or dark, with stains and cracks inside; or, slim, a splinter."""
    uni, reach = rng.uniform, _size(rng, *reach_mm)
    coat = replace(random_coat(rng), glint=uni(0.1, 0.9), bump=uni(0, 0.6))
    spots = [blob(rng.normal(0, 0.4, 3) * reach, tuple(uni(0.05, 0.3, 3) * reach), _pose(rng)) for _ in range(5)]
    return [Part(_shard(rng, reach, uni(*slim)), coat, ((join(spots), colour(rng), uni(0, 1)),))]


def pod(rng: Rng, stem: bool = False, empty: bool = False) -> list[Thing]:
    """A seed with a scar and a germ; an oval with a stem and threads like limbs; or an empty, open husk."""
    uni, length = rng.uniform, _size(rng, 0.3, 2.5)
    spine = _pod(rng, length, (0.12, 0.38) if stem or empty else (0.16, 0.48), 0.5, 0.13 if empty else 0.04)
    ribs = tuple((a, uni(0.06, 0.2), uni(-0.5, 3)) for a in np.linspace(-3.1, 2.7, int(rng.integers(1, 12))))
    coat = replace(
        aged(random_coat(rng), rng),
        stripes=ribs if rng.random() < 0.4 else (),
        glint=uni(0, 0.6),
        rings=int(rng.choice([0, 0, 7, 10, 14])),
        ring_gain=uni(0, 0.6),
    )
    scar = (blob(spine.centres[1], tuple(spine.radius.max() * uni(0.1, 0.5, 3))), colour(rng), uni(0, 1.2))
    inner = (*guts(spine, coat, rng, rng.random() < 0.15, int(rng.integers(0, 12))), scar)
    if empty:
        coat, inner = replace(coat, flesh_depth=0.02, bump=uni(0.4, 1.4), mottle=uni(0.3, 0.9)), ()
    flesh = spine.solid(1, uni(0.4, 1), span=(0, uni(0.5, 1) if empty else 1))
    made: list[Thing] = [Part(flesh, coat, inner)]
    tone, depth = np.clip(coat.skin * uni(0.4, 1.2), 0.01, 0.9), uni(0.3, 1.1)
    for k in range(int(rng.choice([1, 1, 2, 3, 5, 7]) if stem else rng.choice([0, 0, 0, 2]))):
        i = int(rng.integers(0, 44)) if k else 0
        way = rng.choice([-1, 1]) * spine.frames[i, 1] + rng.normal(0, 0.4, 3) if k else -spine.frames[0, 0]
        steps = [(way + rng.normal(0, 0.3, 3)) * length * uni(0.06, 0.3) for _ in range(4)]
        made.append(rod(spine.centres[i], steps, uni(0.008, 0.03) * (1 + (k == 0)), uni(0.4, 1.3), tone, depth))
    return made


def bud(rng: Rng) -> list[Thing]:
    """Overlapping scales round a core, with a stub of stalk."""
    length = _size(rng, 0.4, 2.5)
    spine = _pod(rng, length, (0.25, 0.45), 0.15)
    coat = aged(random_coat(rng), rng)
    made: list[Thing] = [Part(spine.solid(), coat)]
    for _ in range(int(rng.integers(3, 9))):
        i = int(rng.integers(8, 36))
        side_way, back = spine.frames[i, 1:]
        round_by, r = rng.uniform(-1.6, 1.6), spine.radius[i]
        spot = spine.centres[i] + r * 0.55 * (np.sin(round_by) * side_way + np.cos(round_by) * back)
        scale = blob(spot, (length * rng.uniform(0.12, 0.3), r * 0.6, r * 0.5), spine.frames[i].T)
        shade = replace(coat, skin=np.clip(coat.skin * rng.uniform(0.6, 1.5), 0.01, 0.93), flesh_depth=0.2)
        made.append(Part(scale, shade, z_mm=0.01 + float(spot[2])))
    if rng.random() < 0.7:
        made.append(
            rod(spine.centres[-1], [spine.frames[-1, 0] * length * 0.12] * 2, length * 0.05, 0.8, coat.skin, 1.0)
        )
    return made


def crumb(rng: Rng, reach_mm: tuple[float, float] = (0.08, 0.7), most: int = 30) -> list[Thing]:
    """A ragged clump of granules of mixed matters; the least of them are dust."""
    reach, count = _size(rng, *reach_mm), int(rng.integers(1 + most // 5, most))
    groups: list[Thing] = []
    for k in range(int(rng.integers(1, 4))):
        grains = [
            blob(rng.normal(0, 0.42, 3) * reach, tuple(rng.uniform(0.08, 0.4, 3) * reach), _pose(rng))
            for _ in range(count)
        ]
        groups.append(
            Part(
                join(grains, 0.01 * reach**2),
                replace(aged(random_coat(rng), rng), bump=rng.uniform(0.1, 1)),
                (),
                0.01 * k,
            )
        )
    return groups


def leaf_bit(rng: Rng) -> list[Thing]:
    """A torn flake with a branched vein, edges bruised."""
    uni, long = rng.uniform, _size(rng, 0.3, 1.9)
    outline = _ring(rng, long, long * uni(0.25, 0.9), uni(0.03, 0.14))
    rib = np.linspace(outline[0], outline[45], 12) * 0.95
    side = (outline[22] - outline[67]) * 0.5
    lines = [(rib, long * uni(0.03, 0.09))]
    for k in range(1, 11, int(rng.integers(1, 4))):
        for sign in (-1, 1):
            end = rib[k] + sign * side * uni(0.4, 0.75) * np.sin(np.pi * (k + 1) / 13) + (rib[-1] - rib[0]) * 0.12
            lines.append((np.linspace(rib[k], end, 5), long * uni(0.008, 0.03)))
    lines.append((np.concatenate([outline, outline[:1]]), uni(0.01, 0.05)))
    tone = colour(rng, "green green lime olive dark_green brown tan yellow cream red purple")
    shades = np.clip(tone * uni(0.3, 1.8), 0.01, 0.9)
    return [
        Sheet(
            outline,
            tone,
            uni(0.2, 1.6),
            lines=tuple(lines),
            line_colour=shades,
            line_depth=uni(0.1, 0.9),
            mottle=uni(0.1, 0.6),
            grain_mm=uni(0.03, 0.25),
            shine=uni(0, 0.3),
            is_body=True,
        )
    ]


def starch(rng: Rng) -> list[Thing]:
    """A soft smear, or the ring a drying drop leaves."""
    uni = rng.uniform
    long, tone = _size(rng, 0.15, 1.3), colour(rng, "white white cream grey tan")
    outline = _ring(rng, long, long * uni(0.3, 1), uni(0.01, 0.08))
    closed = np.concatenate([outline, outline[:1]])
    rings = tuple((closed * uni(0.6, 0.98), long * uni(0.02, 0.15)) for _ in range(int(rng.integers(0, 4))))
    return [
        Sheet(
            outline * s,
            tone,
            uni(0.03, 0.25),
            lines=rings if s == 1 else (),
            line_colour=tone,
            line_depth=uni(0.1, 0.6),
            mottle=uni(0.3, 1.0),
            grain_mm=uni(0.04, 0.3),
            shine=0.0,
            is_body=True,
        )
        for s in (1.0, 0.94, 0.86, 0.75)
    ]


BITS: dict[str, tuple[float, Callable[[Rng], list[Thing]]]] = {
    "bubble": (1.1, bubble),
    "drop": (0.6, partial(bubble, water=True)),
    "fibre": (1.2, fibre),
    "starch": (0.7, starch),
    "rootlet": (0.8, partial(fibre, root=True)),
    "grit": (1.0, grit),
    "bud": (1.0, bud),
    "leaf_bit": (1.2, leaf_bit),
    "sliver": (0.8, partial(grit, reach_mm=(0.2, 1.8), slim=(0.06, 0.2))),
    "stalked": (1.6, partial(pod, stem=True)),
    "crumb": (1.0, crumb),
    "dust": (0.5, partial(crumb, reach_mm=(0.03, 0.12), most=5)),
    "seed": (1.0, pod),
    "husk": (1.2, partial(pod, empty=True)),
}


def bit(below: bool, rng: np.random.Generator) -> tuple[str, Lent]:
    """One bit of dirt with its name, as square arrays at 20 px a millimetre, lit from below or from above."""
    names, shares = list(BITS), np.array([share for share, _ in BITS.values()])
    name = names[int(rng.choice(len(names), p=shares / shares.sum()))]
    return name, render(BITS[name][1](rng), below, rng)
