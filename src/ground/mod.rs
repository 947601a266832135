//! Ground floor: points with frames, uncertainty and the least-squares solver. Knows nothing of photos or
//! saddles.

pub mod frame;
pub mod homography;
pub mod polynomial;
pub mod solve;
pub mod words;
