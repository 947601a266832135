//! The report as one HTML file that needs nothing beside it.

use std::fmt::Write;

use super::document::{Block, Captioned, Document, KeyFigure, Note, Table};
use crate::canvas::{Canvas, CanvasError, Letters, Paper, escaped};
use crate::report::words::shortened;

const STYLE: &str = include_str!("report.css");

/// The page.
///
/// # Errors
/// Where a figure cannot be written.
pub fn html(document: &Document, paper: Paper) -> Result<String, CanvasError> {
    let Document { letterhead, kind, title, subtitle, sections, foot } = document;
    let letterhead: Vec<String> = letterhead.iter().map(|line| escaped(line)).collect();
    let letterhead = match letterhead.as_slice() {
        [] => String::new(),
        lines => format!("<address>{}</address>\n", lines.join("<br>")),
    };
    // A window's title is short.
    let window = escaped(&shortened(&format!("{} – {kind}", shortened(title, 40)), 70));
    let [kind, title, subtitle, foot] = [kind, title, subtitle, foot].map(|text| escaped(text));
    let paper = paper.as_str();
    let mut out = format!(
        "<!DOCTYPE html>\n<html lang=\"en\">\n<head>\n<meta charset=\"utf-8\">\n\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\n<title>{window}</title>\n\
         <style>\n@page {{ size: {paper} portrait; margin: 16mm 20mm; }}\n{STYLE}</style>\n</head>\n<body>\n\
         <header>\n{letterhead}<p class=\"kind\">{kind}</p>\n<h1>{title}</h1>\n<p class=\"subtitle\">{subtitle}</p>\n</header>\n<main>\n"
    );
    for section in sections {
        let _ = writeln!(out, "<section id=\"{}\">\n<h2>{}</h2>", section.id, escaped(&section.heading));
        for block in &section.blocks {
            out += &match block {
                Block::Text(text) => format!("<p>{}</p>\n", escaped(text)),
                Block::KeyFigures(items) => format!("<dl class=\"keys\">\n{}</dl>\n", all(items, key_figure)),
                Block::Figures(items) => {
                    let figures: String = items.iter().map(figure).collect::<Result<_, _>>()?;
                    format!("<div class=\"figures\">\n{figures}</div>\n")
                }
                Block::Table(table) => html_table(table),
                Block::Facts(items) => format!("<dl class=\"facts\">\n{}</dl>\n", all(items, fact)),
                Block::Notes(items) => format!("<ul class=\"notes\">\n{}</ul>\n", all(items, note)),
            };
        }
        out += "</section>\n";
    }
    let _ = writeln!(out, "</main>\n<footer><p>{foot}</p></footer>\n</body>\n</html>");
    Ok(out)
}

fn all<T>(items: &[T], write: fn(&T) -> String) -> String {
    items.iter().map(write).collect()
}

fn key_figure(item: &KeyFigure) -> String {
    let key = item.key.as_ref().map_or_else(String::new, |key| format!("<span class=\"key\">{key}</span> "));
    let [label, value, uncertainty, second] =
        [&item.label, &item.value, &item.uncertainty, &item.second].map(|text| escaped(text));
    format!(
        "<div>\n<dt>{key}{label}</dt>\n<dd><strong>{value}</strong></dd>\n<dd>{uncertainty}</dd>\n\
         <dd class=\"second\">{second}</dd>\n</div>\n"
    )
}

fn figure(item: &Captioned) -> Result<String, CanvasError> {
    let svg = |canvas: &Canvas| canvas.to_svg(Letters::Typed);
    let (wide, width, caption) = (svg(&item.figure)?, item.figure.width_mm, escaped(&item.caption));
    let (class, drawn) = match &item.narrow {
        Some(narrow) => {
            let narrow = svg(narrow)?;
            let both = format!("<div class=\"wide\">{wide}</div>\n<div class=\"narrow\">{narrow}</div>");
            (" class=\"two\"", both)
        }
        None => ("", format!("<div class=\"scroll\">{wide}</div>")),
    };
    Ok(format!(
        "<figure{class} style=\"--w:{width:.2}\">\n{drawn}\n<figcaption>{caption}</figcaption>\n</figure>\n"
    ))
}

fn html_table(table: &Table) -> String {
    let figure = |i: usize| if i >= table.figures_from { " class=\"n\"" } else { "" };
    let head = |(i, cell): (usize, &String)| match cell.as_str() {
        "" => "<td></td>".to_owned(),
        cell => format!("<th scope=\"col\"{}>{}</th>", figure(i), escaped(cell)),
    };
    let cell = |(i, cell): (usize, &String)| {
        let head = table.head.get(i).filter(|head| !head.is_empty() && !cell.is_empty());
        let head = head.map_or_else(String::new, |head| format!(" data-head=\"{}\"", escaped(head)));
        format!("<td{}{head}>{}</td>", figure(i), escaped(cell))
    };
    let class = if table.head.len() > 2 { " class=\"many\"" } else { "" };
    let head: String = table.head.iter().enumerate().map(head).collect();
    let row =
        |row: &Vec<String>| format!("<tr>{}</tr>\n", row.iter().enumerate().map(cell).collect::<String>());
    let rows: String = table.rows.iter().map(row).collect();
    format!(
        "<div class=\"scroll\">\n<table{class}>\n<thead><tr>{head}</tr></thead>\n<tbody>\n{rows}</tbody>\n</table>\n\
         </div>\n<p class=\"caption\">{}</p>\n",
        escaped(&table.caption)
    )
}

fn fact([word, is]: &[String; 2]) -> String {
    format!("<dt>{}</dt>\n<dd>{}</dd>\n", escaped(word), escaped(is))
}

fn note(item: &Note) -> String {
    let word = item
        .word
        .as_deref()
        .map_or_else(String::new, |word| format!("<span class=\"word\">{}</span> ", escaped(word)));
    let text = match item.text.as_str() {
        "" => String::new(),
        text => format!("<br>{}", escaped(text)),
    };
    format!("<li>{word}<strong>{}</strong>{text}</li>\n", escaped(&item.title))
}
