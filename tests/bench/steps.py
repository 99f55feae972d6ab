"""Seconds of each step of the straight line beside the decode of the same bytes: `make bench`.

Two reference shots of 12 megapixels at 20 px/mm, fixed by seed, JPEG: rinse water and opened florets. Warm, one process, OpenCV at
two threads; medians of a few runs. Shared machines are noisy: the ratio to the decode in the same run is the figure to compare.
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import cv2
import numpy as np

from vision.annotate import annotate
from vision.decode import decode_shot
from vision.features import features_of
from vision.files import encode_jpeg
from vision.foreground import find_surfaces
from vision.measure import measure_specks
from vision.pipeline import inspect, see_light, tell_lit_from
from vision.rank import shipped_ranker
from vision.render import Recipe, draw, tidy
from vision.specks import find_specks
from vision.table import Belonging, candidate_rows
from vision.types import Cut, ScaleFrom, Setup

PX_PER_MM = 20.0


def reference(kind: str) -> Recipe:
    """The shot that is timed."""
    recipe = tidy(kind, 20_26, width_px=4000, height_px=3000, px_per_mm=PX_PER_MM)
    return replace(recipe, insects=(("aphid", 6), ("thrips", 6), ("caterpillar", 3)), jpeg_quality=90)


def timed(rounds: int, work: Callable[[], object]) -> float:
    """Median seconds of `rounds` calls after one that does not count."""
    work()
    seconds = []
    for _ in range(rounds):
        begun = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - begun)
    return statistics.median(seconds)


def bench(kind: str, rounds: int) -> None:
    """Prints the table of one reference shot."""
    data = draw(reference(kind)).jpeg
    setup = Setup(px_per_mm=PX_PER_MM, scale_from=ScaleFrom.OPTION)
    ranker, cut = shipped_ranker(), Cut()
    bytes_array = np.frombuffer(data, np.uint8)
    decode = timed(rounds, lambda: cv2.imdecode(bytes_array, cv2.IMREAD_COLOR))
    shot = decode_shot(data, "reference")
    light = see_light(shot, setup)
    scale = PX_PER_MM / light.step
    surfaces = find_surfaces(light.density, None, scale)
    specks = find_specks(light, surfaces, scale, ranker.glance, shot.pixels)
    measured = measure_specks(specks, light.step)
    lit = tell_lit_from(light, surfaces)
    features = features_of(measured, surfaces, lit, PX_PER_MM, light.step)
    inspection = inspect(shot, setup, None, ranker, cut)
    picture = annotate(shot, inspection)

    def to_rows() -> object:
        seen = inspect(decode_shot(data, "reference"), setup, None, ranker, cut)
        return candidate_rows(Belonging("reference", "r0"), seen)

    steps: list[tuple[str, Callable[[], object]]] = [
        ("read and decode", lambda: decode_shot(data, "reference")),
        ("light", lambda: see_light(shot, setup)),
        ("surfaces", lambda: find_surfaces(light.density, None, scale)),
        ("specks", lambda: find_specks(light, surfaces, scale, ranker.glance, shot.pixels)),
        ("measures", lambda: measure_specks(specks, light.step)),
        ("features", lambda: features_of(measured, surfaces, lit, PX_PER_MM, light.step)),
        ("score", lambda: ranker.judge(features)),
        ("bytes to table rows, whole", to_rows),
        ("annotated picture", lambda: annotate(shot, inspection)),
        ("its encoding", lambda: encode_jpeg(picture, 90)),
    ]
    megapixels = shot.width_px * shot.height_px / 1e6
    print(
        f"\n{kind}: {megapixels:.0f} megapixels, {len(data) / 1e6:.1f} MB, {len(specks)} specks, {len(inspection.candidates)} flags"
    )
    print(f"{'step':30s}{'seconds':>9s}{'x decode':>10s}")
    print(f"{'OpenCV decodes the same bytes':30s}{decode:9.3f}{1.0:10.1f}")
    for name, work in steps:
        seconds = timed(rounds, work)
        print(f"{name:30s}{seconds:9.3f}{seconds / decode:10.1f}")


def main() -> None:
    """Prints both tables and the peak memory."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    cv2.setNumThreads(2)
    for kind in ("water", "broccoli"):
        bench(kind, rounds)
    print(f"\npeak memory, drawing included: {resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1e3:.0f} MB")


if __name__ == "__main__":
    main()
