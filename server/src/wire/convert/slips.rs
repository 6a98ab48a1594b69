//! Numbers without a unit that may have been meant in another one: which units people usually have in mind at a field,
//! and in which range such a number is plausible.

use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::report::Caution;

use crate::wire::units::{Reading, Table};

/// What a bare number at some fields may have been meant in.
struct Slip {
    /// Fields, as pointers with `*` for an index.
    fields: &'static [&'static str],
    /// Units, the usual one first.
    units: &'static [&'static str],
    /// Plausible there, SI.
    plausible: (f64, f64),
}

/// Fields whose numbers fit well in the wrong unit, and then fly another day or another rocket: a bare number is said
/// aloud in the answer when it is plausible in the other unit as well.
const SILENT: &[Slip] = &[
    Slip {
        fields: &[
            "wind/surface/speed",
            "wind/surface/gust",
            "wind/members/*/surface/speed",
            "wind/members/*/surface/gust",
            "wind/turbulence_wind_at_20_ft",
            "weather/turbulence_wind_at_20_ft",
            "turbulence_wind_at_20_ft",
        ],
        units: &["mph", "kt", "km/h"],
        plausible: (0.8, 25.0),
    },
    Slip {
        fields: &[
            "wind/layers/*/speed",
            "wind/members/*/layers/*/speed",
            "weather/layers/*/speed",
            "layers/*/speed",
            "weather/members/*/layers/*/speed",
            "members/*/layers/*/speed",
        ],
        units: &["kt", "mph", "km/h"],
        plausible: (0.8, 80.0),
    },
    Slip {
        fields: &[
            "wind/layers/*/height_above_ground",
            "wind/layers/*/height_above_sea",
            "wind/members/*/layers/*/height_above_ground",
            "wind/members/*/layers/*/height_above_sea",
            "site/elevation",
            "weather/layers/*/height_above_ground",
            "weather/layers/*/height_above_sea",
            "layers/*/height_above_ground",
            "layers/*/height_above_sea",
            "weather/members/*/layers/*/height_above_ground",
            "weather/members/*/layers/*/height_above_sea",
            "members/*/layers/*/height_above_ground",
            "members/*/layers/*/height_above_sea",
            "field_elevation",
        ],
        units: &["ft"],
        plausible: (30.0, limits::WIND_HEIGHT.max),
    },
    Slip {
        fields: &["site/ceiling", "card/recovery/main_height", "electronics/*/height"],
        units: &["ft"],
        plausible: (30.0, limits::HEIGHT.max),
    },
    Slip { fields: &["launch/rail_length"], units: &["ft", "in", "cm", "mm"], plausible: (0.6, 7.5) },
    Slip {
        fields: &[
            "card/recovery/first/diameter",
            "card/recovery/main/diameter",
            "card/recovery/first/length",
            "card/recovery/main/length",
        ],
        units: &["in", "ft", "cm", "mm"],
        plausible: (0.3, 6.0),
    },
];

/// Fields where a number in the wrong unit is refused as out of range: only the order of the guesses matters.
const REFUSED: &[Slip] = &[
    Slip {
        fields: &[
            "card/airframe/diameter",
            "card/motor/diameter",
            "card/airframe/shape/nose/base_diameter",
            "card/airframe/shape/fins/*/body_diameter",
            "card/airframe/shape/shoulders_and_boattails/*/front_diameter",
            "card/airframe/shape/shoulders_and_boattails/*/rear_diameter",
        ],
        units: &["in", "mm", "cm"],
        plausible: (limits::DIAMETER.min, limits::DIAMETER.max),
    },
    Slip {
        fields: &["card/airframe/shape/roughness"],
        units: &["um"],
        plausible: (limits::ROUGHNESS.min, limits::ROUGHNESS.max),
    },
];

/// The row of a field, and the field as it stands there.
fn of<'a>(rows: &'a [Slip], pointer: &str) -> Option<(&'a Slip, &'static str)> {
    let parts = || pointer.trim_start_matches('/').split('/');
    let same = |field: &str| {
        let mut parts = parts();
        let fits = field.split('/').all(|name| {
            parts.next().is_some_and(|p| p == name || (name == "*" && p.bytes().all(|b| b.is_ascii_digit())))
        });
        fits && parts.next().is_none()
    };
    rows.iter().find_map(|row| Some((row, *row.fields.iter().find(|field| same(field))?)))
}

/// What a bare number out of range was perhaps meant to be: every usual unit that puts it inside, the usual one first.
pub fn guesses(pointer: &str, table: &Table, reading: &Reading, limit: &Limit) -> Vec<String> {
    let row = of(SILENT, pointer).or_else(|| of(REFUSED, pointer));
    let (units, (low, high)) = row.map_or((table.slips, (limit.min, limit.max)), |(row, _)| (row.units, row.plausible));
    table.meant(reading, low.max(limit.min), high.min(limit.max), units)
}

/// What was read from bare numbers that are plausible in another unit as well.
#[derive(Debug, Default)]
pub struct Noticed(Vec<(&'static str, String, usize)>);

impl Noticed {
    /// Looks at a number that was taken.
    pub fn look(&mut self, pointer: &str, table: &Table, reading: &Reading) {
        let Some((row, field)) = of(SILENT, pointer).filter(|_| reading.number != 0.0) else { return };
        let (low, high) = row.plausible;
        let Some(meant) = table.meant(reading, low, high, row.units).into_iter().next() else { return };
        // A list in one unit is told once, by its first entry.
        if let Some(told) = self.0.iter_mut().find(|(other, ..)| *other == field) {
            told.2 += 1;
            return;
        }
        let unit = meant.rsplit(' ').next().unwrap_or_default();
        let message = format!(
            "{}: {} was read as {} ({} {unit}); if {meant} was meant, send \"{meant}\".",
            pointer.trim_start_matches('/').replace('/', "."),
            reading.number,
            table.show(reading),
            table.in_unit(reading.si, unit),
        );
        self.0.push((field, message, 0));
    }

    /// A caution for each.
    pub fn into_cautions(self) -> Vec<Caution> {
        let caution = |(_, message, more): (&str, String, usize)| Caution {
            topic: "unit",
            message: if more == 0 { message } else { format!("{message} The same holds for {more} more of the list.") },
            rule: "a bare number is SI",
        };
        self.0.into_iter().map(caution).collect()
    }
}
