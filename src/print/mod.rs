//! Room 9: pages to print: the reference cards and the client's guide, as PDF and SVG. A page is laid out once in
//! millimetres ([`page`]); the two writers only write it down.

pub mod card;
pub mod guide;
pub mod page;
pub mod pdf;
mod scene;
mod strip;
pub mod svg;
mod tag;
mod words;

pub use crate::report::page::Paper;
pub use words::Turned;

#[cfg(test)]
mod tests {
    use super::page::{Mark, Page};

    /// No text lies over another.
    pub fn assert_texts_apart(page: &Page) {
        let texts: Vec<&Mark> = page.marks.iter().filter(|m| matches!(m, Mark::Text { .. })).collect();
        for (i, a) in texts.iter().enumerate() {
            for b in &texts[i + 1..] {
                let (p, q) = (a.bounds(), b.bounds());
                let apart = p[0] >= q[2] || q[0] >= p[2] || p[1] >= q[3] || q[1] >= p[3];
                assert!(apart, "{}: {a:?} and {b:?}", page.title);
            }
        }
    }
}
