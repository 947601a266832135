//! What makes a width uncertain, and the budget that adds it up (JCGM 100:2008, 5.1 and 5.2).

use std::collections::BTreeMap;
use std::fmt;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::camera::parameter::{BundleParameter, LensParameter, UncertaintySource};
use crate::numeric::uncertain::{coverage_factor, effective_freedom};

/// A cause of uncertainty.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Influence {
    /// Noise of the measured sides of the tags.
    #[serde(rename = "tag corners")]
    TagCorners,
    /// Focal length of the lens.
    #[serde(rename = "focal length")]
    FocalLength,
    /// Principal point of the lens.
    #[serde(rename = "principal point")]
    PrincipalPoint,
    /// Distortion of the lens.
    #[serde(rename = "distortion")]
    Distortion,
    /// Light that spreads over the edges of the tags.
    #[serde(rename = "edge bloom")]
    EdgeBloom,
    /// Bend of a card.
    #[serde(rename = "card bend")]
    CardBend,
    /// True length of what was printed.
    #[serde(rename = "print scale")]
    PrintScale,
    /// The card is not parallel to the saddle's horizontal, from which heights are measured.
    #[serde(rename = "card not level")]
    CardTilt,
    /// The saddle is rolled about its midline.
    #[serde(rename = "saddle not level")]
    SaddleRoll,
    /// Heights of the edges over the card.
    #[serde(rename = "lift")]
    Height,
    /// Place of the midline's ends across it.
    #[serde(rename = "midline direction")]
    MidlineDirection,
    /// Place of the midline's ends along it.
    #[serde(rename = "station position")]
    StationPosition,
    /// Noise, blur and scatter of the traced points.
    #[serde(rename = "edge localisation")]
    EdgeLocalisation,
    /// The point of a rounded piping that counts as its outer side.
    #[serde(rename = "piping definition")]
    PipingDefinition,
    /// Other boundaries that may be the edge.
    #[serde(rename = "competing boundaries")]
    CompetingBoundaries,
    /// Possible extreme within a stretch that was not traced.
    #[serde(rename = "hidden stretch")]
    HiddenStretch,
    /// Halves that differ by more than a sound saddle's.
    #[serde(rename = "uneven halves")]
    UnevenHalves,
    /// An influence that this program does not know, in a sheet of another writer.
    #[serde(rename = "other", other)]
    Other,
}

/// What shares an error of an influence: measurements with it in common are wrong together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ErrorScope {
    /// One photo.
    Photo,
    /// All photos through one lens.
    Lens,
    /// All photos of one print of the card.
    Print,
    /// The saddle as it stood beside the card: its heights, its midline, how level both were.
    Setup,
    /// One edge as traced; it fades along the edge.
    Edge,
}

impl Influence {
    /// All of them.
    pub const ALL: [Self; 18] = [
        Self::TagCorners,
        Self::FocalLength,
        Self::PrincipalPoint,
        Self::Distortion,
        Self::EdgeBloom,
        Self::CardBend,
        Self::PrintScale,
        Self::CardTilt,
        Self::SaddleRoll,
        Self::Height,
        Self::MidlineDirection,
        Self::StationPosition,
        Self::EdgeLocalisation,
        Self::PipingDefinition,
        Self::CompetingBoundaries,
        Self::HiddenStretch,
        Self::UnevenHalves,
        Self::Other,
    ];

    /// Machine word, as in the sheet.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::TagCorners => "tag corners",
            Self::FocalLength => "focal length",
            Self::PrincipalPoint => "principal point",
            Self::Distortion => "distortion",
            Self::EdgeBloom => "edge bloom",
            Self::CardBend => "card bend",
            Self::PrintScale => "print scale",
            Self::CardTilt => "card not level",
            Self::SaddleRoll => "saddle not level",
            Self::Height => "lift",
            Self::MidlineDirection => "midline direction",
            Self::StationPosition => "station position",
            Self::EdgeLocalisation => "edge localisation",
            Self::PipingDefinition => "piping definition",
            Self::CompetingBoundaries => "competing boundaries",
            Self::HiddenStretch => "hidden stretch",
            Self::UnevenHalves => "uneven halves",
            Self::Other => "other",
        }
    }

    /// The influence in the fitter's words.
    pub fn in_words(self) -> &'static str {
        match self {
            Self::TagCorners => "position of the card in the photo",
            Self::FocalLength => "the lens: focal length",
            Self::PrincipalPoint => "the lens: principal point",
            Self::Distortion => "the lens: distortion",
            Self::EdgeBloom => "glare at the edges",
            Self::CardBend => "bending of the card",
            Self::PrintScale => "size of the printed card",
            Self::CardTilt => "how level the card is with the saddle",
            Self::SaddleRoll => "how level the saddle stands",
            Self::Height => "height of the edges over the card",
            Self::MidlineDirection => "direction of the midline",
            Self::StationPosition => "position along the midline",
            Self::EdgeLocalisation => "position of the edge in the photo",
            Self::PipingDefinition => "where on the rounded piping the edge is",
            Self::CompetingBoundaries => "other lines that may be the edge",
            Self::HiddenStretch => "what an untraced stretch may hide",
            Self::UnevenHalves => "left and right differ more than saddles do",
            Self::Other => "another influence",
        }
    }

    /// What shares an error of it.
    pub fn scope(self) -> ErrorScope {
        match self {
            Self::TagCorners | Self::PrincipalPoint | Self::EdgeBloom | Self::PipingDefinition => {
                ErrorScope::Photo
            }
            Self::FocalLength | Self::Distortion => ErrorScope::Lens,
            Self::CardBend | Self::PrintScale => ErrorScope::Print,
            Self::EdgeLocalisation
            | Self::CompetingBoundaries
            | Self::HiddenStretch
            | Self::UnevenHalves
            | Self::Other => ErrorScope::Edge,
            Self::CardTilt
            | Self::SaddleRoll
            | Self::Height
            | Self::MidlineDirection
            | Self::StationPosition => ErrorScope::Setup,
        }
    }

    /// Degrees of freedom of its standard uncertainty (JCGM 100:2008, G.4): few where it rests on scatter, infinite
    /// where it is a stated assumption.
    pub fn freedom(self) -> f64 {
        match self {
            Self::EdgeLocalisation => EDGE_FREEDOM,
            Self::TagCorners => CORNERS_FREEDOM,
            _ => f64::INFINITY,
        }
    }

    /// The influence that a source of the camera's uncertainty belongs to.
    pub fn of_camera(source: UncertaintySource) -> Self {
        let UncertaintySource::Prior(parameter) = source else { return Self::TagCorners };
        match parameter {
            BundleParameter::Lens(lens, _) => match lens {
                LensParameter::Focal | LensParameter::PixelAspect => Self::FocalLength,
                LensParameter::PrincipalX | LensParameter::PrincipalY | LensParameter::Skew => {
                    Self::PrincipalPoint
                }
                _ => Self::Distortion,
            },
            BundleParameter::Bloom { .. } => Self::EdgeBloom,
            BundleParameter::Bend { .. }
            | BundleParameter::PrintAspect
            | BundleParameter::TagPlace { .. } => Self::CardBend,
            BundleParameter::Pose { .. } => Self::TagCorners,
        }
    }
}

impl fmt::Display for Influence {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.pad(self.as_str())
    }
}

/// Points of nine rows about a section, 2 mm apart, less a parabola's three coefficients, on both sides.
const EDGE_FREEDOM: f64 = 12.0;
/// Measured points of the sides of the two tags that a card is accepted with at least, less its pose's six numbers.
const CORNERS_FREEDOM: f64 = 10.0;

/// Standard uncertainty of a quantity by influence; the influences are independent of one another.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Budget {
    variances: BTreeMap<Influence, f64>,
}

impl Budget {
    /// Adds an independent standard uncertainty.
    pub fn add(&mut self, from: Influence, u: f64) {
        *self.variances.entry(from).or_default() += u * u;
    }

    /// Standard uncertainty by influence.
    pub fn lines(&self) -> impl Iterator<Item = (Influence, f64)> {
        self.variances.iter().map(|(from, variance)| (*from, variance.sqrt()))
    }

    /// Standard uncertainty from one influence.
    pub fn u_from(&self, from: Influence) -> f64 {
        self.variances.get(&from).copied().unwrap_or_default().sqrt()
    }

    /// Combined standard uncertainty.
    pub fn u(&self) -> f64 {
        self.variances.values().sum::<f64>().sqrt()
    }

    /// Expanded uncertainty for 95 %, by the effective degrees of freedom.
    pub fn u95(&self) -> f64 {
        let parts: Vec<(f64, f64)> = self.lines().map(|(from, u)| (u, from.freedom())).collect();
        coverage_factor(effective_freedom(&parts), 0.95) * self.u()
    }
}

impl FromIterator<(Influence, f64)> for Budget {
    fn from_iter<I: IntoIterator<Item = (Influence, f64)>>(parts: I) -> Self {
        let mut budget = Self::default();
        parts.into_iter().for_each(|(from, u)| budget.add(from, u));
        budget
    }
}
