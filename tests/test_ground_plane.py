"""The plane under printed pieces: true to what the slip promises at every tilt, honest about its errors, and silent on no fault."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from seen_pieces import Points, Pose, any_pose, corner_pieces, lying, strip_in_view, view

from calib.ground_plane import GroundFit, fit_ground
from calib.slip.layout import strip
from vision.geometry import ground_mm, place_error_mm, px_per_mm_at, relative_length_error
from vision.types import Lens

SIZES = {8.0: (2048, 1536), 12.0: (2048, 1536), 20.0: (4000, 3000), 45.0: (8000, 6000)}


def steps_at(pose: Pose, place_mm: Points) -> Points:
    """(2, 2): pixels for a millimetre along x and y of the plane."""
    d = 1e-3
    ends = [pose.seen(place_mm[None] + s) - pose.seen(place_mm[None] - s) for s in (np.array([d, 0]), np.array([0, d]))]
    return np.stack([e[0] / (2 * d) for e in ends], axis=1)


def distances_off(fit: GroundFit, pose: Pose, centre_mm: Points, places_mm: Points) -> Points:
    """(n,): by how much places of the plane are misplaced against its centre, in millimetres, in the lie that the map says it has."""
    assert fit.ground_map is not None
    found = ground_mm(fit.ground_map, pose.seen(places_mm)) - ground_mm(fit.ground_map, pose.seen(centre_mm[None]))
    quoted = centre_mm
    for _ in range(8):
        away = np.array([fit.ground_map.x_px, fit.ground_map.y_px]) - pose.seen(quoted[None])[0]
        quoted = quoted + np.linalg.inv(steps_at(pose, quoted)) @ away
    # The picture's x direction where the scale is quoted is the map's.
    along = np.linalg.inv(steps_at(pose, quoted))[:, 0]
    a = np.arctan2(along[1], along[0])
    turn = np.array([[np.cos(a), -np.sin(a)], [np.sin(a), np.cos(a)]])
    return np.asarray(np.hypot(*(found - (places_mm - centre_mm) @ turn).T))


def scale_off(fit: GroundFit, pose: Pose, centre_mm: Points) -> float:
    assert fit.ground_map is not None
    found = px_per_mm_at(fit.ground_map, pose.seen(centre_mm[None]))[0]
    return float(abs(found / np.sqrt(abs(np.linalg.det(steps_at(pose, centre_mm)))) - 1))


def all_round(mm: Points, away_mm: float) -> Points:
    """(n, 2): places that far from the strip on both sides along all of it, and from its middle all round."""
    middle = mm.mean(axis=0)
    _, _, v = np.linalg.svd(mm - middle, full_matrices=False)
    along = np.linspace(-40, 40, 9)[:, None] * v[0]
    a = np.deg2rad(np.arange(0, 360, 45))
    sides = [middle + along + side * (away_mm + 9) * v[1] for side in (1, -1)]
    return np.concatenate([*sides, middle + away_mm * np.column_stack([np.cos(a), np.sin(a)])])


class TestOneStrip:
    @pytest.mark.parametrize("px_per_mm", [8.0, 20.0, 45.0])
    def test_scale_and_places_at_any_tilt_and_turn(self, px_per_mm: float) -> None:
        width, height = SIZES[px_per_mm]
        for seed in range(6):
            rng = np.random.default_rng([seed, int(px_per_mm)])
            pose = any_pose(rng, px_per_mm, width, height)
            mm, px = strip_in_view(rng, pose, width, height)
            fit = fit_ground([view(strip(), px, rng)], width, height, None, None)
            assert fit.flat
            assert fit.words == ()
            assert scale_off(fit, pose, mm.mean(axis=0)) < 0.001  # promised: 0.3 %
            assert distances_off(fit, pose, mm.mean(axis=0), all_round(mm, 60)).max() < 0.15  # promised: 0.3 mm

    def test_with_a_quarter_of_it_covered(self) -> None:
        for seed in range(6):
            rng = np.random.default_rng([seed, 77])
            pose = any_pose(rng, 8.0, 2048, 1536)
            mm, px = strip_in_view(rng, pose, 2048, 1536)
            x = strip().saddles_mm[:, 0]
            begin = rng.uniform(0, 67)
            seen = view(strip(), px, rng, keep=(x < begin) | (x > begin + 23))
            fit = fit_ground([seen], 2048, 1536, None, None)
            assert distances_off(fit, pose, mm.mean(axis=0), all_round(mm, 60)).max() < 0.3  # promised: 0.6 mm

    def test_tilt_focal_length_and_distance_come_back(self) -> None:
        rng = np.random.default_rng(3)
        pose = Pose(2900.0, (2000.0, 1500.0), 145.0, 25.0, 40.0, 100.0)
        fit = fit_ground([view(strip(), pose.seen(lying(strip(), 20, (5, 3))), rng)], 4000, 3000, None, None)
        assert fit.tilt_deg == pytest.approx(25, abs=0.5)
        assert fit.focal_px == pytest.approx(2900, rel=0.03)
        assert fit.distance_mm == pytest.approx(145 * np.cos(np.deg2rad(25)), rel=0.03)

    def test_one_bad_point_is_left_out(self) -> None:
        rng = np.random.default_rng(4)
        pose = Pose(2900.0, (2000.0, 1500.0), 145.0, 15.0, 40.0, 100.0)
        mm = lying(strip(), 20, (5, 3))
        seen = view(strip(), pose.seen(mm), rng)
        seen.points_px[17] += (6, -4)
        fit = fit_ground([seen], 4000, 3000, None, None)
        assert fit.flat
        assert distances_off(fit, pose, mm.mean(axis=0), all_round(mm, 60)).max() < 0.1

    def test_known_lens(self) -> None:
        rng = np.random.default_rng(5)
        pose = Pose(2900.0, (1990.0, 1510.0), 145.0, 15.0, 40.0, 100.0, k1=-0.08, k2=0.02)
        mm = lying(strip(), 20, (25, -23))
        lens = Lens(2900.0, 1990.0, 1510.0, -0.08, 0.02, 4000, 3000)
        fit = fit_ground([view(strip(), pose.seen(mm), rng)], 4000, 3000, lens, None)
        assert fit.flat
        assert distances_off(fit, pose, mm.mean(axis=0), all_round(mm, 60)).max() < 0.1

    @pytest.mark.parametrize("warp", [(9e-5, -4e-5, 30.0), (-2e-4, 1e-4, 200.0), (0.0, 3e-4, 75.0)])
    def test_a_homography_that_no_camera_makes(self, warp: tuple[float, float, float]) -> None:
        a = np.deg2rad(warp[2])
        to_px = np.array(
            [[18 * np.cos(a), -23 * np.sin(a), 2000], [18 * np.sin(a), 23 * np.cos(a), 1500], [*warp[:2], 1]]
        )
        rng = np.random.default_rng(6)

        def seen(mm: Points) -> Points:
            out = np.column_stack([mm, np.ones(len(mm))]) @ to_px.T
            return np.asarray(out[:, :2] / out[:, 2:])

        mm = strip().saddles_mm - (45, 10.5)
        fit = fit_ground([view(strip(), seen(mm), rng)], 4000, 3000, None, None)
        assert fit.ground_map is not None
        places = all_round(mm, 60)
        found = ground_mm(fit.ground_map, seen(places))
        lengths = [np.hypot(*(p[None] - p[:, None]).reshape(-1, 2).T) for p in (found, places)]
        assert np.abs(lengths[0] - lengths[1]).max() < 0.2


class TestHonesty:
    def test_errors_cover_what_is_off(self) -> None:
        off, said, length_said = [], [], []
        for seed in range(30):
            rng = np.random.default_rng([seed, 8])
            pose = replace(any_pose(rng, 20.0, 4000, 3000), k1=float(rng.normal(0, 0.01)))
            mm, px = strip_in_view(rng, pose, 4000, 3000)
            fit = fit_ground([view(strip(), px, rng)], 4000, 3000, None, None)
            assert fit.ground_map is not None
            places = all_round(mm, 60)
            there = pose.seen(places)
            inside = ((there > 0) & (there < (3999, 2999))).all(axis=1)
            off.append(distances_off(fit, pose, mm.mean(axis=0), places[inside]))
            said.append(place_error_mm(fit.ground_map, there[inside]))
            length_said.append(relative_length_error(fit.ground_map, there[inside]))
        ratio = np.concatenate(off) / np.concatenate(said)
        # Of what a phone's own correction leaves: at least 68 % and 95 % within one and two standard uncertainties.
        assert np.mean(ratio < 1) >= 0.68
        assert np.mean(ratio < 2) >= 0.95
        # And no more than careful: sizes must not go blank for it.
        assert np.median(np.concatenate(length_said)) < 0.01

    def test_fewer_points_are_known_less(self) -> None:
        rng = np.random.default_rng(9)
        pose = Pose(2900.0, (2000.0, 1500.0), 145.0, 15.0, 40.0, 100.0)
        px = pose.seen(lying(strip(), 20, (5, 3)))
        few = np.arange(len(px)) % 12 == 0
        # A lens known beforehand, so that only the points' own noise counts.
        lens = Lens(2900.0, 2000.0, 1500.0, 0.0, 0.0, 4000, 3000)
        at = np.array([[200.0, 200.0]])
        errors = []
        for keep in (None, few):
            fit = fit_ground([view(strip(), px, rng, keep=keep)], 4000, 3000, lens, None)
            assert fit.ground_map is not None
            errors.append(float(place_error_mm(fit.ground_map, at)[0]))
        assert errors[1] > 2 * errors[0]


class TestFaults:
    def fit(self, pose: Pose, rng: np.random.Generator, **how: object) -> GroundFit:
        mm = lying(strip(), 20, (5, 3))
        height = how.pop("height_mm", 0.0)
        seen = view(strip(), pose.seen(mm, height), rng, **how)  # type: ignore[arg-type]
        return fit_ground([seen], 4000, 3000, None, None)

    POSE = Pose(2900.0, (2000.0, 1500.0), 145.0, 10.0, 40.0, 100.0)

    def test_bent_paper_is_said(self) -> None:
        x = strip().saddles_mm[:, 0] / 45 - 1
        fit = self.fit(self.POSE, np.random.default_rng(1), height_mm=1.0 * x**2)
        assert not fit.flat
        assert "lie flat" in fit.words[0]
        assert fit.ground_map is not None

    def test_flat_paper_is_not_accused(self) -> None:
        for noise in (0.02, 0.1, 0.25):
            fit = self.fit(self.POSE, np.random.default_rng(2), sigma_px=noise)
            assert fit.residual_px < 0.15
            assert fit.words == ()

    @pytest.mark.parametrize("stretch", [(1.03, 1.0), (1.0, 1.03), (0.99, 1.0)])
    def test_print_stretched_one_way_is_refused(self, stretch: tuple[float, float]) -> None:
        fit = self.fit(replace(self.POSE, tilt_deg=0.0), np.random.default_rng(3), stretch=stretch)
        assert fit.ground_map is None
        assert "stretched" in fit.words[0]

    @pytest.mark.parametrize("told_px", [2900.0, None])
    def test_stretch_that_only_an_odd_camera_would_explain_is_said(self, told_px: float | None) -> None:
        pose = replace(self.POSE, tilt_deg=4.0)
        seen = view(strip(), pose.seen(lying(strip(), 20, (5, 3))), np.random.default_rng(4), stretch=(1.03, 1.0))
        fit = fit_ground([seen], 4000, 3000, None, told_px)
        assert "stretched" in fit.words[0]

    def test_a_cropped_picture_keeps_its_map(self) -> None:
        mm = lying(strip(), 20, (5, 3))
        seen = view(strip(), self.POSE.seen(mm) - (900, 700), np.random.default_rng(7))
        # A corner of it, and the focal length that the file gives is by its new diagonal: half the true one.
        fit = fit_ground([seen], 2600, 2000, None, 1450.0)
        assert fit.flat
        pose = replace(self.POSE, axis_px=(1100.0, 800.0))
        assert distances_off(fit, pose, mm.mean(axis=0), all_round(mm, 60)).max() < 0.3

    def test_true_prints_are_not_accused(self) -> None:
        for seed in range(25):
            rng = np.random.default_rng([seed, 55])
            # To seven times the picture's width: a long lens close up.
            pose = replace(any_pose(rng, 20.0, 4000, 3000), focal_px=4000 * float(np.exp(rng.uniform(-0.5, 2))))
            pose = replace(pose, distance_mm=pose.focal_px / 20)
            _, px = strip_in_view(rng, pose, 4000, 3000)
            told_px = pose.focal_px * float(np.exp(rng.normal(0, 0.03))) if seed % 2 else None
            assert fit_ground([view(strip(), px, rng)], 4000, 3000, None, told_px).words == ()

    @pytest.mark.parametrize("points", [0, 3])
    def test_too_few_points(self, points: int) -> None:
        seen = view(strip(), self.POSE.seen(lying(strip(), 20, (5, 3))), np.random.default_rng(5))
        few = replace(
            seen, points_mm=seen.points_mm[:points], points_px=seen.points_px[:points], sigma_px=seen.sigma_px[:points]
        )
        fit = fit_ground([few], 4000, 3000, None, None)
        assert fit.ground_map is None
        assert "hidden" in fit.words[0]

    def test_points_on_one_line_never_crash(self) -> None:
        seen = view(strip(), self.POSE.seen(lying(strip(), 20, (5, 3))), np.random.default_rng(6))
        row = seen.points_mm[:, 1] < 10
        few = replace(seen, points_mm=seen.points_mm[row], points_px=seen.points_px[row], sigma_px=seen.sigma_px[row])
        fit = fit_ground([few], 4000, 3000, None, None)
        if fit.ground_map is not None:
            far = np.array([[fit.ground_map.x_px + 300, fit.ground_map.y_px + 600]])
            assert not float(relative_length_error(fit.ground_map, far)[0]) < 0.01

    def test_nothing(self) -> None:
        assert fit_ground([], 4000, 3000, None, None).ground_map is None


class TestFourCorners:
    @pytest.mark.parametrize("k1", [0.0, 0.05, -0.05])
    def test_whole_field(self, k1: float) -> None:
        for seed in range(3):
            rng = np.random.default_rng([seed, 31])
            pose = replace(any_pose(rng, 12.0, 2048, 1536, 25.0), k1=k1)
            pieces, places = corner_pieces(pose, 2048, 1536, rng)
            assert len(pieces) == 4
            views = [view(p, pose.seen(mm), rng) for p, mm in zip(pieces, places, strict=True)]
            fit = fit_ground(views, 2048, 1536, None, None)
            assert fit.flat
            middles = [mm.mean(axis=0) for mm in places]
            u, v = (m.ravel() for m in np.meshgrid(np.linspace(0, 1, 6), np.linspace(0, 1, 6)))
            weights = ((1 - u) * (1 - v), u * (1 - v), u * v, (1 - u) * v)
            grid = sum(w[:, None] * m for w, m in zip(weights, middles, strict=True))
            assert distances_off(fit, pose, np.mean(middles, axis=0), grid).max() < 0.25  # promised: 0.5 mm
            assert max(scale_off(fit, pose, place) for place in grid) < 0.0025  # promised: 0.5 %


class TestStand:
    """The strip laid in several places under one camera: all are fitted together."""

    def shots(self, pose: Pose, rng: np.random.Generator) -> tuple[list[Points], list[object]]:
        places = ((0, -45, 0), (0, 45, 3), (-60, 0, 90), (60, 0, 88), (0, 0, 35))
        mm = [lying(strip(), angle, (x, y)) for x, y, angle in places]
        return mm, [view(strip(), pose.seen(each), rng) for each in mm]

    @pytest.mark.parametrize("k1", [-0.08, 0.08])
    def test_plane_and_lens(self, k1: float) -> None:
        rng = np.random.default_rng(11)
        pose = Pose(1600.0, (1030.0, 760.0), 133.0, 4.0, 70.0, 0.0, k1=k1, k2=0.01)
        mm, views = self.shots(pose, rng)
        fit = fit_ground(views, 2048, 1536, None, None)  # type: ignore[arg-type]
        assert fit.flat
        grid = np.array([[x, y] for x in (-75.0, -30.0, 30.0, 75.0) for y in (-55.0, 0.0, 55.0)])
        assert distances_off(fit, pose, mm[0].mean(axis=0), grid).max() < 0.5
        assert max(scale_off(fit, pose, place) for place in grid) < 0.005

    def test_a_camera_that_moved_shows(self) -> None:
        rng = np.random.default_rng(12)
        pose = Pose(1600.0, (1030.0, 760.0), 133.0, 4.0, 70.0, 0.0)
        _, views = self.shots(pose, rng)
        moved = replace(pose, tilt_deg=8.0)
        views[1] = view(strip(), moved.seen(lying(strip(), 3, (0, 45))), rng)
        assert not fit_ground(views, 2048, 1536, None, None).flat  # type: ignore[arg-type]
