"""Single insects and single bits of dirt from one engine: form and look are drawn apart from each other."""

from vision.render.hands.varied.animal import body
from vision.render.hands.varied.bits import bit

__all__ = ["bit", "body"]
