"""Flat printed pieces that lie anywhere on one plane under one camera: how the plane is seen, the lens and every piece's place.

Least squares over all points together (bundle adjustment: Triggs et al. 2000, from memory).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

from calib.sight import Sight
from vision.geometry import Points
from vision.types import Lens

_SHARED = 60.0
"""How many points share an error where neighbours are off alike: bent paper is off over centimetres."""
_REJECT = 5.0
"""Standard deviations beyond which a single point is left out."""
_MOST_REJECTED = 0.2
_ATTEMPTS = 3

Mask = NDArray[np.bool_]


@dataclass(frozen=True)
class Piece:
    """Points of one rigid flat piece (n, 2): on it in millimetres, in the shot in pixels, with their standard deviations (n,)."""

    mm: Points
    px: Points
    sigma_px: Points


@dataclass(frozen=True)
class LensPrior:
    """Standard deviations of k1 and k2 about 0, for radii over the sight's `focal_px`.

    `sought`: estimated; else held at 0, and their spread widens the errors only.
    """

    k1: float
    k2: float
    sought: bool


@dataclass(frozen=True)
class Bundle:
    """The fit. `values`: the sight's vector; k1, k2, logarithm of the print's stretch; angle, x, y of each piece but the first."""

    sight: Sight
    values: Points
    pieces: tuple[Piece, ...]
    chi2: float
    """Of the points alone, by their own standard deviations."""
    cost: float
    """The same with the prior's."""
    excess: float
    """chi2 over its degrees of freedom."""
    covariance: Points = field(repr=False)
    """(p, p) of `values`; what was held has its prior's spread."""
    kept: tuple[Mask, ...] = field(repr=False)

    @property
    def residual_px(self) -> float:
        """Root mean square of how far points lie from where they should, beyond what their own noise explains."""
        off = _off(self.sight, self.values, self.pieces)
        own = np.concatenate([p.sigma_px[k] for p, k in zip(self.pieces, self.kept, strict=True)])
        left = np.concatenate([o[k] for o, k in zip(off, self.kept, strict=True)])
        return float(np.sqrt(max(np.mean((left**2).sum(axis=1)) - 2 * np.mean(own**2), 0.0)))

    def lens_at(self, values: Points, width_px: int, height_px: int) -> Lens:
        """The lens that a vector of values stands for."""
        focal, x, y = self.sight.seen(values[: self.sight.size])[9:]
        k1, k2 = values[self.sight.size : self.sight.size + 2]
        # Told for another focal length than it was sought with.
        share = float(focal / self.sight.focal_px) ** 2
        return Lens(float(focal), float(x), float(y), float(k1) * share, float(k2) * share**2, width_px, height_px)

    def to_mm_at(self, values: Points) -> Points:
        """(3, 3) from straightened pixels to the first piece's millimetres, counted from the middle of its points; [2, 2] is 1."""
        seen = self.sight.seen(values[: self.sight.size])
        camera = np.array([[seen[9], 0, seen[10]], [0, seen[9], seen[11]], [0, 0, 1.0]])
        back = np.linalg.inv(camera @ seen[:9].reshape(3, 3))
        return np.asarray(back / back[2, 2])


@dataclass(frozen=True)
class _Task:
    sight: Sight
    pieces: tuple[Piece, ...]
    spread: Points
    """(3,) of k1, k2, stretch."""
    active: Mask


def fit_bundle(pieces: Sequence[Piece], sight: Sight, lens: LensPrior, stretch_spread: float = 0.0) -> Bundle:
    """The most probable plane. `stretch_spread`: of the print's stretch in one direction, 0 where the print is taken as true.

    The first piece should be the longest as seen. Each has four points or more; raises ValueError where they fix no plane.
    """
    seen = tuple(Piece(p.mm - p.mm.mean(axis=0), p.px, p.sigma_px) for p in pieces)
    values = _start(seen, sight)
    n, spread = sight.size, np.array([lens.k1, lens.k2, stretch_spread])
    active = np.ones(len(values), dtype=bool)
    active[n : n + 3] = (spread > 0) & np.array([lens.sought, lens.sought, True])
    task = _Task(sight, seen, spread, active)
    kept = [np.ones(len(p.mm), dtype=bool) for p in seen]
    weaker = 1.0
    for attempt in range(_ATTEMPTS):
        values = _solved(task, values, kept, weaker)
        off = [o / p.sigma_px[:, None] for o, p in zip(_off(sight, values, seen), seen, strict=True)]
        count = 2 * sum(int(k.sum()) for k in kept)
        chi2 = float(sum((o[k] ** 2).sum() for o, k in zip(off, kept, strict=True)))
        excess = chi2 / max(count - int(active.sum()) + len(sight.prior(values[:n])), 1)
        told = _outliers(off)
        settled = all((a == b).all() for a, b in zip(told, kept, strict=True)) and max(excess, 1.0) < 1.5 * weaker**2
        if settled or attempt == _ATTEMPTS - 1:
            break
        kept, weaker = told, max(1.0, float(np.sqrt(excess)))
    wider = max(excess, 1.0) * (1 + _SHARED * _alike(off, kept))
    held = np.where(spread > 0, values[n : n + 3] / np.where(spread > 0, spread, 1), 0.0)
    cost = chi2 + float((sight.prior(values[:n]) ** 2).sum() + (held**2).sum())
    return Bundle(sight, values, seen, chi2, cost, excess, _covariance(task, values, kept, wider), tuple(kept))


def _start(pieces: Sequence[Piece], sight: Sight) -> Points:
    """A first guess: the first piece's homography, and where it puts the others."""
    found, _ = cv2.findHomography(pieces[0].mm, pieces[0].px)
    if found is None or not np.isfinite(found).all() or abs(found[2, 2]) < 1e-12:
        raise ValueError("these points fix no plane")
    to_px = np.asarray(found / found[2, 2], dtype=np.float64)
    motions = [np.zeros(3)]
    for piece in pieces[1:]:
        flat = np.asarray(cv2.perspectiveTransform(piece.px[:, None], np.linalg.inv(to_px)))[:, 0]
        u, _, v = np.linalg.svd((flat - flat.mean(axis=0)).T @ piece.mm)
        # Never mirrored: a print seen from behind is told before.
        turn = u @ np.diag([1.0, np.linalg.det(u @ v)]) @ v
        motions.append(np.array([np.arctan2(turn[1, 0], turn[0, 0]), *flat.mean(axis=0)]))
    return np.concatenate([sight.start(to_px), *motions])


def _place(values: Points, k: int, first: int) -> tuple[Points, Points]:
    """Rotation and shift of one piece on the plane."""
    angle, x, y = (0.0, 0.0, 0.0) if k == 0 else values[first + 3 * (k - 1) : first + 3 * k]
    return np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]]), np.array([x, y])


def _off(sight: Sight, values: Points, pieces: Sequence[Piece]) -> list[Points]:
    """(n, 2) for each piece: where its points should be seen less where they are."""
    return [off for off, _ in _seen_off(sight, values, pieces, slopes=False)]


def _seen_off(sight: Sight, values: Points, pieces: Sequence[Piece], slopes: bool) -> list[tuple[Points, Points]]:
    """For each piece (n, 2) as `_off` and (n, 2, p) its change with the values, empty unless asked for."""
    n = sight.size
    seen = sight.seen(values[:n])
    plane, focal, centre = seen[:9].reshape(3, 3), seen[9], seen[10:]
    k1, k2, stretch = values[n : n + 3]
    own = _sight_slopes(sight, values[:n]) if slopes else np.zeros((12, n))
    out = []
    for k, piece in enumerate(pieces):
        turn, shift = _place(values, k, n + 3)
        on_piece = piece.mm * (np.exp(stretch / 2), np.exp(-stretch / 2))
        mm = on_piece @ turn.T + shift
        ray = mm @ plane[:, :2].T + plane[:, 2]
        # A point behind the camera is thrown far off, so that the search turns back.
        z = np.where(ray[:, 2] > 1e-9, ray[:, 2], 1e-9)[:, None]
        x = ray[:, :2] / z
        share = (focal / sight.focal_px) ** 2
        r2 = share * (x**2).sum(axis=1, keepdims=True)
        bent = 1 + k1 * r2 + k2 * r2**2
        off = x * bent * focal + centre - piece.px
        change = np.zeros((0, 2, len(values)))
        if slopes:
            change = np.zeros((len(mm), 2, len(values)))
            bend = (2 * k1 + 4 * k2 * r2)[:, :, None]
            through = (bent[:, :, None] * np.eye(2) + share * bend * x[:, :, None] * x[:, None, :]) * focal
            # (n, 2, 3): of the seen place with the ray.
            by_ray = np.concatenate([through, -(through @ x[:, :, None])], axis=2) / z[:, :, None]
            row = np.column_stack([mm, np.ones(len(mm))])
            by_plane = np.einsum("nij,nk->nijk", by_ray, row).reshape(len(mm), 2, 9)
            by_seen = np.concatenate(
                [by_plane, (x * (bent + bend[:, :, 0] * r2))[:, :, None], np.broadcast_to(np.eye(2), (len(mm), 2, 2))],
                axis=2,
            )
            change[:, :, :n] = by_seen @ own
            change[:, :, n] = x * r2 * focal
            change[:, :, n + 1] = x * r2**2 * focal
            by_mm = by_ray @ plane[:, :2]
            change[:, :, n + 2] = np.einsum("nij,nj->ni", by_mm, on_piece * (0.5, -0.5) @ turn.T)
            if k:
                at = n + 3 * k
                change[:, :, at] = np.einsum("nij,nj->ni", by_mm, (mm - shift) @ np.array([[0.0, 1.0], [-1.0, 0.0]]))
                change[:, :, at + 1 : at + 3] = by_mm
        out.append((off, change))
    return out


def _sight_slopes(sight: Sight, values: Points) -> Points:
    """(12, n): change of `sight.seen` with its vector."""
    columns = []
    for k in range(sight.size):
        d = np.zeros(sight.size)
        d[k] = 1e-6
        columns.append((sight.seen(values + d) - sight.seen(values - d)) / (2 * d[k]))
    return np.stack(columns, axis=1)


def _errors(task: _Task, values: Points, kept: Sequence[Mask], weaker: float) -> Points:
    """Every kept coordinate in its standard deviations times `weaker`, then the priors."""
    n = task.sight.size
    off = _off(task.sight, values, task.pieces)
    own = [(o[k] / p.sigma_px[k, None]).ravel() / weaker for o, p, k in zip(off, task.pieces, kept, strict=True)]
    held = task.spread > 0
    return np.concatenate([*own, task.sight.prior(values[:n]), values[n : n + 3][held] / task.spread[held]])


def _slopes(task: _Task, values: Points, kept: Sequence[Mask], weaker: float) -> Points:
    """(m, p): change of `_errors` with the values."""
    n = task.sight.size
    parts = [
        (change[k] / p.sigma_px[k, None, None]).reshape(-1, len(values)) / weaker
        for (_, change), p, k in zip(
            _seen_off(task.sight, values, task.pieces, slopes=True), task.pieces, kept, strict=True
        )
    ]
    usual = [task.sight.prior(row) for row in np.eye(n)]
    prior = np.zeros((len(usual[0]), len(values)))
    prior[:, :n] = np.stack(usual, axis=1)
    held = np.zeros((3, len(values)))
    held[:, n : n + 3] = np.diag(1 / np.where(task.spread > 0, task.spread, 1))
    return np.concatenate([*parts, prior, held[task.spread > 0]])


def _solved(task: _Task, values: Points, kept: Sequence[Mask], weaker: float) -> Points:
    """The most probable values (Levenberg and Marquardt)."""
    from scipy.optimize import least_squares  # here and not above: only shots with a slip should pay for it

    out = values.copy()

    def put(some: Points) -> Points:
        out[task.active] = some
        return out

    found = least_squares(
        lambda some: _errors(task, put(some), kept, weaker),
        values[task.active],
        jac=lambda some: _slopes(task, put(some), kept, weaker)[:, task.active],
        method="lm",
        x_scale="jac",
        max_nfev=60,
    )
    return put(found.x)


def _outliers(off: Sequence[Points]) -> list[Mask]:
    """Points to keep: those not far off the usual, where few are."""
    far = [np.hypot(o[:, 0], o[:, 1]) for o in off]
    # The median distance of a round normal spread is 1.18 standard deviations.
    usual = max(float(np.median(np.concatenate(far))) / 1.18, 1.0)
    kept = [f <= _REJECT * usual for f in far]
    if np.mean(np.concatenate(kept)) < 1 - _MOST_REJECTED or any(k.sum() < 4 for k in kept):
        return [np.ones(len(f), dtype=bool) for f in far]
    return kept


def _alike(off: Sequence[Points], kept: Sequence[Mask]) -> float:
    """How alike neighbours on the print are off, 0..1, beyond what chance makes: points are listed row by row."""
    pairs = [(o[k][1:], o[k][:-1]) for o, k in zip(off, kept, strict=True)]
    both = np.concatenate([(a * b).ravel() for a, b in pairs])
    own = np.concatenate([(a**2 + b**2).ravel() / 2 for a, b in pairs])
    return float(np.clip(both.sum() / max(own.sum(), 1e-300) - 2 / np.sqrt(len(both)), 0, 1))


def _covariance(task: _Task, values: Points, kept: Sequence[Mask], wider: float) -> Points:
    """(p, p). What is held at its prior adds what its spread would move the others by (Schmidt's consider covariance, from memory)."""
    jacobian = _slopes(task, values, kept, float(np.sqrt(wider)))
    count = 2 * sum(int(k.sum()) for k in kept)
    own = jacobian[:, task.active]
    size = np.linalg.norm(own, axis=0)
    size[size == 0] = 1
    inverse = np.linalg.pinv(own / size, rcond=1e-11) / size[:, None]
    out = np.zeros((len(values), len(values)))
    out[np.ix_(task.active, task.active)] = inverse @ inverse.T
    n = task.sight.size
    for k in (n, n + 1):
        if not task.active[k] and task.spread[k - n] > 0:
            moved = np.zeros(len(values))
            moved[k] = 1.0
            moved[task.active] = -inverse[:, :count] @ jacobian[:count, k]
            out += task.spread[k - n] ** 2 * np.outer(moved, moved)
    return out
