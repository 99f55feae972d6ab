"""What a network says, whatever threads a machine gives: the bytes of one run against those of others."""

import os
import subprocess
import sys

_SAID = """
import hashlib, os, sys
import cv2, numpy as np
cv2.setNumThreads(int(sys.argv[1]))
from vision.net import OF_BODIES, Net, shapes
rng = np.random.default_rng(3)
weights = {name: rng.normal(0, 0.2, shape).astype(np.float32) for name, shape in shapes(OF_BODIES).items()}
seen = rng.integers(0, 256, (500, 2, OF_BODIES.side, OF_BODIES.side, 3), dtype=np.uint8)
level, size = rng.normal(0, 0.3, (500, 3)).astype(np.float32), rng.uniform(2, 30, 500)
print(hashlib.sha256(Net(weights, OF_BODIES).raw(seen, level, size, size / 20).tobytes()).hexdigest())
"""


def test_a_network_says_the_same_however_many_threads_there_are() -> None:
    """OpenBLAS parts a product by its threads, and the sums differ in their last bits: what is rounded then may fall to either side."""
    said = set()
    for threads in ("1", "2", "3"):
        env = os.environ | dict.fromkeys(("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS"), threads)
        asked = [sys.executable, "-c", _SAID, threads]
        said.add(subprocess.run(asked, env=env, capture_output=True, text=True, check=True).stdout)
    assert len(said) == 1
