"""The pictures a desk shows: read once, held to what the run noted of them, and cut into the parts a screen asks for."""

from __future__ import annotations

import hashlib
import threading
from collections import OrderedDict
from pathlib import Path

from cli.review.shelf import DeskShot
from vision.decode import decode_shot
from vision.errors import ShotError, SpeckwiseError
from vision.files import encode_jpeg
from vision.region import region
from vision.types import Shot

_QUALITY = 90
_HELD = 3
"""Photographs in memory: the one on the screen, the next, and another person's."""
_LONGEST_PART_PX = 8192
"""Of a side as it is sent: 2.4 times the widest window that a screen shows one in."""
MISSING, BROKEN, REPLACED = "picture_missing", "picture_broken", "picture_replaced"


_Stamp = tuple[int, int, int]


class PictureTrouble(SpeckwiseError):
    """A picture that can't be shown, and so not be answered on; the message is a key of the catalogue of sentences."""


class Pictures:
    """Parts of the pictures of one folder. Safe to ask from several threads."""

    def __init__(self, folder: Path) -> None:
        self._folder = folder
        self._held: OrderedDict[str, Shot] = OrderedDict()
        self._known: dict[str, tuple[_Stamp, str]] = {}
        """What was found of a file with that stamp: '' or a trouble."""
        self._lock = threading.Lock()
        self._reading: dict[str, threading.Lock] = {}

    def part(self, shot: DeskShot, left_px: int, top_px: int, wide_px: int, high_px: int, shrink: int) -> bytes:
        """A part of a shot as a JPEG, shrunk by a whole number.

        Raises PictureTrouble where the picture is missing, broken or another one than was scored; ValueError where no such part is, or
        one that is too large for any screen.
        """
        if max(wide_px, high_px) > _LONGEST_PART_PX * max(shrink, 1):
            raise ValueError(f"a part is at most {_LONGEST_PART_PX} px a side once it is shrunk")
        pixels = self._shot(shot).pixels
        return encode_jpeg(region(pixels, left_px, top_px, wide_px, high_px, shrink), _QUALITY)

    def trouble(self, shot: DeskShot) -> str:
        """'' where the shot can be shown, else which trouble it is in."""
        try:
            self._look_at(shot)
        except PictureTrouble as error:
            return str(error)
        return ""

    def _look_at(self, shot: DeskShot) -> None:
        """Reads a file again only where its stamp has changed."""
        stamp = self._stamp(shot)
        known = self._known.get(shot.sha256)
        if known is None or known[0] != stamp:
            self._read(shot)
        elif known[1]:
            raise PictureTrouble(known[1])

    def _shot(self, shot: DeskShot) -> Shot:
        self._look_at(shot)
        with self._lock:
            held = self._held.get(shot.sha256)
            if held is not None:
                self._held.move_to_end(shot.sha256)
                return held
        return self._read(shot)

    def _read(self, shot: DeskShot) -> Shot:
        with self._lock:
            own = self._reading.setdefault(shot.sha256, threading.Lock())
        # A screen asks for several parts at once: the first reads the file, the others wait for it.
        with own:
            stamp = self._stamp(shot)
            with self._lock:
                held, known = self._held.get(shot.sha256), self._known.get(shot.sha256)
            if held is not None and known == (stamp, ""):
                return held
            try:
                read = self._decoded(shot)
            except PictureTrouble as error:
                with self._lock:
                    self._held.pop(shot.sha256, None)
                    self._known[shot.sha256] = (stamp, str(error))
                raise
            with self._lock:
                self._known[shot.sha256] = (stamp, "")
                self._held[shot.sha256] = read
                while len(self._held) > _HELD:
                    self._held.popitem(last=False)
            return read

    def _decoded(self, shot: DeskShot) -> Shot:
        try:
            data = (self._folder / shot.picture).read_bytes()
            if shot.picture_sha256 and hashlib.sha256(data).hexdigest() != shot.picture_sha256:
                raise PictureTrouble(REPLACED)
            read = decode_shot(data, shot.name)
        except OSError:
            raise PictureTrouble(MISSING) from None
        except ShotError:
            raise PictureTrouble(BROKEN) from None
        high, wide = read.pixels.shape[:2]
        if (wide, high) != shot.size_px:
            raise PictureTrouble(REPLACED)
        return read

    def _stamp(self, shot: DeskShot) -> _Stamp:
        path = self._folder / shot.picture
        try:
            # A link would lead out of the folder, also one in the place of a folder in it.
            inside = path.resolve() == self._folder.resolve() / shot.picture
            if not inside or not path.is_file():
                raise PictureTrouble(MISSING)
            status = path.stat()
        except (OSError, RuntimeError):
            # A link that leads to itself is a RuntimeError before Python 3.13.
            raise PictureTrouble(MISSING) from None
        # A copy that keeps the time of what it was made from still changes the time of the file's record on disk.
        return status.st_mtime_ns, status.st_ctime_ns, status.st_size
