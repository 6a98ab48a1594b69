//! The mean wind: laws near the ground, vectors, turbulence intensity.

use slowpoint_sim::wind::{Direction, Layer, Profile, SurfaceLaw, SurfaceWind, WindErrors, WindTable};
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Wind laws":
    wnd_0_ratios,
    wnd_1_power_law_and_its_exponent,
    wnd_2_hand_held_reading,
    wnd_3_vectors,
    wnd_4_turbulence_intensity,
}

const NO_ERRORS: WindErrors = WindErrors {
    component_sd_m_s: 0.0,
    direction_sd_rad: 0.0,
    correlation_length_m: 500.0,
    growth_above_top_per_s: 0.0,
};

/// Short grass.
pub const OPEN: SurfaceLaw = SurfaceLaw::Log { roughness_m: 0.03 };

/// A wind from the north.
pub fn surface(speed_m_s: f64, measuring_height_m: f64) -> SurfaceWind {
    SurfaceWind { speed_m_s, direction: Direction::From(0.0), measuring_height_m, gust_m_s: None }
}

fn profile(surface: Option<SurfaceWind>, layers: &[Layer], law: SurfaceLaw, errors: WindErrors) -> Profile {
    Profile::new(surface, layers, law, errors).unwrap_or_else(|| panic!("a wind is given"))
}

/// Speed at a height, m/s.
pub fn speed(wind: &WindTable, height_m: f64) -> f64 {
    let (e, n) = wind.at(height_m);
    libm::hypot(e, n)
}

fn named(law: SurfaceLaw) -> String {
    match law {
        SurfaceLaw::Log { roughness_m } => format!("log law over {roughness_m} m"),
        SurfaceLaw::Power { exponent } => format!("power law of {exponent:.3}"),
    }
}

#[expect(clippy::approx_constant, reason = "0.3010 is a printed ratio of speeds")]
fn wnd_0_ratios() -> Sheet {
    let mut sheet = Sheet::new(
        "WND-0",
        "speed over that at 10 m, as a law and as laid down for flights",
        Trust::B,
        "logarithmic law over Davenport's roughness classes (WMO code list) and power laws of an engineering table (1/7 from memory), computed",
    );
    sheet.because("four printed places");
    let mut laid_down = Vec::new();
    let log = [0.0002, 0.005, 0.03, 0.10, 0.25, 0.5, 1.0];
    let power = [0.10, 1.0 / 7.0, 0.15, 0.20, 0.25, 0.40];
    for (z, by_log, by_power) in [
        (
            2.0,
            [0.8513, 0.7883, 0.7230, 0.6505, 0.5637, 0.4628, 0.3010],
            [0.8513, 0.7946, 0.7855, 0.7248, 0.6687, 0.5253],
        ),
        (
            20.0,
            [1.0641, 1.0912, 1.1193, 1.1505, 1.1879, 1.2314, 1.3010],
            [1.0718, 1.1041, 1.1096, 1.1487, 1.1892, 1.3195],
        ),
        (
            50.0,
            [1.1488, 1.2117, 1.2771, 1.3495, 1.4363, 1.5372, 1.6990],
            [1.1746, 1.2585, 1.2731, 1.3797, 1.4953, 1.9037],
        ),
        (
            100.0,
            [1.2128, 1.3029, 1.3964, 1.5000, 1.6242, 1.7686, 2.0000],
            [1.2589, 1.3895, 1.4125, 1.5849, 1.7783, 2.5119],
        ),
        (
            200.0,
            [1.2769, 1.3941, 1.5157, 1.6505, 1.8121, 2.0000, 2.3010],
            [1.3493, 1.5341, 1.5673, 1.8206, 2.1147, 3.3145],
        ),
    ] {
        let logs = log.into_iter().zip(by_log).map(|(roughness_m, r)| (SurfaceLaw::Log { roughness_m }, r));
        let powers = power.into_iter().zip(by_power).map(|(exponent, r)| (SurfaceLaw::Power { exponent }, r));
        for (law, ratio) in logs.chain(powers) {
            sheet.close(format!("{} at {z} m", named(law)), law.ratio(z, 10.0), ratio, 1e-4);
            let laid = profile(Some(surface(1.0, 10.0)), &[], law, NO_ERRORS).mean();
            let slope = match law {
                SurfaceLaw::Log { roughness_m } => 1.0 / libm::log(10.0 / roughness_m),
                SurfaceLaw::Power { exponent } => exponent * ratio,
            };
            let share = (speed(&laid, z) - ratio).abs() / (0.033 * slope + 1e-4);
            laid_down.push((share, format!("{} at {z} m", named(law))));
        }
    }
    sheet.because(
        "straight between nodes a factor of 5/3 apart at most it sags below a curve by at most f'' dz²/8: 0.033 of the \
        slope by ln z",
    );
    laid_down.sort_by(|a, b| a.0.total_cmp(&b.0));
    let (share, name) = &laid_down[laid_down.len() - 1];
    let all = laid_down.len();
    sheet.at_most(format!("laid down: error over what is allowed, worst of {all}: {name}"), *share, 1.0);
    sheet
}

fn wnd_1_power_law_and_its_exponent() -> Sheet {
    let mut sheet = Sheet::new(
        "WND-1",
        "5 m/s at 10 m with an exponent of 0.25, at 40 m; exponents equivalent to a roughness",
        Trust::B,
        "engineering example, published 7.1 m/s; alpha = 1 / ln(z/z0) (wind-atlas FAQ)",
    );
    sheet.because("half a unit of the last printed digit");
    sheet.close("speed at 40 m, m/s", 5.0 * SurfaceLaw::Power { exponent: 0.25 }.ratio(40.0, 10.0), 7.07, 0.01);
    for (roughness_m, exponent) in [(0.03, 0.1721), (0.10, 0.2171)] {
        sheet.close(
            format!("exponent for {roughness_m} m at 10 m"),
            SurfaceLaw::Log { roughness_m }.turbulence_intensity(10.0),
            exponent,
            1e-4,
        );
    }
    sheet
}

fn wnd_2_hand_held_reading() -> Sheet {
    let mut sheet = Sheet::new(
        "WND-2",
        "a hand-held 4 m/s at 2 m over short grass",
        Trust::B,
        "4 / 0.7230 and that x 1.3964 of WND-0's table: 5.5 m/s at 10 m, 7.7 at 100 m",
    );
    sheet.because("printed to a tenth");
    let wind = profile(Some(surface(4.0, 2.0)), &[], OPEN, NO_ERRORS).mean();
    for (z, metres_per_second) in [(2.0, 4.0), (10.0, 5.5), (100.0, 7.7)] {
        sheet.close(format!("speed at {z} m, m/s"), speed(&wind, z), metres_per_second, 0.05);
    }
    sheet
}

fn wnd_3_vectors() -> Sheet {
    let mut sheet = Sheet::new(
        "WND-3",
        "winds as vectors: 270 deg blows to the east; between 350 and 010 deg it is 000, not 180",
        Trust::B,
        "u = -s sin, v = -s cos; computed",
    );
    sheet.because("four printed places");
    let layer = |z, deg: f64| Layer { height_above_ground_m: z, speed_m_s: 10.0, direction_from_rad: deg.to_radians() };
    for (low, high, east, north) in
        [(270.0, 270.0, 10.0, 0.0), (360.0, 360.0, 0.0, -10.0), (90.0, 90.0, -10.0, 0.0), (350.0, 10.0, 0.0, -9.8481)]
    {
        let wind = profile(None, &[layer(100.0, low), layer(900.0, high)], OPEN, NO_ERRORS).mean();
        let (e, n) = wind.at(500.0);
        sheet.close(format!("from {low} to {high} deg, halfway: towards east, m/s"), e, east, 5.1e-5);
        sheet.close(format!("from {low} to {high} deg, halfway: towards north, m/s"), n, north, 5.1e-5);
    }
    sheet
}

#[expect(clippy::approx_constant, reason = "0.4343 is a printed intensity")]
fn wnd_4_turbulence_intensity() -> Sheet {
    let mut sheet = Sheet::new(
        "WND-4",
        "turbulence intensity, categories 0 to IV",
        Trust::A,
        "EN 1991-1-4 4.4: 1 / ln(z/z0); its table of roughness lengths",
    );
    sheet.because("four printed places");
    for (category, roughness_m, intensities) in [
        ("0", 0.003, [0.1233, 0.1029, 0.0960, 0.0900]),
        ("I", 0.01, [0.1448, 0.1174, 0.1086, 0.1010]),
        ("II", 0.05, [0.1887, 0.1448, 0.1316, 0.1206]),
        ("III", 0.3, [0.2852, 0.1955, 0.1721, 0.1538]),
        ("IV", 1.0, [0.4343, 0.2556, 0.2171, 0.1887]),
    ] {
        let law = SurfaceLaw::Log { roughness_m };
        for (z, intensity) in [10.0, 50.0, 100.0, 200.0].into_iter().zip(intensities) {
            sheet.close(format!("category {category} at {z} m"), law.turbulence_intensity(z), intensity, 1e-4);
        }
    }
    sheet.because("four printed places of both");
    for (category, roughness_m, at_10, at_50) in [
        ("0", 0.003, 1.2657, 1.5168),
        ("I", 0.01, 1.1726, 1.4458),
        ("II", 0.05, 1.0067, 1.3125),
        ("III", 0.3, 0.7553, 1.1019),
        ("IV", 1.0, 0.5396, 0.9167),
    ] {
        let found = SurfaceLaw::Log { roughness_m }.ratio(50.0, 10.0);
        sheet.close(format!("category {category}: mean at 50 m over that at 10 m"), found, at_50 / at_10, 2e-4);
    }
    sheet
}
