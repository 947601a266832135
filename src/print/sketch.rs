//! Small drawings of saddle, card, stand and phone for the guide. They are schematic and show no real saddle.

use super::{BLACK, black, letters};
use crate::canvas::{Anchor, Canvas, Colour, Path, Point, Stroke, TextStyle, moved};

/// Lighter than any line, and a little darker.
const PALE: Colour = Colour::grey(232);
const SHADE: Colour = Colour::grey(205);
const LINE: Stroke = black(0.35);
const FINE: Stroke = black(0.22);
const MARK: Stroke = black(0.9);
/// The small words in drawings.
const WORDS: TextStyle = letters(2.7);

/// A drawing with its own frame: lengths in centimetres of the sketch, x right, y up.
pub struct Sketch<'a> {
    canvas: &'a mut Canvas,
    /// The sketch's origin on the canvas.
    origin: Point,
    /// Millimetres on the canvas to a centimetre of the sketch.
    mm_per_cm: f64,
}

/// Half-widths of a seat over its length of 43 cm, from its front end, cm.
const SEAT_HALF_CM: [[f64; 2]; 9] = [
    [0.6, 3.6],
    [3.0, 5.2],
    [8.0, 5.0],
    [13.0, 4.6],
    [20.0, 6.4],
    [28.0, 10.2],
    [34.0, 11.4],
    [39.5, 8.6],
    [42.5, 3.6],
];
/// Height of the seat's edges over the floor in the view from behind, cm.
const EDGE_CM: f64 = 62.0;
/// Distance of a drawn phone and of an angle's arc from the middle between the seat's edges, cm.
const PHONE_CM: f64 = 92.0;
const ARC_CM: f64 = 52.0;

impl<'a> Sketch<'a> {
    /// A sketch on a canvas.
    pub fn new(canvas: &'a mut Canvas, origin: Point, mm_per_cm: f64) -> Self {
        Self { canvas, origin, mm_per_cm }
    }

    fn at(&self, [x, y]: [f64; 2]) -> Point {
        moved(self.origin, [x * self.mm_per_cm, -y * self.mm_per_cm])
    }

    fn line(&mut self, points: &[[f64; 2]], stroke: Stroke) {
        let points: Vec<Point> = points.iter().map(|p| self.at(*p)).collect();
        self.canvas.line("", points, stroke);
    }

    fn polygon(&mut self, points: &[[f64; 2]], fill: Colour, stroke: Option<Stroke>) {
        let points: Vec<Point> = points.iter().map(|p| self.at(*p)).collect();
        self.canvas.draw("", Path::polygon(points), Some(fill), stroke);
    }

    /// A rectangle by its lower left corner and its size.
    fn rect(&mut self, [x, y, w, h]: [f64; 4], fill: Option<Colour>, stroke: Option<Stroke>) {
        let [left, top] = self.at([x, y + h]);
        let path = Path::rect([left, top, w * self.mm_per_cm, h * self.mm_per_cm]);
        self.canvas.draw("", path, fill, stroke);
    }

    fn smooth(&mut self, points: &[[f64; 2]], fill: Colour) {
        let points: Vec<Point> = points.iter().map(|p| self.at(*p)).collect();
        self.canvas.draw("", Path::smooth(&points), Some(fill), Some(LINE));
    }

    /// Words with their middle at a point.
    pub fn words(&mut self, at: [f64; 2], text: &str) {
        self.canvas.text(self.at(at), Anchor::Middle, text, WORDS);
    }

    /// The saddle from above, its front at the top, its middle at (x, y).
    pub fn saddle_from_above(&mut self, [x, y]: [f64; 2]) {
        let top = y + 21.5;
        for side in [-1.0, 1.0] {
            let flap =
                [[3.0, 3.0], [9.0, 1.0], [17.0, 4.0], [20.0, 12.0], [19.0, 21.0], [13.0, 27.0], [6.0, 27.0]];
            self.smooth(&flap.map(|[u, v]| [x + side * u, top - v]), SHADE);
        }
        let edge = |side: f64| SEAT_HALF_CM.map(|[v, half]| [x + side * half, top - v]);
        let mut left = edge(-1.0);
        left.reverse();
        self.smooth(&[&[[x, top]][..], &edge(1.0), &[[x, top - 43.0]], &left].concat(), PALE);
    }

    /// The card with its tags, from above, its middle at (x, y).
    pub fn card_from_above(&mut self, [x, y]: [f64; 2]) {
        self.rect([x - 14.8, y - 10.5, 29.7, 21.0], Some(Colour::WHITE), Some(LINE));
        for (u, v) in [(0, 0), (1, 0), (2, 0), (3, 0), (0, 1), (3, 1), (0, 2), (1, 2), (2, 2), (3, 2)] {
            let (left, low) = (x - 12.5 + 7.0 * f64::from(u), y - 9.0 + 7.0 * f64::from(v));
            self.rect([left, low, 4.0, 4.0], Some(BLACK), None);
            self.rect([left + 1.0, low + 1.0, 1.2, 1.2], Some(Colour::WHITE), None);
            self.rect([left + 2.4, low + 1.8, 0.8, 1.2], Some(Colour::WHITE), None);
        }
    }

    /// The saddle on its stand from behind, its middle over x = 0, with the card on a box to the right of `x`, on a floor
    /// at y = 0.
    pub fn saddle_and_card_from_behind(&mut self, x: f64) {
        let e = EDGE_CM;
        self.line(&[[-25.0, 0.0], [61.0, 0.0]], LINE);
        for side in [-1.0, 1.0] {
            self.line(&[[side * 4.0, 46.0], [side * 17.0, 0.0]], black(0.7));
            let flap = [
                [7.0, e - 1.0],
                [15.0, e - 8.0],
                [20.0, e - 24.0],
                [18.5, e - 36.0],
                [15.5, e - 36.0],
                [13.0, e - 22.0],
                [5.0, e - 9.0],
            ];
            self.smooth(&flap.map(|[u, v]| [side * u, v]), SHADE);
        }
        self.line(&[[-12.0, 18.0], [12.0, 18.0]], black(0.5));
        let seat = [
            [-11.4, e],
            [-8.0, e + 4.2],
            [0.0, e + 6.2],
            [8.0, e + 4.2],
            [11.4, e],
            [8.0, e - 3.4],
            [0.0, e - 4.4],
            [-8.0, e - 3.4],
        ];
        self.smooth(&seat, PALE);
        self.rect([x + 2.0, 0.0, 26.0, e - 1.2], Some(Colour::WHITE), Some(LINE));
        self.line(&[[x + 2.0, 30.0], [x + 28.0, 30.0]], FINE);
        self.rect([x, e - 1.2, 30.0, 1.2], Some(BLACK), None);
    }

    /// A dashed line at the height of the seat's edges.
    pub fn level_line(&mut self, from: f64, to: f64) {
        self.line(&[[from, EDGE_CM], [to, EDGE_CM]], Stroke { dash_mm: &[1.6, 1.0], ..FINE });
    }

    /// A phone seen from its edge, turned from upright over the saddle (degrees to the right), its line of sight, and words
    /// beside it.
    pub fn phone(&mut self, turn_deg: f64, words: &str) {
        let (sin, cos) = turn_deg.to_radians().sin_cos();
        // Across the line of sight and along it, from the saddle's middle.
        let place = |[u, v]: [f64; 2]| [u * cos + v * sin, EDGE_CM - u * sin + v * cos];
        let sight = [place([0.0, PHONE_CM - 2.0]), place([0.0, 12.0])];
        self.line(&sight, Stroke { dash_mm: &[1.0, 1.0], ..FINE });
        let [body, lens] = [[-8.0, 8.0, -0.9, 0.9], [-1.5, 1.5, -1.7, -0.8]].map(|[l, r, low, high]| {
            [[l, low], [r, low], [r, high], [l, high]].map(|[u, v]| place([u, PHONE_CM + v]))
        });
        self.polygon(&body, BLACK, None);
        self.polygon(&lens, BLACK, None);
        let [x, y] = place([0.0, PHONE_CM]);
        self.words([x + 30.0 * turn_deg.signum() * f64::from(turn_deg != 0.0), y + 5.0], words);
    }

    /// Arcs to either side of upright over the saddle, with their angle.
    pub fn angle(&mut self, deg: f64) {
        let place = |deg: f64, r: f64| {
            let (sin, cos) = deg.to_radians().sin_cos();
            [r * sin, EDGE_CM + r * cos]
        };
        let arc: Vec<[f64; 2]> = (-10..=10).map(|i| place(deg * f64::from(i) / 10.0, ARC_CM)).collect();
        self.line(&arc, FINE);
        for side in [-0.5, 0.5] {
            self.words(place(side * deg, ARC_CM + 4.0), &format!("{deg:.0}°"));
        }
    }

    /// The border of a photo around the origin, with white over what is beside it.
    pub fn photo_border(&mut self, [w, h]: [f64; 2]) {
        for x in [w / 2.0, -w / 2.0 - 8.0] {
            self.rect([x, -h / 2.0, 8.0, h], Some(Colour::WHITE), None);
        }
        self.rect([-w / 2.0, -h / 2.0, w, h], None, Some(black(0.7)));
    }

    /// A tick for what is right.
    pub fn right_mark(&mut self, at: [f64; 2]) {
        let at = self.at(at);
        self.canvas.line("", [[-2.0, 0.0], [-0.5, 1.7], [2.2, -2.0]].map(|by| moved(at, by)), MARK);
    }

    /// A cross for what is wrong.
    pub fn wrong_mark(&mut self, at: [f64; 2]) {
        let at = self.at(at);
        for slope in [-1.0, 1.0] {
            let ends = [[-1.8, -1.8 * slope], [1.8, 1.8 * slope]];
            self.canvas.line("", ends.map(|by| moved(at, by)), MARK);
        }
    }
}

/// A printed card with the sign for actual size.
pub fn card_at_actual_size(canvas: &mut Canvas, centre: Point) {
    Sketch::new(canvas, centre, 1.1).card_from_above([0.0, 0.0]);
    canvas.text(moved(centre, [0.0, 1.43]), Anchor::Middle, "100 %", letters(4.6));
}

/// A ruler laid on the bar of the card, at half its size.
pub fn ruler_on_bar() -> Canvas {
    const PART: f64 = 0.5;
    let mut canvas = Canvas::new([85.0, 14.0], "");
    canvas.fill("", Path::rect([4.0, 0.0, 150.0 * PART, 1.6]), BLACK);
    canvas.draw("", Path::rect([1.0, 4.0, 163.0 * PART, 9.0]), Some(PALE), Some(LINE));
    for tick in 0..=30 {
        let x = 4.0 + f64::from(tick) * 5.0 * PART;
        let length = if tick % 10 == 0 { 3.4 } else { 1.8 };
        canvas.line("", [[x, 4.0], [x, 4.0 + length]], FINE);
        if tick % 10 == 0 {
            canvas.text([x, 11.2], Anchor::Middle, (tick / 2).to_string(), letters(2.8));
        }
    }
    for x in [4.0, 4.0 + 150.0 * PART] {
        canvas.line("", [[x, -2.2], [x, 4.0]], Stroke { dash_mm: &[0.7, 0.5], ..FINE });
    }
    canvas.text([4.0 + 75.0 * PART, -1.4], Anchor::Middle, "exactly 150 mm", letters(3.0));
    canvas
}

/// A filled circle with a number in white.
pub fn number(canvas: &mut Canvas, centre: Point, number: u32) {
    canvas.fill("", Path::circle(centre, 3.4), BLACK);
    let style = TextStyle::bold(4.4, Colour::WHITE);
    canvas.text(moved(centre, [0.0, 1.57]), Anchor::Middle, number.to_string(), style);
}
