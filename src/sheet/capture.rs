//! The photos, the cards in them, and the camera.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::words::FocalSource;

/// One photo.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
pub struct PhotoRecord {
    /// File name without its folder.
    pub file: String,
    /// SHA-256 of the file, in lower-case hexadecimal.
    pub sha256: String,
    /// Width of the upright photo, in pixels (0 when the file could not be decoded).
    pub width_px: u32,
    /// Height of the upright photo, in pixels (0 when the file could not be decoded).
    pub height_px: u32,
    /// Local date and time of the photo, `YYYY-MM-DDThh:mm:ss`; null when the file does not say.
    #[serde(deserialize_with = "Option::deserialize")]
    pub taken: Option<String>,
    /// Maker and model of the camera; null when the file does not say.
    #[serde(deserialize_with = "Option::deserialize")]
    pub camera: Option<String>,
}

/// One reference card found in the photo.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct Card {
    /// The card's pattern, such as `sheet` or `strip`.
    pub pattern: String,
    /// Which copy of the pattern, from 0.
    pub copy: u32,
    /// Number of its tags used.
    pub tags: u32,
    /// Root mean square distance of the points along its tags' sides from where the fitted camera puts them, in pixels.
    pub rms_px: f64,
    /// Printed length over nominal length, without a unit (1 when printed true).
    pub print_scale: f64,
    /// Its relative standard uncertainty.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print_scale_u: Option<f64>,
    /// Source of the print scale.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub print_scale_by: Option<ScaleSource>,
}

/// Source of the print scale.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ScaleSource {
    /// None: the printer was set to actual size.
    Printer,
    /// The printed bar, measured with a ruler.
    Bar,
    /// A bank card in the frame.
    BankCard,
}

/// The camera as fitted to the cards.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
pub struct CameraRecord {
    /// Focal length, in pixels.
    pub focal_px: f64,
    /// Its standard uncertainty, in pixels.
    pub focal_u_px: f64,
    /// Source of its information.
    pub focal_source: FocalSource,
    /// Principal point (x, y), in pixels; null when not kept.
    #[serde(default)]
    pub principal_px: Option<[f64; 2]>,
    /// Its standard uncertainties (x, y), in pixels; null when not kept.
    #[serde(default)]
    pub principal_u_px: Option<[f64; 2]>,
    /// Brown-Conrady distortion k1, k2, p1, p2, k3, without a unit.
    pub distortion: [f64; 5],
    /// Height of the camera over the first card's plane, in millimetres.
    pub height_mm: f64,
    /// Angle between the optical axis and the card's normal, in degrees.
    pub tilt_deg: f64,
    /// Rotation from the first card's frame to the camera's axes (x right, y down, z forward), row by row; null when
    /// not kept.
    #[serde(default)]
    pub rotation: Option<[[f64; 3]; 3]>,
    /// The first card's origin in the camera's axes, in millimetres; null when not kept.
    #[serde(default)]
    pub translation_mm: Option<[f64; 3]>,
    /// Root mean square of the residuals of all side points, in pixels; null when not kept.
    #[serde(default)]
    pub reprojection_rms_px: Option<f64>,
    /// How far the first card bows out of its plane (positive toward the camera), in millimetres; null when
    /// not looked at.
    #[serde(default)]
    pub card_bend_mm: Option<f64>,
    /// Its standard uncertainty, in millimetres; null when not looked at.
    #[serde(default)]
    pub card_bend_u_mm: Option<f64>,
}
