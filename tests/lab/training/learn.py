#!/usr/bin/env python3
"""Trains one of the outline's networks on the samples written by `lab samples`.

Usage: learn.py form|channel_form|rim|channel_rim FOLDER STEPS WEIGHTS [FIRST_WEIGHTS]    (pip install jax optax)

The networks and their pictures are described in src/outline/learnt. A sample is a picture and the column of each row in
which the edge lies, or that it is not seen there; what is learnt is to give that column a high probability. Every tenth
seed is kept apart: the second figure that is printed is the mean of minus the logarithm of the probability on those.
Pictures are varied as leathers, floors, cameras and light vary: colours turned and faded, contrast, grain, noise, shade,
hard and contact shadows. WEIGHTS is written at the end, as `Net::read` reads it; learning goes on from FIRST_WEIGHTS where
they are given.
"""

import json
import pathlib
import sys
import time

import jax
import jax.numpy as jnp
import numpy as np
import optax

CHANNELS = [8, 16, 20, 24, 24]
COLOURS = 3
BATCH = 4
RIM_ROWS = 128
FORM_COLUMN_MM, RIM_COLUMN_MM = 1.25, 0.4
MOST_SHIFT = {1: 30, 2: 6}  # columns, of a band and of a chart
TARGET_WIDTH = 0.6  # columns: how sharply the truth is asked for
MOST_RATE, LEAST_RATE = 3e-3, 3e-5


class Samples:
    """Pictures on the disk, in the order rows, channels, columns."""

    def __init__(self, folder, kind):
        part, kind = ("channel", "form") if kind == "channel_form" else ("columns", kind)
        values = np.memmap(folder / f"{kind}.values", dtype="<u2", mode="r")
        self.all, start = [], 0
        for line in open(folder / f"{kind}.lines", encoding="utf-8"):
            sample = json.loads(line)
            size = int(np.prod(sample["shape"]))
            halves = values[start:start + size].reshape(sample["shape"])
            columns = np.array([np.nan if c is None else c for c in sample[part]], np.float32)
            passed_over = np.array(sample["passed_over"]) & (part == "columns")
            self.all.append((sample["seed"], halves, columns, passed_over))
            start += size
        self.kept_apart = [x for x in self.all if x[0] % 10 == 0]
        self.learnt_from = [x for x in self.all if x[0] % 10 != 0]

    @staticmethod
    def picture(halves):
        """Rows, columns, channels as single-precision numbers."""
        values = (np.asarray(halves).astype(np.uint32) << 16).view(np.float32)
        return values.transpose(0, 2, 1).copy()


def recoloured(light, first, second, rng):
    """Light and colour differences of another leather or floor."""
    fade, turn = rng.uniform(0, 1.6), rng.normal() if rng.random() < 0.5 else 0.0
    power, gain = (rng.uniform(0.7, 1.4), rng.uniform(0.6, 1.5)) if rng.random() < 0.5 else (1.0, 1.0)
    lit = gain * np.maximum(light, 0) ** power
    return (lit, fade * gain * (np.cos(turn) * first - np.sin(turn) * second),
            fade * gain * (np.sin(turn) * first + np.cos(turn) * second))


def shading(shape, rng):
    """Grain, shade, and the border of a hard shadow."""
    rows, columns = shape
    level = np.ones(shape)
    if rng.random() < 0.5:
        grain = rng.normal(size=shape)
        for _ in range(rng.integers(0, 4)):
            grain = grain + np.roll(grain, 1, 0) + np.roll(grain, 1, 1) + np.roll(grain, -1, 1)
        level *= np.exp(rng.uniform(0, 0.15) * grain / grain.std())
    along, across = np.linspace(-1, 1, rows)[:, None], np.linspace(-1, 1, columns)[None]
    if rng.random() < 0.3:
        level *= np.exp(rng.normal(0, 0.4) * along + rng.normal(0, 0.2) * across)
    if rng.random() < 0.25:
        angle = rng.uniform(0, 2 * np.pi)
        beyond = np.cos(angle) * along + np.sin(angle) * across > rng.uniform(-0.7, 0.7)
        level *= np.where(beyond, rng.uniform(0.35, 0.9), 1)
    return level


def smooth(rows, rng):
    """A curve from 0 to 1 that changes slowly from row to row."""
    knots = rng.random(2 + int(rng.integers(1, 6)))
    return np.interp(np.linspace(0, len(knots) - 1, rows), np.arange(len(knots)), knots)


def step(off, softness):
    """From 0 where `off` is negative to 1 where it is positive."""
    return 1 / (1 + np.exp(-np.clip(off / softness, -30, 30)))


def varied(picture, edges, column_mm, rng):
    """The picture as other leather, another floor or another light might have made it.

    `edges` has the columns of the edge for each side that is in the picture. Often what lies beyond the edge, and what
    lies further inside than a cord's width, is coloured by itself, or a shadow lies along the edge: neither the greatest
    change of colour nor that of light is where the form ends."""
    rows, columns = picture.shape[:2]
    seeds = rng.integers(2**32, size=2)
    beyond_by, inside_by = rng.integers(0, 2, size=2) if rng.random() < 0.6 else (0, 0)
    cord = rng.uniform(2.5, 9) / column_mm
    shadow = rng.random() < 0.3
    reach = rng.uniform(0, 14) / column_mm * smooth(rows, rng)[:, None]
    dark, softness = rng.uniform(0.1, 0.8), rng.uniform(0.4, 4) / column_mm
    noise = rng.uniform(0, 0.06) if rng.random() < 0.5 else 0.0
    level = shading((rows, columns), rng)
    for side, edge in enumerate(edges):
        at = side * COLOURS
        colours = picture[..., at] + 1, picture[..., at + 1], picture[..., at + 2]
        made = [recoloured(*colours, np.random.default_rng(seed)) for seed in seeds]  # the same for both sides
        off = np.arange(columns)[None] - np.where(np.isfinite(edge), edge, 1e3)[:, None]
        beyond, inside = step(off, 0.4), step(-cord - off, 0.4)
        light = level * (1 - dark * beyond * step(reach - off, softness)) if shadow else level
        for k in range(COLOURS):
            mixed = made[0][k] * (1 - beyond - inside) + made[beyond_by][k] * beyond + made[inside_by][k] * inside
            spread = noise if k == 0 else 3 * noise
            picture[..., at + k] = mixed * light - (k == 0) + rng.normal(0, 1, mixed.shape) * spread
    return picture


def shifted(picture, colours, columns):
    """The picture's colours moved outwards by some columns; what comes in repeats the border."""
    width = picture.shape[1]
    picture[..., :colours] = picture[:, np.clip(np.arange(width) - columns, 0, width - 1), :colours]
    return picture


def batch(samples, kind, rng, vary):
    pictures, columns, counts = [], [], []
    while len(pictures) < BATCH:
        index = rng.integers(len(samples))
        _, halves, where, passed_over = samples[index]
        rows = len(where) if kind.endswith("form") else RIM_ROWS
        first = rng.integers(0, len(where) - rows + 1)
        chosen = slice(first, first + rows)
        picture = Samples.picture(halves[chosen])
        where, counted = where[chosen], ~passed_over[chosen]
        if vary:
            # Forms come in pairs, left and right, and each shows the other.
            edges = [where, samples[index ^ 1][2]] if kind.endswith("form") else [where]
            picture = varied(picture, edges, FORM_COLUMN_MM if kind.endswith("form") else RIM_COLUMN_MM, rng)
            # A band's middle says nothing of where the edge is, a chart's little.
            columns_off = int(rng.integers(-MOST_SHIFT[len(edges)], MOST_SHIFT[len(edges)] + 1))
            picture = shifted(picture, len(edges) * COLOURS, columns_off)
            where = where + np.float32(columns_off)
            outside = (where < 0) | (where > picture.shape[1] - 1)
            counted = counted & ~outside
            if not kind.endswith("form") and rng.random() < 0.5:
                picture, where, counted = picture[::-1], where[::-1], counted[::-1]
        pictures.append(picture)
        columns.append(where)
        counts.append(counted)
    return tuple(np.stack(x) for x in (pictures, columns, counts))


def fresh_weights(inputs, key):
    keys = iter(jax.random.split(key, 40))

    def convolution(channels_in, channels_out):
        spread = np.sqrt(2 / (9 * channels_in))
        weights = jax.random.normal(next(keys), (3, 3, channels_in, channels_out)) * spread
        return {"weights": weights, "biases": jnp.zeros(channels_out)}

    def total(channels_in):
        return {"weights": jax.random.normal(next(keys), (channels_in,)) * 0.1, "biases": jnp.zeros(1)}

    down = [[convolution(inputs, CHANNELS[0])]]
    for finer, coarser in zip(CHANNELS, CHANNELS[1:]):
        down.append([convolution(finer, coarser), convolution(coarser, coarser)])
    up = [convolution(CHANNELS[s] + CHANNELS[s + 1], CHANNELS[s]) for s in reversed(range(len(CHANNELS) - 1))]
    return {"down": down, "up": up, "edge": total(CHANNELS[0]), "unseen": total(CHANNELS[1])}


def convolved(layer, x):
    out = jax.lax.conv_general_dilated(x, layer["weights"], (1, 1), "SAME", dimension_numbers=("NHWC", "HWIO", "NHWC"))
    return jax.nn.relu(out + layer["biases"])


def log_posterior(weights, x):
    """Logarithms of the probabilities of each column, and last of the edge's not being seen."""
    seen = []
    for scale, layers in enumerate(weights["down"]):
        if scale:
            n, h, w, c = x.shape
            x = x.reshape(n, h // 2, 2, w // 2, 2, c).mean((2, 4))
        for layer in layers:
            x = convolved(layer, x)
        seen.append(x)
    for layer, beside in zip(weights["up"], seen[-2::-1]):
        half = x
        doubled = jnp.repeat(jnp.repeat(x, 2, 1), 2, 2)
        x = convolved(layer, jnp.concatenate([doubled, beside], -1))
    edge = x @ weights["edge"]["weights"] + weights["edge"]["biases"]
    unseen = jnp.repeat(half.mean(2) @ weights["unseen"]["weights"] + weights["unseen"]["biases"], 2, 1)
    return jax.nn.log_softmax(jnp.concatenate([edge, unseen[..., None]], -1), -1)


def loss(weights, pictures, columns, counted):
    said = log_posterior(weights, pictures)
    off = (jnp.arange(said.shape[-1] - 1) - columns[..., None]) / TARGET_WIDTH
    wanted = jnp.nan_to_num(jnp.exp(-0.5 * off**2))
    wanted = wanted / (wanted.sum(-1, keepdims=True) + 1e-9)
    cost = jnp.where(jnp.isfinite(columns), -(wanted * said[..., :-1]).sum(-1), -said[..., -1])
    return (cost * counted).sum() / counted.sum()


def stored(weights):
    """As `Net::read` reads them."""
    def halves(values):
        bits = np.ascontiguousarray(values, np.float32).view(np.uint32).astype(np.uint64)
        return ((bits + 0x7FFF + ((bits >> 16) & 1)) >> 16).astype("<u2").tobytes()

    layers = [layer for scale in weights["down"] for layer in scale] + weights["up"]
    out = b"".join(halves(layer["weights"].transpose(3, 2, 0, 1)) + halves(layer["biases"]) for layer in layers)
    return out + b"".join(halves(weights[k][part]) for k in ("edge", "unseen") for part in ("weights", "biases"))


def read(path, inputs):
    """Weights that are stored."""
    bits = np.frombuffer(pathlib.Path(path).read_bytes(), "<u2").astype(np.uint32) << 16
    numbers, at = bits.view(np.float32), 0

    def take(shape):
        nonlocal at
        size = int(np.prod(shape))
        at += size
        return numbers[at - size:at].reshape(shape)

    def layer(like):
        _, _, channels_in, channels_out = like["weights"].shape
        weights = take((channels_out, channels_in, 3, 3)).transpose(2, 3, 1, 0)
        return {"weights": jnp.asarray(weights), "biases": jnp.asarray(take((channels_out,)))}

    like = fresh_weights(inputs, jax.random.PRNGKey(0))
    out = {"down": [[layer(x) for x in scale] for scale in like["down"]], "up": [layer(x) for x in like["up"]]}
    for k in ("edge", "unseen"):
        out[k] = {part: jnp.asarray(take(like[k][part].shape)) for part in ("weights", "biases")}
    assert at == len(numbers), "the weights are of another network"
    return out


def main():
    kind, folder, steps, target = sys.argv[1], pathlib.Path(sys.argv[2]), int(sys.argv[3]), sys.argv[4]
    samples = Samples(folder, kind)
    rng = np.random.default_rng(1)
    inputs = samples.all[0][1].shape[1]
    again = len(sys.argv) > 5
    weights = read(sys.argv[5], inputs) if again else fresh_weights(inputs, jax.random.PRNGKey(1))
    rate = optax.warmup_cosine_decay_schedule(0, MOST_RATE / 2 if again else MOST_RATE, 50, steps, LEAST_RATE)
    optimiser = optax.chain(optax.clip_by_global_norm(1.0), optax.adamw(rate, weight_decay=1e-4))
    state = optimiser.init(weights)

    @jax.jit
    def learn(weights, state, sample):
        value, slope = jax.value_and_grad(loss)(weights, *sample)
        change, state = optimiser.update(slope, state, weights)
        return optax.apply_updates(weights, change), state, value

    fixed = np.random.default_rng(2)
    examined = [batch(samples.kept_apart or samples.all, kind, fixed, False) for _ in range(40)]
    judge, begun, recent = jax.jit(loss), time.time(), []
    for i in range(1, steps + 1):
        weights, state, value = learn(weights, state, batch(samples.learnt_from, kind, rng, True))
        recent.append(float(value))
        if i % 200 == 0 or i == steps:
            apart = np.mean([float(judge(weights, *sample)) for sample in examined])
            print(f"{i}: {np.mean(recent[-200:]):.3f}, kept apart {apart:.3f}, {time.time() - begun:.0f} s", flush=True)
    pathlib.Path(target).write_bytes(stored(jax.tree.map(np.asarray, weights)))


if __name__ == "__main__":
    main()
