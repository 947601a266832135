//! Parameters of a scenario's saddle.

use super::Curve;
use super::scenario::Rgb;
use seatspan::numeric::words::View;

/// A saddle-like form. Stations run from 0 at the front to 1 at the rear.
#[derive(Debug, Clone, PartialEq)]
pub struct SaddleSet {
    /// View.
    pub view: View,
    /// Front end of the form, mm.
    pub front_mm: [f64; 2],
    /// Direction from front to rear, degrees from x to y.
    pub heading_deg: f64,
    /// Length from front to rear, mm.
    pub length_mm: f64,
    /// Half-width over the station before the ends are rounded, mm.
    pub half_width: Curve,
    /// Fraction of the length over which the front is rounded.
    pub front_round: f64,
    /// Fraction of the length over which the rear is rounded.
    pub rear_round: f64,
    /// Relative difference of the halves: the left is wider by half of it, the right narrower.
    pub asymmetry: f64,
    /// Height of the outer edges above the card, mm; their mean where the form is rolled.
    pub lift: Curve,
    /// Roll about the midline, degrees; positive raises the left edge.
    pub roll_deg: f64,
    /// Leather of the form (underside: of the panels).
    pub colour: Rgb,
    /// Strength of its texture: 0 none, 1 coarse like wool.
    pub texture: f64,
    /// Padding: 0 flat, 1 rises by some 6 mm within the edges.
    pub padding: f64,
    /// Gloss of the leather: 0 matt, 1 bright highlights.
    pub gloss: f64,
    /// Wear: paler patches, 0 none, 1 strong.
    pub wear: f64,
    /// Spacing of quilting seams on the rear half, mm; 0 for none.
    pub quilt_mm: f64,
    /// Depth of the form's side below the piping, mm; 0 for none.
    pub side_mm: f64,
    /// Colour of that side; none is the form's own.
    pub side_colour: Option<Rgb>,
    /// Metal studs: station, distance to the left and radius, mm.
    pub studs: Vec<[f64; 3]>,
    /// The piping along the edge.
    pub welt: WeltSet,
    /// The stitching along the edge.
    pub seam: SeamSet,
    /// Seams across the form, at these stations.
    pub cross_seams: Vec<f64>,
    /// Flaps, each on both sides.
    pub flaps: Vec<FlapSet>,
    /// The panel beneath it, if visible from above.
    pub panel: Option<PanelSet>,
    /// The channel of the underside.
    pub channel: Option<ChannelSet>,
    /// Straps across the form.
    pub straps: Vec<StrapSet>,
}

impl Default for SaddleSet {
    fn default() -> Self {
        Self {
            view: View::Top,
            front_mm: [-215.0, 330.0],
            heading_deg: 0.0,
            length_mm: 430.0,
            half_width: Curve::through(&[[0.0, 62.0], [0.1, 60.0], [0.3, 46.0], [0.74, 106.0], [1.0, 106.0]]),
            front_round: 0.11,
            rear_round: 0.27,
            asymmetry: 0.0,
            lift: Curve::constant(20.0),
            roll_deg: 0.0,
            colour: [96, 58, 36],
            texture: 0.0,
            padding: 0.0,
            gloss: 0.0,
            wear: 0.0,
            quilt_mm: 0.0,
            side_mm: 0.0,
            side_colour: None,
            studs: Vec::new(),
            welt: WeltSet::default(),
            seam: SeamSet::default(),
            cross_seams: Vec::new(),
            flaps: Vec::new(),
            panel: None,
            channel: None,
            straps: Vec::new(),
        }
    }
}

/// Piping: a round cord along an edge. The edge is its outermost horizontal extent (the channel's: its innermost), at
/// the height of the cord's centre line.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct WeltSet {
    /// Radius, mm; 0 is none.
    pub radius_mm: f64,
    /// Its colour; none is the leather's own.
    pub colour: Option<Rgb>,
}

/// Stitching along the edge.
#[derive(Debug, Clone, PartialEq)]
pub struct SeamSet {
    /// Distance from the edge, mm; 0 for none.
    pub inside_mm: f64,
    /// Length of a stitch with its gap, mm.
    pub period_mm: f64,
    /// Thickness of the thread, mm.
    pub thread_mm: f64,
    /// Rows side by side.
    pub rows: u32,
    /// Colour of the thread.
    pub colour: Rgb,
}

impl Default for SeamSet {
    fn default() -> Self {
        Self { inside_mm: 0.0, period_mm: 4.0, thread_mm: 0.7, rows: 1, colour: [96, 78, 62] }
    }
}

/// A flap or a skirt: a rounded shape on both sides of the midline under the form, sloping away from it.
#[derive(Debug, Clone, PartialEq)]
pub struct FlapSet {
    /// Its centre: station.
    pub station: f64,
    /// Its centre: distance from the midline, mm.
    pub out_mm: f64,
    /// Half-length along its own axis, mm.
    pub half_length_mm: f64,
    /// Half-width across it, mm.
    pub half_width_mm: f64,
    /// Rotation of its axis, degrees: 0 points straight out from the midline, positive toward the front.
    pub turn_deg: f64,
    /// Height of its centre above the card, mm.
    pub lift_mm: f64,
    /// Slope down and away from the midline, mm per mm.
    pub fall: f64,
    /// Its colour; none is the form's own.
    pub colour: Option<Rgb>,
}

impl Default for FlapSet {
    fn default() -> Self {
        Self {
            station: 0.3,
            out_mm: 130.0,
            half_length_mm: 130.0,
            half_width_mm: 105.0,
            turn_deg: 20.0,
            lift_mm: -40.0,
            fall: 0.15,
            colour: None,
        }
    }
}

/// The panel beneath a seat, which may extend beyond it.
#[derive(Debug, Clone, PartialEq)]
pub struct PanelSet {
    /// Extension beyond the seat's edge over the station, mm; negative inside.
    pub beyond_mm: Curve,
    /// Depth below the seat's edge, mm.
    pub below_mm: f64,
    /// Its colour.
    pub colour: Rgb,
}

impl Default for PanelSet {
    fn default() -> Self {
        Self { beyond_mm: Curve::constant(4.0), below_mm: 20.0, colour: [34, 32, 33] }
    }
}

/// The channel between the panels.
#[derive(Debug, Clone, PartialEq)]
pub struct ChannelSet {
    /// Half-width over the station before its ends are closed, mm.
    pub half_width: Curve,
    /// Station where it begins.
    pub from: f64,
    /// Station where it ends.
    pub to: f64,
    /// Height of its edges above the card, mm.
    pub lift: Curve,
    /// Piping along its edges.
    pub welt: WeltSet,
    /// Half-width of the webbing in it, mm; 0 is none.
    pub web_mm: f64,
    /// Offset of the webbing's middle to the left of the midline, mm.
    pub web_off: Curve,
    /// Stations between which there is webbing.
    pub web_reach: [f64; 2],
    /// Colour of the webbing.
    pub web_colour: Rgb,
    /// Depth of its ground, mm.
    pub depth_mm: f64,
    /// Colour of its ground.
    pub colour: Rgb,
    /// Colour of its walls; none is the panels' own.
    pub wall_colour: Option<Rgb>,
}

impl Default for ChannelSet {
    fn default() -> Self {
        Self {
            half_width: Curve::through(&[[0.0, 33.0], [0.5, 30.0], [1.0, 26.0]]),
            from: 0.035,
            to: 0.965,
            lift: Curve::constant(24.0),
            welt: WeltSet::default(),
            web_mm: 15.0,
            web_off: Curve::constant(0.0),
            web_reach: [0.0, 1.0],
            web_colour: [205, 196, 172],
            depth_mm: 22.0,
            colour: [38, 26, 20],
            wall_colour: None,
        }
    }
}

/// A strap across the form.
#[derive(Debug, Clone, PartialEq)]
pub struct StrapSet {
    /// Station where it crosses the midline.
    pub station: f64,
    /// Rotation from a perpendicular crossing, degrees.
    pub turn_deg: f64,
    /// Width, mm.
    pub width_mm: f64,
    /// Extent to the left and the right of the midline, mm.
    pub reach_mm: [f64; 2],
    /// Colour.
    pub colour: Rgb,
}
