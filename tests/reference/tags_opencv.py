#!/usr/bin/env python3
"""Tags of family 36h11 in the shared photos by OpenCV's detector, as reference for tests/accuracy/real_tags.rs.

Usage: tags_opencv.py SHARED_FOLDER    (pip install opencv-python-headless==5.*; writes tags_opencv.json beside this
script)

Corners are in pixels of the upright photo (EXIF orientation applied), origin at the centre of the first pixel, in
the order top-left, top-right, bottom-right, bottom-left of the tag as OpenCV draws it.
"""

import json
import pathlib
import sys

import cv2


def main():
    photos = pathlib.Path(sys.argv[1]) / "photos"
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    detector = cv2.aruco.ArucoDetector(family, parameters)
    record = {}
    for path in sorted(photos.glob("*.jpg")):
        corners, ids, _ = detector.detectMarkers(cv2.imread(str(path), cv2.IMREAD_GRAYSCALE))
        record[path.name] = {str(i): [[round(float(v), 3) for v in p] for p in c[0]]
                             for i, c in sorted(zip(ids.ravel().tolist(), corners), key=lambda t: t[0])}
    out = dict(library="opencv-python-headless " + cv2.__version__, photos=record)
    pathlib.Path(__file__).with_suffix(".json").write_text(json.dumps(out) + "\n")


if __name__ == "__main__":
    main()
