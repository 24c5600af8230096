"""A season laid out once for every method, and a plan written from what a method settled on."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from benchmarks.seasons import FROM_DATE
from sowbench.domain.plan import Plan, Unmet
from sowbench.planning.assemble import order_plans, sowing_record, tasks_of
from sowbench.planning.inputs import PlanInputs
from sowbench.planning.money import plan_cost
from sowbench.planning.placed import Placed, Settled, needs_of
from sowbench.planning.season import Season
from sowbench.planning.season import make_season as lay_out
from sowbench.science.risk import season_chances
from sowbench.services.inputs import InputFiles, load_inputs


@dataclass(frozen=True)
class LaidOut:
    """Inputs with the season made from them."""

    inputs: PlanInputs
    season: Season


def read_season(folder: Path) -> LaidOut:
    """Read a season's files and lay it out.

    Parameters
    ----------
    folder : Path
        Folder with orders.csv, seed.csv, house.toml and the weather.

    Returns
    -------
    laid : LaidOut
        The season, planned from `FROM_DATE`.
    """
    files = InputFiles(folder / "orders.csv", folder / "house.toml", folder / "seed.csv")
    inputs = load_inputs(files, FROM_DATE).inputs
    season = lay_out(
        inputs.house,
        inputs.catalog,
        inputs.orders,
        inputs.lots or (),
        inputs.weather,
        inputs.from_date,
    )
    return LaidOut(inputs, season)


def chances_as_they_are(season: Season, placed: list[Placed]) -> Settled:
    """Reckon the chances of sowings without adding a cell to any.

    Parameters
    ----------
    season : Season
        The season.
    placed : list of Placed
        Sowings as a method left them.

    Returns
    -------
    settled : Settled
        The same sowings with their orders' chances.
    """
    fed = sorted({o for p in placed for o, _ in p.orders})
    needs, risks = needs_of(season, placed, fed)
    found = season_chances(needs, risks, season.w_weights)
    return Settled(placed, dict(zip(fed, found, strict=True)))


def write_plan(laid: LaidOut, settled: Settled, unmet: dict[str, str], bound: float) -> Plan:
    """Write a plan with the planner's own money and dates, so that methods can be compared.

    Parameters
    ----------
    laid : LaidOut
        The season.
    settled : Settled
        What a method settled on.
    unmet : dict of str to str
        Reason by order that got nothing.
    bound : float
        Proven lower bound of the season's cost; 0 if there is none.

    Returns
    -------
    plan : Plan
        Without supplies and prices, which no measure asks for.
    """
    season = laid.season
    parts = plan_cost(season, settled)
    cost = sum(parts.values())
    gap = (cost - bound) / bound if bound > 0 else 0.0
    orders = tuple(order_plans(season, settled))
    plants = {o.order: o.plants for o in orders}
    return Plan(
        from_date=laid.inputs.from_date,
        until_date=season.until_date,
        cost=round(cost, 4),
        cost_parts=parts,
        bound=round(bound, 4),
        gap_frac=round(gap, 6),
        gap_without_short_frac=0.0,
        seconds=0.0,
        seed=0,
        assumptions=season.assumptions,
        orders=orders,
        sowings=tuple(sowing_record(season, p) for p in settled.placed),
        unmet=tuple(Unmet(name, plants[name], why) for name, why in sorted(unmet.items())),
        tasks=tuple(tasks_of(season, settled.placed)),
        supplies=(),
        prices=(),
    )
