//! Scale at which the cards were printed.

use super::bank_card::scale_by_bank_card;
use super::placement::camera_over_cards;
use super::prior::LensPrior;
use crate::card::FoundCards;
use crate::card::pattern::BAR_MM;
use crate::instruction::GIVE_BAR;
use crate::photo::Photo;
use crate::refusal::{Refusal, RefusalCode};

/// Source of the print scale.
#[derive(Debug, Clone, Copy, PartialEq, Default)]
pub enum ScaleBy {
    /// The printer, which prints at actual size.
    #[default]
    Printer,
    /// The card's bar, measured by the user, mm.
    Bar(f64),
    /// A bank card in the frame on a card.
    BankCard,
}

/// Printed length over nominal length.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct PrintScale {
    /// Its source.
    pub by: ScaleBy,
    /// The scale.
    pub value: f64,
    /// Its relative standard uncertainty.
    pub relative_u: f64,
}

/// Nobody has measured the bar: a printer set to actual size is true to about 0.35 % either way (a stated assumption), taken
/// as rectangular.
pub const PRINT_SCALE_U: f64 = 0.002;
/// The bar was measured with a ruler: each end is read to about half a millimetre (a rectangular distribution of +-0.25 mm,
/// 0.2 mm for both ends together, of 150 mm), and the scale across the bar may differ by 0.1 % (stated assumptions).
const MEASURED_BAR_U: f64 = 0.0017;
/// Beyond this the bar was misread.
const MOST_SCALE_OFF: f64 = 0.1;

/// Whether this is a plausible length of the card's bar, mm.
pub fn is_bar(bar_mm: f64) -> bool {
    (bar_mm / BAR_MM - 1.0).abs() <= MOST_SCALE_OFF
}

/// The scale at which the cards in a photo were printed.
///
/// # Errors
/// `bank-card-not-seen`, and as [`camera_over_cards`].
pub fn print_scale(
    photo: &Photo,
    found: &FoundCards,
    by: ScaleBy,
    prior: &LensPrior,
) -> Result<PrintScale, Refusal> {
    let (value, relative_u) = match by {
        ScaleBy::Printer => (1.0, PRINT_SCALE_U),
        ScaleBy::Bar(bar_mm) => (bar_mm / BAR_MM, MEASURED_BAR_U),
        ScaleBy::BankCard => {
            let fit = camera_over_cards(found, prior)?;
            let framed = found.cards.iter().enumerate().filter(|(_, card)| card.pattern.bank_card_frame);
            let mut scales = framed.filter_map(|(i, card)| scale_by_bank_card(photo, &fit, i, card));
            let first = scales.next().ok_or_else(no_bank_card)?;
            (first.scale, first.relative_u)
        }
    };
    Ok(PrintScale { by, value, relative_u })
}

fn no_bank_card() -> Refusal {
    Refusal::new(
        RefusalCode::BankCardNotSeen,
        "no bank card is seen in the frame of the reference card",
        format!("lay a dark bank card flat into the frame, in even light, or {GIVE_BAR} instead"),
    )
}
