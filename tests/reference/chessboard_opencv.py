#!/usr/bin/env python3
"""Corners of a chessboard and the camera that OpenCV finds from them, as reference for tests/accuracy/lens.rs.

Usage: chessboard_opencv.py SHARED_FOLDER    (pip install opencv-python-headless==5.*; writes chessboard_opencv.json
beside this script)

The photos are the thirteen of the left camera (real/chessboard-stereo/leftNN.jpg of the shared data) with 9 x 6 inner
corners, found and refined as the library's own test of its calibration does it: a window of 11 x 11 px, at most 30
turns, until a corner moves by less than 0.1 px. Corners are in pixels with the origin at the centre of the first one,
row by row of the board, squares of side 1. The camera is the library's least-squares fit to them, with both focal
lengths, the principal point and k1 k2 p1 p2 k3 free (`free`) and with one focal length (`square`); its standard
deviations are the library's own, in the same order.
"""

import json
import pathlib
import sys

import cv2
import numpy as np

COLUMNS, ROWS = 9, 6
WINDOW, TURNS, MOVED_PX = (5, 5), 30, 0.1


def corners_in(path):
    grey = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)
    found, corners = cv2.findChessboardCorners(grey, (COLUMNS, ROWS))
    assert found, path.name
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, TURNS, MOVED_PX)
    corners = cv2.cornerSubPix(grey, corners, WINDOW, (-1, -1), until)
    return grey.shape[::-1], np.round(corners.reshape(-1, 2).astype(float), 4)


def fitted(board, photos, size, flags, start):
    points = [board.astype(np.float32)] * len(photos)
    seen = [p.astype(np.float32)[:, None] for p in photos]
    until = (cv2.TERM_CRITERIA_EPS + cv2.TERM_CRITERIA_COUNT, 300, 1e-15)
    rms, k, d, _, _, spread, _, _ = cv2.calibrateCameraExtended(points, seen, size, start, None, flags=flags,
                                                                criteria=until)
    values = [k[0, 0], k[1, 1], k[0, 2], k[1, 2], *d.ravel()[:5]]
    return dict(rms_px=round(rms, 7), values=[round(float(v), 7) for v in values],
                u=[round(float(v), 7) for v in spread.ravel()[:9]])


def main():
    folder = pathlib.Path(sys.argv[1]) / "real/chessboard-stereo"
    photos = {}
    for path in sorted(folder.glob("left[0-9][0-9].jpg")):
        size, photos[path.stem] = corners_in(path)
    board = np.array([(x, y, 0) for y in range(ROWS) for x in range(COLUMNS)], float)
    seen = list(photos.values())
    start = np.array([[500.0, 0, 319.5], [0, 500, 239.5], [0, 0, 1]])
    out = dict(library="opencv-python-headless " + cv2.__version__, board=board[:, :2].astype(int).tolist(),
               free=fitted(board, seen, size, 0, None),
               square=fitted(board, seen, size, cv2.CALIB_FIX_ASPECT_RATIO | cv2.CALIB_USE_INTRINSIC_GUESS, start),
               photos={name: p.tolist() for name, p in photos.items()})
    text = json.dumps(out, separators=(",", ":")).replace('"left', '\n"left')
    pathlib.Path(__file__).with_suffix(".json").write_text(text + "\n")


if __name__ == "__main__":
    main()
