"""How many things a shot holds, and where they come to lie."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.broccoli import ProduceLayer
from vision.render.recipe import INSECTS, TRAIL, Recipe, known, stream
from vision.types import FloatArray

# Mean number in a picture of 100 x 75 mm at full clutter (common practice, no source).
BYCATCH = {
    "water": {
        "bubble": 26,
        "fibre": 7,
        "grit": 24,
        "leaf_bit": 8,
        "bud": 5,
        "seed": 1.2,
        "pollen": 14,
        "dust": 22,
        "frass": 2.5,
        "leg": 2,
        "drop": 0.5,
    },
    "blank": {"dust": 4, "fibre": 0.8},
    "broccoli": {"drop": 12, "bud": 5, "leaf_bit": 3, "grit": 5, "fibre": 1.2, "frass": 1.5, "seed": 0.3, "dust": 5},
    "cauliflower": {"drop": 12, "leaf_bit": 2, "grit": 4, "fibre": 1.2, "frass": 1.5, "dust": 5},
    "scallion": {"drop": 9, "bubble": 2, "grit": 10, "leaf_bit": 2, "fibre": 1.5, "dust": 8, "frass": 0.6},
    "layers": {"drop": 8, "bubble": 2, "grit": 9, "leaf_bit": 2, "fibre": 1.5, "dust": 6},
    "asparagus": {"drop": 8, "bubble": 1, "grit": 12, "leaf_bit": 4, "fibre": 1.5, "dust": 8, "seed": 0.3},
    "gills": {"drop": 5, "grit": 10, "fibre": 2, "dust": 8, "leaf_bit": 0.6, "frass": 1.5},
    # What wash water leaves on a cloth: lint is its own and that of towels.
    "cloth": {
        "fibre": 16,
        "grit": 20,
        "leaf_bit": 8,
        "bud": 4,
        "drop": 5,
        "seed": 0.8,
        "dust": 14,
        "frass": 2,
        "leg": 2,
    },
    "tray": {
        "drop": 16,
        "grit": 12,
        "leaf_bit": 6,
        "bud": 2,
        "fibre": 4,
        "dust": 14,
        "seed": 0.6,
        "frass": 1.5,
        "leg": 1,
    },
}
_IN_LIQUID = {"sliver": 16.0, "stalked": 5.0, "crumb": 5.0, "husk": 4.0, "rootlet": 2.5, "starch": 5.0}
_ON_PIECES = {"sliver": 9.0, "stalked": 4.0, "crumb": 3.0, "husk": 3.0, "rootlet": 1.2, "starch": 3.0}
PLANT_BITS = {
    kind: _IN_LIQUID if kind in ("water", "cloth", "tray") else _ON_PIECES for kind in BYCATCH if kind != "blank"
}
"""The same of what resembles animals more closely (plant_bits.py), where a recipe asks for it."""
KINDS_OF_DEBRIS = [*sorted({kind for table in BYCATCH.values() for kind in table} | {"scratch"}), *_IN_LIQUID]
"""In the order of their random streams: new ones come last."""
_LENT = 90.0
"""The same of all that other hands lend together."""
PANEL_MARKS = {"scratch": 3.0, "dust": 9.0, "fibre": 0.7}
_THREE = {"aphid": 4.0, "thrips": 4.0, "caterpillar": 1.6}
INSECT_RATES: dict[str, dict[str, float]] = {
    # Mean numbers of each insect where the recipe asks for none in particular (common practice, no source).
    "blank": {},
    "water": _THREE,
    "broccoli": _THREE,
    "cauliflower": _THREE | {"skin": 0.8},
    "scallion": {"thrips": 5.0, "aphid": 1.5, "larva": 3.0, "mite": 1.0, "egg": 1.0, "skin": 1.0},
    "layers": {"thrips": 4.0, "aphid": 2.0, "larva": 3.0, "egg": 1.5, "mite": 1.0, "skin": 0.5},
    "asparagus": {"thrips": 4.0, "aphid": 2.5, "egg": 3.0, "larva": 1.0, "skin": 0.8},
    "gills": {"gnat": 1.5, "larva": 4.0, "mite": 4.0, "egg": 1.5, "skin": 0.5},
    "cloth": {
        "aphid": 3.5,
        "thrips": 4.0,
        "caterpillar": 0.8,
        "larva": 3.0,
        "mite": 2.0,
        "gnat": 0.7,
        "egg": 1.0,
        "skin": 1.0,
    },
    "tray": {
        "aphid": 3.0,
        "thrips": 2.0,
        "caterpillar": 0.8,
        "larva": 4.0,
        "mite": 1.5,
        "gnat": 0.6,
        "egg": 1.0,
        "skin": 2.5,
    },
}
TRAIL_RATES = {"scallion": 1.2, "layers": 0.4}
_PICTURE_MM2 = 7500.0


@dataclass(frozen=True)
class Spot:
    """What is already placed: centre in pixels and half its length."""

    x_px: float
    y_px: float
    radius_px: float


def _scaled_area(recipe: Recipe) -> float:
    return max(recipe.width_px * recipe.height_px / recipe.px_per_mm**2 / _PICTURE_MM2, 0.08)


def insect_counts(recipe: Recipe) -> dict[str, int]:
    """How many of each insect: as asked, or drawn; blank panels hold none, and one shot in seven none either."""
    if recipe.insects is not None:
        counts = dict.fromkeys(INSECTS, 0)
        for kind, many in recipe.insects:
            if kind in counts:
                counts[kind] += many
        return counts
    if recipe.kind == "blank":
        return dict.fromkeys(INSECTS, 0)
    rates = INSECT_RATES[recipe.kind]
    rng = stream(recipe.seed, "counts")
    empty = rng.random() < 1 / 7
    crowd = rng.gamma(1.5, 0.9) if recipe.wild else rng.gamma(3, 1 / 3)
    rate = 0.0 if empty else crowd * float(np.clip(_scaled_area(recipe), 0.3, 3.0))
    return {kind: int(rng.poisson(rates.get(kind, 0.0) * rate)) for kind in INSECTS}


def trail_count(recipe: Recipe) -> int:
    """How many trails of miners thin tissue holds: as asked, or drawn."""
    if recipe.insects is not None:
        return sum(many for kind, many in recipe.insects if kind == TRAIL)
    mean = TRAIL_RATES.get(recipe.kind, 0.0) * float(np.clip(_scaled_area(recipe), 0.3, 3.0))
    return int(stream(recipe.seed, "counts", 3).poisson(mean))


def debris_counts(recipe: Recipe) -> dict[str, int]:
    """How much bycatch of each kind. Every kind has its own stream, so that one more of a kind changes no other."""
    counts = {}
    for kind, mean in BYCATCH[recipe.kind].items():
        rng = stream(recipe.seed, "counts", 2, KINDS_OF_DEBRIS.index(kind))
        plenty = rng.gamma(1.0, 1.0) if recipe.wild else rng.gamma(4, 0.25)
        counts[kind] = int(rng.poisson(mean * plenty * recipe.clutter * _scaled_area(recipe)))
    for kind, mean in PLANT_BITS.get(recipe.kind, {}).items() if recipe.plant_bits else ():
        rng = stream(recipe.seed, "counts", 2, KINDS_OF_DEBRIS.index(kind))
        counts[kind] = int(rng.poisson(mean * rng.gamma(2.0, 0.5) * recipe.plant_bits * _scaled_area(recipe)))
    return counts


def lent_count(recipe: Recipe) -> int:
    """How many bits other hands lend: in different shots very different numbers."""
    if not recipe.lent_bits:
        return 0
    rng = stream(recipe.seed, "lent")
    return int(rng.poisson(_LENT * rng.gamma(2.0, 0.5) * recipe.lent_bits * _scaled_area(recipe)))


def mark_counts(recipe: Recipe) -> dict[str, int]:
    """Scratches and stuck dust: the panel's own."""
    rng = stream(known(recipe.panel_seed), "marks")
    return {
        kind: int(rng.poisson(mean * known(recipe.marks) * _scaled_area(recipe))) for kind, mean in PANEL_MARKS.items()
    }


def somewhere(
    recipe: Recipe, rng: np.random.Generator, radius_px: float, inside_mm: FloatArray | None
) -> tuple[int, int]:
    """A pixel for an insect in water: mostly wholly in the picture, now and then cut by its edge; never past the tray's wall."""
    cut = rng.random() < 0.07
    margin = 2.0 if cut else radius_px + 3
    w, h = recipe.width_px, recipe.height_px
    for _ in range(60):
        x = int(rng.uniform(min(margin, w / 2 - 1), max(w - margin, w / 2 + 1)))
        y = int(rng.uniform(min(margin, h / 2 - 1), max(h - margin, h / 2 + 1)))
        if inside_mm is None or inside_mm[y, x] > radius_px / recipe.px_per_mm * 0.8 + 0.3:
            break
    return x, y


def free_of(x: float, y: float, radius_px: float, spots: list[Spot], closeness: float) -> bool:
    """Whether nothing placed so far lies nearer than `closeness` times the sum of both radii."""
    return all((x - s.x_px) ** 2 + (y - s.y_px) ** 2 > (closeness * (radius_px + s.radius_px)) ** 2 for s in spots)


def beside(rng: np.random.Generator, spots: list[Spot], radius_px: float) -> tuple[int, int]:
    """A place that touches or overlaps something placed before."""
    s = spots[int(rng.integers(len(spots)))]
    a, gap = rng.uniform(0, 2 * np.pi), (s.radius_px * 0.7 + radius_px) * rng.uniform(0.35, 1.0)
    return round(s.x_px + gap * float(np.cos(a))), round(s.y_px + gap * float(np.sin(a)))


def on_produce(recipe: Recipe, rng: np.random.Generator, layer: ProduceLayer, radius_px: float) -> tuple[int, int]:
    """A pixel for an insect among florets: in a crevice, beside a bud, in the open, or on the ground."""
    w, h = recipe.width_px, recipe.height_px
    margin = int(min(radius_px * 0.6, w / 4, h / 4)) + 2
    xs, ys = rng.integers(margin, w - margin, 64), rng.integers(margin, h - margin, 64)
    mode = rng.random()
    covered = layer.alpha[ys, xs] > 0.95
    if mode < 0.18 and not covered.all():
        k = int(np.flatnonzero(~covered)[0])
    elif not covered.any():
        k = 0
    elif mode < 0.45:
        # Crevices are the darker places, though not the darkest pits, where nothing could be seen.
        order = np.flatnonzero(covered)
        order = order[np.argsort(layer.shade[ys[order], xs[order]])]
        k = int(order[int(rng.uniform(0.1, 0.4) * len(order))])
    elif mode < 0.7 and len(layer.bud_places):
        bx, by, size = layer.bud_places[int(rng.integers(len(layer.bud_places)))]
        a, reach = rng.uniform(0, 2 * np.pi), 0.7 * size * recipe.px_per_mm
        x, y = bx + reach * np.cos(a), by + reach * np.sin(a)
        return int(np.clip(x, margin, w - margin)), int(np.clip(y, margin, h - margin))
    else:
        k = int(np.flatnonzero(covered)[0])
    return int(xs[k]), int(ys[k])
