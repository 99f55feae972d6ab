"""A tidy hand: smooth outlines with flat or gently graded colour on an even panel, then one blur, noise and packing for all."""

from vision.render.hands.plain.scene import draw

__all__ = ["draw"]
