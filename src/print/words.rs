//! How a page lies.

use crate::report::page::Paper;

/// How a page lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Turned {
    /// Higher than wide.
    Portrait,
    /// Wider than high.
    Landscape,
}

impl Turned {
    /// Width and height of a paper that lies so, mm.
    pub fn size_mm(self, paper: Paper) -> [f64; 2] {
        let [short, long] = paper.size_mm();
        if self == Self::Portrait { [short, long] } else { [long, short] }
    }
}
