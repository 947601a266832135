//! What is known of rider and horse, as quantities that expressions use.

use std::collections::BTreeMap;

use super::expr::Field;
use super::quantity::{Cause, ErrorId, Quantity};

/// Why a value is not there, in words.
pub type Missing = String;

/// The rider's fields as quantities: given, assumed, or missing with the reason.
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
            .unwrap_or_else(|| Err(format!("{} is not given", field_in_words(field))))
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
        Field::SeatBonesStation => "the station of the rider's seat bones",
        Field::SeatBoneMargin => "the margin beside a seat bone",
        Field::Finger => "the rider's finger breadth",
        Field::ChannelNeed => "the channel that the horse needs",
        Field::PanelNeed => "the panel width that the fitter wants",
        Field::Load => "the weight of rider and saddle",
    }
}

/// A quantity of a rider's field with a standard uncertainty.
pub fn quantity(field: Field, value: f64, u: f64) -> Quantity {
    let cause = match field {
        Field::SeatBones => Cause::SeatBones,
        Field::SeatBonesStation => Cause::BonesStation,
        Field::Finger => Cause::Finger,
        _ => Cause::Limit,
    };
    Quantity::exact(value).with(ErrorId::new(field.name(), cause), u)
}
