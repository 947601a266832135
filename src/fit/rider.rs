//! The rider file: what a fitter knows of a rider. Every field may be left out.

use std::path::Path;

use super::expr::Field;
use super::given::{Given, LENGTH_UNITS, RiderFileError, read_day, read_lengths, read_text};
use super::hint::did_you_mean;
use super::horse::Horse;
use super::text::{Placed, TextError, TomlTable, TomlText};
use super::unit::{Amount, Dim};

/// Words that a field of choices may hold.
pub const PATTERNS: [&str; 3] = ["women", "men", "none"];
/// How the spacing of the seat bones was measured: each is another quantity.
pub const HOW: [&str; 4] = ["imprint-centres", "imprint-outer", "by-hand", "clinical"];
/// Shape of the inner thigh.
pub const THIGHS: [&str; 2] = ["rounded", "flat"];
/// Word of a choice that was not made, for conditions of rules.
pub const UNKNOWN: &str = "unknown";

/// A rider file as read.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Rider {
    /// What the rider is called in reports.
    pub name: Option<String>,
    /// Day of the visit.
    pub date: Option<String>,
    /// Where it was read from, for messages.
    pub file: String,
    /// Its text, for messages.
    pub text: String,
    /// Remark.
    pub note: Option<String>,
    /// Which of the trade's rule sets applies.
    pub pattern: Option<String>,
    /// Shape of the inner thigh.
    pub thighs: Option<String>,
    /// What the rider complains of: ids of the complaints file.
    pub complaints: Vec<Placed>,
    /// How the spacing was measured.
    pub how: Option<String>,
    /// Amounts entered.
    pub given: Given,
    /// The horse, where the rider file describes it.
    pub horse: Horse,
}

impl Rider {
    /// Reads a rider file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn read(path: &Path) -> Result<Self, RiderFileError> {
        Ok(Self::from_text(&path.display().to_string(), &read_text(path)?)?)
    }

    /// Reads the text of a rider file.
    ///
    /// # Errors
    /// The first mistake, with its line.
    pub fn from_text(file: &str, text: &str) -> Result<Self, TextError> {
        let mut root = TomlText { file, text }.root()?;
        let mut rider = Self {
            name: root.string("name")?.map(|p| p.value),
            date: read_day(&mut root)?,
            note: root.string("note")?.map(|p| p.value),
            pattern: choice(&mut root, "pattern", &PATTERNS)?,
            thighs: choice(&mut root, "thighs", &THIGHS)?,
            complaints: root.strings("complaints")?,
            file: file.to_owned(),
            text: text.to_owned(),
            ..Self::default()
        };
        if let Some(mut bones) = root.table("seat_bones")? {
            rider.how = choice(&mut bones, "how", &HOW)?;
            let keys = [
                ("spacing", Field::SeatBones, [20.0, 300.0]),
                ("margin", Field::SeatBoneMargin, [-20.0, 100.0]),
            ];
            read_lengths(&mut rider.given, &mut bones, &keys)?;
            rider.station(&mut bones)?;
            if rider.given.contains_key(&Field::SeatBones) && rider.how.is_none() {
                return Err(bones.error(format!("`how` is missing: write how = one of {}", HOW.join(", "))));
            }
            bones.finish()?;
        }
        if let Some(mut hand) = root.table("hand")? {
            read_lengths(&mut rider.given, &mut hand, &[("finger", Field::Finger, [8.0, 40.0])])?;
            rider.four_fingers(&mut hand)?;
            hand.finish()?;
        }
        if let Some(horse) = root.table("horse")? {
            rider.horse = Horse::from_table(horse)?;
        }
        rider.load(&mut root)?;
        root.finish()?;
        Ok(rider)
    }

    fn station(&mut self, t: &mut TomlTable) -> Result<(), TextError> {
        let (station, u) = (t.number("station")?, t.number("station_u")?);
        match (station, u) {
            (None, None) => {}
            (None, Some(_)) => return Err(t.error("`station_u` is given without `station`")),
            (_, Some(u)) if !(0.0..=1.0).contains(&u) => {
                return Err(t.error("`station_u` is a part of the seat's length, from 0 to 1"));
            }
            (Some(s), u) if (0.0..=1.0).contains(&s) => {
                self.given.insert(Field::SeatBonesStation, (Amount::Plain(s, Dim::NONE), u));
            }
            _ => return Err(t.error("`station` lies between 0 (front end of the seat) and 1 (rear end)")),
        }
        Ok(())
    }

    fn four_fingers(&mut self, t: &mut TomlTable) -> Result<(), TextError> {
        let Some((amount, at)) = t.amount("four_fingers", &LENGTH_UNITS)? else { return Ok(()) };
        match amount {
            Amount::Plain(mm, Dim::LENGTH) if (32.0..=160.0).contains(&mm) => {
                if self.given.insert(Field::Finger, (Amount::Plain(mm / 4.0, Dim::LENGTH), None)).is_some() {
                    return Err(t
                        .text()
                        .error(at, "`finger` and `four_fingers` are both given; leave one out"));
                }
                Ok(())
            }
            _ => Err(t
                .text()
                .error(at, "`four_fingers` is the breadth of four fingers held together; write \"72 mm\"")),
        }
    }

    /// Weights of rider and saddle, which only count together.
    fn load(&mut self, root: &mut TomlTable) -> Result<(), TextError> {
        let Some(mut t) = root.table("load")? else { return Ok(()) };
        let mut sum = Some(0.0);
        for key in ["rider", "saddle"] {
            let kg = match t.amount(key, &["kg", "lb"])? {
                None => None,
                Some((Amount::Plain(kg, Dim::MASS), _)) if kg > 0.0 && kg < 300.0 => Some(kg),
                Some((_, at)) => {
                    return Err(t.text().error(at, format!("`{key}` is a mass; write \"68 kg\"")));
                }
            };
            sum = sum.zip(kg).map(|(a, b)| a + b);
        }
        if let Some(kg) = sum {
            self.given.insert(Field::Load, (Amount::Plain(kg, Dim::MASS), None));
        }
        t.finish()
    }

    /// What conditions of rules are compared with.
    pub fn word(&self, key: &str) -> Option<&str> {
        match key {
            "pattern" => self.pattern.as_deref().filter(|p| *p != "none"),
            "thighs" => self.thighs.as_deref(),
            "seat_bones" => self.how.as_deref(),
            _ => None,
        }
    }
}

fn choice(table: &mut TomlTable, key: &str, words: &[&str]) -> Result<Option<String>, TextError> {
    match table.string(key)? {
        Some(p) if !words.contains(&p.value.as_str()) => {
            let hint = did_you_mean(&p.value, words.iter().copied());
            Err(table.text().error(p.at, format!("`{key}` cannot be \"{}\"; {hint}", p.value)))
        }
        found => Ok(found.map(|p| p.value)),
    }
}

/// A commented file to fill in.
pub const TEMPLATE: &str = include_str!("templates/rider.toml");
