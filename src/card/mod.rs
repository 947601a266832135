//! Room 2: the reference card: its patterns, finding its tags in a photo, and measuring their sides.

pub mod pattern;
