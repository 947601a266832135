//! Ground truth of a synthetic photo: what a perfect measurement would find.

use nalgebra::{Rotation3, Vector2};
use serde::Serialize;
use serde_json::{Map, Value, json};

use super::flap::is_under_strap;
use super::light::heading;
use super::outline::Outline;
use super::paper::Paper;
use super::saddle::SaddleSet;
use super::scenario::{Scenario, Subject};
use seatspan::camera::Camera;
use seatspan::numeric::frame::CardPoint;
use seatspan::numeric::words::{SIDES, Side, View};

/// Ground truth. Lengths in mm in the frame of the first card.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Truth {
    /// The scenario's name.
    pub name: String,
    /// Expected outcome: `measure`, or `refuse` without a whole saddle.
    pub expect: &'static str,
    /// `whole`, `cut-off` by the photo's border, `too-small` or `none`.
    pub saddle: &'static str,
    /// View of the saddle.
    pub view: Option<View>,
    /// The camera.
    #[serde(skip)]
    pub camera: Camera,
    /// Card, tag identity and corners in the photo, clockwise from the top-left, of every tag.
    pub tag_corners_px: Vec<(usize, u32, [[f64; 2]; 4])>,
    /// The midline of the saddle.
    pub midline: Option<MidlineTruth>,
    /// Where a person would point: the midline's ends, or those of the object in the saddle's place.
    pub pointed_px: [[f64; 2]; 2],
    /// The edges: `seat` and `channel`.
    pub edges: Option<Edges>,
    /// Hidden stretches of the edges.
    pub hidden: Vec<Hidden>,
    /// Widths at the set stations.
    pub stations: Vec<StationTruth>,
    /// The named widths.
    pub named: Vec<NamedTruth>,
    /// The front taper, degrees.
    pub front_taper_deg: Option<f64>,
    /// Part, lift profile rounded as read from a ruler, and exact lift profile, as `station:mm,...`.
    pub lifts: Vec<(&'static str, String, String)>,
    #[serde(skip)]
    head: Value,
}

/// The midline.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct MidlineTruth {
    /// Front end in the photo, pixels.
    pub front_px: [f64; 2],
    /// Rear end in the photo, pixels.
    pub rear_px: [f64; 2],
    /// Front end.
    pub front_mm: [f64; 3],
    /// Rear end.
    pub rear_mm: [f64; 3],
    /// Horizontal length.
    pub length_mm: f64,
}

/// A left and a right edge, 361 points each from front to rear.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct EdgePair {
    /// The rider's left.
    pub left: Vec<[f64; 3]>,
    /// The rider's right.
    pub right: Vec<[f64; 3]>,
}

/// The edges of a saddle.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Edges {
    /// The outer edges.
    pub seat: EdgePair,
    /// The channel's edges, underside only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel: Option<EdgePair>,
}

/// A hidden stretch of an edge.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct Hidden {
    /// `seat` or `channel`.
    pub part: &'static str,
    /// `left` or `right`.
    pub side: &'static str,
    /// Station where it begins.
    pub from: f64,
    /// Station where it ends.
    pub to: f64,
}

/// Widths at a station.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct StationTruth {
    /// The station.
    pub at: f64,
    /// Outer width.
    pub seat_mm: f64,
    /// Left half-width.
    pub seat_left_half_mm: f64,
    /// Right half-width.
    pub seat_right_half_mm: f64,
    /// Lift of the outer edges.
    pub seat_lift_mm: f64,
    /// Channel's width.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub channel_mm: Option<f64>,
}

/// A named width.
#[derive(Debug, Clone, Copy, PartialEq, Serialize)]
pub struct NamedTruth {
    /// Its name.
    pub name: &'static str,
    /// The width.
    pub mm: f64,
    /// Its station.
    pub at: f64,
}

const EDGE_POINTS: usize = 361;

impl Truth {
    /// The ground truth of a scenario seen by its camera.
    pub fn of(scenario: &Scenario, camera: &Camera) -> Self {
        let mut truth = Self {
            name: scenario.name.clone(),
            expect: "refuse",
            saddle: "none",
            view: None,
            camera: *camera,
            tag_corners_px: tag_corners(scenario, camera),
            midline: None,
            pointed_px: pointed(scenario, camera),
            edges: None,
            hidden: Vec::new(),
            stations: Vec::new(),
            named: Vec::new(),
            front_taper_deg: None,
            lifts: Vec::new(),
            head: head(scenario, camera),
        };
        if let Some(set) = scenario.subject.saddle() {
            truth.add_saddle(set, camera);
            truth.saddle = how_whole(&Outline::new(set), camera, scenario);
            truth.expect = if truth.saddle == "whole" { "measure" } else { "refuse" };
        }
        truth
    }

    fn add_saddle(&mut self, set: &SaddleSet, camera: &Camera) {
        let outline = Outline::new(set);
        self.view = Some(set.view);
        self.hidden = hidden(&outline);
        self.midline = midline(&outline, camera);
        let pair = |edge: &dyn Fn(Side, f64) -> Option<CardPoint>, from: f64, to: f64| EdgePair {
            left: evenly(&|s| edge(Side::Left, s), from, to),
            right: evenly(&|s| edge(Side::Right, s), from, to),
        };
        let channel =
            set.channel.as_ref().map(|c| pair(&|side, s| outline.channel_edge(side, s), c.from, c.to));
        self.edges = Some(Edges { seat: pair(&|side, s| Some(outline.edge(side, s)), 0.0, 1.0), channel });
        self.stations = (1..20).map(|i| station(&outline, f64::from(i) / 20.0)).collect();
        self.named = named(&outline);
        self.front_taper_deg = Some(front_taper_deg(&outline));
        let mean = |s: f64| outline.mean_lift_mm(s);
        self.lifts.push(lift("seat", &mean, &[0.0, 0.25, 0.5, 0.75, 1.0]));
        if let Some(channel) = &set.channel {
            self.lifts.push(lift("channel", &|s| channel.lift.at(s), &[0.1, 0.35, 0.6, 0.9]));
        }
    }

    /// The named width, mm.
    pub fn named_mm(&self, name: &str) -> Option<f64> {
        self.named.iter().find(|n| n.name == name).map(|n| n.mm)
    }

    /// The content of a truth file.
    pub fn to_json(&self) -> Value {
        let mut out = self.head.as_object().cloned().unwrap_or_default();
        let body = serde_json::to_value(self).unwrap_or_default();
        for (key, value) in body.as_object().into_iter().flatten().filter(|(key, _)| *key != "lifts") {
            out.insert(key.clone(), value.clone());
        }
        let named = |n: &NamedTruth| (n.name.to_owned(), json!({"mm": n.mm, "at": n.at}));
        out.insert("named".into(), Value::Object(self.named.iter().map(named).collect()));
        let given: Map<_, _> = self.lifts.iter().map(|l| (l.0.to_owned(), json!(l.1))).collect();
        let exact: Map<_, _> = self.lifts.iter().map(|l| (l.0.to_owned(), json!(l.2))).collect();
        out.insert("lift_given".into(), Value::Object(given));
        out.insert("lift_exact".into(), Value::Object(exact));
        Value::Object(out)
    }
}

/// A lift profile at stations: rounded to 1 mm, and exact.
fn lift(name: &'static str, at_mm: &dyn Fn(f64) -> f64, at: &[f64]) -> (&'static str, String, String) {
    let text = |digits: usize| {
        let pairs: Vec<String> = at.iter().map(|&s| format!("{s}:{:.digits$}", at_mm(s))).collect();
        pairs.join(",")
    };
    (name, text(0), text(2))
}

/// A saddle shorter than this in the photo is too small, pixels: 2 mm of width are then less than a pixel (judgement).
pub const LEAST_LENGTH_PX: f64 = 200.0;

fn how_whole(outline: &Outline, camera: &Camera, scenario: &Scenario) -> &'static str {
    let (w, h) = (scenario.camera.width as f64 - 0.5, scenario.camera.height as f64 - 0.5);
    let pixel = |side, s| camera.photo_from_card(outline.edge(side, s)).map(|p| p.vector());
    let all = || (0..=200).flat_map(|i| SIDES.map(|side| pixel(side, f64::from(i) / 200.0)));
    let within = |p: Vector2<f64>| p.x > -0.5 && p.y > -0.5 && p.x < w && p.y < h;
    if !all().all(|p| p.is_some_and(within)) {
        return "cut-off";
    }
    let length = pixel(Side::Left, 0.0).zip(pixel(Side::Left, 1.0)).map_or(0.0, |(a, b)| (b - a).norm());
    if length < LEAST_LENGTH_PX { "too-small" } else { "whole" }
}

/// Stretches of the edges under straps.
fn hidden(outline: &Outline) -> Vec<Hidden> {
    const STEPS: u32 = 1000;
    let half = |part: &str, side: Side, s: f64| match part {
        "seat" => Some(outline.half_mm(side, s)),
        _ => outline.channel_half_mm(s),
    };
    let mut out: Vec<Hidden> = Vec::new();
    for part in ["seat", "channel"] {
        for side in SIDES {
            let mut from = None;
            for i in 0..=STEPS + 1 {
                let s = f64::from(i) / f64::from(STEPS);
                let under =
                    i <= STEPS && half(part, side, s).is_some_and(|mm| is_under_strap(outline, s, side, mm));
                match (under, from) {
                    (true, None) => from = Some(s),
                    (false, Some(begin)) => {
                        out.push(Hidden { part, side: side.as_str(), from: begin, to: s });
                        from = None;
                    }
                    _ => {}
                }
            }
        }
    }
    out
}

/// Images of both ends of the object in the saddle's place, or of two points beside the card.
fn pointed(scenario: &Scenario, camera: &Camera) -> [[f64; 2]; 2] {
    let ends = match &scenario.subject {
        Subject::None => [CardPoint::new(-200.0, 260.0, 0.0), CardPoint::new(220.0, 280.0, 0.0)],
        Subject::Box(set) => {
            let half = heading(set.yaw_deg) * (set.size_mm[0] / 2.0);
            let top = scenario.floor.height_mm + set.size_mm[2];
            [-1.0, 1.0].map(|k| CardPoint::new(set.at_mm[0] + k * half.x, set.at_mm[1] + k * half.y, top))
        }
        Subject::Cushion(set) | Subject::Chair(set) | Subject::Saddle(set) => {
            let outline = Outline::new(set);
            [0.0, 1.0].map(|s| outline.edge(Side::Left, s))
        }
    };
    ends.map(|p| camera.photo_from_card(p).map_or([f64::NAN; 2], |p| [p.x_px, p.y_px]))
}

fn rows(rotation: &Rotation3<f64>) -> Vec<Vec<f64>> {
    rotation.matrix().row_iter().map(|row| row.iter().copied().collect()).collect()
}

/// Camera, cards and conditions.
fn head(scenario: &Scenario, camera: &Camera) -> Value {
    let cards: Vec<Value> = scenario
        .cards
        .iter()
        .filter_map(Paper::new)
        .map(|p| {
            let ids: Vec<u32> = (0..p.pattern.tags.len()).map(|i| p.pattern.tag_id(p.set.copy, i)).collect();
            json!({
                "pattern": p.pattern.name, "copy": p.set.copy, "bow_mm": p.set.bow_mm, "tag_ids": ids,
                "pose_in_world": {"R": rows(&p.rotation), "t": p.set.at_mm},
            })
        })
        .collect();
    let (set, lens) = (&scenario.camera, camera.lens);
    let saddle = scenario.subject.saddle();
    json!({
        "schema": "seatspan-truth/1",
        "about": scenario.about,
        "image": {"width": set.width, "height": set.height, "exif_orientation": null},
        "camera": {
            "fx": lens.focal_px, "fy": lens.focal_px, "cx": lens.cx_px, "cy": lens.cy_px,
            "dist": lens.distortion, "R": rows(&camera.pose.rotation), "t": camera.pose.translation_mm.as_slice(),
        },
        "cards": cards,
        "saddle_up_in_world": [0.0, 0.0, 1.0],
        "conditions": {
            "subject": scenario.subject.kind(), "tilt_deg": set.tilt_deg, "distance_mm": set.distance_mm,
            "sensor": scenario.sensor, "light": scenario.light, "floor": scenario.floor.kind,
            "boxes": scenario.boxes.len(), "cloths": scenario.cloths.len(),
            "straps": saddle.map_or(0, |s| s.straps.len()),
            "colour": saddle.map(|s| s.colour), "roll_deg": saddle.map(|s| s.roll_deg),
            "card_partly_hidden": !scenario.on_card.is_empty(), "seed": scenario.seed, "rendered": true,
        },
    })
}

fn tag_corners(scenario: &Scenario, camera: &Camera) -> Vec<(usize, u32, [[f64; 2]; 4])> {
    let mut out = Vec::new();
    for (card, paper) in scenario.cards.iter().enumerate().filter_map(|(i, c)| Some((i, Paper::new(c)?))) {
        for tag in 0..paper.pattern.tags.len() {
            let seen = paper.pattern.corners(tag).map(|c| {
                let p = camera.photo_from_card(CardPoint::from(paper.printed(c.horizontal())));
                p.map_or([f64::NAN; 2], |p| [p.x_px, p.y_px])
            });
            out.push((card, paper.pattern.tag_id(paper.set.copy, tag), seen));
        }
    }
    out
}

fn midline(outline: &Outline, camera: &Camera) -> Option<MidlineTruth> {
    let [front, rear] = [0.0, 1.0].map(|s| outline.edge(Side::Left, s));
    let pixel = |p: CardPoint| camera.photo_from_card(p).map(|p| [p.x_px, p.y_px]);
    Some(MidlineTruth {
        front_px: pixel(front)?,
        rear_px: pixel(rear)?,
        front_mm: front.vector().into(),
        rear_mm: rear.vector().into(),
        length_mm: outline.set().length_mm,
    })
}

/// Points at equal distances along a curve.
fn evenly(edge: &dyn Fn(f64) -> Option<CardPoint>, from: f64, to: f64) -> Vec<[f64; 3]> {
    // Denser toward both ends, where the curve turns perpendicular to the midline.
    let at = |i: usize| from + (to - from) * (0.5 - 0.5 * (std::f64::consts::PI * i as f64 / 8000.0).cos());
    let dense: Vec<_> = (0..=8000).filter_map(|i| Some(edge(at(i))?.vector())).collect();
    let mut run = vec![0.0];
    for w in dense.windows(2) {
        run.push(run[run.len() - 1] + (w[1] - w[0]).norm());
    }
    let total = run[run.len() - 1];
    (0..EDGE_POINTS)
        .filter_map(|i| {
            let along = total * i as f64 / (EDGE_POINTS - 1) as f64;
            let j = run.partition_point(|&r| r < along).clamp(1, dense.len().checked_sub(1)?);
            let t = ((along - run[j - 1]) / (run[j] - run[j - 1]).max(1e-12)).clamp(0.0, 1.0);
            Some((dense[j - 1] + (dense[j] - dense[j - 1]) * t).into())
        })
        .collect()
}

fn width(outline: &Outline, s: f64) -> f64 {
    outline.half_mm(Side::Left, s) + outline.half_mm(Side::Right, s)
}

fn channel_width(outline: &Outline, s: f64) -> Option<f64> {
    Some(2.0 * outline.channel_half_mm(s)?)
}

fn station(outline: &Outline, at: f64) -> StationTruth {
    StationTruth {
        at,
        seat_mm: width(outline, at),
        seat_left_half_mm: outline.half_mm(Side::Left, at),
        seat_right_half_mm: outline.half_mm(Side::Right, at),
        seat_lift_mm: outline.mean_lift_mm(at),
        channel_mm: channel_width(outline, at),
    }
}

fn named(outline: &Outline) -> Vec<NamedTruth> {
    let over = |from: f64, to: f64, value: &dyn Fn(f64) -> Option<f64>| {
        let at = |i: u32| from + (to - from) * f64::from(i) / 9000.0;
        (0..=9000).filter_map(|i| Some((value(at(i))?, at(i)))).collect::<Vec<_>>()
    };
    let seat = |s: f64| Some(width(outline, s));
    let channel = |s: f64| channel_width(outline, s);
    let widest = over(0.5, 0.95, &seat).into_iter().max_by(|a, b| a.0.total_cmp(&b.0));
    let waist = over(0.1, 0.5, &seat).into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let narrowest = over(0.1, 0.9, &channel).into_iter().min_by(|a, b| a.0.total_cmp(&b.0));
    let fixed = |s: f64| Some((channel(s)?, s));
    [
        ("seat.widest", widest),
        ("seat.waist", waist),
        ("channel.front", fixed(0.15)),
        ("channel.middle", fixed(0.5)),
        ("channel.rear", fixed(0.85)),
        ("channel.narrowest", narrowest),
    ]
    .into_iter()
    .filter_map(|(name, found)| found.map(|(mm, at)| NamedTruth { name, mm, at }))
    .collect()
}

/// The angle between straight lines fitted to both edges over stations 0.05 to 0.25, degrees.
fn front_taper_deg(outline: &Outline) -> f64 {
    let slope = |side: Side| {
        let points: Vec<Vector2<f64>> = (0..=200)
            .map(|i| 0.05 + 0.2 * f64::from(i) / 200.0)
            .map(|s| Vector2::new(s * outline.set().length_mm, outline.half_mm(side, s)))
            .collect();
        let mean = points.iter().sum::<Vector2<f64>>() / points.len() as f64;
        let (xx, xy) =
            points.iter().map(|p| p - mean).fold((0.0, 0.0), |a, d| (a.0 + d.x * d.x, a.1 + d.x * d.y));
        (xy / xx).atan()
    };
    (slope(Side::Left) + slope(Side::Right)).to_degrees()
}
