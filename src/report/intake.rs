//! The one-page intake form, as a page to print. Its file's fields are those of the rider file.

/// The form: HTML with its own style, one page of A4 or US Letter, without anything fetched.
pub fn html() -> &'static str {
    include_str!("intake.html")
}
