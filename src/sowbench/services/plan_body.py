"""The whole of a plan version, kept by this process: a version never changes."""

from __future__ import annotations

from collections import OrderedDict
from typing import TYPE_CHECKING, Final

if TYPE_CHECKING:
    from datetime import datetime

    from sowbench.domain.book import PlanHead
    from sowbench.domain.plan import Plan
    from sowbench.domain.ports import Unit

_KEPT: Final[OrderedDict[tuple[int, datetime, float], Plan]] = OrderedDict()
_MOST: Final = 4


def plan_body(unit: Unit, head: PlanHead) -> Plan:
    """Return a whole plan.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.
    head : PlanHead
        Which plan.

    Returns
    -------
    plan : Plan
        The plan; read once and kept while it is in use.
    """
    key = (head.id, head.made_at, head.cost)
    plan = _KEPT.get(key)
    if plan is None:
        plan = unit.plans.body(head.id)
        _KEPT[key] = plan
        while len(_KEPT) > _MOST:
            _KEPT.popitem(last=False)
    return plan
