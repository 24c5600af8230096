"""Rules of form: names, sums, steps, containers, seeds, dates, seed lots and pins."""

from __future__ import annotations

from collections import Counter

from sowbench.checking.report import Ledger
from sowbench.checking.season import Season
from sowbench.domain.plan import Sowing, Step
from sowbench.domain.records import Container, Order, Pin, StepKind

UNMET_REASONS = frozenset(
    {
        "room",
        "crew",
        "seed",
        "container",
        "too_soon",
        "past",
        "temperature",
        "price",
        "pinned",
        "germination",
    }
)
PARTS_MOST = 3
PART_LEAST_FRAC = 0.1
GROUP_MOST = 4
GROUP_WITHIN_D = 7


def check_names(season: Season, ledger: Ledger) -> None:
    """Names are unique and known, and nothing is planned for a cancelled order."""
    plan = season.plan
    for rule, names in (
        ("sowing names are unique", [each.sowing for each in plan.sowings]),
        ("order rows are unique", [each.order for each in plan.orders]),
    ):
        for name, n in Counter(names).items():
            ledger.require(n == 1, rule, name, "The name stands more than once.", 1, n)
    for sowing in plan.sowings:
        for share in sowing.orders:
            ledger.require(
                share.order not in season.cancelled, "no cancelled order is planned",
                sowing.sowing, f"Order {share.order} is cancelled.",
            )  # fmt: skip
            ledger.require(
                share.order in season.orders or share.order in season.cancelled,
                "orders are known", sowing.sowing, f"There is no order {share.order!r}.",
            )  # fmt: skip
    listed = {each.order for each in plan.orders}
    for order in season.orders:
        ledger.require(
            order in listed, "every order is answered", order, "The plan has no row for it."
        )
    for row in plan.orders:
        ledger.require(
            row.order in season.orders, "orders are known", row.order,
            "The plan has a row for an order that is not wanted.",
        )  # fmt: skip


def check_sums(season: Season, ledger: Ledger) -> None:
    """Planned and unmet plants add up to the order, shares and handing over to the planned."""
    plan = season.plan
    unmet: Counter[str] = Counter()
    for each in plan.unmet:
        unmet[each.order] += each.plants
        ledger.require(
            each.reason in UNMET_REASONS, "reason of unmet is known", each.order,
            "This is no reason.", ", ".join(sorted(UNMET_REASONS)), each.reason,
        )  # fmt: skip
        ledger.require(
            each.order in season.orders and each.plants > 0, "unmet plants are ordered plants",
            each.order, "Unmet names no wanted order, or no plants.",
        )  # fmt: skip
    shares: Counter[str] = Counter()
    n_parts: Counter[str] = Counter()
    for sowing in plan.sowings:
        for share in sowing.orders:
            shares[share.order] += share.plants
            n_parts[share.order] += 1
    for row in plan.orders:
        order = season.orders.get(row.order)
        if order is None:
            continue
        ledger.require(
            row.plants == order.plants, "plants ordered", row.order,
            "The plan has another number of plants.", order.plants, row.plants,
        )  # fmt: skip
        ledger.require(
            row.planned + unmet[row.order] == order.plants, "planned and unmet make the order",
            row.order, f"{row.planned} planned and {unmet[row.order]} unmet do not make it.",
            order.plants, row.planned + unmet[row.order],
        )  # fmt: skip
        ledger.require(
            shares[row.order] == row.planned, "shares of sowings make the planned", row.order,
            "Sowings are meant for another number of plants.", row.planned, shares[row.order],
        )  # fmt: skip
        handed = sum(each.plants for each in row.hand_over)
        ledger.require(
            handed == row.planned, "handing over makes the planned", row.order,
            "Another number of plants is handed over.", row.planned, handed,
        )  # fmt: skip
        _check_parts(season, ledger, order, n_parts[row.order])


def _check_parts(season: Season, ledger: Ledger, order: Order, n_parts: int) -> None:
    """An order is split into few parts, none of them tiny."""
    parts = [
        share.plants
        for each in season.plan.sowings
        if not season.is_given(each)
        for share in each.orders
        if share.order == order.id
    ]
    ledger.require(
        len(parts) <= PARTS_MOST, "an order has at most 3 parts", order.id,
        "It is split into more.", PARTS_MOST, n_parts,
    )  # fmt: skip
    if len(parts) > 1:
        for plants in parts:
            ledger.require(
                plants >= PART_LEAST_FRAC * order.plants - 1, "a part is at least a tenth",
                order.id, "A part is smaller.", PART_LEAST_FRAC * order.plants, plants,
            )  # fmt: skip


def check_hand_over(season: Season, ledger: Ledger) -> None:
    """What is handed over to an order comes from its sowings, in their shares."""
    meant = {
        (share.order, sowing.sowing): share.plants
        for sowing in season.plan.sowings
        for share in sowing.orders
    }
    given: Counter[tuple[str, str]] = Counter()
    for row in season.plan.orders:
        for each in row.hand_over:
            given[row.order, each.sowing] += each.plants
    for key in sorted(set(meant) | set(given)):
        ledger.require(
            meant.get(key, 0) == given[key], "handing over follows the shares", key[0],
            f"Sowing {key[1]} is meant for and gives different numbers.",
            meant.get(key, 0), given[key],
        )  # fmt: skip


def leaves_at_once(season: Season, sowing: str) -> bool:
    """Tell whether what stands is handed over on the first day, so that it needs no step."""
    days = [
        each.date for row in season.plan.orders for each in row.hand_over if each.sowing == sowing
    ]
    first = season.inputs.from_date
    return sowing in season.standings and bool(days) and max(days) <= first


def check_steps(season: Season, ledger: Ledger) -> None:
    """Steps follow each other without a gap, in known places and containers, and hold the cells."""
    for sowing in season.plan.sowings:
        name = sowing.sowing
        holds = bool(sowing.steps) or leaves_at_once(season, name)
        ledger.require(holds, "a sowing has steps", name, "There are none.")
        if not sowing.steps:
            continue
        standing = season.standings.get(name)
        begin = season.inputs.from_date if standing else sowing.sow_date
        ledger.require(
            sowing.steps[0].from_date == begin or sowing.steps[0].kind is StepKind.PREPARE,
            "steps begin with sowing", name,
            "The first step begins on another day.", begin, sowing.steps[0].from_date,
        )  # fmt: skip
        for before, after in zip(sowing.steps, sowing.steps[1:], strict=False):
            ledger.require(
                before.to_date == after.from_date, "steps follow without a gap", name,
                f"{after.kind} does not begin when {before.kind} ends.",
                before.to_date, after.from_date,
            )  # fmt: skip
        n_cells = sowing.n_cells
        for step in sowing.steps:
            ledger.require(
                step.from_date < step.to_date, "a step lasts", name,
                f"{step.kind} ends before it begins.", f"after {step.from_date}", step.to_date,
            )  # fmt: skip
            ledger.require(
                step.place in season.places, "places are known", name,
                f"There is no place {step.place!r}.",
            )  # fmt: skip
            if step.kind is StepKind.POT_ON:
                _check_potted(season, ledger, sowing, step)
                n_cells = step.n_cells
            rest = _cells_after(season, sowing, step)
            if rest is not None:
                ledger.require(
                    rest <= step.n_cells <= n_cells, "cells of the rest", name,
                    f"{step.kind} has other cells than the rest needs.",
                    f"{rest} to {n_cells}", step.n_cells,
                )  # fmt: skip
                n_cells = step.n_cells
            ledger.require(
                step.n_cells == n_cells, "cells stay the same", name,
                f"{step.kind} has another number of cells.", n_cells, step.n_cells,
            )  # fmt: skip
            container = season.catalog.containers.get(step.container)
            if ledger.require(
                container is not None, "containers are known", name,
                f"There is no container {step.container!r}.",
            ) and container is not None:  # fmt: skip
                _check_units(ledger, sowing, container, step.n_containers, step.n_cells)


def _cells_after(season: Season, sowing: Sowing, step: Step) -> int | None:
    """Return the cells wanted after a part was handed over as a step begins; None if none was."""
    gone = rest = 0
    for row in season.plan.orders:
        order = season.orders.get(row.order)
        for each in row.hand_over:
            if order is None or each.sowing != sowing.sowing:
                continue
            if each.date <= step.from_date:
                gone += each.plants
            else:
                rest += season.wanted_cells(order, each.plants)
    return rest if gone and rest else None


def _check_potted(season: Season, ledger: Ledger, sowing: Sowing, step: Step) -> None:
    """Potted on are no more cells than were sown, and no fewer than the orders want."""
    wanted = sum(
        season.wanted_cells(season.orders[each.order], each.plants)
        for each in sowing.orders
        if each.order in season.orders
    )
    ledger.require(
        min(wanted, sowing.n_cells) <= step.n_cells <= sowing.n_cells, "cells potted on",
        sowing.sowing, "Too many or too few are potted on.",
        f"{wanted} to {sowing.n_cells}", step.n_cells,
    )  # fmt: skip


def _check_units(
    ledger: Ledger, sowing: Sowing, container: Container, n_containers: int, n_cells: int
) -> None:
    """As many lifted units as the cells need, the last one part-filled."""
    fewest = -(-n_cells // container.cells)
    ledger.require(
        n_containers == fewest, "containers hold the cells", sowing.sowing,
        f"{n_cells} cells of {container.id} with {container.cells} each.", fewest, n_containers,
    )  # fmt: skip


def check_containers(season: Season, ledger: Ledger) -> None:
    """Containers are the house's, suit the orders, and have a ready rule."""
    for sowing in season.plan.sowings:
        if season.is_given(sowing) or not sowing.steps:
            continue
        for name in dict.fromkeys(each.container for each in sowing.steps):
            ledger.require(
                name in season.used_containers, "containers are the house's", sowing.sowing,
                f"The house does not list {name}.",
            )  # fmt: skip
        last = sowing.steps[-1].container
        first = next(
            (each for each in sowing.steps if each.kind is not StepKind.PREPARE), sowing.steps[0]
        ).container
        for order in _orders_of(season, sowing):
            rule = season.rule(sowing.crop, last, order.system)
            ledger.require(
                rule is not None
                and season.catalog.suits(sowing.crop, last, order.system)
                and season.catalog.cells_suit(sowing.crop, first),
                "container suits crop and system", sowing.sowing,
                f"{sowing.crop} is not raised in {last} for {order.system}.",
            )  # fmt: skip
            ledger.require(
                not order.containers or last in order.containers, "container is one asked for",
                sowing.sowing, f"Order {order.id} limits the container.",
                " or ".join(order.containers), last,
            )  # fmt: skip
            if order.organic:
                for name in {first, last}:
                    container = season.catalog.containers.get(name)
                    ledger.require(
                        container is None or container.organic_ok,
                        "organic orders stand in allowed containers", sowing.sowing,
                        f"{name} is not for organic order {order.id}.",
                    )  # fmt: skip
            if rule is not None and first != last:
                source = season.catalog.containers.get(first)
                ledger.require(
                    source is not None and source.container_class == rule.pot_on_from_class,
                    "potting on starts from the right class", sowing.sowing,
                    f"{sowing.crop} goes into {last} from another class.",
                    rule.pot_on_from_class, None if source is None else source.container_class,
                )  # fmt: skip


def check_seeds(season: Season, ledger: Ledger) -> None:
    """Seeds per cell, plants per cell, number of seeds and the lots' own rules."""
    for sowing in season.plan.sowings:
        name, crop = sowing.sowing, season.catalog.crops.get(sowing.crop)
        if not ledger.require(
            crop is not None, "crops are known", name, f"There is no crop {sowing.crop!r}."
        ) or crop is None or season.is_given(sowing):  # fmt: skip
            continue
        ledger.require(
            1 <= sowing.seeds_per_cell <= crop.max_seeds_per_cell, "seeds per cell in range", name,
            f"{sowing.crop} takes other numbers of seeds.",
            f"1 to {crop.max_seeds_per_cell}", sowing.seeds_per_cell,
        )  # fmt: skip
        ledger.require(
            sowing.plants_per_cell == crop.plants_per_cell, "plants per cell", name,
            "The crop wants another number.", crop.plants_per_cell, sowing.plants_per_cell,
        )  # fmt: skip
        ledger.require(
            sowing.n_seeds == sowing.n_cells * sowing.seeds_per_cell, "seeds are cells x seeds",
            name, "Cells times seeds per cell is another number.",
            sowing.n_cells * sowing.seeds_per_cell, sowing.n_seeds,
        )  # fmt: skip
        _check_lot(season, ledger, sowing)


def _check_lot(season: Season, ledger: Ledger, sowing: Sowing) -> None:
    """The lot is there on the day, is of the crop, and is one the orders accept."""
    name, lot = sowing.sowing, season.lots.get(sowing.lot)
    if not ledger.require(
        lot is not None, "lots are known", name, f"There is no lot {sowing.lot!r}."
    ) or lot is None:  # fmt: skip
        return
    ledger.require(
        lot.crop == sowing.crop, "lot is of the crop", name, "It is of another crop.",
        sowing.crop, lot.crop,
    )  # fmt: skip
    ledger.require(
        lot.variety == sowing.variety, "variety is that of the lot", name,
        "The lot is of another variety.", lot.variety, sowing.variety,
    )  # fmt: skip
    ledger.require(
        lot.arrives_on is None or sowing.sow_date >= lot.arrives_on, "lot has arrived", name,
        f"Lot {lot.id} is not there yet.", f"from {lot.arrives_on}", sowing.sow_date,
    )  # fmt: skip
    ledger.require(
        lot.use_by is None or sowing.sow_date <= lot.use_by, "lot is used in time", name,
        f"Lot {lot.id} is past its date.", f"by {lot.use_by}", sowing.sow_date,
    )  # fmt: skip
    for order in _orders_of(season, sowing):
        ledger.require(
            order.crop == sowing.crop, "crop is the one ordered", name,
            f"Order {order.id} wants another crop.", order.crop, sowing.crop,
        )  # fmt: skip
        accepted = (order.variety, *order.substitutes)
        ledger.require(
            not order.variety or lot.variety in accepted, "variety is one ordered", name,
            f"Order {order.id} wants another variety.", " or ".join(accepted), lot.variety,
        )  # fmt: skip
        ledger.require(
            not order.organic or lot.organic, "organic orders from organic lots", name,
            f"Order {order.id} is organic, lot {lot.id} is not.",
        )  # fmt: skip


def check_dates(season: Season, ledger: Ledger) -> None:
    """Sowing days are days on which the house sows, and all dates lie in the plan."""
    plan, inputs = season.plan, season.inputs
    ledger.require(
        plan.from_date == inputs.from_date, "first day of the plan", "plan",
        "It begins on another day.", inputs.from_date, plan.from_date,
    )  # fmt: skip
    ledger.require(
        plan.until_date == season.until, "last day of the plan", "plan",
        "It is the latest latest_on and 14 days.", season.until, plan.until_date,
    )  # fmt: skip
    for sowing in plan.sowings:
        name = sowing.sowing
        for step in sowing.steps:
            ledger.require(
                step.to_date <= season.until, "steps end within the plan", name,
                f"{step.kind} ends after the last day.", season.until, step.to_date,
            )  # fmt: skip
        if name in season.standings or name in season.left:
            continue
        ledger.require(
            sowing.sow_date >= inputs.from_date, "nothing is sown in the past", name,
            "It would be sown before the first day.", inputs.from_date, sowing.sow_date,
        )  # fmt: skip
        ledger.require(
            season.can_sow_on(sowing.sow_date), "sown on a sowing day", name,
            f"Nobody sows on {sowing.sow_date:%A} {sowing.sow_date}.",
        )  # fmt: skip
        if sowing.steps:
            ledger.require(
                sowing.steps[-1].to_date > sowing.sow_date, "handed over after sowing", name,
                "It ends before it begins.",
            )  # fmt: skip


def check_groups(season: Season, ledger: Ledger) -> None:
    """Orders that share a sowing may share one."""
    for sowing in season.plan.sowings:
        orders = _orders_of(season, sowing)
        if len(orders) < 2 or season.is_given(sowing):
            continue
        name = sowing.sowing
        days = [each.wanted_date for each in orders]
        ledger.require(
            len(orders) <= GROUP_MOST, "at most 4 orders share a sowing", name,
            "More do.", GROUP_MOST, len(orders),
        )  # fmt: skip
        ledger.require(
            (max(days) - min(days)).days <= GROUP_WITHIN_D, "shared within 7 days", name,
            "The orders are wanted further apart.", GROUP_WITHIN_D, (max(days) - min(days)).days,
        )  # fmt: skip
        kinds = {(each.crop, each.system, each.handover, each.organic) for each in orders}
        ledger.require(
            len(kinds) == 1, "shared by orders of one kind", name,
            "Crop, system, handing over or organic demand differ.",
        )  # fmt: skip


def check_pins(season: Season, ledger: Ledger) -> None:
    """What the grower has fixed is as fixed."""
    for pin in season.pins:
        targets = [
            each
            for each in season.plan.sowings
            if each.sowing == pin.target or any(one.order == pin.target for one in each.orders)
        ]
        for sowing in targets:
            _check_pin(season, ledger, pin, sowing)


def _check_pin(season: Season, ledger: Ledger, pin: Pin, sowing: Sowing) -> None:
    """One pin on one sowing."""
    rule, name = "pins are kept", sowing.sowing
    if pin.container:
        used = [each.container for each in sowing.steps]
        ledger.require(
            pin.container in used, rule, name, f"{pin.target} is pinned to a container.",
            pin.container, " then ".join(dict.fromkeys(used)),
        )  # fmt: skip
    if pin.place:
        used = [each.place for each in sowing.steps]
        ledger.require(
            pin.place in used, rule, name, f"{pin.target} is pinned to a place.",
            pin.place, " then ".join(dict.fromkeys(used)),
        )  # fmt: skip
    if season.is_given(sowing):
        return
    if pin.seeds_per_cell is not None:
        ledger.require(
            sowing.seeds_per_cell == pin.seeds_per_cell, rule, name,
            f"{pin.target} is pinned to seeds per cell.",
            pin.seeds_per_cell, sowing.seeds_per_cell,
        )  # fmt: skip
    if pin.sow_date is not None:
        ledger.require(
            sowing.sow_date == pin.sow_date, rule, name, f"{pin.target} is pinned to a day.",
            pin.sow_date, sowing.sow_date,
        )  # fmt: skip
    if pin.not_before is not None:
        ledger.require(
            sowing.sow_date >= pin.not_before, rule, name, f"{pin.target} is pinned to not before.",
            pin.not_before, sowing.sow_date,
        )  # fmt: skip
    if pin.not_after is not None:
        ledger.require(
            sowing.sow_date <= pin.not_after, rule, name, f"{pin.target} is pinned to not after.",
            pin.not_after, sowing.sow_date,
        )  # fmt: skip


def _orders_of(season: Season, sowing: Sowing) -> list[Order]:
    """Return the wanted orders of a sowing."""
    return [season.orders[each.order] for each in sowing.orders if each.order in season.orders]
