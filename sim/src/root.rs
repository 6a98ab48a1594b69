//! Where a quantity changes sign.

/// The place between two others at which a quantity changes sign, to a tolerance: the interpolate-truncate-project
/// method (I. F. D. Oliveira and R. H. C. Takahashi, ACM Trans. Math. Softw. 47, 2021, article 5). On a smooth
/// quantity it takes ten evaluations where halving takes thirty, and one round more than halving at worst. Without a
/// change of sign it gives an end.
pub fn sign_change(from: f64, to: f64, tolerance: f64, mut quantity: impl FnMut(f64) -> f64) -> f64 {
    let (mut low, mut high) = (from.min(to), from.max(to));
    let (mut at_low, mut at_high) = (quantity(low), quantity(high));
    // By both ends: one of them may be the place itself.
    let rises = at_high > at_low;
    let width = high - low;
    let squeeze = 0.2 / width;
    // What halving from here on would still leave of the bracket, once it has had one round more than it needs.
    let mut reach = tolerance;
    while reach < width {
        reach *= 2.0;
    }
    while high - low > 2.0 * tolerance {
        let middle = 0.5 * (low + high);
        let straight = (at_high * low - at_low * high) / (at_high - at_low);
        let aside = squeeze * (high - low) * (high - low);
        let towards = if middle >= straight { 1.0 } else { -1.0 };
        let truncated = if aside <= (middle - straight).abs() { straight + towards * aside } else { middle };
        let slack = reach - 0.5 * (high - low);
        let next = if (truncated - middle).abs() <= slack { truncated } else { middle - towards * slack };
        // Also for a quantity that is no number somewhere.
        let next = if next > low && next < high { next } else { middle };
        let at_next = quantity(next);
        if (at_next > 0.0) == rises {
            (high, at_high) = (next, at_next);
        } else {
            (low, at_low) = (next, at_next);
        }
        reach *= 0.5;
    }
    0.5 * (low + high)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_roots_of_all_kinds() {
        let cubic = |x: f64| x * x * x - 2.0;
        assert!((sign_change(0.0, 10.0, 1e-12, cubic) - libm::cbrt(2.0)).abs() < 1e-11);
        assert!((sign_change(10.0, 0.0, 1e-12, cubic) - libm::cbrt(2.0)).abs() < 1e-11);
        let step = |x: f64| if x < 0.3 { -1.0 } else { 1.0 };
        assert!((sign_change(0.0, 1.0, 1e-9, step) - 0.3).abs() < 1e-8);
        let steep = |x: f64| libm::exp(30.0 * x) - 2.0;
        assert!((sign_change(-1.0, 1.0, 1e-12, steep) - libm::log(2.0) / 30.0).abs() < 1e-11);
        for (from, to) in [(0.0, 1.0), (1.0, 2.0)] {
            assert!((sign_change(from, to, 1e-9, |x| x - 1.0) - 1.0).abs() < 1e-8);
            assert!((sign_change(from, to, 1e-9, |x| 1.0 - x) - 1.0).abs() < 1e-8);
        }
    }

    #[test]
    fn few_evaluations_where_the_quantity_is_smooth() {
        let mut count = 0;
        sign_change(0.0, 0.02, 1e-10, |t| {
            count += 1;
            20.0 * t + 50.0 * t * t - 0.1
        });
        assert!(count <= 10, "{count}");
    }

    #[test]
    fn ends_on_numbers_that_are_none() {
        assert!(sign_change(0.0, 1.0, 1e-9, |_| f64::NAN).is_finite());
    }

    /// The method's promise: never more than one round beyond halving, whatever the quantity is like, and half on a
    /// smooth one. From 0 to 1 halving takes 29 rounds to within 1e-9 on either side; both ends are looked at as well,
    /// and where the last bracket is the tolerance to the digit, rounding may ask for another look.
    #[test]
    fn no_worse_than_halving_and_far_better_when_smooth() {
        let evaluations = |quantity: fn(f64) -> f64, place: f64| {
            let mut count = 0;
            let found = sign_change(0.0, 1.0, 1e-9, |x| {
                count += 1;
                quantity(x - place)
            });
            assert!((found - place).abs() <= 1e-9, "{found} {place}");
            count
        };
        let wild: [fn(f64) -> f64; 5] = [
            |x| if x < 0.0 { -1.0 } else { 1.0 },
            |x| if x < 0.0 { -1e-9 } else { 1e9 },
            |x| x * x * x * x * x * x * x * x * x,
            |x| libm::exp(300.0 * x) - 1.0,
            |x| libm::cbrt(x),
        ];
        let smooth: [fn(f64) -> f64; 4] = [|x| x, |x| libm::sin(x), |x| -x * (3.0 + x), |x| libm::exp(2.0 * x) - 1.0];
        for place in [1e-6, 0.013, 0.2, 0.5, 0.731, 0.999] {
            for quantity in wild {
                let count = evaluations(quantity, place);
                assert!(count <= 2 + 29 + 1 + 1, "{count} at {place}");
            }
            for quantity in smooth {
                let count = evaluations(quantity, place);
                assert!(count <= 15, "{count} at {place}");
            }
        }
    }
}
