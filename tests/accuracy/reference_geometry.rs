//! Homographies, poses and distortion against another library's values (tests/reference/geometry_opencv.py), and
//! homographies of published corner data (Z. Zhang 1998, from the shared data).

use crate::shared::shared_folder as shared;
use nalgebra::{Matrix3, Vector2, Vector3};
use seatspan::camera::fit::fit_camera;
use seatspan::camera::lens::Lens;
use seatspan::camera::parameter::{BundleParameter, PoseParameter};
use seatspan::camera::prior::LensPrior;
use seatspan::camera::target::TargetView;
use seatspan::card::side::Observation;
use seatspan::numeric::frame::{CardPoint, IdealPoint, PhotoPoint};
use seatspan::numeric::homography::{apply, homography};
use serde::Deserialize;

#[derive(Deserialize)]
struct Reference {
    homographies: Vec<PlaneMap>,
    poses: Vec<PlanePose>,
    lenses: Vec<LensPoints>,
}

#[derive(Deserialize)]
struct PlaneMap {
    noise_px: f64,
    source: Vec<[f64; 2]>,
    target: Vec<[f64; 2]>,
    h: [[f64; 3]; 3],
}

#[derive(Deserialize)]
struct PlanePose {
    noise_px: f64,
    focal_px: f64,
    cx_px: f64,
    cy_px: f64,
    distortion: [f64; 5],
    tilt_deg: f64,
    plane: Vec<[f64; 3]>,
    photo: Vec<[f64; 2]>,
    rotation: [[f64; 3]; 3],
    translation_mm: [f64; 3],
}

#[derive(Deserialize)]
struct LensPoints {
    focal_px: f64,
    cx_px: f64,
    cy_px: f64,
    distortion: [f64; 5],
    ideal: Vec<[f64; 2]>,
    photo_of_ideal: Vec<[f64; 2]>,
    photo: Vec<[f64; 2]>,
    ideal_of_photo: Vec<[f64; 2]>,
}

fn reference() -> Reference {
    serde_json::from_str(include_str!("../reference/geometry_opencv.json")).unwrap()
}

fn matrix(rows: &[[f64; 3]; 3]) -> Matrix3<f64> {
    Matrix3::from_fn(|i, j| rows[i][j])
}

fn lens(focal_px: f64, cx_px: f64, cy_px: f64, distortion: [f64; 5]) -> Lens {
    Lens { focal_px, cx_px, cy_px, distortion }
}

#[test]
fn homographies_agree() {
    for map in reference().homographies {
        let pairs: Vec<_> =
            map.source.iter().zip(&map.target).map(|(a, b)| (Vector2::from(*a), Vector2::from(*b))).collect();
        let (ours, theirs) = (homography(&pairs).unwrap(), matrix(&map.h));
        let apart = pairs
            .iter()
            .map(|(p, _)| (apply(&ours, *p).unwrap() - apply(&theirs, *p).unwrap()).norm())
            .fold(0.0, f64::max);
        println!("noise {} px: {apart:.2e} px apart at most", map.noise_px);
        if map.noise_px == 0.0 {
            assert!((ours - theirs).norm() < 1e-6 * theirs.norm());
        }
        // Of noisy points the other library minimises the distance in the photo, this one the algebraic one: they
        // differ by less than the noise of one point.
        // It also rounds its input to single precision, 1.2e-4 px at 2000 px.
        assert!(apart < map.noise_px.max(1.2e-4), "{apart} px");
    }
}

#[test]
fn distortion_agrees_both_ways() {
    for set in reference().lenses {
        let lens = lens(set.focal_px, set.cx_px, set.cy_px, set.distortion);
        for (ideal, photo) in set.ideal.iter().zip(&set.photo_of_ideal) {
            let p = lens.photo_from_ideal(IdealPoint { x: ideal[0], y: ideal[1] });
            assert!(p.distance_px(PhotoPoint::new(photo[0], photo[1])) < 1e-6, "{ideal:?}");
        }
        for (photo, ideal) in set.photo.iter().zip(&set.ideal_of_photo) {
            let p = lens.ideal_from_photo(PhotoPoint::new(photo[0], photo[1])).unwrap();
            // Relative to the picture of size 1; the other library iterates to 1e-15.
            assert!((p.x - ideal[0]).hypot(p.y - ideal[1]) < 1e-6, "{photo:?}");
        }
    }
}

/// The outline's corners as observations in x and y: each is one point seen across two directions.
fn observations(pose: &PlanePose, u_px: f64) -> Vec<Observation> {
    pose.plane
        .iter()
        .zip(&pose.photo)
        .flat_map(|(on_card, seen)| {
            [Vector2::x(), Vector2::y()].map(|across| Observation {
                on_target: CardPoint::new(on_card[0], on_card[1], on_card[2]),
                measured: PhotoPoint::new(seen[0], seen[1]),
                across,
                u_px,
                tag: 0,
            })
        })
        .collect()
}

#[test]
fn poses_agree() {
    for pose in reference().poses {
        let pairs: Vec<_> = pose
            .plane
            .iter()
            .zip(&pose.photo)
            .map(|(a, b)| (Vector2::new(a[0], a[1]), Vector2::from(*b)))
            .collect();
        let card = TargetView {
            halves_mm: [125.0, 90.0],
            photo_from_target: homography(&pairs).unwrap(),
            observations: observations(&pose, pose.noise_px.max(0.01)),
        };
        // A lens known to a part in 1e9 leaves the pose (and a bow, which is fitted with it).
        let prior = LensPrior {
            mean: lens(pose.focal_px, pose.cx_px, pose.cy_px, pose.distortion),
            focal_relative_u: 1e-9,
            principal_u_px: 1e-6,
            distortion_u: [1e-9; 5],
            covariance: None,
        };
        let fit = fit_camera(&prior, &[card]).unwrap();
        // Of two near rotations the matrices differ by the angle times the root of 2.
        let turn = (fit.camera.pose.rotation.matrix() - matrix(&pose.rotation)).norm() / 2f64.sqrt();
        let theirs = Vector3::from(pose.translation_mm);
        let shift = (fit.camera.pose.translation_mm - theirs).norm() / theirs.norm();
        println!(
            "noise {} px, {} deg: turn {:.2e} rad, shift {shift:.2e}",
            pose.noise_px, pose.tilt_deg, turn
        );
        if pose.noise_px == 0.0 {
            assert!(turn < 1e-6 && shift < 1e-6, "turn {:.2e}, shift {shift:.2e}", turn);
        } else {
            // Both answers lie within the noise of the truth; this one also fits a bow, which near the vertical is
            // nearly a tilt: 4 standard uncertainties of its own.
            let is_pose = |p: &BundleParameter| matches!(p, BundleParameter::Pose { .. });
            let at = fit.parameters().iter().position(is_pose).unwrap();
            let u_turn = (0..3).map(|i| fit.estimate.u(at + i).powi(2)).sum::<f64>().sqrt();
            let u_shift = fit.estimate.u(at + PoseParameter::Distance as usize).hypot(u_turn);
            assert!(turn < 4.0 * u_turn, "{:.2e} rad, u {u_turn:.2e}", turn);
            assert!(shift < 4.0 * u_shift, "{shift:.2e}, u {u_shift:.2e}");
        }
    }
}

#[test]
fn published_corners_give_the_known_homographies() {
    let Some(shared) = shared() else { return };
    let numbers = |name: &str| -> Vec<Vector2<f64>> {
        let text = std::fs::read_to_string(shared.join("data/zhang1998").join(name)).unwrap();
        let all: Vec<f64> = text.split_whitespace().map(|w| w.parse().unwrap()).collect();
        all.chunks(2).map(Vector2::from_column_slice).collect()
    };
    let model = numbers("Model.txt");
    assert_eq!(model.len(), 256);
    // RMS per point of the normalised linear solution, computed from the same files by an independent script.
    for (image, expected) in (1..).zip([1.2194, 1.2469, 1.1614, 1.0603, 0.7884]) {
        let pairs: Vec<_> = model.iter().copied().zip(numbers(&format!("data{image}.txt"))).collect();
        let h = homography(&pairs).unwrap();
        let square: f64 = pairs.iter().map(|(p, q)| (apply(&h, *p).unwrap() - q).norm_squared()).sum();
        let rms = (square / pairs.len() as f64).sqrt();
        println!("image {image}: {rms:.4} px");
        // The reference is given to four decimals.
        assert!((rms - expected).abs() < 1e-4, "image {image}: {rms} px");
    }
}
