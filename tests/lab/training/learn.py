#!/usr/bin/env python3
"""Trains one of the outline's networks on the samples that `lab samples` has written.

Usage: learn.py KIND SECONDS WEIGHTS FOLDER[:SHARE] [FOLDER[:SHARE] ...] [--from WEIGHTS]    (pip install jax optax)

KIND is places, form, channel_form, rim or channel_rim. The networks and their pictures are described in src/outline/network.
A batch takes from each folder its share. Every tenth seed is validation data: the second figure that is printed is the
mean loss on those. Pictures are augmented as leathers, floors, cameras and light vary. Everything runs on the
accelerator, so that a step costs milliseconds; the learning rate follows the time that is left. WEIGHTS is an exponential
average over the last steps, where its validation loss was least, as `src/outline/network/net.rs` reads it.
"""

import argparse
import json
import pathlib
import time

import jax
import jax.numpy as jnp
import numpy as np
import optax

CHANNELS = [8, 16, 32, 64, 96]
COLOURS = 3
COMPUTED = jnp.bfloat16  # numbers of the convolutions
BATCH = {"places": 32, "form": 48, "channel_form": 48, "rim": 64, "channel_rim": 64}
RIM_ROWS, MOST_RIM_ROWS = 128, 336
PLACES_CELLS, PLACES_CROP = 240, 176
COLUMN_MM = {"form": 1.25, "channel_form": 1.25, "rim": 0.4, "channel_rim": 0.4}
MOST_SHIFT = {"form": 6, "channel_form": 6, "rim": 30, "channel_rim": 30}  # columns
MOST_BEND = 8  # columns
TARGET_WIDTH = 0.6  # columns: standard deviation of the target's distribution about the truth
PEAK_CELLS = 1.5  # the same of an end in the view from above
MOST_RATE, LEAST_RATE, WARM_UP = 1.2e-3, 1e-5, 0.05
STEPS = 25  # in one call to the accelerator
AVERAGE = 0.999


# Samples.

def read_samples(folder, kind):
    """Pictures (uint16 halves), truths and seeds of a folder."""
    file = "form" if kind == "channel_form" else kind
    lines = [json.loads(line) for line in open(folder / f"{file}.lines", encoding="utf-8")]
    values = np.memmap(folder / f"{file}.values", dtype="<u2", mode="r")
    starts = np.concatenate([[0], np.cumsum([int(np.prod(l["shape"])) for l in lines])])
    seeds = np.array([l["seed"] for l in lines])
    if kind == "places":
        pictures, truths = zip(*[padded_view(values[a:b].reshape(l["shape"]), l) for a, b, l in zip(starts, starts[1:], lines)])
        return np.stack(pictures), np.stack(truths), seeds
    rows = lines[0]["shape"][0] if "form" in kind else MOST_RIM_ROWS
    part = "channel" if kind == "channel_form" else "columns"
    pictures = np.zeros((len(lines), rows) + tuple(lines[0]["shape"][1:]), np.uint16)
    truths = np.full((len(lines), rows, 2), np.nan, np.float32)  # column, and whether the row counts
    for i, line in enumerate(lines):
        n = min(line["shape"][0], rows)
        pictures[i, :n] = values[starts[i]:starts[i + 1]].reshape(line["shape"])[:n]
        pictures[i, n:] = pictures[i, n - 1]
        column = line[part] or [None] * n
        truths[i, :n, 0] = [np.nan if c is None else c for c in column[:n]]
        counted = np.ones(n) if part == "channel" else ~np.array(line["passed_over"][:n])
        truths[i, :, 1] = 0
        truths[i, :n, 1] = counted
    return pictures, truths, seeds


def padded_view(picture, line):
    """A view from above in the middle of a square of cells; its truth: inside, and both ends' cells."""
    import cv2
    rows, channels, columns = line["shape"]
    out = np.zeros((PLACES_CELLS, channels, PLACES_CELLS), np.uint16)
    inside = np.zeros((PLACES_CELLS, PLACES_CELLS), np.uint8)
    centre = np.mean(line["ends"], 0) if line["ends"] else np.array([columns / 2, rows / 2])
    off = np.round(centre - PLACES_CELLS / 2).astype(int)
    for axis, size in ((0, columns), (1, rows)):  # as much of the view as fits
        off[axis] = np.clip(off[axis], min(0, size - PLACES_CELLS), max(0, size - PLACES_CELLS))
    (x, y), (w, h) = off, (min(columns, PLACES_CELLS), min(rows, PLACES_CELLS))
    x0, y0 = max(x, 0), max(y, 0)
    w, h = min(w, columns - x0), min(h, rows - y0)
    out[y0 - y:y0 - y + h, :, x0 - x:x0 - x + w] = picture[y0:y0 + h, :, x0:x0 + w]
    truth = np.full((PLACES_CELLS, PLACES_CELLS + 1), 0, np.float32)
    ends = np.full((2, 2), -1e3)
    if line["outline"]:
        cv2.fillPoly(inside, [np.round((np.array(line["outline"]) - off) * 16).astype(np.int32)], 1, shift=4)
        ends = np.array(line["ends"]) - off
    truth[:, :-1] = inside
    truth[:4, -1] = ends.ravel()
    return out, truth


def unpacked(halves):
    """Single-precision pictures in the order rows, columns, channels."""
    values = jax.lax.bitcast_convert_type(halves.astype(jnp.uint16), jnp.bfloat16).astype(jnp.float32)
    return jnp.swapaxes(values, -1, -2)


# Augmentation. All of it works on batches; `u` draws uniform numbers, one a sample.

class Draws:
    def __init__(self, key, batch):
        self.key, self.batch = key, batch

    def next(self):
        self.key, own = jax.random.split(self.key)
        return own

    def u(self, low=0.0, high=1.0, shape=()):
        return jax.random.uniform(self.next(), (self.batch,) + shape, minval=low, maxval=high)

    def n(self, shape=()):
        return jax.random.normal(self.next(), (self.batch,) + shape)

    def chance(self, p):
        return self.u() < p


def wide(x):
    return x[:, None, None]


def recolouring(d):
    """Parameters of another leather or floor."""
    turn = jnp.where(d.chance(0.5), d.n(), 0.0)
    other = d.chance(0.5)
    return d.u(0, 1.6), turn, jnp.where(other, d.u(0.7, 1.4), 1.0), jnp.where(other, d.u(0.6, 1.5), 1.0)


def recoloured(made, light, first, second):
    fade, turn, power, gain = map(wide, made)
    lit = gain * jnp.maximum(light, 1e-4) ** power
    return (lit, fade * gain * (jnp.cos(turn) * first - jnp.sin(turn) * second),
            fade * gain * (jnp.sin(turn) * first + jnp.cos(turn) * second))


def blurred(x, sigma, axis):
    """Gaussian blur along an axis, one sigma a sample."""
    taps = jnp.arange(-4, 5)
    weights = jnp.exp(-0.5 * (taps[None] / jnp.maximum(sigma, 1e-3)[:, None]) ** 2)
    weights = weights / weights.sum(1, keepdims=True)
    padding = [(4, 4) if a == axis else (0, 0) for a in range(x.ndim)]
    p, size = jnp.pad(x, padding, mode="edge"), x.shape[axis]
    return sum(weights[:, i].reshape((-1,) + (1,) * (x.ndim - 1)) * jax.lax.slice_in_dim(p, i, i + size, axis=axis) for i in range(9))


def shading(d, rows, columns):
    """Grain, shade, and the border of a hard shadow."""
    along, across = jnp.linspace(-1, 1, rows)[None, :, None], jnp.linspace(-1, 1, columns)[None, None]
    smooth = jnp.where(d.chance(0.5), d.u(0.3, 2.5), 0.01)
    grain = d.n((rows, columns))
    grain = blurred(blurred(grain, smooth, 1), smooth, 2)
    grain = grain / (grain.std((1, 2), keepdims=True) + 1e-6)
    level = jnp.exp(wide(jnp.where(d.chance(0.5), d.u(0, 0.15), 0.0)) * grain)
    shade = d.chance(0.3)
    level *= jnp.exp(wide(jnp.where(shade, 0.4 * d.n(), 0.0)) * along + wide(jnp.where(shade, 0.2 * d.n(), 0.0)) * across)
    angle = wide(d.u(0, 2 * np.pi))
    beyond = jnp.cos(angle) * along + jnp.sin(angle) * across > wide(d.u(-0.7, 0.7))
    return level * jnp.where(beyond & wide(d.chance(0.25)), wide(d.u(0.35, 0.9)), 1.0)


def smooth_curve(d, rows):
    """From 0 to 1, changing slowly from row to row."""
    knots = d.u(0, 1, (6,))
    at = jnp.linspace(0, 5, rows)
    low = jnp.clip(at.astype(int), 0, 4)
    t = at - low
    return knots[:, low] * (1 - t) + knots[:, low + 1] * t


def step(off, softness):
    return jax.nn.sigmoid(jnp.clip(off / softness, -30, 30))


def recoloured_edges(d, pictures, edges, column_mm, chance):
    """Pictures as other leather, another floor or another light might have made them.

    `edges` has the columns of the edge for each side that is in the picture. Often what lies beyond the edge, and what
    lies further inside than a cord's width, is coloured by itself, or a shadow lies along the edge: neither the greatest
    change of colour nor that of light is where the form ends."""
    rows, columns = pictures.shape[1:3]
    made = [recolouring(d), recolouring(d)]
    change, apart = wide(d.chance(chance)), d.chance(0.6)
    beyond_by, inside_by = wide(apart & d.chance(0.5)), wide(apart & d.chance(0.5))
    cord = wide(d.u(2.5, 9)) / column_mm
    shadow = wide(d.chance(0.3))
    reach = wide(d.u(0, 14)) / column_mm * smooth_curve(d, rows)[..., None]
    dark, softness = wide(d.u(0.1, 0.8)), wide(d.u(0.4, 4)) / column_mm
    noise = jnp.where(d.chance(0.5), d.u(0, 0.06), 0.0)
    level = shading(d, rows, columns)
    blur = jnp.where(d.chance(0.3), d.u(0.3, 2.0), 0.01)
    out = pictures
    for side, edge in enumerate(edges):
        at = side * COLOURS
        colours = pictures[..., at] + 1, pictures[..., at + 1], pictures[..., at + 2]
        own = [recoloured(m, *colours) for m in made]
        off = jnp.arange(columns)[None, None] - jnp.where(jnp.isfinite(edge), edge, 1e3)[..., None]
        beyond, inside = step(off, 0.4), step(-cord - off, 0.4)
        light = jnp.where(shadow, level * (1 - dark * beyond * step(reach - off, softness)), level)
        for k in range(COLOURS):
            second = lambda by: jnp.where(by, own[1][k], own[0][k])
            mixed = own[0][k] * (1 - beyond - inside) + second(beyond_by) * beyond + second(inside_by) * inside
            mixed = jnp.where(change, mixed, colours[k]) * light
            mixed = blurred(blurred(mixed, blur, 1), blur, 2)
            spread = wide(noise if k == 0 else 3 * noise)
            out = out.at[..., at + k].set(mixed - (k == 0) + spread * d.n((rows, columns)))
    return out, blur


def from_columns(picture, source):
    """The picture's values at fractional columns (batch, rows, columns), clamped to the picture."""
    source = jnp.clip(source, 0, picture.shape[2] - 1.001)
    low = jnp.floor(source).astype(int)
    at = lambda i: jnp.take_along_axis(picture, i[..., None], axis=2)
    part = (source - low)[..., None]
    return at(low) * (1 - part) + at(low + 1) * part


def borrowed_bodies(d, pictures, edges, column_mm):
    """Samples of samples: beyond the edge another sample, with its own edge there or some way further out, as of a lower body;
    inside, some way off the edge, the inside of another, as of an inset."""
    rows, columns = pictures.shape[1:3]
    at = jnp.arange(columns, dtype=jnp.float32)[None, None]
    out = pictures
    for side, edge in enumerate(edges):
        own = out[..., side * COLOURS:(side + 1) * COLOURS]
        for outwards, chance, least_mm, most_mm in ((1, 0.35, 2, 28), (-1, 0.12, 6, 40)):
            donors = jax.random.randint(d.next(), (), 1, d.batch)
            theirs, their_edge = jnp.roll(own, donors, 0), jnp.roll(edge, donors, 0)
            apart_mm = d.u(least_mm, most_mm)[:, None] * (0.4 + 0.6 * smooth_curve(d, rows))
            on_edge = d.chance(0.4 if outwards > 0 else 0.0)[:, None]
            apart = outwards * jnp.where(on_edge, 0.0, apart_mm) / column_mm
            # Their edge comes to where ours is, or so far beyond or inside of it.
            source = their_edge[..., None] + at - (edge + apart)[..., None]
            seen = jnp.isfinite(source) & wide(d.chance(chance))
            begins = edge if outwards > 0 else edge + apart
            part = step(outwards * (at - jnp.where(jnp.isfinite(begins), begins, 0.0)[..., None]), 0.4) * seen
            own = own + part[..., None] * (from_columns(theirs, jnp.where(seen, source, 0.0)) - own)
        out = out.at[..., side * COLOURS:(side + 1) * COLOURS].set(own)
    return out


def edge_batch(key, kind, data, share, vary):
    """A batch of rows with the column of the edge and whether each counts."""
    key, own = jax.random.split(key)
    parts = []
    for (halves, truth), n in zip(data, share):
        own, a, b = jax.random.split(own, 3)
        index = jax.random.randint(a, (n,), 0, halves.shape[0])
        picture, where = unpacked(halves[index]), truth[index]
        other = truth[index ^ 1]  # forms come in pairs, left and right, and each shows the other
        if "rim" in kind:
            rows = jnp.where(where[..., 1] > 0.5, jnp.arange(where.shape[1]) + 1, 0).max(1)
            first = jax.random.randint(b, (n,), 0, jnp.maximum(1, rows - RIM_ROWS))
            cut = jax.vmap(lambda x, f: jax.lax.dynamic_slice_in_dim(x, f, RIM_ROWS))
            picture, where, other = cut(picture, first), cut(where, first), cut(other, first)
        parts.append((picture, where, other))
    picture, where, other = (jnp.concatenate(x) for x in zip(*parts))
    columns, counted = where[..., 0], where[..., 1] > 0.5
    if not vary:
        return picture, columns, counted
    d = Draws(key, picture.shape[0])
    edges = [columns, other[..., 0]] if "form" in kind else [columns]
    picture = borrowed_bodies(d, picture, edges, COLUMN_MM[kind])
    picture, blur = recoloured_edges(d, picture, edges, COLUMN_MM[kind], 0.5)
    if "rim" in kind:  # a blurred band is one of a coarser photo
        mm_per_px = jnp.sqrt(4.0 ** picture[..., -1] + wide(jnp.where(blur > 0.1, (COLUMN_MM[kind] * 1.5 * blur) ** 2, 0.0)))
        picture = picture.at[..., -1].set(0.5 * jnp.log2(mm_per_px))
    # A band's middle says nothing of where the edge is, a chart's little; edges bend.
    off = MOST_SHIFT[kind] * d.u(-1, 1)[:, None] + MOST_BEND * d.u(0, 1)[:, None] * (smooth_curve(d, picture.shape[1]) - 0.5)
    width, colours = picture.shape[2], len(edges) * COLOURS
    moved = from_columns(picture[..., :colours], jnp.arange(width)[None, None] - off[..., None])
    picture = jnp.concatenate([moved, picture[..., colours:]], -1)
    columns = columns + off
    counted = counted & ~((columns < 0) | (columns > width - 1))
    if "rim" in kind:
        turn = d.chance(0.5)
        picture = jnp.where(turn[:, None, None, None], picture[:, ::-1], picture)
        columns, counted = (jnp.where(turn[:, None], x[:, ::-1], x) for x in (columns, counted))
    return picture, columns, counted


def sampled(image, x, y):
    """Bilinear samples of images (batch, rows, columns, channels); 0 outside."""
    rows, columns = image.shape[1:3]
    x0, y0 = jnp.floor(x).astype(int), jnp.floor(y).astype(int)
    out = 0.0
    for dy in (0, 1):
        for dx in (0, 1):
            xi, yi = x0 + dx, y0 + dy
            weight = (1 - jnp.abs(x - xi)) * (1 - jnp.abs(y - yi))
            weight = weight * ((xi >= 0) & (yi >= 0) & (xi < columns) & (yi < rows))
            values = jax.vmap(lambda im, r, c: im[r, c])(image, jnp.clip(yi, 0, rows - 1), jnp.clip(xi, 0, columns - 1))
            out = out + weight[..., None] * values
    return out


def places_batch(key, data, share, vary):
    """Views turned, mirrored, scaled and moved, with the inside of the form and the cells of its ends."""
    parts = []
    for (halves, truth), n in zip(data, share):
        key, a = jax.random.split(key)
        index = jax.random.randint(a, (n,), 0, halves.shape[0])
        parts.append((unpacked(halves[index]), truth[index]))
    picture, truth = (jnp.concatenate(x) for x in zip(*parts))
    inside, ends = truth[:, :, :-1], truth[:, :4, -1].reshape(-1, 2, 2)
    d = Draws(key, picture.shape[0])
    angle = d.u(0, 2 * np.pi if vary else 1e-6)
    scale, mirror = jnp.exp(d.u(-0.12, 0.12) if vary else d.u(0, 1e-6)), jnp.where(d.chance(0.5 if vary else 0.0), -1.0, 1.0)
    centre = PLACES_CELLS / 2 + (d.u(-30, 30, (2,)) if vary else d.u(0, 1e-6, (2,)))
    c, s = jnp.cos(angle), jnp.sin(angle)
    # Cells of the crop to cells of the view: x = R diag(mirror, 1) scale (u - middle) + centre.
    grid = jnp.arange(PLACES_CROP) - (PLACES_CROP - 1) / 2
    v, u = jnp.meshgrid(grid, grid, indexing="ij")
    u, v = u[None] * wide(mirror * scale), v[None] * wide(scale)
    x, y = wide(c) * u - wide(s) * v + wide(centre[:, 0]), wide(s) * u + wide(c) * v + wide(centre[:, 1])
    picture = sampled(picture, x, y)
    inside = sampled(inside[..., None], x, y)[..., 0]
    back = ends - centre[:, None]
    ends = jnp.stack([(c[:, None] * back[..., 0] + s[:, None] * back[..., 1]) * mirror[:, None],
                      -s[:, None] * back[..., 0] + c[:, None] * back[..., 1]], -1) / scale[:, None, None] + (PLACES_CROP - 1) / 2
    ends = jnp.where(jnp.abs(back) > 500, -1e3, ends)
    if vary:
        made, change = recolouring(d), wide(d.chance(0.6))
        colours = picture[..., 0] + 1, picture[..., 1], picture[..., 2]
        # Inside and outside are sometimes coloured apart.
        other, apart = recolouring(d), wide(d.chance(0.4))
        mixed = [jnp.where(apart, a * inside + b * (1 - inside), a) for a, b in zip(recoloured(made, *colours), recoloured(other, *colours))]
        level, noise = shading(d, PLACES_CROP, PLACES_CROP), jnp.where(d.chance(0.5), d.u(0, 0.05), 0.0)
        is_open = picture[..., 3]
        new = [(jnp.where(change, m, o) * level + wide(noise) * d.n((PLACES_CROP, PLACES_CROP)) - (k == 0)) * is_open
               for k, (m, o) in enumerate(zip(mixed, colours))]
        picture = jnp.stack(new + [is_open], -1)
    return picture, inside, ends


# The network.

def fresh_weights(inputs, heads, key):
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
    return {"down": down, "up": up, "heads": [total(CHANNELS[scale]) for scale in heads]}


HEADS = {"places": [0, 0, 0]}  # the scale of each weighted sum at the end
EDGE_HEADS = [0, 1]


def convolved(layer, x):
    weights, biases = layer["weights"].astype(COMPUTED), layer["biases"]
    out = jax.lax.conv_general_dilated(x, weights, (1, 1), "SAME", dimension_numbers=("NHWC", "HWIO", "NHWC"))
    return jax.nn.relu(out + biases.astype(COMPUTED))


def features(weights, x):
    """The finest features and those at half that scale."""
    x, seen = x.astype(COMPUTED), []
    for scale, layers in enumerate(weights["down"]):
        if scale:
            n, h, w, c = x.shape
            x = x.reshape(n, h // 2, 2, w // 2, 2, c).mean((2, 4))
        for layer in layers:
            x = convolved(layer, x)
        seen.append(x)
    half = x
    for layer, beside in zip(weights["up"], seen[-2::-1]):
        half = x
        doubled = jnp.repeat(jnp.repeat(x, 2, 1), 2, 2)
        x = convolved(layer, jnp.concatenate([doubled, beside], -1))
    return x.astype(jnp.float32), half.astype(jnp.float32)


def weighted(head, x):
    return x @ head["weights"] + head["biases"]


def log_posterior(weights, x):
    """Log probability of each column, and last of the edge's not being visible."""
    fine, half = features(weights, x)
    edge, unseen = weighted(weights["heads"][0], fine), weighted(weights["heads"][1], half.mean(2))
    return jax.nn.log_softmax(jnp.concatenate([edge, jnp.repeat(unseen, 2, 1)[..., None]], -1), -1)


def edge_loss(weights, picture, columns, counted):
    found = log_posterior(weights, picture)
    off = (jnp.arange(found.shape[-1] - 1) - columns[..., None]) / TARGET_WIDTH
    wanted = jnp.nan_to_num(jnp.exp(-0.5 * off**2))
    wanted = wanted / (wanted.sum(-1, keepdims=True) + 1e-9)
    cost = jnp.where(jnp.isfinite(columns), -(wanted * found[..., :-1]).sum(-1), -found[..., -1])
    return (cost * counted).sum() / (counted.sum() + 1e-9)


def places_loss(weights, picture, inside, ends):
    """Cross entropy of the inside; of the ends with wrong cells near the truth counted less (the focal loss of H. Law and
    J. Deng, 2018)."""
    fine, _ = features(weights, picture)
    maps = [weighted(head, fine) for head in weights["heads"]]
    cost = optax.sigmoid_binary_cross_entropy(maps[0], inside).mean((1, 2)) * 20
    cells = jnp.arange(PLACES_CROP)
    for k in (0, 1):
        off = (cells[None, None] - wide(ends[:, k, 0])) ** 2 + (cells[None, :, None] - wide(ends[:, k, 1])) ** 2
        wanted = jnp.exp(-0.5 * off / PEAK_CELLS**2)
        p = jax.nn.sigmoid(maps[1 + k])
        right = wanted * (1 - p) ** 2 * jax.nn.log_sigmoid(maps[1 + k])
        wrong = (1 - wanted) ** 4 * p**2 * jax.nn.log_sigmoid(-maps[1 + k])
        cost = cost - (right + wrong).sum((1, 2)) / 4
    return cost.mean()


# The files.

def stored(weights):
    def halves(values):
        bits = np.ascontiguousarray(values, np.float32).view(np.uint32).astype(np.uint64)
        return ((bits + 0x7FFF + ((bits >> 16) & 1)) >> 16).astype("<u2").tobytes()

    layers = [layer for scale in weights["down"] for layer in scale] + weights["up"]
    out = b"".join(halves(layer["weights"].transpose(3, 2, 0, 1)) + halves(layer["biases"]) for layer in layers)
    return out + b"".join(halves(head[part]) for head in weights["heads"] for part in ("weights", "biases"))


def read(path, inputs, heads):
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

    like = fresh_weights(inputs, heads, jax.random.PRNGKey(0))
    out = {"down": [[layer(x) for x in scale] for scale in like["down"]], "up": [layer(x) for x in like["up"]]}
    out["heads"] = [{part: jnp.asarray(take(head[part].shape)) for part in ("weights", "biases")} for head in like["heads"]]
    assert at == len(numbers), "the weights are of another network"
    return out


def main():
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("kind"); ap.add_argument("seconds", type=float); ap.add_argument("weights"); ap.add_argument("folders", nargs="+")
    ap.add_argument("--from", dest="first"); ap.add_argument("--rate", type=float, default=MOST_RATE)
    a = ap.parse_args()
    kind, begun = a.kind, time.time()
    heads, training, validation, shares = HEADS.get(kind, EDGE_HEADS), [], [], []
    for given in a.folders:
        folder, _, share = given.partition(":")
        pictures, truths, seeds = read_samples(pathlib.Path(folder), kind)
        kept = seeds % 10 == 0
        training.append((jnp.asarray(pictures[~kept]), jnp.asarray(truths[~kept])))
        validation.append((jnp.asarray(pictures[kept]), jnp.asarray(truths[kept])))
        shares.append(float(share or 1))
        print(folder, pictures.shape, f"{kept.mean():.2f} for validation, {time.time() - begun:.0f} s", flush=True)
    share = [round(BATCH[kind] * s / sum(shares)) for s in shares]
    inputs = training[0][0].shape[-2]
    weights = read(a.first, inputs, heads) if a.first else fresh_weights(inputs, heads, jax.random.PRNGKey(1))
    optimiser = optax.chain(optax.clip_by_global_norm(1.0), optax.scale_by_adam(), optax.add_decayed_weights(1e-4))
    state, average = optimiser.init(weights), weights

    def batch(key, data, vary):
        return places_batch(key, data, share, vary) if kind == "places" else edge_batch(key, kind, data, share, vary)

    loss = places_loss if kind == "places" else edge_loss

    @jax.jit
    def train(weights, state, average, key, rate, data):
        def one(carry, key):
            weights, state, average = carry
            value, slope = jax.value_and_grad(loss)(weights, *batch(key, data, True))
            change, state = optimiser.update(slope, state, weights)
            weights = jax.tree.map(lambda w, c: w - rate * c, weights, change)
            average = jax.tree.map(lambda m, w: AVERAGE * m + (1 - AVERAGE) * w, average, weights)
            return (weights, state, average), value
        (weights, state, average), values = jax.lax.scan(one, (weights, state, average), jax.random.split(key, STEPS))
        return weights, state, average, values.mean()

    @jax.jit
    def judge(weights, data):
        keys = jax.random.split(jax.random.PRNGKey(2), 20)
        return jax.lax.map(lambda key: loss(weights, *batch(key, data, False)), keys).mean()

    key, steps, recent, last = jax.random.PRNGKey(3), 0, [], time.time()
    compiled, least = None, np.inf
    while True:
        part = 0.0 if compiled is None else (time.time() - compiled) / (a.seconds - (compiled - begun))
        if part >= 1:
            break
        rate = a.rate * min(1, part / WARM_UP + 0.02) if part < WARM_UP else LEAST_RATE + (a.rate - LEAST_RATE) * 0.5 * (1 + np.cos(np.pi * part))
        key, own = jax.random.split(key)
        weights, state, average, value = train(weights, state, average, own, jnp.float32(rate), training)
        recent.append(value)
        steps += STEPS
        if compiled is None:
            value.block_until_ready()
            compiled = time.time()
        if time.time() - last > 10:
            last, judged = time.time(), float(judge(average, validation))
            print(f"{kind} {steps}: {np.mean([float(v) for v in recent]):.3f}, validation {judged:.3f}, {last - begun:.0f} s", flush=True)
            recent = []
            if judged < least:
                least = judged
                pathlib.Path(a.weights).write_bytes(stored(jax.tree.map(np.asarray, average)))
        elif len(recent) % 4 == 0:
            recent[-1].block_until_ready()
    print(f"{kind}: {steps} steps, least validation loss {least:.3f}", flush=True)


if __name__ == "__main__":
    main()
