"""Reports of water: balance, chemistry, limits and blends."""

import pytest
from tests.mixing._waters import hard_water

from sowbench.domain.mixing import WaterReport
from sowbench.mixing.water import UnbalancedReportError, blended, judged, understood
from sowbench.science.errors import OutOfRangeError

RAIN = WaterReport("rain", 5.6, 0.0, {"na": 0.05, "cl": 0.05})


def test_a_report_without_its_anions_is_refused_and_says_which_side_is_short():
    report = WaterReport("well", 7.4, 1.0, {"ca": 2.0, "mg": 1.0})
    with pytest.raises(UnbalancedReportError, match=r"more cations than anions.*sulfate") as error:
        understood(report)
    assert "6.00 meq/L of cations and 1.00 of anions" in str(error.value)
    with pytest.raises(UnbalancedReportError, match=r"more anions than cations.*calcium"):
        understood(WaterReport("well", 7.4, 5.0, {"ca": 1.0}))


def test_charges_missing_within_the_error_of_a_laboratory_are_put_down_to_one_ion():
    short_of_anions = understood(
        WaterReport("well", 7.6, 5.0, {"ca": 2.0, "mg": 0.8, "na": 1.5, "cl": 1.6})
    )
    assert short_of_anions.filled == "cl"
    assert short_of_anions.filled_meq_l == pytest.approx(0.5)
    assert "cl" not in short_of_anions.mg_l()
    short_of_cations = understood(
        WaterReport("well", 7.6, 5.0, {"ca": 2.0, "mg": 0.8, "na": 1.5, "cl": 2.4})
    )
    assert short_of_cations.filled == "na"


@pytest.mark.parametrize(
    ("report", "words"),
    [
        (WaterReport("well", 2.0, 1.0, {"na": 1.0}), "pH of well"),
        (WaterReport("well", 7.0, -1.0, {"na": 1.0}), "alkalinity of well"),
        (WaterReport("well", 7.0, 1.0, {"na": -1.0}), "sodium of well"),
        (WaterReport("well", 7.0, 1.0, {"na": 1.0, "no3": 0.1, "no3_n": 0.1}), "given once"),
    ],
)
def test_what_cannot_be_is_refused(report, words):
    with pytest.raises(OutOfRangeError, match=words):
        understood(report)


def test_water_of_high_alkalinity_is_beyond_the_limits_of_seedlings_first():
    verdicts = judged(hard_water(250.0))
    assert not verdicts[0].within
    plugs = next(each for each in verdicts if each.limit.use == "plugs and seedlings")
    assert plugs.value == pytest.approx(250.0, rel=1e-3)
    assert not plugs.within
    assert all("float" in each.limit.use for each in judged(hard_water(), ["float"]))


def test_what_nobody_looked_for_is_not_judged():
    assert "boron" not in {each.limit.parameter for each in judged(hard_water())}


def test_half_rain_halves_the_alkalinity():
    well, rain = hard_water(200.0), understood(RAIN)
    half = blended(well, rain, 0.5)
    # Rain at pH 5.6 has 0.003 meq/L of acid that its report rounds to none.
    assert half.state.alkalinity_meq_kg == pytest.approx(
        (well.state.alkalinity_meq_kg + rain.state.alkalinity_meq_kg) / 2.0, abs=5e-3
    )
    assert half.elements_mmol_l["ca"] == pytest.approx(well.elements_mmol_l["ca"] / 2.0)
    assert blended(well, rain, 0.0).state.ph == pytest.approx(well.state.ph, abs=1e-3)
    assert blended(well, rain, 0.5, open_air=True).state.ph > half.state.ph
    with pytest.raises(OutOfRangeError, match="second_frac"):
        blended(well, rain, 1.5)
