//! The report as one HTML file that needs nothing beside it.

use minijinja::syntax::SyntaxConfig;
use minijinja::value::{Serde, Value};
use minijinja::{Environment, context};

use super::document::Document;
use super::paper::Paper;
use crate::report::words::shortened;

const TEMPLATE: &str = include_str!("report.html");
const STYLE: &str = include_str!("report.css");

/// The page.
///
/// # Errors
/// Where the template and the document do not go together.
pub fn html(document: &Document, paper: Paper) -> Result<String, minijinja::Error> {
    let mut environment = Environment::new();
    environment.set_syntax(SyntaxConfig::builder().trim_blocks(true).lstrip_blocks(true).build()?);
    environment.add_template("report.html", TEMPLATE)?;
    let page = match paper {
        Paper::A4 => "A4",
        Paper::Letter => "letter",
    };
    // A window's title has no room for more.
    let title = shortened(&format!("{} – {}", shortened(&document.title, 40), document.kind), 70);
    environment.get_template("report.html")?.render(
        context! { doc => Value::from(Serde(document)), title => title, style => STYLE, page => page },
    )
}
