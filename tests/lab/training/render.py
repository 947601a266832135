#!/usr/bin/env python3
"""Renders photos with exact truth to train on: several photos of each random saddle.

Usage: render.py GENERATOR FIRST COUNT OUT [--views N] [--others] [--held-out] [--sets] [--workers N] [--seconds S] [--spp N]

GENERATOR is the folder of the path-traced generator (`random_specs.py` and what it needs). Scene i is `random_specs.spec(i)`, or
`other(i)` with --others: a photo without a saddle. Building a scene takes longer than rendering it, so each is
photographed N times: with its own camera, and with those of other specs. The truth files say which points of the edges
something hides, by rays from the camera. `variety.py` widens the generator's draws. Families that are kept for
examination (HELD_OUT, and the forms of variety.UNSEEN_FORMS) are passed over; with --held-out only those are rendered.
With --sets a scene is photographed as clients are asked to: from the rider's left, from the right, from above.
"""
import argparse
import multiprocessing as mp
import os
import sys
import time

HELD_OUT = {"hdr": {"kiara_1_dawn", "dancing_hall", "rooitou_park"}, "over": {"gravel"}}
HELD_OUT_FINISH = "pebble"
SIZES = [(1344, 1008), (1344, 1008), (2016, 1512), (1024, 768)]
# What belongs to the photographer and the phone, not to the scene.
CAMERA_KEYS = ("camera", "sensor", "jpeg", "max_mb", "white", "cast", "awb", "aperture", "messenger", "exif_blank", "orientation", "exposure", "iso")
# An occluder nearer than the top of the cord by this much hides it, mm.
HIDES_MM = 1.5


def is_held_out(spec):
    return (any(spec.get(key) in values for key, values in HELD_OUT.items())
            or spec.get("finish", {}).get("seat") == HELD_OUT_FINISH or "unseen" in spec.get("saddle_kw", {}))


NOISES = 3  # fields of noise of one kind that a process keeps
COARSE_PX = 8  # steps at which the lens is inverted


def faster(textures, camera, saddle):
    """The generator's noise from few fields, turned and shifted; its lens inverted on a coarse grid (to 0.01 px); its points
    shaken by a micrometre, since triangulating regular ones takes seconds."""
    import cv2
    import numpy as np
    import scipy.fft as fft

    def wrapblur(a, s):
        sy, sx = (s, s) if np.isscalar(s) else s
        fy = np.fft.fftfreq(a.shape[0]).astype(np.float32)[:, None]
        fx = np.fft.rfftfreq(a.shape[1]).astype(np.float32)[None]
        g = np.exp(-2 * np.pi ** 2 * (sy * fy) ** 2) * np.exp(-2 * np.pi ** 2 * (sx * fx) ** 2)
        return fft.irfft2(fft.rfft2(a.astype(np.float32)) * g, s=a.shape).astype(np.float32)

    def noise(rng, shape, s):
        kept = fields.setdefault((shape, round(float(s), 3)), [])
        if len(kept) < NOISES:
            n = wrapblur(rng.standard_normal(shape, dtype=np.float32), s)
            kept.append(n / n.std())
            return kept[-1]
        field = kept[rng.integers(NOISES)][::rng.choice([-1, 1]), ::rng.choice([-1, 1])]
        return np.roll(field, tuple(rng.integers(shape)), (0, 1)) * rng.choice([np.float32(-1), np.float32(1)])

    def undistort_grid(cam, step=1):
        rows, columns = cam.H // COARSE_PX + 2, cam.W // COARSE_PX + 2
        coarse = type("Coarse", (), dict(W=columns, H=rows, fx=cam.fx / COARSE_PX, fy=cam.fy / COARSE_PX, cx=cam.cx / COARSE_PX,
                                         cy=cam.cy / COARSE_PX, dist=cam.dist))
        at = np.meshgrid(np.arange(cam.W, dtype=np.float32) / COARSE_PX, np.arange(cam.H, dtype=np.float32) / COARSE_PX)
        return tuple(cv2.remap(c.astype(np.float32), *at, cv2.INTER_LINEAR) for c in exact(coarse))

    def interpolator(points, values):
        return on_triangles(points + np.random.default_rng(0).normal(0, 1e-3, points.shape), values)

    fields, exact, on_triangles = {}, camera.undistort_grid, saddle.LinearNDInterpolator
    saddle.LinearNDInterpolator = interpolator
    textures.wrapblur, textures.noise, camera.undistort_grid = wrapblur, noise, undistort_grid


def mixed_light(mi, built, rng, textures, lights, variety):
    """The scene's environment, mixed with another of those that are trained on."""
    import cv2
    import numpy as np
    own = np.array(built.d["env"]["bitmap"])
    path = os.path.join(textures.ASSETS, "hdri", f"{rng.choice(sorted(set(lights) - HELD_OUT['hdr']))}_1k.hdr")
    other = cv2.resize(cv2.imread(path, cv2.IMREAD_UNCHANGED)[..., ::-1], own.shape[1::-1], interpolation=cv2.INTER_AREA)
    built.d["env"]["bitmap"] = mi.Bitmap(np.ascontiguousarray(variety.light(rng, own, other), np.float32))


def aimed(scene, spec, want):
    """A camera that has everything wanted in its frame, as the generator aims."""
    import numpy as np
    cs = spec["camera"]
    W, H = cs["size"]
    tilt, az = np.radians(cs["tilt"]), np.radians(cs["az"])
    back = np.array([np.sin(tilt) * np.cos(az), np.sin(tilt) * np.sin(az), np.cos(tilt)])
    across = np.array([-np.sin(az), np.cos(az), 0.0])
    R = scene.rz(cs["roll"]) @ np.stack([across, np.cross(-back, across), -back])
    aim, distance = want.mean(0), cs["dist"]
    aim[2] = min(max(aim[2], 0), 40)

    def camera():
        return scene.Camera(W, H, cs["f35"], cs.get("cxo", 0), cs.get("cyo", 0), cs["dist5"], R, -R @ (aim + back * distance))

    for turn in range(60):
        cam = camera()
        px = cam.project(want)
        low, high = px.min(0), px.max(0)
        off = (low + high) / 2 - [(W - 1) / 2, (H - 1) / 2]
        aim = aim + R.T @ np.array([off[0] / cam.fx * distance, off[1] / cam.fy * distance, 0]) * 0.8
        if turn > 8 and ((high - low) > np.array([W, H]) * cs.get("fill", 0.92)).any():
            distance *= 1.01
    return camera()


def hidden_points(mi, scene, truth, camera):
    """Which points of each edge something hides: rays from the camera to the top of the cord."""
    import numpy as np
    eye = -camera.R.T @ camera.tv
    out = {}
    for part, radius in truth["welt_radius_mm"].items():
        pair = truth["edges"][part]
        if not pair:
            continue
        left, right = (np.array(pair[side]) for side in ("left", "right"))
        inwards = right - left if part == "seat" else left - right
        out[part] = {}
        for side, points, sign in (("left", left, 1), ("right", right, -1)):
            n = sign * inwards[:, :2]
            n = n / (np.linalg.norm(n, axis=1, keepdims=True) + 1e-9)
            top = points + np.concatenate([radius * n, np.full((len(n), 1), radius)], 1)
            away = top - eye
            far = np.linalg.norm(away, axis=1)
            ray = mi.Ray3f(mi.Point3f(*np.repeat(eye[:, None], len(top), 1).astype(np.float32)),
                           mi.Vector3f(*(away / far[:, None]).T.astype(np.float32)))
            met = np.array(scene.ray_intersect_preliminary(ray).t)
            out[part][side] = [bool(v) for v in met < far - HIDES_MM]
    return out


def work(job):
    i, a, end = job
    if time.time() > end:
        return 0
    os.environ.setdefault("MI_VARIANT", "llvm_ad_rgb")
    os.environ["DENOISE"] = "0"
    sys.path.insert(0, a.generator)
    import json
    import tempfile
    import numpy as np
    import camera as CM
    import forms
    import make
    import mitsuba as mi
    import random_specs
    import saddle as saddle_forms
    import scene as SC
    import textures
    import truth as TR
    import variety
    if not hasattr(work, "ready"):
        faster(textures, CM, saddle_forms)
        work.vary = variety.widen(forms, SC)
        make.debug = lambda *_: None
        make.check_tags = lambda *_: (0, 0, None, None, [])
        work.ready, work.build, work.truth = True, SC.build, TR.truth
    draw = random_specs.other if a.others else random_specs.spec
    size = SIZES[i % len(SIZES)]
    specs = random_specs.photo_set(i, a.views, size) if a.sets else [draw(i, size, prefix="n" if a.others else "r")]
    spec = specs[0]
    if a.held_out and spec["view"] == "top" and i % 2:
        spec["saddle_kw"]["unseen"] = list(variety.UNSEEN_FORMS)[i // 2 % len(variety.UNSEEN_FORMS)]
    if not a.sets and is_held_out(spec) != a.held_out or os.path.exists(os.path.join(a.out, spec.get("pair", spec["name"]) + "-a.truth.json")):
        return 0
    rng = work.vary(spec, i)
    try:
        with tempfile.TemporaryDirectory() as folder:
            built, saddle, own, place = work.build(json.loads(json.dumps(spec)), folder)
            # Whoever holds the phone stands elsewhere in the next photo.
            person = [k for k, v in built.d.items() if isinstance(v, dict) and v.get("bsdf", {}).get("id") == "person"]
            for key in person:
                del built.d[key]
            mixed_light(mi, built, rng, textures, random_specs.HDRIS, variety)
            built.d["integrator"] = {"type": "path", "max_depth": 3, "rr_depth": 3}
            loaded = mi.load_dict(built.d)
        want = wanted(SC, textures, spec, saddle, place)
        done = 0
        for view in range(a.views):
            one = json.loads(json.dumps(specs[view if a.sets else 0]))
            camera = own
            if a.sets and view:
                camera = aimed(SC, one, want.copy())
            elif view:
                other = draw(5_000_000 + 10 * i + view, SIZES[(i + view) % len(SIZES)])
                for key in CAMERA_KEYS:
                    one.pop(key, None)
                    if key in other:
                        one[key] = json.loads(json.dumps(other[key]))
                camera = aimed(SC, one, want.copy())
            one["name"] = f"{spec.get('pair', spec['name'])}-{'abcdef'[view]}"
            one["seed"] += 17 * view

            def render(_built, cam, spp, seed=0, **_):
                frame = SC.pinhole_for(cam)
                sensor = mi.load_dict(SC.sensor(cam, frame, spp))
                image = np.array(mi.render(loaded, sensor=sensor, spp=spp, seed=seed * 1000))
                return np.nan_to_num(image[..., :3]), None, None, frame

            def truth(*given):
                out = work.truth(*given)
                if out.get("edges"):
                    out["hidden"] = hidden_points(mi, loaded, out, camera)
                return out

            SC.build, SC.render, TR.truth = lambda *_: (built, saddle, camera, place), render, truth
            with open(os.devnull, "w") as nothing:
                keep, sys.stdout = sys.stdout, nothing
                try:
                    make.one(one, a.out, a.log, 1.0, a.spp)
                finally:
                    sys.stdout = keep
            done += 1
        return done
    except Exception as e:
        print(f"{spec['name']}: {type(e).__name__}: {str(e)[:200]}", file=sys.stderr, flush=True)
        return 0


def wanted(SC, textures, spec, saddle, place):
    """Corners of the cards and points of the seat's edges, in the world."""
    import numpy as np
    points = []
    for card in spec["cards"]:
        _, (w, h), _ = textures.card_layout(card["pattern"], card["copy"], card.get("paper", "A4"))
        R, t = SC.card_pose(card)
        corners = np.array([[x, y, 0] for x in (-w / 2 - 8, w / 2 + 8) for y in (-h / 2 - 8, h / 2 + 8)])
        points.append(corners @ R.T + t)
    if saddle is not None:
        edges = saddle.edges_local()["seat"]
        points += [edges[side][::40] @ place[0].T + place[1] for side in (1, -1)]
    extra = spec["camera"].get("want_extra")
    return np.concatenate(points + ([np.array(extra, float)] if extra else []))


if __name__ == "__main__":
    ap = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    ap.add_argument("generator"); ap.add_argument("first", type=int); ap.add_argument("count", type=int); ap.add_argument("out")
    ap.add_argument("--views", type=int, default=3); ap.add_argument("--others", action="store_true"); ap.add_argument("--held-out", action="store_true")
    ap.add_argument("--sets", action="store_true")
    ap.add_argument("--workers", type=int, default=os.cpu_count()); ap.add_argument("--seconds", type=float, default=1e9)
    ap.add_argument("--spp", type=int, default=16); ap.add_argument("--log", default="/dev/shm/render-log")
    a = ap.parse_args()
    os.makedirs(a.out, exist_ok=True)
    begun = time.time()
    jobs = [(i, a, begun + a.seconds) for i in range(a.first, a.first + a.count)]
    with mp.get_context("spawn").Pool(a.workers) as pool:
        done = sum(pool.imap_unordered(work, jobs))
    print(f"{done} photos in {time.time() - begun:.0f} s")
