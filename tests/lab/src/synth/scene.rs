//! Rendering of the scene: the first object on each viewing ray.

use nalgebra::Vector3;
use rayon::prelude::*;

use super::LinearPicture;
use super::clutter::{Block, Cloth};
use super::form::{Form, Hit};
use super::ground::Floor;
use super::light::{Colour, Light};
use super::noise::smooth;
use super::outline::Outline;
use super::paper::Paper;
use super::place::{PixelBox, Ray, Rays};
use super::saddle::{FlapSet, PanelSet, SaddleSet};
use super::scenario::{BoxSet, CardSet, Scenario, Subject};
use seatspan::camera::Camera;

enum Thing<'a> {
    Card(Paper),
    Block(Block),
    Cloth(Cloth),
    Flap(FlapSet),
    Panel(PanelSet),
    Form(&'a Form<'a>),
}

struct Scene<'a> {
    light: &'a Light,
    floor: Floor,
    form: Option<&'a Form<'a>>,
    blocks: Vec<Block>,
    things: Vec<(PixelBox, Thing<'a>)>,
}

/// Cardboard of the stands under the cards.
const CARDBOARD: [u8; 3] = [150, 116, 82];

/// Renders a scenario in linear light.
pub fn render(scenario: &Scenario, camera: &Camera) -> LinearPicture {
    let light = Light::new(&scenario.light);
    let pixel_mm = scenario.camera.distance_mm / scenario.camera.focal_px;
    let form = scenario.subject.form().map(|set| Form::new(Outline::new(set), &light, pixel_mm));
    let scene = Scene::new(scenario, camera, &light, form.as_ref());
    let (width, height) = (scenario.camera.width, scenario.camera.height);
    let rays = Rays::new(camera, width, height);
    let columns = width + 1;
    let mut corners = vec![Colour::zeros(); columns * (height + 1)];
    corners.par_chunks_mut(columns).enumerate().for_each(|(y, row)| {
        let mut near = Vec::new();
        for (x, corner) in row.iter_mut().enumerate() {
            let (x, y) = (x as f64 - 0.5, y as f64 - 0.5);
            scene.things_near(x, y, &mut near);
            *corner = scene.light_along(&rays.through(x, y), &near);
        }
    });
    let fine = samples(scenario.supersample.clamp(1, 8));
    let mut light = vec![[0f32; 3]; width * height];
    light.par_chunks_mut(width).enumerate().for_each(|(y, row)| {
        let mut near = Vec::new();
        for (x, pixel) in row.iter_mut().enumerate() {
            let at = y * columns + x;
            let four = [corners[at], corners[at + 1], corners[at + columns], corners[at + columns + 1]];
            let (x, y) = (x as f64, y as f64);
            scene.things_near(x, y, &mut near);
            let mean = if near.is_empty() || are_alike(&four) {
                four.iter().sum::<Colour>() / 4.0
            } else {
                let sum: Colour =
                    fine.iter().map(|(dx, dy)| scene.light_along(&rays.through(x + dx, y + dy), &near)).sum();
                sum / fine.len() as f64
            };
            *pixel = mean.map(|v| v as f32).into();
        }
    });
    LinearPicture { width, height, light }
}

/// Whether a pixel's four corners are so alike that their mean replaces supersampling. An edge across a pixel separates its
/// corners.
fn are_alike(corners: &[Colour; 4]) -> bool {
    let low = corners.iter().fold(corners[0], |a, c| a.inf(c));
    let high = corners.iter().fold(corners[0], |a, c| a.sup(c));
    let spread = high - low;
    (0..3).all(|k| spread[k] < 0.004 + 0.08 * high[k])
}

/// n x n sample positions within a pixel, no two in one row or column, so that edges along the picture's axes are resolved to
/// 1/n² of a pixel too.
fn samples(n: u32) -> Vec<(f64, f64)> {
    let n = f64::from(n);
    let place = |i: f64, j: f64| ((i + (j + 0.5) / n) / n - 0.5, (j + (i + 0.5) / n) / n - 0.5);
    (0..n as usize).flat_map(|j| (0..n as usize).map(move |i| place(i as f64, j as f64))).collect()
}

impl<'a> Scene<'a> {
    fn new(scenario: &Scenario, camera: &Camera, light: &'a Light, form: Option<&'a Form<'a>>) -> Self {
        let floor_mm = scenario.floor.height_mm;
        let mut sets: Vec<BoxSet> = scenario.boxes.clone();
        match &scenario.subject {
            Subject::Box(set) => sets.push(set.clone()),
            Subject::Chair(set) => sets.push(chair_back(set, floor_mm)),
            _ => {}
        }
        let papers: Vec<Paper> = scenario.cards.iter().filter_map(Paper::new).collect();
        sets.extend(papers.iter().filter(|p| p.set.stand).map(|p| stand(p, &p.set, floor_mm)));
        let mut blocks: Vec<Block> = sets.iter().map(|set| Block::new(set, floor_mm)).collect();
        blocks.extend(scenario.on_card.iter().map(|set| Block::new(set, 0.0)));
        let mut things = Vec::new();
        for (i, cloth) in scenario.cloths.iter().enumerate() {
            things.push(Thing::Cloth(Cloth::new(
                cloth,
                floor_mm,
                scenario.seed.wrapping_add(900 + i as u64),
            )));
        }
        things.extend(blocks.iter().cloned().map(Thing::Block));
        if let Some(form) = form {
            things.extend(form.outline.set().flaps.iter().cloned().map(Thing::Flap));
            things.extend(form.outline.set().panel.clone().map(Thing::Panel));
            things.push(Thing::Form(form));
        }
        things.extend(papers.into_iter().map(Thing::Card));
        let things =
            things.into_iter().map(|thing| (PixelBox::around(camera, hull(&thing, form)), thing)).collect();
        Self { light, floor: Floor::new(&scenario.floor, scenario.seed), form, blocks, things }
    }

    fn things_near<'s>(&'s self, x: f64, y: f64, near: &mut Vec<&'s Thing<'a>>) {
        near.clear();
        near.extend(self.things.iter().filter(|(bounds, _)| bounds.covers(x, y)).map(|(_, thing)| thing));
    }

    fn light_along(&self, ray: &Ray, near: &[&Thing]) -> Colour {
        let mut first: Option<Hit> = None;
        for hit in near.iter().filter_map(|thing| self.meet(thing, ray)) {
            if first.is_none_or(|f| hit.t < f.t) {
                first = Some(hit);
            }
        }
        first.map_or_else(|| self.floor_light(ray), |hit| hit.colour)
    }

    fn meet(&self, thing: &Thing, ray: &Ray) -> Option<Hit> {
        match thing {
            Thing::Card(paper) => {
                let (t, on_card) = paper.meet(ray)?;
                let (point, normal) = (ray.at(t), paper.rotation * Vector3::z());
                let covered: f64 = self.blocks.iter().map(|b| 1.0 - b.darkens_above(point)).product();
                let lit = covered * self.light.on(point, normal, self.sunny(point));
                Some(Hit { t, colour: paper.colour(on_card) * lit })
            }
            Thing::Block(block) => {
                let (t, normal) = block.meet(ray)?;
                let point = ray.at(t);
                let fibre = 1.0 + 0.05 * smooth(point.x / 3.0, point.y / 3.0 + point.z / 3.0, 41);
                Some(Hit {
                    t,
                    colour: block.colour * (fibre * self.light.on(point, normal, self.sunny(point))),
                })
            }
            Thing::Cloth(cloth) => {
                let t = ray.t_at_height(cloth.height_mm);
                let point = ray.at(t);
                let colour = cloth.colour(point.xy())?;
                Some(Hit { t, colour: colour * self.light_below(point) })
            }
            Thing::Flap(flap) => self.form?.flap(ray, flap, |p| self.past_blocks(p)),
            Thing::Panel(panel) => self.form?.panel(ray, panel, |p| self.past_blocks(p)),
            Thing::Form(form) => form.look(ray),
        }
    }

    fn floor_light(&self, ray: &Ray) -> Colour {
        let point = ray.at(ray.t_at_height(self.floor.set.height_mm));
        self.floor.colour(point.xy()) * self.light_below(point)
    }

    fn sunny(&self, p: Vector3<f64>) -> f64 {
        self.form.map_or(1.0, |f| f.sunny(p)) * self.past_blocks(p)
    }

    /// Fraction of sunlight that boxes let through.
    fn past_blocks(&self, p: Vector3<f64>) -> f64 {
        let sun = self.light.sun();
        let dark = self.light.set.sun > 0.0 && self.blocks.iter().any(|b| b.shades(p, sun));
        if dark { 0.0 } else { 1.0 }
    }

    /// Light on the floor or a cloth, with contact shadows.
    fn light_below(&self, p: Vector3<f64>) -> f64 {
        let form = self.form.map_or(1.0, |f| f.under(p).min(f.under_flaps(p)));
        let contact = self.light.set.contact;
        let blocks: f64 = self.blocks.iter().map(|b| 1.0 - contact * b.darkens(p.xy())).product();
        self.light.on(p, Vector3::z(), self.sunny(p)) * form * blocks
    }
}

fn hull(thing: &Thing, form: Option<&Form>) -> Vec<Vector3<f64>> {
    match thing {
        Thing::Card(paper) => paper.sheet_corners().to_vec(),
        Thing::Block(block) => block.corners(),
        Thing::Cloth(cloth) => cloth.corners().to_vec(),
        Thing::Flap(flap) => form.map_or_else(Vec::new, |f| f.flap_hull(flap)),
        Thing::Panel(panel) => form.map_or_else(Vec::new, |f| {
            let beyond = (0..=20).map(|i| panel.beyond_mm.at(f64::from(i) / 20.0)).fold(0.0, f64::max);
            lowered(f.outline.hull(beyond + 2.0), panel.below_mm)
        }),
        Thing::Form(form) => {
            let set = form.outline.set();
            let reach = set.straps.iter().flat_map(|s| s.reach_mm).fold(0.0, f64::max);
            let spare = (reach - set.half_width.at(0.5)).max(14.0);
            let mut all = form.outline.hull(spare);
            // The side extends down from the edge.
            all.extend(lowered(all.clone(), set.side_mm));
            all
        }
    }
}

fn lowered(points: Vec<Vector3<f64>>, by_mm: f64) -> Vec<Vector3<f64>> {
    points.into_iter().map(|p| Vector3::new(p.x, p.y, p.z - by_mm)).collect()
}

fn stand(paper: &Paper, set: &CardSet, floor_mm: f64) -> BoxSet {
    let half = paper.half_sheet();
    BoxSet {
        at_mm: [set.at_mm[0], set.at_mm[1]],
        size_mm: [2.0 * half.x + 6.0, 2.0 * half.y + 6.0, set.at_mm[2] - 1.0 - floor_mm],
        yaw_deg: set.yaw_deg,
        colour: CARDBOARD,
    }
}

/// The back of a chair, behind its seat.
fn chair_back(seat: &SaddleSet, floor_mm: f64) -> BoxSet {
    const RISES_MM: f64 = 90.0;
    let outline = Outline::new(seat);
    BoxSet {
        at_mm: outline.plan(1.0 + 30.0 / seat.length_mm, 0.0).into(),
        size_mm: [34.0, 1.9 * seat.half_width.at(0.9), seat.lift.at(1.0) + RISES_MM - floor_mm],
        yaw_deg: seat.heading_deg,
        colour: [104, 78, 56],
    }
}
