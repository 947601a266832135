//! What is known of rider, horse and saddle beside the sheets, as quantities that expressions use.

use std::collections::BTreeMap;

use super::expr::Field;
use super::quantity::{Cause, ErrorId, Quantity};

/// Why a value is not there, in words.
pub type Missing = String;

/// The fields as quantities: given, assumed, or missing with the reason.
#[derive(Debug, Clone, Default)]
pub struct Fields {
    values: BTreeMap<Field, Result<Quantity, Missing>>,
}

impl Fields {
    /// A field's quantity.
    ///
    /// # Errors
    /// Why it is not known.
    pub fn get(&self, field: Field) -> Result<Quantity, Missing> {
        self.values
            .get(&field)
            .cloned()
            .unwrap_or_else(|| Err(format!("{} was not entered", field_in_words(field))))
    }

    /// Sets a field.
    pub fn set(&mut self, field: Field, value: Result<Quantity, Missing>) {
        self.values.insert(field, value);
    }
}

/// A field in the fitter's words.
pub fn field_in_words(field: Field) -> &'static str {
    match field {
        Field::SeatBones => "the spacing of the rider's seat bones",
        Field::SeatBonesStation => "the place along the seat where the seat bones rest",
        Field::SeatBoneMargin => "the margin beside a seat bone",
        Field::Finger => "the rider's finger breadth",
        Field::ChannelNeed => "the channel that the horse needs",
        Field::ChannelMost => "the widest channel that still carries this horse",
        Field::PanelNeed => "the panel width that the fitter wants",
        Field::FallAway => "the distance from the edge at which the seat falls away",
        Field::Piping => "the breadth of the piping",
        Field::FrontHeight => "the height of the front's crown over the lowest point of the seat",
        Field::FrontBreadth => "the breadth of the front 20 mm below its crown",
        Field::Bars => "the breadth over the tree's bars under the thighs",
        Field::Lowest => "the distance of the seat's lowest point from the rear end",
        Field::StirrupBar => "the distance of the stirrup bars from the rear end",
        Field::Load => "the weight of rider and saddle",
    }
}

/// A quantity of a field with a standard uncertainty.
pub fn quantity(field: Field, value: f64, u: f64) -> Quantity {
    let cause = match field {
        Field::SeatBones => Cause::SeatBones,
        Field::SeatBonesStation => Cause::BonesStation,
        Field::Finger => Cause::Finger,
        Field::FallAway => Cause::FallAway,
        _ if field.name().starts_with("saddle.") => Cause::ByHand,
        _ => Cause::Limit,
    };
    Quantity::exact(value).with(ErrorId::new(field.name(), cause), u)
}
