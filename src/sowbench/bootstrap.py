"""Wires the real parts together: planner, checker and picture. Tests wire fakes instead."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING, Any, Final, cast

from sowbench.exchange.season_use import DailyUse
from sowbench.services.parts import Made, Parts

if TYPE_CHECKING:
    from sowbench.domain.plan import Plan
    from sowbench.domain.records import Order
    from sowbench.planning.inputs import PlanInputs
    from sowbench.planning.parameters import SolveParameters
    from sowbench.services.parts import Progress, PromiseLike, ReportLike

_NO_LIMIT: Final = 1e8


def real_parts() -> Parts:
    """Return the planner, the checker and the picture of this package.

    Returns
    -------
    parts : Parts
        Parts that load their libraries when they are first used.
    """
    return Parts(make_plan=_make_plan, check_plan=_check_plan, promise=_promise, draw=_draw)


def _make_plan(
    inputs: PlanInputs,
    parameters: SolveParameters,
    seed: int,
    progress: Progress | None = None,
) -> Made:
    """Plan with the planner of this package."""
    from sowbench.planning.plan import make_plan

    planned = make_plan(inputs, parameters, seed, progress)
    first = planned.season.calendar.first
    uses = sorted(planned.uses, key=lambda each: each.kind == "crew")
    return Made(
        planned.plan,
        tuple(
            DailyUse(
                name="hands" if each.kind == "crew" else each.name,
                unit="min" if each.kind == "crew" else each.unit,
                first_date=first,
                use=[float(value) for value in each.use],
                capacity=_limit(each.capacity),
                hands=each.kind == "crew",
            )
            for each in uses
            if each.kind in {"place", "crew"}
        ),
    )


def _limit(capacity: Iterable[float]) -> list[float] | None:
    """Return a limit by day; one too large to be meant is none."""
    values = [float(each) for each in capacity]
    return values if all(each < _NO_LIMIT for each in values) else None


def _check_plan(
    plan: Plan,
    inputs: PlanInputs,
    cancelled: Sequence[Order] = (),
    *,
    with_bound: bool = True,
) -> ReportLike:
    """Check a plan with the checker of this package."""
    from sowbench.checking import check_plan
    from sowbench.checking.season import CheckInputs
    from sowbench.domain.journal import Entry, EntryKind

    # The checker asks for rates as numbers, and takes the reference's own just as well.
    catalog = cast("Any", inputs.catalog)
    return check_plan(
        plan,
        CheckInputs(
            house=inputs.house,
            orders=(*inputs.orders, *cancelled),
            lots=inputs.lots,
            catalog=catalog,
            from_date=inputs.from_date,
            standings=inputs.standings,
            pins=inputs.pins,
            weather=inputs.weather,
            kept=inputs.kept,
            entries=tuple(
                Entry("", each.date, EntryKind(each.kind), each.sowing, each.n, each.order)
                for each in inputs.done
            ),
        ),
        with_bound=with_bound,
    )


def _promise(inputs: PlanInputs, plan: Plan, order: Order) -> PromiseLike:
    """Fit one more order beside a plan with the planner of this package."""
    from sowbench.planning.promise import promise

    return promise(inputs, plan, order)


def _draw(uses: Sequence[DailyUse], title: str) -> Mapping[str, bytes]:
    """Draw how full places and hands are."""
    from sowbench.exchange.picture import draw_season, season_spec

    return draw_season(season_spec(uses, title=title))
