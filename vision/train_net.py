"""Places and whether an insect lies there -> a network (net.py). Needs JAX (the extra `learn`); looking does not.

Ordinary means: Adam (Kingma and Ba 2015) with a warm start and a rate that falls as a cosine (Loshchilov and Hutter 2017), a running mean
of the weights as the result (Polyak and Juditsky 1992), and pictures changed as light, camera and direction change them.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, fields
from functools import partial
from typing import Any

import jax
import jax.numpy as jnp
import numpy as np
from numpy.typing import NDArray

from vision.net import OF_PLACES, Design, Net, colours, densities, forward, numbers_beside, shapes

_RATE, _DECAY, _BATCH, _WARM = 2e-3, 1e-4, 256, 300
_MEAN_OVER, _YOUNG = 500, 5
"""Steps that the running mean of the weights goes back at most; while there are few, a fifth of them."""
_DROPPED = 0.2
_ALL_SEEN = 2
"""Rounds over all places; then those the network finds easy come up seldom, and count for as much the more."""
_EASY, _SELDOM = 1 / 12, 0.05
"""Chance of an insect below which a place without one comes up in proportion to it, and the least share that comes up."""
_GAIN, _GAIN_OF_HUE, _LIGHT, _NOISE, _SIZE = 0.3, 0.12, 0.04, 0.02, 0.1
"""How far pictures are changed: spread of the log contrast, of that between channels, of density against the ground, of noise at its
worst, and of the log2 of size in pixels."""
_BLURRED, _WITHOUT_SCALE = 0.25, 0.2


@dataclass(frozen=True)
class Examples:
    """Places to learn from. `insect` (n,) 0 or 1, `weight` (n,); the others as Net.raw takes them."""

    patches: NDArray[np.uint8]
    level: NDArray[np.float32]
    sigma_px: NDArray[np.float32]
    sigma_mm: NDArray[np.float32]
    insect: NDArray[np.float32]
    weight: NDArray[np.float32]

    def seen(self, net: Net) -> NDArray[np.float32]:
        """What a network says of them."""
        return net.raw(self.patches, self.level, self.sigma_px, self.sigma_mm)

    def among(self, some: NDArray[Any]) -> Examples:
        """Some of them, by index or truth."""
        return Examples(*(getattr(self, f.name)[some] for f in fields(self)))

    def take(self, some: NDArray[np.int64]) -> tuple[NDArray[Any], ...]:
        """Patches, level and sizes of some of them, as arrays to differentiate over."""
        return self.patches[some], self.level[some], self.sigma_px[some], self.sigma_mm[some], self.insect[some]


def learn_net(
    examples: Examples, rounds: int, seed: int, tell: Callable[[str], None] = print, design: Design = OF_PLACES
) -> Net:
    """A network of a design from `rounds` over the examples; the same ones on the same kind of processor."""
    rng = np.random.default_rng(seed)
    key = jax.random.PRNGKey(seed)
    weights = _begin(rng, design)
    zeros = jax.tree.map(jnp.zeros_like, weights)
    state = (weights, zeros, zeros, weights)
    chance = np.ones(len(examples.insect))
    steps = max(1, int(len(chance) / _BATCH * rounds))
    warm, done = min(_WARM, max(1, steps // 10)), 0
    for n in range(rounds):
        if n == _ALL_SEEN:
            chance = _chances(examples, _net(state[3], design))
            steps = done + max(1, int(chance.sum() / _BATCH * (rounds - n)))
        some = rng.permutation(np.flatnonzero(rng.random(len(chance)) < chance))
        losses = []
        for begin in range(0, len(some) - _BATCH + 1, _BATCH):
            batch = np.sort(some[begin : begin + _BATCH])
            done += 1
            rate = _RATE * min(1.0, done / warm) * max(0.02, 0.5 * (1 + np.cos(np.pi * min(done / steps, 1.0))))
            key, own = jax.random.split(key)
            weight = (examples.weight[batch] / chance[batch]).astype(np.float32)
            *new, loss = _step(state, *examples.take(batch), weight, own, done, rate, design)
            state = tuple(new)
            losses.append(loss)
        tell(f"round {n + 1} of {rounds}: {len(some)} places, loss {float(np.mean(losses or [0.0])):.4f}")
    return _net(state[3], design)


def _net(weights: dict[str, Any], design: Design) -> Net:
    return Net({name: np.asarray(value, np.float16).astype(np.float32) for name, value in weights.items()}, design)


def _begin(rng: np.random.Generator, design: Design) -> dict[str, Any]:
    """Weights to begin with, after He et al. (2015); biases of nought, but for insects being rare."""
    out = {}
    for name, shape in shapes(design).items():
        spread = 0.0 if name.endswith("bias") else np.sqrt(2 / shape[0]) * (0.1 if name == "odds" else 1.0)
        out[name] = jnp.asarray(rng.normal(0, 1, shape) * spread + (-2.0 if name == "odds_bias" else 0.0), jnp.float32)
    return out


def _chances(examples: Examples, net: Net) -> NDArray[np.float64]:
    """How often each place comes up once the network knows the easy ones."""
    share = 1 / (1 + np.exp(-np.clip(examples.seen(net).astype(np.float64), -30, 30)))
    return np.where(examples.insect == 1, 1.0, np.clip(share / _EASY, _SELDOM, 1.0))


def _changed(key: Any, design: Design, differences: Any, against: Any, sigma_px: Any, sigma_mm: Any) -> tuple[Any, ...]:
    """The same places in another light, from another side, by another camera."""
    n = len(differences)
    keys = iter(jax.random.split(key, 12))

    def some(share: float) -> Any:
        return jax.random.bernoulli(next(keys), share, (n, 1, 1, 1, 1))

    seen = jnp.where(some(0.5), differences[:, :, ::-1], differences)
    seen = jnp.where(some(0.5), seen[:, :, :, ::-1], seen)
    if not design.turned:
        seen = jnp.where(some(0.5), seen.swapaxes(2, 3), seen)
    gain = jnp.exp(jax.random.normal(next(keys), (n, 1, 1, 1, 1)) * _GAIN)
    gain = gain * jnp.exp(jax.random.normal(next(keys), (n, 1, 1, 1, 3)) * _GAIN_OF_HUE)
    seen = seen * gain
    against = against * gain[:, 0, 0, 0] + jax.random.normal(next(keys), (n, 3)) * _LIGHT
    near = seen[:, :1]
    soft = (near + jnp.roll(near, 1, 2) + jnp.roll(near, -1, 2) + jnp.roll(near, 1, 3) + jnp.roll(near, -1, 3)) / 5
    seen = jnp.concatenate([jnp.where(some(_BLURRED), soft, near), seen[:, 1:]], axis=1)
    worst = jax.random.uniform(next(keys), (n, 1, 1, 1, 1)) ** 2 * _NOISE
    seen = seen + jax.random.normal(next(keys), seen.shape) * worst
    sigma_mm = jnp.where(jax.random.bernoulli(next(keys), _WITHOUT_SCALE, (n,)), jnp.nan, sigma_mm)
    return seen, against, sigma_px * 2 ** (jax.random.normal(next(keys), (n,)) * _SIZE), sigma_mm


def _loss(weights: Any, places: tuple[Any, ...], insect: Any, weight: Any, key: Any, design: Design) -> Any:
    changing, dropping = jax.random.split(key)
    seen, against, sigma_px, sigma_mm = _changed(changing, design, *places)
    keys = iter(jax.random.split(dropping, 4))

    def dropped(values: Any) -> Any:
        return values * jax.random.bernoulli(next(keys), 1 - _DROPPED, values.shape) / (1 - _DROPPED)

    odds = forward(weights, colours(seen, jnp), numbers_beside(against, sigma_px, sigma_mm, jnp), jnp, dropped, design)
    return ((jnp.logaddexp(0, odds) - odds * insect) * weight).mean()


@partial(jax.jit, static_argnames="design")
def _step(
    state: Any, patches: Any, level: Any, sigma_px: Any, sigma_mm: Any, insect: Any, weight: Any, key: Any, done: Any, rate: Any,
    design: Design,
) -> Any:  # fmt: skip
    """One step of Adam: new weights, both moments, running mean of the weights, and the loss."""
    weights, first, second, mean = state
    differences, against = densities(patches, level, jnp)
    places = (differences, against, sigma_px, sigma_mm)
    loss, slope = jax.value_and_grad(_loss)(weights, places, insect, weight, key, design)
    first = jax.tree.map(lambda m, g: 0.9 * m + 0.1 * g, first, slope)
    second = jax.tree.map(lambda v, g: 0.999 * v + 0.001 * g * g, second, slope)

    def moved(w: Any, m: Any, v: Any) -> Any:
        return w - rate * (m / (1 - 0.9**done) / (jnp.sqrt(v / (1 - 0.999**done)) + 1e-8) + _DECAY * w)

    weights = jax.tree.map(moved, weights, first, second)
    back = jnp.minimum(_MEAN_OVER, 1 + done / _YOUNG)
    mean = jax.tree.map(lambda a, w: a + (w - a) / back, mean, weights)
    return weights, first, second, mean, loss
