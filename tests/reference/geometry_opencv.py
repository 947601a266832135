#!/usr/bin/env python3
"""Homographies, plane poses and lens distortion by OpenCV, as reference for tests/accuracy/reference_geometry.rs.

Usage: geometry_opencv.py    (pip install opencv-python-headless==5.*; writes geometry_opencv.json beside this script)

Everything is drawn from a fixed seed. Points are rows of two or three numbers; poses are OpenCV's: x right, y down,
z forward, x_camera = R x_plane + t. Noisy points carry white noise of the given standard deviation in each
coordinate.
"""

import json
import pathlib

import cv2
import numpy as np

NOISE_PX = 0.05
CAMERAS = [
    # focal, cx, cy, k1 k2 p1 p2 k3
    (3029.0, 2015.5, 1511.5, [0.0, 0.0, 0.0, 0.0, 0.0]),
    (3029.0, 2030.1, 1497.2, [-0.061, 0.014, 0.0006, -0.0004, 0.0]),
    (1180.0, 799.5, 599.5, [0.08, -0.03, -0.001, 0.0007, 0.004]),
    (2200.0, 1500.0, 2010.0, [-0.12, 0.05, 0.0, 0.0, -0.01]),
]
# tilt and turn in degrees, distance in mm, place of the plane's origin in the picture (fractions of half its size)
POSES = [(2, 10, 900, 0.1, -0.1), (15, 130, 1100, -0.3, 0.2), (30, 250, 700, 0.2, 0.3), (45, 40, 1000, 0.0, -0.2),
         (58, 320, 800, -0.1, 0.1)]


def matrix(focal, cx, cy):
    return np.array([[focal, 0.0, cx], [0.0, focal, cy], [0.0, 0.0, 1.0]])


def pose(focal, cx, cy, tilt, turn, distance, at_x, at_y):
    down = np.diag([1.0, -1.0, -1.0])
    about_z, _ = cv2.Rodrigues(np.array([0.0, 0.0, np.radians(turn)]))
    axis = np.array([np.cos(np.radians(turn / 2)), np.sin(np.radians(turn / 2)), 0.0])
    tilted, _ = cv2.Rodrigues(np.radians(tilt) * axis)
    sight = np.array([at_x * 0.6 * cx / focal, at_y * 0.6 * cy / focal, 1.0])
    return tilted @ down @ about_z, distance * sight


def plane_points():
    """Outlines of squares spread over 250 x 180 mm: corners in order."""
    squares = []
    for left, top in [(-125, 90), (-45, 90), (85, 90), (-125, -50), (0, 10), (85, -50)]:
        squares += [(left, top), (left + 40, top), (left + 40, top - 40), (left, top - 40)]
    return np.array([(x, y, 0.0) for x, y in squares], float)


def homographies(random):
    out = []
    points = plane_points()
    for (focal, cx, cy, _), view in zip(CAMERAS, POSES):
        r, t = pose(focal, cx, cy, *view)
        seen, _ = cv2.projectPoints(points, cv2.Rodrigues(r)[0], t, matrix(focal, cx, cy), None)
        for noise in (0.0, NOISE_PX):
            to = seen[:, 0] + noise * random.standard_normal(seen[:, 0].shape)
            h, _ = cv2.findHomography(points[:, :2], to, 0)
            rows = dict(noise_px=noise, source=points[:, :2].tolist(), target=to.tolist(), h=h.tolist())
            out.append(rows)
    return out


def poses(random):
    out = []
    points = plane_points()
    for focal, cx, cy, distortion in CAMERAS:
        k, d = matrix(focal, cx, cy), np.array(distortion)
        for view in POSES:
            r, t = pose(focal, cx, cy, *view)
            seen, _ = cv2.projectPoints(points, cv2.Rodrigues(r)[0], t, k, d)
            for noise in (0.0, NOISE_PX):
                to = seen[:, 0] + noise * random.standard_normal(seen[:, 0].shape)
                count, rvecs, tvecs, _ = cv2.solvePnPGeneric(points, to, k, d, flags=cv2.SOLVEPNP_IPPE)
                assert count >= 1
                criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 200, 1e-14)
                rvec, tvec = cv2.solvePnPRefineLM(points, to, k, d, rvecs[0], tvecs[0], criteria)
                out.append(dict(noise_px=noise, focal_px=focal, cx_px=cx, cy_px=cy, distortion=distortion,
                                tilt_deg=view[0], plane=points.tolist(), photo=to.tolist(),
                                rotation=cv2.Rodrigues(rvec)[0].tolist(), translation_mm=tvec.ravel().tolist()))
    return out


def lenses(random):
    out = []
    for focal, cx, cy, distortion in CAMERAS:
        k, d = matrix(focal, cx, cy), np.array(distortion)
        ideal = random.uniform(-1.0, 1.0, (40, 2)) * [0.6 * cx / focal, 0.6 * cy / focal] * 1.5
        seen, _ = cv2.projectPoints(np.c_[ideal, np.ones(40)], np.zeros(3), np.zeros(3), k, d)
        pixels = random.uniform(0.0, 2.0, (40, 2)) * [cx, cy]
        criteria = (cv2.TERM_CRITERIA_COUNT + cv2.TERM_CRITERIA_EPS, 500, 1e-15)
        back = cv2.undistortPointsIter(pixels[:, None], k, d, np.eye(3), np.eye(3), criteria) \
            if hasattr(cv2, "undistortPointsIter") else cv2.undistortPoints(pixels[:, None], k, d, criteria=criteria)
        out.append(dict(focal_px=focal, cx_px=cx, cy_px=cy, distortion=distortion, ideal=ideal.tolist(),
                        photo_of_ideal=seen[:, 0].tolist(), photo=pixels.tolist(),
                        ideal_of_photo=back[:, 0].tolist()))
    return out


def main():
    random = np.random.default_rng(20260)
    record = dict(library="opencv-python-headless " + cv2.__version__, numpy=np.__version__,
                  homographies=homographies(random), poses=poses(random), lenses=lenses(random))
    target = pathlib.Path(__file__).with_suffix(".json")
    target.write_text(json.dumps(record) + "\n")


if __name__ == "__main__":
    main()
