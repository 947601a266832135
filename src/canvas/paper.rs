//! Sizes of paper.

/// A size of paper.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Default)]
pub enum Paper {
    /// 210 x 297 mm (ISO 216:2007).
    #[default]
    A4,
    /// 8.5 x 11 in (ANSI/ASME Y14.1, size A).
    Letter,
}

impl Paper {
    /// Every paper.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

    /// Width and height of the upright sheet, mm.
    pub fn size_mm(self) -> [f64; 2] {
        match self {
            Self::A4 => [210.0, 297.0],
            Self::Letter => [215.9, 279.4],
        }
    }

    /// Its word on the command line and in file names.
    pub fn as_str(self) -> &'static str {
        match self {
            Self::A4 => "a4",
            Self::Letter => "letter",
        }
    }

    /// Its name as people say it.
    pub fn name(self) -> &'static str {
        match self {
            Self::A4 => "A4",
            Self::Letter => "US Letter",
        }
    }
}
