"""The inspection drawn on the photograph: marks, numbers, hatching where nothing was searched, and a band that says the rest.

Nothing is drawn on a speck: what the photograph shows inside each outline stays as it is. The one exception is a speck that lies
on another, larger one: its mark and leader are drawn there, or it would be lost.
"""

from __future__ import annotations

from collections.abc import Sequence

import cv2
import numpy as np

from vision import __version__
from vision.band import band
from vision.foot import foot_lines
from vision.labels import Label, place_labels
from vision.marks import (
    DARK,
    WHITE,
    Colour,
    Look,
    Mark,
    Picture,
    draw_lines,
    hosts,
    keep,
    leave,
    look_for,
    mark,
    put_back,
)
from vision.piece_marks import draw_discs, place_discs
from vision.sheet import small_size
from vision.text import stamp
from vision.types import FloatArray, Inspection, MaskArray, Shot

# A band narrower than this cannot hold a line of text; small pictures are enlarged by whole factors, as far as they stay pictures.
_LEAST_WIDTH_PX = 640
_MOST_ZOOM = 16
_TALL_PX = 2400
# JPEG holds at most 65535 pixels a side (ITU-T T.81). Far below that viewers give up, and a strip of one row would get a band
# of gigabytes; no camera's single shot is as long.
_LONGEST_PX = 20000
_PAD = 214
# A thumbnail stands on a page at its own size: its numbers as high as a page's own letters, less a little to find room.
_SMALL_CAP_PX = 12.0


def _zoom(shot: Shot) -> float:
    longest = max(shot.width_px, shot.height_px)
    if longest > _LONGEST_PX:
        return _LONGEST_PX / longest
    if shot.width_px >= _LEAST_WIDTH_PX:
        return 1.0
    wanted = -(-_LEAST_WIDTH_PX // shot.width_px)
    return float(max(1, min(wanted, _MOST_ZOOM, _TALL_PX // shot.height_px)))


def _eight_bit(shot: Shot, size: tuple[int, int]) -> Picture:
    """The photograph as (h, w, 3) uint8 of `size` = (w, h); may be the shot's own array."""
    pixels = shot.pixels
    if size != (shot.width_px, shot.height_px):
        how = cv2.INTER_NEAREST if size[0] > shot.width_px else cv2.INTER_AREA
        pixels = cv2.resize(pixels, size, interpolation=how)
    if pixels.dtype == np.uint16:
        return np.asarray(cv2.convertScaleAbs(pixels, alpha=255 / 65535), dtype=np.uint8)
    return np.asarray(pixels, dtype=np.uint8)


def _hatch_lines(unsearched: MaskArray, marks: Sequence[Mark], shape: tuple[int, int], look: Look) -> list[FloatArray]:
    """Diagonal lines over the cells that were not searched, none within reach of a mark, in pixels of the picture."""
    h, w = shape
    step = max(1.0, max(h, w) / 800)
    rows, columns = max(1, round(h / step)), max(1, round(w / step))
    # One pixel of border that is never hatched, so that every run has a beginning and an end.
    cells = np.zeros((rows + 2, columns + 2), dtype=bool)
    grown = cv2.resize(unsearched.astype(np.uint8), (columns, rows), interpolation=cv2.INTER_NEAREST)
    cells[1:-1, 1:-1] = grown.astype(bool)
    for one in marks:
        left, top = np.floor((one.line.min(axis=0) - look.halo_px) / step).astype(int) + 1
        right, bottom = np.ceil((one.line.max(axis=0) + look.halo_px) / step).astype(int) + 2
        cells[max(0, top) : max(0, bottom), max(0, left) : max(0, right)] = False
    turned = cells[:, ::-1]
    period = max(4, round(3.2 * look.cap_px / step))
    lines = []
    for k in range(-(rows + 1), columns + 2, period):
        run = np.flatnonzero(np.diff(turned.diagonal(k).astype(np.int8)))
        for start, end in zip(run[::2] + 1, run[1::2], strict=True):
            if end - start < 2:
                continue
            i = np.array([start, end]) + max(0, -k)
            j = columns + 1 - (np.array([start, end]) + max(0, k))
            lines.append((np.stack([j - 1, i - 1], axis=1) * step).astype(np.float32))
    return lines


def _hatch(picture: Picture, unsearched: MaskArray, marks: Sequence[Mark], look: Look) -> None:
    if not unsearched.any():
        return
    h, w = picture.shape[:2]
    lines = _hatch_lines(unsearched, marks, (h, w), look)
    # A light line beside a dark one shows on any ground and together they stay thin.
    aside = np.full(2, look.thin_px * np.sqrt(0.5), dtype=np.float32)
    for shift, ink in ((aside, WHITE), (0 * aside, DARK)):
        moved = [line + shift for line in lines]
        if moved:
            draw_lines(picture, moved, [ink] * len(moved), look.thin_px, look.thin_px, closed=False)


def _blend(picture: Picture, left: int, top: int, cover: Picture, ink: Colour) -> None:
    high, wide = cover.shape
    window = picture[top : top + high, left : left + wide]
    share = cover[..., None].astype(np.uint16)
    window[:] = ((window * (255 - share) + np.array(ink, dtype=np.uint16) * share + 127) // 255).astype(np.uint8)


def _write_numbers(picture: Picture, marks: Sequence[Mark], on: Sequence[frozenset[int]], look: Look) -> list[Label]:
    halo = max(2, round(look.cap_px / 5))
    stamps = [stamp(str(one.number), look.cap_px, halo) for one in marks]
    sizes = [(cover.shape[1], cover.shape[0]) for cover, _ in stamps]
    h, w = picture.shape[:2]
    labels = place_labels(marks, on, sizes, w, h, look)
    if labels:
        leaders = [label.leader for label in labels]
        draw_lines(picture, leaders, [DARK] * len(leaders), look.thin_px, 3 * look.thin_px, closed=False)
    by_number = {one.number: cover for one, cover in zip(marks, stamps, strict=True)}
    for label in labels:
        letters, halo_cover = by_number[label.number]
        _blend(picture, label.left, label.top, halo_cover, WHITE)
        _blend(picture, label.left, label.top, letters, DARK)
    return labels


def draw_inspection(picture: Picture, inspection: Inspection, zoom: float, look: Look) -> list[Label]:
    """Draws hatching, marks and numbers into `picture` (h, w, 3) uint8, which shows the shot `zoom` times its size.

    Returns the labels that found room, for those who check them.
    """
    marks = [mark(candidate, zoom, look) for candidate in inspection.candidates]
    kept = [keep(picture, one.body) for one in marks]
    _hatch(picture, inspection.unsearched, marks, look)
    if not marks:
        return []
    on = hosts(marks)
    labels = _write_numbers(picture, marks, on, look)
    draw_lines(picture, [m.line for m in marks], [m.ink for m in marks], look.core_px, look.halo_px, closed=True)
    leaders = {label.number: label.leader for label in labels}
    for own, places in enumerate(on):
        for host in (kept[k] for k in places):
            if host is not None:
                leave(host, marks[own].line, look.halo_px + 2, closed=True)
                if marks[own].number in leaders:
                    leave(host, leaders[marks[own].number], 3 * look.thin_px + 2, closed=False)
    for one in kept:
        if one is not None:
            put_back(picture, one)
    return labels


def annotate(shot: Shot, inspection: Inspection, *, version: str = __version__, run: str = "") -> Picture:
    """The annotated picture, (h', w', 3) uint8: the photograph with its marks above, the band below.

    A picture narrower than 640 px is enlarged by a whole factor (16 at most) and set on a grey ground of that width; one longer than
    20000 px is reduced to it; every other keeps its pixels. `version` and `run` are named in the band.
    """
    zoom = _zoom(shot)
    photograph = _eight_bit(shot, (max(1, round(shot.width_px * zoom)), max(1, round(shot.height_px * zoom))))
    h, w = photograph.shape[:2]
    width = max(w, _LEAST_WIDTH_PX)
    look = look_for(width, h)
    # Drawn on a copy first: how many numbers found room is said in the band, and the band's height follows from its words.
    drawn = photograph.copy()
    labels = draw_inspection(drawn, inspection, zoom, look)
    if inspection.by_piece:
        marks = [mark(candidate, zoom, look) for candidate in inspection.candidates]
        draw_discs(drawn, place_discs(inspection.pieces, marks, labels, (w, h), zoom, look), look)
    unnumbered = len(inspection.candidates) - len(labels)
    below = band(inspection, foot_lines(inspection, version, run, unnumbered), width, zoom, look)
    if w == width:
        return np.concatenate([drawn, below])
    canvas = np.full((h, width, 3), _PAD, dtype=np.uint8)
    left = (width - w) // 2
    canvas[:, left : left + w] = drawn
    return np.concatenate([canvas, below])


def unmarked(shot: Shot) -> Picture:
    """The photograph alone, (h, w, 3) uint8, at its own size as far as a JPEG can hold it."""
    zoom = min(1.0, _zoom(shot))
    return _eight_bit(shot, (max(1, round(shot.width_px * zoom)), max(1, round(shot.height_px * zoom))))


def thumbnail(shot: Shot, inspection: Inspection) -> Picture:
    """The photograph with its marks in the size of `sheet.small_size`, (h', w', 3) uint8, without a band."""
    size = small_size(shot.width_px, shot.height_px)
    picture = _eight_bit(shot, size).copy()
    draw_inspection(picture, inspection, size[0] / shot.width_px, look_for(*size, _SMALL_CAP_PX))
    return picture
