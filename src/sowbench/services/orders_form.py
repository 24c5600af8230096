"""One order by hand: the same columns, and the same checks, as in a file of orders."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.exchange.orders import COLUMNS, check_orders, order_values
from sowbench.exchange.orders import order_cell as as_cell
from sowbench.exchange.tables import Records
from sowbench.science.errors import OutOfRangeError, UnknownNameError
from sowbench.services.book_inputs import house_of
from sowbench.services.house_day import day_in_house
from sowbench.services.orders_known import order_words, systems_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from sowbench.domain.ports import Unit
    from sowbench.domain.records import Order
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

_HERE: Final = "this order"
_NOT_CHANGED: Final = ("order", "repeat_every_d", "repeat_until")


@dataclass(frozen=True, slots=True)
class OrderForm:
    """An order to fill in.

    Attributes
    ----------
    name : str
        Name of the order that is changed; blank for a new one.
    values : dict of str to str
        Texts by column.
    problems : dict of str to str
        What is wrong, by column; "" is of the whole order.
    crops : tuple of (str, str)
        Crops to choose from: id and name.
    containers : tuple of (str, str)
        Containers to choose from: id and name.
    systems : tuple of str
        Where plants may go.
    customers : tuple of str
        Customers of open orders.
    confidence_frac : float
        Chance wanted by the house.
    today : date
        The day in the house.
    """

    name: str
    values: dict[str, str]
    problems: dict[str, str]
    crops: tuple[tuple[str, str], ...]
    containers: tuple[tuple[str, str], ...]
    systems: tuple[str, ...]
    customers: tuple[str, ...]
    confidence_frac: float
    today: date


def order_form(desk: Desk, name: str = "", values: Mapping[str, str] | None = None) -> OrderForm:
    """Show an order to fill in.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str, default ""
        Order to be changed; blank for a new one.
    values : mapping of str to str or None, default None
        Texts that are known already, by column.

    Returns
    -------
    form : OrderForm
        The form.

    Raises
    ------
    UnknownNameError
        If there is no order of that name.
    """
    with desk.book.reading() as unit:
        order = _order(unit, name) if name else None
        known = {} if order is None else _values_of(order)
        known |= {key: text for key, text in (values or {}).items() if key in COLUMNS}
        return _form(unit, desk, name, known, {})


def save_order(
    desk: Desk, name: str, values: Mapping[str, str], person: str = ""
) -> tuple[str, OrderForm | None]:
    """Keep an order that was filled in, or say what is wrong with it.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        Order to be changed; blank for a new one.
    values : mapping of str to str
        Texts by column.
    person : str, default ""
        Who fills it in.

    Returns
    -------
    saved : str
        Name under which it is kept; of a standing order that of its first drop.
    form : OrderForm or None
        The form with what is wrong; None if it was kept.

    Raises
    ------
    UnknownNameError
        If there is no order of that name.
    """
    texts = {key: values.get(key, "").strip()[:10_000] for key in COLUMNS}
    with desk.book.writing() as unit:
        _, catalog, _ = house_of(unit)
        known = _order(unit, name) if name else None
        if known is not None:
            texts |= dict.fromkeys(_NOT_CHANGED, "")
            texts["order"] = name
        elif not texts["order"]:
            texts["order"] = _free_name(unit)
        orders, problems = read_order(texts, catalog)
        if known is None and not problems:
            taken = sorted(unit.orders.named([texts["order"], *(each.id for each in orders)]))
            if taken or unit.orders_page.drops(None, texts["order"], 0.5):
                problems["order"] = (
                    f"There is an order {taken[0] if taken else texts['order']!r} already; give"
                    " this one another name, or leave the name blank."
                )
        if problems:
            if not values.get("order", "").strip() and "order" not in problems:
                texts["order"] = ""
            return "", _form(unit, desk, name, texts, problems)
        if known is not None:
            orders = [replace(each, standing_of=known.standing_of) for each in orders]
        reason = "changed by hand" if known is not None else "entered by hand"
        unit.orders.put(orders, desk.clock(), person, reason)
        unit.commit()
    return orders[0].id, None


def set_status(desk: Desk, name: str, status: str, reason: str = "", person: str = "") -> None:
    """Cancel an order, promise it, or take it as asked.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str
        The order, or a standing order: then of all its drops that still serve.
    status : str
        "asked", "promised" or "cancelled".
    reason : str, default ""
        Why.
    person : str, default ""
        Who says so.

    Raises
    ------
    UnknownNameError
        If there is no order of that name.
    OutOfRangeError
        If there is no such status.
    """
    if status not in {"asked", "promised", "cancelled"}:
        raise OutOfRangeError("status", "asked, promised or cancelled", repr(status))
    with desk.book.writing() as unit:
        today = day_in_house(unit, desk.clock())
        order = unit.orders.get(name)
        if order is not None:
            orders = [order]
        else:
            drops = unit.orders_page.drops(None, name, 0.5)
            orders = [each.order for each in drops if each.order.latest_date >= today]
        if not orders:
            raise UnknownNameError(name, "order")
        changed = [replace(each, status=status) for each in orders]
        unit.orders.put(changed, desk.clock(), person, reason.strip() or f"{status} by hand")
        unit.commit()


def read_order(values: Mapping[str, str], catalog: Catalog) -> tuple[list[Order], dict[str, str]]:
    """Read the texts of one order by the rules of a file.

    Parameters
    ----------
    values : mapping of str to str
        Texts by column.
    catalog : Catalog
        The reference with the house's own values.

    Returns
    -------
    orders : list of Order
        The order, or the drops of a standing one; none if anything is wrong.
    problems : dict of str to str
        What is wrong, by column; "" is of the whole order.
    """
    records = Records(
        file=_HERE,
        columns=dict(enumerate(COLUMNS)),
        others={},
        numbers=[2],
        records=[[values.get(each, "") for each in COLUMNS]],
        problems=[],
        plain=True,
    )
    checked = check_orders(records, words=order_words(catalog))
    problems: dict[str, str] = {}
    for each in checked.problems:
        problems.setdefault(each.column or "", each.message)
    return ([] if problems else list(checked.orders)), problems


def _values_of(order: Order) -> dict[str, str]:
    """Return the texts of an order by column."""
    texts = {key: as_cell(value) for key, value in order_values(order).items()}
    for column in ("earliest_on", "latest_on"):
        if texts.get(column) == texts["wanted_on"]:
            texts[column] = ""
    return texts


def _order(unit: Unit, name: str) -> Order:
    """Return an order that must be there."""
    order = unit.orders.get(name)
    if order is None:
        raise UnknownNameError(name, "order")
    return order


def _free_name(unit: Unit) -> str:
    """Return a name that no order has: the number of the next one."""
    number = unit.orders_page.n_orders() + 1
    while True:
        names = [f"order {each}" for each in range(number, number + 100)]
        known = unit.orders.named(names)
        free = next((each for each in names if each not in known), "")
        if free:
            return free
        number += len(names)


def _form(
    unit: Unit, desk: Desk, name: str, values: dict[str, str], problems: dict[str, str]
) -> OrderForm:
    """Put a form together."""
    house, catalog, _ = house_of(unit)
    today = day_in_house(unit, desk.clock())
    stock = [each.container for each in house.stock] or list(catalog.containers)
    return OrderForm(
        name=name,
        values={each: values.get(each, "") for each in COLUMNS},
        problems=problems,
        crops=tuple(
            sorted(
                ((each.id, each.name) for each in catalog.crops.values()),
                key=lambda pair: pair[1].casefold(),
            )
        ),
        containers=tuple(
            (each, catalog.containers[each].name) for each in stock if each in catalog.containers
        ),
        systems=systems_of(catalog),
        customers=tuple(unit.orders_page.customers(today)),
        confidence_frac=house.confidence_frac,
        today=today,
    )
