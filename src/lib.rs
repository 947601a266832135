//! seatspan measures a saddle's widths from a photo with a printed reference card in it.
//!
//! The rooms, in the order in which a photo walks through them; [`measure`] calls them in this order:
//!
//! 0. [`numeric`]: frames, words, homographies, least squares. [`refusal`]: every reason to say no.
//! 1. [`photo`]: bytes to an upright photo with its focal hint and history.
//! 2. [`card`]: the reference card's tags found, checked and measured.
//! 3. [`camera`]: lens and pose from the card; from pixels to lifted planes.
//! 4. [`outline`]: midline, straightened strip, traced edges, measured in the photo.
//! 5. [`width`]: stations, named widths and their uncertainty budget.
//! 6. [`sheet`]: the versioned record and a folder of them; [`record`] and [`warn`] fill it from the walk.
//! 7. [`fit`]: rider, rules as data, verdicts under uncertainty.
//! 8. [`report`]: renderers only: text, overlay, page and PDF. [`explain`] draws what each room decided.
//! 9. [`print`]: pages to print: the reference cards and the client's guide, as PDF and SVG.
//!
//! [`together`] walks several photos of one saddle and measures them as one.
//! [`check`] walks rooms 1 to 3 and says whether a photo is worth measuring.
//! Without default features the library is modules 0 to 7 and `check`, with no terminal, server, PDF, threads or clock.
//! [`cli`] is the side entrance of the command line, [`desk`] that of the local page.

pub mod camera;
pub mod card;
pub mod check;
#[cfg(feature = "cli")]
pub mod cli;
#[cfg(feature = "cli")]
pub mod desk;
pub mod explain;
pub mod fit;
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
