//! A sheet in one row, for lists, spreadsheets and databases.

use std::path::Path;

use serde_json::{Map, Value};

use super::types::Sheet;
use crate::numeric::words::{NamedWidth, View};

/// A named width in a row.
#[derive(Debug, Clone, PartialEq)]
pub struct SummaryWidth {
    /// Its name.
    pub name: NamedWidth,
    /// The width, mm.
    pub mm: f64,
    /// Its expanded uncertainty, mm.
    pub u95: f64,
}

/// A width to list and to look for. The outer line seen from below is that of the panels, so it is no seat's.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ShelfWidth {
    /// What it is called.
    pub code: &'static str,
    name: NamedWidth,
    view: Option<View>,
}

const fn shelf_width(code: &'static str, name: NamedWidth, view: Option<View>) -> ShelfWidth {
    ShelfWidth { code, name, view }
}

/// All of them, in the order of lists.
pub const SHELF_WIDTHS: [ShelfWidth; 8] = [
    shelf_width("seat.widest", NamedWidth::SeatWidest, Some(View::Top)),
    shelf_width("seat.waist", NamedWidth::SeatWaist, Some(View::Top)),
    shelf_width("panels.widest", NamedWidth::SeatWidest, Some(View::Underside)),
    shelf_width("panels.waist", NamedWidth::SeatWaist, Some(View::Underside)),
    shelf_width("channel.front", NamedWidth::ChannelFront, None),
    shelf_width("channel.middle", NamedWidth::ChannelMiddle, None),
    shelf_width("channel.rear", NamedWidth::ChannelRear, None),
    shelf_width("channel.narrowest", NamedWidth::ChannelNarrowest, None),
];

impl ShelfWidth {
    /// The sheet's name of it, and the view that it is taken in where that matters.
    pub fn named(self) -> (NamedWidth, Option<View>) {
        (self.name, self.view)
    }
}

/// The row of one sheet.
#[derive(Debug, Clone, PartialEq)]
pub struct SheetSummary {
    /// Path of the sheet's file.
    pub sheet: String,
    /// Name of the saddle.
    pub saddle: String,
    /// How it is seen.
    pub view: Option<View>,
    /// Date and time of the first photo.
    pub taken: Option<String>,
    /// The first photo's file name.
    pub photo: String,
    /// SHA-256 of each photo; several where they were measured together.
    pub photos_sha256: Vec<String>,
    /// Length of the midline, mm.
    pub midline_mm: Option<f64>,
    /// The named widths.
    pub widths: Vec<SummaryWidth>,
    /// Front taper with its expanded uncertainty, degrees.
    pub front_taper_deg: Option<[f64; 2]>,
    /// Number of warnings.
    pub warnings: usize,
    /// Number of doubts.
    pub doubts: usize,
    /// The refusal's code.
    pub refused: Option<String>,
}

impl SheetSummary {
    /// The row of a sheet that was read from `path`.
    pub fn of(sheet: &Sheet, path: &Path) -> Self {
        let photo = sheet.photos.first();
        let width = |w: &super::widths::Width| SummaryWidth { name: w.name, mm: w.mm, u95: w.u95 };
        Self {
            sheet: path.display().to_string(),
            saddle: sheet.saddle.name.clone(),
            view: sheet.view,
            taken: photo.and_then(|p| p.taken.clone()),
            photo: photo.map_or_else(String::new, |p| p.file.clone()),
            photos_sha256: sheet.photos.iter().map(|p| p.sha256.clone()).collect(),
            midline_mm: sheet.midline.as_ref().map(|m| m.length_mm),
            widths: sheet.widths.iter().map(width).collect(),
            front_taper_deg: sheet.front_taper.as_ref().map(|t| [t.deg, t.u95]),
            warnings: sheet.warnings.len(),
            doubts: sheet.doubts.len(),
            refused: sheet.refused.as_ref().map(|r| r.code.as_str()),
        }
    }

    /// Day of the first photo.
    pub fn day(&self) -> Option<&str> {
        self.taken.as_deref()?.get(..10)
    }

    /// A width of the sheet, where its view shows it.
    pub fn width(&self, width: ShelfWidth) -> Option<&SummaryWidth> {
        let shown = width.view.is_none() || width.view == self.view;
        self.widths.iter().find(|w| shown && w.name == width.name)
    }

    /// The row as flat keys in a fixed order, the same for every sheet: what was not measured is null.
    pub fn columns(&self) -> Map<String, Value> {
        let rounded = |v: f64| Value::from((v * 1000.0).round() / 1000.0);
        let number = |v: Option<f64>| v.map_or(Value::Null, rounded);
        let mut row = Map::new();
        let mut put = |key: &str, value: Value| {
            row.insert(key.into(), value);
        };
        put("sheet", self.sheet.clone().into());
        put("saddle", self.saddle.clone().into());
        put("view", self.view.map(View::as_str).into());
        put("taken", self.taken.clone().into());
        put("photo", self.photo.clone().into());
        put("photo_sha256", self.photos_sha256.first().map_or("", String::as_str).into());
        put("photos", self.photos_sha256.len().into());
        put("midline_mm", number(self.midline_mm));
        for listed in SHELF_WIDTHS {
            let width = self.width(listed);
            let key = listed.code.replace('.', "_");
            put(&format!("{key}_mm"), number(width.map(|w| w.mm)));
            put(&format!("{key}_u95_mm"), number(width.map(|w| w.u95)));
        }
        put("front_taper_deg", number(self.front_taper_deg.map(|t| t[0])));
        put("front_taper_u95_deg", number(self.front_taper_deg.map(|t| t[1])));
        put("warnings", self.warnings.into());
        put("doubts", self.doubts.into());
        put("refused", self.refused.clone().into());
        row
    }
}
