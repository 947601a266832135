//! How sure the widths are, and what would make them surer.

use super::document::{Block, Captioned, Note, Section};
use crate::report::figure::budget::{budget, influences};
use crate::report::figure::chart::{CHART_MM, NARROW_MM};
use crate::report::shape::{KeyedWidth, Shape};
use crate::report::text::stretch;
use crate::report::units::half_width;
use crate::report::words::{better, sentence, unbroken, width};
use crate::sheet::{Doubt, Sheet};

/// The largest contributions in words, and all of them as bars.
pub fn uncertainty(sheet: &Sheet, shape: &Shape) -> Section {
    let mut blocks = Vec::new();
    if !sheet.budget.is_empty() {
        let sources = shape.named.iter().filter_map(|w| main_sources(sheet, w)).collect();
        blocks.push(Block::Text("Main sources of uncertainty, with their share:".into()));
        blocks.push(Block::Facts(sources));
        let caption = "Contributions to the standard uncertainty of each width, mm. They add by their squares; the 95 % \
                       uncertainty is 1.96 times the root of their sum, or a little more where scatter decides.";
        let draw = |width_mm| budget(sheet, shape, width_mm);
        blocks.push(Captioned::at_both_widths(draw, [CHART_MM, NARROW_MM], caption));
    }
    Section::new("budget", "How sure it is", blocks)
}

/// The contributions of at least a tenth of a width's variance.
fn main_sources(sheet: &Sheet, of: &KeyedWidth) -> Option<[String; 2]> {
    let mut lines: Vec<_> = sheet.budget.iter().filter(|l| l.of == of.name).collect();
    lines.sort_by(|a, b| b.u.total_cmp(&a.u));
    let variance: f64 = lines.iter().map(|l| l.u * l.u).sum();
    let shares = lines.iter().map(|l| (l.from.in_words(), 100.0 * l.u * l.u / variance));
    let main: Vec<String> = shares
        .take_while(|(_, share)| *share >= 10.0)
        .map(|(words, share)| format!("{words} ({share:.0} %)"))
        .collect();
    let sources = format!("± {} mm: {}", half_width(of.u95, 1), main.join(", "));
    let any = !main.is_empty();
    any.then(|| [format!("{} · {}", of.key, width(sheet.view, of.name)), unbroken(&sources)])
}

/// What the user can do, from the warnings, the doubts and the largest contribution.
pub fn improvements(sheet: &Sheet, shape: &Shape) -> Option<Section> {
    let warnings = sheet.warnings.iter();
    let mut items: Vec<Note> =
        warnings.map(|w| Note::plain(sentence(&sheet.warning_text(w)), sentence(&w.hint))).collect();
    items.extend(sheet.doubts.iter().map(doubt));
    let advice = influences(sheet).into_iter().map(|from| (from.in_words(), better(from)));
    if let Some((is, better)) = advice.into_iter().find(|(_, better)| !better.is_empty())
        && !shape.named.is_empty()
    {
        let title = format!("Main source of uncertainty that can be reduced: {is}.");
        items.push(Note::plain(title, sentence(better)));
    }
    let any = !items.is_empty();
    any.then(|| Section::new("better", "What would make it better", vec![Block::Notes(items)]))
}

fn doubt(d: &Doubt) -> Note {
    let stretch = stretch([d.from_at, d.to_at]);
    let title = format!("The {}’s {} edge {stretch} is in doubt.", d.part.as_str(), d.side.as_str());
    let side = if d.apart_mm < 0.0 { "inside" } else { "outside" };
    let (apart, share) = (d.apart_mm.abs(), 100.0 * d.probability);
    let text = format!(
        "A line {apart:.1} mm further {side} may be the edge ({share:.0} %). Look at the photo there."
    );
    Note::plain(title, text)
}
