"""Working of a lot: its germination as its age leaves it."""

from __future__ import annotations

from math import log10, sqrt
from typing import TYPE_CHECKING, Final

from sowbench.science.quadrature import beta_nodes
from sowbench.science.viability import aged_germination_nodes, days_per_probit, probit_loss
from sowbench.services import wording
from sowbench.services.working import (
    ASSUMED,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    reference_input,
    said,
)
from sowbench.services.working_sowing import lot_inputs

if TYPE_CHECKING:
    from datetime import date

    from sowbench.domain.records import SeedLot
    from sowbench.reference.catalog import Catalog

_N_NODES: Final = 9


def germination_working(lot: SeedLot, catalog: Catalog, day: date) -> Working:
    """Show what a lot's germination is on a day.

    Parameters
    ----------
    lot : SeedLot
        The lot.
    catalog : Catalog
        The reference.
    day : date
        The day.

    Returns
    -------
    working : Working
        Mean germination after its age in store, where that can be reckoned.
    """
    crop = catalog.crops[lot.crop]
    alpha, beta = lot.n_normal + 1.0, lot.n_tested - lot.n_normal + 1.0
    nodes, weights = beta_nodes(alpha, beta, _N_NODES)
    mean = float(nodes @ weights)
    spread = sqrt(alpha * beta / (alpha + beta + 1.0)) / (alpha + beta)
    inputs = [*lot_inputs(lot)]
    lines = [
        Line(
            "A test is a sample: the lot's germination may be anything that fits it, weighed by "
            "how well it fits.",
            f"p ~ Beta({alpha:.0f}, {beta:.0f})",
            f"{wording.percent(mean, 1)}, give or take {100 * spread:.1f}",
        )
    ]
    constants = catalog.viability.get(lot.crop)
    is_plain = not (lot.primed or lot.pelleted)
    days = 0 if lot.tested_on is None else max((day - lot.tested_on).days, 0)
    if lot.tested_on is not None:
        inputs.append(Input("tested", wording.day(lot.tested_on, year=True), "", "", YOURS))
        inputs.append(Input("days since", amount(days), "d", "", WORKED_OUT))
    if (
        constants is not None
        and is_plain
        and lot.moisture_frac is not None
        and lot.storage_c is not None
        and lot.tested_on is not None
    ):
        source, basis = constants.source, said(constants.basis)
        inputs += [
            Input("moisture of the seed", wording.percent(lot.moisture_frac, 1), "fresh weight",
                  "", YOURS),
            Input("store", amount(lot.storage_c), "°C", "", YOURS),
            *(Input(name, amount(value), "", source, basis)
              for name, value in (("K_E", constants.k_e), ("C_W", constants.c_w),
                                  ("C_H", constants.c_h), ("C_Q", constants.c_q))),
        ]  # fmt: skip
        per = float(days_per_probit(constants, lot.moisture_frac, lot.storage_c))
        loss = float(probit_loss(constants, lot.moisture_frac, lot.storage_c, float(days)))
        aged = aged_germination_nodes(
            nodes, constants, lot.moisture_frac, lot.storage_c, float(days)
        )
        lines += [
            Line(
                "How long the seed keeps in that store: days in which it loses one probit.",
                "log₁₀ σ = K_E - C_W log₁₀(moisture %) - C_H t - C_Q t²",
                f"{per:,.0f} d (10^{log10(per):.2f})",
            ),
            Line("What it has lost.", f"{days:,} / {per:,.0f}", f"{loss:.3f} probits"),
        ]
        mean = float(aged @ weights)
        lines.append(Line("Germination now.", f"Φ(Φ⁻¹(p) - {loss:.3f})", wording.percent(mean, 1)))
    else:
        lines.append(Line(_why_not(lot, knows_crop=constants is not None), "",
                          wording.percent(mean, 1)))  # fmt: skip
    inputs.append(reference_input(crop.facts, "germination_min_frac", "federal minimum"))
    given = tuple(each for each in inputs if each.value != "not given")
    return Working(
        "Germination of a lot",
        f"{lot.id}, {crop.name}",
        f"{wording.percent(mean, 1)} on {wording.day(day)}",
        given,
        tuple(lines),
        mean,
        sources=citations(given, catalog),
        where="docs/model.md, section 5",
        agrees=(
            f"In a tray 95 % of it comes up ({ASSUMED}), less what cold, heat and lateness take."
        ),
    )


def _why_not(lot: SeedLot, *, knows_crop: bool) -> str:
    """Say why age is not reckoned."""
    if lot.assumed:
        return "No lot was given, so nothing is taken off for age."
    if lot.primed or lot.pelleted:
        return "Primed or pelleted seed ages otherwise than the equation says: test it again."
    if not knows_crop:
        return "Nobody has published how this crop's seed ages: test it again when it is old."
    return "Give the day of the test, moisture and storage temperature to reckon its age."
