"""The diagrams of "Set up your panel"."""

from __future__ import annotations

import math
from functools import lru_cache

import numpy as np
from PIL import Image
from sketch import (
    BLUE,
    INK,
    LIGHT,
    ORANGE,
    PAPER,
    PIECE,
    RED,
    SHADE,
    SKY,
    SOFT,
    STALK,
    STEEL,
    TITLE_CAP,
    Point,
    Sheet,
    lobed,
)

from calib.slip.ink import ink_of
from calib.slip.layout import strip
from calib.slip.raster import coverage
from calib.slip.view import SlipText

_PX = 1.3
"""Pixels for one millimetre in the side view of the stand."""


def stand() -> Image.Image:
    """The stand from the side, with its measures."""
    sheet = Sheet(650)
    middle, table = 400.0, 520.0
    panel_top = table - 16
    lens = panel_top - 300 * _PX
    field = 100 * _PX
    sheet.line([(60, table), (840, table)], INK, 2.5)
    _column(sheet, 630, table, lens - 6, middle + 85)
    sheet.shape([(middle, lens), (middle - field, panel_top - 6), (middle + field, panel_top - 6)], "#f4f8fb", None)
    sheet.dashes((middle, lens), (middle - field, panel_top - 6))
    sheet.dashes((middle, lens), (middle + field, panel_top - 6))
    _panel(sheet, middle, panel_top, 300 * _PX, 16, lit=True)
    sheet.box(middle - 60, panel_top - 4, 117, 3, INK, None)
    _tray(sheet, middle, panel_top - 4, 240 * _PX, 26, 9)
    sheet.box(middle - 95, lens - 18, 190, 13, INK, INK, 5)
    sheet.box(middle - 9, lens - 6, 18, 6, BLUE, INK, 2)
    left = middle - field - 70
    sheet.dashes((left - 12, lens), (middle - 12, lens), BLUE, 1)
    sheet.measure((left, lens), (left, panel_top - 8), "250 to\n350 mm", (left - 14, (lens + panel_top) / 2 - 6), "end")
    sheet.label("Phone: level, its 2x lens over\nthe middle, flash off", (60, 42), (middle - 70, lens - 12))
    sheet.label("Stand: heavy,\ndoes not move", (690, 230), (633, 250))
    sheet.label("Acrylic tray,\nwater 5 to 8 mm", (690, 400), (middle + 130, panel_top - 9))
    sheet.label("Slip under the tray, flat", (60, 574), (middle - 40, panel_top - 2), "start")
    sheet.label("Light panel: sealed,\nlow voltage", (60, 610), (middle + 10, table - 7))
    _foot_switch(sheet, 760, 612)
    sheet.words("Timer or foot switch:\nno hand on the phone", (690, 582), anchor="end")
    return sheet.finished()


def _column(sheet: Sheet, x: float, table: float, arm: float, arm_end: float) -> None:
    sheet.box(x - 50, table - 10, 100, 10, STEEL)
    sheet.box(x - 6, 60, 12, table - 70, STEEL)
    sheet.box(arm_end, arm - 12, x - arm_end, 10, STEEL)
    sheet.box(x - 14, arm - 20, 28, 26, STEEL, INK, 4)


def _panel(sheet: Sheet, middle: float, top: float, wide: float, high: float, lit: bool) -> None:
    sheet.box(middle - wide / 2, top, wide, high, LIGHT if lit else SHADE, INK, 3)


def _tray(sheet: Sheet, middle: float, floor: float, wide: float, high: float, water: float) -> None:
    left, right = middle - wide / 2, middle + wide / 2
    sheet.box(left + 4, floor - 4 - water, wide - 8, water, SKY, None)
    sheet.line([(left + 4, floor - 4 - water), (right - 4, floor - 4 - water)], BLUE, 1.5)
    sheet.shape(
        [(left, floor - high), (left + 4, floor - high), (left + 4, floor - 4), (right - 4, floor - 4),
         (right - 4, floor - high), (right, floor - high), (right, floor), (left, floor)],
        "#dfe6ea", INK, 1,
    )  # fmt: skip


def _foot_switch(sheet: Sheet, x: float, y: float) -> None:
    sheet.shape([(x - 48, y), (x + 48, y), (x + 48, y - 8), (x - 48, y - 26)], STEEL)
    sheet.box(x - 54, y, 108, 8, INK, None)


_TEXT = SlipText("LH-26-118", "3", "broccoli", "2")


@lru_cache(maxsize=1)
def printed() -> Image.Image:
    """The slip as it is printed, 24 pixels a millimetre."""
    piece, px_per_mm = strip(), 24
    high, wide = round(piece.high_mm * px_per_mm), round(piece.wide_mm * px_per_mm)
    paper = np.full((high, wide, 3), 255, np.float32)
    for colour, rings in ink_of(piece, _TEXT).rings.items():
        covered = coverage([ring * px_per_mm for ring in rings], high, wide)[..., None]
        paper += covered * (np.array(colour, np.float32) - paper)
    return Image.fromarray(np.rint(paper).astype(np.uint8))


def slip() -> Image.Image:
    """The printed slip with a ruler at its bar, and the two ways to lay it."""
    sheet = Sheet(525)
    mm = 8.4
    left, top = 72.0, 24.0
    sheet.paste(printed(), left, top, 90 * mm, 21 * mm)
    ruler = top + 21 * mm + 46
    zero = left + 24 * mm
    _ruler(sheet, zero, ruler, mm)
    for end in (zero, zero + 50 * mm):
        sheet.line([(end, top + 14.6 * mm), (end, ruler - 2)], BLUE)
    y = top + 21 * mm + 24
    sheet.measure((zero, y), (zero + 50 * mm, y), "this bar: 50.0 mm", (zero + 25 * mm, y + 6), "middle")
    _laid(sheet, 225, "Paper, laminated:\nflat beside the pieces", under=False)
    _laid(sheet, 675, "See-through film:\nunder the tray, seen from above", under=True)
    return sheet.finished()


def _ruler(sheet: Sheet, zero: float, top: float, mm: float) -> None:
    sheet.box(zero - 4 * mm, top, 58 * mm, 44, STEEL, INK, 3)
    for k in range(51):
        high = 16 if k % 10 == 0 else 12 if k % 5 == 0 else 8
        sheet.line([(zero + k * mm, top + 1), (zero + k * mm, top + high)], INK, 1)
        if k % 10 == 0:
            sheet.words(str(k), (zero + k * mm, top + 34), anchor="middle", cap=10)


def _laid(sheet: Sheet, middle: float, words: str, under: bool) -> None:
    floor = 436.0
    _panel(sheet, middle, floor + 8, 330, 16, lit=under)
    if under:
        sheet.box(middle - 70, floor + 4, 140, 4, INK, None)
        _tray(sheet, middle, floor + 3, 290, 36, 12)
    else:
        for dx in (-110, -40):
            _floret_side(sheet, middle + dx, floor + 8, 0.55)
        sheet.box(middle + 20, floor + 4, 120, 4, INK, None)
    place = (middle + (0 if under else 80), floor + 6)
    sheet.line([(place[0], floor - 70), place], SOFT, 1)
    sheet.words("slip", (place[0], floor - 78), anchor="middle", bold=True)
    sheet.words(words, (middle, floor + 52), anchor="middle")


def lights() -> Image.Image:
    """Light from below on the left, from above on the right."""
    sheet = Sheet(480)
    sheet.line([(450, 20), (450, 460)], STEEL, 1)
    _below(sheet, 225)
    _above(sheet, 675)
    return sheet.finished()


def _below(sheet: Sheet, middle: float) -> None:
    sheet.words("Light from below", (middle, 40), anchor="middle", bold=True, cap=TITLE_CAP)
    _panel(sheet, middle, 330, 330, 20, lit=True)
    _tray(sheet, middle, 326, 270, 30, 11)
    for k in range(-3, 4):
        sheet.arrow((middle + 38 * k, 300), (middle + 38 * k, 180), ORANGE, 2.5)
    _phone(sheet, middle, 110)
    sheet.words("Panel on, lamps off", (middle, 385), anchor="middle", bold=True)
    sheet.words("water, cloth, leaves,\nsingle layers, peelings", (middle, 415), anchor="middle")


def _above(sheet: Sheet, middle: float) -> None:
    sheet.words("Light from above", (middle, 40), anchor="middle", bold=True, cap=TITLE_CAP)
    ground = 330.0
    _panel(sheet, middle, ground, 350, 20, lit=False)
    _phone(sheet, middle, 110)
    for side in (-1, 1):
        lamp = (middle + side * 172, ground - 202)
        _lamp(sheet, lamp, side)
        for shift in (-16, 16):
            start = (lamp[0] - side * (24 - shift * 0.7), lamp[1] + 24 + shift * 0.7)
            end = (start[0] - side * 74, start[1] + 74)
            sheet.arrow(start, end, ORANGE, 2.5)
        aim = (middle + side * 24, ground - 54)
        sheet.dashes(lamp, aim, BLUE, 1)
        sheet.dashes(aim, (aim[0] + side * 120, aim[1]), BLUE, 1)
        bow = [math.radians(a) for a in range(0, 46, 5)]
        sheet.line([(aim[0] + side * 84 * math.cos(a), aim[1] - 84 * math.sin(a)) for a in bow], BLUE, 2)
        sheet.words("45°", (aim[0] + side * 108, aim[1] - 22), bold=True, ink=BLUE, anchor="middle")
    _floret_side(sheet, middle, ground)
    sheet.words("Two soft lamps, panel off or low", (middle, 385), anchor="middle", bold=True)
    sheet.words("florets, undersides, opened pieces,\ngills, spears", (middle, 415), anchor="middle")


def _phone(sheet: Sheet, middle: float, y: float) -> None:
    sheet.box(middle - 60, y - 10, 120, 10, INK, INK, 4)
    sheet.box(middle - 7, y, 14, 5, BLUE, INK, 2)


def _lamp(sheet: Sheet, at: Point, side: int) -> None:
    """A flat soft lamp that looks down at 45 degrees towards the middle."""
    x, y = at
    along, across = (-side * 0.707, -0.707), (-side * 0.707, 0.707)
    half, thick = 34, 12

    def corner(s: float, t: float) -> Point:
        return (x + s * along[0] + t * across[0], y + s * along[1] + t * across[1])

    sheet.shape([corner(-half, -thick), corner(half, -thick), corner(half, 0), corner(-half, 0)], STEEL)
    sheet.shape([corner(-half, 0), corner(half, 0), corner(half, 7), corner(-half, 7)], LIGHT)


def _floret_side(sheet: Sheet, x: float, ground: float, size: float = 1) -> None:
    """A floret lying on its head: stalk up."""
    for dx, r in ((-30, 22), (30, 22), (0, 27), (-14, 20), (16, 20)):
        sheet.disc((x + size * dx, ground - size * r * 0.75), size * r, PIECE, INK, 0.75)
    stalk = ((-26, -32), (26, -32), (13, -74), (-13, -74))
    sheet.shape([(x + size * dx, ground + size * dy) for dx, dy in stalk], STALK)
    sheet.disc((x, ground - size * 74), size * 13, PAPER, INK, 0.35)


def depth() -> Image.Image:
    """Water of the right depth, and water that is too deep for the lens."""
    sheet = Sheet(300)
    for middle, title, high in (
        (225.0, "5 to 8 mm: all of it is sharp", 34.0),
        (675.0, "Too deep: one half is soft", 120.0),
    ):
        sheet.words(title, (middle, 34), anchor="middle", bold=True, cap=TITLE_CAP)
        floor = 240.0
        _panel(sheet, middle, floor + 8, 360, 18, lit=True)
        _tray(sheet, middle, floor + 4, 330, 150, high)
        surface = floor - high
        band = (surface - 12, surface + 42)
        for y in band:
            sheet.dashes((middle - 200, y), (middle + 200, y), BLUE)
        sheet.words("sharp", (middle, (band[0] + band[1]) / 2 + 5), bold=True, ink=BLUE, anchor="middle")
        if high > 42:
            sheet.words("soft", (middle, floor - 26), bold=True, ink=RED, anchor="middle")
        for dx, y in ((-120, surface + 4), (-70, surface + 4), (70, floor - 8), (120, floor - 8)):
            _speck(sheet, (middle + dx, y), not band[0] < y < band[1])
    return sheet.finished()


def _speck(sheet: Sheet, at: Point, soft: bool) -> None:
    if soft:
        for radius, grey in ((16, "#a9cfe4"), (12, "#8fb4c9"), (7, "#7596a8")):
            sheet.disc(at, radius, grey, None, 0.7)
        return
    sheet.disc(at, 7, INK, None, 0.6)
    for k in (-1, 0, 1):
        sheet.line([(at[0] + 4 * k - 2, at[1] + 6), (at[0] + 4 * k, at[1])], INK, 1)


def rows() -> Image.Image:
    """Pieces in rows, underside up, a finger apart, with the slip, seen from the camera; true to scale."""
    sheet = Sheet(640)
    left, top, wide, high = 130.0, 58.0, 640.0, 480.0
    mm = wide / 200
    radius, finger = 16 * mm, 17 * mm
    sheet.box(left, top, wide, high, "#f7f6f2", INK)
    sheet.measure(
        (left, top - 16), (left + wide, top - 16), "200 mm at 20 px/mm", (left + wide / 2, top - 10), "middle"
    )
    sheet.measure((left - 18, top), (left - 18, top + high), "150\nmm", (left - 32, top + high / 2), "end")
    step = 2 * radius + finger
    start = (left + (wide - 3 * step) / 2, top + 26 + radius)
    for number in range(1, 9):
        _underside(sheet, (start[0] + (number - 1) % 4 * step, start[1] + (number - 1) // 4 * step), radius, number)
    a, b = start[0] + radius, start[0] + radius + finger
    y = start[1] + step
    sheet.line([(a, y), (a, y + 84)], BLUE, 1)
    sheet.line([(b, y), (b, y + 84)], BLUE, 1)
    sheet.measure((a, y + 76), (b, y + 76), "a finger", ((a + b) / 2, y + 102))
    slip = printed()
    sheet.paste(slip, left + wide - 24 - 90 * mm, top + high - 24 - 21 * mm, 90 * mm, 21 * mm)
    sheet.label("Underside up:\nthe cut stalk looks at you", (236, 574), (start[0] + 6, y + 14), "middle")
    sheet.label(
        "Slip: flat, all of it in the picture", (left + wide - 170, 574), (left + wide - 170, top + high - 34), "middle"
    )
    sheet.words("Pieces are counted row by row, as you read.", (left + wide, 612), anchor="end", ink=SOFT)
    return sheet.finished()


def _underside(sheet: Sheet, at: Point, radius: float, number: int) -> None:
    """A floret seen from its stalk."""
    turn = 0.7 * number
    sheet.shape(lobed(at, radius, 9, 0.16, turn), PIECE)
    for k in range(6):
        a = turn + k * math.pi / 3
        sheet.line([at, (at[0] + 0.66 * radius * math.cos(a), at[1] + 0.66 * radius * math.sin(a))], STALK, 9)
    sheet.disc(at, 0.36 * radius, STALK)
    sheet.words(str(number), (at[0], at[1] + 7), anchor="middle", bold=True, cap=14)


def opened() -> Image.Image:
    """A piece is opened and its halves laid side by side."""
    sheet = Sheet(340)
    _whole(sheet, (106, 150))
    sheet.words("1. Open it\nthrough the stalk.", (106, 290), anchor="middle")
    sheet.arrow((192, 160), (248, 160), INK, 3, 16)
    for number, x in ((1, 390.0), (2, 710.0)):
        for side in (-1, 1):
            _half(sheet, (x + side * 62, 160), 4 + number)
        sheet.words(f"piece {number}", (x, 46), anchor="middle", bold=True)
    a, b = 390.0 + 62 + 56, 710.0 - 62 - 56
    for x in (a, b):
        sheet.line([(x, 150), (x, 236)], BLUE, 1)
    sheet.measure((a, 228), (b, 228), "a finger", ((a + b) / 2, 218))
    sheet.words("2. Lay the two halves side by side, inner faces up.", (550, 290), anchor="middle")
    sheet.words("Open thick parts again, until no inner face is hidden.", (550, 314), anchor="middle", ink=SOFT)
    return sheet.finished()


def _whole(sheet: Sheet, at: Point) -> None:
    x, y = at
    sheet.shape([(x - 20, y + 10), (x + 20, y + 10), (x + 15, y + 92), (x - 15, y + 92)], STALK)
    sheet.shape(lobed((x, y - 10), 66, 11, 0.14, 0.3, 0.8), PIECE)
    sheet.dashes((x, y - 90), (x, y + 108), RED, 3)


def _half(sheet: Sheet, at: Point, seed: int) -> None:
    """One half with its inner face up: branches from the stalk to the buds."""
    x, y = at
    sheet.shape(lobed((x, y - 20), 56, 9, 0.14, 0.3 * seed, 0.85), PIECE)
    root = (x, y + 64)
    for k in range(-2, 3):
        tip = (x + 20 * k, y - 34 + 4 * k * k)
        sheet.line([root, (x + 7 * k, y + 16), tip], STALK, 11)
        sheet.line([root, (x + 7 * k, y + 16), tip], "#8b9080", 1)
    sheet.shape([(x - 20, y + 4), (x + 20, y + 4), (x + 15, y + 76), (x - 15, y + 76)], STALK, None)
    sheet.line([(x - 20, y + 14), (x - 15, y + 76), (x + 15, y + 76), (x + 20, y + 14)], INK)


SHOTS = (
    ("blank", "wiped tray, fresh water", "water"),
    ("underside", "raw pieces in rows", "pieces"),
    ("opened", "halves side by side", "halves"),
    ("water", "what was rinsed off", "specks"),
    ("peelings", "one layer thick", "layers"),
    ("card", "a find, close", "find"),
)  # fmt: skip


def lot() -> Image.Image:
    """The shots of one lot in order, each with a name that says its view."""
    sheet = Sheet(500)
    sheet.words("One lot: the word in the name says the view", (450, 34), anchor="middle", bold=True, cap=TITLE_CAP)
    for k, (view, what, kind) in enumerate(SHOTS):
        left, top = 24.0 + 292 * (k % 3), 56.0 + 222 * (k // 3)
        sheet.box(left, top, 268, 138, LIGHT if kind in ("water", "specks", "layers") else "#f7f6f2")
        _content(sheet, kind, left, top)
        name = f"{k + 1}-{view}.jpg"
        sheet.words(name, (left + 134, top + 164), anchor="middle", bold=True)
        sheet.words(what, (left + 134, top + 188), anchor="middle", ink=SOFT)
    return sheet.finished()


def _content(sheet: Sheet, kind: str, left: float, top: float) -> None:
    if kind in ("water", "specks"):
        sheet.box(left + 14, top + 14, 240, 110, SKY, BLUE, 10)
    if kind == "specks":
        for x, y, r in ((60, 50, 3), (92, 90, 2), (140, 44, 4), (170, 84, 2), (205, 62, 3), (118, 70, 2)):
            sheet.disc((left + x, top + y), r, INK, None, 0.7)
    elif kind == "pieces":
        for k in range(6):
            _underside_small(sheet, (left + 54 + 80 * (k % 3), top + 38 + 62 * (k // 3)), k)
    elif kind == "halves":
        for k in range(4):
            x = left + (46, 100, 168, 222)[k]
            sheet.shape(lobed((x, top + 58), 25, 9, 0.14, 0.4 * k), PIECE)
            sheet.box(x - 7, top + 62, 14, 50, STALK)
    elif kind == "layers":
        for k in range(3):
            x, y = left + 28 + 76 * k, top + 26
            sheet.shape([(x, y + 20), (x + 30, y), (x + 60, y + 24), (x + 50, y + 80), (x + 12, y + 86)], "#e6d3b8")
    elif kind == "find":
        sheet.box(left + 54, top + 24, 160, 90, PAPER)
        at = (left + 134, top + 68)
        for side in (-1, 1):
            for k in (-1, 0, 1):
                sheet.line([at, (at[0] + 14 * k + 5 * k, at[1] + side * 24)], INK, 1.5)
        sheet.disc(at, 22, "#7d8a63", INK, 0.62)


def _underside_small(sheet: Sheet, at: Point, k: int) -> None:
    sheet.shape(lobed(at, 27, 8, 0.16, 0.5 * k), PIECE)
    sheet.disc(at, 9, STALK)
