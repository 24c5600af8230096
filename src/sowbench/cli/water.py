"""`sowbench water`: is this water right for seedlings, and how much acid does it want."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from sowbench.cli.shared import answers_errors, json_option, print_json, print_lines
from sowbench.cli.text import Column, block, heading, page_width, table, wrap

if TYPE_CHECKING:
    from sowbench.mixing.acid import AcidDose
    from sowbench.services.water_report import WaterAnswer


@click.command(name="water")
@click.option("--ph", type=float, required=True, help="pH as it comes.")
@click.option(
    "--alkalinity", required=True, metavar="AMOUNT", help='With its unit, as "250 mg/L CaCO3".'
)
@click.option(
    "--found",
    multiple=True,
    metavar="NAME=AMOUNT",
    help='What else was found, as "ca=80 mg/L", "no3=12 mg/L", "mg=5 °dH"; as often as needed.',
)
@click.option("--ec", type=float, metavar="MS_CM", help="Conductivity at 25 °C [mS/cm].")
@click.option("--temp", type=float, default=25.0, show_default=True, help="Temperature [°C].")
@click.option("--acid", metavar="KIND", help="nitric, phosphoric, sulfuric or citric.")
@click.option("--strength", type=float, metavar="PERCENT", help="Strength on the drum's label.")
@click.option("--density", type=float, metavar="G_ML", help="Density on the drum's label [g/mL].")
@click.option("--to", type=float, metavar="MG_L", help="Alkalinity wanted, mg/L CaCO3.")
@click.option("--to-ph", type=float, metavar="PH", help="pH wanted, in a closed pipe.")
@json_option
@answers_errors
def command(
    ph: float,
    alkalinity: str,
    found: tuple[str, ...],
    ec: float | None,
    temp: float,
    acid: str | None,
    strength: float | None,
    density: float | None,
    to: float | None,
    to_ph: float | None,
    as_json: bool,
) -> None:
    """Judge a water report, and reckon the acid that brings it to an alkalinity or a pH.

    Amounts carry their unit: mg/L, ppm, mmol/L, meq/L, mg/L CaCO3, °dH, °fH. The chemistry is
    PHREEQC's. The label and the safety sheet of the acid come first, and local codes.
    """
    from sowbench.services.water_report import acid_of, report_of, water_answer

    report = report_of("the water", ph, alkalinity, found, ec_ms_cm=ec, temp_c=temp)
    drum = None if acid is None else acid_of(acid, strength, density)
    answer = water_answer(report, drum, to_alkalinity_mg_l=to, to_ph=to_ph)
    if as_json:
        print_json({"format": "sowbench-water/1", **_plain(answer)})
        return
    print_lines(_lines(answer))


def _plain(answer: WaterAnswer) -> dict[str, Any]:
    """Say it for programs."""
    water, dose = answer.water, answer.dose
    told: dict[str, Any] = {
        "alkalinity_mg_l_caco3": answer.alkalinity_mg_l,
        "ec_ms_cm": water.state.ec_ms_cm,
        "saturation": dict(water.state.saturation),
        "balance_frac": water.balance_frac,
        "filled": water.filled,
        "filled_meq_l": water.filled_meq_l,
        "limits": [
            {
                "parameter": each.limit.parameter, "use": each.limit.use, "value": each.value,
                "low": each.limit.low, "high": each.limit.high, "unit": each.limit.unit,
                "within": each.within, "source": each.limit.source, "basis": each.limit.basis,
            }
            for each in answer.verdicts
        ],
    }  # fmt: skip
    if dose is not None:
        told["acid"] = {
            "kind": dose.acid.kind.value, "strength_frac": dose.acid.strength_frac,
            "ml_per_m3": dose.ml_per_m3, "g_per_m3": dose.g_per_m3,
            "alkalinity_mg_l_caco3": dose.alkalinity_mg_l, "ph_in_the_pipe": dose.after.ph,
            "ph_in_the_open": dose.aired.ph, "adds_mg_l": dose.adds_mg_l,
            "doubts": list(dose.doubts), "cautions": list(answer.cautions),
        }  # fmt: skip
    return told


def _lines(answer: WaterAnswer) -> list[str]:
    """Write it for a terminal."""
    from sowbench.reference.tables import sources

    width = page_width()
    water = answer.water
    n_beyond = sum(not each.within for each in answer.verdicts)
    said = (
        f"Alkalinity {answer.alkalinity_mg_l:.0f} mg/L CaCO3, conductivity"
        f" {water.state.ec_ms_cm:.2f} mS/cm. It is beyond {n_beyond} of {len(answer.verdicts)}"
        " published limits, which are marked."
    )
    lines = [heading("The water"), "", *wrap(said, width)]
    if water.filled_meq_l >= 0.05:
        name = {"cl": "chloride", "na": "sodium"}[water.filled]
        lines += wrap(
            f"Charges are {abs(water.balance_frac):.0%} apart; {water.filled_meq_l:.2f} meq/L of"
            f" {name} were assumed to make them even.",
            width,
        )
    lines.append("")
    columns = [
        Column("", flexible=True), Column("for", flexible=True), Column("has", right=True),
        Column("from", right=True), Column("to", right=True), Column("unit"), Column("source"),
    ]  # fmt: skip
    rows = [
        [
            ("! " if not each.within else "  ") + each.limit.parameter,
            each.limit.use,
            f"{each.value:.3g}",
            "" if each.limit.low is None else f"{each.limit.low:g}",
            "" if each.limit.high is None else f"{each.limit.high:g}",
            each.limit.unit,
            each.limit.source if each.limit.basis == "seen" else each.limit.basis,
        ]
        for each in answer.verdicts
    ]
    lines += table(columns, rows, width)
    known = sources()
    cited = {part for each in answer.verdicts for part in each.limit.source.split("; ")}
    lines.append("")
    for name in sorted(cited & known.keys() - {"memory"}):
        lines += wrap(f"{name}: {known[name].citation}.", width, "  ")
    if answer.dose is not None:
        lines += ["", *_dose_lines(answer.dose, answer.cautions, width)]
    return lines


def _dose_lines(dose: AcidDose, cautions: tuple[str, ...], width: int) -> list[str]:
    """Write the acid."""
    amount = (
        f"{dose.g_per_m3:.0f} g"
        if dose.ml_per_m3 is None
        else f"{dose.ml_per_m3:.0f} mL ({dose.g_per_m3:.0f} g)"
    )
    told = [
        f"{amount} of {dose.acid.kind} acid {100 * dose.acid.strength_frac:g} % in each m3.",
        (
            f"Alkalinity then {dose.alkalinity_mg_l:.0f} mg/L CaCO3; pH {dose.after.ph:.1f} in the"
            f" pipe, {dose.aired.ph:.1f} once it has stood in the open."
        ),
    ]
    names = {"no3_n": "nitrogen", "p": "phosphorus", "s": "sulfur"}
    told += [f"It adds {mg:.0f} mg/L of {names[name]}." for name, mg in dose.adds_mg_l.items()]
    told += dose.doubts
    lines = []
    for each in told:
        lines += wrap(each, width - 2)
    for each in cautions:
        lines += ["", *wrap(f"Caution: {each}", width - 2)]
    return block("Acid", lines)
