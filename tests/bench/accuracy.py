"""Recall at so many false flags a shot, ours beside general-purpose detectors; listing, sizes and shapes: `make bench-accuracy`.

How it is counted:

- A standard shot is 2000 x 1500 px at 20 px/mm with full clutter; every other one holds six insects, the rest none (standard.py). The
  bodies are of the second family, drawn by code that shares nothing with the family the ranker learned on.
- A flag hits a body within half its length (at least 0.5 mm) of its centre, best score first. A second flag on the same body counts
  neither way, nor do flags on bodies under 0.3 mm or less than half in view. All else is false (vision/counting.py).
- Recall at n false flags a shot: one cut for all shots of a kind of scene, the lowest that leaves at most n false flags a shot on
  average, shots without insects included. Tables by insect and by size use the cuts of their whole scene.
- Limits are exact binomial (Clopper and Pearson), 95%, insects taken as independent.
- "Our search alone": what was looked at closer, in the order of the first glance, nothing ranked; and by signal to noise instead.
- Peers get the shot freed of slow light, look for both tones or for distance in colour, and their parameters are those with the best
  recall on shots of other seeds (peers.py); what was chosen is printed.
- Reliability: the share of insects among flags of a score, at the mix of the standard shots and where insects are rare.
- Listed: at a minimum score of 0, see listing.py. Sizes and shapes: see sizing.py. White noise: see efficiency.py.
"""

from __future__ import annotations

import argparse
import sys
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import bench_tables as tables
from efficiency import print_table
from judging import Job, Judged, choose, judge, one_thread, try_peers
from listing import Listed, list_larvae, list_plain
from plots import plot_froc, plot_listing, plot_reliability, plot_sizes, plot_together
from sizing import Sized
from standard import SCENES, TUNING, USUAL, larvae, scaled, standard, wild

from vision.render.recipe import BODIES

_SCALES = (8.0, 12.0, 20.0, 30.0, 45.0)
_TUNED_ON = 12
_BEGUN = time.perf_counter()


class Bench:
    """The pool and the number of shots. Each kind of scene is printed as soon as it is done."""

    def __init__(self, pool: ProcessPoolExecutor, shots: int, families: Sequence[str]) -> None:
        self.pool, self.shots, self.families = pool, shots, families
        self.bodies = families[0]

    def run(self, what: str, work: Callable[[Any], Any], jobs: Iterable[Any]) -> list[Any]:
        """All jobs, in their order, with a line to whoever waits."""
        done = list(self.pool.map(work, jobs))
        print(f"{time.perf_counter() - _BEGUN:6.0f} s  {what}: {len(done)} shots", file=sys.stderr, flush=True)
        return done

    def part(self, nth: int) -> range:
        """The numbers of one in `nth` of the shots, at least two."""
        return range(max(self.shots // nth, 2))

    def tuned(self, kind: str) -> dict[str, dict[str, Any]]:
        """The peers' parameters, from other seeds."""
        recipes = [standard(kind, k, self.bodies, TUNING) for k in range(min(_TUNED_ON, max(self.shots, 2)))]
        return choose(self.run(f"{kind}, peers tuned", try_peers, recipes))

    def print_recall(self, kind: str, peers: bool) -> list[Judged]:
        """Recall on standard and wild shots, by insect, size and scale; gives the standard shots."""
        name = SCENES[kind].name
        print(f"\n## {name}", flush=True)
        chosen = self.tuned(kind) if peers else {}
        jobs = [Job(standard(kind, k, self.bodies), True, chosen) for k in range(self.shots)]
        judged = self.run(f"{kind}, standard", judge, jobs)
        loose = self.run(f"{kind}, wild", judge, [Job(wild(kind, k, self.bodies)) for k in self.part(4)])
        blind = [Job(standard(kind, k, self.bodies), told_scale=False) for k in self.part(4)]
        unscaled = self.run(f"{kind}, without a scale", judge, blind)
        tables.froc_table(name, judged, {"wild": loose, "no scale told": unscaled})
        tables.chosen_table(chosen)
        tables.cut_table(name, judged)
        at_scale = {
            scale: self.run(
                f"{kind}, {scale:g} px/mm", judge, [Job(scaled(kind, k, scale, self.bodies)) for k in self.part(10)]
            )
            for scale in _SCALES
        }
        tables.split_table(name, SCENES[kind].insects, judged, at_scale)
        return judged

    def print_listing(self, kind: str) -> tuple[list[Listed], list[Listed]]:
        """Plain insects of standard shots, and small larvae at 25 px/mm."""
        insects = [standard(kind, 2 * k + 1, self.bodies) for k in self.part(8)]
        small = [larvae(kind, k, self.bodies) for k in self.part(20)]
        both = (
            [b for some in self.run(f"{kind}, listing", list_plain, insects) for b in some],
            [b for some in self.run(f"{kind}, larvae", list_larvae, small) for b in some],
        )
        tables.listing_table(SCENES[kind].name, *both)
        return both

    def print_sizes(self, kind: str, judged: Sequence[Judged]) -> dict[str, list[Sized]]:
        """Sizes and shapes of what was hit, by family of bodies."""
        sizes = {self.bodies: [s for j in judged for s in j.sizes]}
        for family in self.families[1:]:
            jobs = [Job(standard(kind, 2 * k + 1, family)) for k in self.part(8)]
            sizes[family] = [s for j in self.run(f"{kind}, {family} family", judge, jobs) for s in j.sizes]
        tables.sizing_table(SCENES[kind].name, sizes)
        tables.shape_table(sizes[self.bodies])
        return sizes


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
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    asked.plots.mkdir(parents=True, exist_ok=True)
    sizes, listed, shots = {}, {}, {}
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn"), initializer=one_thread) as pool:
        bench = Bench(pool, asked.shots, families)
        for kind in kinds:
            judged = bench.print_recall(kind, peers=not asked.ours_alone)
            shots[SCENES[kind].name] = judged
            listed[SCENES[kind].name] = bench.print_listing(kind)
            sizes[SCENES[kind].name] = bench.print_sizes(kind, judged)
            plot_froc(asked.plots, SCENES[kind].name, judged)
    print("\n## all scenes")
    everything = [j for judged in shots.values() for j in judged]
    tables.reliability_table(everything)
    plot_reliability(asked.plots, everything)
    plot_together(asked.plots, shots)
    tables.shape_table([s for each in sizes.values() for s in each[families[0]]])
    print_table(fields=3)
    plot_listing(asked.plots, listed)
    plot_sizes(asked.plots, sizes)
    print(f"\nPictures: {asked.plots}")


if __name__ == "__main__":
    main()
