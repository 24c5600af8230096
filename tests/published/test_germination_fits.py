"""Curves fitted to published counts, against printed estimates and independent fits."""

from __future__ import annotations

import csv
import math
from pathlib import Path

import numpy as np
import pytest
from scipy import optimize, stats
from tests.published._report import record

from sowbench.science import germination_indices as indices
from sowbench.science.errors import DoubtWarning
from sowbench.science.germination_fit import fit_germination
from sowbench.science.stand_fit import fit_beta_binomial

DATA = Path(__file__).parents[1] / "data"
RITZ = "C. Ritz, C. B. Pipper, J. C. Streibig, European Journal of Agronomy 45, 2013, 1-6"
CROWDER = "M. J. Crowder, Applied Statistics 27, 1978, 34-37"


def _dishes():
    """Counts of each dish: [start, end, number] by (species, temperature)."""
    dishes: dict[tuple[str, int], list[list[float]]] = {}
    with (DATA / "germination_drc.csv").open(encoding="utf-8") as lines:
        for row in csv.DictReader(lines):
            cell = [float(row[name]) for name in ("start_d", "end_d", "n_germinated")]
            dishes.setdefault((row["species"], int(row["temp_c"])), []).append(cell)
    return {key: np.array(rows).T for key, rows in dishes.items()}


# Slope b, median [d], final fraction, standard errors of the last two, minus log-likelihood; a
# maximum-likelihood fit by other code (reference folder's checks, section 7).
ESTIMATES = {
    ("mungbean", 10): (5.754, 5.364, 1.0, None, None, 38.766),
    ("mungbean", 16): (10.839, 3.057, 1.0, None, None, 18.702),
    ("rice", 16): (11.585, 7.511, 0.5000, 0.404, 0.112, 26.957),
    ("rice", 22): (4.311, 4.738, 0.5517, 0.603, 0.112, 36.809),
    ("rice", 28): (9.668, 4.038, 0.9000, 0.264, 0.067, 17.784),
    ("rice", 34): (8.212, 3.624, 0.8500, 0.195, 0.080, 31.228),
    ("rice", 40): (13.881, 3.463, 0.4000, 0.205, 0.110, 19.404),
}


@pytest.mark.parametrize("dish", ESTIMATES)
@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_log_logistic_curves_match_the_estimates(dish):
    slope, median, final, median_se, final_se, minus_log_likelihood = ESTIMATES[dish]
    fit = fit_germination(*_dishes()[dish])
    assert fit.slope == pytest.approx(slope, abs=0.0015 + 2e-4 * slope)
    assert fit.median_d == pytest.approx(median, abs=0.001)
    assert fit.final_frac == pytest.approx(final, abs=0.0005)
    assert -fit.log_likelihood == pytest.approx(minus_log_likelihood, abs=0.001)
    if median_se is None:
        assert math.isnan(fit.final_se_frac)
        assert any("bound 1" in doubt for doubt in fit.doubts)
    else:
        assert fit.median_se_d == pytest.approx(median_se, abs=0.001)
        assert fit.final_se_frac == pytest.approx(final_se, abs=0.001)
        assert fit.doubts == ()


@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_germination_curves_agree_with_scipy_on_the_seeds_that_came_up():
    # Once all that will come have come, final fraction and curve part: scipy's interval-censored
    # fit of the germinated seeds alone must give the same median and slope. [Ritz et al. 2013]
    errors = []
    for (species, temp), (start, end, number) in _dishes().items():
        fit = fit_germination(start, end, number)
        if math.isnan(fit.spread) or fit.fraction_by(np.max(start)) < 0.999 * fit.final_frac:
            continue
        up = np.isfinite(end)
        intervals = np.repeat(np.column_stack([start, end])[up], number[up].astype(int), axis=0)
        data: stats.CensoredData = stats.CensoredData(interval=intervals)
        slope, _, median = stats.fisk.fit(data, 5.0, floc=0.0, scale=fit.median_d)
        errors += [fit.median_d / median - 1, fit.slope / slope - 1]
        assert fit.final_frac == pytest.approx(number[up].sum() / number.sum(), rel=0.002), (
            species, temp,
        )  # fmt: skip
    result = record(
        "germination curves against scipy.stats.fisk",
        RITZ,
        len(errors),
        100 * np.array(errors),
        "%",
    )
    assert len(errors) >= 16
    assert result.worst < 1.0


@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_germination_curves_agree_with_a_direct_search():
    # The same likelihood written anew with scipy.stats' distributions and a general optimizer.
    # [Ritz et al. 2013]
    errors = []
    for start, end, number in _dishes().values():
        for family, cdf in (
            ("log-logistic", lambda t, m, s: stats.fisk.cdf(t, 1 / s, scale=m)),
            ("log-normal", lambda t, m, s: stats.lognorm.cdf(t, s, scale=m)),
        ):
            fit = fit_germination(start, end, number, family=family)

            def minus(x, start=start, end=end, number=number, cdf=cdf):
                final = 1 / (1 + np.exp(-x[0]))
                median, spread = np.exp(x[1]), np.exp(x[2])
                chance = np.where(
                    np.isfinite(end),
                    final * (cdf(end, median, spread) - cdf(start, median, spread)),
                    1 - final * cdf(start, median, spread),
                )
                return -np.sum(number[number > 0] * np.log(np.maximum(chance[number > 0], 1e-300)))

            found = optimize.minimize(
                minus,
                [2.0, np.log(4.0), np.log(0.15)],
                method="Nelder-Mead",
                options={"maxiter": 2000, "maxfev": 2000, "xatol": 1e-4, "fatol": 1e-6},
            )
            errors.append(-fit.log_likelihood - found.fun)
    record("log-likelihood against a direct search", RITZ, len(errors), errors, "1")
    assert len(errors) == 26
    # Ours is never worse, and no better where there is a maximum to find.
    assert max(errors) < 1e-4
    assert min(errors) > -0.02


# Data set A of public R documentation: 50 seeds, days 1 to 14, new counts; indices as printed
# there (P. Coolbear et al. 1984; M. Farooq et al. 2005; J. D. Maguire 1962).
A_DAYS = list(range(1, 15))
A_COUNTS = [0, 0, 0, 0, 4, 17, 10, 7, 1, 0, 1, 0, 0, 0]
R_DOCS = "public R documentation of germination indices, data set of 50 seeds"


def test_germination_indices_match_the_printed_values():
    mean, variance = indices.mean_time(A_DAYS, A_COUNTS)
    pairs = [
        (indices.t50(A_DAYS, A_COUNTS, "coolbear"), 5.97058823529412),
        (indices.t50(A_DAYS, A_COUNTS, "farooq"), 5.94117647058824),
        (mean, 6.7),
        (variance, 1.446154),
        (indices.speed_index(A_DAYS, A_COUNTS), 6.13892496392496),
        (indices.uncertainty_bits(A_COUNTS), 2.06298725227405),
        (indices.synchrony(A_COUNTS), 0.266666666666667),
        (indices.time_to_share(A_DAYS, A_COUNTS, 25), 6.4),
        (indices.time_cv(A_DAYS, A_COUNTS), 0.179486771488981),
        (indices.uniformity(A_DAYS, A_COUNTS), 0.709219858156028),
        (indices.timson_index(A_COUNTS, 50), 664.0),
    ]
    errors = [ours - printed for ours, printed in pairs]
    record("germination indices", R_DOCS, len(errors), errors, "d, 1")
    np.testing.assert_allclose(errors, 0.0, atol=5e-7)


def test_half_of_the_seeds_exactly_at_a_look_is_that_look():
    # Data set B: half of 50 is reached exactly on day 5; a published routine prints NaN there.
    counts = np.diff([0, 0, 2, 4, 15, 25, 38, 45, 50, 50, 50])
    days = np.arange(1, 11)
    assert indices.t50(days, counts, "farooq") == 5.0
    assert indices.t50(days, counts, "coolbear") == pytest.approx(5.03846, abs=5e-6)
    assert indices.mean_time(days, counts)[0] == pytest.approx(5.42)
    assert indices.mean_time(days, counts)[1] == pytest.approx(2.330204, abs=5e-7)
    assert indices.speed_index(days, counts) == pytest.approx(10.208333, abs=5e-7)
    assert indices.uncertainty_bits(counts) == pytest.approx(2.551059, abs=5e-7)
    assert indices.synchrony(counts) == pytest.approx(0.172245, abs=5e-7)


def test_maximum_likelihood_on_data_set_a():
    # Interval counts, 10 of 50 never germinated (reference folder, stand statistics section 6).
    normal = fit_germination(range(14), A_DAYS, A_COUNTS, 50, "log-normal")
    assert normal.final_frac == pytest.approx(0.8, abs=5e-5)
    assert normal.median_d == pytest.approx(6.1020, abs=5e-5)
    assert normal.spread == pytest.approx(0.17543, abs=5e-5)
    assert -normal.log_likelihood == pytest.approx(85.7674, abs=5e-5)
    logistic = fit_germination(range(14), A_DAYS, A_COUNTS, 50)
    assert logistic.final_frac == pytest.approx(0.80015, abs=5e-5)
    assert logistic.median_d == pytest.approx(6.0513, abs=5e-5)
    assert logistic.slope == pytest.approx(10.237, abs=5e-3)
    assert -logistic.log_likelihood == pytest.approx(85.5604, abs=5e-5)


@pytest.mark.filterwarnings("ignore::sowbench.science.errors.DoubtWarning")
def test_default_spread_between_seeds_lies_among_the_fitted_ones():
    # 0.18 stands in the emergence table where nothing is known of a crop (assumption).
    dishes = _dishes().values()
    spreads = [
        fit_germination(start, end, number, family="log-normal").spread
        for start, end, number in dishes
    ]
    known = np.array(spreads)[np.isfinite(spreads)]
    assert known.size >= 11
    assert np.quantile(known, 0.25) < 0.18 < np.quantile(known, 0.9)


def _orobanche(name, *group):
    with (DATA / f"{name}.csv").open(encoding="utf-8") as lines:
        rows = list(csv.DictReader(lines))
    y = np.array([int(row["y"]) for row in rows])
    n = np.array([int(row["n"]) for row in rows])
    return y, n, np.array([" ".join(row[each] for each in group) for row in rows])


def _minus_log_likelihood(x, y, n, design):
    p = 1 / (1 + np.exp(-design @ x[:-1]))
    k = np.exp(-x[-1])  # rho = 1 / (1 + k)
    return -stats.betabinom(n, p * k, (1 - p) * k).logpmf(y).sum()


def test_beta_binomial_matches_the_estimates_for_crowders_dilutions():
    # Crowder's table 1: 16 dishes, three dilutions. Estimates by other code: logit link with one
    # common correlation (reference folder's checks, section 8).
    y, n, group = _orobanche("orobanche_dilution", "dilution")
    fit = fit_beta_binomial(y, n, group)
    first, second = fit.contrast("1/25", "1/1"), fit.contrast("1/625", "1/1")
    pairs = [
        (fit.mean_logit[0], -1.8815), (fit.mean_logit_se[0], 0.247),
        (first[0], 3.7904), (first[1], 0.355),
        (second[0], 3.5347), (second[1], 0.339),
        (fit.rho, 0.0126), (fit.rho_se, 0.012), (fit.log_likelihood, -34.991),
    ]  # fmt: skip
    errors = [ours - theirs for ours, theirs in pairs]
    record("beta-binomial of three dilutions", CROWDER, len(errors), errors, "1")
    np.testing.assert_allclose(errors, 0.0, atol=6e-4)
    pooled = fit_beta_binomial(y, n)
    assert pooled.mean_logit[0] == pytest.approx(0.1743, abs=5e-5)
    assert pooled.mean_logit_se[0] == pytest.approx(0.313, abs=6e-4)
    assert pooled.rho == pytest.approx(0.4000, abs=1e-4)
    assert pooled.rho_se == pytest.approx(0.079, abs=6e-4)
    assert pooled.log_likelihood == pytest.approx(-56.258, abs=6e-4)
    # Published: pooled proportions 0.142, 0.872 and 0.842; overall 0.614.
    shares = [y[group == name].sum() / n[group == name].sum() for name in fit.groups]
    np.testing.assert_allclose(shares, [0.142, 0.872, 0.842], atol=5e-4)
    assert y.sum() / n.sum() == pytest.approx(0.614, abs=5e-4)


def test_beta_binomial_matches_the_estimates_for_crowders_extracts():
    # Two groups of the seed O75, each with its own correlation: bean 0.3687, 0.0173; cucumber
    # 0.6847, 0.0098; four groups with one common correlation 0.01236 (stand statistics section 2).
    y, n, group = _orobanche("orobanche_extract", "seed", "root")
    errors = []
    for name, mean, rho in (("O75 BEAN", 0.3687, 0.0173), ("O75 CUCUMBER", 0.6847, 0.0098)):
        fit = fit_beta_binomial(y[group == name], n[group == name])
        errors += [fit.mean_frac[0] - mean, fit.rho - rho]
    errors.append(fit_beta_binomial(y, n, group).rho - 0.01236)
    record("beta-binomial of two extracts", CROWDER, len(errors), errors, "1")
    np.testing.assert_allclose(errors, 0.0, atol=6e-5)


@pytest.mark.parametrize(
    ("name", "columns"),
    [("orobanche_dilution", ("dilution",)), ("orobanche_extract", ("seed", "root"))],
)
def test_beta_binomial_agrees_with_scipy(name, columns):
    y, n, group = _orobanche(name, *columns)
    names = list(dict.fromkeys(group))
    design = (group[:, None] == names).astype(float)
    found = optimize.minimize(
        _minus_log_likelihood,
        [*np.zeros(len(names)), -3.0],
        args=(y, n, design),
        method="Nelder-Mead",
        options={"maxiter": 20000, "maxfev": 20000, "xatol": 1e-8, "fatol": 1e-12},
    )
    fit = fit_beta_binomial(y, n, group)
    assert fit.log_likelihood == pytest.approx(-found.fun, abs=1e-6)
    np.testing.assert_allclose(fit.mean_logit, found.x[:-1], atol=1e-3)
    assert fit.rho == pytest.approx(1 / (1 + np.exp(-found.x[-1])), abs=1e-4)


def test_binomial_counts_have_no_correlation():
    # Seven dishes all at their mean: less spread than the binomial; the fit says so.
    with pytest.warns(DoubtWarning, match="bound 0"):
        fit = fit_beta_binomial([20] * 7, [25] * 7)
    assert fit.rho == 0.0
    expected = stats.binom(25, 0.8).logpmf(20) * 7
    assert fit.log_likelihood == pytest.approx(expected, abs=1e-8)
    # Standard error of a binomial logit: 1 / sqrt(N p (1 - p)).
    assert fit.mean_logit_se[0] == pytest.approx(1 / math.sqrt(175 * 0.16), rel=1e-4)
