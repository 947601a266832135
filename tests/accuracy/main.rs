//! Accuracy against ground truth and against other software, module by module and end to end.

mod bank_card;
mod camera_photos;
mod check_ladder;
mod edge_noise;
mod hints;
mod invariance;
mod lens;
#[path = "../common/pair.rs"]
mod pair;
mod photos;
mod real_tags;
mod real_walls;
mod reference_geometry;
mod reference_net;
#[path = "../common/shared.rs"]
mod shared;
mod together;
