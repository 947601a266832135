//! Instructions in hints, worded for the command line and for the desk.
//!
//! Hints are made and kept in sheets as the command line words them; the desk words them again when it shows them.

use std::fmt;

use crate::numeric::words::Part;

/// Something to do, in the imperative.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Instruction {
    command_line: &'static str,
    desk: &'static str,
}

/// As the command line words it.
impl fmt::Display for Instruction {
    fn fmt(&self, f: &mut fmt::Formatter) -> fmt::Result {
        f.write_str(self.command_line)
    }
}

const fn instruction(command_line: &'static str, desk: &'static str) -> Instruction {
    Instruction { command_line, desk }
}

macro_rules! heights_example {
    () => {
        "0:60,0.25:35,0.5:20,0.75:40,1:70"
    };
}

/// Heights as an example, near enough to one another that the edge hardly bows off the lines between them.
pub const HEIGHTS_EXAMPLE: &str = heights_example!();

/// The ends of the seat.
pub const GIVE_ENDS: Instruction =
    instruction("give its two ends with --front and --rear", "click its two ends on the photo");
/// The ends of the seat, given inexactly.
pub const GIVE_ENDS_EXACTLY: Instruction = instruction(
    "give both ends of the seat form exactly with --front and --rear",
    "click both ends of the seat exactly",
);
/// The ends of the seat, given outside the photo or swapped.
pub const GIVE_ENDS_AGAIN: Instruction = instruction(
    "give --front and --rear as x,y in pixels of the upright photo, at the two ends of the seat form",
    "click the two ends of the seat again",
);
/// Either view.
pub const GIVE_VIEW: Instruction =
    instruction("say so with --view top or --view underside", "choose the view under Photo and card");
/// The view from below.
pub const GIVE_UNDERSIDE: Instruction =
    instruction("give --view underside", "choose the underside under Photo and card");
/// Another view than was found.
pub const CORRECT_VIEW: Instruction =
    instruction("correct a wrong view with --view", "correct a wrong view under Photo and card");
/// A lens file.
pub const GIVE_LENS: Instruction = instruction("give a lens file with --lens", "choose a lens file");
/// The lens file of a camera that was calibrated.
pub const GIVE_ITS_LENS: Instruction = instruction("give its lens file with --lens", "choose its lens file");
/// The length of the printed bar.
pub const GIVE_BAR: Instruction =
    instruction("measure the printed bar and give --bar", "measure the printed bar and fill in its length");
/// What was measured, drawn on the photo.
pub const LOOK_AT_OVERLAY: Instruction = instruction("look at the overlay", "look at the lines on the photo");

const GIVE_SEAT_HEIGHTS: Instruction =
    instruction(concat!("give --heights seat=", heights_example!()), "fill in the heights of the seat");
const GIVE_CHANNEL_HEIGHTS: Instruction =
    instruction(concat!("give --heights channel=", heights_example!()), "fill in the heights of the channel");
const SHOW_SEAT_EDGE: Instruction =
    instruction("give a point of the edge with --through seat=X,Y", "press Edge is here and click the edge");
const SHOW_CHANNEL_EDGE: Instruction = instruction(
    "give a point of the edge with --through channel=X,Y",
    "press Edge is here and click the edge",
);

/// The heights of a part's edges.
pub const fn give_heights(part: Part) -> Instruction {
    match part {
        Part::Seat => GIVE_SEAT_HEIGHTS,
        Part::Channel => GIVE_CHANNEL_HEIGHTS,
    }
}

/// A point on an edge of a part.
pub const fn show_edge(part: Part) -> Instruction {
    match part {
        Part::Seat => SHOW_SEAT_EDGE,
        Part::Channel => SHOW_CHANNEL_EDGE,
    }
}

const ALL: [Instruction; 14] = [
    GIVE_ENDS,
    GIVE_ENDS_EXACTLY,
    GIVE_ENDS_AGAIN,
    GIVE_VIEW,
    GIVE_UNDERSIDE,
    CORRECT_VIEW,
    GIVE_LENS,
    GIVE_ITS_LENS,
    GIVE_BAR,
    LOOK_AT_OVERLAY,
    GIVE_SEAT_HEIGHTS,
    GIVE_CHANNEL_HEIGHTS,
    SHOW_SEAT_EDGE,
    SHOW_CHANNEL_EDGE,
];

/// A hint as the desk words it.
pub fn on_desk(hint: &str) -> String {
    ALL.iter().fold(hint.to_owned(), |hint, it| hint.replace(it.command_line, it.desk))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn hints_name_no_option_on_the_desk() {
        let hint = |i: &Instruction| on_desk(&format!("photograph it again, or {i}; then measure again"));
        for instruction in &ALL {
            let hint = hint(instruction);
            assert!(hint.contains(instruction.desk) && !hint.contains("--"), "{hint}");
        }
    }
}
