"""The one description of what is printed: the strip and the four corner pieces, in millimetres.

Each piece has its origin at the top-left corner of its outline, x along its long side, y down. A row of chequers runs along
both long sides (all round on a corner piece). Where four chequers meet is a saddle point, the same under a half turn, so that
neither blur nor exposure nor sharpening moves it; markers say which piece it is and where to look for its saddle points.
Every straight border lies on a multiple of 0.1 mm.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.slip.view import Points, PrintedEdge

VERSION = "1"
"""Of the layout; printed on each piece. Another layout takes other marker ids."""
STRIP = "strip"
CORNERS = ("corner-1", "corner-2", "corner-3", "corner-4")
BITS = 4
"""Markers of cv2.aruco's DICT_4X4_50: 4 x 4 bits inside a black border of one cell."""
MARKER_CELLS = BITS + 2
CHEQUER_MM = 1.2

Rect = tuple[float, float, float, float]
"""left, top, width, height in millimetres."""
Colour = tuple[int, int, int]
"""sRGB, 0 to 255."""


@dataclass(frozen=True)
class Marker:
    """A square marker: its number in the dictionary, its top-left corner and the width of a cell."""

    number: int
    left_mm: float
    top_mm: float
    cell_mm: float

    @property
    def side_mm(self) -> float:
        return MARKER_CELLS * self.cell_mm

    @property
    def corners_mm(self) -> Points:
        """(4, 2): top left, top right, bottom right, bottom left."""
        x, y, s = self.left_mm, self.top_mm, self.side_mm
        return np.array([[x, y], [x + s, y], [x + s, y + s], [x, y + s]])


@dataclass(frozen=True)
class Patch:
    """An even patch of one colour."""

    name: str
    colour: Colour
    rect_mm: Rect


@dataclass(frozen=True)
class Piece:
    """One printed piece.

    `saddles_mm` (n, 2) with `saddle_signs` (n,): 1 where the chequers at the top left and bottom right of the point are black,
    -1 where they are white. `chequers_mm`: the black chequers. `block_mm` (4, 2): the slanted block, None where there is none.
    """

    name: str
    wide_mm: float
    high_mm: float
    markers: tuple[Marker, ...]
    chequers_mm: tuple[Rect, ...]
    saddles_mm: Points
    saddle_signs: NDArray[np.float64]
    block_mm: Points | None = None
    edges: tuple[PrintedEdge, ...] = ()
    patches: tuple[Patch, ...] = ()
    code_mm: Rect | None = None
    ruler_mm: tuple[float, float] | None = None
    """Left end and top of the bar that is 50 mm long."""

    @property
    def outline_mm(self) -> Points:
        """(4, 2) round all of the piece, clockwise as seen from the top left."""
        return np.array([[0.0, 0.0], [self.wide_mm, 0.0], [self.wide_mm, self.high_mm], [0.0, self.high_mm]])


RULER_LENGTH_MM = 50.0
_STRIP_SIZE_MM = (90.0, 21.0)
_CORNER_SIZE_MM = (20.4, 20.4)
_MARKER_TOP_MM = 5.8
_STRIP_MARKERS = ((27, 2.0), (33, 24.0), (40, 33.9), (43, 56.7), (46, 66.6))
"""Number and left border of each marker of the strip; with the chequers' corner markers all nine differ in 5 bits or more."""
_CORNER_MARKERS = (23, 28, 36, 45)
_BLOCK_MM: Rect = (11.5, 5.4, 10.2, 10.2)
_SLANT = 0.0963  # tan 5.5 degrees
_EDGE_END_MM = 1.0
_EDGE_ROOM_MM = 2.2
_GREYS: tuple[tuple[str, int], ...] = (
    ("grey-1", 225),
    ("grey-2", 188),
    ("grey-3", 148),
    ("grey-4", 105),
    ("grey-5", 62),
)
_COLOURS: tuple[tuple[str, Colour], ...] = (
    ("red", (190, 45, 40)),
    ("yellow", (235, 200, 40)),
    ("green", (60, 140, 70)),
    ("blue", (50, 80, 165)),
)


def strip() -> Piece:
    """The scale strip, 90 x 21 mm."""
    wide, high = _STRIP_SIZE_MM
    columns = round((wide - 2 * CHEQUER_MM) / CHEQUER_MM)
    rows = ((0.6, columns), (high - 0.6 - 2 * CHEQUER_MM, columns))
    chequers: list[Rect] = []
    saddles: list[tuple[float, float, float]] = []
    for top, many in rows:
        black, points = _band(CHEQUER_MM, top, many)
        chequers += black
        saddles += points
    block = _block(_BLOCK_MM)
    return Piece(
        name=STRIP,
        wide_mm=wide,
        high_mm=high,
        markers=tuple(Marker(number, left, _MARKER_TOP_MM, 1.2) for number, left in _STRIP_MARKERS),
        chequers_mm=tuple(chequers),
        saddles_mm=np.array([s[:2] for s in saddles]),
        saddle_signs=np.array([s[2] for s in saddles]),
        block_mm=block,
        edges=_edges(block),
        patches=_patches(43.8, 5.2),
        code_mm=(75.4, 4.0, 13.0, 13.0),
        ruler_mm=(24.0, 14.1),
    )


def corner(number: int) -> Piece:
    """Corner piece 1 to 4, about 20 x 20 mm: top left, top right, bottom right, bottom left of the field."""
    wide, high = _CORNER_SIZE_MM
    margin = 0.6
    many = round((wide - 2 * margin) / CHEQUER_MM)
    grid = [(i, j) for j in range(many) for i in range(many) if min(i, j, many - 1 - i, many - 1 - j) < 2]
    chequers = tuple(
        (_mm(margin + i * CHEQUER_MM), _mm(margin + j * CHEQUER_MM), CHEQUER_MM, CHEQUER_MM)
        for i, j in grid
        if (i + j) % 2 == 0
    )
    ring = [(i, j) for j in range(1, many) for i in range(1, many) if min(i, j, many - i, many - j) == 1]
    return Piece(
        name=CORNERS[number - 1],
        wide_mm=wide,
        high_mm=high,
        markers=(Marker(_CORNER_MARKERS[number - 1], 5.7, 4.9, 1.5),),
        chequers_mm=chequers,
        saddles_mm=np.array([(margin + i * CHEQUER_MM, margin + j * CHEQUER_MM) for i, j in ring]),
        saddle_signs=np.array([1.0 if (i + j) % 2 == 0 else -1.0 for i, j in ring]),
    )


@lru_cache(maxsize=1)
def all_pieces() -> tuple[Piece, ...]:
    """The strip and the four corner pieces."""
    return (strip(), *(corner(number) for number in range(1, 5)))


def marker_bits(number: int) -> NDArray[np.uint8]:
    """(6, 6) uint8, 1 where the cell is white, border included; of DICT_4X4_50."""
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    bits = cv2.aruco.Dictionary.getBitsFromByteList(dictionary.bytesList[number : number + 1], BITS)
    return np.pad(np.asarray(bits, dtype=np.uint8).reshape(BITS, BITS), 1)


def mirrored(piece: Piece) -> Piece:
    """The piece as it looks from behind, through clear film; its markers' bits are then mirrored, too."""

    def turned(points: Points) -> Points:
        return np.column_stack([piece.wide_mm - points[:, 0], points[:, 1]])

    def flipped(rect: Rect) -> Rect:
        return (_mm(piece.wide_mm - rect[0] - rect[2]), *rect[1:])

    def edge(each: PrintedEdge) -> PrintedEdge:
        (x0, y0), (x1, y1) = each.start_mm, each.end_mm
        return PrintedEdge((piece.wide_mm - x0, y0), (piece.wide_mm - x1, y1), each.room_mm)

    return replace(
        piece,
        markers=tuple(replace(m, left_mm=_mm(piece.wide_mm - m.left_mm - m.side_mm)) for m in piece.markers),
        chequers_mm=tuple(flipped(rect) for rect in piece.chequers_mm),
        saddles_mm=turned(piece.saddles_mm),
        saddle_signs=-piece.saddle_signs,
        block_mm=None if piece.block_mm is None else turned(piece.block_mm),
        edges=tuple(edge(each) for each in piece.edges),
        patches=tuple(replace(p, rect_mm=flipped(p.rect_mm)) for p in piece.patches),
        code_mm=None if piece.code_mm is None else flipped(piece.code_mm),
        ruler_mm=None,
    )


def _mm(value: float) -> float:
    """Without the rounding of binary sums: 1.2 + 1.2 + 1.2 is 3.6."""
    return round(value, 6)


def _band(left: float, top: float, columns: int) -> tuple[list[Rect], list[tuple[float, float, float]]]:
    """Two rows of chequers: the black ones, and (x, y, sign) of the saddle points between the rows."""
    black = [
        (_mm(left + i * CHEQUER_MM), _mm(top + j * CHEQUER_MM), CHEQUER_MM, CHEQUER_MM)
        for j in range(2)
        for i in range(columns)
        if (i + j) % 2 == 0
    ]
    # Between column i-1 and column i the top-left chequer is column i-1 of the upper row, black where i-1 is even.
    points = [
        (_mm(left + i * CHEQUER_MM), _mm(top + CHEQUER_MM), 1.0 if (i - 1) % 2 == 0 else -1.0)
        for i in range(1, columns)
    ]
    return black, points


def _block(box: Rect) -> Points:
    """Four corners, clockwise from the top left, of a block whose left and right sides lean against each other, as do its top
    and bottom: however the piece is turned, one of each pair is well off the rows and columns of pixels."""
    left, top, wide, high = box
    bottom_left = np.array([left, top + high])
    bottom_right = np.array([left + wide, top + high - _SLANT * wide])
    top_left = np.array([left + _SLANT * high, top])
    # Where the falling top side meets the leaning right side.
    rise = bottom_right[1] - top_left[1]
    x = (bottom_right[0] - _SLANT * (rise + _SLANT * top_left[0])) / (1 - _SLANT**2)
    top_right = np.array([x, top_left[1] + _SLANT * (x - top_left[0])])
    return np.array([top_left, top_right, bottom_right, bottom_left])


def _edges(block: Points) -> tuple[PrintedEdge, ...]:
    """The block's four sides without their ends, where the neighbouring side comes in."""
    found = []
    for k in range(4):
        a, b = block[k], block[(k + 1) % 4]
        step = (b - a) / np.hypot(*(b - a)) * _EDGE_END_MM
        start, end = a + step, b - step
        found.append(
            PrintedEdge((float(start[0]), float(start[1])), (float(end[0]), float(end[1])), room_mm=_EDGE_ROOM_MM)
        )
    return tuple(found)


def _patches(left: float, top: float) -> tuple[Patch, ...]:
    """Five greys and four colours in three rows of three."""
    inks: list[tuple[str, Colour]] = [(name, (level, level, level)) for name, level in _GREYS]
    inks += _COLOURS
    wide, high = 3.4, 2.8
    return tuple(
        Patch(name, colour, (_mm(left + k % 3 * wide), _mm(top + k // 3 * high), wide, high))
        for k, (name, colour) in enumerate(inks)
    )
