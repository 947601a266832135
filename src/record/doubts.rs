//! Stretches of edges with a rival line, and what the widths would be along it.

use crate::pipeline::Measured;
use crate::sheet;
use crate::sheet::geometry::DoubtLine;
use crate::width::rivals::{RivalLine, Stretch, stretches};

/// A competing line of at least this probability is shown.
const DOUBTFUL: f64 = 0.2;

/// The doubtful stretches as the sheet has them.
pub fn entries(measured: &Measured) -> Vec<sheet::Doubt> {
    let entry = |stretch: &Stretch| {
        let (from_at, to_at) = stretch.stations();
        sheet::Doubt {
            part: stretch.part,
            side: stretch.side,
            from_at,
            to_at,
            apart_mm: stretch.apart_mm(),
            probability: stretch.probability(),
        }
    };
    doubtful(measured).iter().map(entry).collect()
}

/// The stretches to show in the photo: the doubtful ones, and those of lines that would change a width.
pub fn lines(measured: &Measured) -> Vec<DoubtLine> {
    let rivals = measured.rivals.iter().flat_map(|rival| rival.stretches.iter());
    let rivals = rivals.filter(|s| s.probability() < DOUBTFUL).cloned();
    let line = |s: Stretch| DoubtLine { traced: s.traced(), rival: s.rival() };
    doubtful(measured).into_iter().chain(rivals).map(line).collect()
}

fn doubtful(measured: &Measured) -> Vec<Stretch> {
    stretches(&measured.traced.outline, &measured.widths, DOUBTFUL)
}

/// The rival lines as the sheet has them.
pub fn rivals(measured: &Measured) -> Vec<sheet::RivalRecord> {
    measured.rivals.iter().map(rival).collect()
}

fn rival(line: &RivalLine) -> sheet::RivalRecord {
    let stretches = &line.stretches;
    let least = |value: &dyn Fn(&Stretch) -> f64| stretches.iter().map(value).fold(f64::INFINITY, f64::min);
    let width = |(name, width): &(_, crate::width::MeasuredWidth)| sheet::RivalWidth {
        name: *name,
        mm: width.mm,
        u95: width.budget.u95(),
        at: width.station,
    };
    sheet::RivalRecord {
        part: stretches[0].part,
        side: Some(stretches[0].side).filter(|_| stretches.len() == 1),
        from: least(&|s| s.stations().0),
        to: -least(&|s| -s.stations().1),
        offset_mm: stretches.iter().map(Stretch::apart_mm).sum::<f64>() / stretches.len() as f64,
        probability: line.probability(),
        widths: line.widths.iter().map(width).collect(),
    }
}
