"""The slip found in shots that are drawn apart from the program's own renderer (warped_slip.py)."""

from __future__ import annotations

import cv2
import numpy as np
import pytest
from numpy.typing import NDArray
from warped_slip import Camera, Fault, camera, photographed, scene, strip_light

from calib.slip import find
from calib.slip.draw import piece_bitmap
from calib.slip.find import find_slip
from calib.slip.layout import corner, strip
from calib.slip.view import PieceView, SlipText
from vision.render import Print, draw, tidy

NOISY = Fault(blur_px=1.0, noise=0.015, jpeg=85)


def off(view: PieceView, cam: Camera) -> NDArray[np.float64]:
    """(n, 2) where the points were found, from where they are."""
    return view.points_px - cam.seen(view.points_mm)


@pytest.mark.parametrize(
    ("px_per_mm", "tilt", "turn", "blur", "allowed"),
    [
        (8, 0, 12, 1.0, 0.05),
        (8, 30, 160, 3.0, 0.15),
        (12, 25, 250, 1.0, 0.04),
        (12, 10, 0, 0.7, 0.04),
        (20, 30, 80, 2.0, 0.05),
        (20, 0, 90, 0.7, 0.06),
    ],
)
def test_points_lie_where_they_are(px_per_mm: float, tilt: float, turn: float, blur: float, allowed: float) -> None:
    side = int(100 * px_per_mm)
    cam = camera(px_per_mm, tilt, 70, turn, size=(side, side))
    found = find_slip(photographed(scene(cam), Fault(blur_px=blur, noise=0.015, jpeg=85), seed=3).pixels)
    assert len(found.pieces) == 1
    assert found.complaints == ()
    view = found.pieces[0]
    error = off(view, cam)
    assert (view.name, view.markers_seen, view.markers_printed) == ("strip", 5, 5)
    assert len(error) > 130
    assert np.sqrt((error**2).mean()) < allowed
    assert np.abs(error.mean(axis=0)).max() < allowed / 2
    # What it says of its own error is neither a boast nor a guess.
    assert 0.5 < np.sqrt((error**2).mean()) / np.median(view.sigma_px) < 2.0


def test_points_are_found_at_45_px_per_mm_in_a_part_of_the_strip() -> None:
    cam = camera(45, 15, 200, 40, size=(1800, 1400))
    view = find_slip(photographed(scene(cam), NOISY, seed=1).pixels).pieces[0]
    assert len(view.points_px) > 25
    assert np.sqrt((off(view, cam) ** 2).mean()) < 0.1


@pytest.mark.parametrize("amount", [0.0, 1.5])
def test_sharpening_and_tone_do_not_move_the_points(amount: float) -> None:
    cam = camera(12, 15, 30, 33, size=(1300, 1000))
    shot = photographed(scene(cam), Fault(blur_px=1.2, noise=0.004, sharpen=amount, radius_px=1.5)).pixels
    curved = (255 * (shot / 255.0) ** 1.6).astype(np.uint8)
    for pixels in (shot, curved):
        error = off(find_slip(pixels).pieces[0], cam)
        assert np.sqrt((error**2).mean()) < 0.03


@pytest.mark.parametrize("x_mm", [5.6, 27.6, 60.3])
def test_a_covered_marker_is_done_without(x_mm: float) -> None:
    cam = camera(10, 20, 40, 25, size=(1200, 900))
    view = find_slip(photographed(scene(cam, discs_mm=[(x_mm, 9.4, 5.5, 0.2)]), NOISY).pixels).pieces[0]
    assert view.markers_seen < 5
    assert len(view.points_px) > 120
    assert np.sqrt((off(view, cam) ** 2).mean()) < 0.05


def test_a_covered_point_is_left_out() -> None:
    cam = camera(10, 10, 40, 25, size=(1200, 900))
    view = find_slip(photographed(scene(cam, discs_mm=[(30, 1.8, 3, 0.2), (50, 19.2, 2, 0.9)]), NOISY).pixels).pieces[0]
    assert np.hypot(*(view.points_mm - (30, 1.8)).T).min() > 1.9
    assert np.abs(off(view, cam)).max() < 0.15


def test_a_strip_that_is_partly_out_of_the_shot_is_found() -> None:
    cam = camera(10, 10, 40, 5, at=(0.45, 0.0), size=(1000, 800))
    view = find_slip(photographed(scene(cam), NOISY).pixels).pieces[0]
    assert 40 < len(view.points_px) < 110
    assert np.sqrt((off(view, cam) ** 2).mean()) < 0.05


def moved(dx: float, dy: float, turn_deg: float) -> NDArray[np.float64]:
    a = np.deg2rad(turn_deg)
    return np.array([[np.cos(a), -np.sin(a), dx], [np.sin(a), np.cos(a), dy], [0, 0, 1]])


def test_of_two_strips_both_are_given_and_it_is_said() -> None:
    cam = camera(10, 5, 0, 10, size=(1400, 1000))
    found = find_slip(photographed(scene(cam, strips=(np.eye(3), moved(3, 24, 4))), NOISY).pixels)
    assert [view.name for view in found.pieces] == ["strip", "strip"]
    assert found.complaints == (find.TWO_STRIPS,)
    assert len(found.pieces[0].points_px) >= len(found.pieces[1].points_px)


def test_a_strip_seen_from_behind_is_read_and_it_is_said() -> None:
    text = SlipText("B-117", "3", "broccoli", "12")
    cam = camera(12, 10, 40, 20, size=(1300, 1000))
    pixels = photographed(scene(cam, printed=strip_light(text)), NOISY).pixels
    assert find_slip(pixels).text == text
    behind = find_slip(np.ascontiguousarray(pixels[:, ::-1]))
    assert behind.text == text
    assert behind.complaints == (find.FACE_DOWN,)
    view = behind.pieces[0]
    seen = cam.seen(np.column_stack([90 - view.points_mm[:, 0], view.points_mm[:, 1]]))
    seen[:, 0] = pixels.shape[1] - 1 - seen[:, 0]
    assert np.abs(view.points_px - seen).max() < 0.2


def test_a_foreign_print_is_named() -> None:
    dictionary = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_4X4_50)
    board = cv2.aruco.CharucoBoard((9, 3), 10, 7, dictionary).generateImage((900, 300), marginSize=10)
    pixels = np.full((600, 1100, 3), 170, np.uint8)
    pixels[150:450, 100:1000] = board[..., None]
    assert find_slip(cv2.GaussianBlur(pixels, (0, 0), 1.0).astype(np.uint8)).complaints == (find.OTHER_PRINT,)
    # Our own markers in another order are not our strip either.
    light = strip_light().copy()
    scale = light.shape[1] / 90
    wide = int(7.2 * scale)
    window = [slice(int(x * scale), int(x * scale) + wide) for x in (2.0, 24.0, 66.6)]
    first, second, third = (light[:, each].copy() for each in window)
    light[:] = 0.85
    light[:, window[0]], light[:, window[1]], light[:, window[2]] = third, first, second
    found = find_slip(photographed(scene(camera(10, size=(1200, 500)), printed=light), NOISY).pixels)
    assert found.pieces == ()
    assert found.complaints == (find.OTHER_PRINT,)


def test_four_corner_pieces_and_the_strip_are_told_apart() -> None:
    def lying(piece: str, x_mm: float, y_mm: float, angle_deg: float) -> Print:
        layout = strip() if piece == "strip" else corner(int(piece))
        return Print(piece_bitmap(layout, 30).light, 30, x_mm, y_mm, angle_deg, film=True)

    prints = (
        *(lying("1", 14, 14, 5), lying("2", 116, 14, 80), lying("3", 116, 86, 200), lying("4", 14, 86, 300)),
        lying("strip", 65, 50, 12),
    )
    recipe = tidy("blank", 3, width_px=1560, height_px=1200, px_per_mm=12)
    shot = draw(type(recipe)(**{**vars(recipe), "prints": prints}))
    found = find_slip(shot.pixels)
    assert [view.name for view in found.pieces] == ["strip", "corner-1", "corner-2", "corner-3", "corner-4"]
    assert found.complaints == ()
    for view, each in zip(found.pieces, (prints[4], *prints[:4]), strict=True):
        corners = view.outline_mm[[0, 1, 3]]
        to_mm = cv2.getAffineTransform(corners.astype(np.float32), each.corners_mm[[0, 1, 3]])
        places = (np.column_stack([view.points_mm, np.ones(len(view.points_mm))]) @ to_mm.T) * 12
        assert np.sqrt(((view.points_px - places) ** 2).mean()) < 0.08


@pytest.mark.parametrize("film", [False, True])
def test_paper_and_film_over_the_light(film: bool) -> None:
    piece = Print(piece_bitmap(strip(), 30).light, 30, 55, 22, 8, film)
    recipe = tidy("blank", 4, width_px=1110, height_px=460, px_per_mm=10)
    shot = draw(type(recipe)(**{**vars(recipe), "prints": (piece,)}))
    assert len(find_slip(shot.pixels).pieces[0].points_px) > 120
    bare = draw(recipe).pixels
    middle = shot.pixels[170:270, 400:600].mean() / bare[170:270, 400:600].mean()
    assert (middle < 0.6) == (not film)


def test_sixteen_bits_and_little_contrast() -> None:
    cam = camera(10, 10, 40, 25, size=(1200, 900))
    pixels = photographed(scene(cam), NOISY).pixels
    flat = (pixels * 0.25 + 120).astype(np.uint8)
    for each in (flat, pixels.astype(np.uint16) * 257):
        assert len(find_slip(each).pieces[0].points_px) > 120


@pytest.mark.parametrize("shape", [(1, 1), (2, 900), (40, 40), (300, 400)])
def test_any_picture_is_looked_at_without_fault(shape: tuple[int, int]) -> None:
    rng = np.random.default_rng(5)
    for pixels in (np.zeros((*shape, 3)), np.full((*shape, 3), 255), rng.integers(0, 256, (*shape, 3))):
        found = find_slip(pixels.astype(np.uint8))
        assert (found.pieces, found.text, found.complaints) == ((), None, ())


@pytest.mark.parametrize("kind", ["water", "broccoli", "blank"])
def test_nothing_is_found_where_nothing_lies(kind: str) -> None:
    for seed in range(2):
        shot = draw(tidy(kind, seed, width_px=640, height_px=480, px_per_mm=10))
        assert find_slip(shot.pixels) == find.SlipFound()
