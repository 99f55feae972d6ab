"""Insects, mites, eggs and skins: each kind is only another spread of the same bent, ringed, limbed body."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

import numpy as np

from vision.render.hands.lent import Lent
from vision.render.hands.strewn.anatomy import assemble, bow, feelers, guts, legs, profile, rod, stance, wings
from vision.render.hands.strewn.coats import DARKS, Coat, Rng, aged, colour, random_coat
from vision.render.hands.strewn.matter import Part, Sheet, Thing, render
from vision.render.hands.strewn.solids import make_spine, turn


def aphid(rng: Rng, below: bool, cast: bool = False) -> Lent:
    """Pear-shaped, soft, with long thin limbs, two tubes and a tail; sometimes winged; or only the cast skin of one."""
    uni = rng.uniform
    length = uni(0.6, 2.0) if cast else uni(0.8, 2.6)
    lie = stance(rng, 0.35, 0.12, 0.6)
    radius = profile(44, uni(0.54, 0.7), uni(0.55, 0.85), rng, 0.05, uni(0.08, 0.2)) * length * uni(0.21, 0.31)
    spine = make_spine(length, radius, lie.bend, lie.plane, lie.pose)
    coat = aged(random_coat(rng, "green green lime olive brown black grey red white yellow pink tan"), rng)
    rings = int(rng.integers(7, 11))
    bars = tuple((a, uni(0.1, 0.4), uni(0.5, 4)) for a in (-0.9, 0.0, 0.9) if rng.random() < 0.3)
    coat = replace(coat, rings=rings, ring_gain=uni(0, 0.6), stripes=bars)
    tone = coat.skin * uni(0.25, 1) if rng.random() < 0.6 else colour(rng, DARKS + " tan cream")
    if cast:
        # Nearly clear, wrinkled, split along the back; what it held is gone.
        coat = Coat(
            colour(rng, "white cream grey tan"),
            tone,
            skin_depth=uni(0.08, 0.3),
            flesh_depth=0.02,
            haze=uni(0.3, 0.9),
            rim=uni(0.2, 0.6),
            glint=uni(0.05, 0.4),
            bump=uni(0.6, 1.6),
            mottle=uni(0.5, 0.9),
            grain_mm=uni(0.03, 0.07),
            rings=8,
            ring_gain=uni(0.2, 0.7),
            stripes=((0.0, 0.25, uni(-0.9, 2.0)),),
            spots=uni(0, 2),
        )
        radius, tone = radius * uni(0.6, 1), coat.skin * 0.6
        spine = replace(spine, radius=radius * uni(0.85, 1.15, 44))
    depth, thin = uni(0.3, 1.1) * (0.4 if cast else 1.0), uni(0.006, 0.02) * (0.6 + length / 3)
    limbs = legs(spine, [0.13, 0.24, 0.36], length * uni(0.45, 0.85), thin, lie, tone, depth, rng)
    tube, tube_tone = length * uni(0.04, 0.2), tone if rng.random() < 0.6 else colour(rng, DARKS)
    i = spine.at(uni(0.74, 0.86))
    tail, side_way, back = spine.frames[i]
    for side in (-1, 1):
        base = spine.centres[i] + radius[i] * (side * side_way * 0.75 + back * 0.5)
        way = tail + side * side_way * uni(0.1, 0.9) + back * uni(-0.1, 0.5)
        limbs.append(
            rod(base, [way * tube * 0.5, way * tube * 0.5], thin * uni(1.1, 2.2), 0.75, tube_tone, depth * 1.3)
        )
    limbs.append(
        rod(
            spine.centres[-1] - spine.frames[-1, 0] * 0.03,
            [spine.frames[-1, 0] * length * uni(0.04, 0.12)],
            thin * 2,
            0.4,
            tone,
            depth,
        )
    )
    if rng.random() < 0.22 and not cast:
        limbs += wings(
            spine, 0.28, uni(0.1, 1.2), (length * uni(1, 1.5), length * uni(0.3, 0.45)), "cream grey tan", 5, 0, rng
        )
    things, head = assemble(
        spine,
        coat,
        rng,
        tall=uni(0.65, 0.95),
        head_size=radius[0] * uni(0.85, 1.1) + 0.02,
        young=rng.random() < 0.45 and not cast,
        spots=0 if cast else int(rng.integers(14)),
        skull_coat=None,
        limbs=limbs,
        eye=0.22,
    )
    things += feelers(spine, head - spine.frames[0, 0] * 0.03, length * uni(0.35, 1.15), thin * 0.8, tone, depth, rng)
    return render(things, below, rng, bow(spine, lie))


def thrips(rng: Rng, below: bool) -> Lent:
    """Slender, ringed, with short limbs; grown ones with two fringed narrow wings."""
    uni = rng.uniform
    length, grown = uni(0.5, 1.6), rng.random() < 0.65
    lie = stance(rng, 0.45, 0.3, 0.8)
    radius = profile(56, uni(0.38, 0.58), uni(0.45, 0.8), rng, 0.05, 0.1) * length * uni(0.078, 0.105)
    rings = int(rng.integers(9, 13))
    spine = make_spine(
        length, radius * (1 + 0.06 * np.cos(np.linspace(0, rings * 2 * np.pi, 56))), lie.bend, lie.plane, lie.pose
    )
    coat = random_coat(rng, "yellow tan brown dark_brown black amber" if grown else "white cream yellow lime orange")
    coat = replace(aged(coat, rng), rings=rings, ring_gain=uni(0.1, 0.8), grain_mm=0.03)
    tone, depth = np.clip(coat.skin * uni(0.4, 1.2), 0.01, 0.9), uni(0.3, 1.0)
    limbs = legs(spine, [0.16, 0.3, 0.4], length * uni(0.2, 0.34), uni(0.008, 0.018), lie, tone, depth, rng)
    if grown and rng.random() < 0.85:
        spread = rng.choice([uni(0.02, 0.12), uni(0.2, 1.1)])
        limbs += wings(
            spine,
            0.36,
            spread,
            (length * uni(0.45, 0.62), length * -0.07),
            "brown grey cream tan",
            1,
            length * uni(0.05, 0.12),
            rng,
        )
    things, head = assemble(
        spine,
        coat,
        rng,
        tall=uni(0.7, 0.95),
        head_size=radius[0] * uni(0.9, 1.1),
        young=False,
        spots=int(rng.integers(0, 9)),
        skull_coat=None,
        limbs=limbs,
        eye=0.3,
    )
    things += feelers(spine, head, length * uni(0.13, 0.24), uni(0.008, 0.014), tone, depth, rng)
    return render(things, below, rng, bow(spine, lie))


def worm(rng: Rng, below: bool, length: float, even: float, odd: float, skins: str, grub: bool) -> Lent:
    """A ringed tube with a head capsule or a mouth hook; caterpillars and grubs are two spreads of it."""
    uni, lie = rng.uniform, stance(rng, even, odd)
    slim = uni(0.09, 0.17) if grub else uni(0.055, 0.11)
    count = 70 if grub else 110
    rings = int(rng.integers(10, 14))
    radius = (
        profile(
            count,
            uni(0.5, 0.72) if grub else uni(0.42, 0.58),
            uni(0.25, 0.6) if grub else uni(0.12, 0.32),
            rng,
            0.06,
            0.01 if grub else 0.0,
        )
        * length
        * slim
    )
    radius = radius * (1 + uni(0.02, 0.08) * np.abs(np.cos(np.linspace(0, rings * np.pi, count))))
    spine = make_spine(length, radius, lie.bend, lie.plane, lie.pose)
    lines = tuple(
        (a + rng.normal(0, 0.1), uni(0.08, 0.35), uni(-0.8, 4))
        for a in (-1.7, -0.9, 0.0, 0.9, 1.7)
        if rng.random() < (0.1 if grub else 0.4)
    )
    coat = replace(
        aged(random_coat(rng, skins), rng),
        rings=rings,
        ring_gain=uni(0.05, 0.5),
        stripes=lines,
        grain_mm=uni(0.03, 0.15),
    )
    tone, depth = np.clip(coat.skin * uni(0.5, 1.1), 0.01, 0.9), uni(0.2, 0.9)
    limbs: list[Thing] = []
    capsule = rng.random() < (0.4 if grub else 0.9)
    if capsule:
        limbs += legs(
            spine, [0.07, 0.14, 0.21], radius.max() * uni(0.5, 0.9), radius.max() * 0.12, lie, tone * 0.7, depth, rng
        )
        for place in rng.choice([0.4, 0.48, 0.56, 0.64, 0.93], int(rng.integers(1, 6)), replace=False):
            i = spine.at(place)
            for side in (-1, 1):
                foot = spine.centres[i] + radius[i] * (0.45 * side * spine.frames[i, 1] - 0.75 * spine.frames[i, 2])
                limbs.append(rod(foot, [-spine.frames[i, 2] * radius[i] * 0.6], radius[i] * 0.3, 0.8, tone, depth))
    hair = rng.choice([0.0, uni(0.1, 0.6)], p=[0.6, 0.4]) * radius.max()
    if hair and not grub:
        strands = []
        for i in rng.integers(4, count - 2, 60):
            out = rng.normal(0, 1, 2) @ spine.frames[i, 1:]
            out = out / np.linalg.norm(out) * radius[i]
            strands.append(
                (spine.centres[i] + np.array([out * 0.9, out * (1 + hair / radius.max() * uni(0.6, 1.8))]), 0.008)
            )
        limbs.append(
            Sheet(spine.centres[:3], tone, 0.0, lines=tuple(strands), line_colour=tone * 0.4, line_depth=0.6, z_mm=0.01)
        )
    skull_coat = replace(random_coat(rng, DARKS + " tan amber"), skin_depth=uni(0.5, 1), glint=uni(0.1, 0.5))
    size = float(radius[spine.at(0.06)]) * (uni(0.6, 0.9) if capsule else 0.3)
    things, head = assemble(
        spine,
        coat,
        rng,
        tall=uni(0.8, 1.0),
        head_size=size,
        young=False,
        spots=int(rng.integers(0, 30)),
        skull_coat=skull_coat if capsule else None,
        limbs=limbs,
        eye=0.15,
    )
    if not capsule:
        hook = colour(rng, "black dark_brown")
        step = spine.frames[0, 0] * length * 0.05
        things += [
            rod(head + spine.frames[0, 1] * s, [step, step], uni(0.008, 0.02), 0.5, hook, 1.0) for s in (-0.012, 0.012)
        ]
    return render(things, below, rng, bow(spine, lie, size * 0.6))


def caterpillar(rng: Rng, below: bool) -> Lent:
    """2 to 12 mm, short ones likelier."""
    even, odd = ((0.3, 0.2), (1.9, 0.3), (0.5, 2.0), (3.3, 0.9))[int(rng.integers(4))]
    return worm(
        rng, below, 2 + 10 * rng.random() ** 1.7, even, odd, "green lime cream brown tan olive white amber pink", False
    )


def larva(rng: Rng, below: bool) -> Lent:
    """A pale small grub, often C-shaped."""
    return worm(
        rng, below, rng.uniform(0.4, 1.6), rng.choice([0.4, 1.9]), 0.3, "white cream cream yellow grey pink lime", True
    )


def mite(rng: Rng, below: bool) -> Lent:
    """Round to oval with eight short legs."""
    uni, length = rng.uniform, rng.uniform(0.2, 0.6)
    lie = stance(rng, 0.1, 0.05, 0.85)
    radius = profile(24, uni(0.45, 0.66), uni(0.5, 0.75), rng) * length * uni(0.3, 0.45)
    spine = make_spine(length, radius, lie.bend, lie.plane, lie.pose)
    coat = replace(aged(random_coat(rng, "red orange tan cream white brown yellow green"), rng), grain_mm=0.03)
    if rng.random() < 0.4:
        coat = replace(coat, stripes=tuple((a, 0.5, uni(2, 6)) for a in (-1.1, 1.1)))
    tone, depth = np.clip(coat.skin * uni(0.5, 1.3), 0.01, 0.9), uni(0.3, 1.0)
    limbs = legs(spine, [0.12, 0.22, 0.5, 0.62], length * uni(0.4, 0.8), uni(0.008, 0.016), lie, tone, depth, rng)
    things, _ = assemble(
        spine,
        coat,
        rng,
        tall=uni(0.7, 1),
        head_size=length * uni(0.08, 0.14),
        young=False,
        spots=int(rng.integers(0, 10)),
        skull_coat=None,
        limbs=limbs,
        eye=0.25,
    )
    return render(things, below, rng, bow(spine, lie))


def gnat(rng: Rng, below: bool) -> Lent:
    """A thin fly: ringed hind body, humped chest, round head, long legs, veined wings."""
    uni, length = rng.uniform, rng.uniform(1, 3)
    lie = stance(rng, 0.45, 0.1, 0.3)
    along = np.linspace(0, 1, 50)
    chest = 0.11 * np.exp(-(((along - uni(0.16, 0.22)) / 0.13) ** 2))
    abdomen = uni(0.05, 0.085) * np.clip(np.sin(np.pi * (along * 0.75 + 0.2)), 0.05, 1) ** 0.6
    radius = length * np.maximum(chest * uni(0.9, 1.25), abdomen)
    spine = make_spine(length, radius, lie.bend, lie.plane, lie.pose)
    coat = random_coat(rng, "black dark_brown brown grey tan olive green amber")
    coat = replace(aged(coat, rng), rings=int(rng.integers(7, 10)), ring_gain=uni(0.2, 0.8))
    tone, depth, thin = coat.skin * uni(0.4, 1), uni(0.5, 1.1), uni(0.009, 0.022)
    limbs = legs(spine, [0.14, 0.2, 0.27], length * uni(0.6, 1.3), thin, lie, tone, depth, rng)
    spread = rng.choice([uni(0.05, 0.3), uni(0.5, 1.4)])
    limbs += wings(
        spine,
        0.22,
        spread,
        (length * uni(0.75, 1), length * uni(0.25, 0.36)),
        "grey cream tan brown",
        int(rng.integers(3, 7)),
        0,
        rng,
    )
    things, head = assemble(
        spine,
        coat,
        rng,
        tall=uni(0.9, 1.2),
        head_size=length * uni(0.06, 0.085),
        young=False,
        spots=int(rng.integers(0, 7)),
        skull_coat=replace(coat, skin=coat.skin * 0.5),
        limbs=limbs,
        eye=0.55,
    )
    feathers = rng.choice([0.0, uni(0.04, 0.1)])
    things += feelers(
        spine, head - spine.frames[0, 0] * 0.03, length * uni(0.2, 0.45), thin * 0.8, tone, depth, rng, feathers
    )
    return render(things, below, rng, bow(spine, lie))


def egg(rng: Rng, below: bool) -> Lent:
    """One egg, a row or a cluster; the coat smooth or ribbed, a germ inside."""
    uni = rng.uniform
    number = int(rng.choice([1, 1, 1, 2, 3, 5, 8]))
    long = uni(0.25, 1.0) / (1 if number < 3 else 2)
    slim, peak, power = uni(0.22, 0.45), uni(0.42, 0.6), uni(0.5, 0.9)
    coat = replace(
        random_coat(rng, "white cream yellow tan black amber orange lime"),
        glint=uni(0.05, 0.6),
        mottle=uni(0.02, 0.2),
        bump=uni(0, 0.1),
    )
    if rng.random() < 0.35:
        coat = replace(coat, stripes=tuple((a, 0.12, uni(0.4, 1.5)) for a in np.linspace(-3.1, 2.6, 9)))
    heading, cluster = uni(0, 2 * np.pi), rng.random() < 0.5
    things: list[Thing] = []
    for k in range(number):
        pose = turn(2, heading + rng.normal(0, 0.2)) @ turn(1, rng.normal(0, 0.25)) @ turn(0, uni(0, 6.3))
        spine = make_spine(
            long, profile(20, peak, power, rng, 0.02) * long * slim, (rng.normal(0, 0.2), 0.0), 0.0, pose
        )
        step = np.array([-np.sin(heading), np.cos(heading), 0]) * long * slim * 1.9
        place = step * (k - (number - 1) / 2)
        if cluster and k:
            turn_by = k * 2.4
            place = np.array([np.cos(turn_by), np.sin(turn_by), 0.1 * k]) * long * slim * 1.7 * np.sqrt(k)
        moved = replace(spine, centres=spine.centres + place)
        inner = guts(moved, coat, rng, False, int(rng.integers(0, 5)))
        things.append(Part(moved.solid(), coat, tuple(inner), float(place[2])))
    return render(things, below, rng)


KINDS: dict[str, Callable[[Rng, bool], Lent]] = {
    "aphid": aphid,
    "thrips": thrips,
    "caterpillar": caterpillar,
    "larva": larva,
    "mite": mite,
    "gnat": gnat,
    "egg": egg,
    "skin": partial(aphid, cast=True),
}


def body(kind: str, below: bool, rng: np.random.Generator) -> Lent:
    """One animal of a kind as square arrays at 20 px a millimetre, lit from below through the panel or from above."""
    return KINDS[kind](rng, below)
