"""A hand that thinks in optics: everything is an optical density laid over a light, then seen through a lens."""

from vision.render.hands.spare.scene import draw

__all__ = ["draw"]
