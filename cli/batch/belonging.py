"""What a shot belongs to: from the code on its slip, and from how it is called."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from vision.guides.views import VIEWS
from vision.table import Belonging

if TYPE_CHECKING:
    from calib.slip.view import SlipText

BLANK = "blank"
"""The view of the wiped tray before any produce."""


def belonging_of(shot: str, run: str, text: SlipText | None = None) -> Belonging:
    """Lot, sample and piece as the slip's code says; the view as the name says."""
    if text is None:
        return Belonging(shot, run, view=view_of(shot))
    return Belonging(shot, run, text.lot, text.sample, text.piece, view_of(shot))


def view_of(shot: str) -> str:
    """The view that the shot's name, or else a folder's, holds as a word of its own ('blank 2.jpg', 'lot7/water/IMG_1.jpg'); ''.

    A plural counts too ('blanks/1.jpg'). The name nearest to the picture decides.
    """
    for part in reversed(shot.split("/")):
        words = re.findall(r"[^\W\d_]+", part.lower())
        for view in VIEWS:
            if view in words or f"{view}s" in words:
                return view
    return ""
