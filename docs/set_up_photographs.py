"""The photographs of "Set up your panel": one as it should be and one spoiled, side by side, drawn by vision/render."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from types import MappingProxyType

from PIL import Image
from sketch import INK, RED, STEEL, WIDE, Sheet

from vision.render import Recipe, draw, tidy

_GAP = 16.0
_PANE = ((WIDE - 3 * _GAP) / 2, 288.0)
"""Width and height of one photograph on the page."""
_CAPTION = 48.0


@dataclass(frozen=True)
class Pair:
    """Two shots of one scene with what is said below them."""

    good_words: str
    good: Recipe
    spoiled_words: str
    fault: Mapping[str, object]
    """Fields of the recipe that spoil it."""
    coarser: float = 1.0
    """By how much fewer pixels the spoiled shot has."""


def _scene(kind: str, seed: int, px_per_mm: float, wide_mm: float, **more: object) -> Recipe:
    """A scene so many millimetres wide, of the shape of a pane, without what a shot has by chance."""
    wide_px = round(wide_mm * px_per_mm)
    base = tidy(
        kind,
        seed,
        width_px=wide_px,
        height_px=round(wide_px * _PANE[1] / _PANE[0]),
        px_per_mm=px_per_mm,
        panel_seed=118,
    )
    return replace(base, vessel_edge="none", **more)  # type: ignore[arg-type]


_INSECTS = (("aphid", 3), ("thrips", 2), ("caterpillar", 1))
_WATER = _scene("water", 2101, 20, 62, insects=_INSECTS, exposure=0.72, ripple=0.004)
_STILL = replace(_WATER, seed=2109, clutter=0.5)
_NEAR = _scene("water", 2102, 20, 21, insects=(("aphid", 2), ("thrips", 3)), clutter=0.3, exposure=0.72, ripple=0.004)
_CLOSE = _scene("water", 2107, 20, 9, insects=(("aphid", 1), ("thrips", 3)), clutter=0.0, exposure=0.72, ripple=0.004)
_DRY = _scene("blank", 2108, 20, 62, insects=_INSECTS, clutter=0.5, exposure=0.72)
_DEEP = replace(
    _NEAR, seed=2305, insects=(("aphid", 4), ("thrips", 2)), clutter=1.0, water_depth_mm=6.0, focus_height_mm=3.0,
    depth_blur_px_per_mm=0.45,
)  # fmt: skip
_TOO_DEEP = {"water_depth_mm": 25.0, "focus_height_mm": 25.0}
_FLORETS = _scene(
    "broccoli", 2204, 12, 130, insects=(), clutter=0.2, view="underside", heated=False, white_ground=0.62, apart_mm=14,
    exposure=0.9, panel_on=0.001, light_gradient=0.06,
)  # fmt: skip
_HEATED = replace(_FLORETS, seed=2201, view="opened", heated=True)

PAIRS: Mapping[str, Pair] = MappingProxyType(
    {
        "outshines": Pair("lamps on, panel off", _FLORETS, "the panel outshines them", {"panel_on": 6.0, "exposure": 0.13}),
        "touching": Pair("a finger apart", _FLORETS, "pieces touch", {"touching": 3}),
        "steam": Pair("cooled", _HEATED, "steam", {"steam": 0.8}),
        "burnt": Pair("exposed as it should be", _WATER, "burnt out", {"exposure": 1.9}),
        "glare": Pair("soft light from the side", _WATER, "a lamp mirrored", {"glare": 1.6}),
        "smear": Pair("wiped lens", _WATER, "smeared lens", {"smear": 0.6}),
        "moved": Pair("stand and timer", _NEAR, "moved", {"shake_px": 16.0}),
        "coarse": Pair("20 px/mm", _CLOSE, "8 px/mm", {}, coarser=2.5),
        "drops": Pair("dry panel", _DRY, "drops on the panel", {"wet_panel": 0.08}),
        "bubbles": Pair("still water", _STILL, "bubbles", {"foam": 0.2}),
        "deep": Pair("6 mm of water", _DEEP, "25 mm: the bottom is soft", _TOO_DEEP),
    }
)  # fmt: skip


def photograph(pair: Pair) -> Image.Image:
    """Both shots of a pair, with their captions."""
    sheet = Sheet(round(_PANE[1] + _CAPTION + _GAP / 2))
    good = Image.fromarray(draw(pair.good).pixels)
    spoiled = Image.fromarray(draw(replace(pair.good, **pair.fault)).pixels) if pair.fault else good  # type: ignore[arg-type]
    if pair.coarser > 1:
        size = (round(good.width / pair.coarser), round(good.height / pair.coarser))
        spoiled = spoiled.resize(size, Image.Resampling.BOX)
    for k, (shot, words) in enumerate(((good, pair.good_words), (spoiled, pair.spoiled_words))):
        left = _GAP + k * (_PANE[0] + _GAP)
        sheet.paste(shot, left, _GAP / 2, *_PANE, as_pixels=pair.coarser > 1)
        sheet.box(left, _GAP / 2, _PANE[0], _PANE[1], None, STEEL)
        start = sheet.words(
            "Spoiled: " if k else "Like this: ", (left, _PANE[1] + 36), bold=True, ink=RED if k else INK
        )
        sheet.words(words, (left + start, _PANE[1] + 36))
    return sheet.finished()
