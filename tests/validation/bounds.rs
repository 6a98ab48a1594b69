//! Every input at its bounds, beyond them and anywhere between: refused by its own name, or flown to finite numbers.

use core::sync::atomic::AtomicBool;

use crate::cards::{Found, tried};
use proptest::prelude::*;
use rayon::prelude::*;
use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::shape::{Shape, Transition};
use slowpoint_sim::case::{
    Area, ArrangementInput, CalibrationInput, Case, CordsInput, Device, FlownInput, Inputs, LOGS, Logged, LoggedInput,
    Outline, PartInput, PressureInput, RareEvent, RareInput, StiffnessInput, ThrustInput, WallInput, WindMember,
};
use slowpoint_sim::cord::Material;
use slowpoint_sim::draw::Shift;
use slowpoint_sim::fault::Fault;
use slowpoint_sim::flight::{Deployment, Electronics, Failure};
use slowpoint_sim::limits::{self, Limit};
use slowpoint_sim::tally::Frame;
use slowpoint_sim::wind::{Direction, Gustiness, SurfaceLaw};
use slowpoint_sim::{assess, cell_m, report, tally};
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{cords as bare, finite, rockets};

slowpoint_tests::subject! { "Bounds of every input":
    lim_1_every_limit,
    lim_2_beyond,
    lim_3_no_number,
    lim_4_at_the_bounds,
    lim_5_between,
}

static GO: AtomicBool = AtomicBool::new(false);

/// An input with its accepted range, the name that a fault gives it, and the way to set it: `false` where a card has no
/// such input.
struct Field {
    limit: Limit,
    name: &'static str,
    set: fn(&mut Inputs, f64) -> bool,
}

impl Field {
    fn counts(&self) -> bool {
        self.limit.what.starts_with("number of")
    }
}

fn shape(i: &mut Inputs, set: impl FnOnce(&mut Shape)) -> bool {
    i.airframe.shape.as_mut().map(set).is_some()
}

fn canopy(i: &mut Inputs, set: impl FnOnce(&mut f64, &mut Option<f64>, &mut Option<f64>)) -> bool {
    match &mut i.recovery.first {
        Device::Parachute { diameter_m, drag_coefficient, fill_constant } => {
            set(diameter_m, drag_coefficient, fill_constant);
            true
        }
        _ => false,
    }
}

fn streamer(i: &mut Inputs, length: Option<f64>, width: Option<f64>) -> bool {
    i.recovery.first =
        Device::Streamer { length_m: length.unwrap_or(1.0), width_m: width.unwrap_or(0.1), drag_coefficient: None };
    true
}

fn cluster(i: &mut Inputs, count: f64) {
    i.motor.count = count as usize;
    i.motor.diameter_m = None;
    i.motor.propellant_kg = i.motor.propellant_kg.map(|kg| kg / count.max(1.0));
}

fn area(i: &mut Inputs, centre_m: [f64; 2], radius_m: f64) -> bool {
    i.site.areas.push(Area {
        name: "field".into(),
        role: None,
        outline: Outline::Circle { centre_m, radius_m },
        people: Some(1.0),
    });
    true
}

/// A part of a cord.
fn part() -> PartInput {
    bare::part(1.5, 2000.0, 500.0)
}

/// On a cord of one part.
fn cords(i: &mut Inputs, set: impl FnOnce(&mut CordsInput)) -> bool {
    let nose_mass_kg = 0.2 * i.airframe.mass_kg;
    set(i.cords.get_or_insert_with(|| {
        let line = bare::arrangement("line", 0.003, vec![vec![part()]]);
        bare::cords(nose_mass_kg, 2e4, vec![line])
    }));
    true
}

/// On the only flight flown, in its own conditions.
fn calibration(i: &mut Inputs, set: impl FnOnce(&mut CalibrationInput)) -> bool {
    let own = i.clone();
    set(i.calibration.get_or_insert_with(|| {
        let time = LoggedInput { value: 8.0, error: Some(2.0) };
        let one =
            FlownInput { condition: 0, way: 0, logged: LOGS.map(|log| (log == Logged::ApogeeTime).then_some(time)) };
        CalibrationInput { conditions: vec![own], flown: vec![one], flights: None, bias_share: None }
    }));
    true
}

/// On a figure that was logged of it.
fn logged(i: &mut Inputs, log: Logged, value: f64, error: Option<f64>) -> bool {
    calibration(i, |c| c.flown[0].logged[log as usize] = Some(LoggedInput { value, error }))
}

/// On its first arrangement.
fn arrangement(i: &mut Inputs, set: impl FnOnce(&mut ArrangementInput)) -> bool {
    let mut first = None;
    cords(i, |c| first = c.arrangements.first_mut().map(set));
    first.is_some()
}

/// On the first part of its first run.
fn piece(i: &mut Inputs, set: impl FnOnce(&mut PartInput)) -> bool {
    let mut first = None;
    arrangement(i, |a| first = a.runs.first_mut().and_then(|run| run.first_mut()).map(set));
    first.is_some()
}

fn whole(set: impl FnOnce()) -> bool {
    set();
    true
}

macro_rules! fields {
    ($($limit:ident $name:literal |$i:ident, $x:ident| $set:expr;)*) => {
        vec![$(Field { limit: limits::$limit, name: $name, set: |$i, $x| $set },)*]
    };
}

/// Every kind of limit at least once, by the name of its field in a request.
#[rustfmt::skip]
fn fields() -> Vec<Field> {
    let mut all = fields! {
        DIAMETER "card.airframe.diameter" |i, x| whole(|| i.airframe.diameter_m = x);
        DIAMETER "card.motor.diameter" |i, x| whole(|| i.motor.diameter_m = Some(x));
        DIAMETER "card.airframe.shape.nose.base_diameter" |i, x| shape(i, |s| s.nose.base_diameter_m = x);
        DIAMETER "card.airframe.shape.fins.0.body_diameter" |i, x| shape(i, |s| s.fin_sets[0].body_diameter_m = x);
        LENGTH "card.airframe.length" |i, x| whole(|| i.airframe.length_m = x);
        STATION "card.airframe.centre_of_gravity" |i, x| whole(|| i.airframe.centre_of_gravity_m = x);
        STATION "card.airframe.centre_of_gravity_burnout" |i, x| whole(|| i.airframe.centre_of_gravity_burnout_m = Some(x));
        STATION "card.airframe.centre_of_pressure" |i, x| whole(|| i.airframe.centre_of_pressure_m = Some(x));
        STATION "card.motor.propellant_centre" |i, x| whole(|| i.motor.propellant_centre_m = Some(x));
        STATION "launch.forward_guide" |i, x| whole(|| i.launch.forward_guide_m = Some(x));
        STATION "launch.aft_guide" |i, x| whole(|| i.launch.aft_guide_m = Some(x));
        STATION "card.airframe.shape.fins.0.station" |i, x| shape(i, |s| s.fin_sets[0].station_m = x);
        STATION "card.airframe.shape.guides.0.station" |i, x| shape(i, |s| s.guides[0].station_m = x);
        MASS "card.airframe.mass" |i, x| whole(|| i.airframe.mass_kg = x);
        PROPELLANT_MASS "card.motor.propellant_mass" |i, x| whole(|| i.motor.propellant_kg = Some(x));
        INERTIA "card.airframe.pitch_inertia" |i, x| whole(|| i.airframe.inertia_kg_m2 = Some(x));
        INERTIA "card.airframe.pitch_inertia_burnout" |i, x| whole(|| i.airframe.inertia_burnout_kg_m2 = Some(x));
        NORMAL_FORCE_SLOPE "card.airframe.normal_force_slope" |i, x| whole(|| i.airframe.normal_force_slope_per_rad = Some(x));
        DRAG_COEFFICIENT "card.airframe.drag_coefficient" |i, x| whole(|| i.airframe.drag = Some(Drag::Coefficient(x)));
        DRAG_COEFFICIENT "card.airframe.drag_table.0.drag_coefficient" |i, x| whole(|| i.airframe.drag = Some(Drag::Table(vec![(0.0, x), (1.0, 0.6)])));
        MACH "card.airframe.drag_table.0.mach" |i, x| whole(|| i.airframe.drag = Some(Drag::Table(vec![(x, 0.6)])));
        TAIL_FIRST "card.airframe.tail_first_factor" |i, x| whole(|| i.airframe.tail_first_factor = Some(x));
        FIN_SPAN "card.airframe.shape.fins.0.span" |i, x| shape(i, |s| s.fin_sets[0].span_m = x);
        FIN_CHORD "card.airframe.shape.fins.0.tip_chord" |i, x| shape(i, |s| s.fin_sets[0].tip_chord_m = x);
        FIN_SWEEP "card.airframe.shape.fins.0.sweep" |i, x| shape(i, |s| s.fin_sets[0].sweep_m = x);
        FIN_THICKNESS "card.airframe.shape.fins.0.thickness" |i, x| shape(i, |s| s.fin_sets[0].thickness_m = x);
        FIN_COUNT "card.airframe.shape.fins.0.count" |i, x| shape(i, |s| s.fin_sets[0].count = x as usize);
        ROUGHNESS "card.airframe.shape.roughness" |i, x| shape(i, |s| s.roughness_m = x);
        THRUST "card.motor.thrust_curve.1.1" |i, x| whole(|| i.motor.thrust = ThrustInput::Curve(vec![(0.0, 500.0), (0.5, x), (1.0, 0.0)]));
        CURVE_TIME "card.motor.thrust_curve.2.0" |i, x| whole(|| i.motor.thrust = ThrustInput::Curve(vec![(0.0, 500.0), (0.5, 500.0), (x, 0.0)]));
        MOTOR_COUNT "card.motor.count" |i, x| whole(|| cluster(i, x));
        SHARE "card.motor.one_unlit_share" |i, x| whole(|| { cluster(i, 3.0); i.motor.one_unlit_share = Some(x); });
        CANOPY_DIAMETER "card.recovery.first.diameter" |i, x| canopy(i, |d, _, _| *d = x);
        CANOPY_DRAG "card.recovery.first.drag_coefficient" |i, x| canopy(i, |_, c, _| *c = Some(x));
        FILL_CONSTANT "card.recovery.first.fill_constant" |i, x| canopy(i, |_, _, n| *n = Some(x));
        STREAMER "card.recovery.first.length" |i, x| streamer(i, Some(x), None);
        STREAMER "card.recovery.first.width" |i, x| streamer(i, None, Some(x));
        HEIGHT "card.recovery.main_height" |i, x| whole(|| i.recovery.main = Some((i.recovery.first, x)));
        HEIGHT "site.ceiling" |i, x| whole(|| i.site.ceiling_m = Some(x));
        RAIL_LENGTH "launch.rail_length" |i, x| whole(|| i.launch.rail_length_m = x);
        TILT "launch.tilt" |i, x| whole(|| i.launch.tilt_rad = Some(x));
        BEARING "launch.azimuth" |i, x| whole(|| i.launch.azimuth_rad = Some(x));
        BEARING "wind.surface.direction" |i, x| i.wind.surface.as_mut().map(|s| s.direction = Direction::From(x)).is_some();
        BEARING "wind.layers.1.direction" |i, x| i.wind.layers.get_mut(1).map(|l| l.direction_from_rad = x).is_some();
        FRICTION "launch.friction" |i, x| whole(|| i.launch.friction = Some(x));
        LATITUDE "site.latitude" |i, x| whole(|| i.site.latitude_rad = Some(x));
        ELEVATION "site.elevation" |i, x| whole(|| i.site.elevation_m = Some(x));
        PRESSURE "site.station_pressure" |i, x| whole(|| (i.site.elevation_m, i.site.pressure) = (None, Some(PressureInput::Station(x))));
        PRESSURE "site.altimeter_setting" |i, x| whole(|| i.site.pressure = Some(PressureInput::AltimeterSetting(x)));
        TEMPERATURE "site.temperature" |i, x| whole(|| i.site.temperature_k = Some(x));
        SURFACE_WIND_SPEED "wind.surface.speed" |i, x| i.wind.surface.as_mut().map(|s| s.speed_m_s = x).is_some();
        SURFACE_WIND_SPEED "wind.surface.gust" |i, x| i.wind.surface.as_mut().map(|s| { s.speed_m_s = 0.0; s.gust_m_s = Some(x); }).is_some();
        TURBULENCE_WIND "wind.turbulence_wind_at_20_ft" |i, x| whole(|| i.wind.gustiness = Some(Gustiness::WindAt20Ft(x)));
        MEASURING_HEIGHT "wind.surface.measuring_height" |i, x| i.wind.surface.as_mut().map(|s| s.measuring_height_m = x).is_some();
        WIND_SPEED "wind.layers.2.speed" |i, x| i.wind.layers.get_mut(2).map(|l| l.speed_m_s = x).is_some();
        WIND_HEIGHT "wind.layers.0.height_above_ground" |i, x| whole(|| { i.wind.layers.truncate(1); i.wind.layers[0].height_above_ground_m = x; });
        ROUGHNESS_LENGTH "wind.roughness_length" |i, x| whole(|| i.wind.law = Some(SurfaceLaw::Log { roughness_m: x }));
        POWER_EXPONENT "wind.power_exponent" |i, x| whole(|| i.wind.law = Some(SurfaceLaw::Power { exponent: x }));
        CORRELATION_LENGTH "spread.wind.correlation_length" |i, x| whole(|| i.spread.wind_correlation_length_m = Some(x));
        WIND_ERROR "spread.wind.component_sd" |i, x| whole(|| i.spread.wind_component_sd_m_s = Some(x));
        WIND_ERROR_GROWTH "spread.wind.growth_per_hour" |i, x| whole(|| (i.wind.age_s, i.spread.wind_growth_m_s_per_h) = (Some(36_000.0), Some(x)));
// Less than one wind cannot be given.
        WIND_MEMBERS "wind.members" |i, x| x >= 1.0 && whole(|| i.wind.others = vec![WindMember { surface: i.wind.surface, layers: i.wind.layers.clone() }; x as usize - 1]);
        WIND_AGE "wind.age" |i, x| whole(|| i.wind.age_s = Some(x));
        DIRECTION_ERROR "spread.wind.direction_sd" |i, x| whole(|| i.spread.wind_direction_sd_rad = Some(x));
        PEOPLE "site.areas.0.people" |i, x| area(i, [10.0, 0.0], 300.0) && i.site.areas.iter_mut().all(|a| a.people.replace(x).is_some());
        SHARE "failures.no_ejection" |i, x| whole(|| i.failures = vec![(Failure::NoEjection, x)]);
        DRIVERS "drivers" |i, x| whole(|| i.question.drivers = Some(x as u64));
        RARE_FLIGHTS "rare.0.flights" |i, x| whole(|| i.question.rare = vec![RareInput { event: RareEvent::OpensOver(0), way: None, flights: x as u64 }]);
        OUT_OF_TOLERANCE "spread.delay_out_of_tolerance_share" |i, x| whole(|| i.spread.delay_out_of_tolerance_share = Some(x));
        DELAY "delays.0" |i, x| whole(|| i.question.ways[0].motor_delay_s = Some(x));
        SPEED_LIMIT "limits.deploy_speed.0" |i, x| whole(|| i.question.limits_m_s[0] = x);
        PLACE "site.areas.0.circle.east" |i, x| area(i, [x, 0.0], 50.0);
        AREA_RADIUS "site.areas.0.circle.radius" |i, x| area(i, [10.0, 0.0], x);
        MOST_FLIGHTS "until.within" |i, x| whole(|| (i.question.flights, i.question.until_half_width) = (x as u64, Some(0.01)));
        HALF_WIDTH "until.half_width" |i, x| whole(|| (i.question.flights, i.question.until_half_width) = (256, Some(x)));
        FLIGHTS "flights" |i, x| whole(|| i.question.flights = x as u64);
        LIMIT_COUNT "limits.deploy_speed" |i, x| whole(|| i.question.limits_m_s = (0..x as usize).map(|k| 5.0 + k as f64).collect());
        DELAY_COUNT "delays" |i, x| whole(|| i.question.ways = (0..x as usize).map(|k| rockets::delay(k as f64)).collect());
        NOSE_MASS "cords.nose_mass" |i, x| cords(i, |c| c.nose_mass_kg = x);
        DRAG_AREA "cords.nose_drag_area" |i, x| cords(i, |c| c.nose_drag_area_m2 = Some(x));
        DRAG_AREA "cords.airframe_drag_area" |i, x| cords(i, |c| c.airframe_drag_area_m2 = Some(x));
        LOG_SD "cords.strength_log_sd" |i, x| cords(i, |c| c.strength_log_sd = Some(x));
        ARRANGEMENT_COUNT "cords.arrangements" |i, x| cords(i, |c| {
            let named = |k: usize| ArrangementInput { name: k.to_string(), edge_width_m: 0.01, legs: 2, runs: vec![vec![part()]] };
            c.arrangements = (0..x as usize).map(named).collect();
        });
        RUN_COUNT "cords.arrangements.0.runs" |i, x| arrangement(i, |a| a.runs = vec![vec![part()]; x as usize]);
        PART_COUNT "cords.arrangements.0.runs.0" |i, x| arrangement(i, |a| a.runs = vec![vec![part(); x as usize]]);
        CORD_LENGTH "cords.arrangements.0.runs.0.0.length" |i, x| piece(i, |p| p.length_m = x);
        CORD_STRENGTH "cords.arrangements.0.runs.0.0.strength" |i, x| piece(i, |p| p.strength_n = x);
        CORD_STIFFNESS "cords.arrangements.0.runs.0.0.stiffness" |i, x| piece(i, |p| p.stiffness = StiffnessInput::PerStrain(x));
        CORD_STIFFNESS "cords.arrangements.0.runs.0.0.locked_stiffness" |i, x| piece(i, |p| (p.locks_at_strain, p.locked_stiffness_n) = (Some(0.1), Some(x)));
        LOSS_FACTOR "cords.arrangements.0.runs.0.0.loss_factor" |i, x| piece(i, |p| p.loss_factor = Some(x));
        LOCK_STRAIN "cords.arrangements.0.runs.0.0.locks_at_strain" |i, x| piece(i, |p| p.locks_at_strain = Some(x));
        EDGE_WIDTH "cords.arrangements.0.edge_width" |i, x| arrangement(i, |a| a.edge_width_m = x);
        LEGS "cords.arrangements.0.legs" |i, x| arrangement(i, |a| a.legs = x as u32);
        WALL_THICKNESS "cords.wall.thickness" |i, x| cords(i, |c| c.wall = WallInput::Tube { material: Material::Paper, thickness_m: x });
        WALL_RESISTANCE "cords.wall.resistance" |i, x| cords(i, |c| c.wall = WallInput::Resistance(x));
        LOG_SD "cords.wall.log_sd" |i, x| cords(i, |c| c.wall_log_sd = Some(x));
        FLOWN_COUNT "calibration.flown" |i, x| calibration(i, |c| c.flown = vec![c.flown[0].clone(); x as usize]);
        CALIBRATION_FLIGHTS "calibration.flights" |i, x| calibration(i, |c| c.flights = Some(x as u64));
        BIAS_SHARE "calibration.bias_share" |i, x| calibration(i, |c| c.bias_share = Some(x));
        LOGGED_APOGEE "calibration.flown.0.apogee" |i, x| logged(i, Logged::Apogee, x, None);
        LOGGED_HEIGHT_ERROR "calibration.flown.0.apogee_error" |i, x| logged(i, Logged::Apogee, 100.0, Some(x));
        LOGGED_TIME "calibration.flown.0.apogee_time" |i, x| logged(i, Logged::ApogeeTime, x, None);
        LOGGED_TIME "calibration.flown.0.opening_time" |i, x| logged(i, Logged::OpeningTime, x, None);
        LOGGED_TIME_ERROR "calibration.flown.0.opening_time_error" |i, x| logged(i, Logged::OpeningTime, 8.0, Some(x));
        LOGGED_SPEED "calibration.flown.0.opening_speed" |i, x| logged(i, Logged::OpeningSpeed, x, None);
        LOGGED_SPEED_ERROR "calibration.flown.0.opening_speed_error" |i, x| logged(i, Logged::OpeningSpeed, 9.0, Some(x));
        CONDITION_CHANCE "condition.chance" |i, x| whole(|| i.question.accept_chance = Some(x));
    };
    all.push(Field {
        // No shoulder is shorter than that.
        limit: Limit { min: 0.001, ..limits::PART_LENGTH },
        name: "card.airframe.shape.shoulders_and_boattails.0.length",
        set: |i, x| shape(i, |s| {
            let d = s.base_diameter_m;
            s.transitions = vec![Transition { station_m: 0.06, length_m: x, front_diameter_m: d, rear_diameter_m: d }];
        }),
    });
    all
}

/// A rocket that is asked little and in two ways, so that its whole answer is quick.
fn small(mut inputs: Inputs) -> Inputs {
    inputs.question.flights = 64;
    inputs.question.ways.truncate(1);
    inputs.question.ways.push(Deployment { motor_delay_s: Some(6.0), electronics: Some(Electronics::Apogee) });
    inputs
}

/// What of a whole answer is no finite number, with what stands about it.
fn not_finite(case: &Case) -> Option<String> {
    // Cords are flown apart.
    if case.cords.is_some() && case.inputs.question.flights <= 64 {
        return finite::not_finite(&format!("{:?}", assess(case, &GO)));
    }
    let frame = Frame { case, cell_m: cell_m(case), curve_s: &[] };
    let flown = tally(&frame, 0..64, &Shift::NONE, &GO).unwrap_or_else(|| panic!("nobody stops it"));
    finite::not_finite(&format!("{:?}", report(case, &flown, Vec::new())))
}

fn named(faults: &[Fault], field: &Field) -> bool {
    faults.iter().any(|f| f.field == field.name)
}

/// What went wrong, or `none`.
fn listed(wrong: &[String]) -> String {
    if wrong.is_empty() { "none".to_string() } else { wrong.join("; ") }
}

fn none(sheet: &mut Sheet, quantity: impl core::fmt::Display, wrong: &[String]) {
    sheet.equal(quantity, listed(wrong), listed(&[]));
}

fn lim_1_every_limit() -> Sheet {
    let mut sheet = Sheet::new(
        "LIM-1",
        "the inputs that LIM-2 to LIM-5 walk, on four rockets of 20 g to 30 kg",
        Trust::Statement,
        "the engine's one table of accepted ranges",
    );
    let walked = fields();
    let missed: Vec<String> = (limits::ALL.iter())
        .filter(|limit| !walked.iter().any(|f| f.limit.what == limit.what))
        .map(|limit| limit.what.to_string())
        .collect();
    let (inputs, ranges) = (walked.len(), limits::ALL.len());
    none(&mut sheet, format!("ranges of which no input is walked, of {ranges} ranges, {inputs} inputs"), &missed);
    sheet
}

/// Sets an input of every rocket that has it to each value, and sorts what becomes of it: tried, accepted, refused by
/// another name, panicked.
fn refusals(values: impl Fn(&Field) -> Vec<f64>) -> (usize, [Vec<String>; 3]) {
    let (mut tried, mut wrong) = (0, [const { Vec::new() }; 3]);
    for field in fields() {
        for x in values(&field) {
            for (rocket, inputs) in rockets::all() {
                let mut inputs = small(inputs);
                if !(field.set)(&mut inputs, x) {
                    continue;
                }
                tried += 1;
                let at = format!("{rocket}, {} of {x}", field.name);
                match std::panic::catch_unwind(|| Case::new(inputs)) {
                    Ok(Err(faults)) if named(&faults, &field) => {}
                    Ok(Ok(_)) => wrong[0].push(at),
                    Ok(Err(faults)) => wrong[1].push(format!("{at}: {faults:?}")),
                    Err(_) => wrong[2].push(at),
                }
            }
        }
    }
    (tried, wrong)
}

fn refused(sheet: &mut Sheet, values: impl Fn(&Field) -> Vec<f64>) {
    let (tried, [accepted, another_name, panicked]) = refusals(values);
    none(sheet, format!("accepted, of {tried} tried"), &accepted);
    none(sheet, format!("refused without the input's own name, of {tried}"), &another_name);
    none(sheet, format!("panicked, of {tried}"), &panicked);
}

fn lim_2_beyond() -> Sheet {
    let mut sheet = Sheet::new(
        "LIM-2",
        "each input at the next number past either end of its range and at both infinities, counts one past",
        Trust::Statement,
        "what lies outside its range is refused by the input's own name",
    );
    refused(&mut sheet, |field| {
        let Limit { min, max, .. } = field.limit;
        if field.counts() {
            vec![min - 1.0, max + 1.0]
        } else {
            vec![min.next_down(), max.next_up(), f64::NEG_INFINITY, f64::INFINITY]
        }
    });
    sheet
}

fn lim_3_no_number() -> Sheet {
    let mut sheet = Sheet::new(
        "LIM-3",
        "each input that is no count as NaN",
        Trust::Statement,
        "no case is made of it: it is refused by the input's own name",
    );
    refused(&mut sheet, |field| if field.counts() { Vec::new() } else { vec![f64::NAN] });
    sheet
}

/// What became of an input at both of its ends, on every rocket that has it.
#[derive(Default)]
struct AtEnds {
    flown: usize,
    refused: usize,
    not_finite: Vec<String>,
    own_range: Vec<String>,
}

fn at_ends(field: &Field) -> AtEnds {
    let mut found = AtEnds::default();
    for (rocket, inputs) in rockets::all() {
        for x in [field.limit.min, field.limit.max] {
            let mut inputs = small(inputs.clone());
            if !(field.set)(&mut inputs, x) {
                continue;
            }
            let at = format!("{rocket}, {} of {x}", field.name);
            match Case::new(inputs) {
                Ok(case) => {
                    found.flown += 1;
                    found.not_finite.extend(not_finite(&case).map(|what| format!("{at}: {what}")));
                }
                Err(faults) => {
                    found.refused += 1;
                    let range = format!("{} is ", field.limit.what);
                    let mut own = faults.iter().filter(|f| f.field == field.name);
                    if own.any(|f| f.problem.starts_with(&range)) {
                        found.own_range.push(format!("{at}: {faults:?}"));
                    }
                }
            }
        }
    }
    found
}

fn lim_4_at_the_bounds() -> Sheet {
    let mut sheet = Sheet::new(
        "LIM-4",
        "each input at both ends of its range: the whole answer of 64 flights, or what it contradicts",
        Trust::Statement,
        "an end belongs to its range; it is refused only for what it contradicts, or flown to a finite answer",
    );
    let all = fields();
    let found: Vec<AtEnds> = all.par_iter().map(at_ends).collect();
    let sum = |count: fn(&AtEnds) -> usize| found.iter().map(count).sum::<usize>();
    let list = |of: fn(&AtEnds) -> &Vec<String>| found.iter().flat_map(of).cloned().collect::<Vec<_>>();
    let flown = sum(|f| f.flown);
    none(&mut sheet, format!("answers with NaN or infinity, of {flown} flown"), &list(|f| &f.not_finite));
    let refused = sum(|f| f.refused);
    let never: Vec<&str> = all.iter().zip(&found).filter(|(_, f)| f.flown == 0).map(|(f, _)| f.name).collect();
    let name =
        format!("refused for their own range, of {refused} refused (flown at neither end: {})", never.join(", "));
    none(&mut sheet, name, &list(|f| &f.own_range));
    sheet
}

fn lim_5_between() -> Sheet {
    let mut sheet = Sheet::new(
        "LIM-5",
        "one to five inputs at once anywhere in their ranges, the ends among them: the whole answer of 64 flights",
        Trust::Statement,
        "refused for what they contradict, or flown to a finite answer",
    );
    let share = prop_oneof![Just(0.0), Just(1.0), 0.0..1.0];
    let changed = (0_usize..4, prop::collection::vec((0_usize..1000, share), 1..6));
    let all = fields();
    tried(&mut sheet, "several inputs", changed, |(rocket, changes)| {
        let mut inputs = small(rockets::all()[rocket].1.clone());
        for (which, share) in &changes {
            let field = &all[which % all.len()];
            let Limit { min, max, .. } = field.limit;
            (field.set)(&mut inputs, min + share * (max - min));
        }
        let Ok(case) = Case::new(inputs) else { return Vec::new() };
        vec![("answers with NaN or infinity", Found::Wrong(usize::from(not_finite(&case).is_some())))]
    });
    sheet
}
