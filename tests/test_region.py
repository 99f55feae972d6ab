"""Parts of photographs: the pixels as they are, and means of blocks where they are shrunk."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from numpy.typing import NDArray

from vision.region import region

HIGH, WIDE = 48, 60


def noise(dtype: type[np.unsignedinteger[Any]] = np.uint8, high: int = HIGH, wide: int = WIDE) -> NDArray[Any]:
    top = np.iinfo(dtype).max
    return np.random.default_rng(3).integers(0, top, (high, wide, 3), dtype=dtype, endpoint=True)


def block_means(pixels: NDArray[Any], shrink: int) -> NDArray[np.float64]:
    high, wide = pixels.shape[0] // shrink, pixels.shape[1] // shrink
    return pixels.reshape(high, shrink, wide, shrink, 3).mean(axis=(1, 3))


def shares(long: int, short: int) -> NDArray[np.float64]:
    """(short, long): which share of each of `long` pixels goes into each of `short` ones that cover the same length."""
    edges = np.linspace(0, long, short + 1)
    start = np.arange(long)
    share = np.clip(np.minimum(edges[1:, None], start + 1) - np.maximum(edges[:-1, None], start), 0, None)
    return np.asarray(share / share.sum(axis=1, keepdims=True))


class TestAsItIs:
    @pytest.mark.parametrize("box", [(0, 0, WIDE, HIGH), (7, 5, 20, 11), (59, 47, 1, 1), (0, 40, 60, 8)])
    def test_is_the_slice(self, box: tuple[int, int, int, int]) -> None:
        left, top, wide, high = box
        pixels = noise()
        assert np.array_equal(region(pixels, *box), pixels[top : top + high, left : left + wide])

    @pytest.mark.parametrize(
        ("box", "rows", "columns"),
        [
            ((-10, -5, 30, 20), slice(0, 15), slice(0, 20)),
            ((50, 40, 100, 100), slice(40, 48), slice(50, 60)),
            ((-5, -5, 900, 900), slice(0, 48), slice(0, 60)),
            ((-(10**8), 3, 2 * 10**8, 2), slice(3, 5), slice(0, 60)),
        ],
    )
    def test_is_cut_at_the_edge(self, box: tuple[int, int, int, int], rows: slice, columns: slice) -> None:
        pixels = noise()
        assert np.array_equal(region(pixels, *box), pixels[rows, columns])

    def test_sixteen_bits_are_rounded_to_eight(self) -> None:
        every = np.repeat(np.arange(65536, dtype=np.uint16).reshape(256, 256, 1), 3, axis=2)
        assert np.array_equal(region(every, 0, 0, 256, 256), np.rint(every / 257).astype(np.uint8))

    @pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
    @pytest.mark.parametrize("shrink", [1, 3])
    def test_pixels_that_are_read_only_are_left_as_they_are(
        self, dtype: type[np.unsignedinteger[Any]], shrink: int
    ) -> None:
        pixels = noise(dtype)
        before = pixels.copy()
        pixels.flags.writeable = False
        part = region(pixels, 3, 4, 30, 30, shrink)
        assert part.dtype == np.uint8
        assert part.flags.c_contiguous
        assert np.array_equal(pixels, before)


class TestShrunk:
    @pytest.mark.parametrize("shrink", [2, 3, 4, 6, 12])
    @pytest.mark.parametrize("dtype", [np.uint8, np.uint16])
    def test_is_the_means_of_blocks(self, shrink: int, dtype: type[np.unsignedinteger[Any]]) -> None:
        pixels = noise(dtype)
        part = region(pixels, 0, 0, WIDE, HIGH, shrink)
        assert part.shape == (HIGH // shrink, WIDE // shrink, 3)
        expected = block_means(pixels / (257 if dtype is np.uint16 else 1), shrink)
        # Half a level of rounding; half a level more where 16 bits are rounded first.
        assert np.abs(part - expected).max() <= (1.0 if dtype is np.uint16 else 0.5) + 1e-4

    def test_starts_at_the_box(self) -> None:
        pixels = noise()
        part = region(pixels, 10, 6, 24, 18, 6)
        assert np.abs(part - block_means(pixels[6:24, 10:34], 6)).max() <= 0.5 + 1e-4

    @pytest.mark.parametrize(("wide", "high", "shrink"), [(59, 47, 4), (37, 41, 8), (53, 48, 5), (10, 3, 7)])
    def test_the_whole_box_is_in_it_where_the_number_does_not_go(self, wide: int, high: int, shrink: int) -> None:
        pixels = noise()[:high, :wide]
        part = region(pixels, 0, 0, wide, high, shrink)
        size = (max(1, round(high / shrink)), max(1, round(wide / shrink)))
        assert part.shape[:2] == size
        rows, columns = shares(high, size[0]), shares(wide, size[1])
        expected = np.einsum("ih,hwc,jw->ijc", rows, pixels.astype(np.float64), columns)
        assert np.abs(part - expected).max() <= 0.5 + 0.01

    def test_a_box_smaller_than_one_pixel_is_one(self) -> None:
        pixels = noise()
        part = region(pixels, 4, 4, 3, 2, 50)
        assert part.shape == (1, 1, 3)
        assert np.abs(part[0, 0] - pixels[4:6, 4:7].mean(axis=(0, 1))).max() <= 0.5 + 1e-4

    @pytest.mark.parametrize("x", range(20, 26))
    def test_a_dark_speck_grows_pale_but_does_not_vanish(self, x: int) -> None:
        pixels = np.full((HIGH, WIDE, 3), 220, dtype=np.uint8)
        pixels[20:23, x : x + 3] = 20
        for shrink in (2, 3, 4, 6):
            part = region(pixels, 0, 0, WIDE, HIGH, shrink).astype(int)
            darkened = (220 - part[..., 0]).sum() * shrink**2
            assert abs(darkened - 9 * 200) <= 0.5 * shrink**2 * 9

    def test_a_strange_number_is_one_pixel(self) -> None:
        pixels = noise()
        assert region(pixels, 0, 0, 10**9, 10**9, 10**9).shape == (1, 1, 3)


class TestRefused:
    @pytest.mark.parametrize(
        "box",
        [
            (60, 0, 5, 5),
            (0, 48, 5, 5),
            (-5, 0, 5, 5),
            (0, -5, 5, 5),
            (3, 3, 0, 5),
            (3, 3, 5, 0),
            (3, 3, -2, 5),
            (3, 3, 5, -(10**9)),
        ],
    )
    def test_a_box_with_nothing_in_it(self, box: tuple[int, int, int, int]) -> None:
        for shrink in (1, 4):
            with pytest.raises(ValueError, match="outside"):
                region(noise(), *box, shrink)

    @pytest.mark.parametrize("shrink", [0, -1, -(10**9)])
    def test_a_number_that_does_not_shrink(self, shrink: int) -> None:
        with pytest.raises(ValueError, match="from 1 up"):
            region(noise(), 0, 0, 10, 10, shrink)
