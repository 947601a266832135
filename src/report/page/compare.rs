//! The report on several saddles: outlines and widths laid over one another.

use super::document::{Block, Captioned, Document, Section, Table};
use super::single::{Options, Purpose, ReportSubject, cautions, day, judged, short_hash};
use crate::fit::compare::{label, wider_by};
use crate::numeric::words::{Part, View};
use crate::report::figure::chart::{CHART_MM, NARROW_MM};
use crate::report::figure::comparison::{LegendPlace, Numbered, outlines, widths};
use crate::report::figure::plan::window_mm;
use crate::report::shape::Shape;
use crate::report::units::{Units, half_width};
use crate::report::words::{self, sentence, shortened};
use crate::sheet::{PhotoRecord, Sheet};

/// A measured saddle of the comparison.
struct Compared<'a> {
    sheet: &'a Sheet,
    shape: Shape,
    /// One number for all sheets of a name.
    saddle: Numbered,
}

impl<'a> Compared<'a> {
    /// A measured sheet; none of a refused one. `names` are those of all saddles.
    fn of(sheet: &'a Sheet, name: &str, names: &[&str]) -> Option<Self> {
        let shape = Shape::of(sheet).filter(|_| sheet.refused.is_none())?;
        let number = 1 + names.iter().position(|n| *n == name)?;
        Some(Self { sheet, shape, saddle: Numbered { number, name: name.to_owned() } })
    }
}

/// The report.
pub fn document(subjects: &[ReportSubject], options: &Options) -> Document {
    let verdicts = options.verdicts.filter(|_| options.purpose == Purpose::Fitter);
    let labels: Vec<String> =
        subjects.iter().map(|s| label(subjects.iter().map(|s| s.sheet), s.sheet)).collect();
    let mut names: Vec<&str> = Vec::new();
    for name in labels.iter().map(String::as_str) {
        if !names.contains(&name) {
            names.push(name);
        }
    }
    let measured: Vec<Compared> = subjects
        .iter()
        .zip(&labels)
        .filter_map(|(subject, label)| Compared::of(subject.sheet, label, &names))
        .collect();
    let mut sections: Vec<Section> = verdicts.map(judged).into_iter().collect();
    for view in [View::Top, View::Underside] {
        let of_view: Vec<&Compared> = measured.iter().filter(|one| one.shape.view == view).collect();
        if !of_view.is_empty() {
            sections.extend(one_view(view, &of_view, options.units));
        }
    }
    sections.extend(left_out(subjects));
    sections.extend([cautions(options.purpose), trace(subjects)]);
    Document {
        letterhead: Vec::new(),
        kind: "Comparison of saddles".into(),
        title: names.join(", "),
        subtitle: format!("{} sheets", subjects.len()),
        sections,
        foot: shortened(&format!("Comparison of {}", names.join(", ")), 90),
    }
}

fn one_view(view: View, compared: &[&Compared], units: Units) -> [Section; 3] {
    let ids = match view {
        View::Top => ["top-outlines", "top-widths", "top-along"],
        View::Underside => ["underside-outlines", "underside-widths", "underside-along"],
    };
    let seen = format!("Seen {}", words::seen(view));
    let saddles: Vec<Numbered> = compared.iter().map(|one| one.saddle.clone()).collect();
    let shapes: Vec<&Shape> = compared.iter().map(|one| &one.shape).collect();
    let sheets: Vec<&Sheet> = compared.iter().map(|one| one.sheet).collect();
    let width = window_mm(&shapes)[2];
    let of = [4.0, 5.0, 6.0, 8.0, 10.0].into_iter().find(|of| width / of <= 88.0).unwrap_or(15.0);
    let parts: &[(Part, &str)] = match view {
        View::Top => &[(Part::Seat, "Edges of the seat")],
        View::Underside => {
            &[(Part::Seat, "Outer edges of the panels"), (Part::Channel, "Edges of the channel")]
        }
    };
    let outlines = parts.iter().map(|(part, line)| {
        let [wide, narrow] = [LegendPlace::Beside, LegendPlace::Below]
            .map(|place| outlines(&shapes, &saddles, *part, of, place));
        let caption = format!("{line} at 1:{of:.0}, with their front ends and midlines together.");
        Block::Figures(vec![Captioned::new(wide, Some(narrow), caption)])
    });
    let along = parts.iter().map(|(part, line)| {
        let draw = |width_mm| widths(&sheets, &saddles, *part, line, width_mm);
        let caption = format!("{line}: width at every twentieth of each saddle’s own midline.");
        Captioned::at_both_widths(draw, [CHART_MM, NARROW_MM], caption)
    });
    [
        Section::new(ids[0], format!("{seen}: outlines"), outlines.collect()),
        Section::new(ids[1], format!("{seen}: named widths"), tables(view, compared, units)),
        Section::new(ids[2], format!("{seen}: along the saddle"), along.collect()),
    ]
}

/// One table of widths, a column a saddle, and one of differences from the first.
fn tables(view: View, compared: &[&Compared], units: Units) -> Vec<Block> {
    let row = |first: String, cells: &mut dyn Iterator<Item = String>| -> Vec<String> {
        [first].into_iter().chain(cells).collect()
    };
    let missing = || "not measured".to_owned();
    let (first, others) = (compared[0], &compared[1..]);
    let mut rows = Vec::new();
    let mut differences = Vec::new();
    for &name in view.named_widths() {
        let width =
            |one: &&Compared| one.sheet.width(name).map_or_else(missing, |w| units.first(w.mm, w.u95));
        rows.push(row(words::width(Some(view), name).into(), &mut compared.iter().map(width)));
        let difference = |one: &&Compared| match wider_by(one.sheet, first.sheet, name) {
            Some([mm, u95]) => {
                let sure = if mm.abs() > u95 { "" } else { ", not sure" };
                format!("{} {}{sure}", units.signed(mm), units.plus_minus(u95))
            }
            None => missing(),
        };
        if first.sheet.width(name).is_some() {
            differences.push(row(words::width(Some(view), name).into(), &mut others.iter().map(difference)));
        }
    }
    let taper = |one: &&Compared| match &one.sheet.front_taper {
        Some(t) => format!("{:.1} ± {}°", t.deg, half_width(t.u95, 1)).replace('-', "−"),
        None => missing(),
    };
    rows.push(row("Front taper".into(), &mut compared.iter().map(taper)));
    let length = |one: &&Compared| units.whole(one.shape.length_mm);
    rows.push(row("Midline, front to rear end".into(), &mut compared.iter().map(length)));
    let name = |one: &&Compared| format!("{} {}", one.saddle.number, shortened(&one.saddle.name, 40));
    let head = row(String::new(), &mut compared.iter().map(name));
    let caption = "± is the 95 % uncertainty.".into();
    let mut blocks = vec![Block::Table(Table { caption, head, figures_from: 1, rows })];
    if !others.is_empty() && !differences.is_empty() {
        let reference = &first.saddle.name;
        let caption = format!(
            "How much wider than {reference}. ‘not sure’: the difference is within its 95 % uncertainty. An error in the \
             print of the card cancels between sheets of one day and one print."
        );
        let wider = format!("Wider than {}", shortened(reference, 24));
        let head = row(wider, &mut others.iter().map(name));
        blocks.push(Block::Table(Table { caption, head, figures_from: 1, rows: differences }));
    }
    blocks
}

/// The sheets without a measurement, with the reason.
fn left_out(subjects: &[ReportSubject]) -> Option<Section> {
    let reason = |s: &ReportSubject| {
        let reason = match &s.sheet.refused {
            Some(refusal) => sentence(&refusal.text),
            None if Shape::of(s.sheet).is_none() => "The sheet keeps no traced edges.".into(),
            None => return None,
        };
        Some([s.sheet.saddle.name.clone(), reason])
    };
    let items: Vec<[String; 2]> = subjects.iter().filter_map(reason).collect();
    let any = !items.is_empty();
    any.then(|| Section::new("left-out", "Without a measurement", vec![Block::Facts(items)]))
}

fn trace(subjects: &[ReportSubject]) -> Section {
    let row = |s: &ReportSubject| {
        let each =
            |of: fn(&PhotoRecord) -> String| s.sheet.photos.iter().map(of).collect::<Vec<_>>().join(", ");
        let taken = s.sheet.photos.first().and_then(|p| p.taken.as_deref()).map_or("", day);
        vec![
            s.sheet.saddle.name.clone(),
            s.file.clone(),
            short_hash(&s.sha256),
            each(|p| p.file.clone()),
            each(|p| short_hash(&p.sha256)),
            taken.to_owned(),
        ]
    };
    let head = ["", "Sheet", "SHA-256 begins", "Photo", "SHA-256 begins", "Taken"];
    let table = Table {
        caption: format!("Report by seatspan {}.", env!("CARGO_PKG_VERSION")),
        head: head.map(str::to_owned).to_vec(),
        figures_from: usize::MAX,
        rows: subjects.iter().map(row).collect(),
    };
    Section::new("trace", "Files", vec![Block::Table(table)])
}
