//! A report before it is laid out: sections of blocks, which the HTML page and the PDF both render.

use crate::canvas::Canvas;

/// A report.
#[derive(Debug, Clone, Default)]
pub struct Document {
    /// Name and address of the fitter, above everything else; empty without a letterhead.
    pub letterhead: Vec<String>,
    /// What kind of report it is, such as `Saddle measurement`.
    pub kind: String,
    /// The saddle's name.
    pub title: String,
    /// View, date and note, in one line.
    pub subtitle: String,
    /// Its parts.
    pub sections: Vec<Section>,
    /// What identifies a page, at the foot of every page.
    pub foot: String,
}

/// A part with a heading.
#[derive(Debug, Clone)]
pub struct Section {
    /// Name for links and tests.
    pub id: String,
    /// Heading.
    pub heading: String,
    /// What is in it.
    pub blocks: Vec<Block>,
}

impl Section {
    /// A section.
    pub fn new(id: &str, heading: impl Into<String>, blocks: Vec<Block>) -> Self {
        Self { id: id.to_owned(), heading: heading.into(), blocks }
    }
}

/// A piece of a section.
#[derive(Debug, Clone)]
pub enum Block {
    /// A paragraph.
    Text(String),
    /// The figures that matter most, large.
    KeyFigures(Vec<KeyFigure>),
    /// Figures side by side.
    Figures(Vec<Captioned>),
    /// A table.
    Table(Table),
    /// Pairs of a word and what it is.
    Facts(Vec<[String; 2]>),
    /// Remarks, each with a short title.
    Notes(Vec<Note>),
}

/// A large figure.
#[derive(Debug, Clone)]
pub struct KeyFigure {
    /// The letter by which the figures know it.
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

/// A figure with its caption.
#[derive(Debug, Clone)]
pub struct Captioned {
    /// The figure on paper and on a wide screen.
    pub figure: Canvas,
    /// The same for a narrow screen.
    pub narrow: Option<Canvas>,
    /// What it shows.
    pub caption: String,
}

impl Captioned {
    /// A figure with its narrower twin, if it has one.
    pub fn new(figure: Canvas, narrow: Option<Canvas>, caption: impl Into<String>) -> Self {
        Self { figure, narrow, caption: caption.into() }
    }

    /// A block of one figure, drawn for paper and for a narrow screen.
    pub fn at_both_widths(
        draw: impl Fn(f64) -> Canvas,
        widths_mm: [f64; 2],
        caption: impl Into<String>,
    ) -> Block {
        let [wide, narrow] = widths_mm.map(draw);
        Block::Figures(vec![Self::new(wide, Some(narrow), caption)])
    }
}

/// A table. The first column names the row.
#[derive(Debug, Clone, Default)]
pub struct Table {
    /// What it shows.
    pub caption: String,
    /// The columns' heads.
    pub head: Vec<String>,
    /// The first column of figures, which end at their right; all that follow are figures too.
    pub figures_from: usize,
    /// The rows.
    pub rows: Vec<Vec<String>>,
}

/// A remark.
#[derive(Debug, Clone, PartialEq, serde::Serialize)]
pub struct Note {
    /// A verdict in one or two words, drawn in a box; none for plain remarks.
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
