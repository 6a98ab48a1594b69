//! A strand: parts in series, from one anchor to the other. Its tension follows from how far it is stretched.

/// Where a part stops giving way.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Lock {
    /// Stretch over length at which it begins.
    pub strain: f64,
    /// Tension per strain from there on, N.
    pub stiffness_n: f64,
}

/// One piece of cord.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Part {
    /// Length before it is stretched, m.
    pub length_m: f64,
    /// Tension per strain (modulus times cross-section), N.
    pub stiffness_n: f64,
    /// Where it stiffens or locks, if it does.
    pub lock: Option<Lock>,
    /// Share of what it stores that it loses in a radian of vibration; twice its share of critical damping.
    pub loss_factor: f64,
    /// Tension at which it breaks, N.
    pub strength_n: f64,
}

impl Part {
    /// Tension at which it locks, N; infinite where it does not.
    fn locks_at_n(&self) -> f64 {
        self.lock.map_or(f64::INFINITY, |lock| lock.strain * self.stiffness_n)
    }

    /// Stretch per newton above a tension, m/N.
    fn compliance_m_n(&self, tension_n: f64) -> f64 {
        match self.lock {
            Some(lock) if tension_n >= self.locks_at_n() => self.length_m / lock.stiffness_n,
            _ => self.length_m / self.stiffness_n,
        }
    }
}

/// A range of stretch in which the tension rises straight.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Piece {
    /// Stretch at which it begins, m.
    pub from_m: f64,
    /// Tension there, N.
    pub from_n: f64,
    /// Tension per stretch, N/m.
    pub stiffness_n_m: f64,
    /// Loss factor of the whole strand.
    pub loss_factor: f64,
}

/// Parts in series: each carries the tension of all.
#[derive(Debug, Clone, PartialEq)]
pub struct Strand {
    parts: Vec<Part>,
    pieces: Vec<Piece>,
}

impl Strand {
    /// From its parts. Compliances add up; so do losses, each part's weighted with its share of what is stored (the modal
    /// strain energy method: Johnson and Kienholz, AIAA J. 20, 1982, 1284; from memory).
    pub fn new(parts: Vec<Part>) -> Self {
        let mut kinks_n: Vec<f64> = parts.iter().map(Part::locks_at_n).filter(|n| n.is_finite()).collect();
        kinks_n.push(0.0);
        kinks_n.sort_by(f64::total_cmp);
        kinks_n.dedup();
        let mut from_m = 0.0;
        let mut pieces: Vec<Piece> = Vec::with_capacity(kinks_n.len());
        for from_n in kinks_n {
            if let Some(before) = pieces.last() {
                from_m += (from_n - before.from_n) / before.stiffness_n_m;
            }
            let compliance: f64 = parts.iter().map(|part| part.compliance_m_n(from_n)).sum();
            let lost: f64 = parts.iter().map(|part| part.loss_factor * part.compliance_m_n(from_n)).sum();
            pieces.push(Piece { from_m, from_n, stiffness_n_m: 1.0 / compliance, loss_factor: lost / compliance });
        }
        Self { parts, pieces }
    }

    /// Its parts.
    pub fn parts(&self) -> &[Part] {
        &self.parts
    }

    /// Its law of tension, by rising stretch.
    pub fn pieces(&self) -> &[Piece] {
        &self.pieces
    }

    /// Length before it is stretched, m.
    pub fn length_m(&self) -> f64 {
        self.parts.iter().map(|part| part.length_m).sum()
    }

    /// The piece that a stretch lies in; `None` of a slack strand.
    pub fn piece(&self, stretch_m: f64) -> Option<&Piece> {
        self.pieces.iter().rev().find(|piece| stretch_m >= piece.from_m)
    }

    /// The part that breaks first.
    pub fn weakest(&self) -> usize {
        let each = self.parts.iter().enumerate();
        each.min_by(|a, b| a.1.strength_n.total_cmp(&b.1.strength_n)).map_or(0, |(k, _)| k)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    pub fn part(length_m: f64, stiffness_n: f64) -> Part {
        Part { length_m, stiffness_n, lock: None, loss_factor: 0.0, strength_n: 1e3 }
    }

    /// 1 / k = L1 / EA1 + L2 / EA2, and the loss is that of what gives way.
    #[test]
    fn parts_in_series_add_their_compliances() {
        let soft = Part { loss_factor: 0.3, ..part(1.0, 50.0) };
        let hard = Part { loss_factor: 0.1, strength_n: 400.0, ..part(3.0, 600.0) };
        let strand = Strand::new(vec![soft, hard]);
        let [piece] = *strand.pieces() else { panic!("{strand:?}") };
        assert!((1.0 / piece.stiffness_n_m - (1.0 / 50.0 + 3.0 / 600.0)).abs() < 1e-15);
        assert!((piece.loss_factor - (0.3 * 0.02 + 0.1 * 0.005) / 0.025).abs() < 1e-15);
        assert_eq!((strand.length_m(), strand.weakest()), (4.0, 1));
    }

    /// An elastic of 1 m that locks at 80 % (40 N) before 2 m that do not: 40 N at 0.8 m and 40 / 300 m of the other.
    #[test]
    fn what_locks_leaves_the_rest_to_give_way() {
        let elastic = Part { lock: Some(Lock { strain: 0.8, stiffness_n: 5e3 }), ..part(1.0, 50.0) };
        let strand = Strand::new(vec![elastic, part(2.0, 600.0)]);
        let [soft, locked] = *strand.pieces() else { panic!("{strand:?}") };
        assert!((soft.stiffness_n_m - 1.0 / (0.02 + 2.0 / 600.0)).abs() < 1e-12);
        assert!((locked.from_n - 40.0).abs() < 1e-12 && (locked.from_m - (0.8 + 80.0 / 600.0)).abs() < 1e-12);
        assert!((1.0 / locked.stiffness_n_m - (1.0 / 5e3 + 2.0 / 600.0)).abs() < 1e-15);
        assert_eq!(strand.piece(-0.1), None);
        assert_eq!([0.0, 0.9, 1.0].map(|m| strand.piece(m).map(|p| p.from_n)), [Some(0.0), Some(0.0), Some(40.0)]);
    }
}
