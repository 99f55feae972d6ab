"""The pieces on paper, true to scale: as PDF and SVG with outlines in millimetres, as PNG that carries its dots per inch.

Nothing but the pieces is drawn on the page, and nothing depends on fonts, a clock or the machine: the same call gives the same
bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from calib.slip.ink import Ink, ink_of
from calib.slip.layout import Colour, Piece
from calib.slip.raster import coverage
from calib.slip.view import Points, SlipText
from vision.types import FloatArray

PAPERS_MM: dict[str, tuple[float, float]] = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
"""ISO 216 A4; US Letter, 8.5 x 11 inches."""
MARGIN_MM = 12.0
_GAP_MM = 4.0
# What a page holds lies within both papers, so that a sheet for one comes out whole on the other.
_ROOM_MM = tuple(min(paper[axis] for paper in PAPERS_MM.values()) - 2 * MARGIN_MM for axis in range(2))
PNG_PX_PER_MM = 30
"""762 dots per inch: a whole number a millimetre, so that every border of the layout falls on a border of pixels."""
_INCH_MM = 25.4
_DARKEST = 0.03
"""Reflectance of black print (common practice, no source)."""


@dataclass(frozen=True)
class Bitmap:
    """A printed piece as light: `light` (h, w, 3) float32, linear, 1 where the paper (or film) is bare."""

    light: FloatArray
    px_per_mm: float


@dataclass(frozen=True)
class Placed:
    """A piece's ink, its size, and where on which page its top-left corner lies."""

    ink: Ink
    wide_mm: float
    high_mm: float
    left_mm: float
    top_mm: float
    page: int


def place(prints: Sequence[tuple[Piece, SlipText | None]]) -> list[Placed]:
    """The pieces in rows from the top left of as many pages as it takes. ValueError as in `ink_of`."""
    found: list[Placed] = []
    inks: dict[tuple[str, SlipText | None], Ink] = {}
    x, y, page, row_mm = 0.0, 0.0, 0, 0.0
    for piece, text in prints:
        ink = inks.setdefault((piece.name, text), ink_of(piece, text))
        if x + piece.wide_mm > _ROOM_MM[0] + 1e-9:
            x, y, row_mm = 0.0, y + row_mm + _GAP_MM, 0.0
        if y + piece.high_mm > _ROOM_MM[1] + 1e-9:
            x, y, row_mm, page = 0.0, 0.0, 0.0, page + 1
        place_mm = (round(MARGIN_MM + x, 6), round(MARGIN_MM + y, 6))
        found.append(Placed(ink, piece.wide_mm, piece.high_mm, *place_mm, page))
        x += piece.wide_mm + _GAP_MM
        row_mm = max(row_mm, piece.high_mm)
    return found


def as_pdf(prints: Sequence[tuple[Piece, SlipText | None]], paper: str) -> bytes:
    """One page after the other; viewers are asked to print at 100 % (ISO 32000-1, 12.2, PrintScaling)."""
    from reportlab.pdfgen.canvas import Canvas  # type: ignore[import-untyped]

    wide, high = PAPERS_MM[paper]
    point = 72 / _INCH_MM
    file = io.BytesIO()
    canvas = Canvas(file, pagesize=(wide * point, high * point), invariant=1, pageCompression=1)
    canvas.setTitle("Speckwise scale strip")
    canvas.setCreator("Speckwise")
    canvas.setViewerPreference("PrintScaling", "None")
    placed = place(prints)
    for page in range(placed[-1].page + 1):
        for each in (p for p in placed if p.page == page):
            for colour, rings in each.ink.rings.items():
                if len(set(colour)) == 1:
                    canvas.setFillGray(colour[0] / 255)
                else:
                    canvas.setFillColorRGB(*(level / 255 for level in colour))
                path = canvas.beginPath()
                for ring in rings:
                    # Up is positive on a PDF's page.
                    points = np.array([0.0, high]) + (ring + np.array([each.left_mm, each.top_mm])) * np.array(
                        [1.0, -1.0]
                    )
                    points *= point
                    path.moveTo(*points[0])
                    for x, y in points[1:]:
                        path.lineTo(x, y)
                    path.close()
                canvas.drawPath(path, stroke=0, fill=1, fillMode=0)
        canvas.showPage()
    canvas.save()
    return file.getvalue()


def as_svg(prints: Sequence[tuple[Piece, SlipText | None]], paper: str) -> bytes:
    """SVG 1.1, sized in millimetres. ValueError with a sentence where one page does not hold it all."""
    wide, high = PAPERS_MM[paper]
    lines = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" viewBox="0 0 {wide:g} {high:g}">',
        "<title>Speckwise scale strip</title>",
    ]
    for each in _on_one_page(prints, "SVG"):
        lines.append(f'<g transform="translate({each.left_mm:g} {each.top_mm:g})" fill-rule="evenodd">')
        for colour, rings in each.ink.rings.items():
            path = "".join(_svg_ring(ring) for ring in rings)
            lines.append(f'<path fill="#{colour[0]:02x}{colour[1]:02x}{colour[2]:02x}" d="{path}"/>')
        lines.append("</g>")
    return "\n".join([*lines, "</svg>", ""]).encode()


def _svg_ring(ring: Points) -> str:
    places = [f"{round(x, 4):g},{round(y, 4):g}" for x, y in ring]
    return f"M{places[0]}L{' '.join(places[1:])}Z"


def as_png(prints: Sequence[tuple[Piece, SlipText | None]], paper: str) -> bytes:
    """The whole page at PNG_PX_PER_MM, sRGB, with its resolution (PNG specification, pHYs). ValueError as `as_svg`."""
    wide, high = PAPERS_MM[paper]
    page = np.full((round(high * PNG_PX_PER_MM), round(wide * PNG_PX_PER_MM), 3), 255, np.uint8)
    drawn: dict[int, NDArray[np.uint8]] = {}
    for each in _on_one_page(prints, "PNG"):
        if id(each.ink) not in drawn:
            drawn[id(each.ink)] = _encoded(_light(each.ink, each.wide_mm, each.high_mm, PNG_PX_PER_MM, 0.0))
        picture = drawn[id(each.ink)]
        top, left = round(each.top_mm * PNG_PX_PER_MM), round(each.left_mm * PNG_PX_PER_MM)
        page[top : top + picture.shape[0], left : left + picture.shape[1]] = picture
    file = io.BytesIO()
    dots = PNG_PX_PER_MM * _INCH_MM
    Image.fromarray(page).save(file, "PNG", dpi=(dots, dots), compress_level=6)
    return file.getvalue()


def _on_one_page(prints: Sequence[tuple[Piece, SlipText | None]], kind: str) -> list[Placed]:
    placed = place(prints)
    held = sum(each.page == 0 for each in placed)
    if held < len(placed):
        raise ValueError(
            f"One page holds {held} of these, and {len(placed)} are asked for: a PDF can have several pages, {kind} only one."
        )
    return placed


def piece_bitmap(piece: Piece, px_per_mm: float, text: SlipText | None = None) -> Bitmap:
    """One piece as the light it reflects, or lets through as film, each pixel the mean over its area. ValueError as `ink_of`."""
    light = _light(ink_of(piece, text), piece.wide_mm, piece.high_mm, px_per_mm, _DARKEST)
    return Bitmap(light, px_per_mm)


def _light(ink: Ink, wide_mm: float, high_mm: float, px_per_mm: float, darkest: float) -> FloatArray:
    height, width = round(high_mm * px_per_mm), round(wide_mm * px_per_mm)
    light = np.ones((height, width, 3), np.float32)
    for colour, rings in ink.rings.items():
        covered = coverage([ring * px_per_mm for ring in rings], height, width)
        for channel, kept in enumerate(np.maximum(_linear(colour), np.float32(darkest))):
            light[:, :, channel] -= covered * (1 - kept)
    return np.maximum(light, 0)


def _linear(colour: Colour) -> FloatArray:
    """IEC 61966-2-1."""
    c = np.array(colour, dtype=np.float32) / 255
    return np.where(c <= 0.04045, c / 12.92, ((c + 0.055) / 1.055) ** 2.4).astype(np.float32)


def _encoded(light: FloatArray) -> NDArray[np.uint8]:
    levels = np.where(light <= 0.0031308, 12.92 * light, 1.055 * np.maximum(light, 1e-9) ** (1 / 2.4) - 0.055)
    return np.asarray(np.rint(levels * 255), dtype=np.uint8)
