//! Where a quantity changes sign.

/// A bracket on its way to the place between two others at which a quantity changes sign: the
/// interpolate-truncate-project method (I. F. D. Oliveira and R. H. C. Takahashi, ACM Trans. Math. Softw. 47, 2021,
/// article 5). On a smooth quantity it takes ten evaluations where halving takes thirty, and one round more than halving
/// at worst. Without a change of sign it ends at an end.
struct Bracket {
    ends: [f64; 2],
    at: [f64; 2],
    rises: bool,
    squeeze: f64,
    /// What halving from here on would still leave, once it has had one round more than it needs.
    reach: f64,
    tolerance: f64,
}

impl Bracket {
    /// From the ends, the lower first, and the quantity there.
    fn new(ends: [f64; 2], at: [f64; 2], tolerance: f64) -> Self {
        let width = ends[1] - ends[0];
        let mut reach = tolerance;
        while reach < width {
            reach *= 2.0;
        }
        // By both ends: one of them may be the place itself.
        Self { ends, at, rises: at[1] > at[0], squeeze: 0.2 / width, reach, tolerance }
    }

    /// Where to look next; `None` when the place is found.
    fn next(&self) -> Option<f64> {
        let ([low, high], [at_low, at_high]) = (self.ends, self.at);
        let middle = 0.5 * (low + high);
        // Nor is anything between neighbouring numbers, or ends that are not finite.
        if high - low <= 2.0 * self.tolerance || !(low < middle && middle < high) {
            return None;
        }
        let straight = (at_high * low - at_low * high) / (at_high - at_low);
        let aside = self.squeeze * (high - low) * (high - low);
        let towards = if middle >= straight { 1.0 } else { -1.0 };
        let truncated = if aside <= (middle - straight).abs() { straight + towards * aside } else { middle };
        let slack = self.reach - 0.5 * (high - low);
        let next = if (truncated - middle).abs() <= slack { truncated } else { middle - towards * slack };
        // Also for a quantity that is no number somewhere.
        Some(if next > low && next < high { next } else { middle })
    }

    /// Takes the quantity at that place into account.
    fn take(&mut self, place: f64, at: f64) {
        let end = usize::from((at > 0.0) == self.rises);
        (self.ends[end], self.at[end]) = (place, at);
        self.reach *= 0.5;
    }

    fn place(&self) -> f64 {
        0.5 * (self.ends[0] + self.ends[1])
    }
}

/// The place between two others at which a quantity changes sign, to a tolerance.
pub fn sign_change(from: f64, to: f64, tolerance: f64, mut quantity: impl FnMut(f64) -> f64) -> f64 {
    let ends = [from.min(to), from.max(to)];
    let mut bracket = Bracket::new(ends, ends.map(&mut quantity), tolerance);
    while let Some(place) = bracket.next() {
        let at = quantity(place);
        bracket.take(place, at);
    }
    bracket.place()
}

/// The same for several quantities at once: each round asks for all that are still looked for, by number and place.
pub fn sign_changes(
    spans: &[[f64; 2]],
    tolerance: f64,
    mut quantities: impl FnMut(&[(usize, f64)]) -> Vec<f64>,
) -> Vec<f64> {
    let ordered = |span: &[f64; 2]| [span[0].min(span[1]), span[0].max(span[1])];
    let ends: Vec<(usize, f64)> =
        spans.iter().enumerate().flat_map(|(k, span)| ordered(span).map(|x| (k, x))).collect();
    let at = quantities(&ends);
    let mut brackets: Vec<Bracket> = spans
        .iter()
        .zip(at.chunks(2))
        .map(|(span, at)| Bracket::new(ordered(span), [at[0], at[1]], tolerance))
        .collect();
    loop {
        let next: Vec<(usize, f64)> =
            brackets.iter().enumerate().filter_map(|(k, bracket)| bracket.next().map(|place| (k, place))).collect();
        if next.is_empty() {
            return brackets.iter().map(Bracket::place).collect();
        }
        for ((k, place), at) in next.iter().zip(quantities(&next)) {
            brackets[*k].take(*place, at);
        }
    }
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

    /// Side by side each takes the way that it takes alone, and none is asked for after it is found.
    #[test]
    fn several_at_once_are_each_by_itself() {
        let quantity = |k: usize, x: f64| libm::exp(x) - 1.3 - k as f64;
        let spans = [[0.0, 1.0], [5.0, 0.0], [0.9, 2.0], [-1.0, 8.0]];
        let mut asked = [0; 4];
        let found = sign_changes(&spans, 1e-9, |places| {
            places.iter().for_each(|(k, _)| asked[*k] += 1);
            places.iter().map(|(k, x)| quantity(*k, *x)).collect()
        });
        for (k, [from, to]) in spans.into_iter().enumerate() {
            let mut alone = 0;
            let want = sign_change(from, to, 1e-9, |x| {
                alone += 1;
                quantity(k, x)
            });
            assert_eq!((found[k], asked[k]), (want, alone), "{k}");
        }
        assert!(sign_changes(&[], 1e-9, |places| places.iter().map(|p| p.1).collect()).is_empty());
    }

    #[test]
    fn ends_on_numbers_that_are_none() {
        assert!(sign_change(0.0, 1.0, 1e-9, |_| f64::NAN).is_finite());
    }

    #[test]
    fn ends_on_ends_that_are_not_finite() {
        assert_eq!(sign_change(0.0, f64::INFINITY, 1e-9, |x| x - 1.0), f64::INFINITY);
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
