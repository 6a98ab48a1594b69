//! scratch
use slowpoint_sim::case::*;
use slowpoint_sim::draw::*;
use slowpoint_sim::flight::*;
use slowpoint_sim::tally::*;
use slowpoint_tests::rockets;
use std::time::Instant;
fn main() {
    for (name, mut inputs) in rockets::all() {
        let d: Vec<f64> = inputs.question.ways.iter().filter_map(|w| w.motor_delay_s).collect();
        let (lo, hi) = (d[0], d[d.len() - 1]);
        inputs.question.ways = (0..8).map(|k| rockets::delay(lo + (hi - lo) * k as f64 / 7.0)).collect();
        let case = Case::new(inputs).unwrap();
        let q = &case.inputs.question;
        let curve = curve_delays_s(&case, Some(0.5 * (lo + hi)));
        let asked = |curve: &[f64]| Asked {
            ways: &q.ways,
            limits_m_s: &q.limits_m_s,
            at_line_stretch: false,
            laws: &case.firing,
            curve_s: curve.first().zip(curve.last()).map(|(a, b)| [*a, *b]),
        };
        let n = 2048;
        let mut best = [f64::INFINITY; 8];
        for _ in 0..5 {
            let mut asc = Ascent::default();
            let (mut t_plain, mut t_w, mut t_wc, mut t_n, mut b) = (0.0, 0.0, 0.0, 0.0, 0usize);
            let mut flowns = Vec::new();
            let mut plain = Vec::new();
            let mut flownc = Vec::new();
            let mut t_watch = 0.0;
            for f in 0..n {
                let (drawn, events) = draw(&case, &Numbers::of(PointSet::Sobol, 1, f), &Shift::NONE);
                let t = Instant::now();
                let p = fly(&drawn, &events, &q.ways, &mut asc);
                t_plain += t.elapsed().as_secs_f64();
                plain.push(p);
                let a = asked(&[]);
                let t = Instant::now();
                let p = fly_whole_law(&drawn, &events, &a, &mut asc);
                t_watch += t.elapsed().as_secs_f64();
                flowns.push(p);
                let drift = slowpoint_sim::wind::DriftTable::new(
                    &drawn.wind,
                    &drawn.air,
                    |z| drawn.gravity.at(z),
                    asc.apogee_m,
                );
                let t = Instant::now();
                let w = Windows::of(&a, &drawn, &events, &asc, &drift);
                t_w += t.elapsed().as_secs_f64();
                b += w.is_some() as usize;
                let a = asked(&curve);
                let t = Instant::now();
                let w = Windows::of(&a, &drawn, &events, &asc, &drift);
                t_wc += t.elapsed().as_secs_f64();
                let mut p = flowns[flowns.len() - 1].clone();
                if let (Some(l), Some(w)) = (p.whole_law.as_mut(), w) {
                    l.windows = w;
                }
                if f == 3 && flownc.len() == 3 && best[0].is_infinite() {
                    let nodes = asc.path.nodes.len();
                    let t = Instant::now();
                    for _ in 0..20000 {
                        std::hint::black_box(asked(&[]).watchfulness(&events, &drawn));
                    }
                    println!("watch {:.3} nodes {nodes}", t.elapsed().as_secs_f64() * 1e6 / 20000.0);
                    let t = Instant::now();
                    for _ in 0..20000 {
                        std::hint::black_box(Windows::of(&asked(&[]), &drawn, &events, &asc, &drift));
                    }
                    println!("windows {:.3}", t.elapsed().as_secs_f64() * 1e6 / 20000.0);
                    let a = asked(&[]);
                    let far = Asked { limits_m_s: &[1e4, 2e4], ..a };
                    let t = Instant::now();
                    for _ in 0..20000 {
                        std::hint::black_box(Windows::of(&far, &drawn, &events, &asc, &drift));
                    }
                    println!("windows far limits {:.3}", t.elapsed().as_secs_f64() * 1e6 / 20000.0);
                    let t = Instant::now();
                    for _ in 0..20000 {
                        std::hint::black_box(slowpoint_sim::flight::surely_slows(
                            &drawn,
                            &events.stages,
                            &asc.path.nodes[nodes - 40].moment(),
                        ));
                    }
                    println!("surely {:.3}", t.elapsed().as_secs_f64() * 1e6 / 20000.0);
                    let ws = p.whole_law.as_ref().unwrap();
                    let t = Instant::now();
                    let mut x = 0;
                    for _ in 0..20000 {
                        for (k, w) in q.ways.iter().enumerate() {
                            ws.windows.shares(&case.firing, k, w, |w, s| x += s * w.over(0) as u64);
                        }
                    }
                    println!("shares 8 {:.3} {x}", t.elapsed().as_secs_f64() * 1e6 / 20000.0);
                }
                flownc.push(p);
            }
            let _ = &mut t_n;
            let frame = Frame { case: &case, cell_m: 2.0, curve_s: &[] };
            let run = |fl: &[Flown], frame: &Frame| {
                let mut tl = Tally::new(frame);
                let t = Instant::now();
                for (k, f) in fl.iter().enumerate() {
                    tl.add(f, &case, k as u64);
                }
                t.elapsed().as_secs_f64()
            };
            let (a, bb) = (run(&plain, &frame), run(&flowns, &frame));
            let c = run(&flownc, &Frame { case: &case, cell_m: 2.0, curve_s: &curve });
            for (s, v) in best.iter_mut().zip([t_plain, t_watch, t_w, t_wc, a, bb, c, b as f64]) {
                *s = s.min(v * 1e6 / n as f64);
            }
        }
        println!(
            "{name:18} plain {:.1} whole {:.1} windows {:.2} with curve {:.2} ({} pts); tally plain {:.2} whole {:.2} curve {:.2}",
            best[0],
            best[1],
            best[2],
            best[3],
            curve.len(),
            best[4],
            best[5],
            best[6]
        );
    }
}
