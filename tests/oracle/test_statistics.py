"""The stat room and the laws of the draws against SciPy, statsmodels and NumPy."""

import numpy as np
import pytest
from scipy import stats
from statsmodels.stats.proportion import proportion_confint


def numbers(rows, *keys):
    assert len(rows) > 20
    return [np.array([row[key] for row in rows]) for key in keys]


def worst(mine, other, floor=0.0):
    """Largest relative difference; `floor` is the size below which an absolute one counts."""
    return np.max(np.abs(mine - other) / np.maximum(np.abs(other), floor))


def test_binomial_intervals(tables, figures):
    rows = tables["interval"]
    k, n, confidence = numbers(rows, "k", "n", "confidence")
    other = lambda method: np.array([proportion_confint(*row, method=method) for row in zip(k, n, 1 - confidence)])
    exact, score = (np.array([row[key] for row in rows]) for key in ("clopper_pearson", "wilson"))
    # The continued fraction's logarithms of the gamma function hold 1e-16 n ln n, 1e-10 at 100,000 flights, and the
    # chances that are asked for come from them. Below 1e-9, where statsmodels' own end of all misses is, absolute.
    off = worst(exact, other("beta"), 1e-9)
    assert off < 1e-9
    # A closed form: a difference of two numbers below 1, so what counts is absolute.
    apart = np.max(np.abs(score - other("wilson")))
    assert apart < 1e-15
    figures.append(f"{len(rows)} binomial intervals against statsmodels: Clopper-Pearson within {off:.1e} of each end, "
                   f"Wilson within {apart:.1e}")


def test_normal(tables):
    p, value = numbers(tables["normal_quantile"], "p", "value")
    # AS 241 claims 1e-16; the argument's own rounding near 1 costs as much as a lower tail of 6e-8 can tell.
    assert worst(value, stats.norm.ppf(p), 1e-3) < 1e-14
    x, value = numbers(tables["normal_cdf"], "x", "value")
    # The far tail multiplies the argument's rounding by its square, 64.
    assert worst(value, stats.norm.cdf(x)) < 1e-13


def test_beta_quantiles(tables):
    p, a, b, value = numbers(tables["beta_quantile"], "p", "a", "b", "value")
    # As with Clopper and Pearson: 1e-10 at a + b of 100,000.
    assert worst(value, stats.beta.ppf(p, a, b)) < 1e-9


def test_student(tables):
    freedom, confidence, value = numbers(tables["student"], "freedom", "confidence", "value")
    # The slope of a quantile against the incomplete beta function's 1e-14 to 1e-12.
    assert worst(value, stats.t.ppf(0.5 + confidence / 2, freedom)) < 1e-10


def test_which_delay_is_ahead(tables):
    """The exact sign test of McNemar's discordant pairs, never less certain than a toss."""
    b, c, value = numbers(tables["paired"], "b", "c", "value")
    assert worst(value, np.maximum(0.5, stats.binom.sf(b, b + c, 0.5)), 1e-300) < 1e-10


def quantile_of(law, a, p):
    """SciPy's value of a law of the draws."""
    if law == "normal":
        return stats.norm.ppf(p, a[0], a[1])
    if law == "truncated_normal":
        mean, sd, low, high = a
        return stats.truncnorm.ppf(p, (low - mean) / sd, (high - mean) / sd, mean, sd)
    if law == "log_normal":
        return stats.lognorm.ppf(p, a[1], scale=a[0])
    if law == "uniform":
        return stats.uniform.ppf(p, a[0], a[1] - a[0])
    low, mode, high = a
    return stats.triang.ppf(p, (mode - low) / (high - low), low, high - low)


@pytest.mark.parametrize("law", ["normal", "truncated_normal", "log_normal", "uniform", "triangular"])
def test_laws(tables, law, figures):
    rows = [row for row in tables["law"] if row["law"] == law]
    mine, p = numbers(rows, "value", "p")
    other = np.array([quantile_of(law, row["numbers"], row["p"]) for row in rows])
    # In units of the law's own width. A truncated law asks for the quantile of a probability within 1e-16 of its
    # whole, at densities down to 6e-8 of a Sobol point's outermost cell: 2e-9 of that cell, less than 1e-9 of sd.
    width = np.array([row["numbers"][1] if "normal" in law else row["numbers"][-1] - row["numbers"][0]
                      for row in rows])
    off = np.max(np.abs(mine - other) / width)
    figures.append(f"law {law} against SciPy at {len(rows)} probabilities: {off:.1e} of its width at most")
    assert off < 1e-9


def test_ellipses(tables):
    """Half-axes are chi-squared with two degrees of freedom, along the eigenvectors of the covariance."""
    rows = tables["ellipse"]
    assert len(rows) == 24
    for row in rows:
        values, vectors = np.linalg.eigh(row["covariance_m2"])
        factor = stats.chi2.ppf(row["share"], 2)
        # The smaller eigenvalue is a difference of two near numbers in either.
        assert np.allclose(row["semi_axes_m"], np.sqrt(values * factor), rtol=1e-9)
        assert np.isclose(row["area_m2"], np.pi * factor * np.sqrt(np.linalg.det(row["covariance_m2"])), rtol=1e-9)
        if values[1] - values[0] > 1e-6 * values[1]:
            east, north = vectors[:, 1]
            bearing = np.degrees(np.arctan2(east, north)) % 180
            assert abs((bearing - row["bearing_deg"] + 90) % 180 - 90) < 1e-9


def test_empirical_quantiles(tables):
    """From counts in bins: NumPy's inverse of the empirical distribution function, to one bin's width."""
    rows = tables["quantiles"]
    assert len(rows) == 6
    for row in rows:
        # Each value is summed as a multiple of 2^-32 or finer.
        assert np.isclose(row["mean"], np.mean(row["values"]), rtol=1e-9)
        for p, value in row["quantiles"]:
            assert abs(value - np.quantile(row["values"], p, method="inverted_cdf")) <= row["width"] + 1e-12
