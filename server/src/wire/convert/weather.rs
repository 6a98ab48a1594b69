//! From weather as it was sent to one profile, or every fault of it.

use jiff::civil::Date;
use serde_json::Value;
use slowpoint_sim::limits::{self, Limit};

use super::field::Above;
use super::{Reader, shaped};
use crate::weather::{Bound, Direction, Format, Level, Message, Profile, Wind, aloft, layers, merge, metar, temp};
use crate::wire::request::{Length, Measured, Speed, WindLayer};
use crate::wire::units::{LENGTH, Reading, Unreadable, quoted};
use crate::wire::weather::{LayersRequest, WeatherRequest};
use crate::wire::{FieldFault, schema};

/// Heights above sea level that winds are taken at.
const ABOVE_SEA: Limit =
    Limit { what: "height of a wind layer above sea level", min: limits::ELEVATION.min, ..limits::WIND_HEIGHT };

/// Weather that could be read.
#[derive(Debug, Clone)]
pub struct Weather {
    /// What the messages say together.
    pub profile: Profile,
    /// The field, where it was given.
    pub field_elevation: Option<Reading>,
    /// The date, where it was given.
    pub date: Option<Date>,
}

/// From a body to a profile, or every fault of it. `twice` lists the places of names that were repeated.
pub fn weather(sent: &Value, twice: &[String]) -> Result<Weather, Vec<FieldFault>> {
    let (request, mut reader): (WeatherRequest, _) = shaped(&schema::WEATHER, sent, twice)?;
    let weather = reader.weather(&request);
    let Reader { faults, noticed, .. } = reader;
    match weather {
        Some(mut weather) if faults.none() => {
            weather.profile.cautions.extend(noticed.into_cautions());
            Ok(weather)
        }
        _ => Err(faults.into_list()),
    }
}

impl Reader<'_> {
    /// `None` only where something is faulted.
    fn weather(&mut self, r: &WeatherRequest) -> Option<Weather> {
        let field = r.field_elevation.as_ref();
        let field_elevation =
            field.and_then(|e| self.reading("/field_elevation", e.quantity(), &LENGTH, Some(&limits::ELEVATION)));
        let date = self.date(r);
        let surface = r.metar.as_ref().and_then(|text| self.taken("/metar", metar::decode(text)));
        let aloft = self.aloft(r, surface.as_ref());
        let nothing = r.metar.is_none() && r.winds_aloft.is_none() && r.sounding.is_none() && r.layers.is_none();
        if nothing && self.faults.none() {
            self.faults.add(
                "",
                "there is nothing to decode",
                "give metar (a METAR or SPECI), winds_aloft (a bulletin of winds and temperatures aloft), sounding or layers",
            );
        }
        let mut profile = merge::merge(surface, aloft, field_elevation)?;
        if let Some(date) = date {
            merge::date(&mut profile, date);
        }
        Some(Weather { profile, field_elevation, date })
    }

    fn taken<T>(&mut self, at: &str, read: Result<T, Unreadable>) -> Option<T> {
        read.map_err(|e| self.faults.add(at, e.problem, e.remedy)).ok()
    }

    fn date(&mut self, r: &WeatherRequest) -> Option<Date> {
        const REMEDY: &str = "give the day on which it was issued, in UTC, such as \"2026-11-25\": a message carries a day of \
                              the month, but neither month nor year";
        let Some(text) = &r.date else {
            if r.metar.is_some() || r.winds_aloft.is_some() || r.sounding.is_some() {
                self.faults.add("/date", "it is missing", REMEDY);
            }
            return None;
        };
        let written = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        let date = Date::strptime("%Y-%m-%d", text).ok().filter(|_| written);
        if date.is_none() {
            self.faults.add("/date", format!("{} is no date", quoted(text)), REMEDY);
        }
        date
    }

    fn aloft(&mut self, r: &WeatherRequest, surface: Option<&Profile>) -> Option<Profile> {
        let given = [
            ("winds_aloft", r.winds_aloft.is_some()),
            ("sounding", r.sounding.is_some()),
            ("layers", r.layers.is_some()),
        ];
        let mut given = given.into_iter().filter(|(_, given)| *given);
        if let (Some((first, _)), Some((second, _))) = (given.next(), given.next()) {
            self.faults.add(format!("/{second}"), format!("there is {first} as well"), "give one of the two");
        }
        if r.station.is_some() && r.winds_aloft.is_none() {
            self.faults.add(
                "/station",
                "there is no bulletin winds_aloft whose row it could name",
                "leave it out; a METAR names its station itself",
            );
        }
        if let Some(text) = &r.winds_aloft {
            return self.bulletin(text, r.station.as_deref(), surface);
        }
        if let Some(text) = &r.sounding {
            return self.taken("/sounding", temp::decode(text));
        }
        match r.layers.as_ref()? {
            LayersRequest::Table(text) => self.taken("/layers", layers::decode(text)),
            LayersRequest::List(list) => self.layer_list(list),
        }
    }

    fn bulletin(&mut self, text: &str, station: Option<&str>, surface: Option<&Profile>) -> Option<Profile> {
        let text = text.to_ascii_uppercase();
        let bulletin = self.taken("/winds_aloft", aloft::read(&text))?;
        let named = station.map(|s| s.trim().to_ascii_uppercase());
        let reporting = surface.and_then(|s| s.messages.first()?.station.as_deref());
        let own = aloft::row_of(&bulletin, named.as_deref());
        let row = own.or_else(|| if named.is_none() { aloft::row_of(&bulletin, reporting) } else { None });
        let Some(row) = row else {
            let stations = bulletin.stations();
            let remedy = format!("give one of its stations: {}", aloft::listed(&stations));
            match &named {
                Some(name) => self.faults.add("/station", format!("the bulletin has no row {}", quoted(name)), remedy),
                None => self.faults.add(
                    "/station",
                    format!("it is missing, and the bulletin has {} rows", stations.len()),
                    remedy,
                ),
            }
            return None;
        };
        let mut profile = self.taken("/winds_aloft", bulletin.row(row)?)?;
        if named.is_none() && bulletin.stations().len() > 1 {
            profile
                .assumed
                .push(format!("The row {row} of the bulletin was taken: its station made the surface report."));
        }
        Some(profile)
    }

    fn layer_list(&mut self, list: &[WindLayer]) -> Option<Profile> {
        if !(1..=layers::MOST_ROWS).contains(&list.len()) {
            let problem = format!("the list has {} items", list.len());
            self.faults.add("/layers", problem, format!("give 1 to {}", layers::MOST_ROWS));
            return None;
        }
        let mut profile = Profile::of(Message::new(Format::Layers));
        for (i, l) in list.iter().enumerate() {
            let at = |name: &str| format!("/layers/{i}/{name}");
            let (above, height) = self.one_height(l, &format!("/layers/{i}"));
            let limit = match above {
                Above::Sea => &ABOVE_SEA,
                Above::Ground => &limits::WIND_HEIGHT,
            };
            let height = height.and_then(|h| self.reading(&at(above.name()), h.quantity(), Length::TABLE, Some(limit)));
            let speed = l.speed.as_ref();
            let speed =
                speed.and_then(|s| self.reading(&at("speed"), s.quantity(), Speed::TABLE, Some(&limits::WIND_SPEED)));
            let from = l.direction.as_ref().and_then(|d| self.bearing(&at("direction"), d, ""));
            // What is missing has been noted.
            let (Some(height), Some(speed), Some(from)) = (height, speed, from) else { continue };
            profile.levels.push(Level {
                surface: false,
                above_sea: (above == Above::Sea).then_some(height),
                above_ground: (above == Above::Ground).then_some(height),
                pressure: None,
                wind: Some(Wind {
                    direction: Direction::From(from),
                    speed,
                    bound: Bound::Is,
                    gust: None,
                    varies: None,
                }),
                temperature: None,
                dew_point: None,
            });
        }
        let above_sea = profile.levels.iter().filter(|l| l.above_sea.is_some()).count();
        if above_sea > 0 && above_sea < profile.levels.len() {
            self.faults.add(
                "/layers",
                "some heights are above sea level and some above ground",
                "give all of them above the same",
            );
        }
        if let Err(height) = layers::sort(&mut profile.levels) {
            self.faults.add(
                "/layers",
                format!("the height {} stands in it twice", LENGTH.show(&height)),
                "give each height once",
            );
        }
        Some(profile)
    }
}
