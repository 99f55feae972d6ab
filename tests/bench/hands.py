"""Recall on shots that other hands drew, on which nothing was learned, beside the standard shots: `make bench-hands`.

The scenes and look-alikes of the standard shots (standard.py) come from the code that two in five lessons come from. A hand that was
written without sight of it shows how much of what was learned holds elsewhere. Shots are 2000 x 1500 px at 20 px/mm, every other one
holds six insects; counted as in accuracy.py. Those hands that lessons are drawn by can be asked for, too: on other seeds.

What is strange in such a shot is all of it at once. To tell grounds from bodies, bodies and bits of other hands can be laid on our own
grounds (`--bodies lent,small`): lessons are drawn by the hands that lend the former, and nothing was learned on the small ones.
"""

from __future__ import annotations

import argparse
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import bench_tables as tables
from judging import Job, judge, one_thread
from plots import plot_hands
from standard import HELD_OUT, SCENES, standard

from vision.render import Recipe
from vision.render.hands.by_hand import HANDS, KINDS, UNSEEN, HandShot
from vision.render.hands.lenders import LENDERS
from vision.render.recipe import BODIES

_INSECTS = 6
_OWN = "our own hand, bodies of the {} family"


def shots(hand: str, kind: str, count: int) -> list[HandShot]:
    """So many shots; odd ones hold six insects."""
    sizes = {"width_px": 2000, "height_px": 1500}
    return [HandShot(hand, kind, HELD_OUT + k, _INSECTS if k % 2 else 0, **sizes) for k in range(count)]


def ours(kind: str, bodies: str, count: int) -> list[Recipe]:
    """So many standard shots with bodies of a family; where other hands lend them, they lend as much bycatch as there is of ours."""
    bits = 1.0 if bodies in LENDERS else 0.0
    return [replace(standard(kind, k, bodies), lent_bits=bits) for k in range(count)]


def main() -> None:
    """Draws, judges, prints Markdown tables, plots."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--shots", type=int, default=40, help="shots a kind of scene; half of them hold six insects")
    parser.add_argument("--hands", default=",".join(UNSEEN), help=f"of {', '.join((*UNSEEN, *HANDS))}")
    parser.add_argument("--bodies", default="second", help=f"on our own grounds, of {', '.join(BODIES)}")
    parser.add_argument("--kinds", default=",".join(KINDS), help=f"of {', '.join(KINDS)}")
    parser.add_argument("--workers", type=int, default=2)
    parser.add_argument(
        "--plots", type=Path, default=Path("build/bench"), help="a folder for the picture of the tables"
    )
    asked = parser.parse_args()
    hands, kinds, bodies = (
        [name for name in names.split(",") if name] for names in (asked.hands, asked.kinds, asked.bodies)
    )
    if not set(kinds) <= set(KINDS) or not set(hands) <= {*UNSEEN, *HANDS} or not set(bodies) <= set(BODIES):
        parser.error(
            f"kinds are {', '.join(KINDS)}; hands are {', '.join((*UNSEEN, *HANDS))}; bodies are {', '.join(BODIES)}"
        )
    if not hands and not bodies:
        parser.error("ask for a hand or for bodies on our own grounds")
    sys.stdout.reconfigure(line_buffering=True)  # type: ignore[union-attr]
    with ProcessPoolExecutor(asked.workers, mp_context=get_context("spawn"), initializer=one_thread) as pool:
        found = {}
        for kind in kinds:
            by = {_OWN.format(family): [Job(shot) for shot in ours(kind, family, asked.shots)] for family in bodies}
            by |= {f"the {hand} hand": [Job(shot) for shot in shots(hand, kind, asked.shots)] for hand in hands}
            found[SCENES[kind].name] = {whose: list(pool.map(judge, jobs)) for whose, jobs in by.items()}
            for whose, judged in found[SCENES[kind].name].items():
                tables.froc_table(f"{SCENES[kind].name}, {whose}", judged, {})
                tables.cut_table(f"{SCENES[kind].name}, {whose}", judged)
    asked.plots.mkdir(parents=True, exist_ok=True)
    plot_hands(asked.plots, found)
    print(f"\nPicture: {asked.plots / 'hands.png'}")


if __name__ == "__main__":
    main()
