//! A picture before it is drawn: lines, markers and labels in photo pixels, the same for every renderer.
//!
//! Coordinates are those of the upright photo (origin at the centre of the top-left pixel), so the photo itself
//! covers -0.5 to `width_px - 0.5`. Below the photo lies a band of `band_px` for the legend, so that it never
//! hides anything. Sizes of strokes and letters are in *units*: a thousandth of the photo's longer side, one
//! pixel when the picture is shown at 1000 pixels.

pub mod font;
pub mod picture;
pub mod place;
pub mod png;
pub mod style;
pub mod svg;

use crate::numeric::frame::PhotoPoint;
pub use picture::{Picture, RenderError};

/// What a shape shows; [`style::style`] says how it looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum Role {
    /// A traced edge of the seat.
    SeatEdge,
    /// A traced edge of the channel.
    ChannelEdge,
    /// A stretch of an edge with which another boundary competes.
    Doubtful,
    /// The competing boundary.
    Rival,
    /// Where a named width was taken.
    NamedWidth,
    /// The midline.
    Midline,
    /// A set station.
    StationLine,
    /// The outline of a reference card.
    Card,
    /// The outline of a tag of the card.
    Tag,
}

/// An upright rectangle in photo pixels.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Rect {
    /// Left side.
    pub left: f64,
    /// Upper side.
    pub top: f64,
    /// Width.
    pub width: f64,
    /// Height.
    pub height: f64,
}

impl Rect {
    /// The right side.
    pub fn right(&self) -> f64 {
        self.left + self.width
    }

    /// The lower side.
    pub fn bottom(&self) -> f64 {
        self.top + self.height
    }

    /// True when the two share more than a border.
    pub fn overlaps(&self, other: &Self) -> bool {
        self.left < other.right()
            && other.left < self.right()
            && self.top < other.bottom()
            && other.top < self.bottom()
    }

    /// True when `other` lies in it.
    pub fn holds(&self, other: &Self) -> bool {
        self.left <= other.left
            && self.top <= other.top
            && other.right() <= self.right()
            && other.bottom() <= self.bottom()
    }

    /// The rectangle grown by `margin` on every side.
    pub fn grown(&self, margin: f64) -> Self {
        Self {
            left: self.left - margin,
            top: self.top - margin,
            width: self.width + 2.0 * margin,
            height: self.height + 2.0 * margin,
        }
    }

    /// The point of the rectangle nearest to `p`.
    pub fn nearest(&self, p: PhotoPoint) -> PhotoPoint {
        PhotoPoint::new(p.x_px.clamp(self.left, self.right()), p.y_px.clamp(self.top, self.bottom()))
    }
}

/// A line of text.
#[derive(Debug, Clone, PartialEq)]
pub struct Text {
    /// What it says.
    pub text: String,
    /// Left end of its base line.
    pub at: PhotoPoint,
    /// Size of its letters, in units.
    pub size: f64,
}

/// One thing to draw.
#[derive(Debug, Clone, PartialEq)]
pub enum Shape {
    /// A line through points.
    Line {
        /// What it shows.
        role: Role,
        /// Its points, at least two.
        points: Vec<PhotoPoint>,
        /// Whether the last point is joined to the first.
        closed: bool,
    },
    /// A sample of a role's line in the legend.
    Swatch {
        /// The role.
        role: Role,
        /// Its two ends.
        ends: [PhotoPoint; 2],
    },
    /// A point.
    Marker {
        /// What it belongs to.
        role: Role,
        /// Where it is.
        at: PhotoPoint,
    },
    /// A text on a plate, joined by a thin line to what it names.
    Label {
        /// The text.
        text: Text,
        /// The plate behind it.
        plate: Rect,
        /// From what it names to the plate; none when it lies beside it.
        leader: Option<[PhotoPoint; 2]>,
    },
    /// A text of the band below the photo.
    Caption(Text),
}

/// A picture before it is drawn.
#[derive(Debug, Clone, PartialEq)]
pub struct Drawing {
    /// Width of the photo, in its pixels.
    pub width_px: u32,
    /// Height of the photo, in its pixels.
    pub height_px: u32,
    /// Height of the band below the photo, in photo pixels.
    pub band_px: f64,
    /// What it is called, for those who cannot see it.
    pub title: String,
    /// What to draw, from the back to the front.
    pub shapes: Vec<Shape>,
}

impl Drawing {
    /// The unit of strokes and letters, in photo pixels.
    pub fn unit_px(&self) -> f64 {
        f64::from(self.width_px.max(self.height_px)) / 1000.0
    }

    /// The part of the drawing that the photo covers.
    pub fn photo_rect(&self) -> Rect {
        Rect { left: -0.5, top: -0.5, width: f64::from(self.width_px), height: f64::from(self.height_px) }
    }

    /// The photo and the band below it.
    pub fn whole_rect(&self) -> Rect {
        let photo = self.photo_rect();
        Rect { height: photo.height + self.band_px, ..photo }
    }
}
