//! The report: from sheets to a document of sections and blocks, and from that to an HTML page and to pages of a PDF. Both
//! renderers draw the same blocks and add nothing.

pub mod client;
pub mod compare;
mod document;
mod html;
mod layout;
mod method;
mod pieces;
pub mod single;
mod table;
pub mod tiles;
mod uncertainty;
pub mod whole;

pub use document::{Block, Captioned, Document, KeyFigure, Note, Section, Table};
pub use html::html;
pub use layout::pages;
pub use single::{Options, Purpose, ReportSubject, Verdicts};
