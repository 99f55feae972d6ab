"""Draws photographs of a light panel with exact truth: panels, rinse water, florets, insects, bycatch and the camera."""

from vision.render.prints import Print
from vision.render.recipe import Recipe, filled, tidy, vary
from vision.render.scene import Drawn, draw
from vision.render.truth import TrueBody
from vision.render.truth import truth_rows as _rows

__all__ = ["Drawn", "Print", "Recipe", "TrueBody", "draw", "filled", "tidy", "truth_rows", "vary"]


def truth_rows(drawn: Drawn) -> list[dict[str, object]]:
    """The truth of a drawn shot as plain values, one dict a body, for CSV and JSON."""
    return _rows(drawn.truth)
