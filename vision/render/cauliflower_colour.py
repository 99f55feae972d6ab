"""Colour of cauliflower before light falls on it, in linear reflectance: curd, stems, cut faces, stains and browned specks.

Starting values from memory: curd about (0.72-0.84, 0.68-0.8, 0.5-0.66), stems a little greener and darker, browning
(0.3-0.45, 0.2-0.3, 0.08-0.16). Each piece has its own palette. Everything takes places in mm and gives (n, 3) and (n,) float32.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from vision.render.florets_colour import Grain
from vision.render.florets_raster import IntArray
from vision.types import FloatArray

_BROWN = np.array([0.36, 0.23, 0.1], dtype=np.float32)
SPECK_MM = (0.2, 1.0)
"""Browned specks, across (common practice, no source)."""


@dataclass(frozen=True)
class Palettes:
    """One row a piece: `curd`, `stem`, `pith`, `yellow`, `turned` (p, 3) linear reflectance; `yellowed`, `greyed`, `browned`,
    `wet` (p,) 0..1."""

    curd: FloatArray
    stem: FloatArray
    pith: FloatArray
    yellow: FloatArray
    turned: FloatArray
    yellowed: FloatArray
    greyed: FloatArray
    browned: FloatArray
    wet: FloatArray


def draw_palettes(rng: np.random.Generator, pieces: int, *, heated: bool) -> Palettes:
    """Palettes of pieces from one or two heads: from nearly white to ivory, darker and yellow-grey when heated."""
    ivory = np.clip(rng.beta(1.6, 1.8) + rng.normal(0.0, 0.12, pieces), 0.0, 1.0)[:, None]
    curd = np.array([0.86, 0.845, 0.77]) * (1 - ivory) + np.array([0.85, 0.8, 0.635]) * ivory
    curd = curd * (1.0 + rng.normal(0.0, 0.02, (pieces, 1)))
    stem = np.array([0.74, 0.755, 0.58]) * rng.uniform([0.92, 0.95, 0.84], [1.03, 1.01, 1.12], (pieces, 3))
    if heated:
        curd = curd * np.array([0.8, 0.775, 0.62]) * rng.uniform(0.88, 1.04, (pieces, 1))
        stem = stem * np.array([0.76, 0.76, 0.6])
    pith = 0.45 * stem + 0.55 * curd
    violet = rng.random((pieces, 1)) < 0.5
    turned = np.where(violet, [0.44, 0.37, 0.4], [0.45, 0.42, 0.35])
    spread = rng.random((4, pieces))
    return Palettes(
        curd=curd.astype(np.float32),
        stem=stem.astype(np.float32),
        pith=pith.astype(np.float32),
        yellow=(np.array([0.7, 0.58, 0.3]) * rng.uniform(0.9, 1.05, (pieces, 1))).astype(np.float32),
        turned=turned.astype(np.float32),
        yellowed=(spread[0] ** 2 * 0.7).astype(np.float32),
        greyed=(spread[1] ** 4 * 0.6).astype(np.float32),
        browned=(spread[2] ** 3).astype(np.float32),
        wet=((0.55 + 0.45 * spread[3]) if heated else 0.35 * spread[3]).astype(np.float32),
    )


def colour_curd(
    palettes: Palettes, piece: IntArray, tone: FloatArray, top: FloatArray, x: FloatArray, y: FloatArray, grain: Grain
) -> tuple[FloatArray, FloatArray]:
    """Granules and the knobs under them. `tone` (n,) the knob's own, about 0; `top` 0 at a granule's foot, 1 on its tip."""
    fine, cells = grain.at(x + 3, y, 0.22), grain.at(x, y + 5, 0.09)
    colour = palettes.curd[piece] * (1.0 + 0.03 * tone + 0.018 * fine + 0.012 * cells)[:, None]
    # Shoot tips are whiter than the flesh between them.
    colour = colour * (1.0 - np.array([0.03, 0.045, 0.1], np.float32) * (1.0 - top)[:, None])
    cloud = grain.at(x, y, 11.0) + 0.5 * grain.at(x + 31, y, 3.5) + 0.35 * tone
    yellow = palettes.yellowed[piece] * np.clip(0.55 * cloud - 0.05, 0.0, 0.8)
    colour += (palettes.yellow[piece] - colour) * yellow[:, None]
    patch = grain.at(x + 57, y + 13, 8.0) + 0.4 * grain.at(x, y + 71, 2.0)
    grey = palettes.greyed[piece] * np.clip(1.1 * patch - 0.9, 0.0, 0.8) * (0.6 + 0.4 * top)
    colour += (palettes.turned[piece] - colour) * grey[:, None]
    worn = grain.at(x + 91, y + 29, 4.5) + 0.6 * grain.at(x + 7, y + 3, 0.8)
    brown = palettes.browned[piece] * np.clip(0.9 * worn - 1.45, 0.0, 0.6) * top
    colour += (_BROWN * 1.3 - colour) * brown[:, None]
    return np.maximum(colour, 0.02).astype(np.float32), (0.006 * fine + 0.003 * cells).astype(np.float32)


def colour_stems(
    palettes: Palettes,
    piece: IntArray,
    order: FloatArray,
    girth: FloatArray,
    along: FloatArray,
    across: FloatArray,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """Smooth skin with faint lengthwise fibres, small scars, a greener root; branchlets are whiter, like the curd."""
    around = np.arcsin(np.clip(across, -1.0, 1.0)) * girth + piece * np.float32(17.3)
    fibre, hair = grain.at(along, around, 10.0, 0.7), grain.at(along + 3, around, 2.5, 0.15)
    blotch = grain.at(along + 11, around, 8.0, 4.0)
    scar = np.clip(grain.at(along + 23, around + 5, 3.0, 1.2) - 2.2, 0.0, 0.7)
    white = np.clip(0.25 + 0.3 * order + 0.1 * blotch + 0.1 * fibre, 0.0, 1.0)[:, None]
    colour = (
        palettes.stem[piece] * (1.0 - white) + palettes.curd[piece] * np.array([0.95, 0.95, 0.86], np.float32) * white
    )
    colour = colour * (1.0 + 0.02 * fibre + 0.018 * hair + 0.02 * blotch)[:, None]
    colour += (_BROWN * 1.5 - colour) * (0.6 * scar)[:, None]
    relief = np.minimum(girth, 3.0) * (0.003 * fibre + 0.002 * hair) - 0.02 * scar
    return np.maximum(colour, 0.02).astype(np.float32), relief.astype(np.float32)


def colour_root_face(
    palettes: Palettes,
    piece: IntArray,
    out: FloatArray,
    angle: FloatArray,
    x: FloatArray,
    y: FloatArray,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """The stalk cut across: pith, a ring of bundles, rind; `out` is 0 in the middle and 1 at the rim. Old cuts dry brown."""
    wavy = out + 0.025 * grain.at(x, y, 2.6)
    cells = grain.at(x, y, 0.25)
    bundles = np.exp(-(((wavy - 0.77) / 0.06) ** 2)) * np.clip(
        0.5 + 0.6 * grain.at(angle * 7.0, out * 0, 1.1), 0.0, 1.0
    )
    inner = 0.5 * np.exp(-(((wavy - 0.62) / 0.03) ** 2))
    rind = np.clip((wavy - 0.9) / 0.06, 0.0, 1.0)
    colour = palettes.pith[piece] * (1.0 + 0.03 * cells)[:, None]
    green = palettes.stem[piece] * np.array([0.86, 0.92, 0.78], np.float32)
    colour += (green - colour) * np.clip(0.8 * bundles + 0.3 * inner + 0.7 * rind, 0.0, 1.0)[:, None]
    dry = np.clip(
        0.4 * rind + 0.2 * bundles + np.clip(0.4 * grain.at(x + 31, y, 4.0) + 0.1 * cells, 0.0, 0.6), 0.0, 0.8
    )
    dry = dry * (0.15 + palettes.browned[piece])
    colour += (_BROWN * 1.4 - colour) * np.clip(dry, 0.0, 0.8)[:, None]
    return np.maximum(colour, 0.02).astype(np.float32), (0.008 * cells - 0.04 * rind + 0.02 * bundles).astype(
        np.float32
    )


def colour_long_cut(
    palettes: Palettes,
    piece: IntArray,
    stemmy: FloatArray,
    along: FloatArray,
    across: FloatArray,
    x: FloatArray,
    y: FloatArray,
    grain: Grain,
) -> tuple[FloatArray, FloatArray]:
    """A piece cut in half lengthways. `stemmy` (n,) 1 inside stalk and branches, 0 in the dense curd, blurred between; `along`
    mm and `across` -1..1 in the stem there."""
    cells, fibre = grain.at(x, y, 0.2), grain.at(along, across * 4.0, 6.0, 0.35)
    knife = grain.at(x * 0.8 + y * 0.6, y * 0.8 - x * 0.6, 14.0, 0.5)
    strands = np.exp(-(((np.abs(across) - 0.74) / 0.07) ** 2)) * np.clip(0.55 + 0.4 * fibre, 0.0, 1.0) * stemmy
    flesh = palettes.curd[piece] * np.array([1.02, 1.02, 1.03], np.float32)
    inside = palettes.pith[piece] * np.array([0.94, 0.97, 0.88], np.float32)
    colour = flesh + (inside - flesh) * stemmy[:, None]
    colour = colour * (1.0 + 0.014 * cells + 0.012 * knife + 0.015 * fibre * stemmy)[:, None]
    colour += (palettes.stem[piece] * np.array([0.86, 0.92, 0.78], np.float32) - colour) * (0.55 * strands)[:, None]
    stain = palettes.browned[piece] * np.clip(grain.at(x + 41, y + 9, 5.0) - 1.3, 0.0, 0.4)
    colour += (_BROWN * 1.5 - colour) * stain[:, None]
    return np.maximum(colour, 0.02).astype(np.float32), (0.004 * cells + 0.006 * knife + 0.01 * strands).astype(
        np.float32
    )


@dataclass(frozen=True)
class Speck:
    """A browned spot with a soft edge: its middle, half its size across (1 / e), and how far it has turned."""

    x_mm: float
    y_mm: float
    radius_mm: float
    strength: float
    colour: FloatArray


def draw_specks(rng: np.random.Generator, places_mm: FloatArray, pieces: int) -> list[Speck]:
    """Specks on some of the `places_mm` (n, 2), which are where curd can be seen: mostly in groups, some alone."""
    specks: list[Speck] = []
    if not len(places_mm):
        return specks
    for _ in range(int(rng.poisson(1.6 * pieces))):
        middle = places_mm[int(rng.integers(len(places_mm)))]
        many = 1 if rng.random() < 0.4 else int(rng.integers(2, 9))
        for x, y in middle + rng.normal(0.0, 2.2, (many, 2)) * (many > 1):
            across = float(np.exp(rng.uniform(*np.log(SPECK_MM))))
            tint = np.where(rng.random() < 0.25, [0.3, 0.25, 0.2], _BROWN) * rng.uniform(0.7, 1.4)
            colour = np.asarray(tint, dtype=np.float32)
            specks.append(Speck(float(x), float(y), 0.5 * across, float(rng.uniform(0.25, 0.9)), colour))
    return specks
