//! Papers.

/// A paper that pages are made for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Paper {
    /// A4, 210 x 297 mm (ISO 216:2007).
    A4,
    /// US Letter, 8.5 x 11 in, 215.9 x 279.4 mm (ANSI/ASME Y14.1, size A).
    Letter,
}

/// How a page lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Turned {
    /// Higher than wide.
    Portrait,
    /// Wider than high.
    Landscape,
}

impl Paper {
    /// Every paper.
    pub const ALL: [Self; 2] = [Self::A4, Self::Letter];

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

    /// Width and height, mm.
    pub fn size_mm(self, turned: Turned) -> (f64, f64) {
        let (short, long) = match self {
            Self::A4 => (210.0, 297.0),
            Self::Letter => (215.9, 279.4),
        };
        if turned == Turned::Portrait { (short, long) } else { (long, short) }
    }
}
