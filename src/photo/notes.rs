//! The history of a photo, as far as the file tells it: what was noticed between the camera and here.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::warning::WarningCode;

/// Something noticed about a photo that can be measured all the same.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum PhotoNote {
    /// There is no EXIF: a messenger copy, a screenshot or an edited picture.
    NoExif,
    /// The EXIF is damaged; what could be read of it is used.
    CorruptExif {
        /// What the reader stumbled over.
        detail: String,
    },
    /// The orientation tag has a value outside 1 to 8; the photo is taken as stored upright.
    InvalidOrientation {
        /// The value found.
        value: u32,
    },
    /// The date in the EXIF is no date and was left out.
    InvalidDate,
    /// The photo is smaller than the camera took it, with the same shape.
    Resized {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// The photo has another shape than the camera took it: something was cut away.
    Cropped {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// The photo is larger than its EXIF says: enlarged, or the EXIF belongs to another picture.
    StaleExif {
        /// Long and short side in the EXIF, in pixels.
        exif_px: [u32; 2],
        /// Long and short side as decoded, in pixels.
        decoded_px: [u32; 2],
    },
    /// The camera zoomed digitally, so its focal length is trusted less or not at all.
    DigitalZoom {
        /// The ratio the camera recorded.
        ratio: f64,
    },
    /// A focal length in the EXIF is impossible and was left out.
    ImplausibleFocal,
    /// The picture has transparent parts; they were laid over white.
    Transparent,
    /// The picture has no colours.
    Grey,
    /// The picture's light follows an HDR curve, so edges may shift by a fraction of a pixel.
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
        let sizes = |was: &[u32; 2], is: &[u32; 2]| {
            format!("{} x {} then, {} x {} now", was[0], was[1], is[0], is[1])
        };
        match self {
            Self::NoExif => {
                "the photo carries no camera data, as copies from messengers and screenshots do".into()
            }
            Self::CorruptExif { detail } => format!("the photo's camera data is damaged ({detail})"),
            Self::InvalidOrientation { value } => {
                format!("the photo's orientation tag is invalid ({value}); it is taken as upright")
            }
            Self::InvalidDate => "the photo's date is not a date and was left out".into(),
            Self::Resized { exif_px, decoded_px } => {
                format!("the photo was made smaller after it was taken ({})", sizes(exif_px, decoded_px))
            }
            Self::Cropped { exif_px, decoded_px } => {
                format!("the photo was cropped after it was taken ({})", sizes(exif_px, decoded_px))
            }
            Self::StaleExif { exif_px, decoded_px } => format!(
                "the photo is larger than its camera data says ({}), so the data may belong to another picture",
                sizes(exif_px, decoded_px)
            ),
            Self::DigitalZoom { ratio } => {
                format!("the camera zoomed digitally by {ratio:.2}, so its focal length is less certain")
            }
            Self::ImplausibleFocal => {
                "the focal length in the camera data is impossible and was left out".into()
            }
            Self::Transparent => "the picture has transparent parts, which were laid over white".into(),
            Self::Grey => "the picture has no colours, so edges are found by brightness alone".into(),
            Self::HdrCurve => {
                "the picture follows an HDR brightness curve, so edges may shift slightly".into()
            }
        }
    }
}
