"""What the grower fixes by hand: the list of pins, and one pin to fill in."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Final

from sowbench.domain.records import Pin
from sowbench.exchange.pins import COLUMNS, read_pins
from sowbench.exchange.toml_tables import WEEKDAYS
from sowbench.science.errors import UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of
from sowbench.services.form_file import by_field, read_form
from sowbench.services.house_day import day_in_house
from sowbench.services.plan_body import plan_body

if TYPE_CHECKING:
    from sowbench.domain.book import PlanHead
    from sowbench.domain.ports import Unit
    from sowbench.domain.ports.season_page import Target
    from sowbench.domain.records import House
    from sowbench.reference.catalog import Catalog
    from sowbench.services.desk import Desk

FIELDS: Final = ("container", "seeds_per_cell", "sow_date", "place", "not_before", "not_after")
_MOST_TARGETS: Final = 400
_FILE: Final = "pins.csv"


@dataclass(frozen=True, slots=True)
class PinLine:
    """One pin in the list: what is pinned and to what, in words; ``doubt`` if it may not hold."""

    target: str
    is_sowing: bool
    crop: str
    words: str
    wishes: str
    doubt: str = ""


@dataclass(frozen=True, slots=True)
class PinsView:
    """The list of pins, and what can be pinned."""

    today: date
    lines: tuple[PinLine, ...]
    targets: tuple[Target, ...]
    plan_from: date | None


@dataclass(frozen=True, slots=True)
class PinForm:
    """A pin to fill in.

    ``values`` and ``problems`` go by field; ``doubts`` are said but do not keep it from being
    taken; ``planned`` is what the plan has now, by field, to start from.
    """

    today: date
    target: str
    is_sowing: bool
    crop: str
    words: str
    values: Mapping[str, str]
    planned: Mapping[str, str]
    places: tuple[str, ...]
    containers: tuple[tuple[str, str], ...]
    is_new: bool
    problems: Mapping[str, list[str]] = field(default_factory=dict)
    doubts: tuple[str, ...] = ()


def pins_view(desk: Desk) -> PinsView:
    """Gather the list of pins.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    view : PinsView
        What the page shows.
    """
    with desk.book.reading() as unit:
        today = day_in_house(unit, desk.clock())
        head = unit.plans.current()
        plan_id = None if head is None else head.id
        pins = unit.pins.all()
        house, catalog, _ = house_of(unit)
        orders = unit.orders.named([each.target for each in pins])
        targets = unit.season_page.targets(plan_id, today, _MOST_TARGETS)
    sowings = {each.name: each for each in targets if each.is_sowing}
    lines = []
    for pin in pins:
        order = orders.get(pin.target)
        sowing = sowings.get(pin.target)
        doubt = ""
        if order is not None:
            crop, words = order.crop, f"{order.plants:,} plants"
            words += f" for {order.customer}" if order.customer else ""
            if order.status == "cancelled":
                doubt = "the order is cancelled"
        elif sowing is not None:
            crop, words = sowing.crop, sowing.words
        else:
            crop, words = "", ""
            doubt = "no order and no coming sowing has this name any more"
        doubts = [doubt, *_doubts(pin, house, today)]
        lines.append(
            PinLine(
                target=pin.target,
                is_sowing=order is None,
                crop=_crop_name(crop, catalog),
                words=words,
                wishes=wording.listed(_wishes(pin, catalog)),
                doubt="; ".join(each for each in doubts if each),
            )
        )
    return PinsView(
        today=today,
        lines=tuple(lines),
        targets=tuple(targets),
        plan_from=None if head is None else head.from_date,
    )


def pin_form(desk: Desk, target: str, wishes: Mapping[str, str] | None = None) -> PinForm:
    """Gather the form of one pin.

    Parameters
    ----------
    desk : Desk
        The desk.
    target : str
        An order or a sowing of the plan.
    wishes : mapping of str to str or None, default None
        Values to start from in place of the pin's own, such as a place that was offered.

    Returns
    -------
    form : PinForm
        The form.

    Raises
    ------
    UnknownNameError
        If there is no such order or sowing.
    """
    with desk.book.reading() as unit:
        values = {**_values(_pin_of(unit, target)), **(wishes or {})}
        return _form(desk, unit, target, values)


def save_pin(
    desk: Desk, target: str, values: Mapping[str, str], person: str = ""
) -> PinForm | None:
    """Keep a pin that was filled in.

    Parameters
    ----------
    desk : Desk
        The desk.
    target : str
        An order or a sowing of the plan.
    values : mapping of str to str
        What was filled in, by field; `note` is kept as the reason.
    person : str, default ""
        Who.

    Returns
    -------
    form : PinForm or None
        None once it is kept; else the form with what is wrong.

    Raises
    ------
    UnknownNameError
        If there is no such order or sowing.
    """
    with desk.book.writing() as unit:
        form = _form(desk, unit, target, values)
        house, catalog, _ = house_of(unit)
        column = "sowing" if form.is_sowing else "order"
        read, problems = read_form(
            _FILE,
            COLUMNS,
            {**values, column: target},
            lambda path: read_pins(
                path,
                orders=[] if form.is_sowing else [target],
                sowings=[target] if form.is_sowing else [],
                containers=catalog.containers,
                places=[each.name for each in house.places],
                resolve_container=catalog.container_id,
            ),
        )
        found = by_field(problems)
        pin = read.pins[0] if read is not None and read.pins else None
        if pin is not None and pin.sow_date is not None and pin.sow_date < form.today:
            found["sow_date"] = [
                f"sow_date must not be before today ({form.today}); that day is over."
            ]
        if pin is not None and pin.not_after is not None and pin.not_after < form.today:
            found["not_after"] = [f"not_after must not be before today ({form.today})."]
        if pin is None or found:
            return _form(desk, unit, target, values, found)
        unit.pins.put([pin], desk.clock(), person, values.get("note", "").strip())
        unit.commit()
    return None


def take_out(desk: Desk, target: str, person: str = "") -> bool:
    """Take a pin out.

    Parameters
    ----------
    desk : Desk
        The desk.
    target : str
        What was pinned.
    person : str, default ""
        Who.

    Returns
    -------
    there : bool
        Whether there was such a pin.
    """
    with desk.book.writing() as unit:
        there = _pin_of(unit, target) is not None
        if there:
            unit.pins.put([Pin(target)], desk.clock(), person, "taken out")
            unit.commit()
    return there


def _form(
    desk: Desk,
    unit: Unit,
    target: str,
    values: Mapping[str, str],
    problems: Mapping[str, list[str]] | None = None,
) -> PinForm:
    """Gather a form within a unit of work."""
    today = day_in_house(unit, desk.clock())
    head = unit.plans.current()
    plan_id = None if head is None else head.id
    known = unit.season_page.target(plan_id, target)
    if known is None:
        names = [each.name for each in unit.season_page.targets(plan_id, today, _MOST_TARGETS)]
        raise UnknownNameError.among(target, "order or sowing", names)
    house, catalog, _ = house_of(unit)
    own = [each.container for each in house.stock] or sorted(catalog.containers)
    return PinForm(
        today=today,
        target=target,
        is_sowing=known.is_sowing,
        crop=_crop_name(known.crop, catalog),
        words=known.words,
        values={each: values.get(each, "").strip() for each in (*FIELDS, "note")},
        planned=_planned(unit, head, target) if known.is_sowing else {},
        places=tuple(each.name for each in house.places),
        containers=tuple(
            (each, catalog.containers[each].name) for each in own if each in catalog.containers
        ),
        is_new=_pin_of(unit, target) is None,
        problems=dict(problems or {}),
        doubts=_doubts_of_values(values, house, today),
    )


def _planned(unit: Unit, head: PlanHead | None, target: str) -> dict[str, str]:
    """Say what the plan has now for a sowing, by field."""
    sowings = () if head is None else plan_body(unit, head).sowings
    sowing = next((each for each in sowings if each.sowing == target), None)
    if sowing is None or not sowing.steps:
        return {}
    grows = [each for each in sowing.steps if each.kind.value in {"grow", "pot_on", "space"}]
    return {
        "container": sowing.steps[0].container,
        "seeds_per_cell": str(sowing.seeds_per_cell),
        "sow_date": sowing.sow_date.isoformat(),
        "place": (grows or sowing.steps)[0].place,
    }


def _pin_of(unit: Unit, target: str) -> Pin | None:
    """Find the pin of a target."""
    return next((each for each in unit.pins.all() if each.target == target), None)


def _values(pin: Pin | None) -> dict[str, str]:
    """Write a pin as texts of the form."""
    if pin is None:
        return {}
    found: dict[str, str] = {}
    for name in FIELDS:
        value = getattr(pin, name)
        found[name] = "" if value is None else str(value)
    return found


def _wishes(pin: Pin, catalog: Catalog) -> list[str]:
    """Say what a pin fixes."""
    parts = []
    if pin.container:
        record = catalog.containers.get(pin.container)
        parts.append(f"in {record.name if record else pin.container}")
    if pin.seeds_per_cell is not None:
        parts.append(f"{wording.count(pin.seeds_per_cell, 'seed')} a cell")
    if pin.sow_date is not None:
        parts.append(f"sown on {wording.day(pin.sow_date)}")
    if pin.place:
        parts.append(f"grown in {pin.place}")
    if pin.not_before is not None:
        parts.append(f"not sown before {wording.day(pin.not_before)}")
    if pin.not_after is not None:
        parts.append(f"not sown after {wording.day(pin.not_after)}")
    return parts


def _doubts(pin: Pin, house: House, today: date) -> list[str]:
    """Say why a pin may not hold."""
    found = []
    if pin.sow_date is not None:
        weekday = pin.sow_date.weekday()
        if pin.sow_date < today:
            found.append("its day of sowing is over")
        elif pin.sow_date in house.crew.closed:
            found.append(f"{wording.day(pin.sow_date)} is a closed day")
        elif weekday not in house.crew.sow_days:
            days = wording.listed([WEEKDAYS[each] for each in house.crew.sow_days])
            found.append(f"{wording.day(pin.sow_date)} is no day of sowing; those are {days}")
    if pin.place and pin.place not in {each.name for each in house.places}:
        found.append(f"the house has no place {pin.place} any more")
    return found


def _doubts_of_values(values: Mapping[str, str], house: House, today: date) -> tuple[str, ...]:
    """Say why a pin that is still texts may not hold."""
    try:
        sow_date = date.fromisoformat(values.get("sow_date", ""))
    except ValueError:
        return ()
    return tuple(_doubts(Pin("", sow_date=sow_date), house, today))


def _crop_name(crop: str, catalog: Catalog) -> str:
    """Return the name of a crop."""
    record = catalog.crops.get(crop)
    return record.name if record else crop
