//! The report on several saddles: outlines and widths laid over one another.

use super::document::{Block, Captioned, Document, Section, Table};
use super::single::{Options, Purpose, Subject, cautions, day, judged};
use crate::fit::compare::wider_by;
use crate::numeric::words::{Part, View};
use crate::report::figure::chart::{CHART_MM, NARROW_MM};
use crate::report::figure::laid_over::{self, Called, Names};
use crate::report::figure::plan::window_mm;
use crate::report::shape::Shape;
use crate::report::units::{Units, half_width};
use crate::report::words::{self, sentence, shortened};
use crate::sheet::{Photo, Sheet};

/// A saddle of the comparison.
struct One<'a> {
    subject: &'a Subject<'a>,
    shape: Shape,
    /// One number for all sheets of a name.
    called: Called,
}

/// The report.
pub fn document(subjects: &[Subject], options: &Options) -> Document {
    let verdicts = options.verdicts.filter(|_| options.purpose == Purpose::Client);
    let mut names: Vec<&str> = Vec::new();
    for name in subjects.iter().map(|s| s.sheet.saddle.name.as_str()) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let measured: Vec<One> = subjects
        .iter()
        .filter_map(|subject| {
            let shape = Shape::of(subject.sheet).filter(|_| subject.sheet.refused.is_none())?;
            let name = subject.sheet.saddle.name.clone();
            let number = 1 + names.iter().position(|n| *n == name)?;
            Some(One { subject, shape, called: Called { number, name } })
        })
        .collect();
    let mut sections: Vec<Section> = verdicts.map(judged).into_iter().collect();
    for view in [View::Top, View::Underside] {
        let of_view: Vec<&One> = measured.iter().filter(|one| one.shape.view == view).collect();
        if !of_view.is_empty() {
            sections.extend(one_view(view, &of_view, options.units));
        }
    }
    sections.extend(left_out(subjects));
    sections.push(cautions(options.purpose));
    sections.push(trace(subjects));
    Document {
        kind: "Comparison of saddles".into(),
        title: names.join(", "),
        subtitle: format!("{} sheets", subjects.len()),
        sections,
        foot: shortened(&format!("Comparison of {}", names.join(", ")), 90),
    }
}

fn one_view(view: View, saddles: &[&One], units: Units) -> Vec<Section> {
    let (words, ids) = match view {
        View::Top => ("Seen from above", ["top-outlines", "top-widths", "top-along"]),
        View::Underside => ("Seen from below", ["underside-outlines", "underside-widths", "underside-along"]),
    };
    let names: Vec<Called> = saddles.iter().map(|one| one.called.clone()).collect();
    let shapes: Vec<&Shape> = saddles.iter().map(|one| &one.shape).collect();
    let sheets: Vec<&Sheet> = saddles.iter().map(|one| one.subject.sheet).collect();
    let reach = shapes.iter().map(|s| s.reach_mm()).fold(0.0, f64::max);
    let length = shapes.iter().map(|s| s.length_mm).fold(0.0, f64::max);
    let width = window_mm(reach, length)[2];
    let of = [4.0, 5.0, 6.0, 8.0, 10.0].into_iter().find(|of| width / of <= 88.0).unwrap_or(15.0);
    let parts: &[Part] = if view == View::Top { &[Part::Seat] } else { &[Part::Seat, Part::Channel] };
    let outlines = parts.iter().map(|part| {
        Captioned::new(
            laid_over::outlines(&shapes, &names, *part, of, Names::Beside),
            Some(laid_over::outlines(&shapes, &names, *part, of, Names::Below)),
            format!("{} at 1:{of:.0}, with their front ends and midlines together.", part_words(*part)),
        )
    });
    let along = parts.iter().map(|part| {
        Captioned::new(
            laid_over::widths(&sheets, &names, *part, CHART_MM),
            Some(laid_over::widths(&sheets, &names, *part, NARROW_MM)),
            format!("{}: width at every twentieth of each saddle’s own midline.", part_words(*part)),
        )
    });
    let figures = |items: Captioned| Block::Figures { items: vec![items] };
    vec![
        Section {
            id: ids[0],
            heading: format!("{words}: outlines"),
            blocks: outlines.map(figures).collect(),
        },
        Section {
            id: ids[1],
            heading: format!("{words}: named widths"),
            blocks: tables(view, saddles, units),
        },
        Section {
            id: ids[2],
            heading: format!("{words}: along the saddle"),
            blocks: along.map(figures).collect(),
        },
    ]
}

fn part_words(part: Part) -> &'static str {
    match part {
        Part::Seat => "Edges of the seat",
        Part::Channel => "Edges of the channel",
    }
}

/// One table of widths, a column a saddle, and one of differences from the first.
fn tables(view: View, saddles: &[&One], units: Units) -> Vec<Block> {
    let head = || -> Vec<String> {
        [String::new()]
            .into_iter()
            .chain(saddles.iter().map(|s| format!("{} {}", s.called.number, shortened(&s.called.name, 40))))
            .collect()
    };
    let figures: Vec<bool> = [false].into_iter().chain(saddles.iter().map(|_| true)).collect();
    let mut rows: Vec<Vec<String>> = Vec::new();
    let mut differences = Vec::new();
    for name in view.named_widths() {
        let of = |one: &&One| one.subject.sheet.width(name).cloned();
        let said = saddles.iter().map(|s| of(s).map_or("not measured".into(), |w| units.first(w.mm, w.u95)));
        rows.push([words::width(name)].into_iter().chain(said).collect());
        let first = saddles[0].subject.sheet;
        if first.width(name).is_none() {
            continue;
        }
        let said = saddles[1..].iter().map(|s| match wider_by(s.subject.sheet, first, name) {
            Some([mm, u95]) if mm.abs() > u95 => format!("{} {}", units.signed(mm), units.plus_minus(u95)),
            Some([mm, u95]) => format!("{} {}, not sure", units.signed(mm), units.plus_minus(u95)),
            None => "not measured".into(),
        });
        differences.push([words::width(name)].into_iter().chain(said).collect());
    }
    let taper = saddles.iter().map(|s| match &s.subject.sheet.front_taper {
        Some(t) => format!("{:.1} ± {}°", t.deg, half_width(t.u95, 1)).replace('-', "−"),
        None => "not measured".into(),
    });
    rows.push(["Front taper".into()].into_iter().chain(taper).collect());
    let length = saddles.iter().map(|s| units.whole(s.shape.length_mm));
    rows.push(["Midline, front to rear end".into()].into_iter().chain(length).collect());
    let caption = "± is the 95 % uncertainty.".into();
    let mut blocks = vec![Block::Table(Table { caption, head: head(), figures, rows })];
    if saddles.len() > 1 && !differences.is_empty() {
        let caption = format!(
            "How much wider than {}. ‘not sure’: the difference is within its 95 % uncertainty. Of two sheets \
             of one day and one print of the card, what the print makes wrong cancels.",
            saddles[0].called.name
        );
        let mut head = head();
        head.remove(1);
        head[0] = format!("Wider than {}", shortened(&saddles[0].called.name, 24));
        let figures = [false].into_iter().chain(saddles[1..].iter().map(|_| true)).collect();
        blocks.push(Block::Table(Table { caption, head, figures, rows: differences }));
    }
    blocks
}

/// The sheets without a measurement, with the reason.
fn left_out(subjects: &[Subject]) -> Option<Section> {
    let items: Vec<[String; 2]> = subjects
        .iter()
        .filter_map(|s| {
            let reason = match &s.sheet.refused {
                Some(refusal) => sentence(&refusal.text),
                None if Shape::of(s.sheet).is_none() => "The sheet keeps no traced edges.".into(),
                None => return None,
            };
            Some([s.sheet.saddle.name.clone(), reason])
        })
        .collect();
    let heading = "Without a measurement".into();
    (!items.is_empty()).then(|| Section { id: "left-out", heading, blocks: vec![Block::Facts { items }] })
}

fn trace(subjects: &[Subject]) -> Section {
    let rows = subjects.iter().map(|s| {
        let photo = s.sheet.photos.first();
        let short = |hash: &str| hash.chars().take(12).collect::<String>();
        let taken = photo.and_then(|p| p.taken.as_deref()).map_or("", day);
        let of_each =
            |say: &dyn Fn(&Photo) -> String| s.sheet.photos.iter().map(say).collect::<Vec<_>>().join(", ");
        vec![
            s.sheet.saddle.name.clone(),
            s.file.clone(),
            short(&s.sha256),
            of_each(&|p| p.file.clone()),
            of_each(&|p| short(&p.sha256)),
            taken.to_owned(),
        ]
    });
    let head = ["", "Sheet", "SHA-256 begins", "Photo", "SHA-256 begins", "Taken"];
    let table = Table {
        caption: format!("Report by seatspan {}.", env!("CARGO_PKG_VERSION")),
        head: head.map(str::to_owned).to_vec(),
        figures: vec![false; 6],
        rows: rows.collect(),
    };
    Section { id: "trace", heading: "Trace".into(), blocks: vec![Block::Table(table)] }
}
