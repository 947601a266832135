//! The history of a photo as far as its file shows it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::warning::WarningCode;

/// An observation about a photo that can be measured nonetheless.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum PhotoNote {
    /// No EXIF: a messenger copy, a screenshot or an edited picture.
    NoExif,
    /// The EXIF is damaged; its readable part is used.
    CorruptExif {
        /// The reader's error.
        detail: String,
    },
    /// The orientation tag is outside 1 to 8; the photo is treated as upright.
    InvalidOrientation {
        /// The value found.
        value: u32,
    },
    /// The date in the EXIF is invalid and ignored.
    InvalidDate,
    /// The photo is smaller than the camera's picture, with the same shape.
    Resized {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// The photo has another shape than the camera's picture.
    Cropped {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// The photo is larger than its EXIF says: enlarged, or with the EXIF of another picture.
    StaleExif {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// Digital zoom: the focal length is trusted less or not at all.
    DigitalZoom {
        /// The ratio the camera recorded.
        ratio: f64,
    },
    /// An impossible focal length in the EXIF is ignored.
    ImplausibleFocal,
    /// Transparent parts of the picture are shown on white.
    Transparent,
    /// The picture has no colours.
    Grey,
    /// The picture follows an HDR curve, so edges may shift by a fraction of a pixel.
    HdrCurve,
}

impl PhotoNote {
    /// Machine-readable kind, such as `photo-resized`; the name never changes its meaning.
    pub fn code(&self) -> WarningCode {
        match self {
            Self::NoExif => WarningCode::ExifMissing,
            Self::CorruptExif { .. } => WarningCode::ExifCorrupt,
            Self::InvalidOrientation { .. } => WarningCode::ExifOrientationInvalid,
            Self::InvalidDate => WarningCode::ExifDateInvalid,
            Self::Resized { .. } => WarningCode::PhotoResized,
            Self::Cropped { .. } => WarningCode::PhotoCropped,
            Self::StaleExif { .. } => WarningCode::ExifStale,
            Self::DigitalZoom { .. } => WarningCode::DigitalZoom,
            Self::ImplausibleFocal => WarningCode::ExifFocalImplausible,
            Self::Transparent => WarningCode::PhotoTransparent,
            Self::Grey => WarningCode::PhotoGrey,
            Self::HdrCurve => WarningCode::PhotoHdr,
        }
    }

    /// The note in one plain sentence.
    pub fn text(&self) -> String {
        let sizes =
            |was: &[u32; 2], is: &[u32; 2]| format!("from {} x {} to {} x {}", was[0], was[1], is[0], is[1]);
        match self {
            Self::NoExif => "the photo has no camera data, like a messenger copy or a screenshot".into(),
            Self::CorruptExif { detail } => format!("the photo's camera data is damaged ({detail})"),
            Self::InvalidOrientation { value } => {
                format!("the photo's orientation tag is invalid ({value}); the photo is treated as upright")
            }
            Self::InvalidDate => "the photo's date is invalid and was ignored".into(),
            Self::Resized { exif_px, decoded_px } => {
                format!("the photo was resized ({})", sizes(exif_px, decoded_px))
            }
            Self::Cropped { exif_px, decoded_px } => {
                format!("the photo was cropped ({})", sizes(exif_px, decoded_px))
            }
            Self::StaleExif { exif_px, decoded_px } => format!(
                "the photo is larger than in its camera data ({}), which may belong to another picture",
                sizes(exif_px, decoded_px)
            ),
            Self::DigitalZoom { ratio } => {
                format!("digital zoom of {ratio:.2}: the focal length is less certain")
            }
            Self::ImplausibleFocal => {
                "the focal length in the camera data is impossible and was ignored".into()
            }
            Self::Transparent => "transparent parts of the picture are shown on white".into(),
            Self::Grey => "the picture has no colour, so edges are found by brightness alone".into(),
            Self::HdrCurve => {
                "the picture follows an HDR brightness curve, so edges may shift slightly".into()
            }
        }
    }
}
