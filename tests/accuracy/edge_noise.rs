//! The measured side of a tag against the Cramer-Rao bound of a blurred edge in white noise:
//! `var >= 2 sqrt(pi) s_b s_n^2 D / A^2` for one scan line, divided by the scan lines of the measured stretch
//! (derived from the Fisher information of the edge's place).

use proptest::prelude::*;
use proptest::strategy::ValueTree;
use proptest::test_runner::{Config, RngAlgorithm, TestRng, TestRunner};
use seatspan::card::side::{SidePixels, measure_side};
use seatspan::numeric::frame::PhotoPoint;
use seatspan::photo::{Limits, Photo};

const BLACK: f64 = 0.15;
const WHITE: f64 = 0.65;

struct Random(TestRunner);

impl Random {
    fn new() -> Self {
        let rng = TestRng::deterministic_rng(RngAlgorithm::ChaCha);
        Self(TestRunner::new_with_rng(Config::default(), rng))
    }

    fn uniform(&mut self) -> f64 {
        (0.0..1.0f64).new_tree(&mut self.0).unwrap().current()
    }

    /// A pair of independent normal numbers (G. E. P. Box, M. E. Muller 1958).
    fn normal_pair(&mut self) -> [f64; 2] {
        let r = (-2.0 * (1.0 - self.uniform()).ln()).sqrt();
        let (s, c) = (std::f64::consts::TAU * self.uniform()).sin_cos();
        [r * s, r * c]
    }
}

fn srgb_level(linear: f64) -> u8 {
    let v = linear.clamp(0.0, 1.0);
    let coded = if v <= 0.003_130_8 { 12.92 * v } else { 1.055 * v.powf(1.0 / 2.4) - 0.055 };
    (coded * 255.0).round() as u8
}

/// A black square on white: a blurred step on each side, exact for a Gaussian blur of a square.
struct Square {
    middle: f64,
    shift: [f64; 2],
    angle: f64,
    side: f64,
    blur: f64,
}

impl Square {
    fn light(&self, x: f64, y: f64) -> f64 {
        let (s, c) = self.angle.sin_cos();
        let (dx, dy) = (x - self.middle - self.shift[0], y - self.middle - self.shift[1]);
        let within = |d: f64| {
            let phi = |t: f64| 0.5 * libm::erfc(-t / self.blur * std::f64::consts::FRAC_1_SQRT_2);
            phi(d + self.side / 2.0) - phi(d - self.side / 2.0)
        };
        WHITE - (WHITE - BLACK) * within(c * dx + s * dy) * within(c * dy - s * dx)
    }

    fn corner(&self, u: f64, v: f64) -> PhotoPoint {
        let (s, c) = self.angle.sin_cos();
        let (u, v) = (u * self.side / 2.0, v * self.side / 2.0);
        let m = self.middle;
        PhotoPoint::new(m + self.shift[0] + c * u - s * v, m + self.shift[1] + s * u + c * v)
    }

    /// Where the four sides begin and end.
    fn sides(&self) -> [(PhotoPoint, PhotoPoint); 4] {
        let corners = [(-1.0, -1.0), (1.0, -1.0), (1.0, 1.0), (-1.0, 1.0)].map(|(u, v)| self.corner(u, v));
        std::array::from_fn(|i| (corners[i], corners[(i + 1) % 4]))
    }

    fn photo(&self, noise: f64, random: &mut Random) -> Photo {
        let size = (2.0 * self.middle) as u32 + 1;
        let mut spare = None;
        let grey = image::RgbImage::from_fn(size, size, |x, y| {
            let n = spare.take().unwrap_or_else(|| {
                let [a, b] = random.normal_pair();
                spare = Some(b);
                a
            });
            image::Rgb([srgb_level(self.light(f64::from(x), f64::from(y)) + noise * n); 3])
        });
        let mut png = std::io::Cursor::new(Vec::new());
        grey.write_to(&mut png, image::ImageFormat::Png).unwrap();
        let limits = Limits { max_pixels: 1_000_000, min_long_side_px: 1 };
        Photo::from_bytes_within("square.png", png.into_inner(), &limits).unwrap()
    }
}

#[test]
fn a_side_is_as_good_as_the_noise_allows_and_says_how_good_it_is() {
    let mut random = Random::new();
    // Four sides a square: 400 offsets each and more. The noise is several levels of an 8-bit picture.
    for (side, blur, noise, squares) in
        [(40.0, 0.7, 0.02, 150), (40.0, 1.2, 0.03, 400), (120.0, 0.7, 0.03, 100), (120.0, 1.2, 0.01, 100)]
    {
        let (mut offsets, mut stated, mut bounds) = (Vec::new(), 0.0, 0.0);
        for _ in 0..squares {
            let square = Square {
                middle: (side * 0.5 * std::f64::consts::SQRT_2 + 10.0).ceil(),
                shift: [random.uniform() - 0.5, random.uniform() - 0.5],
                angle: random.uniform() * std::f64::consts::TAU,
                side,
                blur,
            };
            let photo = square.photo(noise, &mut random);
            for (i, (from, to)) in square.sides().into_iter().enumerate() {
                let Some(m) = measure_side(&photo, from, to, SidePixels::All) else {
                    panic!("side {i} not measured")
                };
                let middle = (from.vector() + to.vector()) / 2.0;
                let along = (to.vector() - from.vector()).normalize();
                let outward = nalgebra::Vector2::new(along.y, -along.x);
                // The offset at the true side's middle, along its true normal.
                let offset = (m.middle.vector() - middle).dot(&outward);
                let slope = m.along.dot(&outward) / m.along.dot(&along);
                offsets.push(offset - slope * (m.middle.vector() - middle).dot(&along));
                stated += m.u_offset_px.powi(2);
                let lines = 2.0 * m.half_length_px;
                bounds +=
                    2.0 * std::f64::consts::PI.sqrt() * blur * (noise / (WHITE - BLACK)).powi(2) / lines;
            }
        }
        let n = offsets.len() as f64;
        let bias = offsets.iter().sum::<f64>() / n;
        let scatter = (offsets.iter().map(|o| (o - bias).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let (stated, bound) = ((stated / n).sqrt(), (bounds / n).sqrt());
        println!(
            "side {side} px, blur {blur} px, noise {noise}: scatter {scatter:.5} px = {:.3} x bound, stated \
             {stated:.5} px, bias {bias:.5} px",
            scatter / bound
        );
        assert!(offsets.len() >= 400);
        // The bound holds for known levels on both sides. With levels estimated from the window (0.75 modules inwards and
        // 1 outwards, at most 5 px) it grows by what the blurred step has in common with a constant. Tukey weights (95 %),
        // the place of the pixels and the draws take some 10 % more.
        let reach: f64 = [0.75, 1.0].iter().map(|modules| (modules * side / 8.0f64).min(5.0)).sum();
        let common = 2.0 * std::f64::consts::PI.sqrt() * blur / reach;
        let attainable = bound / (1.0 - common).sqrt();
        assert!(scatter < 1.15 * attainable, "{scatter} px against {attainable} px");
        assert!(scatter < 1.5 * bound, "{scatter} px against {bound} px");
        // The scatter of 400 draws is itself known to 3.5 %.
        assert!((stated / scatter - 1.0).abs() < 0.08, "stated {stated} px, scatter {scatter} px");
        assert!(bias.abs() < 0.02, "{bias} px");
    }
}

/// A part of the pixels is spread over the whole window, whatever the length of its rows: squares that stand upright in the
/// photo, whose rows are as long as the window is wide, and turned ones, of every size that a first look takes a part of.
#[test]
fn a_part_of_the_pixels_places_every_side() {
    let mut random = Random::new();
    for side in (60..=400).step_by(10).map(f64::from) {
        for angle in [0.0, 0.01, 0.03, 0.3] {
            let middle = (side * 0.5 * std::f64::consts::SQRT_2 + 10.0).ceil();
            let shift = [random.uniform() - 0.5, random.uniform() - 0.5];
            let square = Square { middle, shift, angle, side, blur: 0.8 };
            let photo = square.photo(0.01, &mut random);
            for (i, (from, to)) in square.sides().into_iter().enumerate() {
                let Some(m) = measure_side(&photo, from, to, SidePixels::Some) else {
                    panic!("{side} px turned by {angle}: side {i} not measured")
                };
                let along = (to.vector() - from.vector()).normalize();
                let off = (m.middle.vector() - from.vector()).perp(&along).abs();
                // Three hundred pixels of this noise place it to 0.01 px.
                assert!(off < 0.06, "{side} px turned by {angle}: side {i} off by {off} px");
            }
        }
    }
}
