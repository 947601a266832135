//! The report on one saddle.

use super::document::{Block, Captioned, Document, KeyFigure, Note, Section, Table};
use crate::numeric::words::View;
use crate::photo::Photo;
use crate::report::figure::chart::{CHART_MM, Limit, NARROW_MM};
use crate::report::figure::plan::{self, RULERS_MM, window_mm};
use crate::report::figure::{budget, chart, evenness, photo};
use crate::report::shape::Shape;
use crate::report::text::stretch;
use crate::report::units::{Units, half_width};
use crate::report::words::{self, sentence, shortened, unbroken, with_minus};
use crate::sheet::{LiftSource, MidlineSource, Sheet};
use crate::width::COVERAGE;

/// A sheet with the files it belongs to.
#[derive(Debug)]
pub struct Subject<'a> {
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
    /// The fitter and the client.
    #[default]
    Client,
    /// A buyer elsewhere: the geometry and how sure it is, nothing about a rider.
    Sale,
}

/// What was judged of a saddle for a rider, ready to be drawn. Nothing here is computed by the report.
#[derive(Debug, Clone, Default)]
pub struct Verdicts {
    /// Whom it was judged for.
    pub rider: String,
    /// Each verdict with its reasons.
    pub notes: Vec<Note>,
    /// The rules' limits, for the chart.
    pub limits: Vec<Limit>,
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
}

/// The report.
///
/// # Errors
/// Where the picture of the photo cannot be made.
pub fn document(subject: &Subject, options: &Options) -> Result<Document, image::ImageError> {
    let sheet = subject.sheet;
    let mut sections = Vec::new();
    match (&sheet.refused, Shape::of(sheet)) {
        (None, Some(shape)) => measured(subject, &shape, options, &mut sections)?,
        (Some(refusal), _) => sections.push(refused(&refusal.text, &refusal.hint)),
        (None, None) => sections.push(refused(
            "the sheet keeps no traced edges",
            "measure the photo again with this program, and make the report from the new sheet",
        )),
    }
    sections.push(cautions(options.purpose));
    sections.push(trace(subject));
    Ok(Document {
        kind: kind(options.purpose).into(),
        title: sheet.saddle.name.clone(),
        subtitle: subtitle(sheet),
        sections,
        foot: foot(subject),
    })
}

fn kind(purpose: Purpose) -> &'static str {
    match purpose {
        Purpose::Client => "Saddle measurement",
        Purpose::Sale => "Geometry of a saddle for sale",
    }
}

fn subtitle(sheet: &Sheet) -> String {
    let view = sheet.view.map(|view| match view {
        View::Top => "seen from above",
        View::Underside => "seen from below",
    });
    let photos = match sheet.photos.len() {
        0 | 1 => "photo".to_owned(),
        count => format!("{count} photos together, the first"),
    };
    let taken = sheet.photos.first().and_then(|p| p.taken.as_deref());
    let taken = taken.map(|t| format!("{photos} of {}", day(t)));
    let note = sheet.saddle.note.clone();
    [view.map(str::to_owned), taken, note].into_iter().flatten().collect::<Vec<_>>().join(" · ")
}

/// The day of a date and time.
pub(super) fn day(taken: &str) -> &str {
    taken.split('T').next().unwrap_or(taken)
}

pub(super) fn foot(subject: &Subject) -> String {
    let short = |hash: &str| hash.chars().take(12).collect::<String>();
    let photos = match subject.sheet.photos.as_slice() {
        [] => String::new(),
        [one] => format!(" · photo {}", short(&one.sha256)),
        [first, further @ ..] => format!(" · photo {} and {} more", short(&first.sha256), further.len()),
    };
    let name = shortened(&subject.sheet.saddle.name, 48);
    format!("{name} · sheet {}{photos}", short(&subject.sha256))
}

fn refused(text: &str, hint: &str) -> Section {
    let items = vec![Note { word: Some("not measured".into()), title: sentence(text), text: sentence(hint) }];
    Section { id: "refused", heading: "No measurement".into(), blocks: vec![Block::Notes { items }] }
}

fn measured(
    subject: &Subject,
    shape: &Shape,
    options: &Options,
    sections: &mut Vec<Section>,
) -> Result<(), image::ImageError> {
    let sheet = subject.sheet;
    sections.push(key_figures(sheet, shape, options.units));
    let verdicts = options.verdicts.filter(|_| options.purpose == Purpose::Client);
    if let Some(verdicts) = verdicts {
        sections.push(judged(verdicts));
    }
    sections.push(to_scale(subject, shape)?);
    if options.purpose == Purpose::Sale {
        sections.push(check_it(options.true_scale));
    }
    sections.push(named_widths(shape, options.units));
    let limits = verdicts.map_or(&[][..], |v| &v.limits);
    sections.push(along(sheet, shape, limits));
    sections.push(left_and_right(sheet));
    sections.push(how_sure(sheet, shape));
    sections.extend(better(sheet, shape));
    sections.push(how_measured(sheet));
    Ok(())
}

fn key_figures(sheet: &Sheet, shape: &Shape, units: Units) -> Section {
    let first = |name: &str| shape.named.iter().find(|w| w.name == name);
    let mut items: Vec<KeyFigure> = ["seat.widest", "seat.waist", "channel.narrowest"]
        .iter()
        .filter_map(|name| first(name))
        .map(|w| KeyFigure {
            key: Some(w.key.clone()),
            label: words::width(&w.name),
            value: units.plain(w.mm),
            uncertainty: units.plus_minus(w.u95),
            second: units.second(w.mm),
        })
        .collect();
    items.extend(sheet.front_taper.as_ref().map(|taper| KeyFigure {
        key: None,
        label: "Front taper".into(),
        value: format!("{:.1}°", taper.deg).replace('-', "−"),
        uncertainty: format!("± {}°", half_width(taper.u95, 1)),
        second: words::taper(taper.deg, taper.u95).into(),
    }));
    let mut blocks = vec![Block::Keys { items }];
    if shape.named.is_empty() {
        blocks = vec![Block::text("No named width could be taken.")];
    }
    Section { id: "figures", heading: "In short".into(), blocks }
}

pub(super) fn judged(verdicts: &Verdicts) -> Section {
    let heading = format!("For {}", verdicts.rider);
    Section { id: "verdicts", heading, blocks: vec![Block::Notes { items: verdicts.notes.clone() }] }
}

/// The largest scale of 1:4, 1:5 ... at which photo and plan lie side by side.
fn scale(shape: &Shape) -> f64 {
    let width = window_mm(shape.reach_mm(), shape.length_mm)[2];
    let rulers = RULERS_MM[0] + RULERS_MM[2] + 5.0 + GAP_MM;
    [4.0, 5.0, 6.0, 8.0, 10.0, 15.0]
        .into_iter()
        .find(|of| 2.0 * width / of + rulers <= CHART_MM)
        .unwrap_or(20.0)
}

/// Between figures side by side, mm.
pub const GAP_MM: f64 = 4.0;

fn to_scale(subject: &Subject, shape: &Shape) -> Result<Section, image::ImageError> {
    let of = scale(shape);
    let sheet = subject.sheet;
    let mut items = Vec::new();
    let mut blocks = Vec::new();
    let picture = match &subject.photo {
        Ok(photo) => photo::straightened(photo, sheet, shape, of)?.ok_or_else(|| {
            "the sheet does not keep where the camera stood; measure the photo again".to_owned()
        }),
        Err(reason) => Err(reason.clone()),
    };
    let channel = shape.view == View::Underside;
    match picture {
        Ok(figure) => {
            let which = match sheet.photos.as_slice() {
                [first, further @ ..] if !further.is_empty() => {
                    format!("The first of {} photos, {},", sheet.photos.len(), first.file)
                }
                _ => "The photo".to_owned(),
            };
            let caption = format!(
                "{which} at 1:{of:.0}, turned square to the camera at the height of the seat’s edges."
            );
            items.push(Captioned::new(figure, None, caption));
        }
        Err(reason) => blocks.push(Block::text(format!("Without a picture: {}", sentence(&reason)))),
    }
    // Said here, where the line is longer, so that the figures have room on the first page.
    let dashed = if channel {
        ", dashed: the channel in its true place (it lies at another height, and the photo shows it a little beside that)"
    } else {
        ""
    };
    let caption = format!(
        "The same to scale, {}. Blue line: edge of the seat{dashed}. Dash and dot: the midline.",
        plan::seen(shape.view)
    );
    items.push(Captioned::new(plan::plan(shape, of), None, caption));
    blocks.push(Block::Figures { items });
    Ok(Section { id: "to-scale", heading: "Photo and plan".into(), blocks })
}

fn check_it(true_scale: bool) -> Section {
    let mut text = "Lay a straight caliper, or two rulers held upright against the outer sides of the piping, level \
                    across the saddle at the places lettered in the plan, at right angles to the midline, and read \
                    the distance. A tape laid over the seat follows its curve and reads more."
        .to_owned();
    if true_scale {
        text += " The plan at true scale is on the pages after this report: print them at 100 %, check their bars \
                 with a ruler, cut out the outline, and lay it on your own saddle.";
    }
    Section { id: "check", heading: "Check it yourself".into(), blocks: vec![Block::text(text)] }
}

fn named_widths(shape: &Shape, units: Units) -> Section {
    let mut rows: Vec<Vec<String>> = shape
        .named
        .iter()
        .map(|w| {
            let from_front = w.at * shape.length_mm;
            vec![
                w.key.clone(),
                words::width(&w.name),
                units.plain(w.mm),
                units.plus_minus(w.u95),
                units.second(w.mm),
                format!("{:.2}", w.at),
                units.whole(from_front),
            ]
        })
        .collect();
    let missing =
        shape.view.named_widths().iter().filter(|name| shape.named.iter().all(|w| w.name != **name));
    rows.extend(missing.map(|name| {
        let said = [String::new(), words::width(name), "not measured".into()];
        said.into_iter().chain(std::iter::repeat_n(String::new(), 4)).collect()
    }));
    let second = match units {
        Units::Millimetres => "in inches",
        Units::Inches => "in mm",
    };
    let head = ["", "Width", "Value", "95 %", second, "Station", "From the front end"];
    let table = Table {
        caption:
            "Each width is the level distance between the outer sides of the edges, at right angles to the \
                  midline; ± is the 95 % uncertainty."
                .into(),
        head: head.map(str::to_owned).to_vec(),
        figures: vec![false, false, true, true, true, true, true],
        rows,
    };
    Section { id: "widths", heading: "Named widths".into(), blocks: vec![Block::Table(table)] }
}

fn along(sheet: &Sheet, shape: &Shape, limits: &[Limit]) -> Section {
    let missing = sheet.stations.iter().filter(|s| s.seat.is_none()).count();
    let gaps = if missing > 0 { " Where the line is broken the edge could not be traced." } else { "" };
    let figure = Captioned::new(
        chart::widths(sheet, shape, limits, CHART_MM),
        Some(chart::widths(sheet, shape, limits, NARROW_MM)),
        format!("Width at every twentieth of the midline; the band is the 95 % uncertainty.{gaps}"),
    );
    Section {
        id: "along",
        heading: "Along the saddle".into(),
        blocks: vec![Block::Figures { items: vec![figure] }],
    }
}

fn left_and_right(sheet: &Sheet) -> Section {
    let figure = Captioned::new(
        evenness::evenness(sheet, CHART_MM),
        Some(evenness::evenness(sheet, NARROW_MM)),
        "Difference of the two halves, measured from the midline. It hangs on where the midline was put: \
                  an end that is 1 mm beside the true one changes it by up to 2 mm.",
    );
    Section {
        id: "evenness",
        heading: "Left and right".into(),
        blocks: vec![Block::Figures { items: vec![figure] }],
    }
}

fn how_sure(sheet: &Sheet, shape: &Shape) -> Section {
    let mut blocks: Vec<Block> =
        shape.named.iter().filter_map(|w| in_words(sheet, &w.key, &w.name, w.u95)).collect();
    if !sheet.budget.is_empty() {
        let figure = budget::budget(sheet, shape, CHART_MM);
        let narrow = Some(budget::budget(sheet, shape, NARROW_MM));
        let caption = "Contributions to the standard uncertainty of each width, mm. They add by their squares; the 95 % \
                       uncertainty is 1.96 times the root of their sum, or a little more where scatter decides.";
        blocks.push(Block::Figures { items: vec![Captioned::new(figure, narrow, caption)] });
    }
    Section { id: "budget", heading: "How sure it is".into(), blocks }
}

/// The largest contributions to one width, with their share of the whole.
fn in_words(sheet: &Sheet, key: &str, name: &str, u95: f64) -> Option<Block> {
    let mut lines: Vec<_> = sheet.budget.iter().filter(|l| l.of == name).collect();
    lines.sort_by(|a, b| b.u.total_cmp(&a.u));
    let whole: f64 = lines.iter().map(|l| l.u * l.u).sum();
    let share = |u: f64| 100.0 * u * u / whole;
    let said: Vec<String> = lines
        .iter()
        .take_while(|l| share(l.u) >= 10.0)
        .map(|l| format!("{} ({:.0}\u{a0}%)", words::influence(&l.from).0, share(l.u)))
        .collect();
    let said = match said.as_slice() {
        [] => return None,
        [one] => one.clone(),
        [all @ .., last] => format!("{} and {last}", all.join(", ")),
    };
    let width = words::width(name);
    Some(Block::text(unbroken(&format!("{key} · {width}, ± {} mm: mostly {said}.", half_width(u95, 1)))))
}

/// What the user can do, from the warnings, the doubts and the largest lines of the budget.
fn better(sheet: &Sheet, shape: &Shape) -> Option<Section> {
    let mut items: Vec<Note> = sheet
        .warnings
        .iter()
        .map(|w| Note::plain(sentence(&sheet.warning_text(w)), sentence(&w.hint)))
        .collect();
    items.extend(sheet.doubts.iter().map(|d| {
        let stretch = stretch([d.from_at, d.to_at]);
        let place = format!("The {}’s {} edge {stretch} is in doubt.", d.part.as_str(), d.side.as_str());
        let side = if d.apart_mm < 0.0 { "inside" } else { "outside" };
        let text = format!(
            "A line {:.1} mm further {side} may be the edge ({:.0} %). Look at the photo there.",
            d.apart_mm.abs(),
            100.0 * d.probability
        );
        Note::plain(place, text)
    }));
    let largest = budget::influences(sheet);
    let advice = largest.iter().map(|from| words::influence(from)).find(|(_, better)| !better.is_empty());
    if let Some((is, better)) = advice.filter(|_| !shape.named.is_empty()) {
        let title = format!("The largest part of the uncertainty that can be made smaller: {is}.");
        items.push(Note::plain(title, sentence(better)));
    }
    let heading = "What would make it better".into();
    (!items.is_empty()).then(|| Section { id: "better", heading, blocks: vec![Block::Notes { items }] })
}

fn how_measured(sheet: &Sheet) -> Section {
    let mut items: Vec<[String; 2]> = Vec::new();
    let mut fact = |word: &str, is: String| items.push([word.into(), is]);
    for (i, photo) in sheet.photos.iter().enumerate() {
        let camera = photo.camera.as_ref().map_or(String::new(), |c| format!(", {c}"));
        let taken =
            photo.taken.as_ref().map_or(String::new(), |t| format!(", taken {}", t.replace('T', " ")));
        let is = format!("{}, {} × {} px{camera}{taken}", photo.file, photo.width_px, photo.height_px);
        fact(&numbered("Photo", i, sheet.photos.len()), is);
    }
    // A sheet keeps the camera and the cards of its first photo.
    let of_which = if sheet.photos.len() > 1 { " (in the first photo)" } else { "" };
    for (i, card) in sheet.cards.iter().enumerate() {
        let scale = words::printed_at(card);
        let (pattern, copy, tags, rms) = (&card.pattern, card.copy, card.tags, card.rms_px);
        let fit = format!("{pattern} {copy}: {tags} tags, within {rms:.2} px (RMS){scale}");
        fact(&numbered("Reference card", i, sheet.cards.len()), format!("{fit}{of_which}"));
    }
    if let Some(c) = &sheet.camera {
        let focal =
            format!("{:.0} ± {:.0} px, {}", c.focal_px, COVERAGE * c.focal_u_px, c.focal_source.in_words());
        let (height, tilt) = (c.height_mm, c.tilt_deg);
        let place = format!("{height:.0} mm above the card, tilted {tilt:.1}°");
        fact("Camera", format!("{place}; focal length {focal}{of_which}"));
    }
    if let Some(m) = &sheet.midline {
        let source = match m.source {
            MidlineSource::Given => "its ends were given by hand",
            MidlineSource::Found if sheet.photos.len() > 1 => "found in the photos",
            MidlineSource::Found => "found in the photo",
        };
        fact("Midline", format!("{:.1} mm long; {source}", m.length_mm));
    }
    if !sheet.hints.is_empty() {
        fact("Edges", shown_by_hand(sheet.hints.len()));
    }
    for stretch in &sheet.hidden {
        fact("Struck out by hand", stretch.in_words());
    }
    if let Some(lift) = &sheet.lift {
        let channel = sheet.view == Some(View::Underside);
        for (word, rows, us, seen) in [
            ("Lift of the seat", &lift.seat, &lift.seat_u, true),
            ("Lift of the channel", &lift.channel, &lift.channel_u, channel),
        ] {
            if seen || rows.is_some() {
                fact(word, lifts(lift.source, rows.as_deref(), us.as_deref()));
            }
        }
    }
    let method = "The printed card gives the scale and the camera’s place. The edges are traced in the photo’s own \
                  pixels; each viewing ray is cut at the height of the edge (the lift: its height over the card), and \
                  widths are taken level, at right angles to the midline from the front end to the rear end. The 95 % \
                  uncertainty follows JCGM 100 (GUM) with a coverage factor of 1.96 or, by the degrees of freedom, a \
                  little more: the width that a level caliper shows is meant to lie within it in about 95 of 100 cases.";
    let blocks = vec![Block::text(method), Block::Facts { items }];
    Section { id: "method", heading: "How it was measured".into(), blocks }
}

/// A word before a fact, with its number where there are several of them.
fn numbered(word: &str, i: usize, count: usize) -> String {
    if count > 1 { format!("{word} {}", i + 1) } else { word.to_owned() }
}

/// Lifts at their stations with, where it is kept, their 95 % uncertainty, and where they come from.
fn lifts(source: LiftSource, rows: Option<&[[f64; 2]]>, us: Option<&[f64]>) -> String {
    let unknown = "not known, and allowed for in the uncertainty";
    let source = match source {
        LiftSource::Given => "measured by hand",
        LiftSource::Photos => "told by the photos",
        LiftSource::Assumed => unknown,
    };
    let Some(rows) = rows else { return unknown.into() };
    let said: Vec<String> = rows
        .iter()
        .enumerate()
        .map(|(i, [at, mm])| match us.and_then(|us| us.get(i)) {
            Some(u) => format!("{mm:.0} ± {:.0} mm at\u{a0}{at:.2}", COVERAGE * u),
            None => format!("{mm:.0} mm at\u{a0}{at:.2}"),
        })
        .collect();
    let sure = if us.is_some() { "; ± is the 95 % uncertainty" } else { "" };
    unbroken(&with_minus(&format!("{} ({source}{sure})", said.join(", "))))
}

/// What a report says of points of the edges that a person has shown.
fn shown_by_hand(points: usize) -> String {
    let points =
        if points == 1 { "a point that was".to_owned() } else { format!("{points} points that were") };
    format!("traced through {points} shown by hand")
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
    Section { id: "cautions", heading: "Before you rely on it".into(), blocks: vec![Block::Notes { items }] }
}

pub(super) fn trace(subject: &Subject) -> Section {
    let sheet = subject.sheet;
    let program = |s: &crate::sheet::Software| format!("{} {}", s.name, s.version);
    let mut items = vec![["Report by".to_owned(), program(&crate::sheet::Software::this())]];
    items.extend(sheet.software.as_ref().map(|s| ["Measured by".to_owned(), program(s)]));
    items.push(["Sheet".into(), format!("{} ({})", subject.file, sheet.schema)]);
    items.push(["SHA-256 of the sheet".into(), subject.sha256.clone()]);
    for (i, photo) in sheet.photos.iter().enumerate() {
        let word = numbered("Photo", i, sheet.photos.len());
        let hash = format!("SHA-256 of {}", word.to_lowercase());
        items.extend([[word, photo.file.clone()], [hash, photo.sha256.clone()]]);
    }
    Section { id: "trace", heading: "Trace".into(), blocks: vec![Block::Facts { items }] }
}
