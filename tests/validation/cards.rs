//! Random cards made of four rockets, and how a property is tried on them: each figure it measures becomes a row that
//! shows the worst. A fixed seed makes every run the same.

use core::cell::RefCell;

use proptest::prelude::*;
use proptest::test_runner::{RngSeed, TestError, TestRunner};
use slowpoint_sim::aero::Drag;
use slowpoint_sim::case::{Case, Inputs, ThrustInput};
use slowpoint_sim::draw::{Law, Numbers, PointSet, Shift, draw};
use slowpoint_sim::flight::{Ascent, Drawn, Events, Flown, fly};
use slowpoint_sim::wind::{Direction, Gustiness, Layer};
use slowpoint_tests::sheet::Sheet;
use slowpoint_tests::{larger, rockets};

/// Above every flight, m.
const TOP_M: f64 = 30_000.0;

/// Random cards of each property.
const TRIED: u32 = 96;

/// One figure that a property measured, and what it must be.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum Found {
    /// What must never be: so many of it.
    Wrong(usize),
    /// A figure and what it may reach.
    AtMost(f64, f64),
    /// A figure and what it must stay below.
    LessThan(f64, f64),
    /// A figure and what it must reach.
    AtLeast(f64, f64),
    /// A figure and what it must be above.
    MoreThan(f64, f64),
}

impl Found {
    fn holds(self) -> bool {
        match self {
            Self::Wrong(count) => count == 0,
            Self::AtMost(x, bound) => x <= bound,
            Self::LessThan(x, bound) => x < bound,
            Self::AtLeast(x, bound) => x >= bound,
            Self::MoreThan(x, bound) => x > bound,
        }
    }

    /// Both in one: counts add up, of figures the worse one stays.
    fn and(self, other: Self) -> Self {
        match (self, other) {
            (Self::Wrong(a), Self::Wrong(b)) => Self::Wrong(a + b),
            (Self::AtMost(a, bound), Self::AtMost(b, _)) => Self::AtMost(larger(a, b), bound),
            (Self::LessThan(a, bound), Self::LessThan(b, _)) => Self::LessThan(larger(a, b), bound),
            (Self::AtLeast(a, bound), Self::AtLeast(b, _)) => Self::AtLeast(-larger(-a, -b), bound),
            (Self::MoreThan(a, bound), Self::MoreThan(b, _)) => Self::MoreThan(-larger(-a, -b), bound),
            _ => panic!("two kinds of figures under one name: {self:?}, {other:?}"),
        }
    }
}

/// A figure's name and what was found.
pub type Figure = (&'static str, Found);

/// Cards tried, and per name: how many figures, and the worst.
#[derive(Default)]
struct Record {
    tried: u32,
    kept: Vec<(&'static str, usize, Found)>,
}

impl Record {
    fn keep(&mut self, (name, found): Figure) {
        match self.kept.iter_mut().find(|k| k.0 == name) {
            Some((_, count, worst)) => (*count, *worst) = (*count + 1, worst.and(found)),
            None => self.kept.push((name, 1, found)),
        }
    }
}

/// Tries a property on random cards and writes its rows: how many they were, the worst of each figure among so
/// many, and, where one breaks it, the simplest card that still does.
pub fn tried<S: Strategy>(sheet: &mut Sheet, of: &str, cards: S, property: impl Fn(S::Value) -> Vec<Figure>) {
    let config = ProptestConfig {
        cases: TRIED,
        failure_persistence: None,
        rng_seed: RngSeed::Fixed(20),
        ..ProptestConfig::default()
    };
    let record: RefCell<Record> = RefCell::default();
    let verdict = TestRunner::new(config).run(&cards, |card| {
        let figures = property(card);
        let mut record = record.borrow_mut();
        record.tried += 1;
        figures.iter().for_each(|figure| record.keep(*figure));
        match figures.iter().find(|(_, found)| !found.holds()) {
            Some(broken) => Err(TestCaseError::fail(format!("{broken:?}"))),
            None => Ok(()),
        }
    });
    let Record { tried, kept } = record.into_inner();
    sheet.equal(format!("{of}: random cards tried"), tried, TRIED);
    for (name, count, worst) in kept {
        let among = format!("{of}: {name}, of {count}");
        let one = format!("{of}: {name}, worst of {count}");
        match worst {
            Found::Wrong(wrong) => sheet.equal(among, wrong, 0),
            Found::AtMost(x, bound) => sheet.at_most(one, x, bound),
            Found::LessThan(x, bound) => sheet.less_than(one, x, bound),
            Found::AtLeast(x, bound) => sheet.at_least(one, x, bound),
            Found::MoreThan(x, bound) => sheet.more_than(one, x, bound),
        }
    }
    let simplest = match verdict {
        Ok(()) => "none".to_string(),
        Err(TestError::Fail(why, card)) => format!("{card:?}: {why}"),
        Err(TestError::Abort(why)) => why.to_string(),
    };
    sheet.equal(format!("{of}: simplest card that breaks it"), simplest, "none".to_string());
}

/// How a card differs from one of the four rockets.
#[derive(Debug, Clone)]
pub struct Card {
    rocket: usize,
    /// Factors on mass, width, thrust, drag, wind and rail.
    mass: f64,
    width: f64,
    thrust: f64,
    drag: f64,
    wind: f64,
    rail: f64,
    tilt_deg: f64,
    pub azimuth_deg: f64,
    /// Added to every direction of the wind.
    pub veer_deg: f64,
    pub delays_s: [f64; 2],
    /// Which flight of which seed.
    pub seed: u64,
    pub flight: u64,
}

pub fn cards() -> impl Strategy<Value = Card> {
    let factors = (0.7..1.5, 0.8..1.4, 0.6..1.5, 0.5..2.0, 0.0..2.5, 0.7..2.0);
    let setting = (0.0..25.0, 0.0..360.0, 0.0..360.0);
    (0_usize..4, factors, setting, [0.0..30.0, 0.0..30.0], 0_u64..1000, 0_u64..100_000).prop_map(
        |(
            rocket,
            (mass, width, thrust, drag, wind, rail),
            (tilt_deg, azimuth_deg, veer_deg),
            delays_s,
            seed,
            flight,
        )| {
            Card {
                rocket,
                mass,
                width,
                thrust,
                drag,
                wind,
                rail,
                tilt_deg,
                azimuth_deg,
                veer_deg,
                delays_s,
                seed,
                flight,
            }
        },
    )
}

pub fn turned_deg(from: f64, by: f64) -> f64 {
    (from + by).rem_euclid(360.0)
}

impl Card {
    pub fn inputs(&self) -> Inputs {
        let mut i = rockets::all()[self.rocket].1.clone();
        i.airframe.mass_kg *= self.mass;
        i.airframe.diameter_m *= self.width;
        if let Some(shape) = &mut i.airframe.shape {
            shape.nose.base_diameter_m *= self.width;
            shape.base_diameter_m *= self.width;
            shape.fin_sets.iter_mut().for_each(|f| f.body_diameter_m *= self.width);
        }
        match &mut i.airframe.drag {
            Some(Drag::Coefficient(c)) => *c *= self.drag,
            Some(Drag::Table(rows)) => rows.iter_mut().for_each(|r| r.1 *= self.drag),
            None => i.spread.drag = Some(Law::Fixed(self.drag)),
        }
        if let ThrustInput::Curve(points) = &mut i.motor.thrust {
            points.iter_mut().for_each(|p| p.1 *= self.thrust);
        }
        i.launch.rail_length_m *= self.rail;
        i.launch.tilt_rad = Some(self.tilt_deg.to_radians());
        i.launch.azimuth_rad = Some(self.azimuth_deg.to_radians());
        let turn = |rad: f64| turned_deg(rad.to_degrees(), self.veer_deg).to_radians();
        if let Some(s) = &mut i.wind.surface {
            s.speed_m_s *= self.wind;
            if let Direction::From(rad) = &mut s.direction {
                *rad = turn(*rad);
            }
        }
        for l in &mut i.wind.layers {
            l.speed_m_s *= self.wind;
            l.direction_from_rad = turn(l.direction_from_rad);
        }
        i.question.ways = self.delays_s.map(rockets::delay).to_vec();
        i
    }

    /// Nothing misaligned, nothing rolling, on an Earth that stands still.
    pub fn straight(mut inputs: Inputs) -> Case {
        let s = &mut inputs.spread;
        for law in [&mut s.thrust_misalignment, &mut s.fin_misalignment, &mut s.roll_rate] {
            *law = Some(Law::Fixed(0.0));
        }
        let mut case = Case::new(inputs).unwrap_or_else(|f| panic!("{f:?}"));
        case.field.earth_rotation_rad_s = [0.0; 2];
        case
    }

    /// The wind as reported and the rail as set. The wind is known to the top, as its error grows above what is known.
    pub fn exact(mut inputs: Inputs) -> Inputs {
        let top = inputs.wind.layers.last().copied().map(|l| Layer { height_above_ground_m: TOP_M, ..l });
        inputs.wind.layers.extend(top);
        let s = &mut inputs.spread;
        (s.wind_component_sd_m_s, s.wind_direction_sd_rad) = (Some(0.0), Some(0.0));
        s.rail_angle = Some(Law::Fixed(0.0));
        inputs.wind.gustiness = Some(Gustiness::Off);
        inputs
    }

    /// No wind, a vertical rail.
    pub fn calm_and_upright(&self) -> Case {
        let mut inputs = Self::exact(self.inputs());
        inputs.launch.tilt_rad = Some(0.0);
        inputs.wind.layers.iter_mut().for_each(|l| l.speed_m_s = 0.0);
        if let Some(s) = &mut inputs.wind.surface {
            (s.speed_m_s, s.gust_m_s) = (0.0, Some(0.0));
        }
        Self::straight(inputs)
    }

    pub fn drawn<'a>(&self, case: &'a Case, shift: &Shift) -> (Drawn<'a>, Events) {
        draw(case, &Numbers::of(PointSet::Pseudorandom, self.seed, self.flight), shift)
    }
}

pub fn flown(case: &Case, drawn: &Drawn, events: &Events) -> (Flown, Ascent) {
    let mut ascent = Ascent::default();
    let flown = fly(drawn, events, &case.inputs.question.ways, &mut ascent);
    (flown, ascent)
}
