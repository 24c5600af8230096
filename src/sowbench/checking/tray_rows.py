"""Sowings that share their last tray by rows: docs/model.md section 12 once more."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from sowbench.checking.report import Ledger
from sowbench.checking.season import Season
from sowbench.checking.timeline import Timelines
from sowbench.domain.plan import Sowing
from sowbench.domain.records import Container, LightNeed, StepKind

RULE: Final = "trays are shared by sowings that go together"
UP_WITHIN_D: Final = 2
LEAVES_APART: Final = 2.0
DAYS_REF_APART_D: Final = 7.0


def check_tray_rows(season: Season, lines: Timelines, ledger: Ledger) -> None:
    """Mates name each other, stand together all the time, and have room in whole rows."""
    sets: dict[frozenset[str], None] = {}
    for sowing in season.plan.sowings:
        names = {frozenset((sowing.sowing, *each.from_sowings)) for each in sowing.steps}
        if all(len(each) == 1 for each in names):
            continue
        known = all(name in season.sowings for each in names for name in each)
        named_back = known and all(
            frozenset((name, *step.from_sowings)) in names
            for each in names
            for name in each
            for step in season.sowings[name].steps
        )
        if ledger.require(
            len(names) == 1 and named_back, "mates in a tray name each other", sowing.sowing,
            "Its steps name sowings that do not all name it and each other.",
        ):  # fmt: skip
            sets.update(dict.fromkeys(names))
    for together in sets:
        mates = [each for each in season.plan.sowings if each.sowing in together]
        _check_course(season, ledger, mates)
        _check_kinds(season, lines, ledger, mates)
        _check_rows(season, ledger, mates)


def _course(sowing: Sowing) -> list[tuple[str, str, object, object]]:
    """Containers and places of a sowing with their days, kinds of step taken together."""
    runs: list[tuple[str, str, object, object]] = []
    for step in sowing.steps:
        if runs and runs[-1][:2] == (step.container, step.place):
            runs[-1] = (*runs[-1][:3], step.to_date)
        else:
            runs.append((step.container, step.place, step.from_date, step.to_date))
    return runs


def _check_course(season: Season, ledger: Ledger, mates: Sequence[Sowing]) -> None:
    """All of one container, day and place on every day, handed over whole and at once."""
    first = mates[0]
    for sowing in mates:
        kinds = {each.kind for each in sowing.steps}
        ledger.require(
            not kinds & {StepKind.POT_ON, StepKind.SPACE, StepKind.GRAFT}, RULE, sowing.sowing,
            "It is potted on, spaced or grafted.",
        )  # fmt: skip
        days = {
            each.date
            for row in season.plan.orders
            for each in row.hand_over
            if each.sowing == sowing.sowing
        }
        ledger.require(
            len(days) == 1, RULE, sowing.sowing, "It is not handed over whole on one day.", 1,
            len(days),
        )  # fmt: skip
        ledger.require(
            season.is_given(sowing) == season.is_given(first), RULE, sowing.sowing,
            f"Of it and {first.sowing} one stands already.",
        )  # fmt: skip
        ledger.require(
            _course(sowing) == _course(first), RULE, sowing.sowing,
            f"{first.sowing} has other days, containers or places.",
        )  # fmt: skip


def _check_kinds(season: Season, lines: Timelines, ledger: Ledger, mates: Sequence[Sowing]) -> None:
    """Crops agree two by two in warmth, cover, light, emergence and height, and in customers."""
    for at, one in enumerate(mates):
        for other in mates[:at]:
            if one.crop in season.catalog.crops and other.crop in season.catalog.crops:
                apart = _apart(season, lines, one, other)
                ledger.require(
                    not apart, RULE, one.sowing, f"It and {other.sowing} differ: {apart}."
                )
            both = {e.order for e in one.orders} & {e.order for e in other.orders}
            ledger.require(
                not both, RULE, one.sowing,
                f"It and {other.sowing} both serve {', '.join(sorted(both))}.",
            )  # fmt: skip
    orders = [
        season.orders[share.order]
        for each in mates
        for share in each.orders
        if share.order in season.orders
    ]
    whole = [each.id for each in orders if each.handover == "trays"]
    ledger.require(
        not whole or len({each.customer for each in orders}) == 1, RULE,
        " and ".join(each.sowing for each in mates),
        f"{', '.join(whole)} goes out in trays, and other customers have plants in them.",
    )  # fmt: skip


def _apart(season: Season, lines: Timelines, one: Sowing, other: Sowing) -> str:
    """Say in what two sowings do not agree; blank if in nothing."""
    a, b = season.catalog.crops[one.crop], season.catalog.crops[other.crop]
    x, y = season.rule_of(one), season.rule_of(other)
    first, second = lines.of(one), lines.of(other)
    if x is None or y is None or first is None or second is None:
        return "a ready rule or place is unknown"
    w, z = first.middle
    up = [int(each.emergence_h[0, w, z] // 24) for each in (first, second)]
    found = (
        (a.season is not b.season, "cool or warm"),
        (a.cover != b.cover, "cover"),
        ({a.light_need, b.light_need} == {LightNeed.LIGHT, LightNeed.DARK}, "light"),
        (abs(up[0] - up[1]) > UP_WITHIN_D, "emergence"),
        (abs(x.leaves - y.leaves) > LEAVES_APART, "height by leaves"),
        (abs(x.days_ref - y.days_ref) > DAYS_REF_APART_D, "height by days to grow"),
    )
    return ", ".join(word for differs, word in found if differs)


def rows_taken(container: Container, sowing: Sowing) -> int:
    """Rows of the last of a sowing's units that its cells take."""
    last = sowing.n_cells - (sowing.steps[0].n_containers - 1) * container.cells
    return -(-last // (container.cols or container.cells))


def _check_rows(season: Season, ledger: Ledger, mates: Sequence[Sowing]) -> None:
    """Whole rows of all mates fit into one unit."""
    container = season.catalog.containers.get(mates[0].steps[0].container)
    if container is None:
        return
    rows = sum(rows_taken(container, each) for each in mates)
    most = container.rows or 1
    ledger.require(
        rows <= most, "shared trays hold whole rows", " and ".join(e.sowing for e in mates),
        "The rows do not fit.", most, rows,
    )  # fmt: skip
