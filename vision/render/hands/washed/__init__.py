"""A hand like a painter in watercolour: pictures built from translucent strokes of uneven pigment."""

from vision.render.hands.washed.scene import draw

__all__ = ["draw"]
