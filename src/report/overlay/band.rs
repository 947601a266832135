//! The band below the photo: which saddle, and what each line means.

use crate::numeric::frame::PhotoPoint;
use crate::report::draw::{Drawing, Role, Shape, Text, font, style};
use crate::sheet::Sheet;

/// Size of the title's letters, in units.
const TITLE: f64 = 16.0;
/// Size of all other letters, in units.
const LETTERS: f64 = 11.5;
/// Free room at the band's borders, in units.
const BORDER: f64 = 14.0;
/// From one base line to the next, in units.
const LINE: f64 = 20.0;
/// Length of a line's sample, in units.
const SWATCH: f64 = 30.0;
/// From a sample to its word, and from a word to the next sample, in units.
const GAPS: (f64, f64) = (7.0, 20.0);

/// What the figures mean.
const NOTE: &str = "± is the 95 % uncertainty";

/// Where the next entry goes, in units from the band's top-left corner.
struct Pen {
    x: f64,
    y: f64,
    /// Where a line of entries must end.
    end: f64,
    /// The band's top-left corner, in photo pixels.
    corner: PhotoPoint,
    unit: f64,
}

impl Pen {
    fn at(&self, x: f64, y: f64) -> PhotoPoint {
        PhotoPoint::new(self.corner.x_px + x * self.unit, self.corner.y_px + y * self.unit)
    }

    /// Begins a new line unless there is room for an entry of that width.
    fn make_room(&mut self, width: f64) {
        if self.x > BORDER && self.x + width > self.end {
            self.x = BORDER;
            self.y += LINE;
        }
    }

    /// Adds one entry: a word, with the sample of a line before it.
    fn entry(&mut self, role: Option<Role>, word: &str, shapes: &mut Vec<Shape>) {
        let swatch = if role.is_some() { SWATCH + GAPS.0 } else { 0.0 };
        let width = swatch + font::width(word, LETTERS);
        self.make_room(width);
        if let Some(role) = role {
            let y = self.y - LETTERS * font::CAP_HEIGHT / 2.0;
            let ends = [self.at(self.x, y), self.at(self.x + SWATCH, y)];
            shapes.push(Shape::Swatch { role, ends });
        }
        let at = self.at(self.x + swatch, self.y);
        shapes.push(Shape::Caption(Text { text: word.into(), at, size: LETTERS }));
        self.x += width + GAPS.1;
    }
}

/// Adds the band: the title, what was measured in which photo, the legend of the lines that are there, and the
/// texts that found no room in the picture.
pub(super) fn add(sheet: &Sheet, photo_of_sheet: usize, unplaced: &[String], drawing: &mut Drawing) {
    let unit = drawing.unit_px();
    let photo = drawing.photo_rect();
    let corner = PhotoPoint::new(photo.left, photo.bottom());
    let mut pen = Pen { x: BORDER, y: 25.0, end: photo.width / unit - BORDER, corner, unit };
    let shown: Vec<Role> = style::LEGEND.into_iter().filter(|role| has(drawing, *role)).collect();
    let room = pen.end - BORDER;
    let title = fitted(&drawing.title, TITLE, room);
    let mut shapes =
        vec![Shape::Caption(Text { text: title.clone(), at: pen.at(pen.x, pen.y), size: TITLE })];
    pen.x += font::width(&title, TITLE) + GAPS.1;
    pen.entry(None, &fitted(&which(sheet, photo_of_sheet), LETTERS, room), &mut shapes);
    pen.entry(None, NOTE, &mut shapes);
    (pen.x, pen.y) = (BORDER, pen.y + LINE + 2.0);
    for role in shown {
        pen.entry(Some(role), style::style(role).legend, &mut shapes);
    }
    for text in unplaced {
        pen.entry(None, text, &mut shapes);
    }
    drawing.band_px = (pen.y + BORDER) * unit;
    drawing.shapes.append(&mut shapes);
}

/// The photo that is shown, and of how many where several were measured together.
fn which(sheet: &Sheet, photo: usize) -> String {
    let file = sheet.photos.get(photo).map_or("", |p| p.file.as_str());
    match sheet.photos.len() {
        0 | 1 => file.to_owned(),
        count => format!("{file}, photo {} of {count} measured together", photo + 1),
    }
}

fn has(drawing: &Drawing, wanted: Role) -> bool {
    drawing.shapes.iter().any(|s| matches!(s, Shape::Line { role, .. } if *role == wanted))
}

/// The text, cut with an ellipsis where it is wider than `room`.
fn fitted(text: &str, size: f64, room: f64) -> String {
    let mut kept: String = text.into();
    while font::width(&kept, size) > room && kept.pop().is_some() {
        let cut = format!("{}…", kept.trim_end());
        if font::width(&cut, size) <= room {
            return cut;
        }
    }
    kept
}
