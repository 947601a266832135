//! The small language in which a rule says what it measures: names of a sheet and of a rider, numbers with units,
//! `+ - * /` and brackets. It can look up and compute, and nothing else.
//!
//! ```text
//! sum     = product { ("+" | "-") product }
//! product = single { ("*" | "/") single }
//! single  = number [unit] | name | function "(" sum ")" | "(" sum ")" | "-" single
//! ```

use super::hint::did_you_mean;
use super::unit::{Dim, FINGERS, NO_UNIT, Unit, unit_named, unit_names};
use crate::numeric::words::{NamedWidth, Part, Side};

/// A parsed expression.
#[derive(Debug, Clone, PartialEq)]
pub enum Node {
    /// A number in mm, kg and degrees.
    Number(f64, Dim),
    /// So many of the rider's fingers.
    Fingers(f64),
    /// A width.
    Width(WidthPlace),
    /// From the midline to one edge.
    Half(Side, WidthPlace),
    /// The station of a named width.
    At(NamedWidth),
    /// Height of the seat's edge over the card's plane at a station.
    Lift(Box<Node>),
    /// Front taper.
    Taper,
    /// The midline's length.
    Length,
    /// Plan area between outer outline and channel, both sides.
    PanelArea,
    /// A field of the rider file.
    Field(Field),
    /// Negated.
    Minus(Box<Node>),
    /// Two expressions joined.
    Join(Box<Node>, char, Box<Node>),
}

/// Where a width is measured.
#[derive(Debug, Clone, PartialEq)]
pub enum WidthPlace {
    /// One of the sheet's named widths.
    Named(NamedWidth),
    /// At a station of an outline.
    Station(WidthEdges, Box<Node>),
}

/// What a width lies between.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum WidthEdges {
    /// The seat form, seen from above.
    Seat,
    /// The outer outline, seen from below.
    Outer,
    /// The panels' inner edges, seen from below.
    Channel,
}

impl WidthEdges {
    /// Which pair of a sheet's edges this is.
    pub fn part(self) -> Part {
        if self == Self::Channel { Part::Channel } else { Part::Seat }
    }
}

/// Fields entered by hand that expressions may use.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Field {
    /// Spacing of the seat bones.
    SeatBones,
    /// Where along the seat they rest.
    SeatBonesStation,
    /// What a side needs beyond half the spacing.
    SeatBoneMargin,
    /// Breadth of one finger.
    Finger,
    /// Least width that the horse's spine needs.
    ChannelNeed,
    /// Largest width at which the panels still carry this horse.
    ChannelMost,
    /// Width of one panel that the fitter wants.
    PanelNeed,
    /// From the outer edge inward to where the seat begins to fall away, at the seat bones.
    FallAway,
    /// Breadth of the piping on one side.
    Piping,
    /// Height of the front's crown over the lowest point of the seat.
    FrontHeight,
    /// Breadth of the front 20 mm below its crown.
    FrontBreadth,
    /// Breadth over the tree's bars where the thighs lie.
    Bars,
    /// From the rear end forward to the lowest point of the seat.
    Lowest,
    /// From the rear end forward to the stirrup bars.
    StirrupBar,
    /// Weight of rider and saddle.
    Load,
}

/// Every field with its name and dimension. A default may use the fields above its own.
pub const FIELDS: [(&str, Field, Dim); 15] = [
    ("rider.finger", Field::Finger, Dim::LENGTH),
    ("rider.seat_bones", Field::SeatBones, Dim::LENGTH),
    ("rider.seat_bones_station", Field::SeatBonesStation, Dim::NONE),
    ("rider.seat_bone_margin", Field::SeatBoneMargin, Dim::LENGTH),
    ("horse.channel", Field::ChannelNeed, Dim::LENGTH),
    ("horse.channel_most", Field::ChannelMost, Dim::LENGTH),
    ("horse.panel", Field::PanelNeed, Dim::LENGTH),
    ("saddle.fall_away", Field::FallAway, Dim::LENGTH),
    ("saddle.piping", Field::Piping, Dim::LENGTH),
    ("saddle.front_height", Field::FrontHeight, Dim::LENGTH),
    ("saddle.front_breadth", Field::FrontBreadth, Dim::LENGTH),
    ("saddle.bars", Field::Bars, Dim::LENGTH),
    ("saddle.lowest", Field::Lowest, Dim::LENGTH),
    ("saddle.stirrup_bar", Field::StirrupBar, Dim::LENGTH),
    ("load", Field::Load, Dim::MASS),
];

impl Field {
    /// Its name.
    pub fn name(self) -> &'static str {
        self.row().0
    }

    /// Its dimension.
    pub fn dim(self) -> Dim {
        self.row().2
    }

    fn row(self) -> (&'static str, Field, Dim) {
        FIELDS.into_iter().find(|f| f.1 == self).unwrap_or(FIELDS[0])
    }
}

const FUNCTIONS: [&str; 7] = ["left", "right", "at", "lift", "seat", "outer", "channel"];
const PLAIN: [&str; 3] = ["taper", "length", "panel_area"];

/// What is wrong with an expression, and at which byte of it.
pub type Slip = (usize, String);

/// Reads an expression.
///
/// # Errors
/// The first mistake and its place.
pub fn parse(text: &str) -> Result<Node, Slip> {
    if text.len() > LONGEST {
        let what = format!("the expression is longer than {LONGEST} bytes; make two rules of it");
        return Err((text.floor_char_boundary(LONGEST), what));
    }
    let mut parser = Parser { text, at: 0, depth: 0 };
    let node = parser.sum()?;
    match parser.peek() {
        None => {
            node.dim()?;
            Ok(node)
        }
        Some(c) => Err((parser.at, format!("'{c}' is not understood here"))),
    }
}

struct Parser<'a> {
    text: &'a str,
    at: usize,
    depth: usize,
}

/// Deeper brackets than this are no rule of a fitter's.
const DEEPEST: usize = 32;
/// Nor is a longer expression, in bytes: every sign in it nests the tree by one, and the tree is evaluated by recursion.
const LONGEST: usize = 300;

impl Parser<'_> {
    fn peek(&mut self) -> Option<char> {
        let rest = &self.text[self.at..];
        self.at += rest.len() - rest.trim_start().len();
        self.text[self.at..].chars().next()
    }

    fn eat(&mut self, wanted: char) -> bool {
        let there = self.peek() == Some(wanted);
        self.at += if there { wanted.len_utf8() } else { 0 };
        there
    }

    fn need(&mut self, wanted: char) -> Result<(), Slip> {
        if self.eat(wanted) { Ok(()) } else { Err((self.at, format!("a '{wanted}' is missing here"))) }
    }

    fn take(&mut self, belongs: impl Fn(char) -> bool) -> String {
        let rest = &self.text[self.at..];
        let word = &rest[..rest.find(|c| !belongs(c)).unwrap_or(rest.len())];
        self.at += word.len();
        word.to_owned()
    }

    fn sum(&mut self) -> Result<Node, Slip> {
        self.joined(&['+', '-'], Self::product)
    }

    fn product(&mut self) -> Result<Node, Slip> {
        self.joined(&['*', '/'], Self::single)
    }

    fn joined(&mut self, signs: &[char], part: fn(&mut Self) -> Result<Node, Slip>) -> Result<Node, Slip> {
        let mut node = part(self)?;
        while let Some(sign) = self.peek().filter(|c| signs.contains(c)) {
            self.at += 1;
            let place = self.at;
            node = Node::Join(Box::new(node), sign, Box::new(part(self)?));
            node.dim().map_err(|(_, what)| (place, what))?;
        }
        Ok(node)
    }

    fn single(&mut self) -> Result<Node, Slip> {
        self.depth += 1;
        if self.depth > DEEPEST {
            return Err((self.at, "the brackets are nested too deep".into()));
        }
        let node = match self.peek() {
            Some('-') => {
                self.at += 1;
                Ok(Node::Minus(Box::new(self.single()?)))
            }
            Some('(') => {
                self.at += 1;
                let inner = self.sum()?;
                self.need(')')?;
                Ok(inner)
            }
            Some(c) if c.is_ascii_digit() || c == '.' => self.number(),
            Some(c) if c.is_ascii_alphabetic() => self.name(),
            Some(c) => Err((self.at, format!("'{c}' is not understood here"))),
            None => Err((self.at, "something is missing at the end".into())),
        };
        self.depth -= 1;
        node
    }

    fn number(&mut self) -> Result<Node, Slip> {
        let start = self.at;
        let digits = self.take(|c| c.is_ascii_digit() || c == '.');
        let value: f64 = digits.parse().map_err(|_| (start, format!("'{digits}' is no number")))?;
        if !self.peek().is_some_and(|c| c.is_ascii_alphabetic()) {
            return Ok(Node::Number(value, NO_UNIT.dim));
        }
        let place = self.at;
        let name = self.take(|c| c.is_ascii_alphanumeric());
        if FINGERS.contains(&name.as_str()) {
            return Ok(Node::Fingers(value));
        }
        let unit: Unit = unit_named(&name)
            .ok_or_else(|| (place, format!("'{name}' is no unit; {}", did_you_mean(&name, unit_names()))))?;
        Ok(Node::Number(unit.times(value), unit.dim))
    }

    fn name(&mut self) -> Result<Node, Slip> {
        let start = self.at;
        let name = self.take(|c| c.is_ascii_alphanumeric() || c == '.' || c == '_');
        if self.peek() == Some('(') && FUNCTIONS.contains(&name.as_str()) {
            self.at += 1;
            let inner_at = self.at;
            let inner = self.sum()?;
            self.need(')')?;
            return function(&name, inner).map_err(|what| (inner_at, what));
        }
        let named = name.parse().ok().map(|n| Node::Width(WidthPlace::Named(n)));
        let field = || FIELDS.into_iter().find(|f| f.0 == name).map(|f| Node::Field(f.1));
        named.or_else(field).or_else(|| plain(&name)).ok_or_else(|| {
            let named = NamedWidth::ALL.map(NamedWidth::as_str);
            let all = named.into_iter().chain(PLAIN).chain(FUNCTIONS).chain(FIELDS.iter().map(|f| f.0));
            (start, format!("`{name}` is not known; {}", did_you_mean(&name, all)))
        })
    }
}

fn plain(name: &str) -> Option<Node> {
    match name {
        "taper" => Some(Node::Taper),
        "length" => Some(Node::Length),
        "panel_area" => Some(Node::PanelArea),
        _ => None,
    }
}

fn function(name: &str, inner: Node) -> Result<Node, String> {
    let station = |inner: Node| match inner.dim() {
        Ok(Dim::NONE) => Ok(Box::new(inner)),
        _ => Err(format!(
            "{name}( ) takes a station from 0 to 1, such as {name}(0.65) or {name}(at(seat.waist))"
        )),
    };
    match (name, inner) {
        ("left", Node::Width(place)) => Ok(Node::Half(Side::Left, place)),
        ("right", Node::Width(place)) => Ok(Node::Half(Side::Right, place)),
        ("at", Node::Width(WidthPlace::Named(named))) => Ok(Node::At(named)),
        ("left" | "right" | "at", _) => Err(format!("{name}( ) takes a width, such as {name}(seat.widest)")),
        ("lift", inner) => Ok(Node::Lift(station(inner)?)),
        ("seat", inner) => Ok(Node::Width(WidthPlace::Station(WidthEdges::Seat, station(inner)?))),
        ("outer", inner) => Ok(Node::Width(WidthPlace::Station(WidthEdges::Outer, station(inner)?))),
        (_, inner) => Ok(Node::Width(WidthPlace::Station(WidthEdges::Channel, station(inner)?))),
    }
}

impl Node {
    /// The dimension of what the expression gives.
    ///
    /// # Errors
    /// Where unlike things are added.
    pub fn dim(&self) -> Result<Dim, Slip> {
        Ok(match self {
            Self::Number(_, dim) => *dim,
            Self::Fingers(_) | Self::Width(_) | Self::Half(..) | Self::Lift(_) | Self::Length => Dim::LENGTH,
            Self::At(_) => Dim::NONE,
            Self::Taper => Dim::ANGLE,
            Self::PanelArea => Dim::AREA,
            Self::Field(field) => field.dim(),
            Self::Minus(inner) => inner.dim()?,
            Self::Join(a, '*', b) => a.dim()?.times(b.dim()?),
            Self::Join(a, '/', b) => a.dim()?.over(b.dim()?),
            Self::Join(a, sign, b) => {
                let (a, b) = (a.dim()?, b.dim()?);
                if a != b {
                    let what = format!("'{sign}' joins {} and {}", a.in_words(), b.in_words());
                    return Err((0, what));
                }
                a
            }
        })
    }

    /// The fields of the rider file that it uses.
    pub fn fields(&self) -> Vec<Field> {
        match self {
            Self::Field(field) => vec![*field],
            Self::Fingers(_) => vec![Field::Finger],
            Self::Lift(inner) | Self::Minus(inner) => inner.fields(),
            Self::Width(WidthPlace::Station(_, inner)) | Self::Half(_, WidthPlace::Station(_, inner)) => {
                inner.fields()
            }
            Self::Join(a, _, b) => [a.fields(), b.fields()].concat(),
            _ => Vec::new(),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn products_bind_before_sums() {
        let Ok(Node::Join(_, '-', right)) = parse("left(seat(0.65)) - rider.seat_bones / 2") else {
            panic!()
        };
        assert!(matches!(*right, Node::Join(_, '/', _)));
    }

    #[test]
    fn slips_are_placed() {
        for (text, at, part) in [
            ("seat.widset", 0, "did you mean `seat.widest`?"),
            ("seat.widest + taper", 13, "joins a length and an angle"),
            ("left(taper)", 5, "takes a width"),
            ("seat(9 in)", 5, "takes a station"),
            ("seat.widest -", 13, "missing at the end"),
            ("seat.widest; rm", 11, "not understood"),
            ("3 fingres", 2, "did you mean `fingers`?"),
            ("(seat.waist", 11, "a ')' is missing"),
            (&format!("1{}", "+1".repeat(150)), 300, "longer than 300"),
        ] {
            let (place, what) = parse(text).unwrap_err();
            assert_eq!(place, at, "{text}: {what}");
            assert!(what.contains(part), "{text}: {what}");
        }
    }

    proptest::proptest! {
        #[test]
        fn no_text_makes_it_panic(text in "[a-z.() 0-9+*/-]{0,60}|.{0,40}") {
            let _ = parse(&text);
        }
    }
}
