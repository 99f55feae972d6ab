"""Seconds of each step of the straight line beside the decode of the same bytes, and the most memory it takes: `make bench`.

Two reference shots of 12 megapixels at 20 px/mm, fixed by seed, JPEG: rinse water and opened florets. Warm, one process, OpenCV at
two threads; medians of a few runs. Shared machines are noisy: the ratio to the decode in the same run is the figure to compare. Beside it
stands sep (source extraction as astronomers do it) at three standard deviations of its own background, on the same picture in grey.
Memory is that of a process of its own, from bytes to table rows. The picture of 48 megapixels is four of the smaller one.
"""

from __future__ import annotations

import argparse
import statistics
import time
from collections.abc import Callable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import replace
from multiprocessing import get_context
from pathlib import Path

import cv2
import numpy as np
import sep

from vision.annotate import annotate
from vision.decode import decode_shot
from vision.features import features_of
from vision.files import encode_jpeg
from vision.foreground import find_surfaces
from vision.looks import Looks, views_of
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


SETUP = Setup(px_per_mm=PX_PER_MM, scale_from=ScaleFrom.OPTION)


def to_rows(data: bytes) -> object:
    """All that is timed as a whole: bytes to table rows."""
    seen = inspect(decode_shot(data, "reference"), SETUP, None, shipped_ranker(), Cut())
    return candidate_rows(Belonging("reference", "r0"), seen)


def peak_mb(data: bytes) -> float:
    """The most memory of a fresh process that does so; for a process of its own."""
    cv2.setNumThreads(2)
    to_rows(data)
    # Linux: getrusage would tell the most of the process that started this one, which has drawn the shots.
    line = next(x for x in Path("/proc/self/status").read_text().splitlines() if x.startswith("VmHWM"))
    return int(line.split()[1]) / 1e3


def measured_apart(data: bytes) -> float:
    """The same, in a process of its own."""
    with ProcessPoolExecutor(1, mp_context=get_context("spawn")) as pool:
        return pool.submit(peak_mb, data).result()


def four_times(data: bytes) -> bytes:
    """The picture beside and below itself, as JPEG 90."""
    picture = cv2.imdecode(np.frombuffer(data, np.uint8), cv2.IMREAD_COLOR)
    assert picture is not None
    return bytes(cv2.imencode(".jpg", np.tile(picture, (2, 2, 1)), [cv2.IMWRITE_JPEG_QUALITY, 90])[1])


def extracted(grey: np.ndarray) -> object:
    """What stands out by three standard deviations, as sep finds it."""
    background = sep.Background(grey)
    return sep.extract(background.back() - grey, 3.0, err=background.globalrms)


def bench(kind: str, rounds: int) -> None:
    """Prints the table of one reference shot."""
    data = draw(reference(kind)).jpeg
    setup = SETUP
    ranker, cut = shipped_ranker(), Cut()
    bytes_array = np.frombuffer(data, np.uint8)
    decode = timed(rounds, lambda: cv2.imdecode(bytes_array, cv2.IMREAD_COLOR))
    shot = decode_shot(data, "reference")
    light = see_light(shot, setup)
    scale = PX_PER_MM / light.step
    surfaces = find_surfaces(light.density, None, scale)
    looks = Looks(ranker.net, views_of(shot, light, PX_PER_MM))
    specks = find_specks(light, surfaces, scale, ranker.glance, shot.pixels, looks=looks)
    measured = measure_specks(specks, light.step)
    lit = tell_lit_from(light, surfaces)
    features = features_of(measured, surfaces, lit, PX_PER_MM, light.step, looks)
    inspection = inspect(shot, setup, None, ranker, cut)
    picture = annotate(shot, inspection)

    grey = cv2.cvtColor(shot.pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    sep.set_extract_pixstack(10_000_000)
    steps: list[tuple[str, Callable[[], object]]] = [
        ("read and decode", lambda: decode_shot(data, "reference")),
        ("light", lambda: see_light(shot, setup)),
        ("surfaces", lambda: find_surfaces(light.density, None, scale)),
        ("specks", lambda: find_specks(light, surfaces, scale, ranker.glance, shot.pixels, looks=looks)),
        ("measures", lambda: measure_specks(specks, light.step)),
        ("features", lambda: features_of(measured, surfaces, lit, PX_PER_MM, light.step, looks)),
        ("score", lambda: ranker.scores(features)),
        ("bytes to table rows, whole", lambda: to_rows(data)),
        ("annotated picture", lambda: annotate(shot, inspection)),
        ("its encoding", lambda: encode_jpeg(picture, 90)),
        ("sep at 3 sigma, decoded in grey", lambda: extracted(grey)),
    ]
    megapixels = shot.width_px * shot.height_px / 1e6
    print(
        f"\n{kind}: {megapixels:.0f} megapixels, {len(data) / 1e6:.1f} MB, {len(specks)} specks, {len(inspection.candidates)} flags"
    )
    print(f"{'step':34s}{'seconds':>9s}{'x decode':>10s}")
    print(f"{'OpenCV decodes the same bytes':34s}{decode:9.3f}{1.0:10.1f}")
    whole = 0.0
    for name, work in steps:
        seconds = timed(rounds, work)
        whole = seconds if "whole" in name else whole
        print(f"{name:34s}{seconds:9.3f}{seconds / decode:10.1f}", flush=True)
    large = four_times(data)
    seconds = timed(1, lambda: to_rows(large))
    print(
        f"{4 * megapixels:.0f} megapixels, bytes to table rows: {seconds:.1f} s, {seconds / whole:.1f} times the time"
    )
    print(
        f"peak memory: {measured_apart(data):.0f} MB, {measured_apart(large):.0f} MB of {4 * megapixels:.0f} megapixels"
    )


def main() -> None:
    """Prints both tables."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--rounds", type=int, default=5)
    rounds = parser.parse_args().rounds
    cv2.setNumThreads(2)
    for kind in ("water", "broccoli"):
        bench(kind, rounds)


if __name__ == "__main__":
    main()
