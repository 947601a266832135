#!/usr/bin/env python3
"""What the outline's networks tell of a made-up picture by JAX, as reference for tests/accuracy/reference_net.rs.

Usage: net_jax.py    (pip install jax optax; writes net_jax.json beside this script)

Reads the stored weights, runs the network as tests/lab/training/learn.py describes it, and keeps some rows of the
logarithms of the probabilities.
"""

import json
import pathlib
import sys

import jax
import numpy as np

HERE = pathlib.Path(__file__).resolve().parent
sys.path.insert(0, str(HERE.parent / "lab/training"))
import learn  # noqa: E402

ROWS, COLUMNS = 48, 128


def main():
    row, column = np.mgrid[0:ROWS, 0:COLUMNS]
    record = {}
    for name, inputs in (("form", 8), ("channel_form", 8), ("rim", 5), ("channel_rim", 5)):
        picture = np.stack([np.sin(0.1 * row * (k + 1) + 0.07 * column * (k + 2)) for k in range(inputs)], -1)
        weights = learn.read(HERE.parents[1] / f"src/outline/learnt/{name}.weights", inputs)
        said = np.asarray(learn.log_posterior(weights, picture[None].astype(np.float32)))[0]
        record[name] = [{"row": r, "said": [round(float(v), 4) for v in said[r]]} for r in (0, 21, 47)]
    out = dict(library="jax " + jax.__version__, nets=record)
    pathlib.Path(__file__).with_suffix(".json").write_text(json.dumps(out) + "\n")


if __name__ == "__main__":
    main()
