//! Frames, homographies, uncertainty and least squares; independent of photos and saddles.

pub mod agreement;
pub mod file;
pub mod frame;
pub mod homography;
pub mod normal;
pub mod parallel;
pub mod polynomial;
pub mod solve;
pub mod uncertain;
pub mod words;
