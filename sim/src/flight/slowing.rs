//! Whether what opens will slow the fall in time, without flying it.

use super::descent::{Canopy, Stages};
use super::parts::Drawn;
use super::path::Moment;
use crate::lanes::norm;
use crate::wind::Descent;

/// A fall counts as slowed at 1.1 times the descent rate; the bound asks for this many times it.
const NEARLY: f64 = 1.07;
/// Above this the air need not be told apart: what is too fast there has far to go.
const ENOUGH_M: f64 = 300.0;
/// A faster fall lags behind its rate in air that thickens, by a share of v^2 / 4 g H: less than 3 % up to here, m/s.
const FASTEST_M_S: f64 = 90.0;

/// Whether an opening is sure to slow to its descent rate before the ground: never where it does not, often where it
/// does.
///
/// While it fills it falls no farther than its filling path. Full, in air of one density, the square of a vertical
/// fall's speed nears that of the descent rate v as exp(-2 g x / v^2) over a height x, and any motion sideways brakes it
/// more. Speeds are bounded by that at the start, the wind's changes and the fall while filling.
pub fn surely_slows(drawn: &Drawn, stages: &Stages, from: &Moment) -> bool {
    let height_m = from.position_m[2];
    let gravity_m_s2 = drawn.gravity.at(0.0);
    let bare =
        |canopy: &Canopy, below: f64| Descent { mass_kg: stages.mass_kg, drag_area_m2: canopy.drag_area_m2 + below };
    let rate = |body: &Descent, height_m: f64| body.rate_m_s(drawn.air.at(height_m).0, gravity_m_s2);
    // Height that one stage takes at most, opened at a speed, and the speed when it is full.
    let takes = |canopy: &Canopy, body: &Descent, speed_m_s: f64, height_m: f64| {
        let full_square = speed_m_s * speed_m_s + 2.0 * gravity_m_s2 * canopy.fill_path_m;
        let rate = rate(body, height_m.min(ENOUGH_M));
        let excess = (full_square / (rate * rate) - 1.0) / (NEARLY * NEARLY - 1.0);
        let slowing_m = rate * rate / (2.0 * gravity_m_s2) * libm::log(excess.max(1.0));
        // One step more than it takes, and a fifth.
        (1.2 * (canopy.fill_path_m + slowing_m) + 0.1 * speed_m_s + 1.0, full_square.sqrt())
    };
    if rate(&bare(&stages.first, stages.bare_area_m2), height_m) > FASTEST_M_S {
        return false;
    }
    let speed_m_s = norm(from.air_velocity_m_s(&drawn.wind)) + drawn.wind.strongest_m_s();
    let first = bare(&stages.first, stages.bare_area_m2);
    match &stages.main {
        None => takes(&stages.first, &first, speed_m_s, height_m).0 < height_m,
        Some((main, opens_m)) => {
            let both = bare(main, stages.bare_area_m2 + stages.first.drag_area_m2);
            let at_m = height_m.min(*opens_m);
            let full_m_s = takes(&stages.first, &first, speed_m_s, height_m).1;
            takes(main, &both, full_m_s.max(rate(&first, height_m)), at_m).0 < at_m
        }
    }
}
