//! The air above the pad: US Standard Atmosphere 1976, shifted to the day's pressure and temperature.
//!
//! The temperature keeps a constant offset to the standard over height, and the pressure follows from
//! the pad's by hydrostatic balance. Geometric height is turned into geopotential.

use crate::constants::{
    AIR_GAS_CONSTANT_J_KG_K as R, AIR_HEAT_RATIO, GEOPOTENTIAL_RADIUS_M as R0, LAPSE_K_M, SEA_LEVEL_PRESSURE_PA,
    SEA_LEVEL_TEMPERATURE_K, STANDARD_GRAVITY_M_S2 as G0, TROPOPAUSE_M,
};
use crate::lanes::{Lane, cell};

/// Air at one place.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirState {
    /// Temperature, K.
    pub temperature_k: f64,
    /// Pressure, Pa.
    pub pressure_pa: f64,
    /// Density, kg/m^3.
    pub density_kg_m3: f64,
    /// Speed of sound, m/s.
    pub speed_of_sound_m_s: f64,
}

impl AirState {
    fn new(temperature_k: f64, pressure_pa: f64) -> Self {
        Self {
            temperature_k,
            pressure_pa,
            density_kg_m3: pressure_pa / (R * temperature_k),
            speed_of_sound_m_s: (AIR_HEAT_RATIO * R * temperature_k).sqrt(),
        }
    }

    /// Dynamic viscosity by Sutherland's law with the constants of US Standard Atmosphere 1976, Pa s.
    pub fn dynamic_viscosity_pa_s(&self) -> f64 {
        1.458e-6 * self.temperature_k * self.temperature_k.sqrt() / (self.temperature_k + 110.4)
    }
}

/// Geopotential height of a geometric height above sea level.
pub fn geopotential_m(geometric_m: f64) -> f64 {
    R0 * geometric_m / (R0 + geometric_m)
}

/// Temperature of the standard atmosphere up to 20 km of geopotential height.
pub fn standard_temperature_k(geopotential_m: f64) -> f64 {
    SEA_LEVEL_TEMPERATURE_K - LAPSE_K_M * geopotential_m.min(TROPOPAUSE_M)
}

/// The standard atmosphere itself, up to 20 km of geopotential height.
pub fn standard(geopotential_m: f64) -> AirState {
    Column { elevation_m: 0.0, pressure_pa: SEA_LEVEL_PRESSURE_PA, offset_k: 0.0 }.at_geopotential(geopotential_m)
}

/// Pressure at a field from its altimeter setting (the Q or A group of a report, a sea-level figure).
///
/// The setting is defined by the standard atmosphere (ICAO Doc 7488 / US Standard Atmosphere 1976).
pub fn station_pressure_pa(altimeter_setting_pa: f64, elevation_m: f64) -> f64 {
    let n = R * LAPSE_K_M / G0;
    let root =
        libm::pow(altimeter_setting_pa / SEA_LEVEL_PRESSURE_PA, n) - LAPSE_K_M * elevation_m / SEA_LEVEL_TEMPERATURE_K;
    SEA_LEVEL_PRESSURE_PA * libm::pow(root.max(0.0), 1.0 / n)
}

/// A column of air fixed by what was measured at the pad.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Column {
    /// Elevation of the pad above sea level, m.
    pub elevation_m: f64,
    /// Pressure at the pad, Pa.
    pub pressure_pa: f64,
    /// Temperature over the standard's at the same height, K.
    pub offset_k: f64,
}

impl Column {
    /// The column over a pad of which pressure and temperature are known.
    pub fn over(elevation_m: f64, pressure_pa: f64, temperature_k: f64) -> Self {
        let offset_k = temperature_k - standard_temperature_k(geopotential_m(elevation_m));
        Self { elevation_m, pressure_pa, offset_k }
    }

    fn at_geopotential(&self, h: f64) -> AirState {
        let pad = geopotential_m(self.elevation_m);
        let temperature = |h: f64| standard_temperature_k(h) + self.offset_k;
        let exponent = G0 / (R * LAPSE_K_M);
        let below = h.min(TROPOPAUSE_M);
        let mut pressure = self.pressure_pa * libm::pow(temperature(below) / temperature(pad), exponent);
        if h > TROPOPAUSE_M {
            pressure *= libm::exp(-G0 * (h - TROPOPAUSE_M) / (R * temperature(h)));
        }
        AirState::new(temperature(h), pressure)
    }

    /// Air at a geometric height above the pad.
    pub fn at(&self, height_above_pad_m: f64) -> AirState {
        self.at_geopotential(geopotential_m(self.elevation_m + height_above_pad_m))
    }
}

/// Height of one cell of an [`AirTable`], m. Cubic pieces of this height with exact slopes at both ends
/// are good to 2e-8 of the density (fourth power of 500 m over a scale height of 10 km, over 384).
const CELL_M: f64 = 500.0;

/// Density and one over the speed of sound of one flight against height above the pad, as cubic pieces.
#[derive(Debug, Clone, PartialEq)]
pub struct AirTable {
    base_m: f64,
    cells: Vec<[[f64; 4]; 2]>,
}

impl AirTable {
    /// Lays down a column up to a height above the pad.
    ///
    /// Cells are anchored on the tropopause, so that its kink falls between two of them.
    pub fn new(column: &Column, top_above_pad_m: f64) -> Self {
        let tropopause = R0 * TROPOPAUSE_M / (R0 - TROPOPAUSE_M) - column.elevation_m;
        // 200 m below the pad: a slope may fall away from it.
        let below = ((tropopause + 200.0) / CELL_M).ceil();
        let base_m = tropopause - below * CELL_M;
        let count = (((top_above_pad_m - base_m) / CELL_M).ceil() as usize).max(1);
        let mut cells = Vec::with_capacity(count);
        let mut low = Self::node(column, base_m, true);
        for k in 1..=count {
            let z = base_m + k as f64 * CELL_M;
            let above = z > tropopause + 0.5 * CELL_M;
            let high = Self::node(column, z, !above);
            cells.push([cubic(low[0], high[0]), cubic(low[1], high[1])]);
            let at_kink = (z - tropopause).abs() < 0.5 * CELL_M;
            low = if at_kink { Self::node(column, z, false) } else { high };
        }
        Self { base_m, cells }
    }

    /// Air of one density everywhere, for closed-form check cases.
    pub fn uniform(density_kg_m3: f64, speed_of_sound_m_s: f64) -> Self {
        Self { base_m: 0.0, cells: vec![[[density_kg_m3, 0.0, 0.0, 0.0], [1.0 / speed_of_sound_m_s, 0.0, 0.0, 0.0]]] }
    }

    /// Value and slope per cell of density and of one over the speed of sound at one height.
    fn node(column: &Column, z: f64, troposphere: bool) -> [[f64; 2]; 2] {
        let air = column.at(z);
        let sea = column.elevation_m + z;
        let stretch = (R0 / (R0 + sea)) * (R0 / (R0 + sea)) * CELL_M;
        let lapse = if troposphere { -LAPSE_K_M } else { 0.0 };
        let t = air.temperature_k;
        [
            [air.density_kg_m3, -air.density_kg_m3 * (G0 / (R * t) + lapse / t) * stretch],
            [1.0 / air.speed_of_sound_m_s, -0.5 / air.speed_of_sound_m_s * lapse / t * stretch],
        ]
    }

    /// Density (kg/m^3) and speed of sound (m/s) at a height above the pad; the end cells go on outside.
    #[inline(always)]
    pub fn at(&self, height_above_pad_m: f64) -> (f64, f64) {
        let (density, per_sound) = self.density_and_per_sound(height_above_pad_m);
        (density, 1.0 / per_sound)
    }

    /// Density (kg/m^3) and one over the speed of sound (s/m), as the flight asks for them.
    #[inline(always)]
    pub fn density_and_per_sound(&self, height_above_pad_m: f64) -> (f64, f64) {
        let place = self.place(height_above_pad_m);
        self.cell_of(place).0.at(place)
    }

    /// A height in cells from the table's foot.
    #[inline(always)]
    pub fn place(&self, height_above_pad_m: f64) -> f64 {
        (height_above_pad_m - self.base_m) * (1.0 / CELL_M)
    }

    /// Foot and unit of [`AirTable::place`], m and 1/m.
    pub fn scale(&self) -> [f64; 2] {
        [self.base_m, 1.0 / CELL_M]
    }

    /// The cell of a place, and from where to where it holds.
    #[inline(always)]
    pub fn cell_of(&self, place: f64) -> (AirCell<f64>, [f64; 2]) {
        let last = self.cells.len() - 1;
        let k = cell(place, last);
        let [density, per_sound] = self.cells[k];
        let foot = k as f64;
        let from = if k == 0 { f64::NEG_INFINITY } else { foot };
        let until = if k == last { f64::INFINITY } else { foot + 1.0 };
        (AirCell { foot, density, per_sound }, [from, until])
    }
}

/// A cubic piece of the air.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct AirCell<L> {
    /// Where it begins, in cells from the table's foot.
    pub foot: L,
    /// Coefficients of the density, rising powers.
    pub density: [L; 4],
    /// Of one over the speed of sound.
    pub per_sound: [L; 4],
}

impl<L: Lane> AirCell<L> {
    /// Density (kg/m^3) and one over the speed of sound (s/m) at a place in cells.
    #[inline(always)]
    pub fn at(&self, place: L) -> (L, L) {
        let s = place - self.foot;
        let cubic = |c: &[L; 4]| ((c[3] * s + c[2]) * s + c[1]) * s + c[0];
        (cubic(&self.density), cubic(&self.per_sound))
    }
}

/// Coefficients of the cubic on [0, 1] with given end values and slopes.
fn cubic(a: [f64; 2], b: [f64; 2]) -> [f64; 4] {
    let rise = b[0] - a[0];
    [a[0], a[1], 3.0 * rise - 2.0 * a[1] - b[1], a[1] + b[1] - 2.0 * rise]
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn table_follows_the_column_through_the_tropopause() {
        let column = Column::over(320.0, 96_000.0, 295.0);
        let table = AirTable::new(&column, 15_000.0);
        let mut z = -50.0;
        while z < 14_900.0 {
            let exact = column.at(z);
            let (density, sound) = table.at(z);
            assert!((density / exact.density_kg_m3 - 1.0).abs() < 1e-7, "density at {z} m");
            assert!((sound / exact.speed_of_sound_m_s - 1.0).abs() < 1e-7, "speed of sound at {z} m");
            z += 37.0;
        }
    }
}
