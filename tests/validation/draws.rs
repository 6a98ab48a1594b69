//! What a draw makes of a card: each error on its own quantity, in its own size and sign.

use slowpoint_sim::case::{Case, Device, Inputs};
use slowpoint_sim::draw::{Law, Numbers, SLOTS, Shift, Slot, draw};
use slowpoint_sim::flight::{Drawn, Electronics, Events, Start};
use slowpoint_sim::lanes::dot;
use slowpoint_sim::thrust::Side;
use slowpoint_tests::rockets::{self, without_spread};
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "What is drawn":
    drw_1_each_error_on_its_own,
    drw_2_shifts_of_the_model,
    drw_3_a_number_for_each_input,
    drw_4_clusters,
}

fn case(inputs: Inputs) -> Case {
    Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"))
}

/// Centre of pressure as drawn, at small angle and Mach 0.
fn centre_of_pressure_m(drawn: &Drawn) -> f64 {
    (drawn.body.first_m + drawn.fins.first_m) / (drawn.body.zeroth_per_rad + drawn.fins.zeroth_per_rad)
}

/// The club rocket without any spread, but for what a change fixes; two figures of its nominal flight.
fn drawn<T>(change: impl Fn(&mut Inputs), look: impl Fn(&Case, &Drawn, &Events) -> T) -> T {
    let mut inputs = without_spread(rockets::club());
    change(&mut inputs);
    let case = case(inputs);
    let (drawn, events) = draw(&case, &Numbers::MIDDLE, &Shift::NONE);
    look(&case, &drawn, &events)
}

fn rail_of(drawn: &Drawn) -> ([f64; 3], f64) {
    match drawn.start {
        Start::Rail { rail, cg_height_m } => (rail.direction, cg_height_m),
        Start::Free(_) => panic!("a card's flight begins on a rail"),
    }
}

fn drw_1_each_error_on_its_own() -> Sheet {
    let mut sheet = Sheet::new(
        "DRW-1",
        "the club rocket (0.62 kg of which 0.04 kg propellant, balance at 0.66 m, pressure at 0.79 m, 1.05 m long), one error at a time",
        Trust::Statement,
        "a mass is heavier by its factor, a balance moves at lift-off by its error, and so on: what each spread says of itself",
    );
    sheet.because("rounding");
    let fixed = |value: f64| Some(Law::Fixed(value));
    let at_rest = |i: &dyn Fn(&mut Inputs)| drawn(i, |_, d, _| d.mass.at(0.0));
    let nominal = at_rest(&|_| ());
    let heavy = at_rest(&|i| i.spread.mass = fixed(1.03));
    sheet.close("lift-off mass 3 % over, kg", heavy.mass_kg, 0.62 * 1.03, 1e-12);
    let dry_kg = drawn(|i| i.spread.mass = fixed(1.03), |_, d, _| d.mass.at(1.0).mass_kg);
    sheet.close("burned out, kg", dry_kg, 0.62 * 1.03 - 0.04, 1e-12);
    let inertia = |i: &dyn Fn(&mut Inputs)| drawn(i, |_, d, _| d.mass.dry_inertia_kg_m2);
    let ratio = inertia(&|i| i.spread.mass = fixed(1.03)) / inertia(&|_| ());
    sheet.close("its inertia without propellant over the nominal", ratio, 1.03, 1e-12);
    sheet.close("balance at lift-off, nominal, m", nominal.cg_m, 0.66, 1e-12);
    let moved = at_rest(&|i| i.spread.centre_of_gravity = fixed(-0.02));
    sheet.close("20 mm forward, m", moved.cg_m, 0.64, 1e-12);
    let cp = |i: &dyn Fn(&mut Inputs)| drawn(i, |_, d, _| centre_of_pressure_m(d));
    sheet.close("centre of pressure, nominal, m", cp(&|_| ()), 0.79, 1e-12);
    sheet.close("30 mm back, m", cp(&|i| i.spread.centre_of_pressure = fixed(0.03)), 0.82, 1e-12);
    let slope = |d: &Drawn| d.body.zeroth_per_rad + d.fins.zeroth_per_rad;
    let steep = |i: &mut Inputs| i.spread.normal_force_slope = fixed(1.2);
    sheet.close("slope a fifth over, per rad", drawn(steep, |_, d, _| slope(d)), 10.5 * 1.2, 1e-12);
    sheet.close("and its place, m", drawn(steep, |_, d, _| centre_of_pressure_m(d)), 0.79, 1e-12);
    let factor = drawn(|i| i.spread.drag = fixed(0.8), |_, d, _| d.drag_factor);
    sheet.close("drag a fifth under", factor, 0.8, 0.0);
    let (thrust, fins) = drawn(
        |i| (i.spread.thrust_misalignment, i.spread.fin_misalignment) = (fixed(0.01), fixed(-0.02)),
        |_, d, _| (d.misalignment.thrust_rad, d.misalignment.fins_rad),
    );
    sheet.equal("misalignments, rad", format!("{thrust:?} {fins:?}"), "[0.01, 0.01] [-0.02, -0.02]".to_string());
    let nozzle_m = drawn(|_| (), |_, d, _| d.misalignment.nozzle_m);
    sheet.close("thrust acts at the tail, m", nozzle_m, 1.05, 0.0);
    let roll = drawn(|i| i.spread.roll_rate = fixed(7.0), |_, d, _| d.misalignment.roll_rate_rad_s);
    sheet.close("roll rate, rad/s", roll, 7.0, 0.0);
    // Temperature and pressure, by the density at the pad: 291 K at 300 m.
    let density = |i: &dyn Fn(&mut Inputs)| drawn(i, |_, d, _| d.air.at(0.0).0);
    let pressure_pa = drawn(|_| (), |c, _, _| c.field.station_pressure_pa);
    sheet.because("the table of a flight's air is good to 2e-8");
    for (name, kelvin, pascal) in [("5 K and 300 Pa over", 5.0, 300.0), ("5 K over, 300 Pa under", 5.0, -300.0)] {
        let found = density(&|i| (i.spread.temperature, i.spread.pressure) = (fixed(kelvin), fixed(pascal)));
        let expected = (pressure_pa + pascal) / (8314.32 / 28.9644 * (291.0 + kelvin));
        sheet.close_relative(format!("density at the pad, {name}, kg/m³"), found, expected, 1e-7);
    }
    sheet.because("rounding");
    let (direction, height_m) = drawn(|i| i.spread.rail_angle = fixed(0.05), |_, d, _| rail_of(d));
    let towards = [libm::sin(1.0), libm::cos(1.0), 0.0];
    let tilt = libm::atan2(dot(direction, towards), direction[2]);
    sheet.close("rail's tilt with an error of 0.05 rad, rad", tilt, 3.0_f64.to_radians() + 0.05, 1e-12);
    let right = dot(direction, [libm::cos(1.0), -libm::sin(1.0), 0.0]);
    sheet.close("and across, rad", libm::asin(right), 0.05, 1e-12);
    sheet.close("the balance on the pad stands, m", height_m, (1.05 - 0.66) * direction[2], 1e-12);
    let lags = drawn(
        |i| {
            (i.spread.apogee_lag, i.spread.line_stretch_lag) = (fixed(0.5), fixed(0.75));
            (i.spread.sensed_height, i.spread.delay) = (fixed(-4.0), fixed(0.7));
        },
        |_, _, e| {
            format!(
                "{} {} {} {:?} {:?}",
                e.apogee_lag_s, e.line_stretch_lag_s, e.height_error_m, e.delay_error_s, e.delay_in_tolerances
            )
        },
    );
    sheet.equal(
        "lags of apogee and line stretch, errors of height and delay",
        lags,
        "0.5 0.75 -4 [0.7] [0.0]".to_string(),
    );
    let recovery = |i: &mut Inputs| {
        let device =
            |diameter_m| Device::Parachute { diameter_m, drag_coefficient: Some(0.8), fill_constant: Some(8.0) };
        i.recovery.first = device(0.5);
        i.recovery.main = Some((device(1.5), 100.0));
        (i.spread.canopy_drag, i.spread.sensed_height) = (fixed(1.25), fixed(-4.0));
        i.question.ways[0].electronics = Some(Electronics::Apogee);
    };
    let stages = drawn(recovery, |_, _, e| e.stages);
    let area = |diameter: f64| 1.25 * 0.8 * core::f64::consts::FRAC_PI_4 * diameter * diameter;
    sheet.close("first canopy a quarter over, m²", stages.first.drag_area_m2, area(0.5), 1e-12);
    let (main, height_m) = stages.main.unwrap_or_else(|| panic!("a main was asked for"));
    sheet.close("main canopy, m²", main.drag_area_m2, area(1.5), 1e-12);
    sheet.close("main opens 4 m low, m", height_m, 96.0, 1e-12);
    sheet.close("fills in 8 diameters, m", main.fill_path_m, 12.0, 1e-12);
    sheet.close("hangs without its propellant, kg", stages.mass_kg, 0.58, 1e-9);
    let bare_m2 = 0.55 * core::f64::consts::FRAC_PI_4 * 0.054 * 0.054;
    sheet.close("and drags as nose first, m²", stages.bare_area_m2, bare_m2, 1e-12);
    sheet
}

fn drw_2_shifts_of_the_model() -> Sheet {
    let mut sheet = Sheet::new(
        "DRW-2",
        "the model off by 10 % of the centre of pressure's place, a fifth of the drag, 2 m/s of wind",
        Trust::Statement,
        "on top of what is drawn",
    );
    sheet.because("rounding");
    let mut inputs = without_spread(rockets::club());
    (inputs.spread.centre_of_pressure, inputs.spread.drag) = (Some(Law::Fixed(0.01)), Some(Law::Fixed(1.1)));
    let case = case(inputs);
    let shift = Shift { centre_of_pressure_factor: 1.1, drag_factor: 0.8, wind_m_s: 2.0, ..Shift::NONE };
    let (drawn, _) = draw(&case, &Numbers::MIDDLE, &shift);
    sheet.close("centre of pressure, m", centre_of_pressure_m(&drawn), 1.1 * 0.79 + 0.01, 1e-12);
    sheet.close("drag", drawn.drag_factor, 1.1 * 0.8, 1e-12);
    let (east, north) = drawn.wind.at(10.0);
    sheet.close("wind at 10 m, m/s", libm::hypot(east, north), 6.0, 1e-9);
    sheet
}

fn drw_3_a_number_for_each_input() -> Sheet {
    let mut sheet = Sheet::new(
        "DRW-3",
        "every slot with a number of its own, laws that give the number back",
        Trust::Statement,
        "each input reads its own slot",
    );
    sheet.because("rounding");
    let mut inputs = rockets::club();
    let plain = || Some(Law::Uniform { low: 0.0, high: 1.0 });
    let small = || Some(Law::Uniform { low: 0.0, high: 0.1 });
    // What has to stay near one: half the number on top of 0.75.
    let about_one = || Some(Law::Uniform { low: 0.75, high: 1.25 });
    let s = &mut inputs.spread;
    (s.thrust_misalignment, s.fin_misalignment, s.roll_rate) = (small(), small(), plain());
    (s.line_stretch_lag, s.apogee_lag, s.sensed_height, s.delay) = (plain(), plain(), plain(), plain());
    (s.drag, s.mass) = (about_one(), about_one());
    let case = case(inputs);
    let of = |slot: Slot| (slot.dimension() as f64 + 1.0) / (SLOTS as f64 + 2.0);
    let numbers = Numbers::given(core::array::from_fn(|k| (k as f64 + 1.0) / (SLOTS as f64 + 2.0)));
    let (d, e) = draw(&case, &numbers, &Shift::NONE);
    let m = d.misalignment;
    let rows = [
        ("thrust, one", 10.0 * m.thrust_rad[0], of(Slot::ThrustOne)),
        ("thrust, other", 10.0 * m.thrust_rad[1], of(Slot::ThrustOther)),
        ("fins, one", 10.0 * m.fins_rad[0], of(Slot::FinsOne)),
        ("fins, other", 10.0 * m.fins_rad[1], of(Slot::FinsOther)),
        ("roll rate", m.roll_rate_rad_s, of(Slot::RollRate)),
        ("roll", m.roll_rad, core::f64::consts::TAU * of(Slot::RollAngle)),
        ("line stretch", e.line_stretch_lag_s, of(Slot::LineStretchLag)),
        ("apogee", e.apogee_lag_s, of(Slot::ApogeeLag)),
        ("height", e.height_error_m, of(Slot::SensedHeight)),
        ("delay", e.delay_error_s[0], of(Slot::Delay(0))),
        ("drag", d.drag_factor, 0.75 + 0.5 * of(Slot::Drag)),
        ("mass", d.mass.at(0.0).mass_kg / 0.62, 0.75 + 0.5 * of(Slot::Mass)),
    ];
    sheet.all_close("drawn", rows.map(|(name, got, want)| (name.to_string(), got, want)), 1e-12);
    sheet
}

fn drw_4_clusters() -> Sheet {
    let mut sheet = Sheet::new(
        "DRW-4",
        "three motors, of which one stays unlit in half of the flights: the number of its slot says when, the next one which",
        Trust::Statement,
        "equal thirds; what an unlit motor holds stays on board",
    );
    sheet.because("rounding");
    let mut inputs = without_spread(rockets::club());
    (inputs.motor.count, inputs.motor.one_unlit_share) = (3, Some(0.5));
    let case = case(inputs);
    for (unlit, which, expected, burned) in
        [(0.49, 0.1, "1, 2", 2.0), (0.49, 0.5, "0, 2", 2.0), (0.49, 0.9, "0, 1", 2.0), (0.51, 0.5, "0, 1, 2", 3.0)]
    {
        let mut numbers = [0.5; SLOTS];
        numbers[Slot::Unlit.dimension()] = unlit;
        numbers[Slot::UnlitMotor.dimension()] = which;
        let (drawn, events) = draw(&case, &Numbers::given(numbers), &Shift::NONE);
        let lit: Vec<String> = drawn.thrust.motor_burnouts_s().iter().map(|m| m.0.to_string()).collect();
        let name = format!("{unlit} and {which}");
        sheet.equal(format!("{name}: motors that burn"), lit.join(", "), expected.to_string());
        let each_kg = case.mass.propellant_kg / 3.0;
        let left_kg = 0.62 - burned * each_kg;
        sheet.close(format!("{name}: hangs, kg"), events.stages.mass_kg, left_kg, 1e-12);
        let moment = drawn.thrust.at(0.2, Side::After).offset_moment_n_m;
        let skew = libm::hypot(moment[0], moment[1]);
        // Two of three motors at 120 deg pull as one of them would from the other side.
        let pull = drawn.thrust.at(0.2, Side::After).thrust_n / burned * 0.25 * 0.054;
        sheet.close(format!("{name}: moment off the axis, N m"), skew, if burned < 3.0 { pull } else { 0.0 }, 1e-9);
    }
    sheet
}
