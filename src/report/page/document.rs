//! A report before it is drawn.

use serde::Serialize;
use serde::ser::Serializer;

use crate::report::figure::{Figure, svg};

/// A report.
#[derive(Debug, Clone, Serialize)]
pub struct Document {
    /// What kind of report it is, such as `Measurement report`.
    pub kind: String,
    /// What it is about: the saddle's name.
    pub title: String,
    /// View, date, program, in one line.
    pub subtitle: String,
    /// Its parts.
    pub sections: Vec<Section>,
    /// What lets a page be traced, at the foot of every page.
    pub foot: String,
}

/// A part with a heading.
#[derive(Debug, Clone, Serialize)]
pub struct Section {
    /// Name for links and tests.
    pub id: &'static str,
    /// Heading.
    pub heading: String,
    /// What is in it.
    pub blocks: Vec<Block>,
}

/// A piece of a section.
#[derive(Debug, Clone, Serialize)]
#[serde(tag = "kind", rename_all = "kebab-case")]
pub enum Block {
    /// A paragraph.
    Text {
        /// What it says.
        text: String,
    },
    /// The figures that matter most, large.
    Keys {
        /// The figures.
        items: Vec<KeyFigure>,
    },
    /// Figures side by side.
    Figures {
        /// The figures.
        items: Vec<Captioned>,
    },
    /// A table.
    Table(Table),
    /// Pairs of a word and what it is.
    Facts {
        /// The pairs.
        items: Vec<[String; 2]>,
    },
    /// Remarks, each with a short title.
    Notes {
        /// The remarks.
        items: Vec<Note>,
    },
}

/// A large figure.
#[derive(Debug, Clone, Serialize)]
pub struct KeyFigure {
    /// The letter by which the figures know it, if they do.
    pub key: Option<String>,
    /// What it is.
    pub label: String,
    /// The value, with its unit.
    pub value: String,
    /// Its uncertainty, such as `± 2.0 mm`.
    pub uncertainty: String,
    /// The value in the other unit, or what it means.
    pub second: String,
}

/// A figure with what stands below it.
#[derive(Debug, Clone, Serialize)]
pub struct Captioned {
    /// Width of the figure on paper, mm.
    pub width_mm: f64,
    /// The figure on paper and on a wide screen.
    #[serde(serialize_with = "as_svg")]
    pub figure: Figure,
    /// The same for a narrow screen.
    #[serde(serialize_with = "as_svg_or_none")]
    pub narrow: Option<Figure>,
    /// What it shows.
    pub caption: String,
}

impl Captioned {
    /// A figure with its narrower twin, if it has one.
    pub fn new(figure: Figure, narrow: Option<Figure>, caption: impl Into<String>) -> Self {
        Self { width_mm: figure.width_mm, figure, narrow, caption: caption.into() }
    }
}

/// A table. The first column names the row.
#[derive(Debug, Clone, Default, Serialize)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// The columns' heads.
    pub head: Vec<String>,
    /// Which columns hold figures, which end at their right.
    pub figures: Vec<bool>,
    /// The rows.
    pub rows: Vec<Vec<String>>,
}

/// A remark.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Note {
    /// A verdict or kind in one or two words, drawn in a box; none for plain remarks.
    pub word: Option<String>,
    /// What it is about.
    pub title: String,
    /// The rest.
    pub text: String,
}

impl Note {
    /// A remark without a boxed word.
    pub fn plain(title: impl Into<String>, text: impl Into<String>) -> Self {
        Self { word: None, title: title.into(), text: text.into() }
    }
}

impl Block {
    /// A paragraph.
    pub fn text(text: impl Into<String>) -> Self {
        Self::Text { text: text.into() }
    }
}

fn as_svg<S: Serializer>(figure: &Figure, serializer: S) -> Result<S::Ok, S::Error> {
    serializer.serialize_str(&svg::svg(figure))
}

fn as_svg_or_none<S: Serializer>(figure: &Option<Figure>, serializer: S) -> Result<S::Ok, S::Error> {
    match figure {
        Some(figure) => as_svg(figure, serializer),
        None => serializer.serialize_none(),
    }
}
