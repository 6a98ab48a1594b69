//! The mean wind by height, as pictures show it: what is known at which heights, and what the engine lays between.

use slowpoint_sim::case::WindInput;
use slowpoint_sim::constants::{FOOT_M, MILE_PER_HOUR_M_S};
use slowpoint_sim::wind::{Direction, LAW_TOP_M, Profile, SurfaceLaw, WindErrors};

use super::fixed;
use super::svg::INK;
use crate::weather::{self, Bound, Level};
use crate::wire::units::TEMPERATURE;
use crate::wire::{Asked, Weather};

/// Less of a wind does not count, m/s: neither of one that comes from everywhere, nor of a mean that would have a direction.
const LEAST_TURNING_M_S: f64 = 1e-3;
/// The mean of members as a vector has a direction where it is at least so much of the mean of their speeds.
const LEAST_TOGETHER: f64 = 0.5;
/// Why a mean of members has no direction.
pub const TOO_FAR_APART: &str = "members from directions too far apart for one";
/// Where the mean is neither of one kind nor of the other.
pub const BETWEEN: &str = "between a wind from anywhere and one of a direction";

/// Where a wind comes from.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Way {
    /// Degrees clockwise from true north.
    From(f64),
    /// From every direction alike.
    Variable,
    /// Members blow from directions too far apart for one of their mean.
    Apart,
    /// From none: it is calm, or nothing is told.
    None,
}

/// What is known at a height.
#[derive(Debug, Clone, Copy)]
pub struct Known {
    /// The height; `None` where it is above ground and all others are above sea level.
    pub height_m: Option<f64>,
    /// Speed, m/s.
    pub speed_m_s: f64,
    /// How that is meant: nothing, "at least " or "below ".
    pub bound: &'static str,
    /// Direction.
    pub way: Way,
    /// Peak of the gusts, m/s.
    pub gust_m_s: Option<f64>,
    /// Temperature, degrees Celsius.
    pub temperature_c: Option<f64>,
}

/// The mean wind at a height.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Mean {
    /// Towards east and north, m/s.
    Towards([f64; 2]),
    /// From every direction alike, m/s.
    Variable(f64),
    /// So fast as a vector, of members too far apart for a direction, m/s.
    Apart(f64),
    /// It goes over from the one to the other.
    Between,
}

/// The mean wind by height.
#[derive(Default)]
pub struct Winds {
    /// One, or one a member of an ensemble; none where the engine takes none.
    profiles: Vec<Profile>,
    /// From what their heights are counted, above what those of the picture are, m.
    ground_m: f64,
    /// Between which heights the wind is told.
    told_m: Option<[f64; 2]>,
    /// What is known, from the ground up; of an ensemble nothing.
    pub known: Vec<Known>,
    /// Members of an ensemble; 1 where there is one wind.
    pub members: usize,
    /// Whether heights are above sea level, because nobody said how high the field is.
    pub above_sea: bool,
    /// The field above sea level, m.
    pub field_elevation_m: Option<f64>,
}

impl Winds {
    /// Of decoded weather.
    pub fn decoded(weather: &Weather) -> Self {
        let windy = |level: &&Level| level.wind.is_some();
        let known = || weather.profile.levels.iter().filter(windy);
        let above_sea = weather.each().flatten().filter(windy).any(|l| l.above_ground.is_none());
        let winds = Self {
            known: known().filter_map(|l| of_level(l, above_sea)).collect(),
            members: weather.members.len().max(1),
            above_sea,
            field_elevation_m: weather.field_elevation.map(|e| e.si),
            ..Self::default()
        };
        if above_sea {
            winds.aloft(weather)
        } else {
            winds.over_ground(weather.blowing().and_then(|w| w.as_reported()))
        }
    }

    /// With what blows over ground of a known height.
    fn over_ground(self, profiles: Option<Vec<Profile>>) -> Self {
        let profiles = profiles.unwrap_or_default();
        let low = profiles.iter().map(Profile::law_top_m).reduce(f64::max);
        let top = profiles.iter().map(Profile::top_m).fold(f64::INFINITY, f64::min);
        Self { told_m: low.map(|low| [low, top.max(low)]), profiles, ..self }
    }

    /// With what blows where nobody knows the ground to be: as the engine lays it between what is told above sea level,
    /// which is the same over any ground. That of its profiles is so low that what it has near there ends below.
    fn aloft(self, weather: &Weather) -> Self {
        let ends = |levels: &[Level]| {
            let told = levels.iter().filter(|l| l.wind.is_some() && l.above_ground.is_none());
            let mut heights = told.filter_map(|l| Some(l.above_sea?.si));
            let lowest = heights.next()?;
            Some([lowest, heights.next_back().unwrap_or(lowest)])
        };
        let Some(ends) = weather.each().map(ends).collect::<Option<Vec<_>>>() else { return self };
        let ground_m = ends.iter().map(|e| e[0]).fold(f64::INFINITY, f64::min) - 2.0 * LAW_TOP_M;
        let Some(input) = weather.aloft_over(ground_m) else { return self };
        let each = core::iter::once(&input.layers).chain(input.others.iter().map(|other| &other.layers));
        let profiles = each.map(|layers| Profile::new(None, layers, SurfaceLaw::OPEN, WindErrors::NONE));
        let Some(profiles) = profiles.collect::<Option<Vec<_>>>() else { return self };
        let low = ends.iter().map(|e| e[0]).fold(f64::NEG_INFINITY, f64::max);
        let high = ends.iter().map(|e| e[1]).fold(f64::INFINITY, f64::min);
        Self { told_m: (low <= high).then_some([low, high]), profiles, ground_m, ..self }
    }

    /// Of what was flown in.
    pub fn flown(asked: &Asked) -> Self {
        let inputs = &asked.case.inputs;
        let members = 1 + inputs.wind.others.len();
        let known = match &asked.weather {
            _ if members > 1 => Vec::new(),
            Some(weather) => weather.profile.levels.iter().filter_map(|l| of_level(l, false)).collect(),
            None => of_input(&inputs.wind),
        };
        let winds = Self { known, members, field_elevation_m: Some(asked.case.field.elevation_m), ..Self::default() };
        winds.over_ground(Some(asked.case.winds().cloned().collect()))
    }

    /// The mean of all flights at a height; `None` where the engine takes no wind, and beyond what is told where nobody knows
    /// how high the ground is.
    pub fn mean(&self, height_m: f64) -> Option<Mean> {
        let [low_m, high_m] = self.told_m?;
        if self.above_sea && !(low_m..=high_m).contains(&height_m) {
            return None;
        }
        let (mut towards, mut turning, mut each) = ([0.0; 2], 0.0, 0.0);
        let share = 1.0 / self.profiles.len() as f64;
        for mean in self.profiles.iter().map(|profile| profile.mean_at(height_m - self.ground_m)) {
            towards = [0, 1].map(|k| towards[k] + share * mean.towards_m_s[k]);
            turning += share * mean.turning_m_s;
            each += share * libm::hypot(mean.towards_m_s[0], mean.towards_m_s[1]);
        }
        let together = libm::hypot(towards[0], towards[1]);
        Some(match (together < LEAST_TURNING_M_S, turning < LEAST_TURNING_M_S) {
            (true, false) if each < LEAST_TURNING_M_S => Mean::Variable(turning),
            (_, false) => Mean::Between,
            (true, true) if each < LEAST_TURNING_M_S => Mean::Towards([0.0; 2]),
            (_, true) if together < LEAST_TOGETHER * each => Mean::Apart(together),
            (_, true) => Mean::Towards(towards),
        })
    }

    /// How many members there are, and how fast the slowest and the fastest of them at a height, in words; `None` of one wind.
    pub fn spread(&self, height_m: f64) -> Option<String> {
        let count = self.profiles.len();
        let speeds = || (0..count).map(|k| self.of_member(k, height_m));
        let (least, greatest) = (speeds().fold(f64::INFINITY, f64::min), speeds().fold(0.0, f64::max));
        (count > 1).then(|| format!("{count} members, {least:.1} to {greatest:.1} m/s"))
    }

    /// The mean of one member by itself.
    pub fn of_member(&self, member: usize, height_m: f64) -> f64 {
        let mean = self.profiles.get(member).map(|profile| profile.mean_at(height_m - self.ground_m));
        mean.map_or(0.0, |m| libm::hypot(m.towards_m_s[0], m.towards_m_s[1]).max(m.turning_m_s))
    }

    /// Between which heights it is told, m: below, the law near the ground holds; above, it is taken to be the same. `None`
    /// where the engine takes no wind.
    pub fn told_between_m(&self) -> Option<[f64; 2]> {
        self.told_m
    }
}

fn of_level(level: &Level, above_sea: bool) -> Option<Known> {
    let wind = level.wind?;
    let height = if above_sea { level.above_sea } else { level.above_ground };
    Some(Known {
        height_m: height.map(|h| h.si),
        speed_m_s: wind.speed.si,
        bound: match wind.bound {
            Bound::Is => "",
            Bound::AtLeast => "at least ",
            Bound::Below => "below ",
        },
        way: match wind.direction {
            weather::Direction::From(from) => Way::From(from.si.to_degrees()),
            weather::Direction::Variable => Way::Variable,
            weather::Direction::None => Way::None,
        },
        gust_m_s: wind.gust.map(|g| g.si),
        temperature_c: level.temperature.and_then(|t| TEMPERATURE.number_in(&t, "C")),
    })
}

fn of_input(wind: &WindInput) -> Vec<Known> {
    let from = |rad: f64| Way::From(rad.to_degrees());
    let surface = wind.surface.map(|s| Known {
        height_m: Some(s.measuring_height_m),
        speed_m_s: s.speed_m_s,
        bound: "",
        way: match s.direction {
            _ if s.speed_m_s == 0.0 => Way::None,
            Direction::From(rad) => from(rad),
            Direction::Variable => Way::Variable,
        },
        gust_m_s: s.gust_m_s,
        temperature_c: None,
    });
    let layers = wind.layers.iter().map(|l| Known {
        height_m: Some(l.height_above_ground_m),
        speed_m_s: l.speed_m_s,
        bound: "",
        way: if l.speed_m_s > 0.0 { from(l.direction_from_rad) } else { Way::None },
        gust_m_s: None,
        temperature_c: None,
    });
    surface.into_iter().chain(layers).collect()
}

impl Mean {
    /// Its speed, where it has one.
    pub fn speed_m_s(self) -> Option<f64> {
        match self {
            Self::Towards([east, north]) => Some(libm::hypot(east, north)),
            Self::Variable(speed_m_s) | Self::Apart(speed_m_s) => Some(speed_m_s),
            Self::Between => None,
        }
    }

    /// Where it comes from.
    pub fn way(self) -> Way {
        match self {
            Self::Towards([east, north]) if libm::hypot(east, north) > 0.0 => {
                Way::From(libm::atan2(-east, -north).to_degrees())
            }
            Self::Towards(_) => Way::None,
            Self::Apart(_) => Way::Apart,
            Self::Variable(_) | Self::Between => Way::Variable,
        }
    }

    /// What a ring in place of an arrow stands for.
    pub fn ring(self) -> Option<&'static str> {
        match (self, self.way()) {
            (Self::Between, _) => Some(BETWEEN),
            (_, Way::From(_)) => None,
            (_, Way::Variable) => Some("from anywhere alike"),
            (_, Way::Apart) => Some(TOO_FAR_APART),
            (_, Way::None) => Some("calm"),
        }
    }
}

/// A height in both units.
pub fn height(height_m: f64) -> String {
    format!("{} m, {} ft", fixed(height_m, 0), fixed(height_m / FOOT_M, 0))
}

/// A speed in both units.
pub fn speed(speed_m_s: f64) -> String {
    format!("{speed_m_s:.1} m/s, {:.1} mph", speed_m_s / MILE_PER_HOUR_M_S)
}

/// Where it comes from, in words.
pub fn from(way: Way) -> String {
    match way {
        // A direction that is rounded to 360 is north, as one of 0; and so is one just below 0, which would be -0.
        Way::From(deg) => format!("from {:.0} deg", (deg.rem_euclid(360.0).round() % 360.0).abs()),
        Way::Variable => "from anywhere".into(),
        Way::Apart => "from no one direction".into(),
        Way::None => "calm".into(),
    }
}

/// An arrow the way the air moves, north up: so long, its middle at a place. What has no direction is a ring.
pub fn arrow([x, y]: [f64; 2], way: Way, length: f64) -> String {
    let Way::From(deg) = way else {
        return format!(
            "<circle cx=\"{x:.1}\" cy=\"{y:.1}\" r=\"4\" fill=\"#fff\" stroke=\"{INK}\" stroke-width=\"1.6\"/>"
        );
    };
    let (east, north) = deg.to_radians().sin_cos();
    // The way it moves: away from where it comes from. Down is positive.
    let [dx, dy] = [-east, north];
    let at = |along: f64, across: f64| {
        format!("{:.1} {:.1}", x + length * along * dx - across * dy, y + length * along * dy + across * dx)
    };
    let (tail, tip, neck) = (at(-0.5, 0.0), at(0.5, 0.0), at(0.2, 0.0));
    format!(
        "<path d=\"M{tail}L{neck}\" stroke=\"{INK}\" stroke-width=\"1.8\"/><path d=\"M{tip}L{}L{}Z\" fill=\"{INK}\"/>",
        at(0.1, 0.24 * length),
        at(0.1, -0.24 * length)
    )
}

#[cfg(test)]
mod tests {
    use slowpoint_sim::wind::SurfaceWind;

    use super::*;

    #[test]
    fn arrows_point_the_way_the_air_moves() {
        // From the west: to the right.
        let drawn = arrow([100.0, 50.0], Way::From(270.0), 20.0);
        assert!(drawn.contains("M90.0 50.0L104.0 50.0") && drawn.contains("M110.0 50.0L"), "{drawn}");
        // From the south: up.
        let drawn = arrow([100.0, 50.0], Way::From(180.0), 20.0);
        assert!(drawn.contains("M100.0 60.0L") && drawn.contains("M100.0 40.0L"), "{drawn}");
        assert!(arrow([0.0, 0.0], Way::Variable, 20.0).starts_with("<circle"));
        assert_eq!(from(Way::From(359.7)), "from 0 deg");
        let mean = Mean::Towards([3.0, 0.0]);
        assert_eq!((mean.speed_m_s(), from(mean.way()).as_str()), (Some(3.0), "from 270 deg"));
        // From the north, a hair to either side.
        for east in [0.0, -0.0, 1e-17, -1e-17] {
            assert_eq!(from(Mean::Towards([east, -3.0]).way()), "from 0 deg", "{east:e}");
        }
    }

    /// Members that blow against each other have no direction, however rounding leaves them; such as blow much the same way have.
    #[test]
    fn members_apart_have_no_direction() {
        let errors = WindErrors {
            component_sd_m_s: 0.0,
            direction_sd_rad: 0.0,
            correlation_length_m: 1000.0,
            growth_above_top_per_s: 0.0,
        };
        let of = |from_deg: &[f64]| {
            let profile = |deg: &f64| {
                let surface = SurfaceWind {
                    speed_m_s: 6.0,
                    direction: Direction::From(deg.to_radians()),
                    gust_m_s: None,
                    measuring_height_m: 10.0,
                };
                Profile::new(Some(surface), &[], SurfaceLaw::OPEN, errors)
            };
            let winds = Winds { members: from_deg.len(), ..Winds::default() };
            winds.over_ground(from_deg.iter().map(profile).collect())
        };
        let opposed = of(&[250.0, 80.0, 260.0, 70.0]);
        for height_m in [5.0, 10.0, 100.0, 300.0] {
            assert!(matches!(opposed.mean(height_m), Some(Mean::Apart(m_s)) if m_s < 1e-3), "{height_m}");
        }
        assert_eq!(opposed.spread(10.0).as_deref(), Some("4 members, 6.0 to 6.0 m/s"));
        // The mean of two is the cosine of half the angle between: more or less than a half of each.
        let way = |apart: f64| of(&[270.0, 270.0 + apart]).mean(10.0).map(Mean::way);
        assert!(matches!(way(118.0), Some(Way::From(deg)) if (deg.rem_euclid(360.0) - 329.0).abs() < 1e-6));
        assert_eq!(way(122.0), Some(Way::Apart));
        assert_eq!((of(&[270.0]).spread(10.0), of(&[270.0]).mean(0.0).map(Mean::way)), (None, Some(Way::None)));
    }
}
