//! (seed, flight, named slot) -> a number in (0, 1): a pure function.
//!
//! Flight i takes point i / R of scramble i mod R, with R independent scrambles, so a longer run starts
//! with the shorter one, any split over threads gives the same flights, and the scrambles are replicates
//! from which intervals come. A new slot takes a new number and disturbs no other.

use rand::SeedableRng;
use rand::rngs::ChaCha8Rng;
use rand_distr::{Distribution, Open01};

pub use crate::stat::interval::PointSet;
use crate::stat::normal;
use crate::wind::ERROR_ANCHORS_M;

/// Independent scrambles of the Sobol points.
pub const REPLICATES: u64 = 16;
/// Points that one scramble has: beyond them the generator repeats.
pub const POINTS_PER_REPLICATE: u64 = 1 << 16;
/// Numbers of a flight that come from one Sobol point; further ones come from points of scrambles of their own, in
/// another order. In more dimensions than a few, the hundred points of a scramble are far from even in some
/// projections: rare events in a corner of two or three inputs then came in bunches that no interval could know of.
/// (B. Burley, Practical Hash-based Owen Scrambling, JCGT 9(4), 2020: padding in sets of four.)
const TOGETHER: usize = 4;
/// Most motors of a cluster.
pub const MOST_MOTORS: usize = 12;

/// Named uncertain inputs. Each has a number: never reuse or renumber one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Slot {
    /// Error of a motor's delay.
    Delay(usize),
    /// Error of the wind along its mean, per anchor height.
    WindAlong(usize),
    /// Error of the wind across its mean, per anchor height.
    WindAcross(usize),
    /// Gust at the ground, along the mean wind.
    GustAlong,
    /// And across it.
    GustAcross,
    /// Rail angle in the plane of the tilt.
    RailInPlane,
    /// Rail angle across the plane of the tilt.
    RailAcross,
    /// Drag coefficient.
    Drag,
    /// Impulse of a motor.
    Impulse(usize),
    /// Burn time of a motor.
    BurnTime(usize),
    /// Centre of pressure.
    CentreOfPressure,
    /// Mass.
    Mass,
    /// Centre of gravity.
    CentreOfGravity,
    /// Normal-force slope.
    NormalForceSlope,
    /// Ejection to line stretch.
    LineStretchLag,
    /// Drag of what opens.
    CanopyDrag,
    /// Thrust misalignment about one transverse axis.
    ThrustOne,
    /// And about the other.
    ThrustOther,
    /// Fin misalignment about one transverse axis.
    FinsOne,
    /// And about the other.
    FinsOther,
    /// Roll rate.
    RollRate,
    /// Roll angle at first thrust.
    RollAngle,
    /// Air temperature.
    Temperature,
    /// Air pressure.
    Pressure,
    /// Direction of a variable wind.
    VariableDirection,
    /// Lag of apogee sensing.
    ApogeeLag,
    /// Error of a sensed height.
    SensedHeight,
    /// Whether one motor of a cluster stays unlit.
    Unlit,
    /// Which one.
    UnlitMotor,
    /// Which failure, if any.
    Failure,
    /// When it comes.
    FailureTime,
    /// How large it is.
    FailureSize,
}

const ANCHORS: usize = ERROR_ANCHORS_M.len();
const SINGLE: usize = 29;
const FIRST_MOTOR: usize = SINGLE + 2 * (ANCHORS - 1);

const FAILURES: usize = FIRST_MOTOR + 3 * (MOST_MOTORS - 1);

/// Numbers that one flight may use.
pub const SLOTS: usize = FAILURES + 3;

impl Slot {
    /// Number of the slot. Four in a row are one point: what matters most and works together goes there.
    pub const fn dimension(self) -> usize {
        match self {
            Self::Delay(0) => 0,
            Self::WindAlong(0) => 1,
            Self::WindAcross(0) => 2,
            Self::GustAlong => 3,
            Self::RailInPlane => 4,
            Self::RailAcross => 5,
            Self::Drag => 6,
            Self::Impulse(0) => 7,
            Self::CentreOfPressure => 8,
            Self::Mass => 9,
            Self::CentreOfGravity => 10,
            Self::NormalForceSlope => 11,
            Self::LineStretchLag => 12,
            Self::CanopyDrag => 13,
            Self::BurnTime(0) => 14,
            Self::ThrustOne => 15,
            Self::ThrustOther => 16,
            Self::FinsOne => 17,
            Self::FinsOther => 18,
            Self::RollRate => 19,
            Self::RollAngle => 20,
            Self::Temperature => 21,
            Self::Pressure => 22,
            Self::VariableDirection => 23,
            Self::ApogeeLag => 24,
            Self::SensedHeight => 25,
            Self::Unlit => 26,
            Self::UnlitMotor => 27,
            Self::GustAcross => 28,
            Self::WindAlong(anchor) => SINGLE + anchor - 1,
            Self::WindAcross(anchor) => SINGLE + ANCHORS - 1 + anchor - 1,
            Self::Impulse(motor) => FIRST_MOTOR + 3 * (motor - 1),
            Self::BurnTime(motor) => FIRST_MOTOR + 3 * (motor - 1) + 1,
            Self::Delay(motor) => FIRST_MOTOR + 3 * (motor - 1) + 2,
            Self::Failure => FAILURES,
            Self::FailureTime => FAILURES + 1,
            Self::FailureSize => FAILURES + 2,
        }
    }
}

/// Long tables of numbers beside the slots, each a stream of its own. Never reuse or renumber one.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Long {
    /// Gusts above the ground.
    Gusts = 1,
}

/// The numbers of one flight.
pub struct Numbers {
    slots: Slots,
    /// Seed and flight, from which the long tables come; `None` for the nominal flight.
    of: Option<(u64, u64)>,
}

/// The numbers in the slots of one flight.
enum Slots {
    /// A Sobol point.
    Sobol {
        /// Index of the point within its scramble.
        point: u32,
        /// Seed of the scramble.
        scramble: u32,
    },
    /// The head of the flight's own random stream, one number a slot.
    Random(Box<[f64; SLOTS]>),
    /// Every number in the middle of its range: the nominal flight.
    Middle,
}

/// A flight's own random stream: of its slots, or of a long table.
fn stream(seed: u64, flight: u64, table: u64) -> ChaCha8Rng {
    let mut key = [0_u8; 32];
    key[..8].copy_from_slice(&seed.to_le_bytes());
    key[8..16].copy_from_slice(&table.to_le_bytes());
    let mut stream = ChaCha8Rng::from_seed(key);
    stream.set_stream(flight);
    stream
}

impl Numbers {
    /// Every number in the middle of its range: the nominal flight.
    pub const MIDDLE: Self = Self { slots: Slots::Middle, of: None };

    /// Numbers of one's own, one a slot, for a check: with nothing in the long tables.
    pub fn given(numbers: [f64; SLOTS]) -> Self {
        Self { slots: Slots::Random(Box::new(numbers)), of: None }
    }

    /// Numbers of a flight.
    pub fn of(points: PointSet, seed: u64, flight: u64) -> Self {
        let slots = match points {
            PointSet::Sobol => Slots::Sobol {
                // The limit on flights keeps this below POINTS_PER_REPLICATE.
                point: ((flight / REPLICATES) % POINTS_PER_REPLICATE) as u32,
                scramble: scramble_seed(seed, flight % REPLICATES),
            },
            PointSet::Pseudorandom => {
                let mut stream = stream(seed, flight, 0);
                Slots::Random(Box::new(core::array::from_fn(|_| Open01.sample(&mut stream))))
            }
        };
        Self { slots, of: Some((seed, flight)) }
    }

    /// Standard normal numbers of a long table, one after the other; zeros for the nominal flight.
    pub fn normals(&self, table: Long) -> impl FnMut() -> f64 + use<> {
        let mut stream = self.of.map(|(seed, flight)| stream(seed, flight, table as u64));
        move || stream.as_mut().map_or(0.0, |s| normal::quantile(Open01.sample(s)))
    }

    /// The number in a slot, strictly between 0 and 1.
    pub fn uniform(&self, slot: Slot) -> f64 {
        let dimension = slot.dimension();
        match &self.slots {
            Slots::Sobol { point, scramble } => {
                // The crate fills the 23 bits of a single's fraction: take the middle of that cell, since an
                // inverse normal must never see 0.
                let (set, coordinate) = (dimension / TOGETHER, dimension % TOGETHER);
                let scramble = scramble_seed(u64::from(*scramble), set as u64);
                let cell = f64::from(sobol_burley::sample(*point, coordinate as u32, scramble)) * 8_388_608.0;
                (cell.floor() + 0.5) / 8_388_608.0
            }
            Slots::Random(numbers) => numbers[dimension],
            Slots::Middle => 0.5,
        }
    }
}

/// A scramble's seed: the finaliser of SplitMix64 (Steele, Lea, Flood 2014) over seed and replicate.
fn scramble_seed(seed: u64, replicate: u64) -> u32 {
    let mut z = seed.wrapping_add((replicate + 1).wrapping_mul(0x9e37_79b9_7f4a_7c15));
    z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
    z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
    ((z ^ (z >> 31)) >> 32) as u32
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn no_two_slots_share_a_dimension() {
        let mut used = vec![
            Slot::GustAlong,
            Slot::GustAcross,
            Slot::RailInPlane,
            Slot::RailAcross,
            Slot::Drag,
            Slot::CentreOfPressure,
            Slot::Mass,
            Slot::CentreOfGravity,
            Slot::NormalForceSlope,
            Slot::LineStretchLag,
            Slot::CanopyDrag,
            Slot::ThrustOne,
            Slot::ThrustOther,
            Slot::FinsOne,
            Slot::FinsOther,
            Slot::RollRate,
            Slot::RollAngle,
            Slot::Temperature,
            Slot::Pressure,
            Slot::VariableDirection,
            Slot::ApogeeLag,
            Slot::SensedHeight,
            Slot::Unlit,
            Slot::UnlitMotor,
            Slot::Failure,
            Slot::FailureTime,
            Slot::FailureSize,
        ];
        for k in 0..ANCHORS {
            used.extend([Slot::WindAlong(k), Slot::WindAcross(k)]);
        }
        for k in 0..MOST_MOTORS {
            used.extend([Slot::Delay(k), Slot::Impulse(k), Slot::BurnTime(k)]);
        }
        let mut dimensions: Vec<usize> = used.iter().map(|s| s.dimension()).collect();
        dimensions.sort_unstable();
        dimensions.dedup();
        assert_eq!(dimensions.len(), used.len());
        assert!(dimensions.last().is_some_and(|d| *d < SLOTS && SLOTS <= sobol_burley::NUM_DIMENSIONS as usize));
    }

    #[test]
    fn numbers_stay_inside_the_open_interval_and_fill_it_evenly() {
        for points in [PointSet::Sobol, PointSet::Pseudorandom] {
            let mut bins = [0_u32; 16];
            for flight in 0..16_384 {
                let u = Numbers::of(points, 7, flight).uniform(Slot::Drag);
                assert!(u > 0.0 && u < 1.0);
                bins[(u * 16.0) as usize] += 1;
            }
            let worst = bins.iter().map(|b| b.abs_diff(1024)).max();
            // Each scramble of 1024 points puts exactly 64 into every sixteenth; random points vary by 31.
            let most = if points == PointSet::Sobol { 0 } else { 130 };
            assert!(worst.is_some_and(|w| w <= most), "{points:?}: {bins:?}");
        }
    }

    /// SplitMix64 from state 1234567 gives 6457827717110365317, then 3203168211198807973 (test vectors of its public
    /// implementations, from memory); ours keeps the upper half.
    #[test]
    fn scrambles_come_from_splitmix() {
        assert_eq!(scramble_seed(1_234_567, 0), (6_457_827_717_110_365_317_u64 >> 32) as u32);
        assert_eq!(scramble_seed(1_234_567, 1), (3_203_168_211_198_807_973_u64 >> 32) as u32);
    }

    /// Flights take the replicates in turn, and the points of each in order.
    #[test]
    fn flights_share_out_the_points() {
        let place = |flight| match Numbers::of(PointSet::Sobol, 3, flight).slots {
            Slots::Sobol { point, scramble } => (point, scramble),
            _ => panic!("not a Sobol point"),
        };
        for flight in [0, 1, 15, 16, 17, 1_000_003] {
            assert_eq!(place(flight), ((flight / 16) as u32, scramble_seed(3, flight % 16)), "{flight}");
        }
        assert_eq!(Numbers::MIDDLE.uniform(Slot::GustAlong), 0.5);
    }

    /// A long table is the flight's own, the same each time, apart from the numbers in its slots, and nothing at all in
    /// the nominal flight.
    #[test]
    fn long_tables_are_a_flights_own() {
        let table = |seed, flight| {
            let mut normal = Numbers::of(PointSet::Pseudorandom, seed, flight).normals(Long::Gusts);
            core::array::from_fn::<f64, 4, _>(|_| normal())
        };
        assert_eq!(table(3, 5), table(3, 5));
        assert!(table(3, 5) != table(3, 6) && table(3, 5) != table(4, 5));
        let slots = Numbers::of(PointSet::Pseudorandom, 3, 5);
        assert!(normal::quantile(slots.uniform(Slot::Delay(0))) != table(3, 5)[0]);
        let mut none = Numbers::MIDDLE.normals(Long::Gusts);
        assert_eq!([none(), none()], [0.0, 0.0]);
    }
}
