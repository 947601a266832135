//! What is true of a photo, from a synthetic scenario or from a truth file beside a rendered photo.

use anyhow::{Context, anyhow};
use nalgebra::{Matrix3, Rotation3, Vector2};
use seatspan::camera::Camera;
use seatspan::camera::lens::Lens;
use seatspan::camera::pose::CameraPose;
use seatspan::numeric::frame::CardPoint;
use seatspan::outline::lift::LiftProfile;
use seatspan::outline::midline::Midline;
use seatspan::outline::{Side, View};
use serde_json::Value;

use crate::synth::{EdgePair, Truth};

/// A camera and the saddle that it sees, if any.
pub struct Subject {
    pub camera: Camera,
    pub saddle: Option<Saddle>,
}

/// A saddle in the card frame.
pub struct Saddle {
    pub view: View,
    ends_mm: [CardPoint; 2],
    seat: Part,
    channel: Option<Part>,
}

/// Two edges, front to rear, and whether something hides each point.
struct Part {
    lift: LiftProfile,
    edges: [Vec<(CardPoint, bool)>; 2],
}

/// An edge in the card's horizontal as it appears at an assumed lift, front to rear, and whether each point is hidden.
pub type PlanEdge = Vec<(Vector2<f64>, bool)>;

/// An outline as it appears at an assumed lift: its points, and its front and rear end.
pub type PlanOutline = (Vec<Vector2<f64>>, [Vector2<f64>; 2]);

/// Two edges as they appear at an assumed lift.
pub struct PlanPart {
    pub lift: LiftProfile,
    pub edges: [PlanEdge; 2],
}

/// A saddle as it appears at assumed lifts.
pub struct PlanSaddle {
    pub view: View,
    pub midline: Midline,
    pub seat: PlanPart,
    pub channel: Option<PlanPart>,
    /// The channel's edges at the lift of the seat, at which a form is sampled.
    pub channel_in_form: Option<PlanPart>,
}

impl Saddle {
    /// The saddle at lifts that are too high by `off_mm`. `None` where a point cannot be projected.
    pub fn at_lift_off(&self, camera: &Camera, off_mm: f64) -> Option<PlanSaddle> {
        let seat_lift = self.seat.lift.raised_all(off_mm);
        let end = |i: usize| appears(camera, self.ends_mm[i], seat_lift.at_mm(i as f64));
        let midline = Midline::new(end(0)?, end(1)?, self.view);
        let part = |part: &Part, lift: LiftProfile| -> Option<PlanPart> {
            let point = |&(p, hidden): &(CardPoint, bool)| {
                let station = midline.station_and_offset(p.horizontal(), Side::Left).0;
                Some((appears(camera, p, lift.at_mm(station))?, hidden))
            };
            let edge = |i: usize| part.edges[i].iter().map(point).collect::<Option<PlanEdge>>();
            let edges = [edge(0)?, edge(1)?];
            Some(PlanPart { lift, edges })
        };
        let channel = |lift: &dyn Fn(&Part) -> LiftProfile| match &self.channel {
            Some(channel) => part(channel, lift(channel)).map(Some),
            None => Some(None),
        };
        Some(PlanSaddle {
            view: self.view,
            midline,
            seat: part(&self.seat, seat_lift.clone())?,
            channel: channel(&|channel| channel.lift.raised_all(off_mm))?,
            channel_in_form: channel(&|_| seat_lift.clone())?,
        })
    }

    /// The seat's outline, front to rear along the left edge and back along the right one, and both ends, as they appear in
    /// the plane at one lift.
    pub fn outline_at(&self, camera: &Camera, lift_mm: f64) -> Option<PlanOutline> {
        let [left, right] = &self.seat.edges;
        let points = left.iter().chain(right.iter().rev()).map(|p| appears(camera, p.0, lift_mm));
        let ends = [0, 1].map(|i| appears(camera, self.ends_mm[i], lift_mm));
        Some((points.collect::<Option<_>>()?, [ends[0]?, ends[1]?]))
    }

    /// Mean lift of the seat's edges, mm.
    pub fn mean_lift_mm(&self) -> f64 {
        (0..=10).map(|i| self.seat.lift.at_mm(0.1 * f64::from(i))).sum::<f64>() / 11.0
    }
}

/// Where a point appears in the plane at a lift.
fn appears(camera: &Camera, p: CardPoint, lift_mm: f64) -> Option<Vector2<f64>> {
    Some(camera.card_from_photo(camera.photo_from_card(p)?, lift_mm)?.horizontal())
}

fn point(p: [f64; 3]) -> CardPoint {
    CardPoint::new(p[0], p[1], p[2])
}

impl Subject {
    /// A synthetic photo. `None` where a saddle is cut off or too small: neither a saddle nor none.
    pub fn synthetic(truth: &Truth) -> anyhow::Result<Option<Self>> {
        if truth.saddle == "none" {
            return Ok(Some(Self { camera: truth.camera, saddle: None }));
        }
        let (Some(view), Some(ends), Some(edges), "whole") =
            (truth.view, truth.midline.as_ref(), truth.edges.as_ref(), truth.saddle)
        else {
            return Ok(None);
        };
        let ends_mm = [point(ends.front_mm), point(ends.rear_mm)];
        let midline = Midline::new(ends_mm[0].horizontal(), ends_mm[1].horizontal(), view);
        let part = |name: &str, pair: &EdgePair| -> anyhow::Result<Part> {
            let lift = truth.lifts.iter().find(|l| l.0 == name).context("a part without a lift")?;
            let edge = |points: &[[f64; 3]], side: &str| {
                let is_hidden = |p: CardPoint| {
                    let station = midline.station_and_offset(p.horizontal(), Side::Left).0;
                    let stretches = truth.hidden.iter().filter(|h| h.part == name && h.side == side);
                    stretches.into_iter().any(|h| (h.from..=h.to).contains(&station))
                };
                points.iter().map(|&p| (point(p), is_hidden(point(p)))).collect()
            };
            let lift = lift.2.parse().map_err(|e| anyhow!("{name}: {e}"))?;
            Ok(Part { lift, edges: [edge(&pair.left, "left"), edge(&pair.right, "right")] })
        };
        let channel = edges.channel.as_ref().map(|pair| part("channel", pair)).transpose()?;
        let saddle = Saddle { view, ends_mm, seat: part("seat", &edges.seat)?, channel };
        Ok(Some(Self { camera: truth.camera, saddle: Some(saddle) }))
    }

    /// A rendered photo by the truth file beside it.
    ///
    /// # Errors
    /// Where a key is missing.
    pub fn from_json(truth: &Value) -> anyhow::Result<Self> {
        let camera = camera(&truth["camera"]).context("camera")?;
        if truth["midline"].is_null() {
            return Ok(Self { camera, saddle: None });
        }
        let view = match truth["view"].as_str() {
            Some("underside") => View::Underside,
            _ => View::Top,
        };
        let end = |key: &str| Some(point(triple(&truth["midline"][key])?));
        let ends_mm = [end("front_mm").context("front_mm")?, end("rear_mm").context("rear_mm")?];
        let part = |name: &str| -> anyhow::Result<Option<Part>> {
            let pair = &truth["edges"][name];
            if pair.is_null() {
                return Ok(None);
            }
            let lift = truth["lift_exact"][name].as_str().context("lift_exact")?;
            let edge = |side: &str| -> Option<Vec<(CardPoint, bool)>> {
                let points = pair[side].as_array()?.iter().enumerate();
                let hidden = |i: usize| truth["hidden"][name][side][i].as_bool() == Some(true);
                points.map(|(i, p)| Some((point(triple(p)?), hidden(i)))).collect()
            };
            let edges = [edge("left").context("left edge")?, edge("right").context("right edge")?];
            Ok(Some(Part { lift: lift.parse().map_err(|e| anyhow!("{name}: {e}"))?, edges }))
        };
        let seat = part("seat")?.context("seat")?;
        Ok(Self { camera, saddle: Some(Saddle { view, ends_mm, seat, channel: part("channel")? }) })
    }
}

fn triple(value: &Value) -> Option<[f64; 3]> {
    let v = value.as_array()?;
    Some([v.first()?.as_f64()?, v.get(1)?.as_f64()?, v.get(2)?.as_f64()?])
}

fn camera(value: &Value) -> Option<Camera> {
    let number = |key: &str| value[key].as_f64();
    let mut distortion = [0.0; 5];
    for (to, from) in distortion.iter_mut().zip(value["dist"].as_array()?) {
        *to = from.as_f64()?;
    }
    let focal_px = 0.5 * (number("fx")? + number("fy")?);
    let lens = Lens { focal_px, cx_px: number("cx")?, cy_px: number("cy")?, distortion };
    let rows = value["R"].as_array()?;
    let rows = [triple(rows.first()?)?, triple(rows.get(1)?)?, triple(rows.get(2)?)?];
    let rotation = Rotation3::from_matrix_unchecked(Matrix3::from_fn(|i, j| rows[i][j]));
    Some(Camera { lens, pose: CameraPose { rotation, translation_mm: triple(&value["t"])?.into() } })
}
