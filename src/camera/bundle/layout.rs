//! Parameter vector of a bundle, and cameras and cards at its values.

use std::collections::BTreeSet;

use nalgebra::DVector;

use super::{BundlePhoto, Known};
use crate::camera::lens::Intrinsics;
use crate::camera::paper::BentPaper;
use crate::camera::parameter::{BundleParameter, CardAxis, LensParameter, PoseParameter, Scope};
use crate::camera::pose::{CameraPose, PoseStart};
use crate::card::side::Observation;
use crate::numeric::frame::CardPoint;

/// Parameters of a bundle in the order of its vector, each counted from its prior mean.
#[derive(Debug, Clone)]
pub(in crate::camera) struct Layout {
    pub parameters: Vec<BundleParameter>,
    pub known: Vec<Known>,
    pub photos: Vec<PhotoLayout>,
    pub views: Vec<ViewLayout>,
    print_aspect: Option<usize>,
}

/// A photo: its lens at the prior mean, and the places of its parameters.
#[derive(Debug, Clone)]
pub(in crate::camera) struct PhotoLayout {
    pub base: Intrinsics,
    /// Index of the lens.
    pub lens: usize,
    own: Vec<(LensParameter, usize)>,
    bloom: Option<usize>,
}

/// A card in a photo.
#[derive(Debug, Clone)]
pub(in crate::camera) struct ViewLayout {
    pub photo: usize,
    pub card: usize,
    pub start: PoseStart,
    /// Parameters that move the view.
    pub columns: Vec<usize>,
    halves_mm: [f64; 2],
    first_pose: usize,
    bends: [Option<usize>; 2],
    /// Tags whose printed place is a parameter, with its two coordinates.
    tag_places: Vec<(usize, [Option<usize>; 2])>,
}

impl Layout {
    /// `None` when the homography of a card is degenerate.
    pub fn new(photos: &[BundlePhoto], known: impl Fn(BundleParameter) -> Known) -> Option<Self> {
        let mut layout = Self {
            parameters: Vec::new(),
            known: Vec::new(),
            photos: Vec::new(),
            views: Vec::new(),
            print_aspect: None,
        };
        for (number, photo) in photos.iter().enumerate() {
            let of_lens = [Scope::Lens(photo.lens), Scope::Photo(number)]
                .into_iter()
                .flat_map(|scope| LensParameter::ALL.map(|p| (p, BundleParameter::Lens(p, scope))));
            let own = of_lens.filter_map(|(p, full)| Some((p, layout.place(full, &known)?))).collect();
            let bloom = layout.place(BundleParameter::Bloom { photo: number }, &known);
            layout.photos.push(PhotoLayout { base: photo.base, lens: photo.lens, own, bloom });
        }
        layout.print_aspect = layout.place(BundleParameter::PrintAspect, &known);
        for (number, photo) in photos.iter().enumerate() {
            for (card, target) in &photo.views {
                let card = *card;
                let start = PoseStart::from_homography(&target.photo_from_target, &photo.base)?;
                let first_pose = layout.parameters.len();
                for parameter in PoseParameter::ALL {
                    layout.parameters.push(BundleParameter::Pose { photo: number, card, parameter });
                    layout.known.push(Known::Free);
                }
                let bends = AXES.map(|axis| layout.place(BundleParameter::Bend { card, axis }, &known));
                let tags: BTreeSet<usize> = target.observations.iter().map(|o| o.tag).collect();
                let places = |tag| {
                    (tag, AXES.map(|axis| layout.place(BundleParameter::TagPlace { tag, axis }, &known)))
                };
                let mut tag_places: Vec<_> = tags.into_iter().map(places).collect();
                tag_places.retain(|(_, places)| places.iter().any(Option::is_some));
                let own = &layout.photos[number];
                let columns = own.own.iter().map(|l| l.1).chain(own.bloom).chain(layout.print_aspect);
                let columns = columns.chain(first_pose..first_pose + 6).chain(bends.into_iter().flatten());
                let columns = columns.chain(tag_places.iter().flat_map(|t| t.1).flatten()).collect();
                let halves_mm = target.halves_mm;
                let photo = number;
                let view =
                    ViewLayout { photo, card, start, columns, halves_mm, first_pose, bends, tag_places };
                layout.views.push(view);
            }
        }
        Some(layout)
    }

    /// The place of a parameter that is not fixed; a new one at its first use.
    fn place(
        &mut self,
        parameter: BundleParameter,
        known: &impl Fn(BundleParameter) -> Known,
    ) -> Option<usize> {
        self.index(parameter).or_else(|| {
            let known = known(parameter);
            (known != Known::Fixed).then(|| {
                self.parameters.push(parameter);
                self.known.push(known);
                self.parameters.len() - 1
            })
        })
    }

    pub fn index(&self, parameter: BundleParameter) -> Option<usize> {
        self.parameters.iter().position(|p| *p == parameter)
    }

    /// Places of the views of a photo.
    pub fn views_of(&self, photo: usize) -> impl Iterator<Item = usize> + '_ {
        (0..self.views.len()).filter(move |v| self.views[*v].photo == photo)
    }

    pub fn intrinsics(&self, photo: usize, values: &DVector<f64>) -> Intrinsics {
        let PhotoLayout { base, own, .. } = &self.photos[photo];
        own.iter().fold(*base, |lens, &(parameter, at)| lens.moved(parameter, values[at]))
    }

    pub fn pose(&self, view: usize, values: &DVector<f64>) -> CameraPose {
        let own = &self.views[view];
        own.start.through(&self.intrinsics(own.photo, values), &own.pose_parameters(values))
    }

    pub fn paper(&self, view: usize, values: &DVector<f64>) -> BentPaper {
        let own = &self.views[view];
        let sagittas_mm = own.bends.map(|at| at.map_or(0.0, |at| values[at]));
        BentPaper { halves_mm: own.halves_mm, sagittas_mm }
    }

    /// The point of an observation as printed.
    pub fn printed(&self, view: usize, observation: &Observation, values: &DVector<f64>) -> CardPoint {
        let mut printed = observation.on_target;
        if let Some(at) = self.print_aspect {
            printed.y_mm *= values[at].exp();
        }
        if let Some((_, places)) = self.views[view].tag_places.iter().find(|t| t.0 == observation.tag) {
            let [x_mm, y_mm] = places.map(|at| at.map_or(0.0, |at| values[at]));
            printed = CardPoint::new(printed.x_mm + x_mm, printed.y_mm + y_mm, printed.z_mm);
        }
        printed
    }

    pub fn bloom_px(&self, photo: usize, values: &DVector<f64>) -> f64 {
        self.photos[photo].bloom.map_or(0.0, |at| values[at])
    }

    /// Places of both bends of a view.
    pub fn bends(&self, view: usize) -> [Option<usize>; 2] {
        self.views[view].bends
    }

    pub fn pose_places(&self, view: usize) -> std::ops::Range<usize> {
        let first = self.views[view].first_pose;
        first..first + 6
    }

    /// Pose of a view in another layout less that in this one, as parameters.
    pub fn pose_apart(&self, view: usize, values: &DVector<f64>, other: (&Self, &DVector<f64>)) -> [f64; 6] {
        let shown = |layout: &Self, values: &DVector<f64>| {
            let (lens, pose) =
                (layout.intrinsics(layout.views[view].photo, values), layout.pose(view, values));
            let origin = lens.matrix() * (pose.translation_mm / pose.translation_mm.z);
            (pose.rotation, origin.xy(), (pose.translation_mm.z / lens.fx_px).ln())
        };
        let (from, to) = (shown(self, values), shown(other.0, other.1));
        let (turn, shift) = ((to.0 * from.0.inverse()).scaled_axis(), to.1 - from.1);
        [turn.x, turn.y, turn.z, shift.x, shift.y, to.2 - from.2]
    }

    /// The same bundle with the poses at `values` as starts, and the values that belong to it.
    pub fn restarted(&self, values: &DVector<f64>) -> (Self, DVector<f64>) {
        let (mut layout, mut from) = (self.clone(), values.clone());
        for view in 0..self.views.len() {
            let lens = self.intrinsics(self.views[view].photo, values);
            layout.views[view].start = PoseStart::new(self.pose(view, values), &lens);
            from.rows_mut(self.views[view].first_pose, 6).fill(0.0);
        }
        (layout, from)
    }
}

impl ViewLayout {
    fn pose_parameters(&self, values: &DVector<f64>) -> [f64; 6] {
        std::array::from_fn(|i| values[self.first_pose + i])
    }
}

const AXES: [CardAxis; 2] = [CardAxis::Width, CardAxis::Height];
