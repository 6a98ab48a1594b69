//! How a rocket turns into the wind, and how winds add up.

use slowpoint_sim::aero::SlopeMoments;
use slowpoint_sim::case::Case;
use slowpoint_sim::draw::{Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{Gravity, Start, State};
use slowpoint_sim::lanes::norm;
use slowpoint_sim::wind::WindTable;
use slowpoint_tests::sheet::{Sheet, Trust};
use slowpoint_tests::{ascent, bare, bare_aero, larger, one_motor, rockets};

slowpoint_tests::subject! { "Weathervane and wind weighting":
    wc_1_weathervane,
    ww_1_small_winds_are_linear,
    ww_2_layers_add_up,
    ww_3_low_winds_weigh_most,
}

/// A rigid body approaches the perfect weathervane as it turns within a shorter way: the way is the lever of its tail
/// (a damped tail trails by it) and the wavelength of its pitching, so both shrink here.
fn wc_1_weathervane() -> Sheet {
    let mut sheet = Sheet::new(
        "WC-1",
        "perfect weathervane: off a vertical rail at 15 m/s in 5 m/s of wind, no gravity",
        Trust::B,
        "own derivation, exact: the direction of the air-relative velocity never changes",
    );
    let mut errors = Vec::new();
    let slope = 20.0;
    for lever in [0.4, 0.1, 0.025] {
        let mut aero = bare_aero(1e-3, 0.0);
        let tail = 0.5 + lever;
        aero.fins = SlopeMoments { zeroth_per_rad: slope, first_m: slope * tail, second_m2: slope * tail * tail };
        let mut drawn = bare(&aero, 1.0, 0.0);
        drawn.gravity = Gravity::constant(0.0);
        drawn.mass.dry_inertia_kg_m2 = 1e-3 * lever * lever;
        drawn.wind = WindTable::uniform(5.0, 0.0);
        drawn.thrust = one_motor(&[(0.0, 60.0), (5.0, 60.0)]);
        drawn.start = Start::Free(State {
            position: [0.0; 3],
            velocity: [0.0, 0.0, 15.0],
            nose: [0.0, 0.0, 1.0],
            spin: [0.0; 3],
        });
        let mut flight = ascent(&drawn, 1.0);
        flight.path.nodes.retain(|n| n.time_s < 4.5);
        let upwind_deg = |airspeed: f64| {
            let n = flight.path.nodes.iter().find(|n| {
                let u = [n.velocity_m_s[0] - 5.0, n.velocity_m_s[1], n.velocity_m_s[2]];
                norm(u) >= airspeed
            });
            let v = n.map_or([0.0; 3], |n| n.velocity_m_s);
            libm::atan2(-v[0], v[2]).to_degrees()
        };
        let rows = [(50.0, 12.8397), (100.0, 15.6756), (200.0, 17.0655)].map(|(v, deg)| (v, upwind_deg(v), deg));
        errors.push(rows.iter().fold(0.0, |worst, (_, got, deg)| larger(worst, (got - deg).abs())));
        if lever == 0.025 {
            sheet.because("a tail that turns within some 2.5 cm comes close; read at the first step past the speed");
            for (airspeed, got, expected) in rows {
                sheet.close(
                    format!("path upwind of vertical at {airspeed} m/s, tail lever {lever} m, deg"),
                    got,
                    expected,
                    0.3,
                );
            }
        }
    }
    sheet.because("the shorter the lever, the closer");
    sheet.less_than("worst at a lever of 0.1 m, deg, against that at 0.4 m", errors[1], errors[0]);
    sheet.less_than("worst at a lever of 0.025 m, deg, against that at 0.1 m", errors[2], errors[1]);
    sheet
}

const LITERATURE: &str = "method of James and Harris (NASA TN D-645, 1961) and Lewis (BRL 685, 1949), from memory: a wind \
    is split into layers, each with a weight; what follows is a property, no table of theirs was at hand";

/// Where the club rocket would come down without any ejection, east and north of where it does in calm air: a card
/// whose spreads are all nothing, on a rail that leans 5 deg to the north, in a wind from the west.
fn displacement_m(wind: WindTable) -> [f64; 2] {
    let mut inputs = rockets::without_spread(rockets::club());
    (inputs.launch.tilt_rad, inputs.launch.azimuth_rad) = (Some(5.0_f64.to_radians()), Some(0.0));
    inputs.site.latitude_rad = Some(0.0);
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    let land = |wind: WindTable| {
        let (mut drawn, _) = draw(&case, &Numbers::of(PointSet::Sobol, 1, 0), &Shift::NONE);
        drawn.wind = wind;
        let path = ascent(&drawn, 8.0).path;
        path.at(path.end_s()).position_m
    };
    let (there, calm) = (land(wind), land(WindTable::uniform(0.0, 0.0)));
    [there[0] - calm[0], there[1] - calm[1]]
}

fn ww_1_small_winds_are_linear() -> Sheet {
    let mut sheet =
        Sheet::new("WW-1", "twice a small wind moves the impact twice as far", Trust::FromMemory, LITERATURE);
    sheet.because("a few per cent, as stated with the property");
    for wind in [0.25, 0.5] {
        let [one, two] = [wind, 2.0 * wind].map(|w| displacement_m(WindTable::uniform(w, 0.0))[0]);
        sheet.close(format!("displacement in {} m/s over that in {wind} m/s", 2.0 * wind), two / one, 2.0, 0.06);
    }
    sheet
}

/// Heights of the layers, m: each is a peak of 1 m/s at one that falls to nothing at its neighbours, so that all of
/// them add up to a uniform wind.
const LAYERS_M: [f64; 9] = [0.0, 50.0, 100.0, 150.0, 200.0, 300.0, 400.0, 600.0, 800.0];

fn layer(k: usize) -> WindTable {
    WindTable::new((0..LAYERS_M.len()).map(|i| [LAYERS_M[i], f64::from(u8::from(i == k)), 0.0]).collect())
}

fn ww_2_layers_add_up() -> Sheet {
    let mut sheet = Sheet::new(
        "WW-2",
        "winds of 1 m/s in one layer after the other move the impact as far as in all",
        Trust::FromMemory,
        LITERATURE,
    );
    sheet.because("as stated with the property, for winds up to 1 m/s");
    let sum: f64 = (0..LAYERS_M.len()).map(|k| displacement_m(layer(k))[0]).sum();
    let all = displacement_m(WindTable::uniform(1.0, 0.0))[0];
    sheet.close_relative("sum over layers, m, against the uniform wind", sum, all, 0.02);
    sheet
}

fn ww_3_low_winds_weigh_most() -> Sheet {
    let mut sheet = Sheet::new(
        "WW-3",
        "the first 50 m above the rail weigh most per metre of height",
        Trust::FromMemory,
        LITERATURE,
    );
    // Extent of a peak: half the way between its neighbours.
    let middle = LAYERS_M.windows(3).map(|w| (w[1], 0.5 * (w[2] - w[0])));
    let per_metre = |k: usize, extent_m: f64| displacement_m(layer(k))[0].abs() / extent_m;
    let first = per_metre(0, 0.5 * LAYERS_M[1]);
    sheet.because("less than in the first layer; the last is left out, as it has no upper end");
    for (k, (height, extent_m)) in middle.enumerate() {
        let found = per_metre(k + 1, extent_m);
        sheet.less_than(format!("displacement per m/s and metre of height about {height} m, m"), found, first);
    }
    sheet
}
