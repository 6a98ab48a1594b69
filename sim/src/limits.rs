//! One table of what is accepted: it feeds validation, error texts and the service's description.

use crate::fault::Faults;

/// The accepted range of one kind of input.
#[derive(Debug, Clone, Copy)]
pub struct Limit {
    /// What it is, in words.
    pub what: &'static str,
    /// SI unit, empty for a pure number.
    pub unit: &'static str,
    /// Smallest accepted value.
    pub min: f64,
    /// Largest accepted value.
    pub max: f64,
    /// Why it ends there, or what to look for.
    pub hint: &'static str,
}

impl Limit {
    /// Notes a fault when the value is not a number inside the range; says whether it was good.
    pub fn check(&self, field: &str, value: f64, faults: &mut Faults) -> bool {
        if value.is_finite() && value >= self.min && value <= self.max {
            return true;
        }
        // People think of angles in degrees.
        let (unit, scale) = match self.unit {
            "rad" => (" deg".to_string(), 180.0 / core::f64::consts::PI),
            "" => (String::new(), 1.0),
            unit => (format!(" {unit}"), 1.0),
        };
        let shown = |x: f64| plain(x * scale);
        faults.add(
            field,
            format!("{} is {}{unit}", self.what, shown(value)),
            format!("give {} to {}{unit}; {}", shown(self.min), shown(self.max), self.hint),
        );
        false
    }
}

/// A number as it is told to people: without the last digits that a conversion of units leaves behind.
pub fn plain(x: f64) -> f64 {
    if x.abs() < 1e12 { (x * 1e6).round() / 1e6 } else { x }
}

/// Altimeter settings that are taken, Pa: a pressure beyond was measured at the field rather than reduced to sea level.
pub const ALTIMETER_SETTINGS_PA: core::ops::RangeInclusive<f64> = 90_000.0..=108_000.0;

macro_rules! limits {
    ($($name:ident: $what:literal, $unit:literal, $min:expr, $max:expr, $hint:literal;)*) => {
        $(#[doc = concat!("Accepted ", $what, ".")]
        pub const $name: Limit = Limit { what: $what, unit: $unit, min: $min, max: $max, hint: $hint };)*
        /// Every limit, for descriptions and tests.
        pub const ALL: &[Limit] = &[$($name),*];
    };
}

limits! {
    DIAMETER: "diameter", "m", 0.005, 1.0, "a bare number means metres, so 54 mm is \"54 mm\" or 0.054";
    LENGTH: "length", "m", 0.05, 20.0, "a bare number means metres";
    PART_LENGTH: "length of a part", "m", 0.0, 20.0, "a bare number means metres";
    STATION: "distance from the nose tip", "m", 0.0, 20.0, "measure from the nose tip, in metres";
    MASS: "mass at lift-off", "kg", 0.005, 500.0, "with motor, propellant and parachute; a bare number means kilograms";
    PROPELLANT_MASS: "propellant mass", "kg", 0.0002, 300.0, "of one motor; a bare number means kilograms";
    INERTIA: "transverse moment of inertia", "kg m^2", 1e-7, 1e5, "about the centre of gravity";
    NORMAL_FORCE_SLOPE: "normal-force slope", "per rad", 0.5, 100.0, "per radian, on the largest cross-section";
    DRAG_COEFFICIENT: "drag coefficient", "", 0.02, 3.0, "on the largest cross-section, at zero angle of attack";
    MACH: "Mach number", "", 0.0, 5.0, "airspeed over speed of sound";
    TAIL_FIRST: "tail-first drag factor", "", 0.3, 10.0, "axial force tail first over nose first";
    FIN_SPAN: "fin span", "m", 0.002, 2.0, "of one fin, from the body's surface";
    FIN_CHORD: "fin chord", "m", 0.0, 5.0, "along the body";
    FIN_SWEEP: "fin sweep", "m", -5.0, 5.0, "from the root's leading edge back to the tip's leading edge, along the body";
    FIN_THICKNESS: "fin thickness", "m", 0.0001, 0.1, "a bare number means metres";
    FIN_COUNT: "number of fins in a set", "", 3.0, 8.0, "a set has 3 to 8 equal fins";
    ROUGHNESS: "surface roughness", "m", 0.0, 0.002, "height of the roughness: smooth paint is near 5 um, bare card near 60 um";
    THRUST: "thrust", "N", 0.0, 100_000.0, "newtons";
    CURVE_TIME: "time on the thrust curve", "s", 0.0, 60.0, "seconds from first thrust";
    MOTOR_COUNT: "number of motors", "", 1.0, 12.0, "equal motors lit together";
    SHARE: "share of flights", "", 0.0, 1.0, "between 0 and 1";
    CANOPY_DIAMETER: "canopy diameter", "m", 0.03, 30.0, "of the cloth laid flat; a bare number means metres";
    CANOPY_DRAG: "drag coefficient of the canopy", "", 0.05, 3.0, "on the area of the cloth laid flat; 0.75 is usual for a flat round canopy";
    STREAMER: "side of the streamer", "m", 0.01, 30.0, "a bare number means metres";
    FILL_CONSTANT: "filling constant", "diameters", 1.0, 30.0, "diameters of air path until full; 8 is usual for a flat round canopy";
    HEIGHT: "height above the pad", "m", 0.0, 20_000.0, "above the pad, not above sea level";
    RAIL_LENGTH: "rail length", "m", 0.1, 30.0, "travel until the last guide leaves the rail";
    TILT: "rail tilt", "rad", 0.0, core::f64::consts::FRAC_PI_3 + 1e-9, "from vertical, at most 60 deg: an elevation of 85 deg is a tilt of 5 deg";
    BEARING: "bearing", "rad", 0.0, core::f64::consts::TAU + 1e-9, "clockwise from true north, 0 to 360 deg";
    FRICTION: "friction coefficient", "", 0.0, 1.0, "of guides on the rail";
    LATITUDE: "latitude", "rad", -core::f64::consts::FRAC_PI_2 - 1e-9, core::f64::consts::FRAC_PI_2 + 1e-9, "north positive";
    ELEVATION: "elevation of the field", "m", -450.0, 5000.0, "above sea level";
    PRESSURE: "pressure", "Pa", 45_000.0, 110_000.0, "a bare number means pascals: 1013 hPa is \"1013 hPa\"";
    TEMPERATURE: "air temperature", "K", 223.15, 333.15, "a bare number means kelvins: 20 degrees Celsius is \"20 C\"";
    WIND_SPEED: "wind speed", "m/s", 0.0, 120.0, "a bare number means m/s: 20 mph is \"20 mph\"";
    SURFACE_WIND_SPEED: "surface wind speed", "m/s", 0.0, 40.0, "a bare number means m/s: 20 mph is \"20 mph\"";
    TURBULENCE_WIND: "wind at 20 ft that scales the gusts", "m/s", 0.0, 40.0, "15, 30 and 45 kt are light, moderate and severe turbulence; a bare number means m/s";
    MEASURING_HEIGHT: "measuring height", "m", 0.5, 200.0, "10 m in a weather report, about 2 m for a hand-held instrument";
    WIND_HEIGHT: "height of a wind layer above ground", "m", 0.5, 30_000.0, "above ground: subtract the field's elevation from heights above sea level";
    ROUGHNESS_LENGTH: "roughness length", "m", 0.0001, 3.0, "0.03 m over open grass (Davenport's classes)";
    POWER_EXPONENT: "exponent of the power law", "", 0.02, 0.6, "0.10 over open water, 0.15 over level grass, 0.25 over trees, 0.40 in a city (engineering tables)";
    CORRELATION_LENGTH: "correlation length of the wind error", "m", 50.0, 10_000.0, "height over which errors of the wind agree";
    WIND_ERROR: "standard deviation of the wind", "m/s", 0.0, 15.0, "1.5 m/s is the default";
    WIND_ERROR_GROWTH: "growth of the standard deviation of the wind", "m/s per hour", 0.0, 1.0, "0.04 m/s an hour is the default, 0 for none";
    WIND_MEMBERS: "number of members of the wind", "", 1.0, 200.0, "an ensemble has some 20 to 50";
    WIND_AGE: "age of the wind at launch", "s", 0.0, 14.0 * 86_400.0, "from observation or analysis to launch, at most 14 days: older weather says nothing of the wind";
    DIRECTION_ERROR: "standard deviation of the wind's direction", "rad", 0.0, core::f64::consts::FRAC_PI_4 + 1e-9, "at most 45 deg; beyond that say direction \"variable\"";
    OUT_OF_TOLERANCE: "share of delays outside their tolerance", "", 0.0, 0.5, "0.05 is the default";
    DELAY: "delay", "s", 0.0, 60.0, "seconds from burnout to ejection";
    SPEED_LIMIT: "speed limit", "m/s", 0.5, 200.0, "a bare number means m/s: 35 mph is \"35 mph\"";
    AREA_RADIUS: "radius", "m", 0.5, 50_000.0, "a bare number means metres";
    PLACE: "distance from the pad", "m", -100_000.0, 100_000.0, "metres east and north of the pad";
    PEOPLE: "number of people", "", 0.0, 1_000_000.0, "people in the area, evenly spread";
    FLIGHTS: "number of flights", "", 64.0, 1_000_000.0, "2000 is a good start; more flights narrow the interval";
    MOST_FLIGHTS: "number of flights at most", "", 256.0, 1_000_000.0, "intervals are looked at after 256, 512, 1024 ... flights and after the most";
    HALF_WIDTH: "half-width of the intervals", "", 0.0001, 0.1, "0.005 ends the flights when every chance is known to half a point either way";
    DRIVERS: "number of base flights for the drivers", "", 256.0, 16_384.0, "1024 is a good start; each is flown fifteen times";
    RARE_FLIGHTS: "number of flights that are counted", "", 1024.0, 262_144.0, "8192 is a good start; up to 8192 more seek it";
    NOSE_MASS: "mass of the nose section", "kg", 0.001, 400.0, "what comes off with the nose; a bare number means kilograms";
    DRAG_AREA: "drag area", "m^2", 0.0, 5.0, "drag coefficient times area; a bare number means square metres";
    ARRANGEMENT_COUNT: "number of cord arrangements", "", 1.0, 6.0, "the first is what the others are compared with";
    RUN_COUNT: "number of runs side by side", "", 1.0, 4.0, "a run goes from one anchor to the other";
    PART_COUNT: "number of parts in a run", "", 1.0, 6.0, "parts one after the other";
    CORD_LENGTH: "length of cord", "m", 0.02, 100.0, "before it is stretched; a bare number means metres";
    CORD_STRENGTH: "strength of cord", "N", 1.0, 1e6, "tension at which it breaks; a bare number means newtons";
    CORD_STIFFNESS: "stiffness of cord", "N", 1.0, 1e8, "newtons per strain: what would stretch it to twice its length if it stayed as stiff";
    LOSS_FACTOR: "loss factor", "", 0.0, 1.5, "0.1 is the default: a damping of 5 % of critical";
    LOCK_STRAIN: "strain at which a part locks", "", 0.005, 20.0, "stretch over length: 1 means that it locks at twice its length";
    EDGE_WIDTH: "bearing width on the edge", "m", 0.0002, 1.0, "of one leg; a bare number means metres, so 6 mm is \"6 mm\"";
    LEGS: "number of legs", "", 1.0, 8.0, "legs that share the tension: a harness has two";
    WALL_THICKNESS: "thickness of the wall", "m", 0.0001, 0.05, "a bare number means metres, so 1.5 mm is \"1.5 mm\"";
    WALL_RESISTANCE: "load that the edge bears", "N/m", 100.0, 1e8, "per bearing width: 50 N/mm is \"50 N/mm\"";
    LOG_SD: "standard deviation of the logarithm", "", 0.0, 2.0, "0.5 means a factor of 1.65 either way";
    FLOWN_COUNT: "number of flights flown", "", 1.0, 40.0, "each is flown again thousands of times in its conditions";
    CALIBRATION_FLIGHTS: "number of flights drawn for the conditions of each flight flown", "", 1024.0, 131_072.0, "8192 is a good start";
    BIAS_SHARE: "share of bias", "", 0.05, 0.95, "0.5 is the default: half of the variance is the same in every flight";
    LOGGED_APOGEE: "logged apogee", "m", 1.0, 18_000.0, "above the pad; a bare number means metres";
    LOGGED_TIME: "logged time", "s", 0.05, 600.0, "from first thrust; a bare number means seconds";
    LOGGED_SPEED: "logged opening speed", "m/s", 0.1, 300.0, "airspeed as the charge fires; a bare number means m/s";
    LOGGED_HEIGHT_ERROR: "standard error of a logged apogee", "m", 0.1, 1000.0, "of the instrument and of this model together";
    LOGGED_TIME_ERROR: "standard error of a logged time", "s", 0.01, 60.0, "of the instrument and of this model together";
    LOGGED_SPEED_ERROR: "standard error of a logged speed", "m/s", 0.1, 100.0, "of the instrument and of this model together";
    LIMIT_COUNT: "number of speed limits", "", 1.0, 12.0, "airspeeds that an opening is held against";
    CONDITION_CHANCE: "chance of the condition", "", 0.0001, 0.9999, "0.02 means 2 % of flights";
    DELAY_COUNT: "number of delays", "", 1.0, 32.0, "each costs a descent per flight";
}
