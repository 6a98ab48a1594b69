//! The stat room and the laws over grids of arguments.

use serde_json::{Value, json};
use slowpoint_sim::draw::Law;
use slowpoint_sim::stat::cloud::Covariance;
use slowpoint_sim::stat::ellipse::Ellipse;
use slowpoint_sim::stat::summary::Summary;
use slowpoint_sim::stat::{beta, interval, normal, paired, student};

/// Every row.
pub fn rows() -> Vec<Value> {
    let parts: [fn() -> Vec<Value>; 6] = [intervals, functions, paired_rows, laws, ellipses, quantiles];
    parts.iter().flat_map(|part| part()).collect()
}

/// Numbers in (0, 1): even in the middle, with the ends that 2^23 cells of a Sobol point reach.
fn probabilities() -> Vec<f64> {
    let least = 0.5 / 8_388_608.0;
    let mut all: Vec<f64> = (1..40).map(|k| f64::from(k) / 40.0).collect();
    for small in [least, 1e-6, 1e-4, 1e-3, 0.01] {
        all.extend([small, 1.0 - small]);
    }
    all
}

fn intervals() -> Vec<Value> {
    let mut rows = Vec::new();
    for n in [1_u64, 2, 5, 16, 20, 100, 320, 1000, 1024, 10_000, 100_000] {
        let mut hits: Vec<u64> =
            [0, 1, 2, 3, 7, 10, 31, n / 10, n / 4, n / 2].into_iter().filter(|k| *k <= n).collect();
        hits.extend(hits.clone().iter().map(|k| n - k));
        for k in hits {
            for confidence in [0.9, 0.95, 0.99] {
                let ends = |i: interval::Interval| [i.lower, i.upper];
                rows.push(json!({
                    "kind": "interval", "k": k, "n": n, "confidence": confidence,
                    "clopper_pearson": ends(interval::clopper_pearson(k, n, confidence)),
                    "wilson": ends(interval::wilson(k, n, confidence)),
                }));
            }
        }
    }
    rows
}

fn functions() -> Vec<Value> {
    let mut rows = Vec::new();
    for p in probabilities() {
        rows.push(json!({"kind": "normal_quantile", "p": p, "value": normal::quantile(p)}));
        for (a, b) in [(0.5, 0.5), (1.0, 20.0), (2.5, 7.5), (31.0, 970.0), (500.0, 501.0), (3.0, 99_998.0)] {
            rows.push(json!({"kind": "beta_quantile", "p": p, "a": a, "b": b, "value": beta::inverse(p, a, b)}));
        }
    }
    for k in -80..=80 {
        let x = f64::from(k) / 10.0;
        rows.push(json!({"kind": "normal_cdf", "x": x, "value": normal::cdf(x)}));
    }
    for freedom in [1_u64, 2, 3, 7, 15, 31, 63, 255, 10_000] {
        for confidence in [0.5, 0.8, 0.9, 0.95, 0.99, 0.999] {
            let value = student::two_sided(confidence, freedom);
            rows.push(json!({"kind": "student", "freedom": freedom, "confidence": confidence, "value": value}));
        }
    }
    rows
}

fn paired_rows() -> Vec<Value> {
    // So many that the sign test is asked.
    let counts = [0_u64, 1, 2, 5, 13, 31];
    let all = counts.iter().flat_map(|b| [1, 2, 5, 13, 40, 100, 1000].map(move |c| (*b, c))).filter(|(b, c)| c > b);
    let ahead = |b: u64, c: u64| {
        let worse = [b, c].map(|n| paired::Side { sum: n as f64, squares: n as f64 });
        paired::Differences { net: vec![(c as f64 - b as f64, 2000)], worse }.ahead(interval::PointSet::Sobol)
    };
    all.map(|(b, c)| json!({"kind": "paired", "b": b, "c": c, "value": ahead(b, c)})).collect()
}

fn laws() -> Vec<Value> {
    let all = [
        ("normal", vec![1.5, 0.3], Law::Normal { mean: 1.5, sd: 0.3 }),
        (
            "truncated_normal",
            vec![1.0, 0.0335, 0.8, 1.2],
            Law::TruncatedNormal { mean: 1.0, sd: 0.0335, low: 0.8, high: 1.2 },
        ),
        (
            "truncated_normal",
            vec![0.0, 1.0, -0.5, 2.0],
            Law::TruncatedNormal { mean: 0.0, sd: 1.0, low: -0.5, high: 2.0 },
        ),
        (
            "truncated_normal",
            vec![0.0, 1.0, 4.0, 5.0],
            Law::TruncatedNormal { mean: 0.0, sd: 1.0, low: 4.0, high: 5.0 },
        ),
        (
            "truncated_normal",
            vec![3.0, 0.5, 0.0, 0.7],
            Law::TruncatedNormal { mean: 3.0, sd: 0.5, low: 0.0, high: 0.7 },
        ),
        (
            "truncated_normal",
            vec![0.0, 2.0, 0.0, 30.0],
            Law::TruncatedNormal { mean: 0.0, sd: 2.0, low: 0.0, high: 30.0 },
        ),
        ("log_normal", vec![0.55, 0.15], Law::LogNormal { median: 0.55, log_sd: 0.15 }),
        ("uniform", vec![-2.0, 7.0], Law::Uniform { low: -2.0, high: 7.0 }),
        ("triangular", vec![0.2, 0.5, 1.0], Law::Triangular { low: 0.2, mode: 0.5, high: 1.0 }),
        ("triangular", vec![0.0, 0.0, 1.5], Law::Triangular { low: 0.0, mode: 0.0, high: 1.5 }),
        ("triangular", vec![-1.0, 4.0, 4.0], Law::Triangular { low: -1.0, mode: 4.0, high: 4.0 }),
    ];
    let mut rows = Vec::new();
    for (law, numbers, drawn) in all {
        for p in probabilities() {
            rows.push(json!({"kind": "law", "law": law, "numbers": numbers, "p": p, "value": drawn.at(p)}));
        }
    }
    rows
}

fn ellipses() -> Vec<Value> {
    let mut rows = Vec::new();
    for (east_m2, north_m2, cross_m2) in
        [(1.0, 1.0, 0.0), (9.0, 4.0, 0.0), (4.0, 9.0, 3.0), (250.0, 90.0, -120.0), (1e4, 1.0, 60.0), (2.0, 2.0, 1.999)]
    {
        for share in [0.5, 0.9, 0.95, 0.99] {
            let covariance = Covariance { east_m2, north_m2, cross_m2 };
            let Some(e) = Ellipse::new((10.0, -20.0), &covariance, share) else { panic!("no ellipse of {share}") };
            rows.push(json!({
                "kind": "ellipse", "covariance_m2": [[east_m2, cross_m2], [cross_m2, north_m2]], "share": share,
                "semi_axes_m": [e.semi_minor_m, e.semi_major_m], "bearing_deg": e.bearing_deg, "area_m2": e.area_m2(),
            }));
        }
    }
    rows
}

/// Skewed values in bins of 0.05: the quantiles of the summary.
fn quantiles() -> Vec<Value> {
    let width = 0.05;
    let law = Law::LogNormal { median: 14.0, log_sd: 0.4 };
    [1_u32, 2, 9, 100, 1000, 4097]
        .iter()
        .map(|count| {
            let mut summary = Summary::new(0.0, width, 2000);
            // The golden ratio's multiples fill the unit interval evenly in no order.
            let values: Vec<f64> = (1..=*count).map(|k| law.at(golden(k, 0.618_033_988_749_894_9))).collect();
            values.iter().zip(0..).for_each(|(value, flight)| summary.add(*value, flight));
            let found: Vec<_> =
                [0.0, 0.05, 0.25, 0.5, 0.75, 0.9, 0.95, 1.0].iter().map(|p| (*p, summary.quantile(*p))).collect();
            json!({
                "kind": "quantiles", "width": width, "values": values, "mean": summary.mean(), "quantiles": found,
            })
        })
        .collect()
}

/// Fraction of a multiple of an irrational number, strictly inside the unit interval.
pub fn golden(k: u32, irrational: f64) -> f64 {
    (f64::from(k) * irrational).fract().clamp(1e-9, 1.0 - 1e-9)
}
