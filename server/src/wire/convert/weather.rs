//! From weather as it was sent to one profile, or every fault of it.

use jiff::civil::{Date, DateTime};
use serde_json::Value;
use slowpoint_sim::case::WindInput;
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::report::Caution;
use slowpoint_sim::told;

use super::field::Above;
use super::{LAUNCH_AT, Reader, WEATHER, parsed, shaped};
use crate::weather::{
    self as profile, Bound, Direction, Format, Level, MOST_MEMBERS, Message, Profile, age, aloft, clock, clock::When,
    grib2, grid, layers, merge, metar, sounding,
};
use crate::wire::fault::Faults;
use crate::wire::node::Misplaced;
use crate::wire::request::{
    Length, Measured, Pressure, Quantity, Site, Speed, SurfaceWindRequest, Temperature, Time, Wind, WindDirection,
    WindLayer, WindMemberRequest,
};
use crate::wire::units::{ANGLE, LENGTH, PRESSURE, Reading, SPEED, TEMPERATURE, TIME, Table, Unreadable, quoted};
use crate::wire::weather::{LayersRequest, WeatherMember, WeatherRequest};
use crate::wire::{FieldFault, FileRejected, GribQuery, schema};
use crate::wire::{coverage, decoded};

/// Heights above sea level that winds are taken at.
const ABOVE_SEA: Limit =
    Limit { what: "height of a wind layer above sea level", min: limits::ELEVATION.min, ..limits::WIND_HEIGHT };

/// What one forecast of a request is made of.
struct Told<'r> {
    metar: Option<&'r str>,
    winds_aloft: Option<&'r str>,
    station: Option<&'r str>,
    sounding: Option<&'r str>,
    layers: Option<&'r LayersRequest>,
    coverage: Option<&'r Value>,
    decoded: Option<&'r Value>,
}

impl Told<'_> {
    /// Names of what tells of the winds over the ground.
    fn given(&self) -> Vec<&'static str> {
        let given = [
            ("winds_aloft", self.winds_aloft.is_some()),
            ("sounding", self.sounding.is_some()),
            ("layers", self.layers.is_some()),
            ("coverage", self.coverage.is_some()),
            ("decoded", self.decoded.is_some()),
        ];
        given.into_iter().filter(|(_, given)| *given).map(|(name, _)| name).collect()
    }
}

/// The same members of both.
macro_rules! told_from {
    ($request:ty) => {
        impl<'r> From<&'r $request> for Told<'r> {
            fn from(r: &'r $request) -> Self {
                Self {
                    metar: r.metar.as_deref(),
                    winds_aloft: r.winds_aloft.as_deref(),
                    station: r.station.as_deref(),
                    sounding: r.sounding.as_deref(),
                    layers: r.layers.as_ref(),
                    coverage: r.coverage.as_ref(),
                    decoded: r.decoded.as_ref(),
                }
            }
        }
    };
}
told_from!(WeatherRequest);
told_from!(WeatherMember);

/// Weather that could be read.
#[derive(Debug, Clone)]
pub struct Weather {
    /// What the messages say together; of an ensemble all but the levels.
    pub profile: Profile,
    /// The members of an ensemble; none where there is one forecast.
    pub members: Vec<Profile>,
    /// The field, where it was given.
    pub field_elevation: Option<Reading>,
    /// The date near which its messages were issued.
    pub date: Option<Date>,
    /// The instant of launch, UTC.
    pub launch: Option<DateTime>,
    /// Hours that lie between it and launch.
    pub age_h: Option<f64>,
    /// The wind as an assessment takes it; none where nothing is known or it is faster than what is taken.
    pub wind: Option<Wind>,
    /// The air at the field as an assessment takes it.
    pub site: Site,
}

impl Weather {
    /// Where it comes from, in one line.
    pub fn source(&self) -> String {
        merge::source(&self.profile, self.members.len(), self.date)
    }

    /// The wind as the engine takes it; `None` where it takes none, or where its heights are above sea level and nobody
    /// says how high the field is.
    pub fn blowing(&self) -> Option<WindInput> {
        let wind = self.wind.as_ref()?;
        let mut layers = wind.layers.iter().chain(wind.members.iter().flatten().filter_map(|m| m.layers.as_ref()));
        let elevation_m = match self.field_elevation {
            Some(field) => field.si,
            None if layers.any(|list| list.iter().any(|l| l.height_above_sea.is_some())) => return None,
            None => 0.0,
        };
        over(wind, elevation_m)
    }

    /// The winds told above sea level alone, as the engine takes them over ground at a height, m: for whoever looks no lower
    /// than they begin, which may be where nobody knows the ground to be.
    pub fn aloft_over(&self, ground_m: f64) -> Option<WindInput> {
        let mut wind = self.wind.clone()?;
        let members = wind.members.iter_mut().flatten().map(|m| (&mut m.surface, &mut m.layers));
        for (surface, layers) in core::iter::once((&mut wind.surface, &mut wind.layers)).chain(members) {
            *surface = None;
            layers.iter_mut().for_each(|list| list.retain(|l| l.height_above_sea.is_some()));
        }
        over(&wind, ground_m)
    }

    /// What is known by height, of each member.
    pub fn each(&self) -> impl Iterator<Item = &[Level]> {
        let one = self.members.is_empty().then_some(&self.profile);
        self.members.iter().chain(one).map(|profile| profile.levels.as_slice())
    }
}

/// A wind over a field as the engine takes it, if it does.
fn over(wind: &Wind, elevation_m: f64) -> Option<WindInput> {
    let sent = Value::Null;
    let mut reader = Reader::new(Faults::new(&sent));
    let input = reader.wind(wind, elevation_m);
    reader.faults.none().then_some(input)
}

/// From a body to decoded weather, or every fault of it. `twice` lists the places of names that were repeated.
pub fn weather(sent: &Value, twice: &[String]) -> Result<Weather, Vec<FieldFault>> {
    let (request, mut reader): (WeatherRequest, _) = shaped(&schema::WEATHER, sent, twice)?;
    let field = request.field_elevation.as_ref();
    let field = field.and_then(|e| reader.reading("/field_elevation", e.quantity(), &LENGTH, Some(&limits::ELEVATION)));
    let launch = request.launch_at.as_deref().and_then(|text| reader.instant(LAUNCH_AT, text));
    let weather = reader.weather("", &request, field, launch);
    // What is handed on as it is has to be good as well.
    let around = surroundings(&request);
    reader.surface_law(&around);
    reader.gustiness(&around);
    let Reader { faults, noticed, .. } = reader;
    match weather {
        Some(mut weather) if faults.none() => {
            weather.profile.cautions.extend(noticed.into_cautions());
            Ok(weather)
        }
        _ => Err(faults.into_list()),
    }
}

/// From a GRIB file to decoded weather, or why not.
pub fn grib(file: &[u8], query: &GribQuery) -> Result<Weather, FileRejected> {
    let sent = Value::Null;
    let mut reader = Reader::new(Faults::new(&sent));
    for (at, degrees, [least, most]) in
        [("/latitude", query.latitude, [-90.0, 90.0]), ("/longitude", query.longitude, [-180.0, 360.0])]
    {
        if !(least..=most).contains(&degrees) {
            reader.faults.add(at, format!("it is {degrees}"), format!("give {least} to {most} degrees"));
        }
    }
    let elevation = Quantity::Text(query.field_elevation.clone());
    let field = reader.reading("/field_elevation", &elevation, &LENGTH, Some(&limits::ELEVATION));
    let launch = query.launch_at.as_deref().and_then(|text| reader.instant(LAUNCH_AT, text));
    let in_words = |faults: Faults<'_>| {
        let told = |f: FieldFault| format!("{}: {}; {}.", f.pointer.trim_start_matches('/'), f.problem, f.remedy);
        FileRejected::Query(faults.into_list().into_iter().map(told).collect::<Vec<_>>().join(" "))
    };
    if !reader.faults.none() {
        return Err(in_words(reader.faults));
    }
    let place = grid::Place { latitude_deg: query.latitude, longitude_deg: query.longitude };
    let decoded = grib2::decode(file, place, launch).map_err(|Unreadable { problem, remedy }| {
        FileRejected::File(FieldFault { pointer: String::new(), problem, remedy, sent: None })
    })?;
    let over = |member: Profile| {
        let mut profile = merge::over_field(member, field);
        grib2::in_order(&mut profile);
        profile
    };
    let weather = reader.finished(decoded.into_iter().map(over).collect(), field, None, launch, Wind::default());
    let Reader { faults, noticed, .. } = reader;
    let Some(mut weather) = weather.filter(|_| faults.none()) else { return Err(in_words(faults)) };
    weather.profile.cautions.extend(noticed.into_cautions());
    Ok(weather)
}

impl Reader<'_> {
    /// The wind and the field that a flight is asked in: weather as a request has it over its site, to be flown at an
    /// instant. What was decoded is kept beside it. `None` only where something is faulted.
    pub(super) fn flown_in(
        &mut self,
        r: &WeatherRequest,
        site: &Site,
        launch_at: Option<&str>,
    ) -> Option<(Wind, Site)> {
        self.places.wind_at = WEATHER;
        for (name, given, own) in [
            ("field_elevation", r.field_elevation.is_some(), "site.elevation"),
            ("launch_at", r.launch_at.is_some(), "launch_at beside weather"),
        ] {
            if given {
                let remedy = format!("give it as {own}");
                self.faults.add(format!("{WEATHER}/{name}"), "it has its place outside the weather here", remedy);
            }
        }
        // Faults of the elevation are found where the site is read.
        let within = |e: &Reading| (limits::ELEVATION.min..=limits::ELEVATION.max).contains(&e.si);
        let field = site.elevation.as_ref().and_then(|e| parsed(e.quantity(), &LENGTH)?.ok().filter(within));
        let launch = launch_at.and_then(|text| self.instant(LAUNCH_AT, text));
        let weather = self.weather(WEATHER, r, field, launch)?;
        let timed = weather.profile.messages.iter().any(|m| m.times().next().is_some());
        if timed && launch_at.is_none() {
            self.faults.add(
                LAUNCH_AT,
                "it is missing",
                "give the instant of launch, such as \"2026-11-25T17:30:00Z\": the age of the weather is told by it, never by a clock",
            );
        } else if launch.is_some() && weather.profile.messages.iter().all(|m| m.format == Format::Layers) {
            self.faults.add(LAUNCH_AT, "there is no weather whose age it could tell", "leave it out");
        }
        let Some(wind) = weather.wind.clone() else {
            let why = weather.profile.cautions.iter().rfind(|c| c.topic == "wind");
            self.faults.add(
                WEATHER,
                why.map_or("no wind is known from it", |c| c.message.as_str()),
                "add a message that has the wind, or give the wind by hand as wind; calm is never assumed",
            );
            return None;
        };
        let mut at_field = site.clone();
        let air = weather.site.clone();
        at_field.temperature = at_field.temperature.or(air.temperature);
        if at_field.station_pressure.is_none() {
            at_field.altimeter_setting = at_field.altimeter_setting.or(air.altimeter_setting);
        }
        self.weather = Some(weather);
        Some((wind, at_field))
    }

    /// The weather at a place of the request. `None` only where something is faulted.
    fn weather(
        &mut self,
        at: &str,
        r: &WeatherRequest,
        field_elevation: Option<Reading>,
        launch: Option<DateTime>,
    ) -> Option<Weather> {
        let mut told = Vec::new();
        // To be flown, weather with a time needs the launch, which stands for the date.
        let launched = at == WEATHER || r.launch_at.is_some();
        let date = self.date(at, r, launched).or_else(|| {
            let date = launch.filter(|_| r.date.is_none())?.date();
            told.push(format!("There is no date: the messages are those of the days nearest to launch on {date}."));
            Some(date)
        });
        let surface = self.report(at, r.metar.as_deref());
        let profiles = match &r.members {
            None => self.over(at, &Told::from(r), surface.as_ref(), launch, field_elevation),
            Some(members) => self.members(at, r, members, surface.as_ref(), launch, field_elevation),
        };
        let mut weather = self.finished(profiles, field_elevation, date, launch, surroundings(r))?;
        if weather.profile.messages.iter().flat_map(Message::times).any(|t| matches!(t, When::OfMonth(_))) {
            weather.profile.assumed.extend(told);
        }
        Some(weather)
    }

    fn report(&mut self, at: &str, metar: Option<&str>) -> Option<Profile> {
        metar.and_then(|text| self.taken(&format!("{at}/metar"), metar::decode(text)))
    }

    /// Winds aloft over a surface report and both over the field: one profile, or the members that they come with. None
    /// where something is faulted.
    fn over(
        &mut self,
        at: &str,
        told: &Told<'_>,
        surface: Option<&Profile>,
        launch: Option<DateTime>,
        field: Option<Reading>,
    ) -> Vec<Profile> {
        let given = told.given();
        if given.is_empty() && surface.is_none() && told.metar.is_none() && !self.faults.covers(at) {
            self.faults.add(
                at,
                "there is nothing to decode",
                "give metar (a METAR or SPECI), winds_aloft (a bulletin of winds and temperatures aloft), sounding, layers, \
                 coverage or decoded",
            );
        }
        let aloft = self.aloft(at, told, surface, launch, field);
        match (aloft, surface) {
            (Some(aloft), _) => {
                let under = |aloft| merge::merge(surface.cloned(), Some(aloft), field);
                aloft.into_iter().filter_map(under).collect()
            }
            (None, Some(surface)) if given.is_empty() => {
                merge::merge(Some(surface.clone()), None, field).into_iter().collect()
            }
            (None, _) => Vec::new(),
        }
    }

    /// The members of an ensemble, each over its own surface report or that of all.
    fn members(
        &mut self,
        at: &str,
        r: &WeatherRequest,
        members: &[WeatherMember],
        surface: Option<&Profile>,
        launch: Option<DateTime>,
        field: Option<Reading>,
    ) -> Vec<Profile> {
        let place = format!("{at}/members");
        for name in Told::from(r).given() {
            self.faults.add(format!("{at}/{name}"), "there are members as well", "put it into one of the members");
        }
        if r.station.is_some() {
            self.faults.add(
                format!("{at}/station"),
                "there are members as well",
                "put it into the member that it is for",
            );
        }
        if members.is_empty() {
            self.faults.add(&place, "the list has 0 items", format!("give 1 to {MOST_MEMBERS} forecasts"));
        }
        let mut profiles = Vec::new();
        for (k, member) in members.iter().enumerate() {
            // One of them may be an ensemble itself.
            if profiles.len() > MOST_MEMBERS {
                break;
            }
            let at = format!("{place}/{k}");
            let own = self.report(&at, member.metar.as_deref());
            if own.is_some() && r.metar.is_some() {
                self.faults.add(format!("{at}/metar"), "there is one for all members as well", "give one of the two");
            }
            let told = Told::from(member);
            let surface = surface.filter(|_| !told.given().is_empty());
            profiles.extend(self.over(&at, &told, own.as_ref().or(surface), launch, field));
        }
        if profiles.len() > MOST_MEMBERS {
            self.faults.add(place, "there are too many members", format!("give at most {MOST_MEMBERS}"));
        }
        profiles
    }

    /// Weather with its age, and the wind and the air as an assessment takes them; none without a profile.
    fn finished(
        &mut self,
        mut profiles: Vec<Profile>,
        field_elevation: Option<Reading>,
        date: Option<Date>,
        launch: Option<DateTime>,
        around: Wind,
    ) -> Option<Weather> {
        let (mut profile, members) = match profiles.len() {
            0 | 1 => (profiles.pop()?, Vec::new()),
            _ => (merge::ensemble(&profiles), profiles),
        };
        let age_h = match (launch, date) {
            (Some(launch), _) => {
                let hours = age::at_launch_h(&mut profile, date, launch);
                hours.and_then(|h| self.age_taken_h(h))
            }
            (None, Some(date)) => {
                age::on_date(&mut profile, date);
                None
            }
            (None, None) => None,
        };
        let whole = Wind {
            source: Some(merge::source(&profile, members.len(), date)),
            // To the hundredth of an hour, as it is read again.
            age: age_h.map(|h| Time(Quantity::Text(format!("{} h", (h * 100.0).round() / 100.0)))),
            ..around
        };
        let winds = if members.is_empty() { core::slice::from_ref(&profile) } else { &members[..] };
        let reported = winds.first().and_then(|p| p.levels.iter().find(|l| l.surface)?.temperature);
        let blown: Vec<_> = winds.iter().map(wind).collect();
        let without = blown.iter().position(Result::is_err).map(|k| k + 1);
        let wind = match blown.into_iter().collect::<Result<Vec<_>, _>>() {
            Ok(mut blown) if members.is_empty() => {
                blown.pop().map(|w| Wind { surface: w.surface, layers: w.layers, ..whole })
            }
            Ok(blown) => Some(Wind { members: Some(blown), ..whole }),
            Err(why) => {
                profile.cautions.extend(why);
                None
            }
        };
        if let (Some(number), false) = (without, members.is_empty()) {
            profile.cautions.push(Caution {
                topic: "wind",
                message: format!(
                    "Member {number} of {} has no wind that an assessment takes, so there is no `wind`.",
                    members.len()
                ),
                rule: "each member is as likely as the others",
            });
        }
        if !members.is_empty() && (reported.is_some() || profile.altimeter_setting.is_some()) {
            profile.assumed.push("Temperature and pressure at the field are those of the first member.".into());
        }
        let site = self::site(&mut profile, reported, field_elevation);
        Some(Weather { profile, members, field_elevation, date, launch, age_h, wind, site })
    }

    /// An age that is taken; one that is not is a fault of the launch.
    fn age_taken_h(&mut self, hours: f64) -> Option<f64> {
        let age = TIME.with(hours, "h")?;
        self.reading(LAUNCH_AT, &Quantity::Text(TIME.show(&age)), &TIME, Some(&limits::WIND_AGE)).map(|_| hours)
    }

    fn instant(&mut self, at: &str, text: &str) -> Option<DateTime> {
        let instant = clock::instant(text);
        if instant.is_none() {
            self.faults.add(
                at,
                format!("{} is no instant", quoted(text)),
                "give date, time and offset from UTC: \"2026-11-25T17:30:00Z\" or \"2026-11-25T10:30:00-07:00\"",
            );
        }
        instant
    }

    fn taken<T>(&mut self, at: &str, read: Result<T, Unreadable>) -> Option<T> {
        read.map_err(|e| self.faults.add(at, e.problem, e.remedy)).ok()
    }

    fn date(&mut self, at: &str, r: &WeatherRequest, launched: bool) -> Option<Date> {
        const REMEDY: &str = "give the day on which it was issued, in UTC, such as \"2026-11-25\": a message carries a day of \
                              the month, but neither month nor year";
        let at = format!("{at}/date");
        let Some(text) = &r.date else {
            let of_month = |told: Told<'_>| told.metar.or(told.winds_aloft).or(told.sounding).is_some();
            let of_month = of_month(Told::from(r)) || r.members.iter().flatten().any(|m| of_month(Told::from(m)));
            if of_month && !launched {
                self.faults.add(at, "it is missing", REMEDY);
            }
            return None;
        };
        let written = text.len() == 10 && text.bytes().all(|b| b.is_ascii_digit() || b == b'-');
        let date = Date::strptime("%Y-%m-%d", text).ok().filter(|_| written);
        if date.is_none() {
            self.faults.add(at, format!("{} is no date", quoted(text)), REMEDY);
        }
        date
    }

    /// What lies over the ground: one profile, or the members of an ensemble. None where there is nothing, or a fault.
    fn aloft(
        &mut self,
        at: &str,
        told: &Told<'_>,
        surface: Option<&Profile>,
        launch: Option<DateTime>,
        field: Option<Reading>,
    ) -> Option<Vec<Profile>> {
        if let [first, second, ..] = told.given()[..] {
            self.faults.add(format!("{at}/{second}"), format!("there is {first} as well"), "give one of the two");
        }
        if told.station.is_some() && told.winds_aloft.is_none() {
            self.faults.add(
                format!("{at}/station"),
                "there is no bulletin winds_aloft whose row it could name",
                "leave it out; a METAR names its station itself",
            );
        }
        let one = |profile: Option<Profile>| profile.map(|p| vec![p]);
        if let Some(text) = told.winds_aloft {
            return one(self.bulletin(at, text, told.station, surface));
        }
        if let Some(text) = told.sounding {
            return one(self.taken(&format!("{at}/sounding"), sounding::decode(text)));
        }
        if let Some(document) = told.coverage {
            return self.placed_well(&format!("{at}/coverage"), coverage::decode(document, launch));
        }
        if let Some(answer) = told.decoded {
            let place = format!("{at}/decoded");
            let profiles = self.placed_well(&place, decoded::decode(answer, field))?;
            let reported = profiles.iter().flat_map(|p| &p.messages).any(|m| m.format.of_ground());
            if reported && surface.is_some() {
                let remedy = "leave metar out, or decode the winds aloft again without one";
                self.faults.add(place, "there is a surface report in it already, beside metar", remedy);
            }
            return Some(profiles);
        }
        one(match told.layers? {
            LayersRequest::Table(text) => self.taken(&format!("{at}/layers"), layers::decode(text)),
            LayersRequest::List(list) => self.layer_list(&format!("{at}/layers"), list),
        })
    }

    /// What was read of a document within the request; where it could not be, its fault is noted.
    fn placed_well<T>(&mut self, at: &str, read: Result<T, Misplaced>) -> Option<T> {
        let place =
            |e: Misplaced| self.faults.add(format!("{at}{}", e.pointer), e.unreadable.problem, e.unreadable.remedy);
        read.map_err(place).ok()
    }

    fn bulletin(&mut self, at: &str, text: &str, station: Option<&str>, surface: Option<&Profile>) -> Option<Profile> {
        let text = text.to_ascii_uppercase();
        let bulletin = self.taken(&format!("{at}/winds_aloft"), aloft::read(&text))?;
        let named = station.map(|s| s.trim().to_ascii_uppercase());
        let reporting = surface.and_then(|s| s.messages.first()?.station.as_deref());
        let own = aloft::row_of(&bulletin, named.as_deref());
        let row = own.or_else(|| if named.is_none() { aloft::row_of(&bulletin, reporting) } else { None });
        let Some(row) = row else {
            let stations = bulletin.stations();
            let remedy = format!("give one of its stations: {}", aloft::listed(&stations));
            match &named {
                Some(name) => self.faults.add(
                    format!("{at}/station"),
                    format!("the bulletin has no row {}", quoted(name)),
                    remedy,
                ),
                None => self.faults.add(
                    format!("{at}/station"),
                    format!("it is missing, and the bulletin has {} rows", stations.len()),
                    remedy,
                ),
            }
            return None;
        };
        let mut profile = self.taken(&format!("{at}/winds_aloft"), bulletin.row(row)?)?;
        if named.is_none() && bulletin.stations().len() > 1 {
            profile
                .assumed
                .push(format!("The row {row} of the bulletin was taken: its station made the surface report."));
        }
        Some(profile)
    }

    fn layer_list(&mut self, place: &str, list: &[WindLayer]) -> Option<Profile> {
        if !(1..=layers::MOST_ROWS).contains(&list.len()) {
            let problem = format!("the list has {} items", list.len());
            self.faults.add(place, problem, format!("give 1 to {}", layers::MOST_ROWS));
            return None;
        }
        let mut profile = Profile::of(Message::new(Format::Layers));
        for (i, l) in list.iter().enumerate() {
            let at = |name: &str| format!("{place}/{i}/{name}");
            let (above, height) = self.one_height(l, &format!("{place}/{i}"));
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
                wind: Some(profile::Wind {
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
                place,
                "some heights are above sea level and some above ground",
                "give all of them above the same",
            );
        }
        if let Err(height) = layers::sort(&mut profile.levels) {
            self.faults.add(
                place,
                format!("the height {} stands in it twice", LENGTH.show(&height)),
                "give each height once",
            );
        }
        Some(profile)
    }
}

fn text(table: &Table, reading: &Reading) -> Quantity {
    Quantity::Text(table.show(reading))
}

/// What of the wind a message does not tell, as an assessment takes it.
fn surroundings(r: &WeatherRequest) -> Wind {
    Wind {
        terrain: r.terrain,
        roughness_length: r.roughness_length.clone(),
        power_exponent: r.power_exponent,
        turbulence: r.turbulence,
        turbulence_wind_at_20_ft: r.turbulence_wind_at_20_ft.clone(),
        ..Wind::default()
    }
}

/// The wind as an assessment takes it; where it takes none, what to mind about that, if that is not said yet.
fn wind(profile: &Profile) -> Result<WindMemberRequest, Option<Caution>> {
    let known = || profile.levels.iter().filter_map(|l| Some((l, l.wind?)));
    let limit = limits::SURFACE_WIND_SPEED;
    let fastest = |w: &profile::Wind| w.gust.map_or(w.speed.si, |g| g.si.max(w.speed.si));
    if known().any(|(l, w)| l.surface && fastest(&w) > limit.max) {
        return Err(Some(Caution {
            topic: "wind",
            message: format!(
                "The surface wind or its gust is faster than the {} that an assessment takes, so there is no `wind`.",
                told::speed(limit.max, 0)
            ),
            rule: "accepted range of a surface wind",
        }));
    }
    let surface = known().find(|(l, _)| l.surface).map(|(l, w)| SurfaceWindRequest {
        speed: Some(Speed(text(&SPEED, &w.speed))),
        direction: match w.direction {
            Direction::From(from) => Some(WindDirection(text(&ANGLE, &from))),
            Direction::Variable => Some(WindDirection(Quantity::Text("variable".into()))),
            // Not reported: every direction alike. Calm has none.
            Direction::None if w.speed.si > 0.0 => Some(WindDirection(Quantity::Text("variable".into()))),
            Direction::None => None,
        },
        measuring_height: l.above_ground.map(|h| Length(text(&LENGTH, &h))),
        gust: w.gust.map(|g| Speed(text(&SPEED, &g))),
    });
    let layers: Vec<WindLayer> = known().filter(|(l, _)| !l.surface).map(|(l, w)| layer(l, &w)).collect();
    if surface.is_none() && layers.is_empty() {
        return Err(None);
    }
    Ok(WindMemberRequest { surface, layers: (!layers.is_empty()).then_some(layers) })
}

fn layer(l: &Level, w: &profile::Wind) -> WindLayer {
    let calm = || (Quantity::Text("0 kt".into()), Quantity::Text("0 deg".into()));
    let (speed, direction) = match w.direction {
        Direction::From(from) => (text(&SPEED, &w.speed), text(&ANGLE, &from)),
        // Light and variable, or calm: no direction prevails, so the mean of its vector is nothing.
        Direction::Variable | Direction::None => calm(),
    };
    WindLayer {
        height_above_ground: l.above_ground.map(|h| Length(text(&LENGTH, &h))),
        height_above_sea: if l.above_ground.is_some() { None } else { l.above_sea.map(|h| Length(text(&LENGTH, &h))) },
        speed: Some(Speed(speed)),
        direction: Some(WindDirection(direction)),
    }
}

/// The air at the field as an assessment takes it; what it does not take is said.
fn site(profile: &mut Profile, reported: Option<Reading>, field_elevation: Option<Reading>) -> Site {
    let range = limits::TEMPERATURE;
    let temperature = reported.filter(|t| (range.min..=range.max).contains(&t.si));
    let setting = profile.altimeter_setting.filter(|p| limits::ALTIMETER_SETTINGS_PA.contains(&p.si));
    let mut left_out = |what: &str, reading: Option<Reading>, table: &Table| {
        if let Some(reading) = reading {
            merge::say(
                &mut profile.skipped,
                format!("The {what}: an assessment does not take {}.", table.show(&reading)),
            );
        }
    };
    left_out("temperature", reported.filter(|_| temperature.is_none()), &TEMPERATURE);
    left_out("pressure", profile.altimeter_setting.filter(|_| setting.is_none()), &PRESSURE);
    if setting.is_some() && field_elevation.is_none() {
        merge::say(&mut profile.skipped, "The pressure: without the elevation it says nothing of the field.".into());
    }
    Site {
        elevation: field_elevation.map(|e| Length(text(&LENGTH, &e))),
        temperature: temperature.map(|t| Temperature(text(&TEMPERATURE, &t))),
        altimeter_setting: field_elevation.and(setting).map(|p| Pressure(text(&PRESSURE, &p))),
        ..Site::default()
    }
}
