"""Seed aging against worked examples. Constants: R. H. Ellis, T. D. Hong, 2007 (EH07)."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import stats
from tests.published._report import record

from sowbench.science.viability import (
    ViabilityConstants,
    aged_germination,
    days_between,
    days_per_probit,
    probit_loss,
)

EH07 = "R. H. Ellis, T. D. Hong, Seed Science and Technology 35, 2007, 432-444"
MAIZE = ViabilityConstants(9.993, 5.993, 0.0322, 0.000454)
WHEAT = ViabilityConstants(8.498, 4.836, 0.0322, 0.000454)
RICE = ViabilityConstants(8.096, 4.246, 0.0322, 0.000454)


def test_worked_examples_from_published_constants():
    # Computed by hand from the constants of EH07 (reference folder's checks, section 5).
    rice = days_per_probit(RICE, 0.14, 30.0)
    pairs = [
        (np.log10(days_per_probit(MAIZE, 0.10, 20.0)), 3.1744),
        (days_per_probit(MAIZE, 0.10, 20.0), 1494.2),
        (days_between(0.95, 0.85, days_per_probit(MAIZE, 0.10, 20.0)), 909.1),
        (days_per_probit(WHEAT, 0.12, 20.0), 284.1),
        (100 * aged_germination(0.95, probit_loss(WHEAT, 0.12, 20.0, 365.0)), 64.06),
        (rice, 71.6),
        (days_between(0.98, 0.5, rice), 147.1),
    ]
    errors = [float(ours) - theirs for ours, theirs in pairs]
    record("seed aging, worked examples", EH07, len(errors), errors, "d, percent")
    np.testing.assert_allclose(errors, 0.0, atol=0.055)


def test_old_probit_scale_is_the_normal_deviate_plus_five():
    # Published (D. O. Wilson et al., Crop Science 29, 1989): germination 95.4 percent as Ki 6.68.
    assert 100 * stats.norm.cdf(6.68 - 5) == pytest.approx(95.35, abs=0.005)
    assert aged_germination(stats.norm.cdf(1.68), 0.0) == pytest.approx(0.9535, abs=5e-5)


def test_chickpea_life_by_moisture():
    # Published (open course on seed genebanks): at 5 °C the same fall takes 114 years at 6 percent
    # moisture, 28 at 8 and 4 at 12; chickpea's CW is 4.82 (R. H. Ellis, K. Osei-Bonsu,
    # E. H. Roberts, Annals of Botany 50, 1982, from memory), so only the ratios are tested.
    chickpea = ViabilityConstants(9.07, 4.82, 0.045, 0.000324)
    life = days_per_probit(chickpea, np.array([0.06, 0.08, 0.12]), 5.0)
    years = 114 * life / life[0]
    errors = years[1:] - [28.0, 4.0]
    record("life of chickpea by moisture", "open course on seed genebanks", 2, errors, "years")
    np.testing.assert_allclose(errors, 0.0, atol=0.55)


def test_cooling_multiplies_life_by_the_universal_terms():
    # J. B. Dickie et al., Annals of Botany 65, 1990: CH 0.0329, CQ 0.000478 (from memory), hence
    # 20 -> 10 °C times 2.97 and 10 -> 0 °C times 2.38.
    any_species = ViabilityConstants(8.0, 4.5, 0.0329, 0.000478)
    life = days_per_probit(any_species, 0.08, np.array([20.0, 10.0, 0.0]))
    np.testing.assert_allclose(life[1:] / life[:-1], [2.97, 2.38], atol=0.005)
