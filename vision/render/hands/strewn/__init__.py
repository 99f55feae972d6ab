"""Animals and dirt made in space from blended ellipsoids, facets, limbs and sheets, then looked through or lit.

Both come from the same matters and colours, so that only form and structure tell one from the other.
"""

from vision.render.hands.strewn.animals import body
from vision.render.hands.strewn.bits import bit

__all__ = ["bit", "body"]
