"""Varies what the generator draws: forms between its forms, small seats, other leathers, mixed light, hidden edges.

`widen` replaces the generator's draws in one process. Each photo number draws its own variation, so the same number gives the
same photo. `UNSEEN_FORMS` are outside of every range that is drawn here; they are for examination only.
"""
import numpy as np

# Broad seats with a square cantle and long, evenly narrow ones: widest and waist in millimetres, share of the widest width near the cantle.
UNSEEN_FORMS = {
    "broad": dict(widest=(262, 300), waist=(70, 120), cantle=(0.88, 0.95), size=1.0),
    "slender": dict(widest=(150, 172), waist=(84, 110), cantle=(0.70, 0.85), size=1.0),
    "small": dict(widest=(178, 248), waist=(56, 104), cantle=(0.62, 0.82), size=0.70),
}
# What one form can lend another.
PARTS = (("L", "pos", "neg"), ("z", "dish"), ("notch",), ("flap",), ("crown",), ("puff", "seams"))


def chance(rng, p):
    return rng.uniform() < p


def scaled(p, size):
    """A smaller saddle of the same form."""
    p["L"] *= size
    for side in ("pos", "neg"):
        p[side] = [(t, h * size) for t, h in p[side]]
    if "notch" in p:
        p["notch"] = tuple(v * size for v in p["notch"])


def top_params(own, forms):
    def params(rng, form, kw):
        U, p = rng.uniform, own(rng, form, kw)
        if kw.get("unseen"):
            unseen = UNSEEN_FORMS[kw["unseen"]]
            p = own(rng, form, {**kw, "widest": U(*unseen["widest"]), "waist": U(*unseen["waist"])})
            share = U(*unseen["cantle"])
            for side in ("pos", "neg"):
                (t, h), (_, wide) = p[side][-1], p[side][-2]
                p[side][-1] = (t, wide * share)
            scaled(p, unseen["size"])
            return p
        if chance(rng, 0.4):
            other = own(rng, rng.choice(forms), kw)
            for keys in PARTS:
                if chance(rng, 0.4):
                    p.update({k: other[k] for k in keys if k in other})
        if chance(rng, 0.3):  # another front: from pointed to square
            front, waist = U(0.5, 1.0), p["pos"][1][1]
            head = (waist + U(-8, 24)) * front
            for side in ("pos", "neg"):
                p[side][0] = (p[side][0][0], max(head + rng.normal(0, 0.7), 12))
        if chance(rng, 0.2):
            scaled(p, U(0.78, 1.0))
        if chance(rng, 0.5):
            p["peek"] = U(-6, 26)
        if chance(rng, 0.25):
            p["insert"] = U(9, 44)
            p["insert_stitch"] = chance(rng, 0.5)
        if "puff" not in p and kw.get("edge", "cord") == "cord" and chance(rng, 0.4):
            p["r"] = U(1.4, 3.6)
        if chance(rng, 0.3):
            p["wobble"] = [(a * U(1, 2.5), n, s) for a, n, s in p["wobble"]]
            p["bend"] *= 2
        if chance(rng, 0.3):
            p["wrinkles"] = p["wrinkles"] + [(U(40, 400), U(0.8, 2.6), U(-0.9, 0.9), U(2, 8)) for _ in range(rng.integers(2, 7))]
        return p
    return params


def under_params(own):
    def params(rng, form, kw):
        U, p = rng.uniform, own(rng, form, kw)
        if chance(rng, 0.4):
            p["bulge"] = U(4, 15)
        if chance(rng, 0.4):
            p["peek"] = U(-6, 20)
        if kw.get("edge") == "cord" and chance(rng, 0.4):
            p["r"], p["rc"] = U(1.4, 3.6), U(1.2, 3.4)
        if chance(rng, 0.3):
            p["lumps"] = p["lumps"] + [(U(0.05, 0.95), U(0.15, 0.85), U(-3.5, 3.5), U(15, 70)) for _ in range(6)]
        return p
    return params


def leathers(rng, own):
    """The generator's colours, each somewhat different, a few quite."""
    out = {}
    for name, colour in own.items():
        c = np.array(colour) * np.exp(rng.normal(0, 0.25)) * np.exp(rng.normal(0, 0.10, 3))
        if chance(rng, 0.06):
            c = np.exp(rng.uniform(np.log(0.012), np.log(0.7))) * np.exp(rng.normal(0, 0.35, 3))
        out[name] = tuple(np.clip(c, 0.012, 0.8))
    return out


def light(rng, environment, other):
    """An environment mixed with another, tinted, softer or harder."""
    out = environment if chance(rng, 0.5) else environment[:, ::-1]
    if chance(rng, 0.4):
        turned = np.roll(other, rng.integers(other.shape[1]), axis=1)
        out = out + rng.uniform(0.1, 1.0) * turned * (out.mean() / turned.mean())
    if chance(rng, 0.4):
        level = np.maximum(out.mean(-1, keepdims=True), 1e-6)
        out = out * (level / level.mean()) ** rng.uniform(-0.3, 0.15)
    return out * np.exp(rng.normal(0, 0.10, 3))


def things_on_the_saddle(rng, spec):
    U = rng.uniform
    if chance(rng, 0.08):
        colour = rng.choice(["black", "brown", "tan", "white", "red", "navy"])
        spec["straps"] = spec.get("straps", []) + [dict(t=U(0.1, 0.9), slant=U(-0.4, 0.4), width=U(15, 45), color=str(colour))]
    if spec["view"] == "top" and chance(rng, 0.08):
        spec["hand_on"] = (U(0.1, 0.9), int(rng.choice([-1, 1])), U(-35, 25))


def one_leather(rng, spec):
    """Seat, cord and everything below of one leather, as on many saddles of one colour."""
    if spec.get("colors") and chance(rng, 0.2):
        for part in ("flap", "panel", "welt", "insert", "thread"):
            spec["colors"][part] = spec["colors"]["seat"]
        if chance(rng, 0.5):
            for part in ("flap", "panel", "insert"):
                spec["finish"][part] = spec["finish"]["seat"]


def widen(forms, scene):
    """Makes the generator draw varied forms. Returns what varies a spec and the generator's colours before a scene is built."""
    forms.top_params, forms.under_params = top_params(forms.top_params, forms.TOP), under_params(forms.under_params)
    colours = dict(scene.COL)

    def vary(spec, number):
        rng = np.random.default_rng([number, 17])
        scene.COL.update(leathers(rng, colours))
        if spec.get("saddle", True):
            things_on_the_saddle(rng, spec)
            one_leather(rng, spec)
        return rng
    return vary
