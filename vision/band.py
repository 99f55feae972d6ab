"""The band under the annotated picture: foot text, legend of the forms, scale bar. It is added below and hides nothing."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from PIL import Image, ImageDraw, ImageFont

from vision.foot import FootLine
from vision.marks import DARK, FORMS, Look, Picture, draw_lines
from vision.shapes import SHAPES
from vision.text import font, wide_px, wrap, write
from vision.types import FloatArray, Inspection

_PAPER, _INK = "#f4f4f0", "#111111"
_BARS_MM = (20.0, 10.0, 5.0, 2.0, 1.0, 0.5, 0.2, 0.1)
# Longer bars than this share of the picture say no more and take room from the text.
_BAR_SHARE = 0.25


def bar_mm(px_per_mm: float, width_px: float) -> float | None:
    """Length of the scale bar: the longest of a fixed list that takes at most a quarter of the width; None where none does."""
    return next((mm for mm in _BARS_MM if mm * px_per_mm <= _BAR_SHARE * width_px), None)


@dataclass(frozen=True)
class _Row:
    """One line of text ready to be written: left end and baseline in px."""

    x: float
    y: float
    text: str
    face: ImageFont.FreeTypeFont


@dataclass(frozen=True)
class _Sign:
    """One entry of the right column: a name, and what is drawn beside it."""

    name: str
    kind: str
    """A form of FORMS, 'hatch', 'bar' or 'none'."""
    wide_px: float


def _signs(inspection: Inspection, zoom: float, cap_px: float) -> list[_Sign]:
    usual = 3.0 * cap_px
    seen = {candidate.shape for candidate in inspection.candidates}
    signs = []
    if inspection.px_per_mm is None:
        signs.append(_Sign("no scale", "none", 0.0))
    else:
        scale = inspection.px_per_mm * zoom
        mm = bar_mm(scale, inspection.width_px * zoom)
        signs += [] if mm is None else [_Sign(f"{mm:g} mm", "bar", mm * scale)]
    signs += [_Sign(shape.name, shape.mark, usual) for shape in SHAPES if shape.name in seen]
    if inspection.unsearched.any():
        signs.append(_Sign("not searched", "hatch", usual))
    return signs


def _body(cap_px: float, form: str) -> FloatArray:
    """A small example of a speck for the legend, (n, 2), round the origin."""
    long = {"ring": 0.45, "diamond": 0.35}.get(form, 0.9)
    t = np.linspace(0, 2 * np.pi, 24, endpoint=False)
    return (cap_px * np.stack([long * np.cos(t), 0.3 * np.sin(t)], axis=1)).astype(np.float32)


def _draw_sign(picture: Picture, sign: _Sign, x: float, y: float, look: Look) -> None:
    """Draws a sign with its left end at x and its middle at y."""
    cap = look.cap_px
    if sign.kind == "bar":
        core = look.core_px
        ends = [(x, y - cap / 2, x, y + cap / 2), (x + sign.wide_px, y - cap / 2, x + sign.wide_px, y + cap / 2)]
        lines = [np.array(e, dtype=np.float32).reshape(2, 2) for e in [*ends, (x, y, x + sign.wide_px, y)]]
        draw_lines(picture, lines, [DARK] * 3, core, core, closed=False)
    elif sign.kind == "hatch":
        lines = [
            np.array([[x + k * cap, y + 0.7 * cap], [x + (k + 1.4) * cap, y - 0.7 * cap]], dtype=np.float32)
            for k in (0.1, 0.8, 1.5)
        ]
        draw_lines(picture, lines, [DARK] * 3, look.thin_px, look.thin_px, closed=False)
    elif sign.kind in FORMS:
        form = FORMS[sign.kind]
        body = _body(cap, sign.kind) + np.array([x + 1.5 * cap, y], dtype=np.float32)
        line = form.line(body.astype(np.float32), 0.0, 0.4 * cap).astype(np.float32)
        draw_lines(picture, [line], [form.ink], look.core_px, look.core_px, closed=True)
        draw_lines(picture, [body.astype(np.float32)], [DARK], look.thin_px, look.thin_px, closed=True)


def _set_text(
    lines: Sequence[FootLine], width_px: int, column_px: float, look: Look
) -> tuple[list[_Row], float, float]:
    """Places the text: title and alert over the whole width, the rest in a column. Also where that column starts and ends."""
    cap = look.cap_px
    margin = 1.6 * cap
    faces = {"title": font(1.4 * cap, bold=True), "alert": font(1.2 * cap, bold=True), "plain": font(cap)}
    rows: list[_Row] = []
    y, column_top = 1.2 * cap, 0.0
    for line in lines:
        face = faces[line.weight]
        high = {"title": 1.4, "alert": 1.2, "plain": 1.0}[line.weight] * cap
        limit = width_px - 2 * margin if line.weight != "plain" else column_px
        if line.weight == "plain" and not column_top:
            column_top = y
        for text in wrap(line.text, face, limit):
            y += 1.9 * high
            rows.append(_Row(margin, y, text, face))
        y += 0.35 * cap
    return rows, column_top, y


def band(inspection: Inspection, lines: Sequence[FootLine], width_px: int, zoom: float, look: Look) -> Picture:
    """The band as an (h, `width_px`, 3) uint8 picture; `zoom` is that of the picture above it, for the scale bar."""
    cap = look.cap_px
    margin = 1.6 * cap
    face = font(cap)
    signs = _signs(inspection, zoom, cap)
    right_px = max((sign.wide_px + 0.8 * cap + wide_px(sign.name, face) for sign in signs), default=0.0)
    # Two columns where the text keeps a width that reads well, else the signs follow below it.
    two = width_px - right_px - 4 * margin >= 30 * cap
    column_px = width_px - 2 * margin - (right_px + 2 * margin if two else 0)
    rows, column_top, text_end = _set_text(lines, width_px, column_px, look)
    x = width_px - margin - right_px if two else margin
    y = column_top if two else text_end
    placed = []
    for sign in signs:
        y += 1.25 * cap
        placed.append((sign, y))
        rows.append(_Row(x + sign.wide_px + 0.8 * cap, y + cap / 2, sign.name, face))
        y += 1.25 * cap
    image = Image.new("RGB", (width_px, int(np.ceil(max(text_end, y) + 1.2 * cap))), _PAPER)
    draw = ImageDraw.Draw(image)
    draw.rectangle((0, 0, width_px, max(1, look.core_px)), fill=_INK)
    for row in rows:
        write(draw, (row.x, row.y), row.text, row.face, _INK)
    picture: Picture = np.array(image, dtype=np.uint8)
    for sign, middle in placed:
        _draw_sign(picture, sign, x, middle, look)
    return picture
