"""What lies where in a drawn shot, exactly."""

from __future__ import annotations

import dataclasses
from dataclasses import dataclass
from typing import Any, Protocol

import numpy as np
from numpy.typing import NDArray
from skimage.color import deltaE_ciede2000, rgb2lab

from vision.render.camera import srgb_encode
from vision.render.patch import Patch
from vision.types import FloatArray

ALIKE_DELTA_E = 3.0
"""Below this a body is called 'like' its surroundings: about what an eye no longer tells at a glance (common practice, no source)."""


@dataclass(frozen=True)
class TrueBody:
    """One drawn thing. Pixels as everywhere: (0, 0) is the centre of the top-left pixel; the body is meant without its limbs."""

    kind: str
    form: str
    """nymph, winged, larva, ... where the kind has forms, else ''."""
    insect: bool
    x_px: float
    y_px: float
    x_mm: float
    y_mm: float
    """Centre of area of the part that can be seen."""
    length_mm: float
    """Along the curve."""
    width_mm: float
    angle_deg: float
    """Long axis, 0 along x, clockwise as seen, 0..180."""
    curved: bool
    surface: str
    """'panel', 'water', 'cloth' or 'produce'."""
    tone: str
    """'darker', 'lighter' or 'like' than what is round it, in the scene's light before the camera."""
    heated: bool
    visible: float
    """Share of the body that can be seen: not behind produce or debris, not outside the picture."""
    delta_e: float
    """CIEDE2000 of the body's mean light against its surroundings', before the camera."""
    defocus_px: float
    """Radius of the circle of confusion at its depth."""


@dataclass(frozen=True)
class Sighting:
    """A body as it was laid into the scene, before colour differences are worked out for all at once."""

    row: TrueBody
    own_light: FloatArray
    """(3,) mean linear light over the body, at the picture's exposure."""
    round_light: FloatArray
    """(3,) the same of its surroundings."""


class Sized(Protocol):
    """What is known of a thing's size and form before it has a place: a patch, or a trail in tissue."""

    @property
    def length_mm(self) -> float: ...
    @property
    def width_mm(self) -> float: ...
    @property
    def curved(self) -> bool: ...


def unplaced(kind: str, thing: Sized, *, insect: bool, surface: str, heated: bool, defocus_px: float) -> TrueBody:
    """The row of a thing whose place and look are not worked out yet."""
    return TrueBody(
        kind=kind,
        form=thing.form if isinstance(thing, Patch) else "",
        insect=insect,
        x_px=0.0,
        y_px=0.0,
        x_mm=0.0,
        y_mm=0.0,
        length_mm=thing.length_mm,
        width_mm=thing.width_mm,
        angle_deg=0.0,
        curved=thing.curved,
        surface=surface,
        tone="like",
        heated=heated,
        visible=0.0,
        delta_e=0.0,
        defocus_px=round(defocus_px, 3),
    )


def moments(body: FloatArray) -> tuple[float, float, float]:
    """Centre x, y and direction of the long axis (degrees, 0..180, clockwise as seen) of a coverage map."""
    total = float(body.sum(dtype=np.float64))
    columns, rows = body.sum(axis=0, dtype=np.float64), body.sum(axis=1, dtype=np.float64)
    xs, ys = np.arange(body.shape[1]), np.arange(body.shape[0])
    cx, cy = float(columns @ xs) / total, float(rows @ ys) / total
    xx, yy = float(columns @ (xs - cx) ** 2), float(rows @ (ys - cy) ** 2)
    xy = float((ys - cy) @ body.astype(np.float64) @ (xs - cx))
    return cx, cy, float(np.rad2deg(0.5 * np.arctan2(2 * xy, xx - yy))) % 180.0


def finished(sightings: list[Sighting]) -> tuple[TrueBody, ...]:
    """The truth with tone and colour difference filled in."""
    if not sightings:
        return ()
    own = _lab(np.stack([s.own_light for s in sightings]))
    around = _lab(np.stack([s.round_light for s in sightings]))
    difference = deltaE_ciede2000(own, around)  # type: ignore[no-untyped-call]
    rows = []
    for s, de, lightness in zip(sightings, difference, own[:, 0] - around[:, 0], strict=True):
        tone = "like" if de < ALIKE_DELTA_E else ("darker" if lightness < 0 else "lighter")
        rows.append(dataclasses.replace(s.row, tone=tone, delta_e=round(float(de), 3)))
    return tuple(rows)


def _lab(linear: NDArray[Any]) -> NDArray[np.float64]:
    return np.asarray(rgb2lab(srgb_encode(linear.astype(float))), float)


def truth_rows(truth: tuple[TrueBody, ...]) -> list[dict[str, Any]]:
    """Plain values, one dict a body, for CSV and JSON; numbers rounded to what they mean."""
    rows = []
    for body in truth:
        row = dataclasses.asdict(body)
        rows.append({k: round(v, 4) if isinstance(v, float) else v for k, v in row.items()})
    return rows
