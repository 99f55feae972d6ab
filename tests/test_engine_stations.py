"""The parts of the engine on a cluster that need none: how alike two places are, and the station that scores for a run."""

from __future__ import annotations

import pickle
import subprocess
import sys
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

import pytest
from made_engines import ends, make_scorer, photograph, pids

from cli.batch.engines import station
from cli.batch.engines.likeness import Likeness, family, likeness_here, mixed_families, mixed_versions
from cli.batch.engines.station import end_run, open_run


class TestLikeness:
    OURS = Likeness({"Speckwise": "1", "Python": "3.11", "numpy": "2.0", "opencv": "5.0"}, "x86_64 with AVX2")

    def test_here_is_like_here(self) -> None:
        here = likeness_here()
        assert set(here.versions) == {"Speckwise", "Python", "numpy", "scipy", "opencv", "scikit-image", "Pillow"}
        assert all(here.versions.values())
        assert pickle.loads(pickle.dumps(here)) == here
        assert not mixed_versions(here, {"a": here})
        assert not mixed_families(here, {"a": here})

    def test_each_is_told_with_what_it_has(self) -> None:
        old = Likeness({**self.OURS.versions, "numpy": "1.26", "Python": "3.12"}, "x86_64 with AVX2")
        bare = Likeness({**self.OURS.versions, "opencv": ""}, "x86_64 with AVX2")
        assert mixed_versions(self.OURS, {"a": old, "b": self.OURS, "c": bare}) == (
            "Results would depend on where a photograph is scored (Python 3.11, numpy 2.0, opencv 5.0: this machine; "
            "Python 3.12, numpy 1.26: a; opencv missing: c). Install the same versions everywhere."
        )

    def test_many_are_not_all_told(self) -> None:
        old = Likeness({**self.OURS.versions, "numpy": "1.26"}, "x86_64 with AVX2")
        told = mixed_versions(self.OURS, {f"w{number}": old for number in range(1000)})
        assert "(numpy 2.0: this machine; numpy 1.26: w0, w1, w2, w3, w4 and 995 more)" in told
        assert len(told) < 300

    def test_families_are_told_with_who_has_them(self) -> None:
        arm = Likeness(self.OURS.versions, "aarch64")
        assert mixed_families(self.OURS, {"a": arm, "b": self.OURS}).endswith(
            "(x86_64 with AVX2: this machine, b; aarch64: a)."
        )

    def test_a_family_is_told_from_the_flags(self) -> None:
        # Names of the flags: Linux, arch/x86/include/asm/cpufeatures.h, from memory.
        assert family("x86_64", "flags\t\t: fpu sse2 avx2 avx512f\nflags\t\t: fpu") == "x86_64 with AVX2 and AVX-512"
        assert family("x86_64", "flags : fpu avx2") == "x86_64 with AVX2"
        assert family("AMD64", "flags : fpu avx avx2x") == "AMD64 without AVX2"
        assert family("x86_64", "") == "x86_64"
        assert family("aarch64", "Features : asimd\nflags : avx2") == "aarch64"


class TestStation:
    def test_one_that_is_left_behind_ends(self, monkeypatch: pytest.MonkeyPatch) -> None:
        monkeypatch.setattr(station, "_IDLE_LIMIT_S", 0.5)
        open_run("left", pickle.dumps(make_scorer), likeness_here())
        there = station._stations["left"]
        done = there.score(photograph("a"), 1)
        assert done is not None
        assert ends(pids([done]).pop())
        assert "left" not in station._stations
        assert there.score(photograph("b"), 1) is None

    def test_none_is_opened_for_other_versions(self) -> None:
        ours = Likeness({**likeness_here().versions, "Python": "3.99"}, "")
        assert open_run("other", pickle.dumps(make_scorer), ours) == likeness_here()
        assert "other" not in station._stations

    def test_the_same_photograph_twice_is_scored_once(self) -> None:
        open_run("twice", pickle.dumps(make_scorer), likeness_here())
        there = station._stations["twice"]
        with ThreadPoolExecutor(2) as threads:
            one, other = (threads.submit(there.score, photograph("a", b"slow"), 2) for _ in range(2))
            assert one.result() is other.result()
        end_run("twice")
        end_run("twice")


def test_nothing_of_dask_is_loaded_before_a_cluster_is_asked_for() -> None:
    code = (
        "import sys; import cli.app, cli.scoring; from cli.batch.engines.choose import engine_for; "
        "import cli.batch.engines.cores; engine_for('tcp://127.0.0.1:1', None); "
        "assert not {'distributed', 'dask', 'tornado'} & set(sys.modules)"
    )
    subprocess.run([sys.executable, "-c", code], check=True, cwd=Path(__file__).parent.parent)
