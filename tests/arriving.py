"""Small real pictures of every kind, and a folder that is watched with a clock of the test's own."""

from __future__ import annotations

import functools
import time
from pathlib import Path

import numpy as np
from PIL import Image
from written_pictures import saved, tiff

from cli.batch.arrivals import CALM_S, LOOK_EVERY_S, Arrivals
from cli.batch.sources import Source

SOON_S = LOOK_EVERY_S + CALM_S + 0.05
"""A whole file is given so long after it has been put there, at the latest."""
KINDS = {
    "jpg": "JPEG",
    "jpeg": "JPEG, progressive",
    "mpo.jpg": "JPEG with a second picture behind it",
    "png": "PNG",
    "heic": "HEIC",
    "webp": "WebP",
    "tif": "TIFF, directory first",
    "tiff": "TIFF, directory last",
}


@functools.cache
def picture(ending: str, seed: int = 0, side: int = 64) -> bytes:
    """A picture with some of everything in it, other for each seed."""
    noise = np.random.default_rng(seed).integers(1, 256, (side, side, 3), dtype=np.uint8)
    image = Image.fromarray(noise)
    match ending:
        case "jpg":
            return saved(image, "JPEG")
        case "jpeg":
            return saved(image, "JPEG", progressive=True)
        case "mpo.jpg":
            return saved(image, "MPO", save_all=True, append_images=[image.resize((32, 32))])
        case "png":
            return saved(image, "PNG")
        case "heic":
            return saved(image, "HEIF")
        case "webp":
            return saved(image, "WEBP", lossless=True)
        case "tif":
            return tiff(noise)
        case "tiff":
            return directory_last(noise)
    raise ValueError(ending)


def directory_last(pixels: np.ndarray) -> bytes:
    """A TIFF as many programs write it: pixels first, then the directory (TIFF 6.0, section 2)."""
    height, width, _ = pixels.shape
    body = pixels.tobytes() + bytes(len(pixels.tobytes()) % 2)
    entries = [
        (256, 4, 1, width), (257, 4, 1, height), (258, 3, 3, 0), (259, 3, 1, 1), (262, 3, 1, 2), (273, 4, 1, 8),
        (277, 3, 1, 3), (278, 4, 1, height), (279, 4, 1, len(pixels.tobytes())),
    ]  # fmt: skip
    at = 8 + len(body)
    bits = at + 2 + 12 * len(entries) + 4
    written = len(entries).to_bytes(2, "little")
    for tag, kind, count, value in entries:
        value = bits if tag == 258 else value
        written += (
            tag.to_bytes(2, "little")
            + kind.to_bytes(2, "little")
            + count.to_bytes(4, "little")
            + value.to_bytes(4, "little")
        )
    return b"II*\0" + at.to_bytes(4, "little") + body + written + bytes(4) + b"\x08\0" * 3


class Watched:
    """A folder that is looked at when the test says so."""

    def __init__(self, folder: Path, out: Path) -> None:
        self.now = 1000.0
        self.folder = folder
        self.said: list[str] = []
        self.arrivals = Arrivals(folder, out, self.said.append, clock=lambda: self.now)
        self.arrivals.look()

    def look(self) -> list[str]:
        """The shots that one look gives."""
        return [source.shot for source in self.sources()]

    def sources(self) -> list[Source]:
        """What one look gives."""
        return self.arrivals.look()

    def within(self, seconds: float) -> list[str]:
        """What is given in so long, by looks when they are due."""
        return [source.shot for _, source in self.told_within(seconds)]

    def told_within(self, seconds: float) -> list[tuple[float, Source]]:
        """The same, each with the time since the start that it was given at."""
        begun, given = self.now, []
        while self.now - begun + self.arrivals.wait_s <= seconds:
            self.now += max(self.arrivals.wait_s, 0.001)
            given += [(self.now - begun, source) for source in self.arrivals.look()]
        self.now = begun + seconds
        return given


def put(path: Path, data: bytes) -> None:
    """Writes the file; its time of writing is another one than before, also where the clock of the disk is slow."""
    before = path.stat().st_mtime_ns if path.exists() else 0
    path.write_bytes(data)
    while path.stat().st_mtime_ns == before:
        time.sleep(0.002)
        path.write_bytes(data)
