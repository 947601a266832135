//! The library apart from accuracy: architecture, file formats, printed pages, fit rules.

mod architecture;
mod fit;
mod fit_simulated;
mod fuzz_cases;
mod photo_files;
mod print_pages;
mod real_files;
#[path = "../common/shared.rs"]
mod shared;
