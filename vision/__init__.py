"""Arrays in, values out: light, surfaces, specks, measures, shapes, scores."""

__app__ = "speckwise"
__version__ = "0.1.0"
