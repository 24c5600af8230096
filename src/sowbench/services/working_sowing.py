"""Workings of a sowing: cells and seeds, plants to expect, ready, overgrown, mix."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

import numpy as np

from sowbench.checking.chances import need_cells
from sowbench.checking.stand import (
    CULL_FRAC,
    EMERGENCE_FRAC,
    RHO_CELL,
    RHO_TRAY,
    SURVIVE_FRAC,
    TRAY_LOSS_FRAC,
    aged,
    cell_ok,
)
from sowbench.science.medium import WASTE_FRAC, mix_volume_l
from sowbench.science.quadrature import beta_nodes
from sowbench.science.tray_chances import cells_for_confidence
from sowbench.services import wording
from sowbench.services.working import (
    ASSUMED,
    HOUSE,
    PLANNED,
    WORKED_OUT,
    YOURS,
    Input,
    Line,
    Working,
    amount,
    citations,
    compared,
    reference_input,
)

if TYPE_CHECKING:
    from sowbench.checking.stand import Stand
    from sowbench.domain.plan import Sowing
    from sowbench.domain.records import SeedLot
    from sowbench.services.working_model import Recomputed

_N_LOT: Final = 9
_STAND_WHERE: Final = "docs/model.md, section 5"


def _percent(share: float, digits: int = 1) -> str:
    """Write a share of 1 in percent."""
    return wording.percent(share, digits)


def lot_inputs(lot: SeedLot | None) -> tuple[Input, ...]:
    """Tell a lot's test as inputs.

    Parameters
    ----------
    lot : SeedLot or None
        The lot.

    Returns
    -------
    inputs : tuple of Input
        Seeds tested and normal seedlings.
    """
    if lot is None:
        return (Input("lot", "no longer known"),)
    basis = ASSUMED if lot.assumed else YOURS
    source = "no lot was given: tested on 100 seeds" if lot.assumed else f"lot {lot.id}"
    return (
        Input("seeds tested", amount(lot.n_tested), "seeds", source, basis),
        Input("normal seedlings", amount(lot.n_normal), "seedlings", source, basis),
    )


def _chain_inputs(model: Recomputed, sowing: Sowing, stand: Stand) -> tuple[Input, ...]:
    """What makes usable plants of seeds."""
    line = model.line(sowing)
    middle = line.middle[0]
    lot = model.lot(sowing)
    facts = model.crop(sowing).facts
    aging: tuple[Input, ...] = ()
    if stand.shift > 0:
        aging = (
            Input(
                "loss by age since the test", f"{stand.shift:.3f}", "probits", "", WORKED_OUT,
                "opens in the working of the lot's germination",
            ),
        )  # fmt: skip
    return (
        *lot_inputs(lot),
        *aging,
        Input("seeds in a cell", amount(stand.seeds), "seeds", "", PLANNED),
        reference_input(facts, "plants_per_cell", "plants wanted in a cell"),
        Input(
            "share that comes up at this temperature", _percent(line.warm_frac[0, middle]), "",
            "from the mix's mean over the first 48 h", WORKED_OUT,
        ),
        Input("comes up in a tray, of what a test gives", _percent(EMERGENCE_FRAC, 0), "",
              "", ASSUMED),
        Input("up within 3 days of the middle one", _percent(line.on_time_frac[0]), "",
              "later ones are shaded out", WORKED_OUT),
        Input("seeds of a cell share their fate", amount(RHO_CELL), "correlation", "", ASSUMED),
        Input("survive after coming up", _percent(SURVIVE_FRAC, 0), "", "C115", ASSUMED),
        Input("culled at grading", _percent(CULL_FRAC, 0), "", "C115", ASSUMED),
        Input("left by poor light", _percent(stand.light_frac), "",
              "1 from 8 mol m⁻² d⁻¹ up, 0.7 from 3 down", WORKED_OUT),
        Input("cells of a tray share their fate", amount(RHO_TRAY), "correlation",
              "M. J. Crowder 1978: 0.0126; stand statistics: 0.01 to 0.017", "published range"),
        Input("trays lost whole", _percent(TRAY_LOSS_FRAC), "", "damping-off takes trays", ASSUMED),
    )  # fmt: skip


def _chain_lines(model: Recomputed, stand: Stand) -> tuple[list[Line], float]:
    """The reckoning from seed to usable share, and that share."""
    middle = stand.seed_frac.size // 2
    p, weight = beta_nodes(stand.alpha, stand.beta, _N_LOT)
    p_old = aged(p, stand.shift)
    p_seed = np.clip(p_old * stand.seed_frac[middle], 0.0, 1.0)
    ok = cell_ok(stand.seeds, p_seed, stand.plants_least, stand.per_unit)
    usable, node_weights = stand.usable_at_nodes()
    mean = float(model.season.w_weights @ usable @ node_weights)
    lines = [
        Line(
            "A test is a sample: the lot's germination may be anything that fits it, weighed by "
            "how well it fits (a Beta distribution).",
            f"p ~ Beta({stand.alpha:.0f}, {stand.beta:.0f})",
            f"mean {_percent(float(p @ weight))}",
        )
    ]
    if stand.shift > 0:
        lines.append(
            Line(
                "Lowered for its age in store.",
                f"p' = Φ(Φ⁻¹(p) - {stand.shift:.3f})",
                f"mean {_percent(float(p_old @ weight))}",
            )
        )
    lines += [
        Line(
            "Chance that one seed gives a plant that is up in time: germination x temperature x "
            "tray against laboratory x on time.",
            f"p_seed = p x {stand.seed_frac[middle]:.3f}",
            _percent(float(p_seed @ weight)),
        ),
        Line(
            f"Chance that a cell of {wording.count(stand.seeds, 'seed')} holds what is wanted.",
            f"q = P(seedlings ≥ {stand.plants_least})",
            _percent(float(ok @ weight)),
        ),
        Line(
            "Of these are left after losses, grading and poor light; averaged over five kinds of "
            "weather and nine of the lot.",
            f"usable = q x {SURVIVE_FRAC} x {1 - CULL_FRAC:.2f} x {stand.light_frac:.3f}",
            _percent(mean),
        ),
    ]
    return lines, mean


def plants_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show how many usable plants to expect of a sowing.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Middle, five and ninety-five percent points of its usable plants.
    """
    stand, spread = model.stand(sowing), model.spread(sowing)
    n_trays = -(-stand.n_cells // stand.cells_per_tray)
    if stand.n_counted is not None:
        inputs: tuple[Input, ...] = (
            Input("counted", amount(stand.n_counted), "plants", "journal or standing list", YOURS),
            Input("survive from now on", _percent(SURVIVE_FRAC, 0), "", "C115", ASSUMED),
            Input("culled at grading", _percent(CULL_FRAC, 0), "", "C115", ASSUMED),
            Input("left by poor light", _percent(stand.light_frac), "", "", WORKED_OUT),
        )
        lines = [
            Line(
                "Somebody has counted, so only the losses still to come are uncertain.",
                f"plants ~ binomial({stand.n_counted}, {SURVIVE_FRAC} x {1 - CULL_FRAC:.2f} x "
                f"{stand.light_frac:.3f})",
                amount(spread.p50),
            )
        ]
    else:
        inputs = (
            Input("cells", amount(stand.n_cells), f"cells in {wording.count(n_trays, 'tray')}",
                  "", PLANNED),
            *_chain_inputs(model, sowing, stand),
        )  # fmt: skip
        lines, mean = _chain_lines(model, stand)
        lines.append(
            Line(
                "Usable cells of all trays together: the chance of each number, tray by tray, so "
                "that a bad tray is a bad tray.",
                f"about {stand.n_cells:,} x {mean:.3f}",
                f"{spread.p05:,} to {spread.p95:,}, nine times in ten",
            )
        )
    here = f"{spread.p50:,} ({spread.p05:,} to {spread.p95:,})"
    plan = sowing.plants
    return Working(
        "Plants to expect",
        sowing.sowing,
        f"{here} usable plants",
        inputs,
        tuple(lines),
        float(spread.p50),
        float(plan.p50),
        compared(
            here, f"{plan.p50:,} ({plan.p05:,} to {plan.p95:,})", is_same=spread == plan
        ),
        sources=citations(inputs, model.few.catalog, ("C115",)),
        where=_STAND_WHERE,
    )  # fmt: skip


def cells_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show why so many cells and seeds are sown.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Cells that reach the confidence of each order, and what is added within the last tray.
    """
    season, stand = model.season, model.stand(sowing)
    orders = [season.orders[each.order] for each in sowing.orders if each.order in season.orders]
    lines, _ = _chain_lines(model, stand)
    inputs = [*_chain_inputs(model, sowing, stand)]
    usable, weights = stand.usable_at_nodes()
    flat = usable.reshape(1, -1)
    both = (season.w_weights[:, None] * weights[None, :]).reshape(1, -1)
    least = wanted = 0
    for share in sowing.orders:
        if share.order not in season.orders:
            continue
        order = season.orders[share.order]
        own = season.wanted_cells(order, share.plants)
        whole = share.plants >= order.plants
        need = wanted + (need_cells(season, order, share.plants)[0] if whole else own)
        wanted += own
        confidence = season.confidence(order)
        found = int(
            cells_for_confidence(np.array([need]), confidence, stand.cells_per_tray, flat, both)[0]
        )
        least = max(least, found)
        basis = YOURS if order.confidence_frac is not None else HOUSE
        inputs += [
            Input(f"wanted for {order.id}", amount(share.plants), f"{order.unit}s", "", YOURS),
            Input(f"sureness wanted for {order.id}", _percent(confidence, 0), "", "", basis),
        ]
        lines.append(
            Line(
                f"Fewest cells that hold at least {need:,} usable ones with that sureness"
                + (f", {wanted - own:,} of them for orders before it" if wanted > own else "")
                + (": the chance of this order alone." if whole else ": this part of the order."),
                f"P(usable cells ≥ {need:,}) ≥ {confidence:g}",
                f"{found:,} cells" if found > 0 else "no number is enough",
            )
        )
    n_trays = -(-sowing.n_cells // stand.cells_per_tray)
    lines.append(_why_more(sowing, least, n_trays, stand.cells_per_tray))
    lines.append(
        Line(
            "Seeds: cells x seeds in a cell. A second seed in a cell is sown only where it pays "
            "for itself.",
            f"{sowing.n_cells:,} x {sowing.seeds_per_cell}",
            f"{sowing.n_seeds:,} seeds",
        )
    )
    given = tuple(inputs)
    n_seeds = sowing.n_cells * sowing.seeds_per_cell
    cells = f"{sowing.n_cells:,} cells"
    return Working(
        "Cells and seeds",
        sowing.sowing,
        f"{cells}, {n_seeds:,} seeds, for {wording.count(len(orders), 'order')}",
        given,
        tuple(lines),
        float(n_seeds),
        float(sowing.n_seeds),
        compared(
            f"{n_seeds:,} seeds", f"{sowing.n_seeds:,} seeds", is_same=n_seeds == sowing.n_seeds
        ),
        sources=citations(given, model.few.catalog, ("C115",)),
        where="docs/model.md, sections 5 and 6",
    )


def _why_more(sowing: Sowing, least: int, n_trays: int, per_tray: int) -> Line:
    """Say why the cells sown are not just the fewest."""
    more = sowing.n_cells - least
    trays = f"{wording.count(n_trays, 'tray')} of {per_tray}"
    if least <= 0 or more == 0:
        words = "As many are sown."
    elif more > 0:
        words = (
            "More are sown, within the last tray: each further cell saves more expected shortage "
            "than its seed and mix cost, or another part of the order needs the help."
        )
    else:
        words = (
            "Fewer are sown: the order is filled by other sowings too, or seed, room or trays "
            "set the limit; the order's own chance tells how sure it is."
        )
    return Line(words, f"{least:,} {'+' if more >= 0 else '-'} {abs(more):,}",
                f"{sowing.n_cells:,} cells in {trays}")  # fmt: skip


def mix_working(model: Recomputed, sowing: Sowing) -> Working:
    """Show how much mix a sowing takes.

    Parameters
    ----------
    model : Recomputed
        The sowing worked out once more.
    sowing : Sowing
        The sowing.

    Returns
    -------
    working : Working
        Liters of all its containers that take mix.
    """
    inputs: list[Input] = []
    lines: list[Line] = []
    total = 0.0
    filled: set[str] = set()
    for step in sowing.steps:
        if step.container in filled:
            continue
        filled.add(step.container)
        container = model.container(step.container)
        if not container.takes_mix:
            lines.append(Line(f"{container.name} takes no mix.", "", "0 l"))
            continue
        inputs += [
            Input(f"cells of {container.id}", amount(step.n_cells), "cells", "", PLANNED),
            reference_input(container.facts, "cell_volume_ml", f"volume of a cell, {container.id}"),
        ]
        liters = float(mix_volume_l(step.n_cells, container.cell_volume_ml))
        total += liters
        lines.append(
            Line(
                f"{container.name}: cells x volume, and what is spilled and settles.",
                f"{step.n_cells:,} x {container.cell_volume_ml:g} ml x {1 + WASTE_FRAC:.2f}",
                f"{liters:,.1f} l",
            )
        )
    inputs.append(Input("spilled and settled", _percent(WASTE_FRAC, 0), "", "", ASSUMED))
    given = tuple(inputs)
    return Working(
        "Mix",
        sowing.sowing,
        f"{total:,.1f} l",
        given,
        tuple(lines),
        total,
        sources=citations(given, model.few.catalog),
        where="docs/model.md, section 10",
    )
