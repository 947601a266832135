//! The reference card: its patterns, finding its tags in a photo, and measuring their sides.

pub mod assemble;
pub mod bank_card;
pub mod find;
pub mod pattern;
pub mod side;
#[cfg(test)]
mod tests;
pub mod unread;
pub mod verify;

pub use assemble::{FoundCard, FoundCards, MeasuredTag, find_cards, find_cards_explained};
