//! US Standard Atmosphere 1976 (NOAA-S/T 76-1562), grade A: tables computed from its formulas and checked
//! against published tables and general-purpose packages.

use slowpoint_sim::air::{Column, geopotential_m, standard, station_pressure_pa};
use slowpoint_tests::{close, close_relative};

/// Relative tolerance: covers R 287.05307 against 287.05287 (ISO 2533) and the published data's own spread.
const TOLERANCE: f64 = 1e-5;

#[test]
fn geometric_heights() {
    for (z, t, p, rho, a) in [
        (0.0, 288.1500, 101_325.00, 1.225_000, 340.294),
        (500.0, 284.9003, 95_461.29, 1.167_273, 338.370),
        (1000.0, 281.6510, 89_876.29, 1.111_659, 336.435),
        (2000.0, 275.1541, 79_501.42, 1.006_553, 332.532),
        (3000.0, 268.6592, 70_121.16, 0.909_254, 328.584),
        (5000.0, 255.6755, 54_048.29, 0.736_428, 320.546),
        (8000.0, 236.2154, 35_651.63, 0.525_786, 308.105),
        (11_000.0, 216.7735, 22_699.96, 0.364_802, 295.154),
        (15_000.0, 216.6500, 12_111.83, 0.194_755, 295.070),
    ] {
        let air = standard(geopotential_m(z));
        close_relative("temperature", air.temperature_k, t, TOLERANCE);
        close_relative("pressure", air.pressure_pa, p, TOLERANCE);
        close_relative("density", air.density_kg_m3, rho, TOLERANCE);
        close_relative("speed of sound", air.speed_of_sound_m_s, a, TOLERANCE);
        // The column over a standard pad is the same air.
        let column = Column::over(0.0, 101_325.0, 288.15).at(z);
        close_relative("column density", column.density_kg_m3, rho, TOLERANCE);
    }
}

#[test]
fn geopotential_heights() {
    for (h, t, p, rho, a) in [
        (500.0, 284.900, 95_460.84, 1.167_268, 338.370),
        (2000.0, 275.150, 79_495.22, 1.006_490, 332.529),
        (5000.0, 255.650, 54_019.91, 0.736_115, 320.530),
        (11_000.0, 216.650, 22_632.06, 0.363_918, 295.070),
        (15_000.0, 216.650, 12_044.57, 0.193_674, 295.070),
    ] {
        let air = standard(h);
        close_relative("temperature", air.temperature_k, t, TOLERANCE);
        close_relative("pressure", air.pressure_pa, p, TOLERANCE);
        close_relative("density", air.density_kg_m3, rho, TOLERANCE);
        close_relative("speed of sound", air.speed_of_sound_m_s, a, TOLERANCE);
    }
}

/// ICAO definition of the altimeter setting: 1013.25 hPa is the standard atmosphere's pressure there.
#[test]
fn altimeter_setting_to_station_pressure() {
    for (elevation, hpa) in [(0.0, 1013.25), (300.0, 977.73), (1000.0, 898.75), (1500.0, 845.56)] {
        close("station pressure, hPa", station_pressure_pa(101_325.0, elevation) / 100.0, hpa, 0.005);
    }
}
