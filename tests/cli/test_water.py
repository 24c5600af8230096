"""`sowbench water`: reports in any units, acid by its label, refusals in words."""

import json

import pytest
from click.testing import CliRunner

from sowbench.cli import main
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.water_report import acid_of, amount_and_unit, report_of

WELL = [
    "water", "--ph", "7.6", "--alkalinity", "250 mg/L CaCO3", "--found", "ca=80.156 mg/L",
    "--found", "mg=19.444 mg/L", "--found", "na=34.485 mg/L", "--found", "cl=74.6 mg/L",
]  # fmt: skip


def asked(*more):
    return CliRunner().invoke(main, [*WELL, *more])


def test_it_says_what_is_beyond_which_limit_and_whose_that_is():
    told = asked()
    assert told.exit_code == 0, told.output
    assert "Alkalinity 250 mg/L CaCO3" in told.output
    assert "! alkalinity" in told.output
    assert "Dole" in told.output
    assert all(len(line) <= 100 for line in told.output.splitlines())


def test_acid_comes_with_what_it_adds_what_becomes_of_the_ph_and_its_caution():
    told = asked("--acid", "sulfuric", "--strength", "93", "--to", "150")
    # UMass Extension's table: 28.74 mL in a cubic meter for a milliequivalent a liter.
    assert "57 mL" in told.output
    assert "32 mg/L of sulfur" in told.output
    assert "never water into acid" in told.output
    assert "8.6 once it has stood" in told.output
    answer = json.loads(
        asked("--acid", "sulfuric", "--strength", "93", "--to", "150", "--json").output
    )
    assert answer["acid"]["ml_per_m3"] == pytest.approx(57.4, abs=0.2)
    assert answer["acid"]["cautions"]


@pytest.mark.parametrize(
    ("more", "words"),
    [
        (("--acid", "sulfuric", "--to", "50"), "strength of sulfuric acid must be given"),
        (("--acid", "sulfuric", "--strength", "50", "--to", "50"), "density of sulfuric acid"),
        (("--acid", "vinegar", "--strength", "5", "--to", "50"), "vinegar"),
        (("--acid", "nitric", "--strength", "67", "--to-ph", "3"), "pH wanted must be 4 or more"),
        (("--acid", "nitric", "--strength", "67"), "one of an alkalinity and a pH"),
        (("--found", "so4=900 mg/L"), "more anions than cations"),
        (("--found", "b=1"), "a number with its unit"),
        (("--found", "b 1 mg/L"), "NAME=AMOUNT UNIT"),
        (("--found", "ca=1 mg/L"), "given once"),
        (("--found", "gold=1 mg/L"), "gold"),
        (("--found", "b=1 furlong"), "furlong"),
    ],
)
def test_what_is_wrong_is_said_and_nothing_is_reckoned(more, words):
    told = asked(*more)
    assert told.exit_code == 2
    assert words in told.output
    assert "Traceback" not in told.output


def test_units_as_reports_write_them_mean_the_same():
    reports = [
        report_of("w", 7.0, text, [])
        for text in ("100 mg/L CaCO3", "100 ppm as CaCO3", "10 fH", "10 °fH", "1.99828 meq/L")
    ]
    assert {round(each.alkalinity_meq_l, 4) for each in reports} == {1.9983}
    assert amount_and_unit("ca", "12,5 °dH")[0] == 12.5
    with pytest.raises(OutOfRangeError):
        amount_and_unit("ca", "much")
    with pytest.raises(UnknownNameError):
        amount_and_unit("ca", "5 grains")


def test_a_solid_acid_needs_no_strength():
    assert acid_of("citric").strength_frac == 1.0
    assert acid_of("nitric", 53.0, 1.33).density_g_ml == 1.33
