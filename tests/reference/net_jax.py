#!/usr/bin/env python3
"""Output of the outline's networks for a synthetic picture by JAX, as reference for tests/accuracy/reference_net.rs.

Usage: net_jax.py    (pip install jax optax; writes net_jax.json beside this script)

Reads the stored weights and runs the networks as tests/lab/training/learn.py defines them.
"""

import json
import pathlib
import sys

import jax
import jax.numpy as jnp
import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "lab/training"))
import learn  # noqa: E402

ROWS, COLUMNS = 48, 128
WEIGHTS = HERE.parents[1] / "src/outline/network"
RENDERED, DRAWN = learn.CHANNELS, [8, 16, 20, 24, 24]
NETS = {"form": (8, [("form", RENDERED)]), "channel_form": (8, [("channel_form", RENDERED)]),
        "rim": (5, [("rim", RENDERED), ("rim_drawn", DRAWN)]),
        "channel_rim": (5, [("channel_rim", RENDERED), ("channel_rim_drawn", DRAWN)])}


def picture(inputs):
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    planes = [np.sin(0.1 * row * (k + 1) + 0.07 * column * (k + 2)) for k in range(inputs)]
    return np.stack(planes, -1)[None].astype(np.float32)


def main():
    learn.COMPUTED = jnp.float32
    kept = {}
    for name, (inputs, files) in NETS.items():
        posteriors = []
        for file, learn.CHANNELS in files:
            weights = learn.read(WEIGHTS / f"{file}.weights", inputs, learn.EDGE_HEADS)
            posteriors.append(np.exp(np.asarray(learn.log_posterior(weights, picture(inputs)), np.float64))[0])
        mean = np.log(np.mean(posteriors, 0))
        kept[name] = [{"row": r, "values": [round(float(v), 4) for v in mean[r]]} for r in (0, 21, 47)]
    learn.CHANNELS = RENDERED
    weights = learn.read(WEIGHTS / "places.weights", 4, learn.HEADS["places"])
    fine, _ = learn.features(weights, picture(4))
    maps = np.stack([np.asarray(learn.weighted(head, fine))[0] for head in weights["heads"]])
    kept["places"] = [{"row": r, "values": [round(float(v), 4) for v in maps[:, r].ravel()]} for r in (0, 21, 47)]
    out = dict(library="jax " + jax.__version__, nets=kept)
    pathlib.Path(__file__).with_suffix(".json").write_text(json.dumps(out) + "\n")


if __name__ == "__main__":
    main()
