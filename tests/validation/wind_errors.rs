//! The wind about its mean: gusts, variable directions, and the errors drawn at every height.

use super::wind_laws::{OPEN, speed, surface};
use slowpoint_sim::case::{Case, Inputs};
use slowpoint_sim::draw::{Numbers, PointSet, Shift, draw};
use slowpoint_sim::wind::{Direction, ERROR_ANCHORS_M, Gustiness, Layer, SurfaceLaw, SurfaceWind, WindTable};
use slowpoint_tests::rockets;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Gusts and wind errors":
    gst_1_reported_peaks,
    var_1_uniform,
    var_2_under_layers,
    err_1_at_the_anchors,
    err_2_between_the_anchors,
    snd_1_always_sound,
}

/// The club rocket in a wind without errors but for its gusts.
pub fn gusty(wind: SurfaceWind) -> Inputs {
    let mut inputs = rockets::club();
    inputs.wind.surface = Some(wind);
    inputs.wind.layers.clear();
    (inputs.spread.wind_component_sd_m_s, inputs.spread.wind_direction_sd_rad) = (Some(0.0), Some(0.0));
    inputs
}

pub fn drawn_winds(inputs: Inputs, flights: u64) -> Vec<WindTable> {
    let case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
    let of = |flight| draw(&case, &Numbers::of(PointSet::Sobol, 11, flight), &Shift::NONE).0.wind;
    (0..flights).map(of).collect()
}

fn gst_1_reported_peaks() -> Sheet {
    let mut sheet = Sheet::new(
        "GST-1",
        "gusts at the instrument in 10,000 flights, 12 m/s over rough ground",
        Trust::A,
        "WMO-No. 306, regulation 15.5.5: without a gust group the peak is under 5 m/s over the mean; with one it is the reported one",
    );
    for (gust_m_s, peak) in [(None, 5.0), (Some(12.0), 0.0), (Some(21.0), 9.0)] {
        let mut inputs = gusty(SurfaceWind { gust_m_s, ..surface(12.0, 10.0) });
        inputs.wind.law = Some(SurfaceLaw::Log { roughness_m: 0.25 });
        let over: Vec<f64> = drawn_winds(inputs, 10_000).iter().map(|w| -w.at(10.0).1 - 12.0).collect();
        let name = gust_m_s.map_or("no gust group".to_string(), |g| format!("gusts of {g} m/s reported"));
        let sd = (over.iter().map(|x| x * x).sum::<f64>() / 10_000.0).sqrt();
        let beyond = over.iter().filter(|x| **x > peak + 1e-9).count() as f64 / 10_000.0;
        sheet.because(
            "an assumption: the peak of ten minutes is three standard deviations of an instant over the mean; 10,000 flights know the latter to 0.7 %, of which four",
        );
        sheet.close(format!("{name}: standard deviation, m/s"), sd, peak / 3.0, 0.028 * peak / 3.0 + 1e-12);
        sheet.because("of instants 0.135 % lie beyond three standard deviations; four binomial ones of 10,000 flights");
        sheet.at_most(format!("{name}: share of instants over the peak"), beyond, 0.001_35 + 0.001_47);
    }
    sheet
}

/// Flights whose wind at a height blows towards each of 16 sectors.
fn sectors(winds: &[WindTable], height_m: f64) -> [i32; 16] {
    let mut sectors = [0; 16];
    for wind in winds {
        let (e, n) = wind.at(height_m);
        let turn = libm::atan2(e, n) / core::f64::consts::TAU + 0.5;
        sectors[((turn * 16.0) as usize).min(15)] += 1;
    }
    sectors
}

fn var_1_uniform() -> Sheet {
    let mut sheet = Sheet::new(
        "VAR-1",
        "a variable wind of 4096 flights over 16 sectors, 256 each",
        Trust::Statement,
        "it comes from everywhere alike",
    );
    sheet.because("five binomial standard deviations are 77");
    let winds = drawn_winds(gusty(SurfaceWind { direction: Direction::Variable, ..surface(3.0, 10.0) }), 4096);
    for z in [2.0, 10.0, 150.0] {
        let found = sectors(&winds, z);
        let sectors = found.iter().enumerate().map(|(k, n)| (format!("sector {k}"), f64::from(*n), 256.0));
        sheet.all_close(&format!("flights at {z} m"), sectors, 76.0);
    }
    sheet
}

fn var_2_under_layers() -> Sheet {
    let mut sheet = Sheet::new(
        "VAR-2",
        "the same under layers that have a direction: uniform where it was measured, the layers' own aloft",
        Trust::Statement,
        "4096 flights over 16 sectors near the ground; 11 m/s from 275 deg at 1200 m",
    );
    sheet.because("rounding");
    let mut inputs = gusty(SurfaceWind { direction: Direction::Variable, ..surface(3.0, 10.0) });
    inputs.wind.layers = rockets::club().wind.layers;
    inputs.wind.gustiness = Some(Gustiness::Off);
    let winds = drawn_winds(inputs, 4096);
    let (east, north) = (libm::sin(95.0_f64.to_radians()), libm::cos(95.0_f64.to_radians()));
    let aloft = winds.iter().enumerate().flat_map(|(k, wind)| {
        let (e, n) = wind.at(1200.0);
        [(format!("east, flight {k}"), e, 11.0 * east), (format!("north, flight {k}"), n, 11.0 * north)]
    });
    sheet.all_close("wind at 1200 m, m/s", aloft, 1e-9);
    sheet.because("five binomial standard deviations are 77");
    for z in [2.0, 10.0] {
        let found = sectors(&winds, z);
        let sectors = found.iter().enumerate().map(|(k, n)| (format!("sector {k}"), f64::from(*n), 256.0));
        sheet.all_close(&format!("flights at {z} m"), sectors, 76.0);
    }
    sheet
}

/// Errors of the wind at heights, along and across, over drawn flights; gusts are switched off.
fn errors_at(heights: &[f64], length_m: f64) -> Vec<Vec<[f64; 2]>> {
    let mut inputs = gusty(SurfaceWind { gust_m_s: Some(6.0), ..surface(6.0, 10.0) });
    inputs.spread.wind_component_sd_m_s = Some(2.0);
    inputs.spread.wind_correlation_length_m = Some(length_m);
    // One direction all the way up, so that along is north and across is east; no growth below the top.
    inputs.wind.layers = vec![Layer { height_above_ground_m: 6000.0, speed_m_s: 6.0, direction_from_rad: 0.0 }];
    let case = Case::new(inputs.clone()).unwrap_or_else(|f| panic!("{f:?}"));
    let mean = case.wind.mean();
    let winds = drawn_winds(inputs, 4096);
    heights
        .iter()
        .map(|z| {
            let (e0, n0) = mean.at(*z);
            winds.iter().map(|w| [w.at(*z).0 - e0, w.at(*z).1 - n0]).collect()
        })
        .collect()
}

fn product_mean(a: &[[f64; 2]], b: &[[f64; 2]], i: usize, j: usize) -> f64 {
    a.iter().zip(b).map(|(a, b)| a[i] * b[j]).sum::<f64>() / a.len() as f64
}

fn err_1_at_the_anchors() -> Sheet {
    let mut sheet = Sheet::new(
        "ERR-1",
        "errors of the wind over 4096 flights where they are drawn",
        Trust::Statement,
        "standard deviation 2 m/s at every height, correlation exp(-dz/L) over height, along and across independent",
    );
    sheet.because(
        "4096 flights have a standard deviation of 1.1 % of the size and up to 0.016 of a correlation, of which three",
    );
    for length_m in [200.0, 500.0, 2000.0] {
        let errors = errors_at(&ERROR_ANCHORS_M, length_m);
        let (mut sizes, mut correlations, mut crossed) = (Vec::new(), Vec::new(), Vec::new());
        for (a, low) in errors.iter().zip(ERROR_ANCHORS_M) {
            for part in [0, 1] {
                let sd = product_mean(a, a, part, part).sqrt();
                sizes.push((format!("{low} m, part {part}"), sd, 2.0));
                for (b, high) in errors.iter().zip(ERROR_ANCHORS_M) {
                    let r = product_mean(a, b, part, part) / (sd * product_mean(b, b, part, part).sqrt());
                    let expected = libm::exp(-(high - low).abs() / length_m);
                    correlations.push((format!("{low} m with {high} m, part {part}"), r, expected));
                }
            }
            crossed.push((format!("{low} m"), product_mean(a, a, 0, 1) / 4.0, 0.0));
        }
        sheet.all_close(&format!("L {length_m} m: standard deviation, m/s"), sizes, 0.068);
        sheet.all_close(&format!("L {length_m} m: correlation"), correlations, 0.048);
        sheet.all_close(&format!("L {length_m} m: along with across"), crossed, 0.048);
    }
    sheet
}

fn err_2_between_the_anchors() -> Sheet {
    let mut sheet = Sheet::new(
        "ERR-2",
        "the same between those heights",
        Trust::Statement,
        "standard deviation 2 m/s at every height",
    );
    sheet.because("as for ERR-1");
    let heights = [55.0, 175.0, 375.0, 700.0, 1200.0, 2000.0, 3750.0];
    for (a, z) in errors_at(&heights, 500.0).iter().zip(heights) {
        let sd = product_mean(a, a, 1, 1).sqrt();
        sheet.close_relative(format!("standard deviation at {z} m, m/s"), sd, 2.0, 0.034);
    }
    sheet
}

fn snd_1_always_sound() -> Sheet {
    let mut sheet = Sheet::new(
        "SND-1",
        "256 winds each of ten days from calm to wild, at heights from -5 m to 30 km",
        Trust::Statement,
        "each is a number, at the ground there is none, and a calm day without errors stays calm up to 200 m",
    );
    let (mut at_ground, mut not_a_number, mut not_calm) = (0, 0, 0);
    for (metres_per_second, sd, law) in [
        (0.0, 0.0, OPEN),
        (0.0, 3.0, OPEN),
        (0.3, 15.0, SurfaceLaw::Power { exponent: 0.6 }),
        (40.0, 1.5, SurfaceLaw::Log { roughness_m: 3.0 }),
        (4.0, 1.5, SurfaceLaw::Log { roughness_m: 0.0001 }),
    ] {
        for direction in [Direction::From(1.0), Direction::Variable] {
            let mut inputs = gusty(SurfaceWind { direction, ..surface(metres_per_second, 10.0) });
            inputs.spread.wind_component_sd_m_s = Some(sd);
            inputs.wind.law = Some(law);
            for wind in drawn_winds(inputs, 256) {
                at_ground += usize::from(speed(&wind, 0.0) != 0.0);
                for z in [-5.0, 1e-6, 0.02, 1.0, 10.0, 99.0, 200.0, 1000.0, 30_000.0] {
                    let found = speed(&wind, z);
                    not_a_number += usize::from(!found.is_finite());
                    // Above the law's 200 m nothing is known: the model's error grows there whatever was asked.
                    if metres_per_second == 0.0 && sd == 0.0 && z <= 200.0 {
                        not_calm += usize::from(found != 0.0);
                    }
                }
            }
        }
    }
    sheet.equal("winds at the ground", at_ground, 0);
    sheet.equal("winds that are no number", not_a_number, 0);
    sheet.equal("winds on a calm day", not_calm, 0);
    sheet
}
