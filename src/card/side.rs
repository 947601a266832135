//! Sub-pixel sides of tags: a straight blurred step fitted to the photo's own pixels (see [`crate::photo::step`]).

use nalgebra::Vector2;

use crate::numeric::frame::{CardPoint, PhotoPoint};
use crate::photo::Photo;
use crate::photo::step::{StepSample, fit_step};

/// Measured side of a tag.
#[derive(Debug, Clone, Copy)]
pub struct TagSide {
    /// The line's point in the middle of the measured stretch.
    pub middle: PhotoPoint,
    /// Unit vector along the side.
    pub along: Vector2<f64>,
    /// Unit vector across it, from black to white.
    pub outward: Vector2<f64>,
    /// Half-length of the measured stretch, pixels.
    pub half_length_px: f64,
    /// Standard uncertainty of the offset at the middle, pixels.
    pub u_offset_px: f64,
    /// Standard uncertainty of the slope, pixels per pixel.
    pub u_slope: f64,
    /// Blur: standard deviation of the edge spread, pixels.
    pub blur_px: f64,
    /// Step from black to white, linear light (0 to 1).
    pub contrast: f64,
    /// Noise of one pixel, linear light.
    pub noise: f64,
}

impl TagSide {
    /// The two points at which the fitted line is compared with a model that may be slightly curved, with the standard
    /// uncertainty across the side, pixels.
    pub fn gauss_points(&self) -> [(PhotoPoint, f64); 2] {
        let t = self.half_length_px / 3f64.sqrt();
        let u = self.u_offset_px.hypot(self.u_slope * t);
        [-t, t].map(|t| (PhotoPoint::from(self.middle.vector() + self.along * t), u))
    }

    /// The pixels along the measured stretch, so far inwards and outwards of the line, pixels; `None` where that leaves the photo.
    pub fn samples(&self, photo: &Photo, reach_px: [f64; 2]) -> Option<Vec<StepSample>> {
        let frame = Frame {
            middle: self.middle.vector(),
            along: self.along,
            half: self.half_length_px,
            reach: reach_px,
        };
        frame.samples(photo)
    }

    /// Where this side's line meets another's; `None` when they are parallel.
    pub fn meet(&self, other: &TagSide) -> Option<PhotoPoint> {
        let cross = self.along.perp(&other.along);
        let gap = other.middle.vector() - self.middle.vector();
        (cross.abs() > 1e-3)
            .then(|| PhotoPoint::from(self.middle.vector() + self.along * (gap.perp(&other.along) / cross)))
    }
}

/// One coordinate of a measured point of a flat target: its place across a direction.
#[derive(Debug, Clone, Copy)]
pub struct Observation {
    /// The point on the flat target.
    pub on_target: CardPoint,
    /// The measured point.
    pub measured: PhotoPoint,
    /// Unit vector along which its place was measured: of a tag's side the normal, from black to white.
    pub across: Vector2<f64>,
    /// Standard uncertainty along it, pixels.
    pub u_px: f64,
    /// Index of the tag; points of one tag share errors of print and paper.
    pub tag: usize,
}

/// Part of a side left out at each corner, in modules: there the blur of the neighbouring side shows.
const CORNER_GAP_MODULES: f64 = 0.4;
/// Reach of the window across the side, inwards and outwards, in modules, and its limit in pixels. The border is one
/// module wide, then the code begins; the white margin is at least as wide and mostly followed by paper. Where it is not,
/// the fit's weights leave its end out.
const REACH_MODULES: [f64; 2] = [0.75, 1.0];
const REACH_PX: f64 = 5.0;
/// A step below this part of full scale is not a black square on white paper.
const LEAST_CONTRAST: f64 = 0.02;

/// Number of pixels of a side that are used.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum SidePixels {
    /// All in the window.
    All,
    /// Some three hundred, spread over it: a quarter of the time, and good to a twentieth of a pixel.
    Some,
}

/// Approximate number of pixels of [`SidePixels::Some`].
const SOME: usize = 300;

/// Steps of the golden section fall evenly whatever the length of a row: a fixed step that divides it would take the same
/// columns of every row, and so one side of an upright edge only.
const GOLDEN: f64 = 0.618_033_988_749_895;

/// [`SOME`] of the samples, spread over all.
fn spread(samples: Vec<StepSample>) -> Vec<StepSample> {
    let share = SOME as f64 / samples.len() as f64;
    let kept = |i: &usize| (*i as f64 * GOLDEN).fract() < share;
    samples.into_iter().enumerate().filter(|(i, _)| kept(i)).map(|(_, sample)| sample).collect()
}

/// Measures the side that runs from `start` to `end` (approximately, to a pixel or two), with the tag's inside on
/// the right of that direction (corners given clockwise in the picture), from all of its pixels or a part of them. `None`
/// when there is no clean step.
pub fn measure_side(
    photo: &Photo,
    start: PhotoPoint,
    end: PhotoPoint,
    pixels: SidePixels,
) -> Option<TagSide> {
    let chord = end.vector() - start.vector();
    let length = chord.norm();
    let module = length / super::pattern::MODULES as f64;
    if !(module.is_finite() && module >= 1.5) {
        return None;
    }
    let mut frame = Frame {
        middle: (start.vector() + end.vector()) / 2.0,
        along: chord / length,
        half: length / 2.0 - (CORNER_GAP_MODULES * module).max(1.0),
        reach: REACH_MODULES.map(|modules| (modules * module).min(REACH_PX)),
    };
    // The finder's corners may be a pixel or two off: the window follows the fit until the step is in its middle, or nearly.
    let mut fit = None;
    for _ in 0..3 {
        let mut samples = frame.samples(photo)?;
        if pixels == SidePixels::Some {
            samples = spread(samples);
        }
        let f = fit_step(&mut samples, frame.reach[0], (0.6 * module).max(0.6), LEAST_CONTRAST)?;
        let moved = f.offset.abs().max(f.swing.abs());
        frame.follow(f.offset, f.swing / frame.half);
        fit = Some(f);
        if moved < 0.25 {
            break;
        }
    }
    let f = fit?;
    Some(TagSide {
        middle: frame.middle.into(),
        along: frame.along,
        outward: frame.outward(),
        half_length_px: frame.half,
        u_offset_px: f.u_offset,
        u_slope: f.u_swing / frame.half,
        blur_px: f.blur,
        contrast: f.contrast,
        noise: f.noise,
    })
}

struct Frame {
    middle: Vector2<f64>,
    along: Vector2<f64>,
    half: f64,
    /// Inwards and outwards.
    reach: [f64; 2],
}

impl Frame {
    fn outward(&self) -> Vector2<f64> {
        Vector2::new(self.along.y, -self.along.x)
    }

    fn follow(&mut self, offset: f64, slope: f64) {
        self.middle += self.outward() * offset;
        self.along = (self.along + self.outward() * slope).normalize();
    }

    /// Every pixel whose centre is in the window; `None` when the window leaves the photo.
    fn samples(&self, photo: &Photo) -> Option<Vec<StepSample>> {
        let out = self.outward();
        let ext = self.along.abs() * self.half + out.abs() * self.reach[1];
        let (low, high) = (self.middle - ext, self.middle + ext);
        let inside = low.x >= 0.0
            && low.y >= 0.0
            && high.x <= (photo.width_px() - 1) as f64
            && high.y <= (photo.height_px() - 1) as f64;
        if !inside {
            return None;
        }
        let mut samples = Vec::with_capacity((4.0 * self.half * self.reach[1]) as usize + 16);
        for y in low.y.ceil() as usize..=high.y.floor() as usize {
            for x in low.x.ceil() as usize..=high.x.floor() as usize {
                let p = Vector2::new(x as f64, y as f64) - self.middle;
                let (d, t) = (p.dot(&out), p.dot(&self.along));
                if (-self.reach[0]..=self.reach[1]).contains(&d) && t.abs() <= self.half {
                    let light = f64::from(photo.linear_luma_pixel(x, y));
                    samples.push(StepSample { d, t: t / self.half, light, weight: 1.0 });
                }
            }
        }
        Some(samples)
    }
}
