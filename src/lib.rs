//! seatspan measures a saddle's widths from a photo with a printed reference card in it.
//!
//! [`pipeline`] takes one photo from its pixels to widths; read it first. Its modules, each of which uses only those with a
//! smaller number:
//!
//! 0. [`numeric`]: frames, fixed terms, homographies, least squares, uncertain quantities. [`refusal`], [`warning`],
//!    [`instruction`], [`explain`].
//! 1. [`photo`]: bytes to an upright photo with its focal hint and history.
//! 2. [`card`]: the reference card's tags detected, checked and measured.
//! 3. [`camera`]: lens and pose from the card; from pixels to lifted planes.
//! 4. [`outline`]: midline and traced edges.
//! 5. [`width`]: stations, named widths and their uncertainty budget.
//! 6. [`sheet`]: the versioned record and a folder of them.
//! 7. [`fit`]: rider, rules as data, verdicts under uncertainty.
//! 8. [`canvas`]: lines, text and pictures in millimetres on paper, written as SVG, PDF and PNG.
//! 9. [`report`]: renderers only: text, overlay, page and PDF.
//! 10. [`print`]: pages to print: the reference cards and the guide for clients.
//!
//! [`together`] takes several photos of one saddle through the pipeline, [`record`] fills the sheet, and [`check`] judges whether
//! a photo is worth measuring. `cli` and `desk` are the front ends. Without default features the library is modules 0 to 7 with
//! these, and has no terminal, server, PDF, threads or clock.

pub mod camera;
#[cfg(feature = "report")]
pub mod canvas;
pub mod card;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
#[cfg(feature = "cli")]
pub mod desk;
pub mod explain;
pub mod fit;
pub mod instruction;
pub mod numeric;
pub mod outline;
pub mod photo;
pub mod pipeline;
#[cfg(feature = "report")]
pub mod print;
pub mod record;
pub mod refusal;
#[cfg(feature = "report")]
pub mod report;
pub mod sheet;
pub mod together;
pub mod warning;
pub mod width;
