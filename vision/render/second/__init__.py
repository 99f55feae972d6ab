"""A second family of bodies, for judging what was learned on the first: it shares no code, no shape and no colour with it.

Bodies are solids made of rows of balls, looked through along the light's way; the first family's are outlines that are tinted.
"""

from __future__ import annotations

from vision.render.patch import BodyFamily
from vision.render.second.aphids import draw_aphid
from vision.render.second.eggs import draw_egg
from vision.render.second.grubs import draw_caterpillar
from vision.render.second.husks import draw_skin
from vision.render.second.maggots import draw_larva
from vision.render.second.midges import draw_gnat
from vision.render.second.mites import draw_mite
from vision.render.second.slim import draw_thrips

DRAWN_BY: dict[str, BodyFamily] = {
    "aphid": draw_aphid,
    "thrips": draw_thrips,
    "caterpillar": draw_caterpillar,
    "larva": draw_larva,
    "mite": draw_mite,
    "gnat": draw_gnat,
    "egg": draw_egg,
    "skin": draw_skin,
}
"""Which kind is drawn by which function."""

__all__ = ["DRAWN_BY"]
