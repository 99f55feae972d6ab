"""What a floret is made of: round stems, domes of buds, cut faces and buds, in millimetres.

Right-handed frame of the picture: x right, y down, z up from the ground towards the camera.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import TypeVar

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.types import FloatArray

FOOTPRINT_MM = 96
"""Side of the square a piece's footprint is drawn in: more than the longest piece, however it is turned."""


@dataclass(frozen=True)
class Tubes:
    """Round stems. `start`, `end` (n, 3) mm; `radius` (n, 2) mm at start and end; `along` (n,) mm from the stem's root."""

    start: FloatArray
    end: FloatArray
    radius: FloatArray
    along: FloatArray
    order: FloatArray
    """(n,) 0 stalk, 1 branch, 2 branchlet, 3 twig, 4 the bud's own stem."""
    girth: FloatArray
    """(n,) mm: one radius for the whole stem the tube is part of, so that fibres run on from tube to tube."""

    def __len__(self) -> int:
        return len(self.start)


@dataclass(frozen=True)
class Clusters:
    """Domes that carry buds. `centre` (n, 3) mm, `radius` (n,) mm, `axis` (n, 3) unit vector outwards, `base` (n, 3) mm."""

    centre: FloatArray
    radius: FloatArray
    axis: FloatArray
    base: FloatArray

    def __len__(self) -> int:
        return len(self.centre)


@dataclass(frozen=True)
class Discs:
    """Cut faces. `centre` (n, 3) mm, `normal` (n, 3), `stem` (n, 3) unit vector of the stem that is cut, its `radius` (n,) mm."""

    centre: FloatArray
    normal: FloatArray
    stem: FloatArray
    radius: FloatArray

    def __len__(self) -> int:
        return len(self.centre)


@dataclass(frozen=True)
class Buds:
    """Closed flower buds. `centre` (n, 3) mm, `axis` (n, 3) unit vector to the tip, `diameter` (n,) mm, `cluster` (n,)."""

    centre: FloatArray
    axis: FloatArray
    diameter: FloatArray
    cluster: FloatArray

    def __len__(self) -> int:
        return len(self.centre)


Solids = TypeVar("Solids", Tubes, Clusters, Discs, Buds)


@dataclass(frozen=True)
class Floret:
    """One piece, centred on x = y = 0, long side along x, lowest point on z = 0."""

    tubes: Tubes
    clusters: Clusters
    discs: Discs
    buds: Buds

    def footprint(self, turn: float) -> NDArray[np.uint8]:
        """What the piece covers when turned by `turn` radians: 1 where clusters and thick stems lie, on a square grid of 1 mm
        whose middle is the piece's own."""
        side = FOOTPRINT_MM
        mask = np.zeros((side, side), dtype=np.uint8)
        c, s = np.cos(turn), np.sin(turn)
        spin = np.array([[c, s], [-s, c]])
        for place, radius in zip(self.clusters.centre[:, :2] @ spin + side // 2, self.clusters.radius, strict=True):
            cv2.circle(mask, (round(place[0]), round(place[1])), round(float(radius)), 1, -1)
        stout = self.tubes.order < 2
        ends = zip(self.tubes.start[stout, :2] @ spin, self.tubes.end[stout, :2] @ spin, strict=True)
        for (first, last), radius in zip(ends, self.tubes.radius[stout, 0], strict=True):
            a, b = ((round(p[0]) + side // 2, round(p[1]) + side // 2) for p in (first, last))
            cv2.line(mask, a, b, 1, max(1, round(2.0 * float(radius))))
        return mask

    def extent_mm(self) -> tuple[float, float]:
        """Length along x and width along y of everything that is drawn."""
        low, high = stem_extent(self.tubes, self.clusters)
        reach = 0.5 * self.buds.diameter[:, None]
        low = np.minimum(low, (self.buds.centre - reach).min(axis=0))
        high = np.maximum(high, (self.buds.centre + reach).max(axis=0))
        return float(high[0] - low[0]), float(high[1] - low[1])


def placed(floret: Floret, turn: float, shift_mm: FloatArray) -> Floret:
    """The floret turned by `turn` radians in the picture's plane and moved by `shift_mm` (3,)."""
    c, s = np.cos(turn), np.sin(turn)
    spin = np.array([[c, s, 0.0], [-s, c, 0.0], [0.0, 0.0, 1.0]], dtype=np.float32)
    t, k, d, b = floret.tubes, floret.clusters, floret.discs, floret.buds
    return Floret(
        Tubes(t.start @ spin + shift_mm, t.end @ spin + shift_mm, t.radius, t.along, t.order, t.girth),
        Clusters(k.centre @ spin + shift_mm, k.radius, k.axis @ spin, k.base @ spin + shift_mm),
        Discs(d.centre @ spin + shift_mm, d.normal @ spin, d.stem @ spin, d.radius),
        Buds(b.centre @ spin + shift_mm, b.axis @ spin, b.diameter, b.cluster),
    )


def merged(groups: Sequence[Solids]) -> Solids:
    """One set of solids from several of the same kind, in order."""
    kind = type(groups[0])
    return kind(*(np.concatenate([getattr(group, f.name) for group in groups]) for f in fields(kind)))


def stem_extent(tubes: Tubes, clusters: Clusters) -> tuple[FloatArray, FloatArray]:
    """Lowest and highest x, y, z in mm of stems and clusters, without their buds."""
    points = np.concatenate([tubes.start, tubes.end, clusters.centre])
    reach = np.concatenate([tubes.radius[:, 0], tubes.radius[:, 1], clusters.radius])[:, None]
    return (points - reach).min(axis=0), (points + reach).max(axis=0)
