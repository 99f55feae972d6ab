"""The shipped ranker: drawn.json, learned on drawn scenes alone (`python -m vision.train`)."""

from __future__ import annotations

from importlib import resources


def shipped_bytes() -> bytes:
    """Its file. Here and not beside what reads it, so that a digest of it costs no more than reading."""
    return resources.files("vision.rankers").joinpath("drawn.json").read_bytes()
