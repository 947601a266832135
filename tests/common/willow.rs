//! The demo photo as `fixtures/demo/README.md` gives it.

/// Photo, view, ends and lift: arguments of `seatspan measure`.
pub const WILLOW: [&str; 9] = [
    "fixtures/demo/willow.jpg",
    "--view",
    "top",
    "--front",
    "1022.7,1437.4",
    "--rear",
    "2335.6,2021.9",
    "--lift",
    "seat=0:44,0.25:26,0.5:11,0.75:31,1:68",
];
