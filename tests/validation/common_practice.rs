//! What the trade has long seen. Common practice, not measurements.

use std::sync::atomic::AtomicBool;

use slowpoint_sim::case::Case;
use slowpoint_sim::{assess, way_label};
use slowpoint_tests::rockets;

#[test]
fn look() {
    for (name, inputs) in rockets::all() {
        let case = Case::new(inputs).unwrap_or_else(|f| panic!("{name}: {f:?}"));
        let t = std::time::Instant::now();
        let r = assess(&case, &AtomicBool::new(false)).unwrap();
        println!("== {name}: {:?} for {} flights; margin {:.2} cal, T/W {:.1}", t.elapsed(), r.flights, case.nominal.margin_calibres, case.nominal.thrust_to_weight);
        let f = r.flight.as_ref().unwrap();
        let rail = r.rail.as_ref().unwrap();
        println!("apogee {:.1} m at {:.2} s, mach {:.2}; rail {:.1} m/s (fwd {:.1}), aoa {:.1}, margin {:.2}; slowest {:.2} at delay {:.2} ({:+.2} s)", f.apogee_m.p50, f.apogee_s.p50, f.peak_mach.p50,
            rail.exit_speed_m_s.p50, rail.forward_guide_speed_m_s.p50, rail.angle_of_attack_deg.p50, rail.margin_calibres.p50,
            f.slowest_airspeed_m_s.p50, f.slowest_delay_s.p50, f.slowest_after_apogee_s.p50);
        for w in &r.ways {
            let l = &w.limits[0];
            println!("  {}: over {:.3} [{:.3} {:.3}] unsafe {:.3} | {:?}", way_label(&w.way), l.over.estimate, l.over.lower, l.over.upper, l.unsafe_opening.estimate, w.outcomes.iter().map(|o| (o.outcome, o.flights)).collect::<Vec<_>>());
            if let (Some(e), Some(g)) = (&w.ejection, &w.landing) {
                println!("      v {:.2} [{:.2} {:.2}] h {:.0} after {:.2}; land {:.0} {:.0} dist {:.0} p95 {:.0} v {:.2}", e.airspeed_m_s.p50, e.airspeed_m_s.p05, e.airspeed_m_s.p95, e.height_above_pad_m.p50, e.after_apogee_s.p50, g.mean_east_m, g.mean_north_m, g.distance_m.p50, g.distance_m.p95, g.vertical_speed_m_s.p50);
            }
        }
        for m in &r.moves { println!("  {}: {:.3?}", m.what, m.unsafe_opening); }
        for c in &r.cautions { println!("  ! {}: {}", c.topic, c.message); }
    }
}
