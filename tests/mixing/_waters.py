"""Waters for the tests of mixing."""

from sowbench.domain.mixing import WaterReport
from sowbench.mixing.water import understood
from sowbench.science.solutions import CACO3_MG_PER_MEQ


def hard_water(alkalinity_mg_l=250.0, temp_c=25.0):
    """Water of calcium, magnesium and sodium whose chloride balances it."""
    alkalinity = alkalinity_mg_l / CACO3_MG_PER_MEQ
    ca = 2.0 if alkalinity < 6.0 else 3.0
    cl = 2 * ca + 1.6 + 1.5 - alkalinity
    return understood(
        WaterReport(
            "well", 7.6, alkalinity, {"ca": ca, "mg": 0.8, "na": 1.5, "cl": cl}, temp_c=temp_c
        )
    )
