"""All the ink of one piece: closed outlines in millimetres, by colour. Every way of drawing it starts from here."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from calib.slip.layout import RULER_LENGTH_MM, STRIP, VERSION, Colour, Marker, Piece, Rect, marker_bits
from calib.slip.lettering import outlines, shortened, wide_mm
from calib.slip.text import code_modules
from calib.slip.view import Points, SlipText

BLACK: Colour = (0, 0, 0)
_LINE_MM = 0.1
_FIELDS = (("Lot", "lot"), ("Sample", "sample"), ("Produce", "produce"), ("Piece", "piece"))
_WORDS = f"▲ this side up · slip {VERSION} · print at 100 %: this bar must measure 50.0 mm"
_GAP_MM = 2.0


@dataclass
class Ink:
    """Rings by colour; holes run the other way round. No two rings of one piece overlap."""

    rings: dict[Colour, list[Points]] = field(default_factory=dict)

    def add(self, ring: Points, colour: Colour = BLACK) -> None:
        self.rings.setdefault(colour, []).append(np.asarray(ring, dtype=np.float64))

    def rect(self, rect: Rect, colour: Colour = BLACK) -> None:
        x, y, w, h = rect
        self.add(np.array([[x, y], [x + w, y], [x + w, y + h], [x, y + h]]), colour)

    def text(self, line: str, left_mm: float, baseline_mm: float, cap_mm: float) -> None:
        for ring in outlines(line, left_mm, baseline_mm, cap_mm):
            self.add(ring)


def ink_of(piece: Piece, text: SlipText | None = None) -> Ink:
    """The ink of a piece; on the strip with the code and the words of `text`, or lines to write on where there is none.

    Raises ValueError with a sentence where the text is too long for the code.
    """
    ink = Ink()
    _frame(ink, piece)
    for rect in piece.chequers_mm:
        ink.rect(rect)
    for marker in piece.markers:
        _marker(ink, marker)
    if piece.block_mm is not None:
        ink.add(piece.block_mm)
    for patch in piece.patches:
        ink.rect(patch.rect_mm, patch.colour)
    if piece.name != STRIP:
        _corner_words(ink, piece)
        return ink
    _ruler(ink, piece)
    if text is None or text == SlipText():
        _lines_to_write_on(ink, piece)
    else:
        _code(ink, piece, text)
        _readable(ink, piece, text)
    return ink


def _frame(ink: Ink, piece: Piece) -> None:
    """A thin line just inside the outline, to cut along."""
    ink.add(piece.outline_mm)
    w, h, t = piece.wide_mm, piece.high_mm, _LINE_MM
    ink.add(np.array([[t, t], [t, h - t], [w - t, h - t], [w - t, t]]))


def _marker(ink: Ink, marker: Marker) -> None:
    for j, row in enumerate(marker_bits(marker.number)):
        _runs(ink, [bit == 0 for bit in row], marker.left_mm, marker.top_mm + j * marker.cell_mm, marker.cell_mm)


def _runs(ink: Ink, black: Sequence[bool], left_mm: float, top_mm: float, cell_mm: float) -> None:
    """One row of cells, neighbouring black ones as one rectangle: no hair of white between them."""
    start: int | None = None
    for i, cell in enumerate([*black, False]):
        if cell and start is None:
            start = i
        elif not cell and start is not None:
            ink.rect((left_mm + start * cell_mm, top_mm, (i - start) * cell_mm, cell_mm))
            start = None


def _ruler(ink: Ink, piece: Piece) -> None:
    """The bar that is 50 mm long, with a line at each millimetre; what to do with it in words."""
    if piece.ruler_mm is None:
        return
    left, top = piece.ruler_mm
    bar = 0.4
    ink.rect((left, top, RULER_LENGTH_MM, bar))
    for mm in range(int(RULER_LENGTH_MM) + 1):
        high = 1.0 if mm % 10 == 0 else 0.75 if mm % 5 == 0 else 0.5
        # The two outermost lines end with the bar, so that nothing is longer than 50.0 mm.
        x = min(max(left + mm - _LINE_MM / 2, left), left + RULER_LENGTH_MM - _LINE_MM)
        ink.rect((x, top + bar, _LINE_MM, high))
        if mm % 10 == 0:
            label = str(mm)
            wide = wide_mm(label, 0.8)
            ink.text(label, left + mm - wide / 2, top + 2.4, 0.8)
    words = shortened(_WORDS, 0.85, RULER_LENGTH_MM)
    ink.text(words, left, top + 3.45, 0.85)


def _lines_to_write_on(ink: Ink, piece: Piece) -> None:
    if piece.code_mm is None:
        return
    left, top, wide, high = piece.code_mm
    for row, (label, _) in enumerate(_FIELDS):
        baseline = top + high / len(_FIELDS) * (row + 1) - 0.4
        ink.text(label, left, baseline - 0.25, 0.9)
        start = left + wide_mm("Produce", 0.9) + 0.4
        ink.rect((start, baseline, left + wide - start, _LINE_MM))


def _code(ink: Ink, piece: Piece, text: SlipText) -> None:
    if piece.code_mm is None:
        return
    modules = code_modules(text)
    left, top, wide, _ = piece.code_mm
    cell = wide / len(modules)
    for j, row in enumerate(modules):
        _runs(ink, [bool(m) for m in row], left, top + j * cell, cell)


def _readable(ink: Ink, piece: Piece, text: SlipText) -> None:
    """The texts in words, in one line above the markers; the longest are cut until all have room."""
    if piece.ruler_mm is None:
        return
    cap, left, baseline = 1.1, piece.ruler_mm[0], 4.75
    parts = [f"{label} {value}" for label, name in _FIELDS if (value := _printable(getattr(text, name)))]
    free = RULER_LENGTH_MM - _GAP_MM * (len(parts) - 1)
    for part, limit in zip(parts, _shares([wide_mm(p, cap) for p in parts], free), strict=True):
        shown = shortened(part, cap, limit)
        ink.text(shown, left, baseline, cap)
        left += wide_mm(shown, cap) + _GAP_MM


def _shares(wishes: Sequence[float], free: float) -> list[float]:
    """Widths of at most the wishes and together at most `free`: whoever wants less than an equal share leaves the rest."""
    shares = [0.0] * len(wishes)
    for done, k in enumerate(sorted(range(len(wishes)), key=lambda k: wishes[k])):
        shares[k] = min(wishes[k], free / (len(wishes) - done))
        free -= shares[k]
    return shares


def _printable(value: str) -> str:
    return " ".join("".join(c if c.isprintable() else " " for c in value).split())


def _corner_words(ink: Ink, piece: Piece) -> None:
    number = piece.name.rsplit("-", 1)[-1]
    where = {"1": "top left", "2": "top right", "3": "bottom right", "4": "bottom left"}[number]
    for line, baseline in ((f"▲ {number} · {where}", 15.6), (f"slip {VERSION} · print at 100 %", 16.9)):
        limit = piece.wide_mm - 6.6
        shown = shortened(line, 0.85, limit)
        ink.text(shown, (piece.wide_mm - wide_mm(shown, 0.85)) / 2, baseline, 0.85)
