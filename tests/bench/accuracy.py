"""Recall at so many false flags a shot, ours beside general-purpose detectors; listing, sizes and shapes: `make bench-accuracy`.

How it is counted:

- A standard shot is 2000 x 1500 px at 20 px/mm with full clutter; every other one holds six insects, the rest none (standard.py). The
  bodies are of the second family, drawn by code that shares nothing with the family the ranker learned on.
- A flag hits a body within half its length (at least 0.5 mm) of its centre, best score first. A second flag on the same body counts
  neither way, nor do flags on bodies under 0.3 mm or less than half in view. All else is false (froc.py).
- Recall at n false flags a shot: one cut for all shots of a kind of scene, the lowest that leaves at most n false flags a shot on
  average, shots without insects included. Tables by insect and by size use the cuts of their whole scene.
- Limits are exact binomial (Clopper and Pearson), 95%, insects taken as independent.
- "Our search alone": what was looked at closer, in the order of the first glance, nothing ranked; and by signal to noise instead.
- Peers get the shot freed of slow light, look for both tones or for distance in colour, and their parameters are those with the best
  recall on shots of other seeds (peers.py); what was chosen is printed.
- Listed: at a minimum score of 0, see listing.py. Sizes and shapes: see sizing.py. White noise: see efficiency.py.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import bench_tables as tables
import cv2
from efficiency import print_table
from judging import Job, Judged, Wishes, choose, judge, try_peers
from listing import Listed, list_larvae, list_plain
from plots import plot_froc, plot_listing, plot_sizes
from standard import SCENES, TUNING, USUAL, larvae, scaled, standard, wild

from vision.render.recipe import BODIES

_SCALES = (8.0, 12.0, 20.0, 30.0, 45.0)
_TUNED_ON = 12
_BEGUN = time.perf_counter()


def _one_thread() -> None:
    cv2.setNumThreads(1)


class Bench:
    """The pool and the numbers of shots."""

    def __init__(self, pool: ProcessPoolExecutor, shots: int, bodies: str) -> None:
        self.pool, self.shots, self.bodies = pool, shots, bodies

    def run(self, what: str, work: Callable[[Any], Any], jobs: Iterable[Any]) -> list[Any]:
        """All jobs, in their order, with a line to whoever waits."""
        done = list(self.pool.map(work, jobs))
        print(f"{time.perf_counter() - _BEGUN:6.0f} s  {what}: {len(done)} shots", file=sys.stderr, flush=True)
        return done

    def part(self, nth: int) -> range:
        """The numbers of one in `nth` of the shots, at least two."""
        return range(max(self.shots // nth, 2))

    def peers(self, kind: str) -> dict[str, dict[str, Any]]:
        """Their parameters, from other seeds."""
        recipes = [standard(kind, k, self.bodies, TUNING) for k in range(min(_TUNED_ON, max(self.shots, 2)))]
        return choose(self.run(f"{kind}, peers tuned", try_peers, recipes))

    def judged(self, kind: str, peers: Wishes) -> list[Judged]:
        """The standard shots."""
        jobs = [Job(standard(kind, k, self.bodies), True, peers) for k in range(self.shots)]
        return self.run(f"{kind}, standard", judge, jobs)

    def family(self, kind: str, bodies: str) -> list[Judged]:
        """Shots with insects of another family, for their sizes."""
        jobs = [Job(standard(kind, 2 * k + 1, bodies)) for k in self.part(8)]
        return self.run(f"{kind}, {bodies} family", judge, jobs)

    def loose(self, kind: str) -> list[Judged]:
        """Wild shots."""
        return self.run(f"{kind}, wild", judge, [Job(wild(kind, k, self.bodies)) for k in self.part(4)])

    def at_scale(self, kind: str, px_per_mm: float) -> list[Judged]:
        """Shots of another scale."""
        jobs = [Job(scaled(kind, k, px_per_mm, self.bodies)) for k in self.part(10)]
        return self.run(f"{kind}, {px_per_mm:g} px/mm", judge, jobs)

    def plain(self, kind: str) -> list[Listed]:
        """The plain insects of every fourth standard shot with insects."""
        recipes = [standard(kind, 2 * k + 1, self.bodies) for k in self.part(8)]
        return [b for some in self.run(f"{kind}, listing", list_plain, recipes) for b in some]

    def larvae(self, kind: str) -> list[Listed]:
        """Small larvae at 25 px/mm."""
        recipes = [larvae(kind, k, self.bodies) for k in self.part(20)]
        return [b for some in self.run(f"{kind}, larvae", list_larvae, recipes) for b in some]


def main() -> None:
    """Draws, judges, prints Markdown tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument(
        "--shots", type=int, default=200, help="standard shots a kind of scene; half of them hold six insects"
    )
    parser.add_argument("--kinds", default=",".join(USUAL), help=f"of {', '.join(SCENES)}")
    parser.add_argument(
        "--families", default="second,first", help="of bodies; the first named is judged, of others the sizes"
    )
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument("--ours-alone", action="store_true", help="leave the general-purpose detectors out")
    parser.add_argument("--plots", type=Path, default=Path("build/bench"), help="a folder for pictures of the tables")
    asked = parser.parse_args()
    kinds, families = asked.kinds.split(","), asked.families.split(",")
    if not set(kinds) <= set(SCENES) or not set(families) <= set(BODIES):
        parser.error(f"kinds are {', '.join(SCENES)}; families are {', '.join(BODIES)}")
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn"), initializer=_one_thread) as pool:
        bench = Bench(pool, asked.shots, families[0])
        chosen = {kind: {} if asked.ours_alone else bench.peers(kind) for kind in kinds}
        judged = {kind: bench.judged(kind, chosen[kind]) for kind in kinds}
        loose = {kind: bench.loose(kind) for kind in kinds}
        at_scale = {kind: {scale: bench.at_scale(kind, scale) for scale in _SCALES} for kind in kinds}
        plain, small = {kind: bench.plain(kind) for kind in kinds}, {kind: bench.larvae(kind) for kind in kinds}
        sizes = {
            kind: {
                f: [s for j in (bench.family(kind, f) if f in families[1:] else judged[kind]) for s in j.sizes]
                for f in families
            }
            for kind in kinds
        }
    tables.froc_table(judged, loose)
    for kind, wishes in chosen.items():
        for name, wish in wishes.items():
            print(f"\n{SCENES[kind].name}: {name} with " + ", ".join(f"{k} {v}" for k, v in wish.items()), end="")
    print()
    tables.cut_table(judged)
    tables.split_tables(judged, at_scale)
    tables.listing_table(plain, small)
    tables.sizing_table(sizes)
    tables.shape_table([s for kind in kinds for s in sizes[kind][families[0]]])
    print_table(fields=3)
    asked.plots.mkdir(parents=True, exist_ok=True)
    plot_froc(asked.plots, {SCENES[kind].name: judged[kind] for kind in kinds})
    plot_listing(asked.plots, {SCENES[kind].name: (plain[kind], small[kind]) for kind in kinds})
    plot_sizes(asked.plots, {SCENES[kind].name: sizes[kind] for kind in kinds})
    print(f"\nPictures: {asked.plots}")


if __name__ == "__main__":
    main()
