"""Shots by other hands as they are asked for: whose, what of, and how finely taken. To add a hand: add an entry to
HANDS, or to UNSEEN if it is to judge."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.render.hands import PX_PER_MM, grown, layered, pieced, plain, solid, spare, washed
from vision.render.hands.seen import HandDrawn

KINDS = ("water", "broccoli", "cloth", "cauliflower", "scallion")
"""What every hand draws."""
_Hand = Callable[[str, int, int, int, int], HandDrawn]
HANDS: dict[str, _Hand] = {
    "layered": layered.draw,
    "pieced": pieced.draw,
    "grown": grown.draw,
    "plain": plain.draw,
    "washed": washed.draw,
}
"""Those that lessons are drawn by."""
UNSEEN: dict[str, _Hand] = {"solid": solid.draw, "spare": spare.draw}
"""Those that only judge: nothing is learned on them, nor anything chosen by them."""


@dataclass(frozen=True)
class HandShot:
    """One shot to draw by another hand, taken at `shrink` (up to 1) times PX_PER_MM."""

    hand: str
    kind: str
    seed: int
    insects: int
    shrink: float = 1.0
    width_px: int = 1600
    height_px: int = 1200


def draw_by_hand(shot: HandShot) -> HandDrawn:
    """The shot and the insects in it. The same shot gives the same bytes with the same libraries."""
    drawn = {**HANDS, **UNSEEN}[shot.hand](shot.kind, shot.seed, shot.insects, shot.width_px, shot.height_px)
    if shot.shrink == 1.0:
        return drawn
    h, w = (round(side * shot.shrink) for side in drawn.pixels.shape[:2])
    pixels = np.asarray(cv2.resize(drawn.pixels, (w, h), interpolation=cv2.INTER_AREA), np.uint8)
    across, down = w / drawn.pixels.shape[1], h / drawn.pixels.shape[0]
    truth = tuple(
        replace(body, x_px=(body.x_px + 0.5) * across - 0.5, y_px=(body.y_px + 0.5) * down - 0.5)
        for body in drawn.truth
    )
    return HandDrawn(pixels, truth, PX_PER_MM * across)
