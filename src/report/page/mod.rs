//! The report: from sheets to a document of sections and blocks, and from that to a page and a PDF. Both renderers
//! draw the same blocks and add nothing.

pub mod compare;
pub mod document;
pub mod html;
pub mod layout;
pub mod paper;
pub mod pdf;
pub mod single;
pub mod tiles;
pub mod wrap;

pub use document::{Block, Captioned, Document, KeyFigure, Note, Section, Table};
pub use paper::Paper;
pub use single::{Options, Purpose, Subject, Verdicts};
