//! A figure before it is drawn: lines, letters and a picture, in millimetres on the paper; the same for the page and
//! for the PDF. Origin at its top-left corner, x to the right, y down.

pub mod axis;
pub mod budget;
pub mod chart;
pub mod evenness;
pub mod laid_over;
pub mod photo;
pub mod plan;
pub mod svg;

use std::sync::Arc;

/// The palette: one ink, one blue, one rust for the channel, and papers. Each pair that meets differs in lightness
/// and in its dashes, so that it reads in grey.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Tone {
    /// Letters and the named widths.
    Ink,
    /// Lesser letters, ticks.
    Soft,
    /// Grids and frames.
    Hair,
    /// A pale ground.
    Wash,
    /// The seat.
    Seat,
    /// The seat's uncertainty.
    SeatWash,
    /// The channel.
    Channel,
    /// The channel's uncertainty.
    ChannelWash,
    /// Paper.
    Paper,
}

impl Tone {
    /// Red, green and blue.
    pub fn rgb(self) -> [u8; 3] {
        match self {
            Self::Ink => [27, 31, 38],
            Self::Soft => [88, 94, 104],
            Self::Hair => [199, 196, 186],
            Self::Wash => [244, 241, 233],
            Self::Seat => [12, 62, 128],
            Self::SeatWash => [196, 211, 231],
            Self::Channel => [150, 58, 10],
            Self::ChannelWash => [240, 214, 196],
            Self::Paper => [255, 255, 255],
        }
    }

    /// As a style sheet writes it.
    pub fn css(self) -> String {
        let [red, green, blue] = self.rgb();
        format!("#{red:02x}{green:02x}{blue:02x}")
    }
}

/// How a line is drawn.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Stroke {
    /// Its colour.
    pub tone: Tone,
    /// Its width, mm.
    pub width_mm: f64,
    /// Dashes and gaps in turn, mm; empty for a solid line.
    pub dash: &'static [f64],
}

impl Stroke {
    /// A solid line.
    pub const fn solid(tone: Tone, width_mm: f64) -> Self {
        Self { tone, width_mm, dash: &[] }
    }

    /// A dashed line.
    pub const fn dashed(tone: Tone, width_mm: f64, dash: &'static [f64]) -> Self {
        Self { tone, width_mm, dash }
    }
}

/// The grid, ticks and frames.
pub const HAIR: Stroke = Stroke::solid(Tone::Hair, 0.15);
/// Ticks of rulers and axes.
pub const TICK: Stroke = Stroke::solid(Tone::Soft, 0.18);
/// The seat's edge.
pub const SEAT: Stroke = Stroke::solid(Tone::Seat, 0.5);
/// The channel's edge.
pub const CHANNEL: Stroke = Stroke::dashed(Tone::Channel, 0.5, &[2.2, 1.0]);
/// The midline.
pub const MIDLINE: Stroke = Stroke::dashed(Tone::Ink, 0.22, &[3.0, 0.9, 0.6, 0.9]);
/// A named width.
pub const NAMED: Stroke = Stroke::solid(Tone::Ink, 0.35);

/// On which side of its point a text lies.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anchor {
    /// The text begins there.
    Start,
    /// The text's middle is there.
    Middle,
    /// The text ends there.
    End,
}

/// Letters.
#[derive(Debug, Clone, PartialEq)]
pub struct Letters {
    /// Where on the base line, mm.
    pub at: [f64; 2],
    /// What it says.
    pub text: String,
    /// Size of the letters, mm.
    pub size_mm: f64,
    /// Which part of the text is at the point.
    pub anchor: Anchor,
    /// Semibold.
    pub bold: bool,
    /// Colour.
    pub tone: Tone,
}

/// A JPEG and its size in pixels.
#[derive(Debug, Clone, PartialEq)]
pub struct Jpeg {
    /// The file.
    pub bytes: Arc<Vec<u8>>,
    /// Width and height, pixels.
    pub size_px: [u32; 2],
}

/// One thing to draw.
#[derive(Debug, Clone, PartialEq)]
pub enum Item {
    /// A line through points, or the area within them.
    Path {
        /// What it shows, for a style sheet and for tests.
        class: &'static str,
        /// Its points, mm.
        points: Vec<[f64; 2]>,
        /// Whether the last point is joined to the first.
        closed: bool,
        /// The line.
        stroke: Option<Stroke>,
        /// The area.
        fill: Option<Tone>,
    },
    /// Letters.
    Letters(Letters),
    /// A picture in a rectangle: left, top, width, height, mm.
    Picture {
        /// The picture.
        jpeg: Jpeg,
        /// Where.
        rect: [f64; 4],
    },
}

/// A figure.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// Its width on paper, mm.
    pub width_mm: f64,
    /// Its height on paper, mm.
    pub height_mm: f64,
    /// What it shows, for those who cannot see it.
    pub label: String,
    /// What to draw, from the back to the front.
    pub items: Vec<Item>,
}

/// Size of the letters in figures, mm: some 8 points.
pub const LETTERS_MM: f64 = 2.8;
/// Size of lesser letters, mm: some 7 points.
pub const SMALL_MM: f64 = 2.5;

impl Figure {
    /// An empty figure.
    pub fn new(width_mm: f64, height_mm: f64, label: impl Into<String>) -> Self {
        Self { width_mm, height_mm, label: label.into(), items: Vec::new() }
    }

    /// All its letters.
    pub fn letters(&self) -> impl Iterator<Item = &Letters> {
        self.items.iter().filter_map(|item| match item {
            Item::Letters(letters) => Some(letters),
            _ => None,
        })
    }

    /// Adds an open line; one of fewer than two points is left out.
    pub fn line(&mut self, class: &'static str, points: Vec<[f64; 2]>, stroke: Stroke) {
        if points.len() > 1 {
            self.items.push(Item::Path { class, points, closed: false, stroke: Some(stroke), fill: None });
        }
    }

    /// Adds an area.
    pub fn area(
        &mut self,
        class: &'static str,
        points: Vec<[f64; 2]>,
        fill: Option<Tone>,
        stroke: Option<Stroke>,
    ) {
        if points.len() > 2 {
            self.items.push(Item::Path { class, points, closed: true, stroke, fill });
        }
    }

    /// Adds a rectangle.
    pub fn rect(
        &mut self,
        class: &'static str,
        [x, y, w, h]: [f64; 4],
        fill: Option<Tone>,
        stroke: Option<Stroke>,
    ) {
        self.area(class, vec![[x, y], [x + w, y], [x + w, y + h], [x, y + h]], fill, stroke);
    }

    /// Adds letters in the regular face.
    pub fn text(&mut self, at: [f64; 2], text: impl Into<String>, anchor: Anchor, size_mm: f64, tone: Tone) {
        let text = text.into();
        self.items.push(Item::Letters(Letters { at, text, size_mm, anchor, bold: false, tone }));
    }

    /// Adds semibold letters in ink.
    pub fn bold(&mut self, at: [f64; 2], text: impl Into<String>, anchor: Anchor, size_mm: f64) {
        let text = text.into();
        self.items.push(Item::Letters(Letters { at, text, size_mm, anchor, bold: true, tone: Tone::Ink }));
    }

    /// Adds the letter by which a named width is known in all figures: on a plate, its middle at a point.
    pub fn key(&mut self, [x, y]: [f64; 2], key: &str) {
        let (half_w, half_h) = (1.9, 1.75);
        let rect = [x - half_w, y - half_h, 2.0 * half_w, 2.0 * half_h];
        self.rect("key", rect, Some(Tone::Ink), Some(Stroke::solid(Tone::Paper, 0.25)));
        self.items.push(Item::Letters(Letters {
            at: [x, y + 0.98],
            text: key.into(),
            size_mm: 2.7,
            anchor: Anchor::Middle,
            bold: true,
            tone: Tone::Paper,
        }));
    }
}
