//! A surface report under winds aloft, both over a field.

use jiff::civil::Date;
use slowpoint_sim::constants::FOOT_M;
use slowpoint_sim::limits;
use slowpoint_sim::report::Caution;

use super::clock::written;
use super::{Bound, Format, Level, Message, Profile};
use crate::wire::units::{LENGTH, Reading, SPEED};

/// Puts messages together: the surface report first, if there is one, over a field if its elevation is known.
pub fn merge(surface: Option<Profile>, aloft: Option<Profile>, field: Option<Reading>) -> Option<Profile> {
    let surface = surface.map(|mut surface| {
        surface.assumed.extend(at_field(&surface));
        surface
    });
    let profile = match (surface, aloft) {
        (Some(surface), Some(aloft)) => joined(surface, aloft),
        (surface, aloft) => surface.or(aloft)?,
    };
    Some(over_field(profile, field))
}

/// Puts a profile over a field, if its elevation is known, and says what that takes for granted.
pub fn over_field(mut profile: Profile, field: Option<Reading>) -> Profile {
    for message in &profile.messages {
        let station = message.station.as_deref().unwrap_or_default();
        match message.format {
            Format::WindsAloft | Format::Temp | Format::Pilot | Format::Coverage | Format::Grib => {
                say(&mut profile.assumed, format!("The winds over the field are those of {station}."));
            }
            Format::Metar | Format::Speci | Format::Layers => {}
        }
    }
    if let Some(whose) = whose_air(&profile) {
        say(&mut profile.assumed, whose);
    }
    match field {
        Some(field) => {
            profile.cautions.extend(profile.messages.iter().filter_map(|message| other_ground(message, field)));
            over(&mut profile, field);
        }
        None if profile.levels.iter().any(|l| l.above_sea.is_some()) => profile.cautions.push(Caution {
            topic: "field_elevation",
            message: "Without field_elevation heights stay above sea level, and levels below the field are not dropped here; \
                      an assessment needs site.elevation for them."
                .into(),
            rule: "heights of bulletins are above sea level",
        }),
        None => {}
    }
    drop_unusable(&mut profile, field);
    speeds(&mut profile);
    profile
}

/// The members of an ensemble told as one: each message, sentence and caution once, and no levels, which are the members'.
pub fn ensemble(members: &[Profile]) -> Profile {
    let mut whole = Profile {
        altimeter_setting: members.first().and_then(|m| m.altimeter_setting),
        messages: Vec::new(),
        ..Profile::of(Message::new(Format::Layers))
    };
    for member in members {
        for message in &member.messages {
            say(&mut whole.messages, Message { member: None, ..message.clone() });
        }
        member.assumed.iter().for_each(|text| say(&mut whole.assumed, text.clone()));
        member.skipped.iter().for_each(|text| say(&mut whole.skipped, text.clone()));
        member.cautions.iter().for_each(|caution| say(&mut whole.cautions, caution.clone()));
    }
    whole
}

/// Adds what is not there yet.
pub fn say<T: PartialEq>(said: &mut Vec<T>, more: T) {
    if !said.contains(&more) {
        said.push(more);
    }
}

/// Whose temperature is taken at the field, where no surface report tells it.
fn whose_air(profile: &Profile) -> Option<String> {
    let reported = profile.messages.iter().any(|m| m.format.of_ground());
    let known = !reported && profile.levels.iter().any(|l| l.surface && l.temperature.is_some());
    let message = profile.messages.first().filter(|_| known)?;
    Some(format!("The temperature at the field is that of the {} at the ground.", named(message)))
}

/// The ground may lie so much higher or lower than the field: a kelvin by the lapse rate of the standard atmosphere.
const OTHER_GROUND_M: f64 = 150.0;

/// Where values at the ground are those of another height than the field's. In whole hundreds, so that the members of an ensemble
/// say it once.
fn other_ground(message: &Message, field: Reading) -> Option<Caution> {
    let above_m = field.si - message.ground_above_sea?.si;
    (above_m.abs() > OTHER_GROUND_M).then(|| Caution {
        topic: "field_elevation",
        message: format!(
            "By its pressures the ground of the {} lies some {} m ({} ft) {} the field: wind and air that are taken from there \
             are those of that height. Give a report from near the field, or what was measured on it.",
            named(message),
            to_the(50.0, above_m.abs()),
            to_the(100.0, above_m.abs() / FOOT_M),
            if above_m > 0.0 { "below" } else { "above" },
        ),
        rule: "more than 150 m: 1 K by the lapse rate of ISO 2533, 6.5 K/km",
    })
}

/// A height of which no more is known.
fn to_the(step: f64, height: f64) -> f64 {
    (height / step).round() * step
}

/// A message and its station, where it names one.
fn named(message: &Message) -> String {
    let station = message.station.as_deref().map(|s| format!(" {s}")).unwrap_or_default();
    format!("{}{station}", message.format.title())
}

/// What a surface report is taken to say of the field.
fn at_field(report: &Profile) -> Option<String> {
    let level = report.levels.first()?;
    let known = (level.wind.is_some(), level.temperature.is_some(), report.altimeter_setting.is_some());
    let what = match known {
        (true, true, true) => "Wind, temperature and pressure at the field are those",
        (true, true, false) => "Wind and temperature at the field are those",
        (true, false, true) => "Wind and pressure at the field are those",
        (false, true, true) => "Temperature and pressure at the field are those",
        (true, false, false) => "The wind at the field is that",
        (false, true, false) => "The temperature at the field is that",
        (false, false, true) => "The pressure at the field is that",
        (false, false, false) => return None,
    };
    Some(format!("{what} of {}.", report.messages.first()?.station.as_deref().unwrap_or_default()))
}

/// A surface report under winds aloft. What it lacks at the ground comes from the other, if that has it.
fn joined(mut surface: Profile, mut aloft: Profile) -> Profile {
    // What was decoded before without a report says whose air it took.
    if let Some(whose) = whose_air(&aloft) {
        aloft.assumed.retain(|text| *text != whose);
    }
    let other = aloft.messages.first().map_or("other", |m| m.format.title());
    let (at_ground, above): (Vec<Level>, Vec<Level>) = aloft.levels.into_iter().partition(|l| l.surface);
    if let ([report], [spare]) = (&mut surface.levels[..], &at_ground[..]) {
        let mut filled = Vec::new();
        if let (None, Some(_)) = (report.wind, spare.wind) {
            (report.wind, report.above_ground) = (spare.wind, spare.above_ground);
            filled.push("wind");
        }
        if let (None, Some(_)) = (report.temperature, spare.temperature) {
            (report.temperature, report.dew_point) = (spare.temperature, spare.dew_point);
            filled.push("temperature");
        }
        if filled.is_empty() {
            aloft.messages.iter_mut().for_each(|message| message.ground_above_sea = None);
            surface.skipped.push(format!("The surface level of the {other}: the surface report stands in its place."));
        } else {
            let filled = filled.join(" and ");
            surface
                .assumed
                .push(format!("The surface report has no {filled}: what the {other} has at the ground was taken."));
        }
    }
    surface.messages.extend(aloft.messages);
    surface.levels.extend(above);
    surface.assumed.extend(aloft.assumed);
    surface.skipped.extend(aloft.skipped);
    surface.cautions.extend(aloft.cautions);
    surface
}

/// Height above ground of the instrument of a surface wind.
fn instrument(levels: &[Level]) -> Option<f64> {
    levels.iter().find(|l| l.surface && l.wind.is_some())?.above_ground.map(|h| h.si)
}

/// Gives every level both heights.
fn over(profile: &mut Profile, field: Reading) {
    let metres = |si: f64| LENGTH.with((si * 10.0).round() / 10.0, "m");
    for level in &mut profile.levels {
        match (level.above_ground, level.above_sea) {
            (Some(h), None) => level.above_sea = metres(h.si + field.si),
            (None, Some(h)) => level.above_ground = metres(h.si - field.si),
            _ => {}
        }
    }
}

/// Drops what an assessment cannot use: levels at or below the field, those no higher than a surface wind, and those above
/// the highest wind that it takes.
fn drop_unusable(profile: &mut Profile, field: Option<Reading>) {
    let instrument = instrument(&profile.levels);
    let range = limits::WIND_HEIGHT;
    let [low, close, high] = [
        format!("at or below the field{}", field.map(|f| format!(" at {}", LENGTH.show(&f))).unwrap_or_default()),
        format!("no higher than the surface wind, {} m above ground", instrument.unwrap_or_default()),
        format!("above the {} m above ground that an assessment takes", range.max),
    ];
    let mut dropped = [(low, Vec::new()), (close, Vec::new()), (high, Vec::new())];
    profile.levels.retain(|l| {
        let Some(height) = l.above_ground.filter(|_| !l.surface) else { return true };
        let why = match height.si {
            h if h < range.min => 0,
            h if instrument.is_some_and(|m| h < m + range.min) => 1,
            h if h > range.max => 2,
            _ => return true,
        };
        let sea = l.above_sea.filter(|_| why != 1).map(|h| format!("{} above sea", LENGTH.show(&h)));
        dropped[why].1.push(sea.unwrap_or_else(|| format!("{} above ground", LENGTH.show(&height))));
        false
    });
    for (why, levels) in dropped.iter().filter(|(_, levels)| !levels.is_empty()) {
        profile.skipped.push(format!("{}: {why}.", levels.join(", ")));
    }
}

/// What speeds that are not told exactly, or not at all, mean.
fn speeds(profile: &mut Profile) {
    for level in &profile.levels {
        let Some(wind) = level.wind.filter(|w| w.bound == Bound::AtLeast) else { continue };
        let message = format!("A wind is {} or more: what it really was is not known.", SPEED.show(&wind.speed));
        profile.cautions.push(Caution { topic: "wind", message, rule: "the largest speed that the code has" });
    }
    if let Some([from, to]) = profile.levels.iter().find_map(|l| l.wind?.varies) {
        let varied = format!(
            "The wind varied between {} and {} deg: `wind` has the mean direction, and spread.wind.direction_sd in an assessment \
             widens it.",
            from.number, to.number
        );
        say(&mut profile.assumed, varied);
    }
    if profile.levels.iter().all(|l| l.wind.is_none()) {
        profile.cautions.push(Caution {
            topic: "wind",
            message: "No wind is known, so there is no `wind` to assess with: calm is never assumed.".into(),
            rule: "an assessment needs a wind",
        });
    }
}

/// Where a wind comes from, in one line; of an ensemble how many members, and some of their messages.
pub fn source(profile: &Profile, members: usize, date: Option<Date>) -> String {
    const MOST: usize = 6;
    let part = |m: &Message| {
        let time = m.observed.map(|t| ("", t)).or(m.valid.map(|t| (" valid", t)));
        let time = time.and_then(|(word, t)| Some(format!("{word} {}", written(t.near(date)?)))).unwrap_or_default();
        format!("{}{time}", named(m))
    };
    let mut parts: Vec<String> = profile.messages.iter().take(MOST).map(part).collect();
    if profile.messages.len() > MOST {
        parts.push(format!("{} more", profile.messages.len() - MOST));
    }
    let of = if members > 0 { format!("{members} members: ") } else { String::new() };
    format!("{of}{}", parts.join("; "))
}
