//! Lens files: the calibration of one phone's lens as a small TOML file. Coordinates are those of the picture as the
//! camera stores it, before the EXIF orientation is applied, so that one file serves a phone however it is held.

use std::path::{Path, PathBuf};

use nalgebra::{Matrix2, Matrix3, Vector2, Vector3};
use serde::{Deserialize, Serialize};

use super::calibrate::phone::PhoneLens;
use super::lens::Lens;
use super::prior::{FOCAL_CHANGE_U, LensCovariance, LensPrior};
use crate::numeric::file::FileError;
use crate::photo::Photo;

/// Name and version of the format.
pub const SCHEMA: &str = "seatspan-lens/1";

/// A calibrated lens. Lengths are pixels of a photo of the stated size; distortion is `k1 k2 p1 p2 k3`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct LensFile {
    /// `seatspan-lens/1`.
    pub schema: String,
    /// Maker of the camera.
    pub make: Option<String>,
    /// Model of the camera.
    pub model: Option<String>,
    /// Focal length in the camera's data, mm, which identifies one of its lenses.
    #[serde(default)]
    pub focal_mm: Option<f64>,
    /// Width of the photos it was made from.
    pub width_px: u32,
    /// Height of the photos it was made from.
    pub height_px: u32,
    /// Focal length.
    pub focal_px: f64,
    /// Its standard uncertainty.
    pub focal_u_px: f64,
    /// Principal point.
    pub principal_px: [f64; 2],
    /// Its standard uncertainties.
    pub principal_u_px: [f64; 2],
    /// Distortion.
    pub distortion: [f64; 5],
    /// Its standard uncertainties.
    pub distortion_u: [f64; 5],
    /// Correlation of focal length, principal point (x, y) and `k1 k2 p1 p2 k3`, row by row; none when left out.
    #[serde(default)]
    pub correlation: Option<[[f64; 8]; 8]>,
    /// Mean distance of the card from the camera, at which it was focused, mm.
    #[serde(default)]
    pub distance_mm: Option<f64>,
    /// Number of views of the card.
    #[serde(default)]
    pub views: Option<u32>,
    /// Root mean square of what the lens does not explain, pixels.
    #[serde(default)]
    pub rms_px: Option<f64>,
    /// Number of terms of distortion that the views support.
    #[serde(default)]
    pub terms: Option<u32>,
    /// Part of the frame that the views cover.
    #[serde(default)]
    pub covered: Option<f64>,
}

/// Reason for which a lens file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LensFileError {
    /// The file could not be read.
    #[error("lens file {0}")]
    Read(FileError),
    /// The text is no lens file.
    #[error("lens file {0}: {1}; calibrate the camera again")]
    Parse(String, String),
    /// The photo cannot be from this lens at this size.
    #[error(
        "lens file {0} is for photos of {1} x {2} px, which is another shape than this photo's {3} x {4} px; \
         use a lens file of this camera in this mode"
    )]
    Shape(String, u32, u32, usize, usize),
    /// The photo is from another camera or another of its lenses.
    #[error("lens file {0} is of another camera: {1}; use a lens file of this camera, or a folder of them")]
    Camera(String, String),
    /// Two files of one folder serve.
    #[error("{0} and {1} are of one camera; give one of them with --lens")]
    TwoServe(String, String),
}

/// Focal lengths in a camera's data within this part of one another are one lens.
const SAME_FOCAL: f64 = 0.01;
/// Usual distance of the card from the camera in photos of saddles, mm.
const SADDLE_DISTANCE_MM: f64 = 1200.0;
/// Least distance of a calibration that does not state its own, mm (stated assumption).
const NEAREST_CALIBRATION_MM: f64 = 300.0;
/// Focal length of a phone's main lens without that data, mm (common practice, no source).
const USUAL_FOCAL_MM: f64 = 5.0;

impl LensFile {
    /// The file of a calibrated lens, with the camera's data from the photos.
    pub fn of(found: &PhoneLens, photo: &Photo) -> Self {
        let exif = photo.exif();
        let [width, height] = photo.stored_size_px();
        let (lens, covariance) = (&found.lens, &found.covariance);
        let u = |i: usize| covariance[(i, i)].sqrt();
        let correlation =
            std::array::from_fn(|i| std::array::from_fn(|j| rounded(covariance[(i, j)] / u(i) / u(j), 9)));
        Self {
            schema: SCHEMA.into(),
            make: exif.make.clone(),
            model: exif.model.clone(),
            focal_mm: exif.focal_mm,
            width_px: width as u32,
            height_px: height as u32,
            focal_px: rounded(lens.focal_px, 4),
            focal_u_px: rounded(lens.focal_px * u(0), 6),
            principal_px: [lens.cx_px, lens.cy_px].map(|v| rounded(v, 4)),
            principal_u_px: [u(1), u(2)].map(|v| rounded(v, 6)),
            distortion: lens.distortion.map(|v| rounded(v, 9)),
            distortion_u: [3, 4, 5, 6, 7].map(|i| rounded(u(i), 10)),
            correlation: Some(correlation),
            distance_mm: Some(rounded(found.distance_mm(), 1)),
            views: Some(found.calibration.poses.len() as u32),
            rms_px: Some(rounded(found.calibration.rms_px, 4)),
            terms: Some(found.terms as u32),
            covered: Some(rounded(found.coverage.cells, 3)),
        }
    }

    /// The file's text.
    ///
    /// # Errors
    /// Where it cannot be written as TOML.
    pub fn text(&self) -> Result<String, toml::ser::Error> {
        toml::to_string(self)
    }

    /// Reads a lens file.
    ///
    /// # Errors
    /// [`LensFileError`] in one line.
    pub fn read(path: &Path) -> Result<Self, LensFileError> {
        let name = path.display().to_string();
        let text =
            std::fs::read_to_string(path).map_err(|e| LensFileError::Read(FileError::from_io(path, &e)))?;
        let lens: Self = toml::from_str(&text)
            .map_err(|e| LensFileError::Parse(name.clone(), e.message().replace('\n', " ")))?;
        lens.checked().map_err(|what| LensFileError::Parse(name, what))
    }

    /// The lens file of a photo's camera among those of a folder, with its path; none where none is.
    ///
    /// # Errors
    /// A folder or a lens file that cannot be read, or two that serve.
    pub fn find(folder: &Path, photo: &Photo) -> Result<Option<(Self, PathBuf)>, LensFileError> {
        let mut found: Option<(Self, PathBuf)> = None;
        for path in Self::all_in(folder)? {
            let lens = Self::read(&path)?;
            if !lens.is_of(photo) {
                continue;
            }
            if let Some((_, other)) = &found {
                let [a, b] = [other, &path].map(|p| p.display().to_string());
                return Err(LensFileError::TwoServe(a, b));
            }
            found = Some((lens, path));
        }
        Ok(found)
    }

    /// The lens files of a folder, by their names. Other TOML files may lie beside: only what says that it is a lens file
    /// must be one.
    ///
    /// # Errors
    /// A folder that cannot be read.
    pub fn all_in(folder: &Path) -> Result<Vec<PathBuf>, LensFileError> {
        let unread = |e: std::io::Error| LensFileError::Read(FileError::from_io(folder, &e));
        let mut paths = Vec::new();
        for entry in std::fs::read_dir(folder).map_err(unread)? {
            let path = entry.map_err(unread)?.path();
            if path.extension().is_some_and(|e| e == "toml") && says_lens(&path)? {
                paths.push(path);
            }
        }
        paths.sort();
        Ok(paths)
    }

    /// Whether the photo's data names this camera and lens, in a picture of this shape.
    fn is_of(&self, photo: &Photo) -> bool {
        let exif = photo.exif();
        let named = exif.model.is_some() && self.model.is_some();
        let [w, h] = photo.stored_size_px();
        named && self.other_camera(photo).is_none() && self.scale_to(w, h).is_some()
    }

    /// A contradiction between the photo's data and this lens; none where the photo has no data.
    fn other_camera(&self, photo: &Photo) -> Option<String> {
        let exif = photo.exif();
        let named = [(&self.make, &exif.make), (&self.model, &exif.model)];
        let name = named.iter().find_map(|(own, other)| match (own, other) {
            (Some(own), Some(other)) if own != other => {
                Some(format!("'{own}', and this photo's is '{other}'"))
            }
            _ => None,
        });
        name.or_else(|| {
            let (own, other) = (self.focal_mm?, exif.focal_mm?);
            ((own / other - 1.0).abs() > SAME_FOCAL)
                .then(|| format!("its lens is one of {own:.2} mm, and this photo's of {other:.2} mm"))
        })
    }

    fn checked(self) -> Result<Self, String> {
        if self.schema != SCHEMA {
            return Err(format!("its schema is '{}', and this program reads {SCHEMA}", self.schema));
        }
        let positive = [self.focal_px, self.focal_u_px]
            .into_iter()
            .chain(self.principal_u_px)
            .chain(self.distance_mm)
            .chain(self.focal_mm)
            .all(|v| v.is_finite() && v > 0.0);
        let finite = self.principal_px.into_iter().chain(self.distortion).all(f64::is_finite);
        let known = self.distortion_u.into_iter().all(|v| v.is_finite() && v >= 0.0);
        let sane = positive && finite && known && self.width_px > 0 && self.height_px > 0;
        if !sane {
            return Err("a number in it is missing its sense (not finite, or not positive)".into());
        }
        let together = self.correlation.is_none() || self.covariance(1.0).cholesky().is_some();
        if together { Ok(self) } else { Err("its correlations contradict one another".into()) }
    }

    /// Covariance for photos `scale` times as large. A term that is stated to be exact is given a millionth.
    fn covariance(&self, scale: f64) -> LensCovariance {
        let k = self.distortion_u.map(|u| u.max(1e-6));
        let [cx, cy] = self.principal_u_px.map(|u| scale * u);
        let u = [self.focal_u_px / self.focal_px, cx, cy, k[0], k[1], k[2], k[3], k[4]];
        let correlation = |i: usize, j: usize| match &self.correlation {
            _ if i == j => 1.0,
            Some(rows) => 0.5 * (rows[i][j] + rows[j][i]),
            None => 0.0,
        };
        LensCovariance::from_fn(|i, j| correlation(i, j) * u[i] * u[j])
    }

    /// Relative uncertainty of the focal length from focusing: a simple lens of focal length f, focused at distance d,
    /// has its picture at f (1 + f / (d - f)); whether a phone corrects for that is not known, so between the distance
    /// of the calibration and that of a saddle the change is the half-width of a rectangular distribution.
    fn focus_u(&self) -> f64 {
        let focal_mm = self.focal_mm.unwrap_or(USUAL_FOCAL_MM);
        let distance_mm = self.distance_mm.unwrap_or(NEAREST_CALIBRATION_MM);
        (focal_mm * (1.0 / distance_mm - 1.0 / SADDLE_DISTANCE_MM)).abs() / 3f64.sqrt()
    }

    /// By how much a photo of a stored size is larger; none when it has another shape.
    fn scale_to(&self, width_px: usize, height_px: usize) -> Option<f64> {
        let (own, other) = ([self.width_px, self.height_px], [width_px, height_px]);
        let long = f64::from(own[0].max(own[1]));
        let short = f64::from(own[0].min(own[1]));
        let scale = other[0].max(other[1]) as f64 / long;
        ((short * scale - other[0].min(other[1]) as f64).abs() <= 2.0).then_some(scale)
    }

    /// The lens as a prior for a photo, in its upright pixels: scaled with it (`c' = s (c + 0.5) - 0.5`) and turned as
    /// its EXIF says. A photo without camera data may have been turned without a trace: then the principal
    /// point's offset and the decentring keep their size and lose their direction, and become uncertainty.
    ///
    /// # Errors
    /// [`LensFileError::Shape`] when the photo has another shape: it is a crop, and where from is not known.
    /// [`LensFileError::Camera`] when it is from another camera or lens.
    pub fn prior_for(&self, photo: &Photo, name: &str) -> Result<LensPrior, LensFileError> {
        if let Some(other) = self.other_camera(photo) {
            return Err(LensFileError::Camera(name.into(), other));
        }
        let named = photo.exif().make.is_some() || photo.exif().model.is_some();
        let turned = named.then(|| photo.stored_from_upright());
        self.prior(photo.stored_size_px(), turned, [photo.width_px(), photo.height_px()], name)
    }

    /// The prior for a photo of a stored and an upright size.
    fn prior(
        &self,
        stored_px: [usize; 2],
        stored_from_upright: Option<Matrix3<f64>>,
        upright_px: [usize; 2],
        name: &str,
    ) -> Result<LensPrior, LensFileError> {
        let [w, h] = stored_px;
        let scale = self.scale_to(w, h).ok_or_else(|| {
            LensFileError::Shape(name.into(), self.width_px, self.height_px, upright_px[0], upright_px[1])
        })?;
        let focal_px = self.focal_px * scale;
        let mut covariance = self.covariance(scale);
        covariance[(0, 0)] += self.focus_u().powi(2) + FOCAL_CHANGE_U.powi(2);
        let principal = Vector2::from(self.principal_px.map(|c| scale * (c + 0.5) - 0.5));
        let lies_alike = (w > h) == (self.width_px > self.height_px);
        let lens =
            |c: Vector2<f64>, distortion: [f64; 5]| Lens { focal_px, cx_px: c.x, cy_px: c.y, distortion };
        let [k1, k2, p1, p2, k3] = self.distortion;
        match stored_from_upright.filter(|_| lies_alike).and_then(|m| m.try_inverse()) {
            Some(upright) => {
                let turn = upright.fixed_view::<2, 2>(0, 0).into_owned();
                let c = (upright * Vector3::new(principal.x, principal.y, 1.0)).xy();
                // The decentring moves a point X by 2 (q X) X + X² q with q = (p2, p1), which turns like any vector.
                let q = turn * Vector2::new(p2, p1);
                let covariance = turned(&covariance, &turn);
                Ok(LensPrior::calibrated(lens(c, [k1, k2, q.y, q.x, k3]), covariance))
            }
            None => {
                let own =
                    [f64::from(self.width_px), f64::from(self.height_px)].map(|s| (scale * s - 1.0) / 2.0);
                let offset = (principal - Vector2::from(own)).norm();
                let middle = Vector2::from(upright_px.map(|s| (s as f64 - 1.0) / 2.0));
                let covariance = without_direction(&covariance, offset, p1.hypot(p2));
                Ok(LensPrior::calibrated(lens(middle, [k1, k2, 0.0, 0.0, k3]), covariance))
            }
        }
    }
}

/// The covariance in a turned frame.
fn turned(covariance: &LensCovariance, turn: &Matrix2<f64>) -> LensCovariance {
    let mut map = LensCovariance::identity();
    map.fixed_view_mut::<2, 2>(1, 1).copy_from(turn);
    // (p1, p2) is (q.y, q.x).
    for (i, j) in [(0, 0), (0, 1), (1, 0), (1, 1)] {
        map[(5 + i, 5 + j)] = turn[(1 - i, 1 - j)];
    }
    map * covariance * map.transpose()
}

/// The covariance when the direction of the principal point's offset and of the decentring is lost.
fn without_direction(covariance: &LensCovariance, offset_px: f64, decentring: f64) -> LensCovariance {
    let directed = [1, 2, 5, 6];
    let mut other = LensCovariance::from_fn(|i, j| {
        let apart = directed.contains(&i) || directed.contains(&j);
        if apart && i != j { 0.0 } else { covariance[(i, j)] }
    });
    for (pair, lost) in [([1, 2], offset_px), ([5, 6], decentring)] {
        let variance = covariance[(pair[0], pair[0])].max(covariance[(pair[1], pair[1])]) + lost * lost;
        pair.into_iter().for_each(|i| other[(i, i)] = variance);
    }
    other
}

/// To so many decimals, for a file that people read.
fn rounded(value: f64, decimals: i32) -> f64 {
    let unit = 10f64.powi(decimals);
    (value * unit).round() / unit
}

/// Whether a file says that it is a lens file; one that is no text does not.
fn says_lens(path: &Path) -> Result<bool, LensFileError> {
    match std::fs::read_to_string(path) {
        Ok(text) => Ok(text.contains("seatspan-lens/")),
        Err(e) if e.kind() == std::io::ErrorKind::InvalidData => Ok(false),
        Err(e) => Err(LensFileError::Read(FileError::from_io(path, &e))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::numeric::frame::IdealPoint;
    use crate::photo::orient::Orientation;
    use approx::assert_relative_eq;

    fn lens() -> LensFile {
        LensFile {
            schema: SCHEMA.into(),
            make: None,
            model: None,
            focal_mm: None,
            width_px: 2000,
            height_px: 1500,
            focal_px: 1500.0,
            focal_u_px: 3.0,
            principal_px: [1010.0, 752.0],
            principal_u_px: [1.0, 2.0],
            distortion: [-0.06, 0.01, 3e-4, -5e-4, 0.0],
            distortion_u: [0.002, 0.005, 1e-4, 2e-4, 1e-3],
            correlation: None,
            distance_mm: None,
            views: None,
            rms_px: None,
            terms: None,
            covered: None,
        }
    }

    #[test]
    fn scales_with_the_photo_and_refuses_a_crop() {
        let upright = Some(Matrix3::identity());
        let prior = lens().prior([4000, 3000], upright, [4000, 3000], "x").unwrap();
        assert_relative_eq!(prior.mean.focal_px, 3000.0);
        assert_relative_eq!(prior.mean.cx_px, 2.0 * 1010.5 - 0.5);
        assert_relative_eq!(prior.principal_u_px, 4.0);
        assert!(lens().prior([4000, 2250], upright, [4000, 2250], "x").is_err());
    }

    #[test]
    fn turned_with_the_photo_the_lens_sees_the_same() {
        let flat = lens().prior([2000, 1500], Some(Matrix3::identity()), [2000, 1500], "x").unwrap();
        for value in [1, 3, 6, 8] {
            let orientation = Orientation::from_exif(value).unwrap();
            let map = orientation.stored_from_upright(2000, 1500);
            let size = if orientation.swaps_axes() { [1500, 2000] } else { [2000, 1500] };
            let prior = lens().prior([2000, 1500], Some(map), size, "x").unwrap();
            let turn = map.fixed_view::<2, 2>(0, 0).into_owned();
            for (x, y) in [(0.3, 0.2), (-0.4, 0.35), (0.1, -0.3)] {
                let seen = prior.mean.photo_from_ideal(IdealPoint { x, y });
                let stored = turn * Vector2::new(x, y);
                let expected = flat.mean.photo_from_ideal(IdealPoint { x: stored.x, y: stored.y });
                let back = map * Vector3::new(seen.x_px, seen.y_px, 1.0);
                // Exact but for rounding, in px.
                assert_relative_eq!(back.xy(), expected.vector(), epsilon = 1e-9);
            }
            let swapped = orientation.swaps_axes();
            let u = [1, 2, 5, 6].map(|i| prior.covariance.unwrap()[(i, i)].sqrt());
            let expected = if swapped { [2.0, 1.0, 2e-4, 1e-4] } else { [1.0, 2.0, 1e-4, 2e-4] };
            for (got, want) in u.into_iter().zip(expected) {
                assert_relative_eq!(got, want, max_relative = 1e-9);
            }
        }
    }

    #[test]
    fn a_photo_that_may_have_been_turned_has_its_middle_less_certain() {
        let prior = lens().prior([1500, 2000], None, [1500, 2000], "x").unwrap();
        assert_relative_eq!(prior.mean.cx_px, 749.5);
        let offset = (1010.0f64 - 999.5).hypot(752.0 - 749.5);
        assert_relative_eq!(prior.principal_u_px, offset.hypot(2.0), max_relative = 1e-9);
        assert_eq!(prior.mean.distortion[2..4], [0.0, 0.0]);
    }

    #[test]
    fn focusing_between_the_card_and_the_saddle_widens_the_focal_length() {
        let near = LensFile { focal_mm: Some(4.2), distance_mm: Some(430.0), ..lens() };
        // 4.2/430 - 4.2/1200 = 0.63 %, rectangular.
        assert_relative_eq!(near.focus_u(), 0.006_267_4 / 3f64.sqrt(), max_relative = 1e-3);
    }

    #[test]
    fn a_written_lens_file_reads_back() {
        let mut rows = [[0.0; 8]; 8];
        (0..8).for_each(|i| rows[i][i] = 1.0);
        let file = LensFile { correlation: Some(rows), ..lens() };
        assert_eq!(toml::from_str::<LensFile>(&file.text().unwrap()).unwrap(), file);
        rows[3][4] = -2.0;
        rows[4][3] = -2.0;
        assert!(LensFile { correlation: Some(rows), ..lens() }.checked().is_err());
    }
}
