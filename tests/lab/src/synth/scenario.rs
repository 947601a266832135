//! Scenarios: every parameter of a synthetic photo, with plain defaults.

use nalgebra::{Matrix3, Rotation3, Vector3};
use serde::Serialize;

use super::SynthError;
use super::saddle::SaddleSet;
use seatspan::camera::Camera;
use seatspan::camera::lens::Lens;
use seatspan::camera::pose::CameraPose;

/// A colour as 8-bit sRGB.
pub type Rgb = [u8; 3];

/// A scene and its camera.
#[derive(Debug, Clone, PartialEq)]
pub struct Scenario {
    /// Name.
    pub name: String,
    /// Description; says that the scenario is invented.
    pub about: String,
    /// Seed of noise and textures.
    pub seed: u64,
    /// Samples per pixel along each axis.
    pub supersample: u32,
    /// The camera.
    pub camera: CameraSet,
    /// The cards; the first defines the frame.
    pub cards: Vec<CardSet>,
    /// What is in the place of the saddle.
    pub subject: Subject,
    /// The floor.
    pub floor: FloorSet,
    /// The light.
    pub light: LightSet,
    /// Boxes on the floor.
    pub boxes: Vec<BoxSet>,
    /// Objects on the first card that hide part of it.
    pub on_card: Vec<BoxSet>,
    /// Cloths on the floor.
    pub cloths: Vec<ClothSet>,
    /// The sensor and the file.
    pub sensor: SensorSet,
}

impl Default for Scenario {
    fn default() -> Self {
        Self {
            name: "plain".into(),
            about: "an invented saddle on a plain floor".into(),
            seed: 1,
            supersample: 3,
            camera: CameraSet::default(),
            cards: vec![CardSet::default()],
            subject: Subject::Saddle(Box::default()),
            floor: FloorSet::default(),
            light: LightSet::default(),
            boxes: Vec::new(),
            on_card: Vec::new(),
            cloths: Vec::new(),
            sensor: SensorSet::default(),
        }
    }
}

/// The camera: picture, lens and pose.
#[derive(Debug, Clone, PartialEq)]
pub struct CameraSet {
    /// Width of the picture, pixels.
    pub width: usize,
    /// Height of the picture, pixels.
    pub height: usize,
    /// Focal length, pixels.
    pub focal_px: f64,
    /// Principal point relative to the picture's centre, pixels.
    pub principal_offset_px: [f64; 2],
    /// `k1 k2 p1 p2 k3`.
    pub distortion: [f64; 5],
    /// Point on the optical axis, mm.
    pub aim_mm: [f64; 3],
    /// Distance of the camera from that point, mm.
    pub distance_mm: f64,
    /// Angle between the optical axis and the card's normal, degrees.
    pub tilt_deg: f64,
    /// Direction of the tilt, degrees from x to y of the card; at -90 the sheet is upright.
    pub azimuth_deg: f64,
    /// Rotation about the optical axis, degrees clockwise.
    pub roll_deg: f64,
}

impl Default for CameraSet {
    fn default() -> Self {
        Self {
            width: 1600,
            height: 1200,
            focal_px: 1200.0,
            principal_offset_px: [0.0, 0.0],
            distortion: [0.0; 5],
            aim_mm: [0.0, 190.0, 0.0],
            distance_mm: 1050.0,
            tilt_deg: 0.0,
            azimuth_deg: -90.0,
            roll_deg: 0.0,
        }
    }
}

impl CameraSet {
    /// The camera.
    ///
    /// # Errors
    /// A number that is not finite, an empty picture or a tilt of 85 degrees or more.
    pub fn camera(&self) -> Result<Camera, SynthError> {
        let numbers = [self.focal_px, self.distance_mm, self.tilt_deg, self.azimuth_deg, self.roll_deg];
        let more = self.distortion.iter().chain(&self.aim_mm).chain(&self.principal_offset_px);
        let finite = numbers.iter().chain(more).all(|v| v.is_finite());
        let sane = self.focal_px > 0.0 && self.distance_mm > 0.0 && (0.0..85.0).contains(&self.tilt_deg);
        if !(finite && sane && self.width > 0 && self.height > 0) {
            return Err(SynthError::Camera(format!("{self:?}")));
        }
        let (tilt, azimuth) = (self.tilt_deg.to_radians(), self.azimuth_deg.to_radians());
        let lean = Vector3::new(azimuth.cos(), azimuth.sin(), 0.0);
        let back = lean * tilt.sin() + Vector3::z() * tilt.cos();
        let (z, y) = (-back, lean * tilt.cos() - Vector3::z() * tilt.sin());
        let axes = Matrix3::from_rows(&[y.cross(&z).transpose(), y.transpose(), z.transpose()]);
        let roll = Rotation3::from_axis_angle(&Vector3::z_axis(), self.roll_deg.to_radians());
        let rotation = roll * Rotation3::from_matrix_unchecked(axes);
        let centre = Vector3::from(self.aim_mm) + back * self.distance_mm;
        let lens = Lens {
            focal_px: self.focal_px,
            cx_px: (self.width - 1) as f64 / 2.0 + self.principal_offset_px[0],
            cy_px: (self.height - 1) as f64 / 2.0 + self.principal_offset_px[1],
            distortion: self.distortion,
        };
        Ok(Camera { lens, pose: CameraPose { rotation, translation_mm: -(rotation * centre) } })
    }
}

/// A printed card.
#[derive(Debug, Clone, PartialEq)]
pub struct CardSet {
    /// Name of the pattern: `sheet` or `strip`.
    pub pattern: String,
    /// Copy number.
    pub copy: u32,
    /// Centre in the frame of the first card, mm; zero for the first card itself.
    pub at_mm: [f64; 3],
    /// Rotation about z, degrees from x to y.
    pub yaw_deg: f64,
    /// Rotation about its own x, applied first, degrees.
    pub tilt_deg: f64,
    /// Height of its middle above its left and right sides, mm.
    pub bow_mm: f64,
    /// Printed length divided by nominal length.
    pub print_scale: f64,
    /// Whether a box of its size stands under it.
    pub stand: bool,
}

impl Default for CardSet {
    fn default() -> Self {
        Self {
            pattern: "sheet".into(),
            copy: 0,
            at_mm: [0.0; 3],
            yaw_deg: 0.0,
            tilt_deg: 0.0,
            bow_mm: 0.0,
            print_scale: 1.0,
            stand: true,
        }
    }
}

/// What is in the place of the saddle.
#[derive(Debug, Clone, PartialEq)]
pub enum Subject {
    /// Nothing.
    None,
    /// A box.
    Box(BoxSet),
    /// A cushion with a piped edge.
    Cushion(Box<SaddleSet>),
    /// The padded seat of a chair, with its back.
    Chair(Box<SaddleSet>),
    /// A saddle.
    Saddle(Box<SaddleSet>),
}

impl Subject {
    /// The padded form, saddle or not.
    pub fn form(&self) -> Option<&SaddleSet> {
        match self {
            Self::Saddle(set) | Self::Cushion(set) | Self::Chair(set) => Some(set),
            Self::None | Self::Box(_) => None,
        }
    }

    /// The saddle, if it is one.
    pub fn saddle(&self) -> Option<&SaddleSet> {
        if let Self::Saddle(set) = self { Some(set) } else { None }
    }

    /// Its kind, in a word.
    pub fn kind(&self) -> &'static str {
        match self {
            Self::None => "none",
            Self::Box(_) => "box",
            Self::Cushion(_) => "cushion",
            Self::Chair(_) => "chair",
            Self::Saddle(_) => "saddle",
        }
    }
}

/// Kind of floor.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "lowercase")]
pub enum FloorKind {
    /// One colour.
    Plain,
    /// Boards with grain.
    Planks,
    /// Square tiles with joints.
    Tiles,
    /// Short streaks in all directions.
    Straw,
    /// Mottled concrete.
    Concrete,
}

/// The floor.
#[derive(Debug, Clone, PartialEq)]
pub struct FloorSet {
    /// Kind.
    pub kind: FloorKind,
    /// Its colour.
    pub colour: Rgb,
    /// Height relative to the card, mm.
    pub height_mm: f64,
    /// Rotation of its boards or tiles, degrees.
    pub turn_deg: f64,
}

impl Default for FloorSet {
    fn default() -> Self {
        Self { kind: FloorKind::Plain, colour: [176, 170, 160], height_mm: -110.0, turn_deg: 0.0 }
    }
}

/// The light: a uniform sky and a sun.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct LightSet {
    /// Light of the sky on a level surface; 1 brings white paper near full scale.
    pub sky: f64,
    /// Fraction of the sky's light that comes from straight above, as from a lamp; 0 is a uniform dome.
    pub overhead: f64,
    /// Light of the sun on a level surface.
    pub sun: f64,
    /// Sun's azimuth, degrees from x to y.
    pub sun_azimuth_deg: f64,
    /// Sun's elevation, degrees.
    pub sun_elevation_deg: f64,
    /// Relative change of the sky's light per metre toward the sun's azimuth.
    pub gradient: f64,
    /// Strength of contact shadows, 0 to 1.
    pub contact: f64,
    /// Reach of the form's contact shadow, relative to its height above the surface below.
    pub contact_reach: f64,
    /// A cast shadow with a straight border.
    pub shadow: Option<ShadowSet>,
}

impl Default for LightSet {
    fn default() -> Self {
        Self {
            sky: 0.8,
            overhead: 0.0,
            sun: 0.0,
            sun_azimuth_deg: 120.0,
            sun_elevation_deg: 50.0,
            gradient: 0.0,
            contact: 0.0,
            contact_reach: 1.0,
            shadow: None,
        }
    }
}

/// A cast shadow with a straight border.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct ShadowSet {
    /// A point of its border at the card's height, mm.
    pub at_mm: [f64; 2],
    /// Direction from the border into the shadow, degrees from x to y.
    pub toward_deg: f64,
    /// Width of the penumbra, mm.
    pub soft_mm: f64,
    /// Fraction of the light it removes.
    pub depth: f64,
}

/// A box on the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct BoxSet {
    /// Its centre, mm.
    pub at_mm: [f64; 2],
    /// Side lengths and height, mm.
    pub size_mm: [f64; 3],
    /// Rotation, degrees from x to y.
    pub yaw_deg: f64,
    /// Its colour.
    pub colour: Rgb,
}

/// A cloth on the floor.
#[derive(Debug, Clone, PartialEq)]
pub struct ClothSet {
    /// Its centre, mm.
    pub at_mm: [f64; 2],
    /// About half its side length, mm.
    pub radius_mm: f64,
    /// Rotation, degrees from x to y.
    pub yaw_deg: f64,
    /// Its colour.
    pub colour: Rgb,
}

/// The sensor and the file.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct SensorSet {
    /// Standard deviation of the Gaussian blur, pixels.
    pub blur_px: f64,
    /// Length of linear motion blur, pixels.
    pub motion_px: f64,
    /// Direction of the motion, degrees from right to down.
    pub motion_deg: f64,
    /// Variance of the noise per unit of linear light.
    pub shot: f64,
    /// Standard deviation of the read noise, linear light.
    pub read: f64,
    /// Fraction of light lost at the corners.
    pub vignette: f64,
    /// Exposure factor.
    pub exposure: f64,
    /// JPEG quality, 1 to 100; none writes a PNG.
    pub jpeg_quality: Option<u8>,
    /// 35 mm equivalent focal length in the JPEG's EXIF; none writes no EXIF.
    pub exif_focal_35mm: Option<u16>,
}

impl Default for SensorSet {
    fn default() -> Self {
        Self {
            blur_px: 0.6,
            motion_px: 0.0,
            motion_deg: 0.0,
            shot: 0.0,
            read: 0.0,
            vignette: 0.0,
            exposure: 1.0,
            jpeg_quality: None,
            exif_focal_35mm: None,
        }
    }
}
