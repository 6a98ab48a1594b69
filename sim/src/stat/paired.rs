//! Two delays flown on the same flights: how sure is it that one is really the safer?

/// The probability that the first delay has the smaller chance of a bad opening.
///
/// Only flights on which the two delays disagree say anything: `best_only_bad` went badly with the
/// first alone, `other_only_bad` with the second alone (McNemar's discordant pairs). With Jeffreys'
/// prior Beta(1/2, 1/2) on the share of the former, the posterior is Beta(b + 1/2, c + 1/2), and the
/// first is ahead where that share is below one half. No discordant flight at all gives one half.
pub fn ahead(best_only_bad: u64, other_only_bad: u64) -> f64 {
    super::beta::regularised(0.5, best_only_bad as f64 + 0.5, other_only_bad as f64 + 0.5)
}

#[cfg(test)]
mod tests {
    #![expect(clippy::excessive_precision, reason = "values are kept as computed, so that they can be compared")]

    use super::ahead;

    /// Computed with mpmath 1.3 (quadrature of the beta density with 40 digits).
    #[test]
    fn values() {
        for (b, c, exact) in [
            (0, 0, 0.5),
            (0, 1, 0.81830988618379067154),
            (0, 5, 0.99312769669107888162),
            (3, 10, 0.97608044330507725603),
            (10, 3, 0.02391955669492274397),
            (40, 60, 0.97752152162792823516),
        ] {
            assert!((ahead(b, c) - exact).abs() < 1e-13, "{b} {c}: {}", ahead(b, c));
        }
    }

    #[test]
    fn fair_and_sure() {
        for n in [0, 1, 100, 1_000_000] {
            assert!((ahead(n, n) - 0.5).abs() < 1e-8);
            assert!((ahead(n, n + 7) + ahead(n + 7, n) - 1.0).abs() < 1e-8);
        }
        assert!(ahead(0, 100) > 1.0 - 1e-15);
    }
}
