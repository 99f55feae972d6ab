"""What is learned from: drawn scenes with all kinds of insects and look-alikes in them, and what each speck and place in them is."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.counting import counts, hit_radius_mm
from vision.looks import SIGMA_OF_WIDTH
from vision.measure import Measured
from vision.names import ANIMALS, KINDS, LOOK_ALIKES, ON_GROUND, ON_PRODUCE, TRAIL
from vision.render import Drawn, Recipe, TrueBody, draw, tidy, vary
from vision.render.hands.by_hand import HANDS, HandShot, draw_by_hand
from vision.render.hands.by_hand import KINDS as DRAWN_BY_ALL
from vision.render.hands.seen import HandDrawn
from vision.specks import Search

_LEAST_DELTA_E = 4.0
"""Bodies below this, and those that do not count, teach nothing either way: nobody could tell."""
_OTHER_SIZE = 0.75
"""Log ratio of scales beyond which a place means something larger or smaller than the body."""
_SCENES = (
    "water", "broccoli", "cloth", "cauliflower", "scallion", "water", "broccoli", "tray", "layers", "cauliflower", "water", "broccoli",
    "cloth", "asparagus", "scallion", "gills", "blank", "tray",
)  # fmt: skip
_MOST_OF = {"aphid": 16, "thrips": 16, "caterpillar": 6, "larva": 14, "mite": 12, "gnat": 6, "egg": 6, "skin": 6}
"""How many of each insect a lesson may hold, and one less: far more than a shot of produce does, since what there is least of to learn
from is insects."""
_CROWDED, _CROWD = 0.3, (10, 41)
"""Share of lessons in which one kind comes in a crowd, as aphids and thrips do (common practice, no source), and how many: company
must not speak against an insect."""
_STANDARD = ("water", "cloth", "broccoli", "cauliflower", "scallion")
_SIX, _MIXED = 6, 50_000
"""Insects in a shot of the mix that holds any, and how far its seeds lie from those of the lessons."""
_PLAIN = 0.3
"""Share of lessons without bits of plants that resemble animals closely, and of those with limbs as usual."""
_STOUT = (np.log(0.8), np.log(3.2))
"""How many times as thick limbs are in the others, as logarithms."""
_MOST_TRAILS, _MINED = 3, ("scallion", "layers")
"""Leaf mines, and one less, and what they lie in."""
_EVERY_NTH_WITHOUT_SCALE = 4
"""Every so many shots are shown without their scale, so that shots of unknown scale are ranked too."""


_BY_OTHERS = (1, 3, 4)
"""Of every five lessons, those that other hands draw: what is learned on one hand's drawings knows that hand."""
_CROWDED_BY_OTHERS, _FINENESS = 41, (0.5, 1.0)
"""How many insects these may hold, and one less; and how fine they are, in what they are drawn at."""


@dataclass(frozen=True)
class Lesson:
    """One shot to learn from, with or without its scale being told."""

    shot: Recipe | HandShot
    told_scale: bool

    def drawn(self) -> Drawn | HandDrawn:
        """The shot and what lies in it; of one by another hand only the insects are known."""
        return draw_by_hand(self.shot) if isinstance(self.shot, HandShot) else draw(self.shot)


def lessons(count: int, seed: int) -> tuple[Lesson, ...]:
    """Shots to learn from: half wild, half tidy, over all kinds of scene and the range of scales."""
    rng = np.random.default_rng(seed)
    out = []
    for k in range(count):
        # 7 shares no factor with the turn of kinds, so that every kind comes up without a scale.
        told_scale = (k * 7) % 25 >= 25 // _EVERY_NTH_WITHOUT_SCALE
        if k % 5 in _BY_OTHERS:
            out.append(Lesson(_by_another(k, seed), told_scale))
            continue
        kind = _SCENES[k % len(_SCENES)]
        wild = (k // len(_SCENES)) % 2 == 0
        make = vary if wild else tidy
        recipe = make(kind, seed * 100_003 + k, width_px=1600, height_px=1200)
        if not wild:
            # Wild shots bring their own scale; tidy ones are spread over what a stand may have.
            recipe = replace(recipe, px_per_mm=float(rng.choice([12.0, 16.0, 20.0, 20.0, 25.0, 32.0])))
        some = tuple((insect, int(rng.integers(0, most))) for insect, most in _MOST_OF.items())
        if rng.random() < _CROWDED:
            crowd = int(rng.integers(len(some)))
            some = (*some[:crowd], (some[crowd][0], int(rng.integers(*_CROWD))), *some[crowd + 1 :])
        bits = np.random.default_rng([seed, k, 1])
        recipe = replace(recipe, plant_bits=0.0 if bits.random() < _PLAIN else float(bits.gamma(2.0, 0.5)))
        recipe = replace(recipe, stout=1.0 if bits.random() < _PLAIN else float(np.exp(bits.uniform(*_STOUT))))
        if kind in _MINED:
            some = (*some, (TRAIL, int(rng.integers(0, _MOST_TRAILS))))
        recipe = replace(recipe, insects=some if kind != "blank" else recipe.insects)
        out.append(Lesson(recipe, told_scale))
    return tuple(out)


def _by_another(k: int, seed: int) -> HandShot:
    """The hands take turns, and each draws all it can in turn."""
    rng = np.random.default_rng([seed, k, 2])
    hands, turn = tuple(HANDS), k // 5 * len(_BY_OTHERS) + _BY_OTHERS.index(k % 5)
    kind = DRAWN_BY_ALL[turn // len(hands) % len(DRAWN_BY_ALL)]
    insects, shrink = int(rng.integers(0, _CROWDED_BY_OTHERS)), float(rng.uniform(*_FINENESS))
    return HandShot(hands[turn % len(hands)], kind, seed * 100_003 + k, insects, shrink)


def label_specks(measured: Sequence[Measured], drawn: Drawn | HandDrawn) -> NDArray[np.int64]:
    """Kind of each speck as an index into KINDS; -1 for those that teach nothing (a leg, a second piece of one body)."""
    kinds = np.array([KINDS.index(ON_PRODUCE if m.speck.on_produce else ON_GROUND) for m in measured], dtype=np.int64)
    if not measured:
        return kinds
    places = np.array([(m.measures.x_px, m.measures.y_px) for m in measured])
    lengths = np.array([m.measures.length_px for m in measured])
    # Insects last, so that a speck that touches both an insect and debris is an insect.
    for body in sorted(drawn.truth, key=lambda b: (b.insect, -b.length_mm)):
        name = body.kind if body.insect else LOOK_ALIKES.get(body.kind)
        away = np.hypot(*(places - (body.x_px, body.y_px)).T)
        near = away <= hit_radius_mm(body) * drawn.px_per_mm
        if name is None or not near.any():
            continue
        # Of several specks on one body the one of its place and size is the body; the rest are its parts.
        misfit = away / (body.length_mm * drawn.px_per_mm) + np.abs(
            np.log(np.maximum(lengths, 1) / (body.length_mm * drawn.px_per_mm))
        )
        best = int(np.where(near, misfit, np.inf).argmin())
        if body.insect:
            kinds[near] = -1
            kinds[best] = KINDS.index(name) if _teaches(body) else -1
        else:
            kinds[near] = KINDS.index(name)
    return kinds


def label_places(search: Search, drawn: Drawn | HandDrawn, step: int) -> NDArray[np.int64]:
    """1 where a place lies on an insect and at its size, 0 where on none, -1 where that teaches nothing.

    Places beside an insect are no insects, and the same body at another scale is neither the one nor the other: with those among
    the ones, most would be the texture round the body.
    """
    places = search.places
    labels = np.zeros(len(places.row), np.int64)
    x, y = places.column * step + (step - 1) / 2, places.row * step + (step - 1) / 2
    sigma = np.array([scale.sigma_px for scale in search.maps])[places.scale] * step
    for body in drawn.truth:
        if body.insect:
            on = _lies_on(body, x, y, drawn.px_per_mm)
            of_its_size = np.abs(np.log(sigma / (body.width_mm * drawn.px_per_mm * SIGMA_OF_WIDTH))) < _OTHER_SIZE
            labels[on] = -1
            labels[on & of_its_size & _teaches(body)] = 1
    return labels


def _lies_on(body: TrueBody, x: NDArray[Any], y: NDArray[Any], px_per_mm: float) -> NDArray[np.bool_]:
    """Whether pixels lie on a body, with a pixel to spare; for a bent one, within its reach."""
    dx, dy = x - body.x_px, y - body.y_px
    if body.curved:
        return np.asarray(np.hypot(dx, dy) <= body.length_mm * px_per_mm / 2)
    angle = np.deg2rad(body.angle_deg)
    along, across = dx * np.cos(angle) + dy * np.sin(angle), dy * np.cos(angle) - dx * np.sin(angle)
    half_length, half_width = body.length_mm * px_per_mm / 2 + 1, body.width_mm * px_per_mm / 2 + 1
    return np.asarray((np.abs(along) <= half_length) & (np.abs(across) <= half_width))


def _teaches(body: TrueBody) -> bool:
    return counts(body) and body.delta_e >= _LEAST_DELTA_E


def mixed_shots(count: int, seed: int) -> tuple[Lesson, ...]:
    """Standard shots of the mix that scores stand for: kinds of scene in turn, half without insects and half with six of any kind; half
    of either by other hands."""
    rng = np.random.default_rng(seed)
    hands, turns = tuple(HANDS), len(_STANDARD)
    out = []
    for k in range(count):
        if k // (2 * turns) % 2:
            insects = _SIX if k // turns % 2 else 0
            kind, hand = _STANDARD[k % turns], hands[k // (4 * turns) % len(hands)]
            shot = HandShot(hand, kind, seed * 100_003 + _MIXED + k, insects, width_px=2000, height_px=1500)
            out.append(Lesson(shot, told_scale=True))
            continue
        recipe = tidy(_STANDARD[k % len(_STANDARD)], seed * 100_003 + _MIXED + k)
        drawn = rng.choice(ANIMALS, _SIX)
        six = tuple((kind, int((drawn == kind).sum())) for kind in ANIMALS) if k // turns % 2 else ()
        out.append(Lesson(replace(recipe, insects=six), told_scale=True))
    return tuple(out)
