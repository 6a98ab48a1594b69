//! How many plain random flights counted as 0 or 1 an interval takes: what any estimator is held against.

use slowpoint_sim::report::Report;

/// Half-widths that are asked for, as a share: half a point and a tenth.
pub const HALF_WIDTHS: [f64; 2] = [0.005, 0.001];
/// Chances outside are left out: their intervals are narrow by themselves.
pub const CHANCES: core::ops::RangeInclusive<f64> = 0.02..=0.98;

/// Independent flights until the usual 95 % interval of a counted share, p +- 1.96 sqrt(p (1 - p) / n), is so narrow.
pub fn plain_flights(chance: f64, half_width: f64) -> u64 {
    const Z: f64 = 1.96;
    (chance * (1.0 - chance) * (Z / half_width) * (Z / half_width)).ceil() as u64
}

/// A chance of an answer.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Told {
    /// Number of the way of deploying.
    pub way: usize,
    /// The limit, m/s.
    pub limit_m_s: f64,
    /// Chance to eject faster.
    pub chance: f64,
    /// Half the width of its interval.
    pub half_width: f64,
}

/// The chances over every limit of every way of deploying.
pub fn told(report: &Report) -> Vec<Told> {
    let way = |(way, told): (usize, &slowpoint_sim::report::WayReport)| {
        let limit = |l: &slowpoint_sim::report::LimitReport| Told {
            way,
            limit_m_s: l.limit_m_s,
            chance: l.over.estimate,
            half_width: 0.5 * (l.over.upper - l.over.lower),
        };
        told.limits.iter().map(limit).collect::<Vec<_>>()
    };
    report.ways.iter().enumerate().flat_map(way).collect()
}

/// The widest interval of the chances that count, halved; nothing where none does.
pub fn widest(told: &[Told], counts: impl Fn(&Told) -> bool) -> Option<f64> {
    told.iter().filter(|t| counts(t)).map(|t| t.half_width).reduce(f64::max)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The textbook's 385 for five points near one half, and its hundredfold.
    #[test]
    fn plain_counting() {
        assert_eq!(plain_flights(0.5, 0.05), 385);
        assert_eq!(plain_flights(0.5, 0.005), 38_416);
        assert_eq!(plain_flights(0.02, 0.001), 75_296);
        assert_eq!(plain_flights(0.98, 0.001), 75_296);
    }
}
