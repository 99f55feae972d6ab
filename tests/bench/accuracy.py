"""Recall at so many false flags a shot, on drawn shots the ranker never saw: `make bench-accuracy`.

Standard shots: 2000 x 1500 px at 20 px/mm with full clutter, half of them with six insects, half without; and wild shots, of any scale,
light and focus. Seeds begin far above those the ranker learned on. Limits are exact binomial (Clopper and Pearson), 95%.
"""

from __future__ import annotations

import argparse
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context

import cv2
import numpy as np
from froc import ShotCount, count_shot, recall_at
from scipy.stats import beta

from vision.pipeline import inspect
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, tidy, vary
from vision.types import Cut, Setup, Shot

_HELD_OUT = 900_000_000
_SIX = (("aphid", 2), ("thrips", 2), ("caterpillar", 2))
_NONE = (("aphid", 0), ("thrips", 0), ("caterpillar", 0))
_FALSE = (1, 2, 4, 8, 12)


def recipes(kind: str, wild: bool, count: int) -> list[Recipe]:
    """`count` shots to judge by; every other one is empty."""
    make = vary if wild else tidy
    return [replace(make(kind, _HELD_OUT + k), insects=_SIX if k % 2 else _NONE) for k in range(count)]


def judge(recipe: Recipe) -> ShotCount:
    """One shot, drawn, inspected at a minimum score of 0, and counted."""
    drawn = draw(recipe)
    shot = Shot(drawn.pixels, "0" * 64, "drawn")
    seen = inspect(shot, Setup(px_per_mm=drawn.px_per_mm), None, shipped_ranker(), Cut(min_score=0.0))
    return count_shot(seen.candidates, drawn.truth, drawn.px_per_mm)


def limits(found: int, of: int) -> tuple[float, float]:
    """Clopper and Pearson's 95% limits of a share."""
    low = float(beta.ppf(0.025, found, of - found + 1)) if found else 0.0
    high = float(beta.ppf(0.975, found + 1, of - found)) if found < of else 1.0
    return low, high


def row(name: str, counts: Sequence[ShotCount]) -> str:
    """One line of the table."""
    insects = sum(len(c.hits) for c in counts)
    cells = []
    for false in _FALSE:
        recall, _ = recall_at(counts, false)
        low, high = limits(round(recall * insects), insects)
        cells.append(f"{recall:.2f} ({low:.2f}-{high:.2f})")
    return f"| {name} | {len(counts)} | {insects} | " + " | ".join(cells) + " |"


def by_cut(name: str, counts: Sequence[ShotCount]) -> str:
    """What the default cut keeps of insects of 1 mm and more, and how many flags it leaves on an empty shot."""
    cut = Cut().min_score
    large = [h for c in counts for h, b in zip(c.hits, c.bodies, strict=True) if b.length_mm >= 1]
    empty = [sum(score >= cut for score in c.false) for c in counts if not c.bodies]
    kept = np.mean([h >= cut for h in large]) if large else float("nan")
    looked = np.mean([h >= 0 for h in large]) if large else float("nan")
    return f"| {name} | {len(large)} | {looked:.2f} | {kept:.2f} | {np.mean(empty):.1f} |"


def _one_thread() -> None:
    cv2.setNumThreads(1)


def main() -> None:
    """Draws, judges, prints two Markdown tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shots", type=int, default=60, help="shots a kind")
    parser.add_argument("--workers", type=int, default=2)
    asked = parser.parse_args()
    counted: dict[str, list[ShotCount]] = {}
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn"), initializer=_one_thread) as pool:
        for kind, name in (("water", "rinse water"), ("broccoli", "broccoli florets")):
            for wild in (False, True):
                counted[f"{name}, {'wild' if wild else 'standard'}"] = list(
                    pool.map(judge, recipes(kind, wild, asked.shots))
                )
    print("| scene | shots | insects | " + " | ".join(f"recall at {n} false a shot" for n in _FALSE) + " |")
    print("|---" * (3 + len(_FALSE)) + "|")
    for name, counts in counted.items():
        print(row(name, counts))
    print(
        f"\n| scene | insects of 1 mm and more | looked at | kept at {Cut().min_score} | false flags on an empty shot |"
    )
    print("|---" * 5 + "|")
    for name, counts in counted.items():
        print(by_cut(name, counts))


if __name__ == "__main__":
    main()
