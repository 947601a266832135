//! Ground floor: points with frames, lengths, uncertainty and the least-squares solver. Knows nothing of photos
//! or saddles.

pub mod frame;
