//! Lens files: what a calibration knows of one phone's lens, as a small TOML file.

use std::path::Path;

use serde::{Deserialize, Serialize};

use super::fit::LensPrior;
use super::lens::Lens;

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
}

/// Why a lens file cannot be used.
#[derive(Debug, thiserror::Error)]
pub enum LensFileError {
    /// The file could not be read.
    #[error("lens file {0}: {1}; check the path given with --lens")]
    Read(String, std::io::Error),
    /// The text is no lens file.
    #[error("lens file {0}: {1}; calibrate the camera anew")]
    Parse(String, String),
    /// The photo cannot have been taken with this lens at this size.
    #[error(
        "lens file {0} is for photos of {1} x {2} px, which is another shape than this photo's {3} x {4} px; \
         use a lens file of this camera in this mode"
    )]
    Shape(String, u32, u32, usize, usize),
}

impl LensFile {
    /// Reads a lens file.
    ///
    /// # Errors
    /// [`LensFileError`] in one line.
    pub fn read(path: &Path) -> Result<Self, LensFileError> {
        let name = path.display().to_string();
        let text = std::fs::read_to_string(path).map_err(|e| LensFileError::Read(name.clone(), e))?;
        let lens: Self = toml::from_str(&text)
            .map_err(|e| LensFileError::Parse(name.clone(), e.message().replace('\n', " ")))?;
        lens.checked().map_err(|what| LensFileError::Parse(name, what))
    }

    fn checked(self) -> Result<Self, String> {
        if self.schema != SCHEMA {
            return Err(format!("its schema is '{}', and this program reads {SCHEMA}", self.schema));
        }
        let positive = [self.focal_px, self.focal_u_px]
            .into_iter()
            .chain(self.principal_u_px)
            .all(|v| v.is_finite() && v > 0.0);
        let finite = self.principal_px.into_iter().chain(self.distortion).all(f64::is_finite);
        let known = self.distortion_u.into_iter().all(|v| v.is_finite() && v >= 0.0);
        let sane = positive && finite && known && self.width_px > 0 && self.height_px > 0;
        if sane {
            Ok(self)
        } else {
            Err("a number in it is missing its sense (not finite, or not positive)".into())
        }
    }

    /// The lens as a prior for a photo of the given upright size: scaled with it (`c' = s (c + 0.5) - 0.5`), and
    /// turned where the photo stands upright and the lens file's photos lay across.
    ///
    /// # Errors
    /// [`LensFileError::Shape`] when the photo has another shape: it is a crop, and where from is not known.
    pub fn prior_for(
        &self,
        width_px: usize,
        height_px: usize,
        name: &str,
    ) -> Result<LensPrior, LensFileError> {
        let long = f64::from(self.width_px.max(self.height_px));
        let short = f64::from(self.width_px.min(self.height_px));
        let scale = width_px.max(height_px) as f64 / long;
        let other_short = width_px.min(height_px) as f64;
        if (short * scale - other_short).abs() > 2.0 {
            let (w, h) = (self.width_px, self.height_px);
            return Err(LensFileError::Shape(name.into(), w, h, width_px, height_px));
        }
        let turned = (width_px > height_px) != (self.width_px > self.height_px);
        let [cx, cy] = self.principal_px.map(|c| scale * (c + 0.5) - 0.5);
        let (w, h) = (width_px as f64, height_px as f64);
        // Which way a turned phone was held is not in the pixels: the principal point's offset keeps its size and
        // loses its direction, so it becomes part of the uncertainty.
        let (cx, cy, principal_u) = if turned {
            let offset = (cx - (h - 1.0) / 2.0).hypot(cy - (w - 1.0) / 2.0);
            ((w - 1.0) / 2.0, (h - 1.0) / 2.0, offset)
        } else {
            (cx, cy, 0.0)
        };
        let given_u = scale * self.principal_u_px[0].max(self.principal_u_px[1]);
        let lens =
            Lens { focal_px: self.focal_px * scale, cx_px: cx, cy_px: cy, distortion: self.distortion };
        Ok(LensPrior {
            mean: lens,
            focal_relative_u: self.focal_u_px / self.focal_px,
            principal_u_px: given_u.hypot(principal_u),
            distortion_u: self.distortion_u.map(|u| u.max(1e-6)),
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn lens() -> LensFile {
        LensFile {
            schema: SCHEMA.into(),
            make: None,
            model: None,
            width_px: 2000,
            height_px: 1500,
            focal_px: 1500.0,
            focal_u_px: 3.0,
            principal_px: [1010.0, 752.0],
            principal_u_px: [1.0, 1.0],
            distortion: [-0.06, 0.01, 0.0, 0.0, 0.0],
            distortion_u: [0.002, 0.005, 1e-4, 1e-4, 1e-3],
        }
    }

    #[test]
    fn scales_with_the_photo_and_refuses_a_crop() {
        let prior = lens().prior_for(4000, 3000, "x").unwrap();
        assert_eq!(prior.mean.focal_px, 3000.0);
        assert_eq!(prior.mean.cx_px, 2.0 * 1010.5 - 0.5);
        assert!(lens().prior_for(4000, 2250, "x").is_err());
    }

    #[test]
    fn a_written_lens_file_reads_back() {
        let text = toml::to_string(&lens()).unwrap();
        assert_eq!(toml::from_str::<LensFile>(&text).unwrap(), lens());
    }
}
