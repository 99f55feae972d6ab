"""Pictures shrunk by a messenger on their way here: named, because what was shrunk away can't be searched."""

from __future__ import annotations

from vision.types import CameraFacts

_LONG_SIDES_PX = (960, 1024, 1280, 1600, 1920, 2048)
"""What such programs shrink a picture's long side to (common practice, no source)."""
_QUALITY = (40, 80)
"""IJG quality they write (common practice, no source); cameras write 90 and more."""


def shrunk_by_messenger(camera: CameraFacts, width_px: int, height_px: int) -> str | None:
    """A sentence where the file looks like one that a messenger shrank: its tags gone, its size one of few, its quality low."""
    tagged = camera.make or camera.model or camera.focal_mm is not None
    quality = camera.jpeg_quality
    if tagged or quality is None or not _QUALITY[0] <= quality <= _QUALITY[1]:
        return None
    if max(width_px, height_px) not in _LONG_SIDES_PX:
        return None
    return (
        f"A messenger seems to have shrunk this picture to {width_px} x {height_px} pixels: send the original file, as a document or "
        "by cable."
    )
