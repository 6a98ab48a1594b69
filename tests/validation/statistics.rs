//! Intervals of a chance and dispersion ellipses against published figures, and what the intervals really cover
//! with the points that flights are drawn from.

use slowpoint_sim::draw::{Numbers, PointSet, REPLICATES, Slot};
use slowpoint_sim::stat::cloud::{Cloud, Covariance};
use slowpoint_sim::stat::ellipse::Ellipse;
use slowpoint_sim::stat::interval::{CONFIDENCE, chance, clopper_pearson, wilson};
use slowpoint_sim::stat::normal;
use slowpoint_sim::stat::summary::Summary;
use slowpoint_tests::sheet::{Sheet, Trust};

slowpoint_tests::subject! { "Statistics":
    bin_1_intervals,
    bin_2_no_hit_at_all,
    ell_1_factors,
    ell_2_normal_cloud,
    rad_1_radii,
}

fn bin_1_intervals() -> Sheet {
    let mut sheet = Sheet::new(
        "BIN-1",
        "95 % intervals of a chance after Wilson and after Clopper and Pearson",
        Trust::B,
        "first three Newcombe, Statistics in Medicine 17 (1998) 857, the fourth (90 %) of the kind of NIST/SEMATECH e-Handbook 7.2.4.1, both from memory and recomputed; the rest from the same formulas",
    );
    sheet.because("half a unit of the last printed digit");
    for (k, n, level, wilson_low, wilson_high, exact_low, exact_high) in [
        (81, 263, 0.95, 0.255289, 0.366210, 0.252737, 0.367622),
        (15, 148, 0.95, 0.062386, 0.160487, 0.057844, 0.161650),
        (0, 20, 0.95, 0.0, 0.161125, 0.0, 0.168433),
        (4, 20, 0.90, 0.093118, 0.378377, 0.071354, 0.401028),
        (0, 1000, 0.95, 0.0, 0.003827, 0.0, 0.003682),
        (50, 1000, 0.95, 0.038130, 0.065314, 0.037335, 0.065390),
        (500, 1000, 0.95, 0.469070, 0.530930, 0.468549, 0.531451),
        (10, 10_000, 0.95, 0.000543, 0.001840, 0.000480, 0.001838),
        (1000, 1000, 0.95, 0.996173, 1.0, 0.996318, 1.0),
    ] {
        let (w, e) = (wilson(k, n, level), clopper_pearson(k, n, level));
        for (what, value, expected) in [
            ("Wilson, low", w.lower, wilson_low),
            ("Wilson, high", w.upper, wilson_high),
            ("Clopper-Pearson, low", e.lower, exact_low),
            ("Clopper-Pearson, high", e.upper, exact_high),
        ] {
            let end = expected == 0.0 || expected == 1.0;
            sheet.close(format!("{k}/{n} {what}"), value, expected, if end { 0.0 } else { 1e-6 });
        }
    }
    // One-sided 95 % is two-sided 90 %.
    sheet.close("0/1000 one-sided, high", clopper_pearson(0, 1000, 0.90).upper, 0.002_991_2, 1e-7);
    sheet.because("the sample sizes are those of the normal law, beside which Wilson's interval is narrower by z²/2n");
    for (hits, flights) in [(4802, 9604), (346, 3458)] {
        let found = wilson(hits, flights, 0.95);
        sheet.close(format!("{hits}/{flights} half the width"), 0.5 * (found.upper - found.lower), 0.01, 1e-5);
    }
    sheet
}

fn bin_2_no_hit_at_all() -> Sheet {
    let mut sheet = Sheet::new(
        "BIN-2",
        "no hit in N, and N in N",
        Trust::B,
        "upper end 1 - 0.025^(1/N) (Clopper and Pearson), near 3.69/N",
    );
    for flights in [64_u64, 2000, 100_000] {
        for points in [PointSet::Sobol, PointSet::Pseudorandom] {
            let per = |hits: fn(u64) -> u64| -> Vec<(u64, u64)> {
                let each = |r| flights / REPLICATES + u64::from(r < flights % REPLICATES);
                (0..REPLICATES).map(|r| (hits(each(r)), each(r))).collect()
            };
            let (none, all) = (chance(&per(|_| 0), points, CONFIDENCE), chance(&per(|n| n), points, CONFIDENCE));
            let exact = 1.0 - libm::pow(0.025, 1.0 / flights as f64);
            let name = format!("none of {flights}, {points:?}");
            sheet.because("rounding");
            sheet.close_relative(format!("{name}: upper end"), none.upper, exact, 1e-8);
            sheet.because("-ln 0.025 = 3.6889, the next term is half of it over N");
            sheet.close_relative(
                format!("{name}: upper end times N"),
                none.upper * flights as f64,
                3.6889,
                2.0 / flights as f64 + 1e-4,
            );
            let ends = (none.estimate, none.lower, all.estimate, all.upper);
            sheet.holds(format!("{name}: 0 and 1 are exact"), ends == (0.0, 0.0, 1.0, 1.0));
            sheet.because("rounding");
            sheet.close(
                format!("all of {flights}, {points:?}: lower end, mirrored"),
                all.lower,
                1.0 - none.upper,
                1e-15,
            );
        }
    }
    sheet
}

fn ell_1_factors() -> Sheet {
    let mut sheet = Sheet::new(
        "ELL-1",
        "ellipse of a bivariate normal of standard deviations 3 m towards 060 deg and 2 m across",
        Trust::B,
        "scale sqrt(-2 ln(1 - P)), computed; area of 95 % is 18.82274 times both",
    );
    sheet.because("six printed places");
    for (share, factor) in [
        (0.50, 1.177410),
        (0.90, 2.145966),
        (0.95, 2.447747),
        (0.99, 3.034854),
        (0.9973, 3.439332),
        (1.0 - libm::exp(-0.5), 1.0),
    ] {
        // Standard deviations 3 and 2, turned so that the long axis points to 060 deg.
        let (sin, cos) = (libm::sin(60.0_f64.to_radians()), libm::cos(60.0_f64.to_radians()));
        let covariance = Covariance {
            east_m2: 9.0 * sin * sin + 4.0 * cos * cos,
            north_m2: 9.0 * cos * cos + 4.0 * sin * sin,
            cross_m2: (9.0 - 4.0) * sin * cos,
        };
        let e = Ellipse::new((7.0, -5.0), &covariance, share).unwrap_or_else(|| panic!("an ellipse for {share}"));
        let name = format!("{:.2} %", 100.0 * share);
        sheet.close(format!("{name}: long half-axis, m"), e.semi_major_m, 3.0 * factor, 3.0 * 6e-7);
        sheet.close(format!("{name}: short half-axis, m"), e.semi_minor_m, 2.0 * factor, 2.0 * 6e-7);
        sheet.close(format!("{name}: bearing, deg"), e.bearing_deg, 60.0, 1e-9);
        if share == 0.95 {
            sheet.close("95 %: area, m²", e.area_m2(), 18.82274 * 6.0, 6.0 * 6e-6);
        }
        for (along, inside) in [(0.999, true), (1.001, false)] {
            let (de, dn) = (along * 3.0 * factor * sin, along * 3.0 * factor * cos);
            let word = |inside: bool| if inside { "inside" } else { "outside" };
            let found = e.contains(7.0 + de, -5.0 + dn);
            sheet.equal(format!("{name}: {along} of the long half-axis"), word(found), word(inside));
        }
    }
    sheet
}

fn ell_2_normal_cloud() -> Sheet {
    let mut sheet = Sheet::new(
        "ELL-2",
        "ellipses and smallest regions of 65,536 normal points, 8 m by 4 m",
        Trust::B,
        "each holds the share that it promises; the smallest region is the ellipse",
    );
    sheet.because("independent points would stray by 0.2 % of the share and 0.3 % of the axes, of which three");
    let mut cloud = Cloud::new(0.5);
    let points: Vec<(f64, f64)> = (0..65_536)
        .map(|flight| {
            let numbers = Numbers::of(PointSet::Sobol, 3, flight);
            let z = |slot| normal::quantile(numbers.uniform(slot));
            (30.0 + 8.0 * z(Slot::Drag), 5.0 + 4.0 * z(Slot::Mass))
        })
        .collect();
    points.iter().for_each(|(e, n)| cloud.add(*e, *n));
    for share in [0.5, 0.9, 0.95, 0.99] {
        let e = cloud.ellipse(share).unwrap_or_else(|| panic!("a cloud has an ellipse"));
        let held = points.iter().filter(|(x, y)| e.contains(*x, *y)).count() as f64 / points.len() as f64;
        let name = format!("{} %", 100.0 * share);
        sheet.close(format!("{name}: share held by the ellipse"), held, share, 0.006);
        sheet.close_relative(format!("{name}: long over short half-axis"), e.semi_major_m / e.semi_minor_m, 2.0, 0.01);
        let region = cloud.region(share).unwrap_or_else(|| panic!("a cloud has a region"));
        sheet.close(format!("{name}: share in the region"), region.share_held, share, 0.01);
        sheet.close_relative(format!("{name}: area of the region, m²"), region.area_m2, e.area_m2(), 0.10);
    }
    sheet
}

/// Distances that hold a share of the points about their mean, or about a point beside it.
fn rad_1_radii() -> Sheet {
    let mut sheet = Sheet::new(
        "RAD-1",
        "radius that holds 50, 90, 95 and 99 % of 65,536 normal points, read from a distance's summary",
        Trust::B,
        "1.177410, 2.145966, 2.447747, 3.034854 standard deviations where round; for 1 by 0.75, 1 by 0.5 and an offset \
        of one standard deviation the exact integral, computed",
    );
    sheet.because(
        "independent points would stray by sqrt(p (1 - p) / n) over the density, some 0.013 at 99 % and 0.007 at 95 %; \
        Sobol's by less",
    );
    for (name, [wide, narrow, offset], radii) in [
        ("round", [1.0, 1.0, 0.0], [Some(1.177410), Some(2.145966), Some(2.447747), Some(3.034854)]),
        ("1 by 0.75", [1.0, 0.75, 0.0], [Some(1.027091), Some(1.903349), Some(2.185802), Some(2.749162)]),
        ("1 by 0.5", [1.0, 0.5, 0.0], [Some(0.870417), Some(1.737080), Some(2.035859), Some(2.632567)]),
        ("round, 1 off", [1.0, 1.0, 1.0], [Some(1.475479), None, Some(2.939763), None]),
    ] {
        let mut distance = Summary::new(0.0, 0.005, 2000);
        for flight in 0..65_536 {
            let numbers = Numbers::of(PointSet::Sobol, 3, flight);
            let z = |slot| normal::quantile(numbers.uniform(slot));
            distance.add(libm::hypot(offset + wide * z(Slot::Drag), narrow * z(Slot::Mass)), flight);
        }
        for (share, radius) in [0.50, 0.90, 0.95, 0.99].into_iter().zip(radii) {
            let Some(radius) = radius else { continue };
            let found = distance.quantile(share).unwrap_or(f64::NAN);
            let tolerance = if share > 0.98 { 0.018 } else { 0.009 };
            sheet.close(format!("{name}: {} %", 100.0 * share), found, radius, tolerance);
        }
    }
    sheet
}
