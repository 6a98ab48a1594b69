//! What is refused, with the remedy: ranges one by one, then what contradicts each other.

use super::inputs::*;
use super::shape::Shape;
use super::{Aero, Field, MassModel, Nominal, RecoveryPlan, Spread, calibration, cords, patches, spread};
use crate::air;
use crate::constants::{SEA_LEVEL_PRESSURE_PA, STANDARD_GRAVITY_M_S2};
use crate::fault::{Fault, Faults};
use crate::flight::Electronics;
use crate::limits::{self, Limit, plain};
use crate::thrust::ThrustCurve;
use crate::wind::{Descent, Direction, Gustiness, Layer, SurfaceLaw, SurfaceWind};

pub(super) fn one(limit: Limit, field: &str, value: f64, faults: &mut Faults) {
    if value.is_nan() {
        faults.no_number.push(Fault::new(field, format!("{} is no number", limit.what), limit.hint));
    } else if !faults.touches(field) {
        limit.check(field, value, faults);
    }
}

pub(super) fn maybe(limit: Limit, field: &str, value: Option<f64>, faults: &mut Faults) {
    if let Some(v) = value {
        one(limit, field, v, faults);
    }
}

/// Every number against its own range.
pub fn ranges(inputs: &Inputs, faults: &mut Faults) {
    airframe(&inputs.airframe, faults);
    motor(&inputs.motor, faults);
    device(&inputs.recovery.first, "card.recovery.first", faults);
    if let Some((main, height)) = &inputs.recovery.main {
        device(main, "card.recovery.main", faults);
        one(limits::HEIGHT, "card.recovery.main_height", *height, faults);
    }
    let l = &inputs.launch;
    one(limits::RAIL_LENGTH, "launch.rail_length", l.rail_length_m, faults);
    maybe(limits::TILT, "launch.tilt", l.tilt_rad, faults);
    maybe(limits::BEARING, "launch.azimuth", l.azimuth_rad, faults);
    maybe(limits::FRICTION, "launch.friction", l.friction, faults);
    maybe(limits::STATION, "launch.forward_guide", l.forward_guide_m, faults);
    maybe(limits::STATION, "launch.aft_guide", l.aft_guide_m, faults);
    site(&inputs.site, faults);
    wind(&inputs.wind, faults);
    failures(inputs, faults);
    if let Some(asked) = &inputs.cords {
        cords::ranges(asked, faults);
    }
    if let Some(asked) = &inputs.calibration {
        calibration::ranges(asked, faults);
    }
    spread::check(&inputs.spread, inputs.wind.age_s, faults);
    question(&inputs.question, inputs.site.areas.len(), faults);
}

fn airframe(a: &AirframeInput, faults: &mut Faults) {
    one(limits::DIAMETER, "card.airframe.diameter", a.diameter_m, faults);
    one(limits::LENGTH, "card.airframe.length", a.length_m, faults);
    one(limits::MASS, "card.airframe.mass", a.mass_kg, faults);
    one(limits::STATION, "card.airframe.centre_of_gravity", a.centre_of_gravity_m, faults);
    maybe(limits::STATION, "card.airframe.centre_of_gravity_burnout", a.centre_of_gravity_burnout_m, faults);
    maybe(limits::INERTIA, "card.airframe.pitch_inertia", a.inertia_kg_m2, faults);
    maybe(limits::INERTIA, "card.airframe.pitch_inertia_burnout", a.inertia_burnout_kg_m2, faults);
    maybe(limits::STATION, "card.airframe.centre_of_pressure", a.centre_of_pressure_m, faults);
    maybe(limits::NORMAL_FORCE_SLOPE, "card.airframe.normal_force_slope", a.normal_force_slope_per_rad, faults);
    maybe(limits::TAIL_FIRST, "card.airframe.tail_first_factor", a.tail_first_factor, faults);
    match &a.drag {
        Some(crate::aero::Drag::Coefficient(c)) => {
            one(limits::DRAG_COEFFICIENT, "card.airframe.drag_coefficient", *c, faults);
        }
        Some(crate::aero::Drag::Table(rows)) => {
            let field = "card.airframe.drag_table";
            if rows.is_empty() || rows.len() > 200 {
                faults.add(
                    field,
                    format!("it has {} rows", rows.len()),
                    "give 1 to 200 rows of Mach number and coefficient",
                );
            }
            for (i, (mach, c)) in rows.iter().enumerate() {
                one(limits::MACH, &format!("{field}.{i}.mach"), *mach, faults);
                one(limits::DRAG_COEFFICIENT, &format!("{field}.{i}.drag_coefficient"), *c, faults);
            }
            if rows.windows(2).any(|w| w[1].0 <= w[0].0) {
                faults.add(field, "the Mach numbers do not rise from row to row", "sort the rows and drop double ones");
            }
            if rows.last().is_some_and(|r| r.0 < 0.3) {
                faults.add(
                    field,
                    "it ends below Mach 0.3, and faster flights would lie outside the model",
                    "carry the table on to the fastest flight, or give one drag_coefficient",
                );
            }
        }
        None => {}
    }
    if let Some(shape) = &a.shape {
        outside(shape, a, faults);
        return;
    }
    let without = "give it as measured or published, or describe the outside under \"shape\"";
    if a.centre_of_pressure_m.is_none()
        && !faults.touches("card.airframe.centre_of_pressure")
        && !faults.touches("card.airframe.shape")
    {
        faults.add("card.airframe.centre_of_pressure", "it is missing", without);
    }
    if a.drag.is_none()
        && !faults.touches("card.airframe.drag_coefficient")
        && !faults.touches("card.airframe.drag_table")
        && !faults.touches("card.airframe.shape")
    {
        faults.add("card.airframe.drag_coefficient", "it is missing", without);
    }
}

fn outside(s: &Shape, a: &AirframeInput, faults: &mut Faults) {
    let root = "card.airframe.shape";
    let thickest = a.diameter_m * 1.001;
    let width = |field: String, d: f64, faults: &mut Faults| {
        one(limits::DIAMETER, &field, d, faults);
        if d > thickest && !faults.touches(&field) {
            faults.add(
                field,
                format!("{d} m is more than the rocket's diameter of {} m", a.diameter_m),
                "card.airframe.diameter is the largest diameter of the body: mend one of the two",
            );
        }
    };
    let positive = Limit { min: 0.001, ..limits::PART_LENGTH };
    one(positive, &format!("{root}.nose.length"), s.nose.length_m, faults);
    width(format!("{root}.nose.base_diameter"), s.nose.base_diameter_m, faults);
    if s.nose.length_m >= a.length_m {
        faults.add(
            format!("{root}.nose.length"),
            "the nose is as long as the whole rocket",
            "measure the nose alone, without its shoulder",
        );
    }
    let mut end = s.nose.length_m;
    let mut widest = s.nose.base_diameter_m;
    for (i, t) in s.transitions.iter().enumerate() {
        let at = format!("{root}.shoulders_and_boattails.{i}");
        one(limits::STATION, &format!("{at}.station"), t.station_m, faults);
        one(positive, &format!("{at}.length"), t.length_m, faults);
        width(format!("{at}.front_diameter"), t.front_diameter_m, faults);
        width(format!("{at}.rear_diameter"), t.rear_diameter_m, faults);
        if t.station_m < end - 1e-6 {
            faults.add(
                format!("{at}.station"),
                format!("it begins {} m from the nose tip, inside the part before it", t.station_m),
                "list shoulders and boattails from front to back",
            );
        }
        end = t.station_m + t.length_m;
        if end > a.length_m * 1.001 {
            faults.add(
                format!("{at}.length"),
                "it ends behind the tail of the rocket",
                "check station and length against card.airframe.length",
            );
        }
        widest = widest.max(t.rear_diameter_m);
    }
    if widest < 0.98 * a.diameter_m {
        faults.add(
            format!("{root}.nose.base_diameter"),
            format!("no part of the shape is as wide as the rocket's diameter of {} m", a.diameter_m),
            "card.airframe.diameter is the largest diameter of the body: mend one of the two",
        );
    }
    if s.fin_sets.is_empty() && !faults.touches(&format!("{root}.fins")) {
        faults.add(
            format!("{root}.fins"),
            "there is no set of fins",
            "describe at least one set, or give centre_of_pressure and drag instead of the shape",
        );
    }
    for (i, f) in s.fin_sets.iter().enumerate() {
        let at = format!("{root}.fins.{i}");
        one(limits::FIN_COUNT, &format!("{at}.count"), f.count as f64, faults);
        one(Limit { min: 0.002, ..limits::FIN_CHORD }, &format!("{at}.root_chord"), f.root_chord_m, faults);
        one(limits::FIN_CHORD, &format!("{at}.tip_chord"), f.tip_chord_m, faults);
        one(limits::FIN_SPAN, &format!("{at}.span"), f.span_m, faults);
        one(limits::FIN_SWEEP, &format!("{at}.sweep"), f.sweep_m, faults);
        one(limits::FIN_THICKNESS, &format!("{at}.thickness"), f.thickness_m, faults);
        one(limits::STATION, &format!("{at}.station"), f.station_m, faults);
        width(format!("{at}.body_diameter"), f.body_diameter_m, faults);
        if f.station_m + f.root_chord_m > a.length_m * 1.05 {
            faults.add(
                format!("{at}.station"),
                "the root chord ends behind the tail of the rocket",
                "station is the root's leading edge, from the nose tip",
            );
        }
        if f.thickness_m > 0.5 * f.root_chord_m {
            faults.add(
                format!("{at}.thickness"),
                "the fin is thicker than half its root chord",
                "a bare number means metres: 3 mm is \"3 mm\"",
            );
        }
    }
    one(limits::ROUGHNESS, &format!("{root}.roughness"), s.roughness_m, faults);
    let area = Limit { what: "area", unit: "m^2", min: 0.0, max: 0.5, hint: "a bare number means square metres" };
    for (i, g) in s.guides.iter().enumerate() {
        one(limits::STATION, &format!("{root}.guides.{i}.station"), g.station_m, faults);
        one(area, &format!("{root}.guides.{i}.frontal_area"), g.frontal_area_m2, faults);
        one(area, &format!("{root}.guides.{i}.wetted_area"), g.wetted_area_m2, faults);
    }
}

/// Times of a thrust curve nearer than this are no curve: impulse would be lost in rounding, or be none at all.
const LEAST_RISE_S: f64 = 1e-6;

fn motor(m: &MotorInput, faults: &mut Faults) {
    maybe(limits::PROPELLANT_MASS, "card.motor.propellant_mass", m.propellant_kg, faults);
    maybe(limits::DIAMETER, "card.motor.diameter", m.diameter_m, faults);
    maybe(Limit { min: 0.01, ..limits::PART_LENGTH }, "card.motor.length", m.length_m, faults);
    maybe(limits::STATION, "card.motor.propellant_centre", m.propellant_centre_m, faults);
    one(limits::MOTOR_COUNT, "card.motor.count", m.count as f64, faults);
    maybe(Limit { min: 0.0, ..limits::DIAMETER }, "card.motor.ring_radius", m.ring_radius_m, faults);
    maybe(limits::SHARE, "card.motor.one_unlit_share", m.one_unlit_share, faults);
    let ThrustInput::Curve(points) = &m.thrust else { return };
    let field = "card.motor.thrust_curve";
    if faults.touches(field) {
        return;
    }
    if points.len() < 3 || points.len() > 400 {
        faults.add(
            field,
            format!("it has {} points", points.len()),
            "give 3 to 400 pairs of seconds and newtons, ending at zero thrust",
        );
        return;
    }
    for (i, (t, f)) in points.iter().enumerate() {
        one(limits::CURVE_TIME, &format!("{field}.{i}.0"), *t, faults);
        one(limits::THRUST, &format!("{field}.{i}.1"), *f, faults);
    }
    if points[0].0 != 0.0 {
        faults.add(field, format!("it begins at {} s", points[0].0), "begin at 0 s, the instant of first thrust");
    }
    if let Some(w) = points.windows(2).position(|w| w[1].0 - w[0].0 < LEAST_RISE_S) {
        let (before_s, time_s) = (points[w].0, points[w + 1].0);
        let how = if time_s > before_s { "comes less than a microsecond after" } else { "does not come after" };
        faults.add(
            format!("{field}.{}.0", w + 1),
            format!("{time_s} s {how} {before_s} s"),
            "times must rise; put a jump of thrust into two points 0.001 s apart",
        );
    }
    if points.iter().all(|p| p.1 <= 0.0) {
        faults.add(field, "there is no thrust at all", "the second column is thrust in newtons");
    }
    if points.last().is_some_and(|p| p.1 > 0.0) {
        faults.add(
            field,
            "it does not end at zero thrust",
            "add a last point with the time at which thrust ends and 0 N",
        );
    }
}

fn device(d: &Device, field: &str, faults: &mut Faults) {
    match *d {
        Device::Parachute { diameter_m, drag_coefficient, fill_constant } => {
            one(limits::CANOPY_DIAMETER, &format!("{field}.diameter"), diameter_m, faults);
            maybe(limits::CANOPY_DRAG, &format!("{field}.drag_coefficient"), drag_coefficient, faults);
            maybe(limits::FILL_CONSTANT, &format!("{field}.fill_constant"), fill_constant, faults);
        }
        Device::Streamer { length_m, width_m, drag_coefficient } => {
            one(limits::STREAMER, &format!("{field}.length"), length_m, faults);
            one(limits::STREAMER, &format!("{field}.width"), width_m, faults);
            maybe(limits::CANOPY_DRAG, &format!("{field}.drag_coefficient"), drag_coefficient, faults);
        }
        Device::Tumble | Device::None => {}
    }
}

/// Denser no crowd stands, people per m^2 (crowds are crushed from about 5 or 6 on: common practice).
const MOST_PER_M2: f64 = 6.0;

fn site(s: &SiteInput, faults: &mut Faults) {
    maybe(limits::LATITUDE, "site.latitude", s.latitude_rad, faults);
    maybe(limits::ELEVATION, "site.elevation", s.elevation_m, faults);
    maybe(limits::TEMPERATURE, "site.temperature", s.temperature_k, faults);
    maybe(limits::HEIGHT, "site.ceiling", s.ceiling_m, faults);
    match s.pressure {
        Some(PressureInput::Station(p)) => one(limits::PRESSURE, "site.station_pressure", p, faults),
        Some(PressureInput::AltimeterSetting(p)) => one(limits::PRESSURE, "site.altimeter_setting", p, faults),
        None => {}
    }
    if s.areas.len() > 50 {
        faults.add("site.areas", format!("there are {} areas", s.areas.len()), "give at most 50");
    }
    for (i, area) in s.areas.iter().enumerate() {
        let at = format!("site.areas.{i}");
        match &area.outline {
            Outline::Circle { centre_m, radius_m } => {
                one(limits::PLACE, &format!("{at}.circle.east"), centre_m[0], faults);
                one(limits::PLACE, &format!("{at}.circle.north"), centre_m[1], faults);
                one(limits::AREA_RADIUS, &format!("{at}.circle.radius"), *radius_m, faults);
            }
            Outline::Polygon(corners) => {
                if corners.len() < 3 || corners.len() > 500 {
                    faults.add(
                        format!("{at}.polygon"),
                        format!("it has {} corners", corners.len()),
                        "give 3 to 500 corners, metres east and north of the pad",
                    );
                }
                if corners.len() >= 3 && corners.len() <= 500 {
                    if crosses_itself(corners) {
                        faults.add(
                            format!("{at}.polygon"),
                            "its outline crosses itself",
                            "list the corners in order round the area",
                        );
                    } else if area.outline.area_m2() < patches::LEAST_AREA_M2 {
                        faults.add(
                            format!("{at}.polygon"),
                            format!("it encloses {:.2} m^2", area.outline.area_m2()),
                            "corners are metres east and north of the pad, not degrees",
                        );
                    }
                }
                for (k, c) in corners.iter().enumerate() {
                    one(limits::PLACE, &format!("{at}.polygon.{k}.0"), c[0], faults);
                    one(limits::PLACE, &format!("{at}.polygon.{k}.1"), c[1], faults);
                }
            }
            Outline::Patches(patches) => patches::check(&at, patches, faults),
        }
        maybe(limits::PEOPLE, &format!("{at}.people"), area.people, faults);
        // Of an outline that could not be read nothing is known.
        let area_m2 = area.outline.area_m2();
        if area_m2 > 0.0
            && area.people.is_some_and(|people| people > MOST_PER_M2 * area_m2)
            && !faults.touches(&format!("{at}.people"))
        {
            faults.add(
                format!("{at}.people"),
                format!("they are more than {MOST_PER_M2} on every square metre of {area_m2:.0} m^2"),
                "give the number of people in the whole area, and corners or radius in metres",
            );
        }
        if s.areas[..i].iter().any(|b| b.name == area.name) && !faults.touches(&format!("{at}.name")) {
            faults.add(
                format!("{at}.name"),
                format!("two areas are called \"{}\"", area.name),
                "give each its own name",
            );
        }
    }
}

/// Shares of failures; those that this rocket cannot have are refused, so that none is taken for counted.
fn failures(inputs: &Inputs, faults: &mut Faults) {
    let mut all = 0.0;
    for (failure, share) in &inputs.failures {
        let field = format!("failures.{}", failure.name());
        one(limits::SHARE, &field, *share, faults);
        all += share;
        if *share > 0.0 && !inputs.question.ways.iter().any(|way| super::Case::fails_so(inputs, *failure, way)) {
            faults.add(
                field,
                "in none of the ways asked can this rocket fail so",
                "leave it out, or give what it takes: a canopy or streamer, a main canopy, a motor delay",
            );
        }
    }
    // A whole of rounded shares is a whole.
    if all > 1.0 + 1e-9 && !faults.touches("failures") {
        faults.add(
            "failures",
            format!("the shares add up to {}", limits::plain(all)),
            "a flight has one failure at most: give shares that add up to 1 or less",
        );
    }
}

/// The wind by itself.
pub fn wind(w: &WindInput, faults: &mut Faults) {
    maybe(limits::WIND_AGE, "wind.age", w.age_s, faults);
    one(limits::WIND_MEMBERS, "wind.members", 1.0 + w.others.len() as f64, faults);
    if let Some(Gustiness::WindAt20Ft(wind_m_s)) = w.gustiness {
        one(limits::TURBULENCE_WIND, "wind.turbulence_wind_at_20_ft", wind_m_s, faults);
    }
    match w.law {
        Some(SurfaceLaw::Log { roughness_m }) => {
            one(limits::ROUGHNESS_LENGTH, "wind.roughness_length", roughness_m, faults);
        }
        Some(SurfaceLaw::Power { exponent }) => one(limits::POWER_EXPONENT, "wind.power_exponent", exponent, faults),
        None => {}
    }
    member(w.surface, &w.layers, w.law, "wind", faults);
    for (k, other) in w.others.iter().enumerate() {
        member(other.surface, &other.layers, w.law, &format!("wind.members.{}", k + 1), faults);
    }
}

/// One wind, at its place.
fn member(surface: Option<SurfaceWind>, layers: &[Layer], law: Option<SurfaceLaw>, at: &str, faults: &mut Faults) {
    let place = |name: &str| format!("{at}.{name}");
    if surface.is_none() && layers.is_empty() && !faults.touches(at) {
        faults.add(
            at,
            "no wind is given",
            "give wind.surface (speed, direction, measuring_height) or wind.layers; calm is never assumed: a calm day is a speed of 0",
        );
    }
    if let Some(s) = surface {
        one(limits::SURFACE_WIND_SPEED, &place("surface.speed"), s.speed_m_s, faults);
        one(limits::MEASURING_HEIGHT, &place("surface.measuring_height"), s.measuring_height_m, faults);
        maybe(limits::SURFACE_WIND_SPEED, &place("surface.gust"), s.gust_m_s, faults);
        if let Direction::From(rad) = s.direction {
            one(limits::BEARING, &place("surface.direction"), rad, faults);
        }
        if s.gust_m_s.is_some_and(|g| g < s.speed_m_s) && !faults.touches(&place("surface.gust")) {
            faults.add(
                place("surface.gust"),
                "the gust is slower than the mean wind",
                "gust is the peak speed, not its excess over the mean",
            );
        }
    }
    if let Some(SurfaceLaw::Log { roughness_m }) = law {
        let lowest = surface.map(|s| s.measuring_height_m).or(layers.first().map(|l| l.height_above_ground_m));
        if lowest.is_some_and(|z| z < 3.0 * roughness_m) && !faults.touches("wind") {
            faults.add(
                "wind.roughness_length",
                format!("the wind was measured lower than three times the roughness length of {roughness_m} m, where the law does not hold"),
                "measure higher up, or choose the terrain that surrounds the instrument",
            );
        }
    }
    if layers.len() > 200 {
        faults.add(place("layers"), format!("there are {} layers", layers.len()), "give at most 200");
    }
    for (i, l) in layers.iter().enumerate() {
        let layer = |name: &str| format!("{at}.layers.{i}.{name}");
        one(limits::WIND_HEIGHT, &layer("height_above_ground"), l.height_above_ground_m, faults);
        one(limits::WIND_SPEED, &layer("speed"), l.speed_m_s, faults);
        one(limits::BEARING, &layer("direction"), l.direction_from_rad, faults);
    }
    if layers.windows(2).any(|p| p[1].height_above_ground_m <= p[0].height_above_ground_m)
        && !faults.touches(&place("layers"))
    {
        faults.add(
            place("layers"),
            "the heights do not rise from layer to layer",
            "sort the layers from the ground up and drop double ones",
        );
    }
}

fn question(q: &Question, areas: usize, faults: &mut Faults) {
    one(limits::DELAY_COUNT, "delays", q.ways.len() as f64, faults);
    one(limits::LIMIT_COUNT, "limits.deploy_speed", q.limits_m_s.len() as f64, faults);
    match q.until_half_width {
        None => one(limits::FLIGHTS, "flights", q.flights as f64, faults),
        Some(half_width) => {
            one(limits::HALF_WIDTH, "until.half_width", half_width, faults);
            one(limits::MOST_FLIGHTS, "until.within", q.flights as f64, faults);
        }
    }
    maybe(limits::DRIVERS, "drivers", q.drivers.map(|n| n as f64), faults);
    for (i, rare) in q.rare.iter().enumerate() {
        one(limits::RARE_FLIGHTS, &format!("rare.{i}.flights"), rare.flights as f64, faults);
        let field = format!("rare.{i}");
        if rare.way.is_some_and(|way| way >= q.ways.len()) && !faults.touches(&field) {
            faults.add(
                &field,
                "it is none of the ways of deploying",
                "name one of delays and electronics, or leave it out",
            );
        }
        let known = match rare.event {
            RareEvent::LandsIn(area) => area < areas,
            RareEvent::OpensOver(limit) => limit < q.limits_m_s.len(),
        };
        if !known && !faults.touches(&field) {
            faults.add(&field, "it is none of site.areas, none of limits.deploy_speed", "name one of them");
        }
    }
    for (i, v) in q.limits_m_s.iter().enumerate() {
        one(limits::SPEED_LIMIT, &format!("limits.deploy_speed.{i}"), *v, faults);
    }
    let motors = q.ways.iter().filter(|w| w.electronics.is_none());
    for (i, way) in motors.enumerate() {
        maybe(limits::DELAY, &format!("delays.{i}"), way.motor_delay_s, faults);
    }
    for (i, way) in q.ways.iter().filter(|w| w.electronics.is_some()).enumerate() {
        maybe(limits::DELAY, &format!("electronics.{i}.backup_delay"), way.motor_delay_s, faults);
        if let Some(Electronics::Height(h)) = way.electronics {
            one(Limit { min: 5.0, ..limits::HEIGHT }, &format!("electronics.{i}.height"), h, faults);
        }
    }
    if let Some(c) = q.accept_chance {
        one(limits::CONDITION_CHANCE, "condition.chance", c, faults);
    }
    if q.accept_limit >= q.limits_m_s.len().max(1) && !faults.touches("condition") {
        faults.add("condition.limit", "it is none of limits.deploy_speed", "repeat one of the limits exactly");
    }
}

/// What is wrong only beside something else.
pub fn contradictions(inputs: &Inputs, faults: &mut Faults) {
    let a = &inputs.airframe;
    let mut say = |when: bool, field: &str, problem: String, remedy: &str| {
        if when && !faults.touches(field) {
            faults.add(field, problem, remedy);
        }
    };
    say(
        a.diameter_m > a.length_m / 3.0,
        "card.airframe.diameter",
        format!(
            "a diameter of {} m for a length of {} m is no rocket that this model can fly",
            a.diameter_m, a.length_m
        ),
        "check the units of both: the body must be at least three diameters long",
    );
    for (field, x) in [
        ("card.airframe.centre_of_gravity", Some(a.centre_of_gravity_m)),
        ("card.airframe.centre_of_gravity_burnout", a.centre_of_gravity_burnout_m),
        ("card.airframe.centre_of_pressure", a.centre_of_pressure_m),
    ] {
        say(
            x.is_some_and(|x| x >= a.length_m),
            field,
            format!(
                "it lies {} m from the nose tip, behind the end of a rocket {} m long",
                x.unwrap_or(0.0),
                a.length_m
            ),
            "measure from the nose tip, in the same units as the length",
        );
    }
    say(
        // Behind the tail it has been told already.
        a.centre_of_gravity_m < a.length_m && a.centre_of_pressure_m.is_some_and(|cp| cp <= a.centre_of_gravity_m),
        "card.airframe.centre_of_pressure",
        unstable(a.centre_of_pressure_m.unwrap_or(0.0), a.centre_of_gravity_m),
        UNSTABLE_REMEDY,
    );
    let weight = a.mass_kg * STANDARD_GRAVITY_M_S2;
    let peak = inputs.motor.count as f64
        * match &inputs.motor.thrust {
            ThrustInput::Curve(points) => ThrustCurve::new(points.clone()).peak_n(),
            ThrustInput::Code { class_upper_n_s, average_n } => {
                ThrustCurve::generic(*class_upper_n_s, *average_n).peak_n()
            }
        };
    say(
        peak > 0.0 && peak <= weight,
        "card.motor.thrust_curve",
        format!("the peak thrust of {:.1} N never lifts the {} kg, which weigh {weight:.1} N", peak, plain(a.mass_kg)),
        "check thrust in newtons, the mass in kilograms and the number of motors",
    );
    let m = &inputs.motor;
    say(
        m.length_m.is_some_and(|l| l > a.length_m),
        "card.motor.length",
        format!("the motor is longer than the rocket of {} m", plain(a.length_m)),
        "check the units of both",
    );
    say(
        m.diameter_m.is_some_and(|d| d > a.diameter_m),
        "card.motor.diameter",
        format!("the motor is wider than the rocket of {} m", plain(a.diameter_m)),
        "check the units of both",
    );
    let s = &inputs.site;
    let elevation = s.elevation_m.unwrap_or(0.0);
    match s.pressure {
        Some(PressureInput::Station(p)) => {
            let usual = air::station_pressure_pa(SEA_LEVEL_PRESSURE_PA, elevation);
            say(
                s.elevation_m.is_some_and(f64::is_finite) && (p - usual).abs() > 6500.0,
                "site.station_pressure",
                format!(
                    "{:.0} hPa at an elevation of {} m is {:.0} hPa off the standard atmosphere's {:.0} hPa",
                    p / 100.0,
                    plain(elevation),
                    (p - usual).abs() / 100.0,
                    usual / 100.0
                ),
                "if it comes from a weather report (Q or A group) it is reduced to sea level: send it as altimeter_setting; otherwise check the elevation",
            );
        }
        Some(PressureInput::AltimeterSetting(p)) => say(
            !limits::ALTIMETER_SETTINGS_PA.contains(&p),
            "site.altimeter_setting",
            format!("{:.0} hPa is no altimeter setting seen on Earth's weather maps", p / 100.0),
            "if it was measured at the field, send it as station_pressure",
        ),
        None => {}
    }
    let l = &inputs.launch;
    if let (Some(f), Some(r)) = (l.forward_guide_m, l.aft_guide_m) {
        say(
            f > r,
            "launch.forward_guide",
            "it lies behind the aft guide".into(),
            "both are measured from the nose tip",
        );
    }
    say(
        l.aft_guide_m.is_some_and(|x| x > 1.1 * a.length_m),
        "launch.aft_guide",
        "it lies behind the tail of the rocket".into(),
        "measure from the nose tip",
    );
    say(
        l.aft_guide_m.is_some_and(|x| x < a.centre_of_gravity_m),
        "launch.aft_guide",
        "it lies ahead of the centre of gravity, so the rocket would hang from it tail down".into(),
        "give the rearmost guide, from the nose tip",
    );
    for (field, device, below) in [
        ("card.recovery.first.diameter", Some(inputs.recovery.first), 0.8),
        ("card.recovery.main.diameter", inputs.recovery.main.map(|m| m.0), 0.8),
    ] {
        if let Some(Device::Parachute { diameter_m, .. }) = device {
            say(
                diameter_m < below * a.diameter_m,
                field,
                format!("a canopy of {diameter_m} m is smaller than the body of {} m", a.diameter_m),
                "give the diameter of the cloth laid flat, with its unit",
            );
        }
    }
    say(
        matches!(inputs.recovery.main, Some((Device::None | Device::Tumble, _))),
        "card.recovery.main.kind",
        "nothing would open at the main's height".into(),
        "give a parachute or a streamer, or leave main out",
    );
    say(
        inputs.recovery.main.is_some() && matches!(inputs.recovery.first, Device::None),
        "card.recovery.first.kind",
        "nothing opens first, but a main canopy follows".into(),
        "say \"tumble\" when the first event only parts the rocket",
    );
}

/// Whether the filled-in rocket flies nose first.
pub fn stability(inputs: &Inputs, aero: &Aero, nominal: &Nominal, faults: &mut Faults) {
    let a = &inputs.airframe;
    if nominal.margin_calibres <= 0.0 {
        let field = if a.centre_of_pressure_m.is_none() { "centre_of_gravity" } else { "centre_of_pressure" };
        faults.add(
            format!("card.airframe.{field}"),
            unstable(aero.centre_of_pressure_m(), a.centre_of_gravity_m),
            UNSTABLE_REMEDY,
        );
    }
}

/// Whether every draw leaves a rocket, and what opens fits it.
pub fn masses(
    inputs: &Inputs,
    mass: &MassModel,
    spread: &Spread,
    recovery: &RecoveryPlan,
    field: &Field,
    faults: &mut Faults,
) {
    let a = &inputs.airframe;
    let lightest = spread.mass.reach().0 * a.mass_kg;
    if lightest - mass.propellant_kg < 0.05 * a.mass_kg {
        faults.add(
            "spread.mass",
            format!("the lightest of a million draws weighs {lightest:.3} kg, hardly more than the propellant"),
            "narrow it or use a truncated law",
        );
    }
    if let Some(asked) = &inputs.cords {
        cords::fits(asked, inputs, lightest - mass.propellant_kg, faults);
    }
    let (forward, aft) = spread.centre_of_gravity.reach();
    if mass.dry_cg_m + 2.0 * forward <= 0.0 || mass.dry_cg_m + 2.0 * aft >= a.length_m {
        faults.add(
            "spread.centre_of_gravity",
            "its draws reach beyond the ends of the rocket",
            "it is an error in metres; narrow it",
        );
    }
    let density = air::standard(air::geopotential_m(field.elevation_m)).density_kg_m3;
    let opening = [("card.recovery.first", Some(recovery.first)), ("card.recovery.main", recovery.main.map(|m| m.0))];
    for (name, canopy) in opening.into_iter().filter_map(|(name, c)| Some((name, c?))) {
        let body = Descent { mass_kg: mass.dry_mass_kg, drag_area_m2: canopy.drag_area_m2.max(1e-12) };
        let rate = body.rate_m_s(density, STANDARD_GRAVITY_M_S2);
        if rate < SLOWEST_DESCENT_M_S {
            faults.add(
                format!("{name}.diameter"),
                format!(
                    "under {:.1} m^2 of drag area the {} kg left after burnout would sink at {rate:.2} m/s",
                    canopy.drag_area_m2,
                    plain(mass.dry_mass_kg)
                ),
                "check the unit of its size: a bare number means metres, so 24 inches is \"24 in\"",
            );
        }
    }
}

/// Nothing that recovers a rocket sinks more slowly than this, m/s: usual are 3 to 6 m/s.
const SLOWEST_DESCENT_M_S: f64 = 0.8;

const UNSTABLE_REMEDY: &str = "measure both from the nose tip; a rocket needs its centre of gravity at least one diameter ahead of its centre of pressure (nose weight, larger fins)";

fn unstable(centre_of_pressure_m: f64, centre_of_gravity_m: f64) -> String {
    format!(
        "the centre of pressure ({centre_of_pressure_m:.3} m from the nose tip) is not behind the centre of gravity ({centre_of_gravity_m:.3} m): this rocket is unstable"
    )
}

/// Whether an outline crosses itself or goes round twice. A few hundred corners at most, so every pair is looked at.
pub(super) fn crosses_itself(corners: &[[f64; 2]]) -> bool {
    let n = corners.len();
    let edge = |i: usize| [corners[i], corners[(i + 1) % n]];
    (0..n).any(|i| {
        let e = edge(i);
        // What goes round twice is its own edge again.
        let again = |j: usize| edge(j) == e && e[0] != e[1];
        // Neighbours share a corner.
        let apart = |j: usize| j != i + 1 && !(i == 0 && j == n - 1);
        (i + 1..n).any(|j| again(j) || (apart(j) && crossing(e, edge(j), 0.0)))
    })
}

/// Whether two edges go across each other: each has an end on either side of the other's line, farther from it than
/// `near_m`.
pub(super) fn crossing(e: [[f64; 2]; 2], f: [[f64; 2]; 2], near_m: f64) -> bool {
    let across = |[a, b]: [[f64; 2]; 2], [c, d]: [[f64; 2]; 2]| {
        let along = [b[0] - a[0], b[1] - a[1]];
        let side = |p: [f64; 2]| along[0] * (p[1] - a[1]) - along[1] * (p[0] - a[0]);
        let (of_c, of_d) = (side(c), side(d));
        let near = near_m * libm::hypot(along[0], along[1]);
        of_c.min(of_d) < -near && of_c.max(of_d) > near
    };
    across(e, f) && across(f, e)
}
