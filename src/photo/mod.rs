//! Room 1: bytes to an upright photo, its focal hint and its history.
