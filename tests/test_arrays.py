"""The quick steps over arrays against the same steps as NumPy and SciPy have them, to the last bit."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import array_shapes, arrays
from scipy.ndimage import distance_transform_edt

from vision.arrays import copy_where, depth_within, mean_of_channels, median, medians, medians_of_known, to_half

NUMBERS = st.floats(-1e4, 1e4, width=32)
PLANES = array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=12)


@given(arrays(np.float32, st.integers(1, 30), elements=NUMBERS))
def test_median_is_that_of_numpy(values: np.ndarray) -> None:
    assert median(values) == float(np.median(values))


@pytest.mark.parametrize("count", [399, 400, 401, 5000])
def test_median_of_many_is_that_of_numpy(count: int) -> None:
    values = np.random.default_rng(count).normal(size=count).astype(np.float32)
    assert median(values) == float(np.median(values))


@given(arrays(np.float32, PLANES, elements=NUMBERS))
def test_medians_of_columns_are_those_of_numpy(values: np.ndarray) -> None:
    assert np.array_equal(medians(values), np.median(values, axis=0))


@given(arrays(np.float32, PLANES, elements=st.one_of(NUMBERS, st.just(float("nan")))), st.sampled_from([0, 1]))
def test_medians_of_what_is_known_are_those_of_numpy(values: np.ndarray, axis: int) -> None:
    known = np.isfinite(values).any(axis=axis)
    ours = medians_of_known(values, axis)
    assert np.isnan(ours[~known]).all()
    theirs = np.array([np.nanmedian(column) for column in np.moveaxis(values, axis, -1)[known]], np.float32)
    assert np.array_equal(ours[known], theirs)


@given(arrays(np.float32, PLANES, elements=st.floats(-(2.0**127), 2.0**127, width=32)))
def test_half_precision_is_that_of_numpy_up_to_its_largest_number(values: np.ndarray) -> None:
    largest = np.float32(np.finfo(np.float16).max)
    values = np.abs(values)  # what is kept so stands out: it is never below nothing
    assert np.array_equal(to_half(values), np.minimum(values, largest).astype(np.float16))


@given(PLANES, st.integers(0, 2**32 - 1))
def test_what_is_copied_under_a_mask_is_what_numpy_copies(shape: tuple[int, int], seed: int) -> None:
    rng = np.random.default_rng(seed)
    values, into = (rng.normal(size=shape).astype(np.float32) for _ in range(2))
    # A part of a larger array, as bands of cells are.
    large = np.zeros((shape[0] + 2, shape[1] + 3), np.float32)
    large[1:-1, 2:-1] = into
    mask = rng.random(shape) < 0.5
    copy_where(values, mask, large[1:-1, 2:-1])
    np.copyto(into, values, where=mask)
    assert np.array_equal(large[1:-1, 2:-1], into)
    assert large.sum(dtype=np.float64) == pytest.approx(into.sum(dtype=np.float64), abs=1e-4)


@pytest.mark.parametrize("seed", range(5))
def test_depth_within_a_mask_is_the_euclidean_one_to_a_few_hundredths(seed: int) -> None:
    mask = np.random.default_rng(seed).random((30, 40)) < 0.9
    exact = distance_transform_edt(np.pad(mask, 1))[1:-1, 1:-1]
    # Steps over 5 x 5 pixels are off by 2 % at most (Borgefors 1986, from memory).
    assert depth_within(mask) == pytest.approx(exact, rel=0.03)


@given(arrays(np.float32, (4, 5, 3), elements=NUMBERS))
def test_mean_of_channels_is_that_of_numpy(values: np.ndarray) -> None:
    assert np.array_equal(mean_of_channels(values), values.mean(axis=-1))
