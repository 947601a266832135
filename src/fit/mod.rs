//! Assessment of widths for rider and horse. Rules are data with a source for every number; verdicts respect the
//! uncertainty; what was not measured is not judged, and one serious miss is never averaged away.
//!
//! [`rule`] reads rules, [`rider`], [`horse`], [`saddle`] and [`heights`] read what was entered by hand, [`expr`] is the language of
//! rules, [`measure`] evaluates it on sheets ([`seen`]) with the uncertainty ([`quantity`]), [`verdict`] judges,
//! [`mod@assess`] puts an assessment together, [`mod@compare`] sets saddles side by side.

pub mod advice;
pub mod assess;
mod assumed;
pub mod compare;
pub mod entered;
pub mod expr;
pub mod fields;
pub mod given;
pub mod heights;
pub mod hint;
pub mod horse;
pub mod measure;
pub mod quantity;
pub mod result;
pub mod rider;
pub mod rule;
pub mod saddle;
pub mod seen;
pub mod summary;
pub mod text;
pub mod unit;
pub mod verdict;
