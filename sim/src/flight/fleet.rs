//! Flights side by side: each lane reads its own world through what it last found in its tables.

use core::cell::Cell;

use super::parts::{Drawn, Instant, MassModel, Number, Parts};
use crate::aero::MachRows;
use crate::air::AirCell;
use crate::lanes::{Lane, lanes_of};
use crate::thrust::{Piece as ThrustPiece, Side};
use crate::wind::Piece as WindPiece;

/// A piece of a table held per lane, from where to where it holds, until a lane leaves it. A search for each of the
/// four evaluations of a step would cost as much as all the forces.
struct Held<L: Lane, const K: usize> {
    from: Cell<L::Array>,
    until: Cell<L::Array>,
    values: [Cell<L::Array>; K],
}

impl<L: Lane, const K: usize> Held<L, K> {
    /// Nothing yet.
    fn new() -> Self {
        let held = |value: f64| Cell::new(L::splat(value).array());
        // From beyond any place to before any: whatever is asked for first is outside.
        Self { from: held(f64::INFINITY), until: held(f64::NEG_INFINITY), values: core::array::from_fn(|_| held(0.0)) }
    }

    /// Holds the piece of each lane's place, from where it begins to just before the next one: on a node as well, one
    /// alone holds, whichever was held before. `look` finds a lane's piece: from where, until where, and its values; it is
    /// given the first of those that the lane holds.
    #[inline(always)]
    fn hold(&self, place: L, look: impl Fn(usize, f64, f64) -> ([f64; 2], [f64; K])) {
        let within = !place.bits_below(L::load(&self.from)) & place.bits_below(L::load(&self.until));
        let left = !within & ((1 << L::WIDTH) - 1);
        if left != 0 {
            let places = place.array();
            for lane in lanes_of(left) {
                let held = self.values[0].get().as_ref()[lane];
                let ([from, until], values) = look(lane, places.as_ref()[lane], held);
                L::store(&self.from, lane, from);
                L::store(&self.until, lane, until);
                for (own, value) in self.values.iter().zip(values) {
                    L::store(own, lane, value);
                }
            }
        }
    }

    /// Lets go of what one lane holds.
    fn drop(&self, lane: usize) {
        L::store(&self.from, lane, f64::INFINITY);
        L::store(&self.until, lane, f64::NEG_INFINITY);
        // The number of a piece of another table is no place to start from.
        L::store(&self.values[0], lane, 0.0);
    }

    /// One of the values held.
    #[inline(always)]
    fn value(&self, k: usize) -> L {
        L::load(&self.values[k])
    }
}

/// Flights of one airframe side by side, a flight a lane.
pub struct Fleet<'a, 'b, L: Lane> {
    /// The flight of each lane.
    flights: Vec<&'b Drawn<'a>>,
    numbers: [L; Number::ALL.len()],
    mass: MassModel<L>,
    /// Tables against Mach number, the same for all.
    rows: MachRows,
    air_scale: [L; 2],
    /// Number of the piece, foot, wind at the foot, slope.
    wind: Held<L, 6>,
    air: Held<L, 9>,
    thrust: ThrustPiece<L>,
    thrust_piece: Vec<usize>,
}

impl<'a, 'b, L: Lane> Fleet<'a, 'b, L> {
    /// Of an airframe; its rockets are yet to be seated.
    pub fn new(first: &'b Drawn<'a>) -> Self {
        let aero = first.aero;
        let rows = MachRows::new([&aero.drag_coasting, &aero.drag_thrusting, &aero.fin_slope_factor]);
        Self { rows, ..Self::worlds(first) }
    }

    /// One flight's air, wind and Earth in every lane, without its rocket.
    pub fn worlds(first: &'b Drawn<'a>) -> Self {
        let zero = L::splat(0.0);
        let mut fleet = Self {
            flights: vec![first; L::WIDTH],
            numbers: [zero; Number::ALL.len()],
            mass: MassModel {
                dry_mass_kg: zero,
                dry_cg_m: zero,
                dry_inertia_kg_m2: zero,
                propellant_kg: zero,
                propellant_cg_m: zero,
                propellant_gyration_m2: zero,
            },
            rows: MachRows::default(),
            air_scale: [zero; 2],
            wind: Held::new(),
            air: Held::new(),
            thrust: ThrustPiece::splat(&first.thrust.piece(0)),
            thrust_piece: vec![0; L::WIDTH],
        };
        (0..L::WIDTH).for_each(|lane| fleet.seat_world(lane, first));
        fleet
    }

    /// Puts another flight of the same airframe into a lane, at a time after its first thrust.
    pub fn seat(&mut self, lane: usize, flight: &'b Drawn<'a>, time_s: f64) {
        assert!(core::ptr::eq(flight.aero, self.flights[0].aero), "flights of one airframe");
        self.seat_world(lane, flight);
        for (own, number) in self.numbers.iter_mut().zip(Number::ALL) {
            own.set_lane(lane, flight.number(number));
        }
        let (own, new) = (&mut self.mass, &flight.mass);
        for (own, new) in [
            (&mut own.dry_mass_kg, new.dry_mass_kg),
            (&mut own.dry_cg_m, new.dry_cg_m),
            (&mut own.dry_inertia_kg_m2, new.dry_inertia_kg_m2),
            (&mut own.propellant_kg, new.propellant_kg),
            (&mut own.propellant_cg_m, new.propellant_cg_m),
            (&mut own.propellant_gyration_m2, new.propellant_gyration_m2),
        ] {
            own.set_lane(lane, new);
        }
        self.thrust_piece[lane] = 0;
        self.take_thrust(lane, time_s);
    }

    /// Puts the air, the wind and the Earth of another flight into a lane, and nothing of its rocket.
    pub fn seat_world(&mut self, lane: usize, flight: &'b Drawn<'a>) {
        self.flights[lane] = flight;
        for number in [Number::SurfaceGravity, Number::PerRadius, Number::RotationNorth, Number::RotationUp] {
            self.numbers[number as usize].set_lane(lane, flight.number(number));
        }
        for (own, new) in self.air_scale.iter_mut().zip(flight.air.scale()) {
            own.set_lane(lane, new);
        }
        self.wind.drop(lane);
        self.air.drop(lane);
    }

    /// The flight of a lane.
    pub fn flight(&self, lane: usize) -> &'b Drawn<'a> {
        self.flights[lane]
    }

    /// A number of each flight that the forces do not ask for.
    pub fn of_each(&self, pick: impl Fn(&Drawn) -> f64) -> L {
        L::from_lanes(|lane| pick(self.flights[lane]))
    }

    /// Gives one lane the fins that its flight has left.
    pub fn lose_fin(&mut self, lane: usize) {
        let Some(change) = self.flights[lane].change else { return };
        for (number, value) in [
            (Number::FinsZeroth, change.fins.zeroth_per_rad),
            (Number::FinsFirst, change.fins.first_m),
            (Number::FinsSecond, change.fins.second_m2),
        ] {
            self.numbers[number as usize].set_lane(lane, value);
        }
    }

    /// When the piece of thrust ends that each lane is in, s.
    #[inline(always)]
    pub fn thrust_until_s(&self) -> L {
        self.thrust.until_s
    }

    /// Takes up the piece of thrust that a time lies in, or begins with, in one lane.
    pub fn take_thrust(&mut self, lane: usize, time_s: f64) {
        let table = &self.flights[lane].thrust;
        // The next one as a rule.
        let next = table.piece(self.thrust_piece[lane] + 1);
        let piece = if next.from_s <= time_s && time_s < next.until_s {
            self.thrust_piece[lane] + 1
        } else {
            table.piece_at(time_s, Side::After)
        };
        self.thrust_piece[lane] = piece;
        self.thrust.set_lane(lane, &table.piece(piece));
    }

    /// What an instant holds in the piece of thrust that each lane is in.
    #[inline(always)]
    pub fn instant(&self, time: L) -> Instant<L> {
        self.instant_of(&self.thrust.at(time), time)
    }
}

impl<L: Lane> Parts<L> for Fleet<'_, '_, L> {
    #[inline(always)]
    fn wind(&self, height: L) -> (L, L) {
        self.wind.hold(height, |lane, z, held| {
            let (k, piece) = self.flights[lane].wind.piece_from(held as usize, z);
            let from = if k == 0 { f64::NEG_INFINITY } else { piece.foot_m };
            let ([e, n], [es, ns]) = (piece.wind_m_s, piece.slope_per_s);
            ([from, piece.top_m], [k as f64, piece.foot_m, e, n, es, ns])
        });
        let held = |k: usize| self.wind.value(k);
        let foot_m = held(1);
        WindPiece { foot_m, top_m: foot_m, wind_m_s: [held(2), held(3)], slope_per_s: [held(4), held(5)] }.at(height)
    }
    #[inline(always)]
    fn air(&self, height: L) -> (L, L) {
        let place = (height - self.air_scale[0]) * self.air_scale[1];
        self.air.hold(place, |lane, place, _| {
            let (cell, holds) = self.flights[lane].air.cell_of(place);
            let ([d0, d1, d2, d3], [c0, c1, c2, c3]) = (cell.density, cell.per_sound);
            (holds, [cell.foot, d0, d1, d2, d3, c0, c1, c2, c3])
        });
        let held = |k: usize| self.air.value(k);
        let density = [held(1), held(2), held(3), held(4)];
        let per_sound = [held(5), held(6), held(7), held(8)];
        AirCell { foot: held(0), density, per_sound }.at(place)
    }
    #[inline(always)]
    fn by_mach(&self, mach: L, burning: L) -> [L; 2] {
        let [drag_coasting, drag_thrusting, fins] = [0, 1, 2];
        if L::splat(0.5).any_below(burning) {
            let [coasting, thrusting, fin] = self.rows.at(mach, [drag_coasting, drag_thrusting, fins]);
            [thrusting.where_set(burning, coasting), fin]
        } else {
            self.rows.at(mach, [drag_coasting, fins])
        }
    }
    #[inline(always)]
    fn number(&self, number: Number) -> L {
        self.numbers[number as usize]
    }
    #[inline(always)]
    fn mass(&self) -> MassModel<L> {
        self.mass
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Pieces of one metre: on a node the upper one holds, come to from below, from above or anew.
    #[test]
    fn one_piece_holds_on_a_node() {
        let held = Held::<f64, 1>::new();
        let piece_at = |place: f64| {
            held.hold(place, |_, place, _| ([place.floor(), place.floor() + 1.0], [place.floor()]));
            held.value(0)
        };
        for (place, want) in [(2.0, 2.0), (1.5, 1.0), (2.0, 2.0), (2.5, 2.0), (2.0, 2.0), (1.999, 1.0), (1.0, 1.0)] {
            assert_eq!(piece_at(place), want, "{place}");
        }
        held.drop(0);
        assert_eq!(piece_at(3.0), 3.0);
    }
}
