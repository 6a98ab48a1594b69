//! Flights side by side, in the widest vector registers that the machine has.

use super::ascent::{Ascent, Watchfulness, fly_ascents};
use super::deploy::{Deployed, Deployment, Ejection, Events, OnBoard, Plan};
use super::descent::{Fall, Filling, Landing, descend_all, fill_all};
use super::parts::Drawn;
use super::path::Moment;
use super::windows::{Asked, Subject, Windows};
use super::{Fates, Flown, WholeLaw};
#[cfg(target_arch = "x86_64")]
use crate::lanes::x86;
use crate::wind::DriftTable;

/// Sets of instructions that flights are flown with. Every one gives the same bytes.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Instructions {
    /// One flight after the other: the reference, on every architecture.
    Scalar,
    /// Two side by side, which every machine of this architecture can do.
    #[cfg(target_arch = "x86_64")]
    Sse2,
    /// Four side by side.
    #[cfg(target_arch = "x86_64")]
    Avx2,
    /// Eight side by side.
    #[cfg(target_arch = "x86_64")]
    Avx512,
}

impl Instructions {
    /// What this machine can do, the fastest last.
    #[cfg(target_arch = "x86_64")]
    pub fn available() -> Vec<Self> {
        let mut can = vec![Self::Scalar, Self::Sse2];
        if is_x86_feature_detected!("avx2") {
            can.push(Self::Avx2);
        }
        if is_x86_feature_detected!("avx512f")
            && is_x86_feature_detected!("avx512dq")
            && is_x86_feature_detected!("avx512vl")
            && is_x86_feature_detected!("avx512bw")
        {
            can.push(Self::Avx512);
        }
        can
    }

    /// What this machine can do, the fastest last.
    #[cfg(not(target_arch = "x86_64"))]
    pub fn available() -> Vec<Self> {
        vec![Self::Scalar]
    }
}

/// Flies with one set of instructions; keeps memory to work in.
#[derive(Debug)]
pub struct Pilot {
    instructions: Instructions,
    ascents: Vec<Ascent>,
}

/// A way of deploying a flight with one turn of events.
#[derive(Debug, Clone, Copy)]
pub struct Deploying<'b> {
    /// Number of the flight.
    pub flight: usize,
    /// Turn of events.
    pub events: &'b Events,
    /// Way of deploying.
    pub way: &'b Deployment,
}

impl Default for Pilot {
    fn default() -> Self {
        Self::with(Instructions::available().pop().unwrap_or(Instructions::Scalar)).unwrap_or(Self::scalar())
    }
}

impl Pilot {
    fn scalar() -> Self {
        Self { instructions: Instructions::Scalar, ascents: Vec::new() }
    }

    /// With a set of instructions; `None` if this machine lacks it.
    pub fn with(instructions: Instructions) -> Option<Self> {
        Instructions::available().contains(&instructions).then(|| Self { instructions, ..Self::scalar() })
    }

    /// Flies drawn flights of one airframe with every way of deploying.
    pub fn fly(&mut self, drawn: &[(Drawn, Events)], ways: &[Deployment]) -> Vec<Flown> {
        self.flown(drawn, ways, None)
    }

    /// The same, and tells what they come to whenever something fires.
    pub fn fly_whole_law(&mut self, drawn: &[(Drawn, Events)], asked: &Asked) -> Vec<Flown> {
        self.flown(drawn, asked.ways, Some(asked))
    }

    /// Flies drawn flights for their chances alone.
    pub fn fly_chances(&mut self, drawn: &[(Drawn, Events)], asked: &Asked) -> Vec<Fates> {
        let (flights, deploying) = self.ascended(drawn, asked.ways, Some(asked));
        let drifts = self.drifts(&flights);
        let windows = Windows::of_all(&self.subjects(drawn, &drifts, asked), |falls| self.land(falls));
        let lawless: Vec<Deploying> = deploying.into_iter().filter(|a| windows[a.flight].is_none()).collect();
        let mut deployed = self.deploy(&flights, &drifts, &lawless).into_iter();
        let fates = |windows: Option<Windows>| match windows {
            Some(windows) => Fates::Law(windows),
            None => Fates::Drawn(deployed.by_ref().take(asked.ways.len()).collect()),
        };
        windows.into_iter().map(fates).collect()
    }

    /// Flies drawn flights as far as they eject: per flight and way at points of its law of firing that weigh alike, or the
    /// drawn one alone. `None` where nothing that opens is driven out in the air.
    pub fn fly_ejections(&mut self, drawn: &[(Drawn, Events)], asked: &Asked) -> Vec<Vec<Vec<Option<Ejection>>>> {
        self.ascended(drawn, asked.ways, Some(asked));
        let flights = drawn.iter().zip(&self.ascents);
        flights.map(|((drawn, events), ascent)| asked.ejections(drawn, events, ascent)).collect()
    }

    /// Flies drawn flights as far as instruments on board log them: per flight, each way of deploying.
    pub fn fly_on_board(&mut self, drawn: &[(Drawn, Events)], ways: &[Deployment]) -> Vec<Vec<OnBoard>> {
        self.ascended(drawn, ways, None);
        let on_board = |((drawn, events), ascent): (&(Drawn, Events), &Ascent)| {
            ways.iter().map(|way| events.on_board(way, drawn, ascent)).collect()
        };
        drawn.iter().zip(&self.ascents).map(on_board).collect()
    }

    /// Flies the ascents; gives the flights, and each with every way of deploying.
    fn ascended<'a, 'b>(
        &mut self,
        drawn: &'b [(Drawn<'a>, Events)],
        ways: &'b [Deployment],
        asked: Option<&Asked>,
    ) -> (Vec<&'b Drawn<'a>>, Vec<Deploying<'b>>) {
        let flights: Vec<&Drawn> = drawn.iter().map(|(drawn, _)| drawn).collect();
        let deploying: Vec<Deploying> = drawn
            .iter()
            .enumerate()
            .flat_map(|(flight, (_, events))| ways.iter().map(move |way| Deploying { flight, events, way }))
            .collect();
        let watched = drawn.iter().map(|(drawn, events)| events.watched(ways, asked, drawn)).collect::<Vec<_>>();
        self.climb(&flights, &watched, &deploying);
        (flights, deploying)
    }

    fn subjects<'a, 'b>(
        &'b self,
        drawn: &'b [(Drawn<'a>, Events)],
        drifts: &'b [DriftTable],
        asked: &'b Asked<'b>,
    ) -> Vec<Subject<'a, 'b>> {
        let all = drawn.iter().zip(self.ascents.iter().zip(drifts));
        all.map(|((drawn, events), (ascent, drift))| Subject { asked, drawn, events, ascent, drift }).collect()
    }

    fn flown(&mut self, drawn: &[(Drawn, Events)], ways: &[Deployment], asked: Option<&Asked>) -> Vec<Flown> {
        let (flights, deploying) = self.ascended(drawn, ways, asked);
        let drifts = self.drifts(&flights);
        let mut deployed = self.deploy(&flights, &drifts, &deploying).into_iter();
        let whole_laws =
            asked.map(|asked| WholeLaw::of_all(&self.subjects(drawn, &drifts, asked), |falls| self.land(falls)));
        let mut whole_laws = whole_laws.into_iter().flatten();
        drawn
            .iter()
            .zip(&self.ascents)
            .map(|((drawn, events), ascent)| {
                let deployed = deployed.by_ref().take(ways.len()).collect();
                Flown { whole_law: whole_laws.next().flatten(), ..Flown::of(drawn, events, ascent, deployed) }
            })
            .collect()
    }

    /// Flies drawn flights of one airframe, each deployed one way with each of several turns of events.
    pub fn fly_each(&mut self, drawn: &[(Drawn, Vec<Events>)], way: &Deployment) -> Vec<Vec<Deployed>> {
        let flights: Vec<&Drawn> = drawn.iter().map(|(drawn, _)| drawn).collect();
        let deploying: Vec<Deploying> = drawn
            .iter()
            .enumerate()
            .flat_map(|(flight, (_, each))| each.iter().map(move |events| Deploying { flight, events, way }))
            .collect();
        let ways = core::slice::from_ref(way);
        let watched: Vec<Watchfulness> = drawn
            .iter()
            .map(|(drawn, each)| {
                let watched = each.iter().map(|events| events.watchfulness(ways, drawn));
                watched.reduce(Watchfulness::both).unwrap_or(Watchfulness::WHOLE)
            })
            .collect();
        self.climb(&flights, &watched, &deploying);
        let mut deployed = self.deploy(&flights, &self.drifts(&flights), &deploying).into_iter();
        drawn.iter().map(|(_, each)| deployed.by_ref().take(each.len()).collect()).collect()
    }

    /// The ascents of the flights flown last.
    pub fn ascents(&self) -> &[Ascent] {
        &self.ascents
    }

    /// Flies the ascents as far as their ways of deploying ask.
    fn climb(&mut self, flights: &[&Drawn], watched: &[Watchfulness], deploying: &[Deploying]) {
        self.ascents.resize_with(flights.len(), Ascent::default);
        self.ascend(flights, watched, 0..flights.len());
        let mut short: Vec<usize> = deploying
            .iter()
            .filter(|a| !a.events.suffices(core::slice::from_ref(a.way), flights[a.flight], &self.ascents[a.flight]))
            .map(|a| a.flight)
            .collect();
        short.dedup();
        for flight in short {
            let watched = Watchfulness { to_ground: true, ..watched[flight] };
            self.ascend(&flights[flight..=flight], &[watched], flight..flight + 1);
        }
    }

    /// The drift of each flight.
    fn drifts(&self, flights: &[&Drawn]) -> Vec<DriftTable> {
        let table = |(drawn, ascent): (&&Drawn, &Ascent)| {
            DriftTable::new(&drawn.wind, &drawn.air, |z| drawn.gravity.at(z), ascent.apogee_m)
        };
        flights.iter().zip(&self.ascents).map(table).collect()
    }

    /// Deploys flights whose ascents were flown.
    fn deploy(&self, flights: &[&Drawn], drifts: &[DriftTable], deploying: &[Deploying]) -> Vec<Deployed> {
        let plans: Vec<Plan> =
            deploying.iter().map(|a| a.events.plan(a.way, flights[a.flight], &self.ascents[a.flight])).collect();
        let falls: Vec<Fall> = deploying
            .iter()
            .zip(&plans)
            .flat_map(|(a, plan)| {
                let (parts, drift) = (flights[a.flight], &drifts[a.flight]);
                plan.falls.iter().flatten().map(move |(stages, from)| Fall {
                    parts,
                    stages: *stages,
                    from: *from,
                    drift,
                })
            })
            .collect();
        let landed = self.land(&falls);
        let mut rest: &[Landing] = &landed;
        deploying
            .iter()
            .zip(&plans)
            .map(|(a, plan)| {
                let (own, others) = rest.split_at(plan.falls.iter().flatten().count());
                rest = others;
                plan.finish(own, &self.ascents[a.flight])
            })
            .collect()
    }

    /// Brings down what falls.
    fn land(&self, falls: &[Fall]) -> Vec<Landing> {
        descend_all(falls, |fillings| self.fill(fillings))
    }

    #[allow(unsafe_code)]
    fn ascend(&mut self, flights: &[&Drawn], watched: &[Watchfulness], into: core::ops::Range<usize>) {
        let out = &mut self.ascents[into];
        match self.instructions {
            Instructions::Scalar => fly_ascents::<f64>(flights, watched, 1.0, out),
            #[cfg(target_arch = "x86_64")]
            Instructions::Sse2 => fly_ascents::<x86::Sse2>(flights, watched, 1.0, out),
            // SAFETY: `with` gives no pilot with instructions that the processor does not know.
            #[cfg(target_arch = "x86_64")]
            Instructions::Avx2 => unsafe { wide::ascents_avx2(flights, watched, out) },
            // SAFETY: as above.
            #[cfg(target_arch = "x86_64")]
            Instructions::Avx512 => unsafe { wide::ascents_avx512(flights, watched, out) },
        }
    }

    #[allow(unsafe_code)]
    fn fill(&self, fillings: &[Filling]) -> Vec<(Moment, bool)> {
        match self.instructions {
            Instructions::Scalar => fill_all::<f64>(fillings),
            #[cfg(target_arch = "x86_64")]
            Instructions::Sse2 => fill_all::<x86::Sse2>(fillings),
            // SAFETY: as above.
            #[cfg(target_arch = "x86_64")]
            Instructions::Avx2 => unsafe { wide::fill_avx2(fillings) },
            // SAFETY: as above.
            #[cfg(target_arch = "x86_64")]
            Instructions::Avx512 => unsafe { wide::fill_avx512(fillings) },
        }
    }
}

/// The flight compiled for instructions that not every machine has: all that is called is inlined here.
#[cfg(target_arch = "x86_64")]
mod wide {
    use super::*;

    #[target_feature(enable = "avx2")]
    pub fn ascents_avx2(flights: &[&Drawn], watched: &[Watchfulness], out: &mut [Ascent]) {
        fly_ascents::<x86::Avx2>(flights, watched, 1.0, out);
    }

    #[target_feature(enable = "avx2")]
    pub fn fill_avx2(fillings: &[Filling]) -> Vec<(Moment, bool)> {
        fill_all::<x86::Avx2>(fillings)
    }

    #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
    pub fn ascents_avx512(flights: &[&Drawn], watched: &[Watchfulness], out: &mut [Ascent]) {
        fly_ascents::<x86::Avx512>(flights, watched, 1.0, out);
    }

    #[target_feature(enable = "avx512f,avx512dq,avx512vl,avx512bw")]
    pub fn fill_avx512(fillings: &[Filling]) -> Vec<(Moment, bool)> {
        fill_all::<x86::Avx512>(fillings)
    }
}
