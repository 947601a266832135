//! The client's page: one page with the cautions, the fitter's recommendation, the widths that matter against the rider's and
//! the horse's own measures, and what to do next.

use super::document::{Block, Captioned, Document, Note, Section};
use super::layout::pages;
use super::single::day;
use crate::canvas::Paper;
use crate::fit::assess::CAUTIONS;
use crate::fit::result::Assessment;
use crate::numeric::words::{NamedWidth, View};
use crate::report::assessment::{add_step, not_known, reasons, standing_words};
use crate::report::figure::chart::NARROW_MM;
use crate::report::figure::measures::{MEASURES_MM, MeasureRow, OwnMeasure, measures};
use crate::report::letterhead::Letterhead;
use crate::report::units::Units;
use crate::report::words::{capitalised, sentence, shortened, width};
use crate::sheet::Sheet;

/// What the page shows.
#[derive(Debug, Clone, Copy)]
pub struct ClientPage<'a> {
    /// The sheets of one saddle.
    pub sheets: &'a [Sheet],
    /// What was judged.
    pub assessment: &'a Assessment,
    /// The fitter.
    pub letterhead: &'a Letterhead,
    /// The recommendation, in the fitter's words; paragraphs are lines.
    pub advice: &'a str,
    /// Day of the visit.
    pub date: Option<&'a str>,
    /// Which unit comes first.
    pub units: Units,
}

/// The most that is to be done next.
const MOST_NEXT: usize = 4;

impl ClientPage<'_> {
    /// The page, with as much of what comes next as it has space for.
    pub fn document(&self, paper: Paper) -> Document {
        let all = (1..=MOST_NEXT).rev().map(|most| self.with_next(most));
        let fitting = all.into_iter().find(|document| pages(document, paper).len() == 1);
        fitting.unwrap_or_else(|| self.with_next(1))
    }

    fn with_next(&self, most: usize) -> Document {
        let sections = [Some(cautions()), self.recommendation(), self.widths(), self.next(most)];
        let taken = self.sheets.iter().flat_map(|s| &s.photos).filter_map(|p| p.taken.as_deref()).map(day);
        let date = self.date.or_else(|| taken.max());
        let who = [self.assessment.rider.as_deref(), self.assessment.horse.as_deref(), date];
        Document {
            letterhead: self.letterhead.all_lines(),
            kind: "Your saddle".into(),
            title: self.assessment.saddle.clone(),
            subtitle: who.into_iter().flatten().collect::<Vec<_>>().join(" · "),
            sections: sections.into_iter().flatten().collect(),
            foot: [&self.letterhead.name, &shortened(&self.assessment.saddle, 40)]
                .map(String::as_str)
                .join(" · "),
        }
    }

    fn recommendation(&self) -> Option<Section> {
        let paragraphs = self.advice.lines().map(str::trim).filter(|line| !line.is_empty());
        let blocks: Vec<Block> = paragraphs.map(|text| Block::Text(text.into())).collect();
        (!blocks.is_empty()).then(|| Section::new("recommendation", "My recommendation", blocks))
    }

    fn widths(&self) -> Option<Section> {
        let rows: Vec<MeasureRow> =
            [self.bones(), self.fingers(), self.channel()].into_iter().flatten().collect();
        let caption = "All at one scale. ± is the 95 % uncertainty of the width. The outline of a seat is not what bears: it falls \
                       away toward its edge.";
        let draw = |width_mm| measures(&rows, width_mm);
        let figure = || Captioned::at_both_widths(draw, [MEASURES_MM, NARROW_MM], caption);
        (!rows.is_empty())
            .then(|| Section::new("measures", "The saddle against your own measures", vec![figure()]))
    }

    fn row(&self, view: View, name: NamedWidth, own: String, measure: OwnMeasure) -> Option<MeasureRow> {
        let of_view = |s: &&Sheet| s.view == Some(view) && s.refused.is_none();
        let found = self.sheets.iter().rev().find(of_view)?.width(name)?;
        let title = format!("{}: {}", width(Some(view), name), self.units.both(found.mm, found.u95));
        Some(MeasureRow { title, own, mm: found.mm, measure })
    }

    fn entered(&self, name: &str) -> Option<f64> {
        self.assessment.entered.iter().find(|e| e.field == name).map(|e| e.value)
    }

    fn bones(&self) -> Option<MeasureRow> {
        let apart = self
            .entered("rider.seat_bones")
            .filter(|_| matches!(self.assessment.how.as_deref(), Some("imprint-centres" | "by-hand")))?;
        let own = format!("Your seat bones: {} apart (dots).", self.units.plain(apart));
        self.row(View::Top, NamedWidth::SeatWidest, own, OwnMeasure::SeatBones(apart))
    }

    fn fingers(&self) -> Option<MeasureRow> {
        let finger = self.entered("rider.finger")?;
        let own = format!(
            "Your fingers: three {}, four {}.",
            self.units.plain(3.0 * finger),
            self.units.plain(4.0 * finger)
        );
        self.row(View::Top, NamedWidth::SeatWaist, own, OwnMeasure::Fingers(finger))
    }

    fn channel(&self) -> Option<MeasureRow> {
        let least = self.entered("horse.channel")?;
        let most = self.entered("horse.channel_most");
        let most_words =
            most.map_or(String::new(), |most| format!(", at most {} (dashed)", self.units.plain(most)));
        let own = format!("Your horse: at least {}{most_words}.", self.units.plain(least));
        self.row(View::Underside, NamedWidth::ChannelNarrowest, own, OwnMeasure::Channel(least, most))
    }

    /// What the widths say, and what comes next.
    fn next(&self, most: usize) -> Option<Section> {
        let mut next: Vec<String> = Vec::new();
        for summary in &self.assessment.summary {
            let of = reasons(self.assessment, summary, false);
            of.next.iter().for_each(|step| add_step(&mut next, step));
        }
        next.truncate(most);
        let stands = self.assessment.summary.iter().map(|s| {
            let about = crate::report::assessment::about_word(s.about);
            format!("{about}: {}", standing_words(s.standing))
        });
        let stands = format!("From the widths alone, {}.", stands.collect::<Vec<_>>().join("; "));
        let mut notes: Vec<Note> = next.iter().map(|n| Note::plain(sentence(n), "")).collect();
        let unknown = not_known(self.assessment);
        if !unknown.is_empty() {
            notes.push(Note::plain("Not known from the photos", capitalised(&unknown.join("; ")) + "."));
        }
        Some(Section::new("next", "What to do next", vec![Block::Text(stands), Block::Notes(notes)]))
    }
}

fn cautions() -> Section {
    Section::new("cautions", "First of all", vec![Block::Text(CAUTIONS.join(" "))])
}
