//! Ground floor: points with frames, uncertainty and the least-squares solver. Knows nothing of photos or
//! saddles.

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
