//! The air: US Standard Atmosphere 1976 by geometric and by geopotential height, and what a pad's pressure means.

use slowpoint_sim::air::{AirState, Column, geopotential_m, standard, station_pressure_pa};
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Atmosphere":
    atm_z_geometric_heights,
    atm_h_geopotential_heights,
    atm_n_check_case_air,
    atm_handbook_rows,
    atm_q_altimeter_setting,
    atm_v_viscosity,
}

const US76: &str = "US Standard Atmosphere 1976, NOAA-S/T 76-1562: computed from its formulas, the same to 3.3e-6 as \
    three general-purpose packages";
const SPREAD: &str = "covers R 287.05307 against 287.05287 of ISO 2533 and the published data's own spread";

/// Temperature (K), pressure (Pa), density (kg/m^3) and speed of sound (m/s) at a height, all to 1e-5.
fn four(sheet: &mut Sheet, height: &str, air: AirState, [t, p, rho, a]: [f64; 4]) {
    sheet.close_relative(format!("temperature at {height}, K"), air.temperature_k, t, 1e-5);
    sheet.close_relative(format!("pressure at {height}, Pa"), air.pressure_pa, p, 1e-5);
    sheet.close_relative(format!("density at {height}, kg/m³"), air.density_kg_m3, rho, 1e-5);
    sheet.close_relative(format!("speed of sound at {height}, m/s"), air.speed_of_sound_m_s, a, 1e-5);
}

fn atm_z_geometric_heights() -> Sheet {
    let mut sheet = Sheet::new("ATM-Z", "air by geometric height", Trust::A, US76);
    sheet.because(SPREAD);
    let rows = [
        (0.0, [288.1500, 101_325.00, 1.225_000, 340.294]),
        (500.0, [284.9003, 95_461.29, 1.167_273, 338.370]),
        (1000.0, [281.6510, 89_876.29, 1.111_659, 336.435]),
        (2000.0, [275.1541, 79_501.42, 1.006_553, 332.532]),
        (3000.0, [268.6592, 70_121.16, 0.909_254, 328.584]),
        (5000.0, [255.6755, 54_048.29, 0.736_428, 320.546]),
        (8000.0, [236.2154, 35_651.63, 0.525_786, 308.105]),
        (11_000.0, [216.7735, 22_699.96, 0.364_802, 295.154]),
        (15_000.0, [216.6500, 12_111.83, 0.194_755, 295.070]),
    ];
    for (z, values) in rows {
        four(&mut sheet, &format!("{z} m"), standard(geopotential_m(z)), values);
    }
    for (z, h) in [(5000.0, 4996.070), (15_000.0, 14_964.688)] {
        sheet.close_relative(format!("geopotential height of {z} m, m"), geopotential_m(z), h, 1e-6);
    }
    // The column over a standard pad, as flights have it, is the same air.
    let pad = Column::over(0.0, 101_325.0, 288.15);
    for (z, [_, _, rho, _]) in rows {
        sheet.close_relative(format!("density {z} m over a standard pad, kg/m³"), pad.at(z).density_kg_m3, rho, 1e-5);
    }
    sheet
}

/// Both tables hold only if the two kinds of height are told apart: taken for each other, density is off by 0.04 % at
/// 5 km and by 0.55 % at 15 km.
fn atm_h_geopotential_heights() -> Sheet {
    let mut sheet = Sheet::new("ATM-H", "air by geopotential height, told apart from geometric", Trust::A, US76);
    sheet.because(SPREAD);
    for (h, values) in [
        (500.0, [284.900, 95_460.84, 1.167_268, 338.370]),
        (1000.0, [281.650, 89_874.57, 1.111_642, 336.434]),
        (2000.0, [275.150, 79_495.22, 1.006_490, 332.529]),
        (3000.0, [268.650, 70_108.54, 0.909_121, 328.578]),
        (5000.0, [255.650, 54_019.91, 0.736_115, 320.530]),
        (8000.0, [236.150, 35_599.81, 0.525_167, 308.063]),
        (11_000.0, [216.650, 22_632.06, 0.363_918, 295.070]),
        (15_000.0, [216.650, 12_044.57, 0.193_674, 295.070]),
    ] {
        four(&mut sheet, &format!("{h} m"), standard(h), values);
    }
    sheet
}

fn atm_n_check_case_air() -> Sheet {
    let mut sheet = Sheet::new(
        "ATM-N",
        "air along the trajectories of the atmospheric check cases",
        Trust::A,
        "NASA/TM-2015-218675, data files of cases 4 and 9",
    );
    sheet.because("printed digits and the difference of R");
    let sea_level = standard(0.0).pressure_pa;
    let rows = [
        (9144.0, 228.79937, 30_148.94, 0.459_040_4, 303.23013),
        (4947.3020, 256.01754, 54_429.88, 0.740_630_1, 320.75970),
        (2227.0535, 273.67922, 77_287.86, 0.983_791_7, 331.63919),
    ];
    for (z, t, _, rho, a) in rows {
        let air = standard(geopotential_m(z));
        sheet.close_relative(format!("temperature at {z} m, K"), air.temperature_k, t, 1e-6);
        sheet.close_relative(format!("density at {z} m, kg/m³"), air.density_kg_m3, rho, 1e-6);
        sheet.close_relative(format!("speed of sound at {z} m, m/s"), air.speed_of_sound_m_s, a, 1e-6);
    }
    sheet.because(
        "as for ATM-Z; the files' pressures all carry some 1e-5 from their units (101326.04 Pa at 0 m), which the \
        ratio to that one takes off",
    );
    for (z, _, p, _, _) in rows {
        let over_sea_level = standard(geopotential_m(z)).pressure_pa / sea_level;
        sheet.close_relative(format!("pressure at {z} m over that at 0 m"), over_sea_level, p / 101_326.04, 1e-5);
    }
    sheet
}

fn atm_handbook_rows() -> Sheet {
    let mut sheet = Sheet::new(
        "ATM-HB",
        "air by geometric height as a handbook prints it",
        Trust::A,
        "Mechanical Engineers' Handbook, vol. 4, table 6, p. 12",
    );
    sheet.because("one unit of the last printed digit: the table rounds twice (320.546 is printed as 320.6)");
    for (z, t, bar, rho, a) in [
        (1000.0, 281.65, 0.8988, 1.1117, 336.4),
        (2000.0, 275.15, 0.7950, 1.0066, 332.5),
        (3000.0, 268.66, 0.7012, 0.9093, 328.6),
        (5000.0, 255.68, 0.5405, 0.7364, 320.6),
        (8000.0, 236.22, 0.3565, 0.5258, 308.1),
        (11_000.0, 216.77, 0.2270, 0.3648, 295.2),
    ] {
        let air = standard(geopotential_m(z));
        sheet.close(format!("temperature at {z} m, K"), air.temperature_k, t, 0.01);
        sheet.close(format!("pressure at {z} m, bar"), air.pressure_pa * 1e-5, bar, 1e-4);
        sheet.close(format!("density at {z} m, kg/m³"), air.density_kg_m3, rho, 1e-4);
        sheet.close(format!("speed of sound at {z} m, m/s"), air.speed_of_sound_m_s, a, 0.1);
    }
    sheet
}

fn atm_q_altimeter_setting() -> Sheet {
    let mut sheet = Sheet::new(
        "ATM-Q",
        "station pressure from an altimeter setting of 1013.25 hPa",
        Trust::A,
        "ICAO Doc 7488: by definition the standard atmosphere's pressure at that elevation",
    );
    sheet.because("half a unit of the last printed digit");
    for (elevation_m, hpa) in [(0.0, 1013.25), (300.0, 977.73), (1000.0, 898.75), (1500.0, 845.56)] {
        let found = station_pressure_pa(101_325.0, elevation_m) / 100.0;
        sheet.close(format!("station pressure at {elevation_m} m, hPa"), found, hpa, 0.005);
    }
    sheet
}

fn atm_v_viscosity() -> Sheet {
    let mut sheet = Sheet::new(
        "ATM-V",
        "dynamic viscosity by geometric height",
        Trust::FromMemory,
        "US Standard Atmosphere 1976, table of viscosity; Sutherland's law with beta 1.458e-6 and S 110.4 K",
    );
    sheet.because("one unit of the last printed digit");
    for (z, viscosity) in
        [(0.0, 1.7894e-5), (1000.0, 1.7579e-5), (2000.0, 1.7260e-5), (5000.0, 1.6282e-5), (10_000.0, 1.4577e-5)]
    {
        let found = standard(geopotential_m(z)).dynamic_viscosity_pa_s();
        sheet.close(format!("dynamic viscosity at {z} m, Pa s"), found, viscosity, 1e-9);
    }
    sheet
}
