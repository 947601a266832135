#!/usr/bin/env python3
"""Mean colours of HEIC photos on an 8 x 8 grid, by another decoder, as reference for tests/library/photo_files.rs.

Usage: heic_pixels.py SHARED_FOLDER    (pip install pillow-heif; writes heic_pixels.json beside this script)

Pictures are upright (the container's rotation applied, EXIF orientation not applied again). A grid cell covers
columns i*width//8 to (i+1)*width//8 and rows likewise. Left out are files the other decoder refuses, pictures of less than 128 px a side (drawings whose
hard colour edges, a pixel wide, show how each decoder enlarges chroma rather than whether it is right), and a file
of which it takes another picture than the container's primary one.
"""

import json
import pathlib
import sys

import numpy
import PIL
import pillow_heif

GRID = 8
LEAST_SIDE_PX = 128


def grid_means(pixels):
    height, width, _ = pixels.shape
    cells = []
    for j in range(GRID):
        for i in range(GRID):
            cell = pixels[j * height // GRID:(j + 1) * height // GRID, i * width // GRID:(i + 1) * width // GRID]
            cells.append([round(float(v), 3) for v in cell.reshape(-1, 3).mean(axis=0)])
    return cells


def main():
    shared = pathlib.Path(sys.argv[1])
    files = {}
    for folder in ("real/heif", "real/exif/heic"):
        for path in sorted((shared / folder).rglob("*")):
            if path.suffix.lower() not in (".heic", ".heif", ".hif") or path.name == "200MP.heic":
                continue
            try:
                heif = pillow_heif.open_heif(path, convert_hdr_to_8bit=True)
                image = heif.to_pillow()
            except Exception as error:  # a broken file: nothing to compare
                print(f"{path.name}: left out ({error})")
                continue
            if min(image.size) < LEAST_SIDE_PX or not heif.info["primary"]:
                print(f"{path.name}: left out ({image.size}, primary {heif.info['primary']})")
                continue
            mode = image.mode
            pixels = numpy.asarray(image.convert("RGB"), dtype=numpy.float64)
            files[str(path.relative_to(shared))] = {
                "mode": mode, "width": image.width, "height": image.height, "grid": grid_means(pixels)}
    made_by = {"pillow-heif": pillow_heif.__version__, "libheif": pillow_heif.libheif_info()["libheif"],
               "pillow": PIL.__version__, "numpy": numpy.__version__}
    out = {"made_by": made_by, "grid": GRID, "files": files}
    target = pathlib.Path(__file__).with_name("heic_pixels.json")
    target.write_text(json.dumps(out, separators=(",", ":")).replace('"real/', '\n"real/') + "\n")


main()
