"""How well the plane is known from printed pieces, and whether the stated errors are honest: tables from simulated shots.

`python tests/bench/geometry.py [shots a row]`. Points get normal noise of 0.05 px; cameras from 24 to 80 mm (film equivalent) whose axis is
a little off the picture's middle. `covers`: share of shots in which the true error lies within one and two of the stated ones.
"""

from __future__ import annotations

import sys
import time
from dataclasses import replace

import numpy as np
from seen_pieces import Points, Pose, any_pose, corner_pieces, strip_in_view, view

from calib.ground_plane import GroundFit, fit_ground
from calib.slip.layout import strip
from vision.geometry import ground_mm, jacobian_mm_per_px, place_error_mm, px_per_mm_at, relative_length_error
from vision.types import GroundMap

SIZES = {8.0: (2048, 1536), 12.0: (2048, 1536), 20.0: (4000, 3000), 45.0: (8000, 6000)}


def true_steps(pose: Pose, places_mm: Points) -> Points:
    """(n, 2, 2): pixels for a millimetre along x and y of the plane."""
    d = 1e-3
    columns = [(pose.seen(places_mm + s) - pose.seen(places_mm - s)) / (2 * d) for s in ((d, 0), (0, d))]
    return np.stack(columns, axis=2)


def length_errors(ground_map: GroundMap, pose: Pose, places_mm: Points) -> tuple[Points, Points]:
    """(n, 12) relative error of short lengths at places of the plane, by direction; (n,) their stated standard uncertainty."""
    steps, px = true_steps(pose, places_mm), pose.seen(places_mm)
    both = jacobian_mm_per_px(ground_map, px) @ steps
    a = np.deg2rad(np.arange(0, 180, 15))
    lengths = np.linalg.norm(both @ np.stack([np.cos(a), np.sin(a)]), axis=1)
    return lengths - 1, relative_length_error(ground_map, px)


def ring(mm: Points, away_mm: float = 60.0) -> Points:
    """(16, 2): places 60 mm from the middle of the strip's points, all round."""
    a = np.deg2rad(np.arange(0, 360, 22.5))
    return mm.mean(axis=0) + away_mm * np.column_stack([np.cos(a), np.sin(a)])


def near_strip(mm: Points, away_mm: float = 60.0) -> Points:
    """(n, 2): places up to 60 mm from the strip itself: its points moved at right angles to it."""
    _, _, v = np.linalg.svd(mm - mm.mean(axis=0), full_matrices=False)
    picked = mm[:: max(len(mm) // 12, 1)]
    along, across = (picked - mm.mean(axis=0)) @ v.T[:, 0], (picked - mm.mean(axis=0)) @ v.T[:, 1]
    return mm.mean(axis=0) + along[:, None] * v[0] + (across + np.sign(across) * away_mm)[:, None] * v[1]


def told(fit: GroundFit, pose: Pose, mm: Points, places: Points) -> dict[str, Points | float]:
    """Errors of one shot's map."""
    assert fit.ground_map is not None
    m = fit.ground_map
    centre_px = np.array([[m.x_px, m.y_px]])
    centre = mm.mean(axis=0)[None]
    for _ in range(8):
        step = np.linalg.inv(true_steps(pose, centre)[0]) @ (centre_px - pose.seen(centre))[0]
        centre = centre + step
    scale_true = float(np.sqrt(abs(np.linalg.det(true_steps(pose, centre)[0]))))
    px = pose.seen(places)
    # Both are laid so that their x runs along the picture's x at the centre.
    j = np.linalg.inv(true_steps(pose, centre)[0])
    a = -np.arctan2(j[1, 0], j[0, 0])
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    off = ground_mm(m, px) - centre_px / float(px_per_mm_at(m, centre_px)[0]) - (places - centre) @ turn.T
    lengths, stated = length_errors(m, pose, places)
    return {
        "scale": abs(float(px_per_mm_at(m, centre_px)[0]) / scale_true - 1),
        "place": np.hypot(*off.T),
        "place_said": place_error_mm(m, px),
        "length": np.abs(lengths),
        "length_said": stated,
        "seconds": 0.0,
    }


def row(name: str, rows: list[dict[str, Points | float]]) -> None:
    place = np.concatenate([np.atleast_1d(r["place"]) for r in rows])
    said = np.concatenate([np.atleast_1d(r["place_said"]) for r in rows])
    length = np.concatenate([np.max(r["length"], axis=1) for r in rows])
    length_said = np.concatenate([np.atleast_1d(r["length_said"]) for r in rows])
    worst = [float(np.max(r["place"])) for r in rows]
    scale = [float(r["scale"]) for r in rows]
    covers = [float(np.mean(place <= k * said)) for k in (1, 2)] + [
        float(np.mean(length <= k * length_said)) for k in (1, 2)
    ]
    print(
        f"{name:44s} scale {100 * np.quantile(scale, 0.95):6.3f} {100 * max(scale):6.3f} %  place {np.quantile(worst, 0.5):6.3f}"
        f" {np.quantile(worst, 0.95):6.3f} {max(worst):6.3f} mm said {np.median(said):6.3f}  length {100 * np.quantile(length, 0.95):6.3f}"
        f" {100 * length.max():6.3f} % said {100 * np.median(length_said):6.3f}"
        f"  covers {covers[0]:.2f} {covers[1]:.2f} | {covers[2]:.2f} {covers[3]:.2f}"
        f"  {1000 * np.median([float(r['seconds']) for r in rows]):4.0f} ms"
    )


def strips(name: str, shots: int, scale: float, **how: float) -> None:
    """One strip a shot. `how`: covered (share of its length), lens (standard deviation of k1), curl (mm), hint, noise."""
    width, height = SIZES[scale]
    rows = []
    for seed in range(shots):
        rng = np.random.default_rng([seed, int(scale), 7])
        pose = replace(any_pose(rng, scale, width, height), k1=float(rng.normal(0, 1)) * how.get("lens", 0.0))
        mm, px = strip_in_view(rng, pose, width, height)
        if how.get("curl"):
            x = strip().saddles_mm[:, 0] / 45 - 1
            px = pose.seen(mm, how["curl"] * x**2)
        keep = np.ones(len(px), dtype=bool)
        if how.get("covered"):
            x = strip().saddles_mm[:, 0] / 90
            begin = rng.uniform(0, 1 - how["covered"])
            keep = (x < begin) | (x > begin + how["covered"])
        noise = how.get("noise", 0.05)
        piece = view(strip(), px, rng, noise, keep)
        begun = time.perf_counter()
        hint = pose.focal_px * float(np.exp(rng.normal(0, 0.02))) if how.get("hint") else None
        fit = fit_ground([piece], width, height, None, hint)
        seconds = time.perf_counter() - begun
        if fit.ground_map is None:
            print("    refused:", seed, pose, fit.words)
            continue
        places = np.concatenate([ring(mm), near_strip(mm)])
        there = pose.seen(places)
        inside = (there > 0).all(axis=1) & (there < (width - 1, height - 1)).all(axis=1)
        rows.append({**told(fit, pose, mm, places[inside]), "seconds": seconds})
    row(name, rows)


def corners(name: str, shots: int, scale: float, k1: float, most_tilt: float) -> None:
    """Four corner pieces; errors over a grid of the whole picture."""
    width, height = SIZES[scale]
    rows = []
    for seed in range(shots):
        rng = np.random.default_rng([seed, int(scale), 9])
        pose = replace(any_pose(rng, scale, width, height, most_tilt), k1=float(rng.uniform(-1, 1)) * k1)
        pieces, places = corner_pieces(pose, width, height, rng)
        if len(pieces) < 4:
            continue
        views = [view(p, pose.seen(mm), rng) for p, mm in zip(pieces, places, strict=True)]
        begun = time.perf_counter()
        fit = fit_ground(views, width, height, None, None)
        seconds = time.perf_counter() - begun
        if fit.ground_map is None or fit.words:
            print("    said:", seed, pose, fit.words)
        mm = np.concatenate(places)
        low, high = mm.min(axis=0), mm.max(axis=0)
        x, y = np.meshgrid(np.linspace(low[0], high[0], 7), np.linspace(low[1], high[1], 7))
        grid = np.column_stack([x.ravel(), y.ravel()])
        px = pose.seen(grid)
        inside = (px > 0).all(axis=1) & (px < (width - 1, height - 1)).all(axis=1)
        rows.append({**told(fit, pose, mm, grid[inside]), "seconds": seconds})
    row(name, rows)


def main() -> None:
    shots = int(sys.argv[1]) if len(sys.argv) > 1 else 40
    print("largest errors: scale at the strip 95 % and worst; place 60 mm away median, 95 %, worst; length 95 %, worst")
    for scale in (8.0, 20.0, 45.0):
        strips(f"strip, {scale:.0f} px/mm", shots, scale)
        strips(f"strip, {scale:.0f} px/mm, focal length told", shots, scale, hint=1)
        strips(f"strip, {scale:.0f} px/mm, a quarter covered", shots, scale, covered=0.25)
        strips(f"strip, {scale:.0f} px/mm, noise 0.2 px", shots, scale, noise=0.2)
        strips(f"strip, {scale:.0f} px/mm, k1 of 0.01", shots, scale, lens=0.01)
        strips(f"strip, {scale:.0f} px/mm, curled by 0.1 mm", shots, scale, curl=0.1)
        strips(f"strip, {scale:.0f} px/mm, curled by 1 mm", shots, scale, curl=1.0)
    for scale in (12.0, 20.0):
        for k1 in (0.0, 0.05):
            corners(f"corners, {scale:.0f} px/mm, |k1| to {k1}", shots, scale, k1, 30.0)


if __name__ == "__main__":
    main()
