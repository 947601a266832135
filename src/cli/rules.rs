//! `seatspan rules`: lists, explains and checks rules.

use std::path::PathBuf;

use anyhow::anyhow;
use clap::Args;

use super::assess::rule_set;
use crate::fit::hint::did_you_mean;
use crate::fit::rule::RuleSet;
use crate::report::rule_table::{explain, list};

/// Options of `seatspan rules`.
#[derive(Debug, Args)]
#[command(after_help = LANGUAGE)]
pub struct RulesArgs {
    /// Rules to explain [default: list all]
    #[arg(value_name = "ID")]
    pub ids: Vec<String>,
    /// Rules file to check and list with the default rules
    #[arg(long, value_name = "FILE")]
    pub rules: Vec<PathBuf>,
}

const LANGUAGE: &str = "\
Examples:
  seatspan rules
  seatspan rules widest-women
  seatspan rules --rules mine.toml

A rules file is TOML:
  [sources.mine]
  kind = \"working\"                  # published, computed, practice, working or definition
  text = \"where the figure comes from\"
  [[rule]]
  id = \"my-waist\"
  title = \"narrowest place\"
  about = \"rider\"                   # rider, horse or saddle
  severity = \"matters\"              # serious, matters or look
  thumb = true                      # optional: a miss asks and decides nothing
  when = { pattern = \"women\" }      # optional: pattern, thighs, seat_bones; \"unknown\" where not given
  measure = \"seat.waist\"
  upper = { is = \"72 mm\", source = \"mine\" }
  met = \"...\"
  above = \"...\"                     # and below, where there is a lower limit
  undecided = \"...\"
  next = \"...\"                      # and ask, for when it cannot be judged
  source = \"mine\"
A measure or a limit combines, by + - * / and ( ):
  seat.widest seat.waist channel.front channel.middle channel.rear channel.narrowest
  seat(S) outer(S) channel(S)   width at station S; seat from above, outer and channel from below
  left(WIDTH) right(WIDTH) at(WIDTH)   a half, and the station where a named width lies
  lift(S) taper length panel_area
  rider.seat_bones rider.seat_bones_station rider.seat_bone_margin rider.finger
  horse.channel horse.channel_most horse.panel load
  saddle.fall_away saddle.piping saddle.front_height saddle.front_breadth saddle.bars
  saddle.lowest saddle.stirrup_bar   taken by hand, from the saddle file
  numbers with mm, cm, in, fingers, deg, kg, lb, cm2, kPa, percent";

/// Runs the command.
///
/// # Errors
/// The first mistake in a file, with its line; an unknown id.
pub fn run(args: &RulesArgs) -> anyhow::Result<u8> {
    let set = rule_set(&args.rules)?;
    if args.ids.is_empty() {
        super::say(&list(&set));
    } else {
        super::say(&explained(&set, &args.ids)?);
    }
    Ok(0)
}

fn explained(set: &RuleSet, ids: &[String]) -> anyhow::Result<String> {
    let texts: Vec<String> = ids
        .iter()
        .map(|id| {
            let rule = set.rules.iter().find(|r| r.id == *id);
            let hint = || did_you_mean(id, set.rules.iter().map(|r| r.id.as_str()));
            rule.map(|r| explain(set, r)).ok_or_else(|| anyhow!("there is no rule '{id}'; {}", hint()))
        })
        .collect::<anyhow::Result<_>>()?;
    Ok(texts.join("\n"))
}
