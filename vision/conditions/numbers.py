"""What is wrong with a shot as a whole, as plain numbers: the value that `found.py` makes."""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True)
class Conditions:
    """What is wrong with the shot as a whole, as numbers; each says nothing at its default."""

    too_bright_stops: float = 0.0
    """By how much less to expose, in stops (halvings of light)."""
    too_dark_stops: float = 0.0
    outshines: float = 0.0
    """How many times brighter than the produce the panel under it is, where the produce is lit from above."""
    glare: float = 0.0
    """Share of what was searched that mirrors a lamp."""
    glare_at: str = ""
    """Where: 'at the top', 'in the middle', …"""
    smeared: float = 0.0
    """Share of the light that a smeared lens throws far from where it belongs."""
    steam: float = 0.0
    """Share of the light that steam adds where it is thickest."""
    shade: float = 0.0
    """Share of the produce too dark to judge."""
    touching: tuple[tuple[int, int], ...] = ()
    """Pairs of pieces, numbered in tray order, that touch."""
    drops: int = 0
    """Drops of water on a bare panel."""
    bubbles: float = 0.0
    """Share of the water that bubbles cover."""
    deep: str = ""
    """'bottom' or 'surface': which of the two is soft where the other is sharp."""
    soft_side: str = ""
    """The side of the picture that is soft where the other is sharp."""
    wall: float = 0.0
    """Share of the picture that the tray's wall and what condenses on it hide."""
    mist: float = 0.0
    """Share of the picture that condensation hides."""
    flicker: float = 0.0
    """Relative amplitude of bands that a flickering panel leaves."""
