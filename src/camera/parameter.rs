//! Parameters of the bundle adjustment, the scope of each, and the sources of its uncertainty.

/// Parameter of the lens model.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum LensParameter {
    /// Logarithm of the focal length.
    Focal,
    /// Principal point: x.
    PrincipalX,
    /// Principal point: y.
    PrincipalY,
    /// First radial term.
    K1,
    /// Second radial term.
    K2,
    /// First decentring term.
    P1,
    /// Second decentring term.
    P2,
    /// Third radial term.
    K3,
    /// Logarithm of the ratio of the focal lengths, down over across.
    PixelAspect,
    /// Skew of the pixel grid.
    Skew,
}

impl LensParameter {
    /// All of them, in the order of covariances and lens files.
    pub const ALL: [Self; 10] = [
        Self::Focal,
        Self::PrincipalX,
        Self::PrincipalY,
        Self::K1,
        Self::K2,
        Self::P1,
        Self::P2,
        Self::K3,
        Self::PixelAspect,
        Self::Skew,
    ];

    /// Whether it is a coordinate of the principal point.
    pub fn is_principal(self) -> bool {
        matches!(self, Self::PrincipalX | Self::PrincipalY)
    }
}

/// Parameter of the pose of a card in a photo, chosen so that each is measured to a fraction of a pixel whatever the
/// lens is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum PoseParameter {
    /// Rotation about the camera's x axis.
    TurnX,
    /// Rotation about the camera's y axis.
    TurnY,
    /// Rotation about the camera's z axis.
    TurnZ,
    /// Place of the card's origin in the photo: x.
    ShiftX,
    /// Place of the card's origin in the photo: y.
    ShiftY,
    /// Logarithm of the distance at a constant focal length.
    Distance,
}

impl PoseParameter {
    /// All of them, in the order of the parameter vector.
    pub const ALL: [Self; 6] =
        [Self::TurnX, Self::TurnY, Self::TurnZ, Self::ShiftX, Self::ShiftY, Self::Distance];
}

/// Direction on a card.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum CardAxis {
    /// Across its width.
    Width,
    /// Across its height.
    Height,
}

/// Photos and cards that share an error, by their index in the bundle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum Scope {
    /// One photo.
    Photo(usize),
    /// All photos of one lens.
    Lens(usize),
    /// All photos of one printed card.
    Print(usize),
}

/// Parameter of a bundle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum BundleParameter {
    /// Lens parameter of one lens, or of one photo where the camera moves it between photos (stabilisation).
    Lens(LensParameter, Scope),
    /// Outward shift of the edges of dark areas, pixels: positive where they look larger.
    Bloom {
        /// The photo.
        photo: usize,
    },
    /// Sagitta of a card, mm.
    Bend {
        /// The card.
        card: usize,
        /// The direction.
        axis: CardAxis,
    },
    /// Logarithm of the ratio of the printed scales, down over across.
    PrintAspect,
    /// Distance of a printed tag from its nominal place, mm.
    TagPlace {
        /// Index of the tag.
        tag: usize,
        /// The direction.
        axis: CardAxis,
    },
    /// Pose of a card in a photo.
    Pose {
        /// The photo.
        photo: usize,
        /// The card.
        card: usize,
        /// Which of the six.
        parameter: PoseParameter,
    },
}

impl BundleParameter {
    /// Step of derivatives: large beside rounding, small beside curvature.
    pub(super) fn step(self) -> f64 {
        let in_pixels_or_mm = match self {
            Self::Lens(p, _) => {
                matches!(p, LensParameter::PrincipalX | LensParameter::PrincipalY | LensParameter::Skew)
            }
            Self::Pose { parameter, .. } => {
                matches!(parameter, PoseParameter::ShiftX | PoseParameter::ShiftY)
            }
            Self::Bloom { .. } | Self::Bend { .. } | Self::TagPlace { .. } => true,
            Self::PrintAspect => false,
        };
        if in_pixels_or_mm { 1e-2 } else { 1e-5 }
    }

    /// What shares an error of this parameter.
    pub fn scope(self) -> Scope {
        match self {
            Self::Lens(_, scope) => scope,
            Self::Bloom { photo } | Self::Pose { photo, .. } => Scope::Photo(photo),
            Self::Bend { card, .. } => Scope::Print(card),
            Self::PrintAspect | Self::TagPlace { .. } => Scope::Print(0),
        }
    }
}

/// Independent source of the uncertainty of a bundle.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, PartialOrd, Ord)]
pub enum UncertaintySource {
    /// Noise of the measured sides in one photo.
    Data {
        /// The photo.
        photo: usize,
    },
    /// Prior of one parameter; of correlated priors, the part that no earlier one explains.
    Prior(BundleParameter),
}

impl UncertaintySource {
    /// Number of the error among those of its influence and scope: the same in every bundle for what bundles may share.
    /// `index` is its own among the sources of its bundle.
    pub fn number(self, index: usize) -> usize {
        match self {
            Self::Prior(BundleParameter::Lens(parameter, _)) => parameter as usize,
            Self::Prior(BundleParameter::Bend { card, axis }) => 2 * card + axis as usize,
            Self::Prior(_) | Self::Data { .. } => index,
        }
    }

    /// What shares the error.
    pub fn scope(self) -> Scope {
        match self {
            Self::Data { photo } => Scope::Photo(photo),
            Self::Prior(parameter) => parameter.scope(),
        }
    }
}
