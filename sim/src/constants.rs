//! Physical constants, each with its source.

/// Standard acceleration of free fall, m/s^2 (US Standard Atmosphere 1976, table 2).
pub const STANDARD_GRAVITY_M_S2: f64 = 9.806_65;
/// Gas constant of dry air, J/(kg K): 8314.32 / 28.9644 (US Standard Atmosphere 1976).
pub const AIR_GAS_CONSTANT_J_KG_K: f64 = 8314.32 / 28.9644;
/// Ratio of specific heats of air (US Standard Atmosphere 1976).
pub const AIR_HEAT_RATIO: f64 = 1.4;
/// Standard sea-level temperature, K.
pub const SEA_LEVEL_TEMPERATURE_K: f64 = 288.15;
/// Standard sea-level pressure, Pa.
pub const SEA_LEVEL_PRESSURE_PA: f64 = 101_325.0;
/// Temperature lapse below the tropopause, K per geopotential metre.
pub const LAPSE_K_M: f64 = 0.0065;
/// Geopotential height of the tropopause, m.
pub const TROPOPAUSE_M: f64 = 11_000.0;
/// Radius that relates geometric to geopotential height, m (US Standard Atmosphere 1976).
pub const GEOPOTENTIAL_RADIUS_M: f64 = 6_356_766.0;
/// Rotation rate of the Earth, rad/s (WGS 84).
pub const EARTH_ROTATION_RAD_S: f64 = 7.292_115e-5;
/// Semi-major axis of the Earth, m (WGS 84).
pub const EARTH_SEMI_MAJOR_M: f64 = 6_378_137.0;
/// Flattening of the Earth (WGS 84).
pub const EARTH_FLATTENING: f64 = 1.0 / 298.257_223_563;
/// Normal gravity at the equator, m/s^2 (WGS 84).
pub const EQUATOR_GRAVITY_M_S2: f64 = 9.780_325_335_9;
/// Somigliana's constant k (WGS 84).
pub const SOMIGLIANA_K: f64 = 0.001_931_852_652_41;
/// Squared first eccentricity of the ellipsoid (WGS 84).
pub const EARTH_ECCENTRICITY_SQUARED: f64 = 0.006_694_379_990_14;
/// m = omega^2 a^2 b / GM, the ratio of centrifugal to gravitational pull (WGS 84).
pub const EARTH_GRAVITY_RATIO: f64 = 0.003_449_786_506_84;
/// A mile per hour, m/s (exact: 1609.344 m in 3600 s).
pub const MILE_PER_HOUR_M_S: f64 = 0.447_04;
/// International foot, m.
pub const FOOT_M: f64 = 0.3048;
/// International inch, m.
pub const INCH_M: f64 = FOOT_M / 12.0;
/// Avoirdupois pound, kg.
pub const POUND_KG: f64 = 0.453_592_37;
/// Pound-force, N.
pub const POUND_FORCE_N: f64 = POUND_KG * STANDARD_GRAVITY_M_S2;
/// Pound-force over an inch, N/mm.
pub const POUND_FORCE_PER_INCH_N_MM: f64 = POUND_FORCE_N / (1000.0 * INCH_M);
/// Foot-pound of energy, J.
pub const FOOT_POUND_J: f64 = FOOT_M * POUND_FORCE_N;
