//! Small drawings of saddle, card, stand and phone for the guide. They are schematic and show no real saddle.

use super::page::{BLACK, Outline, Page, Spot, at};

/// Paler than any line, and a little darker.
const PALE: u8 = 232;
const SHADE: u8 = 205;
const WHITE: u8 = 255;
/// Widths of lines, mm.
const LINE_MM: f64 = 0.35;
const FINE_MM: f64 = 0.22;

/// A drawing's own frame: lengths in centimetres of the scene, x right, y up.
#[derive(Debug, Clone, Copy)]
pub struct Stage {
    /// Where the scene's origin lies on the page.
    pub origin: Spot,
    /// Millimetres on the page to a centimetre of the scene.
    pub mm_per_cm: f64,
}

impl Stage {
    /// A place of the scene on the page.
    pub fn spot(&self, x_cm: f64, y_cm: f64) -> Spot {
        self.origin.moved(x_cm * self.mm_per_cm, -y_cm * self.mm_per_cm)
    }

    fn spots(&self, places: &[(f64, f64)]) -> Vec<Spot> {
        places.iter().map(|&(x, y)| self.spot(x, y)).collect()
    }

    fn rect(&self, x_cm: f64, y_cm: f64, width_cm: f64, height_cm: f64) -> Outline {
        Outline::rect(
            self.spot(x_cm, y_cm + height_cm),
            width_cm * self.mm_per_cm,
            height_cm * self.mm_per_cm,
        )
    }
}

fn shape(page: &mut Page, outline: Outline, grey: u8) {
    page.fill(outline.clone(), grey);
    page.line(outline, LINE_MM);
}

/// Half-widths of a seat form over its length of 43 cm, from its front end, cm.
const SEAT_HALF_CM: [(f64, f64); 9] = [
    (0.6, 3.6),
    (3.0, 5.2),
    (8.0, 5.0),
    (13.0, 4.6),
    (20.0, 6.4),
    (28.0, 10.2),
    (34.0, 11.4),
    (39.5, 8.6),
    (42.5, 3.6),
];

/// The saddle from above, its front at the top, its middle at the stage's (x, y).
pub fn saddle_from_above(page: &mut Page, stage: &Stage, x: f64, y: f64) {
    let top = y + 21.5;
    for side in [-1.0, 1.0] {
        let flap =
            [(3.0, 3.0), (9.0, 1.0), (17.0, 4.0), (20.0, 12.0), (19.0, 21.0), (13.0, 27.0), (6.0, 27.0)];
        let places: Vec<_> = flap.iter().map(|&(u, v)| (x + side * u, top - v)).collect();
        shape(page, Outline::smooth(&stage.spots(&places), true), SHADE);
    }
    let edge = |side: f64| SEAT_HALF_CM.iter().map(move |&(v, half)| (x + side * half, top - v));
    let mut ring: Vec<_> = std::iter::once((x, top)).chain(edge(1.0)).collect();
    ring.push((x, top - 43.0));
    ring.extend(edge(-1.0).rev());
    shape(page, Outline::smooth(&stage.spots(&ring), true), PALE);
}

/// The sheet with its tags, from above, its middle at (x, y).
pub fn card_from_above(page: &mut Page, stage: &Stage, x: f64, y: f64) {
    shape(page, stage.rect(x - 14.8, y - 10.5, 29.7, 21.0), WHITE);
    for (u, v) in [(0, 0), (1, 0), (2, 0), (3, 0), (0, 1), (3, 1), (0, 2), (1, 2), (2, 2), (3, 2)] {
        let (left, low) = (x - 12.5 + 7.0 * f64::from(u), y - 9.0 + 7.0 * f64::from(v));
        page.fill(stage.rect(left, low, 4.0, 4.0), BLACK);
        page.fill(stage.rect(left + 1.0, low + 1.0, 1.2, 1.2), WHITE);
        page.fill(stage.rect(left + 2.4, low + 1.8, 0.8, 1.2), WHITE);
    }
}

/// Height of the seat's edges over the floor in the view from behind, cm.
pub const EDGE_CM: f64 = 62.0;

/// The saddle on its stand from behind, its middle over x = 0, the floor at y = 0.
pub fn saddle_from_behind(page: &mut Page, stage: &Stage) {
    for side in [-1.0, 1.0] {
        let leg = [(side * 4.0, 46.0), (side * 17.0, 0.0)];
        page.line(Outline::line(&stage.spots(&leg)), 0.7);
        let flap = [
            (side * 7.0, EDGE_CM - 1.0),
            (side * 15.0, EDGE_CM - 8.0),
            (side * 20.0, EDGE_CM - 24.0),
            (side * 18.5, EDGE_CM - 36.0),
            (side * 15.5, EDGE_CM - 36.0),
            (side * 13.0, EDGE_CM - 22.0),
            (side * 5.0, EDGE_CM - 9.0),
        ];
        shape(page, Outline::smooth(&stage.spots(&flap), true), SHADE);
    }
    page.line(Outline::line(&stage.spots(&[(-12.0, 18.0), (12.0, 18.0)])), 0.5);
    let seat = [
        (-11.4, EDGE_CM),
        (-8.0, EDGE_CM + 4.2),
        (0.0, EDGE_CM + 6.2),
        (8.0, EDGE_CM + 4.2),
        (11.4, EDGE_CM),
        (8.0, EDGE_CM - 3.4),
        (0.0, EDGE_CM - 4.4),
        (-8.0, EDGE_CM - 3.4),
    ];
    shape(page, Outline::smooth(&stage.spots(&seat), true), PALE);
}

/// The floor from one x to another.
pub fn floor(page: &mut Page, stage: &Stage, from: f64, to: f64) {
    page.line(Outline::line(&stage.spots(&[(from, 0.0), (to, 0.0)])), LINE_MM);
}

/// A box with the card on it, level with the seat's edges, its left side at x.
pub fn card_on_box(page: &mut Page, stage: &Stage, x: f64) {
    shape(page, stage.rect(x + 2.0, 0.0, 26.0, EDGE_CM - 1.2), WHITE);
    page.line(Outline::line(&stage.spots(&[(x + 2.0, 30.0), (x + 28.0, 30.0)])), FINE_MM);
    page.fill(stage.rect(x, EDGE_CM - 1.2, 30.0, 1.2), BLACK);
}

/// A level dashed line at the height of the seat's edges.
pub fn level_line(page: &mut Page, stage: &Stage, from: f64, to: f64) {
    let line = Outline::line(&stage.spots(&[(from, EDGE_CM), (to, EDGE_CM)]));
    page.dashed(line, FINE_MM, [1.6, 1.0]);
}

/// A phone seen from its side at (x, y), turned from level (degrees against the clock), with the borders of what it
/// sees down to the seat's edges, cm.
pub fn phone_with_view(page: &mut Page, stage: &Stage, (x, y): (f64, f64), turn_deg: f64) {
    let (sin, cos) = turn_deg.to_radians().sin_cos();
    let place = |u: f64, v: f64| (x + u * cos - v * sin, y + u * sin + v * cos);
    for side in [-1.0, 1.0] {
        let slant = (turn_deg + side * HALF_VIEW_DEG).to_radians().tan();
        let from = place(0.0, -1.0);
        let ends = stage.spots(&[from, (from.0 + slant * (from.1 - EDGE_CM), EDGE_CM)]);
        page.dashed(Outline::line(&ends), FINE_MM, [1.0, 1.0]);
    }
    let corners = [place(-8.0, -0.9), place(8.0, -0.9), place(8.0, 0.9), place(-8.0, 0.9)];
    page.fill(Outline::polygon(&stage.spots(&corners)), BLACK);
    let lens = [place(-1.5, -1.7), place(1.5, -1.7), place(1.5, -0.8), place(-1.5, -0.8)];
    page.fill(Outline::polygon(&stage.spots(&lens)), BLACK);
}

/// Half the angle that a drawn phone sees, degrees.
const HALF_VIEW_DEG: f64 = 27.0;

/// A line with a head at each end.
pub fn measure_line(page: &mut Page, from: Spot, to: Spot) {
    page.line(Outline::line(&[from, to]), FINE_MM);
    head(page, to, from);
    head(page, from, to);
}

fn head(page: &mut Page, from: Spot, to: Spot) {
    let (dx, dy) = (to.x_mm - from.x_mm, to.y_mm - from.y_mm);
    let length = dx.hypot(dy);
    let (ux, uy) = (dx / length, dy / length);
    let side = |s: f64| to.moved(-1.9 * ux - s * 0.7 * uy, -1.9 * uy + s * 0.7 * ux);
    page.fill(Outline::polygon(&[to, side(1.0), side(-1.0)]), BLACK);
}

/// A tick: so it is right.
pub fn right_mark(page: &mut Page, middle: Spot) {
    let places = [middle.moved(-2.0, 0.0), middle.moved(-0.5, 1.7), middle.moved(2.2, -2.0)];
    page.line(Outline::line(&places), 0.9);
}

/// A cross: so it is wrong.
pub fn wrong_mark(page: &mut Page, middle: Spot) {
    for s in [-1.0, 1.0] {
        let ends = [middle.moved(-1.8, -1.8 * s), middle.moved(1.8, 1.8 * s)];
        page.line(Outline::line(&ends), 0.9);
    }
}

/// The border of a photo of the given size, its middle at (x, y), with what lies outside it covered.
pub fn photo_border(page: &mut Page, stage: &Stage, (x, y): (f64, f64), (width, height): (f64, f64)) {
    page.line(stage.rect(x - width / 2.0, y - height / 2.0, width, height), 0.7);
}

/// Covers a strip of the stage with white.
pub fn cover(page: &mut Page, stage: &Stage, x: f64, y: f64, width: f64, height: f64) {
    page.fill(stage.rect(x, y, width, height), WHITE);
}

/// A printed sheet with the sign for actual size, its top-left corner at a place.
pub fn sheet_at_actual_size(page: &mut Page, corner: Spot) {
    let stage = Stage { origin: corner.moved(17.0, 12.0), mm_per_cm: 1.1 };
    card_from_above(page, &stage, 0.0, 0.0);
    page.text_about("100 %", stage.spot(0.0, -1.3), 4.6);
}

/// A ruler laid on the bar of the card, its top-left corner at a place; half the size it is.
pub fn ruler_on_bar(page: &mut Page, corner: Spot) {
    const PART: f64 = 0.5;
    page.fill(Outline::rect(corner.moved(4.0, 0.0), 150.0 * PART, 1.6), BLACK);
    let ruler = corner.moved(1.0, 4.0);
    shape(page, Outline::rect(ruler, 163.0 * PART, 9.0), PALE);
    for tick in 0..=30 {
        let x = 3.0 + f64::from(tick) * 5.0 * PART;
        let reach = if tick % 10 == 0 { 3.4 } else { 1.8 };
        page.line(Outline::line(&[ruler.moved(x, 0.0), ruler.moved(x, reach)]), FINE_MM);
        if tick % 10 == 0 {
            page.text_about(&format!("{}", tick / 2), ruler.moved(x, 7.2), 2.8);
        }
    }
    for x in [0.0, 150.0] {
        let from = corner.moved(4.0 + x * PART, -2.2);
        page.dashed(Outline::line(&[from, from.moved(0.0, 6.2)]), FINE_MM, [0.7, 0.5]);
    }
    page.text_about("exactly 150 mm", corner.moved(4.0 + 75.0 * PART, -1.4), 3.0);
}

/// A filled circle with a number in white.
pub fn number(page: &mut Page, middle: Spot, number: u32) {
    page.fill(Outline::circle(middle, 3.4), BLACK);
    let text = number.to_string();
    let width = crate::report::draw::font::width(&text, 4.4);
    page.marks.push(super::page::Mark::Text {
        text,
        at: at(middle.x_mm - width / 2.0, middle.y_mm + 1.57),
        size_mm: 4.4,
        grey: WHITE,
    });
}
