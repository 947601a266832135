//! The report on one saddle.

use super::document::{Block, Captioned, Document, KeyFigure, Note, Section, Table};
use super::method::{method, trace};
use super::pieces::GAP_MM;
use super::uncertainty::{improvements, uncertainty};
use crate::numeric::words::{NamedWidth, Part, View};
use crate::photo::Photo;
use crate::report::figure::chart::{CHART_MM, LimitRange, NARROW_MM, widths};
use crate::report::figure::photo::straightened;
use crate::report::figure::plan::{RULERS_MM, plan, window_mm};
use crate::report::figure::symmetry::symmetry;
use crate::report::shape::Shape;
use crate::report::units::{Units, half_width};
use crate::report::words::{self, sentence, shortened};
use crate::sheet::Sheet;

/// A sheet with the files it belongs to.
#[derive(Debug)]
pub struct ReportSubject<'a> {
    /// The sheet.
    pub sheet: &'a Sheet,
    /// Its file's name.
    pub file: String,
    /// SHA-256 of its file.
    pub sha256: String,
    /// The photo, or in a few words why there is none.
    pub photo: Result<Photo, String>,
}

/// For whom a report is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Purpose {
    /// The fitter: everything.
    #[default]
    Fitter,
    /// The client: one page.
    Client,
    /// A buyer elsewhere: the geometry and its uncertainty, nothing about a rider.
    Sale,
}

/// What was judged of a saddle for a rider, ready to be drawn.
#[derive(Debug, Clone, Default)]
pub struct Verdicts {
    /// The rider.
    pub rider: String,
    /// The short answer: for rider and horse, and on the saddle itself.
    pub answer: Vec<Note>,
    /// Rule by rule, with what was assumed.
    pub rules: Vec<Note>,
    /// The rules' limits, each for the chart of a view.
    pub limits: Vec<(View, LimitRange)>,
}

/// What a report shows.
#[derive(Debug, Clone, Default)]
pub struct Options<'a> {
    /// Which unit comes first.
    pub units: Units,
    /// For whom it is.
    pub purpose: Purpose,
    /// What was judged, when a rider was given.
    pub verdicts: Option<&'a Verdicts>,
    /// Whether the plan at true scale stands on pages after the report.
    pub true_scale: bool,
    /// What was entered by hand for a buyer: a title and the answer.
    pub sale: &'a [[String; 2]],
}

/// The report on one saddle, seen from one side or from several.
pub fn document(subjects: &[ReportSubject], options: &Options) -> Document {
    let shapes: Vec<Option<Shape>> = subjects.iter().map(|s| Shape::of(s.sheet)).collect();
    let seen: Vec<(&ReportSubject, &Shape)> = subjects
        .iter()
        .zip(&shapes)
        .filter_map(|(subject, shape)| Some((subject, shape.as_ref()?)))
        .filter(|(subject, _)| subject.sheet.refused.is_none())
        .collect();
    let verdicts = options.verdicts.filter(|_| options.purpose == Purpose::Fitter);
    let mut sections: Vec<Section> = Vec::new();
    if !seen.is_empty() {
        sections.push(key_figures(&seen, options));
        sections.extend(verdicts.map(judged));
    }
    for (subject, shape) in subjects.iter().zip(&shapes) {
        let of_view = match (&subject.sheet.refused, shape) {
            (None, Some(shape)) => measured(subject, shape, options),
            (Some(refusal), _) => vec![refused(&refusal.text, &refusal.hint)],
            (None, None) => vec![refused(
                "the sheet keeps no traced edges",
                "measure the photo again with this program, and make the report from the new sheet",
            )],
        };
        let several = subjects.len() > 1;
        sections.extend(of_view.into_iter().map(|section| match subject.sheet.view.filter(|_| several) {
            Some(view) => Section {
                id: format!("{}-{}", view.as_str(), section.id),
                heading: format!("{}, seen {}", section.heading, words::seen(view)),
                ..section
            },
            None => section,
        }));
    }
    if options.purpose == Purpose::Sale && !seen.is_empty() {
        sections.insert(1, check_it(subjects, options.true_scale));
        let by_hand =
            || Section::new("by-hand", "Entered by hand", vec![Block::Facts(options.sale.to_vec())]);
        sections.splice(1..1, (!options.sale.is_empty()).then(by_hand));
    }
    sections.extend(verdicts.filter(|_| !seen.is_empty()).and_then(rule_by_rule));
    sections.extend([cautions(options.purpose), trace(subjects)]);
    let kind = match options.purpose {
        Purpose::Sale => "Geometry of a saddle for sale",
        _ => "Saddle measurement",
    };
    let (title, subtitle) = (subjects[0].sheet.saddle.name.clone(), subtitle(subjects));
    Document { kind: kind.into(), title, subtitle, sections, foot: foot(subjects), ..Document::default() }
}

fn subtitle(subjects: &[ReportSubject]) -> String {
    let mut parts: Vec<String> = Vec::new();
    let views: Vec<&str> = subjects.iter().filter_map(|s| s.sheet.view).map(words::seen).collect();
    parts.extend((!views.is_empty()).then(|| format!("seen {}", views.join(" and "))));
    let photos: Vec<_> = subjects.iter().flat_map(|s| &s.sheet.photos).collect();
    let mut days: Vec<&str> = photos.iter().filter_map(|p| p.taken.as_deref()).map(day).collect();
    days.dedup();
    parts.extend(days.first().map(|first| match photos.len() {
        0 | 1 => format!("photo of {first}"),
        count if subjects.len() > 1 => format!("{count} photos of {}", days.join(" and ")),
        count => format!("{count} photos together, the first of {first}"),
    }));
    let mut notes: Vec<&String> = subjects.iter().filter_map(|s| s.sheet.saddle.note.as_ref()).collect();
    notes.dedup();
    parts.extend(notes.into_iter().cloned());
    parts.join(" · ")
}

/// The day of a date and time.
pub(super) fn day(taken: &str) -> &str {
    taken.split('T').next().unwrap_or(taken)
}

/// The beginning of a SHA-256, enough to recognise a file by.
pub(super) fn short_hash(hash: &str) -> String {
    hash.chars().take(12).collect()
}

fn foot(subjects: &[ReportSubject]) -> String {
    let sheets: Vec<String> = subjects.iter().map(|s| short_hash(&s.sha256)).collect();
    let photos = match subjects.iter().flat_map(|s| &s.sheet.photos).collect::<Vec<_>>().as_slice() {
        [] => String::new(),
        [one] => format!(" · photo {}", short_hash(&one.sha256)),
        [first, others @ ..] => format!(" · photo {} and {} more", short_hash(&first.sha256), others.len()),
    };
    let name = shortened(&subjects[0].sheet.saddle.name, 48);
    format!("{name} · sheet {}{photos}", sheets.join(", "))
}

fn refused(text: &str, hint: &str) -> Section {
    let note = Note { word: Some("not measured".into()), title: sentence(text), text: sentence(hint) };
    Section::new("refused", "No measurement", vec![Block::Notes(vec![note])])
}

/// What one view shows.
fn measured(subject: &ReportSubject, shape: &Shape, options: &Options) -> Vec<Section> {
    let (sheet, units) = (subject.sheet, options.units);
    let limits =
        options.verdicts.filter(|_| options.purpose == Purpose::Fitter).map_or(&[][..], |v| &v.limits);
    let limits: Vec<LimitRange> = limits.iter().filter(|l| l.0 == shape.view).map(|l| l.1.clone()).collect();
    let sections = [
        Some(photo_and_plan(subject, shape)),
        Some(named_widths(shape, units)),
        Some(along(sheet, shape, &limits)),
        Some(left_and_right(sheet)),
        Some(uncertainty(sheet, shape)),
        improvements(sheet, shape),
        Some(method(sheet)),
    ];
    sections.into_iter().flatten().collect()
}

/// The cautions in two lines, for the first page.
const CAUTION: &str = "A photo does not replace a qualified saddle fitter. If riding hurts, numbs or makes you bleed, stop and see \
    a doctor; if the horse’s back is sore, call a vet. Never ride on a broken tree.";

/// The widths that matter most, with letters where one view's figures use them.
fn key_figures(seen: &[(&ReportSubject, &Shape)], options: &Options) -> Section {
    let units = options.units;
    let widths = [NamedWidth::SeatWidest, NamedWidth::SeatWaist, NamedWidth::ChannelNarrowest];
    let mut items: Vec<KeyFigure> = Vec::new();
    for (subject, shape) in seen {
        let of_view = widths
            .iter()
            .filter(|name| seen.len() == 1 || (name.part() == Part::Seat) == (shape.view == View::Top));
        items.extend(of_view.filter_map(|name| shape.named.iter().find(|w| w.name == *name)).map(|w| {
            KeyFigure {
                key: (seen.len() == 1).then(|| w.key.clone()),
                label: words::width(Some(shape.view), w.name).into(),
                value: units.plain(w.mm),
                uncertainty: units.plus_minus(w.u95),
                second: units.second(w.mm),
            }
        }));
        items.extend(
            subject.sheet.front_taper.as_ref().filter(|_| seen.len() == 1 || shape.view == View::Top).map(
                |taper| KeyFigure {
                    key: None,
                    label: "Front taper".into(),
                    value: format!("{:.1}°", taper.deg).replace('-', "−"),
                    uncertainty: format!("± {}°", half_width(taper.u95, 1)),
                    second: words::taper(taper.deg, taper.u95).into(),
                },
            ),
        );
    }
    let block = match seen.iter().any(|(_, shape)| !shape.named.is_empty()) {
        true => Block::KeyFigures(items),
        false => Block::Text("No named width could be measured.".into()),
    };
    Section::new("figures", "In short", vec![block, Block::Text(CAUTION.into())])
}

pub(super) fn judged(verdicts: &Verdicts) -> Section {
    let heading = format!("For {}", verdicts.rider);
    Section::new("verdicts", heading, vec![Block::Notes(verdicts.answer.clone())])
}

/// The verdicts rule by rule.
fn rule_by_rule(verdicts: &Verdicts) -> Option<Section> {
    let notes = || vec![Block::Notes(verdicts.rules.clone())];
    (!verdicts.rules.is_empty()).then(|| Section::new("rules", "Rule by rule", notes()))
}

/// The largest scale of 1:4, 1:5 ... at which photo and plan fit side by side.
fn scale(shape: &Shape) -> f64 {
    let width = window_mm(&[shape])[2];
    let rulers = RULERS_MM[0] + RULERS_MM[2] + 5.0 + GAP_MM;
    let fits = |of: &f64| 2.0 * width / of + rulers <= CHART_MM;
    [4.0, 5.0, 6.0, 8.0, 10.0, 15.0].into_iter().find(fits).unwrap_or(20.0)
}

fn photo_and_plan(subject: &ReportSubject, shape: &Shape) -> Section {
    let (of, sheet) = (scale(shape), subject.sheet);
    let (mut items, mut blocks) = (Vec::new(), Vec::new());
    let picture = match &subject.photo {
        Ok(photo) => straightened(photo, sheet, shape, of)
            .ok_or("the sheet does not keep where the camera stood; measure the photo again"),
        Err(reason) => Err(reason.as_str()),
    };
    match picture {
        Ok(figure) => {
            let which = match sheet.photos.as_slice() {
                [first, _, ..] => format!("The first of {} photos, {},", sheet.photos.len(), first.file),
                _ => "The photo".to_owned(),
            };
            let caption = format!(
                "{which} at 1:{of:.0}, straightened at the height of the {}.",
                words::outer_line(shape.view)
            );
            items.push(Captioned::new(figure, None, caption));
        }
        Err(reason) => blocks.push(Block::Text(format!("Without a picture: {}", sentence(reason)))),
    }
    // In the plan's caption, whose lines are longer, so that the figures fit on the first page.
    let dashed = match shape.view {
        View::Underside => {
            ", dashed: the channel in its true place (the photo shows it a little beside that, as it is at another height)"
        }
        View::Top => "",
    };
    let caption = format!(
        "The plan at the same scale, seen {}. Blue: {}{dashed}. Dash and dot: the midline.",
        words::seen(shape.view),
        words::outer_line(shape.view)
    );
    items.push(Captioned::new(plan(shape, of), None, caption));
    blocks.push(Block::Figures(items));
    Section::new("to-scale", "Photo and plan", blocks)
}

/// How a buyer checks the widths, and that the figures are those of the sheet.
fn check_it(subjects: &[ReportSubject], true_scale: bool) -> Section {
    let mut text = "Lay a straight caliper, or two rulers held upright against the outer sides of the piping, level \
                    across the saddle at the places lettered in the plan, at right angles to the midline, and read \
                    the distance. A tape laid over the seat follows its curve and reads more. The PDF shows every width in \
                    its whole length on a landscape page."
        .to_owned();
    if true_scale {
        text += " The plan at true scale is on the pages after this report. Print them at 100 %, check their bars \
                 with a ruler, cut out the outline, and lay it on your own saddle.";
    }
    let codes: Vec<String> = subjects.iter().map(|s| format!("{} ({})", code(&s.sha256), s.file)).collect();
    let check = format!(
        "Check code: {}. Ask the seller for the file: seatspan report FILE --verify CODE says whether it is the one that these \
         figures are from, and lists them.",
        codes.join(", ")
    );
    Section::new("check", "Check it yourself", vec![Block::Text(text), Block::Text(check)])
}

/// The check code of a sheet's file: the beginning of its SHA-256 in groups.
pub fn code(sha256: &str) -> String {
    let short = short_hash(sha256);
    [&short[..4.min(short.len())], short.get(4..8).unwrap_or(""), short.get(8..12).unwrap_or("")].join("-")
}

fn named_widths(shape: &Shape, units: Units) -> Section {
    let measured = shape.named.iter().map(|w| {
        vec![
            w.key.clone(),
            words::width(Some(shape.view), w.name).into(),
            units.plain(w.mm),
            units.plus_minus(w.u95),
            units.second(w.mm),
            format!("{:.2}", w.at),
            units.whole(w.at * shape.length_mm),
        ]
    });
    let missing =
        shape.view.named_widths().iter().filter(|name| shape.named.iter().all(|w| w.name != **name));
    let missing = missing.map(|name| {
        let mut row = vec![String::new(); 7];
        (row[1], row[2]) = (words::width(Some(shape.view), *name).into(), "not measured".into());
        row
    });
    let second = match units {
        Units::Millimetres => "in inches",
        Units::Inches => "in mm",
    };
    let head = ["", "Width", "Value", "95 %", second, "Place", "From the front end"];
    let table = Table {
        caption:
            "Each width is the level distance between the outer sides of the edges, at right angles to the \
                  midline; ± is the 95 % uncertainty. Places run from 0 at the front end to 1 at the rear end."
                .into(),
        head: head.map(str::to_owned).to_vec(),
        figures_from: 2,
        rows: measured.chain(missing).collect(),
    };
    Section::new("widths", "Named widths", vec![Block::Table(table)])
}

const CHARTS_MM: [f64; 2] = [CHART_MM, NARROW_MM];

fn along(sheet: &Sheet, shape: &Shape, limits: &[LimitRange]) -> Section {
    let gaps = match sheet.stations.iter().any(|s| s.seat.is_none()) {
        true => " Where the line is broken the edge could not be traced.",
        false => "",
    };
    let caption = format!("Width at every twentieth of the midline. The band is the 95 % uncertainty.{gaps}");
    let draw = |width_mm| widths(sheet, shape, limits, width_mm);
    let block = Captioned::at_both_widths(draw, CHARTS_MM, caption);
    Section::new("along", "Along the saddle", vec![block])
}

fn left_and_right(sheet: &Sheet) -> Section {
    let caption = "Difference of the two halves, measured from the midline. It depends on the position of the midline: an \
                   end that is off by 1 mm changes it by up to 2 mm.";
    let block = Captioned::at_both_widths(|width_mm| symmetry(sheet, width_mm), CHARTS_MM, caption);
    Section::new("symmetry", "Left and right", vec![block])
}

pub(super) fn cautions(purpose: Purpose) -> Section {
    let mut items = vec![
        Note::plain(
            "A photo does not replace a qualified saddle fitter.",
            "It sees nothing of the tree, the flocking or the horse’s back, and nothing of horse and rider in movement.",
        ),
        Note::plain(
            "If riding hurts, numbs or makes you bleed, stop and see a doctor.",
            "If the horse’s back is sore, call a vet. Never ride on a broken tree.",
        ),
        Note::plain("Local codes, rules of your sport and licensed practice come first.", ""),
    ];
    if purpose == Purpose::Sale {
        let text =
            "It says nothing of condition, safety or worth. Have the saddle looked at before you ride on it.";
        items.insert(0, Note::plain("This sheet gives geometry only.", text));
    }
    Section::new("cautions", "Before you rely on it", vec![Block::Notes(items)])
}
