"""The hand grown: scenes grown by simple rules and bodies built from parts, near to photographs in light, depth and wet matter."""

from vision.render.hands.grown.scene import KINDS, draw

__all__ = ["KINDS", "draw"]
