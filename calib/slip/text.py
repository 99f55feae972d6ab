"""What the code on the slip says: a few texts as lines of our own, made and read back.

    speckwise 1
    L=the lot
    S=the sample
    P=the produce
    N=the piece

UTF-8, lines parted by U+000A, the name and version of the format first; lines for texts that are empty are left out. Control
characters in a text become spaces. A reader ignores lines whose letter it does not know, so that a later slip can say more.
The symbol is a QR code (ISO/IEC 18004) of error level M, 21 to 45 modules wide.

Where the strip lies is known to a fraction of a module, so each module is read at its own place; the library only decodes.
"""

from __future__ import annotations

import cv2
import numpy as np
import segno
from numpy.typing import NDArray

from calib.slip.layout import Rect
from calib.slip.view import SlipText
from vision.types import FloatArray

_HEAD = "speckwise 1"
_LETTERS = {"L": "lot", "S": "sample", "P": "produce", "N": "piece"}
LONGEST = 40
"""Characters of one text."""
MOST_BYTES = 122
"""All together: what a code of version 7 and level M holds (ISO/IEC 18004, table 7)."""
_VERSIONS = range(1, 8)
_FLAT_PX_PER_MM = 16.0
_FINDER = 7
_SURE = 0.88
"""Share of the finder patterns' modules that must be as printed."""
_QUIET, _ENLARGED = 4, 6


def to_line_text(text: SlipText) -> str:
    """The texts in the format above. Raises ValueError with a sentence where one of them, or all together, are too long."""
    lines = [_HEAD]
    for letter, name in _LETTERS.items():
        value = _one_line(getattr(text, name))
        if len(value) > LONGEST:
            raise ValueError(f"The {name} has {len(value)} characters; the slip has room for {LONGEST}.")
        if value:
            lines.append(f"{letter}={value}")
    whole = "\n".join(lines)
    size = len(whole.encode())
    if size > MOST_BYTES:
        raise ValueError(
            f"Lot, sample, produce and piece are too long together: {size} bytes with what goes between them, and the code "
            f"holds {MOST_BYTES}. Shorten one of them."
        )
    return whole


def from_line_text(whole: str) -> SlipText | None:
    """The texts, or None where the words are not in our format."""
    head, *lines = whole.split("\n")
    if head != _HEAD:
        return None
    values: dict[str, str] = {}
    for line in lines:
        letter, is_there, value = line.partition("=")
        name = _LETTERS.get(letter)
        if is_there and name and name not in values:
            values[name] = _one_line(value)[:LONGEST]
    return SlipText(**values)


def _one_line(value: str) -> str:
    """Without control characters, halves of surrogate pairs and space at the ends."""
    shown = "".join(c if c.isprintable() else " " for c in value).strip()
    return shown.encode("utf-8", "replace").decode()


def code_modules(text: SlipText) -> NDArray[np.bool_]:
    """(n, n) bool, True where a module of the code is black, without the quiet zone. ValueError as in `to_line_text`."""
    made = segno.make(to_line_text(text), error="m", micro=False, encoding="utf-8", boost_error=False)
    return np.array([list(row) for row in made.matrix], dtype=bool)


def read_code(
    grey: NDArray[np.uint8], to_px: NDArray[np.float64], place_mm: Rect, from_behind: bool
) -> tuple[SlipText | None, bool]:
    """The texts in the code, None where it can't be read or is not ours; and whether a code is there at all.

    `grey` (h, w) uint8; `to_px` (3, 3) takes millimetres of the piece to pixels; `place_mm` is the code's square, without the
    quiet zone; `from_behind`: the print is seen as a mirror image.
    """
    left, top, wide, _ = place_mm
    side = round(wide * _FLAT_PX_PER_MM)
    to_flat = np.array([[side / wide, 0, -left * side / wide], [0, side / wide, -top * side / wide], [0, 0, 1]])
    half = np.array([[1, 0, -0.5], [0, 1, -0.5], [0, 0, 1]])
    flat = cv2.warpPerspective(
        grey,
        half @ to_flat @ np.linalg.inv(to_px),
        (side, side),
        flags=cv2.INTER_CUBIC,
        borderMode=cv2.BORDER_REPLICATE,
    )
    if from_behind:
        flat = flat[:, ::-1]
    is_there = False
    for version in _VERSIONS:
        levels = _module_levels(flat.astype(np.float32), 17 + 4 * version)
        for black in _readings(levels):
            if _finder_share(black) < _SURE:
                continue
            is_there = True
            words = _decoded(black)
            if words:
                return from_line_text(words), True
    return None, is_there


def _module_levels(flat: FloatArray, many: int) -> FloatArray:
    """(n, n) mean of the middle of each module."""
    part = 4
    fine = cv2.resize(flat, (many * part, many * part), interpolation=cv2.INTER_AREA)
    middle = fine.reshape(many, part, many, part)[:, 1:-1, :, 1:-1]
    return np.asarray(middle.mean(axis=(1, 3)), dtype=np.float32)


def _readings(levels: FloatArray) -> list[NDArray[np.bool_]]:
    """Black or white by one threshold, by that of the surroundings, and with what blur brought in from the neighbours undone."""
    spread = float(levels.std())
    if spread < 2:
        return []
    low, high = np.percentile(levels, [5, 95])
    plain = levels < (low + high) / 2
    local = cv2.blur(levels, (9, 9), borderType=cv2.BORDER_REFLECT_101)
    crisp = levels + 1.5 * (levels - cv2.GaussianBlur(levels, (0, 0), 0.8))
    return [plain, levels < local, crisp < (low + high) / 2, crisp < local]


def _finder_share(black: NDArray[np.bool_]) -> float:
    ring = np.ones((_FINDER, _FINDER), dtype=bool)
    ring[1:-1, 1:-1] = False
    ring[2:-2, 2:-2] = True
    n = _FINDER
    return float(np.mean([(part == ring).mean() for part in (black[:n, :n], black[:n, -n:], black[-n:, :n])]))


def _decoded(black: NDArray[np.bool_]) -> str:
    """The words of a symbol given module by module; '' where it can't be read."""
    picture = np.where(np.pad(black, _QUIET), 0, 255).astype(np.uint8)
    picture = np.kron(picture, np.ones((_ENLARGED, _ENLARGED), np.uint8))
    a, b = _QUIET * _ENLARGED, (_QUIET + len(black)) * _ENLARGED
    corners = np.array([[[a, a], [b, a], [b, b], [a, b]]], np.float32)
    try:
        words, _ = cv2.QRCodeDetector().decode(picture, corners)
    except (cv2.error, UnicodeDecodeError):
        return ""
    return str(words)
