//! Two delays flown on the same flights: how sure is it that one is really the safer?

/// The probability that the first delay has the smaller chance of a bad opening.
///
/// Only flights on which the two delays disagree say anything: `best_only_bad` went badly with the
/// first alone, `other_only_bad` with the second alone (McNemar's discordant pairs). With Jeffreys'
/// prior Beta(1/2, 1/2) on the share of the former, the posterior is Beta(b + 1/2, c + 1/2), and the
/// first is ahead where that share is below one half. No discordant flight at all gives one half.
pub fn ahead(best_only_bad: u64, other_only_bad: u64) -> f64 {
    super::beta::regularised(
        0.5,
        best_only_bad as f64 + 0.5,
        other_only_bad as f64 + 0.5,
    )
}
