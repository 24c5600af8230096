"""The first steps: what an empty book needs, what each part gives, and taking it in."""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Final, TypeVar

from sowbench.demo import DEMO_FROM_DATE
from sowbench.exchange.seed import read_seed
from sowbench.exchange.standing import read_standing
from sowbench.exchange.tables import decode_text
from sowbench.exchange.weather import read_weather
from sowbench.science.errors import InputFileError, Problem, SowbenchError
from sowbench.services import wording
from sowbench.services.begin_files import SampleFile, samples_for
from sowbench.services.begin_refused import Refused
from sowbench.services.book_inputs import (
    HOUSE_FILE,
    base_name,
    house_of,
    put_inputs,
    read_house_text,
    weather_name,
)
from sowbench.services.demo import lay_out_demo
from sowbench.services.desk import TODAY_SETTING
from sowbench.services.form_file import read_upload

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

T = TypeVar("T")

_MOST_BYTES: Final = 8 * 1024 * 1024
"""Largest file of these: a typical year of hours takes 2 MB, a thousand lots 100 kB."""

_REASON: Final = "taken in from a file"


class NotEmptyError(SowbenchError):
    """The demo was to go into a book that is not empty.

    Parameters
    ----------
    has : str
        What the book has.
    """

    def __init__(self, has: str) -> None:
        super().__init__(has)
        self.has = has

    def __str__(self) -> str:
        """Return the message in the house's form."""
        return (
            f"The demo must go into an empty book; this one has {self.has}. Open another: "
            "sowbench serve --data, with a new folder."
        )


@dataclass(frozen=True, slots=True)
class BeginStep:
    """One part of a book that is begun.

    Attributes
    ----------
    part : str
        orders, house, seed or standing.
    title : str
        What it is.
    gives : str
        What it gives.
    without : str
        What stands in for it as long as it is not there.
    has : str
        What the book has of it; blank if nothing.
    needed : bool
        Whether nothing can be planned without it.
    address : str
        Page on which it is looked at and changed.
    action : str
        Where its file is sent.
    samples : tuple of SampleFile
        Files that show what it looks like.
    """

    part: str
    title: str
    gives: str
    without: str
    has: str
    needed: bool
    address: str
    action: str
    samples: tuple[SampleFile, ...]


@dataclass(frozen=True, slots=True)
class BeginView:
    """What the page of the first steps shows.

    Attributes
    ----------
    heading : str
        What is so now.
    steps : tuple of BeginStep
        The parts, in the order in which they are given.
    empty : bool
        Whether nothing is in the book, so that the demo can go into it.
    demo : bool
        Whether the day in the house is fixed, as in the demo.
    today : str
        The day in the house.
    ready : bool
        Whether there is anything to plan.
    planned : bool
        Whether a plan is followed already.
    house : str
        Name of the house; blank if there is none.
    said : str
        What was just taken in; blank if nothing.
    refused : Refused or None
        The file that was just refused.
    """

    heading: str
    steps: tuple[BeginStep, ...]
    empty: bool
    demo: bool
    today: str
    ready: bool
    planned: bool
    house: str
    said: str = ""
    refused: Refused | None = None


def begin_view(desk: Desk, said: str = "", refused: Refused | None = None) -> BeginView:
    """Gather how far a book is begun.

    Parameters
    ----------
    desk : Desk
        The desk.
    said : str, default ""
        What was just taken in.
    refused : Refused or None, default None
        A file that was just refused.

    Returns
    -------
    view : BeginView
        What the page shows.
    """
    today = desk.today()
    with desk.book.reading() as unit:
        n_orders = unit.orders_page.n_orders()
        n_lots = len(unit.lots.all())
        n_standing = len(unit.standings.all())
        planned = unit.plans.current() is not None
        house_kept = unit.houses.current() is not None
        demo = bool(unit.settings.get(TODAY_SETTING))
        house_words, house_name = _house_words(unit) if house_kept else ("", "")
    has = {
        "orders": wording.count(n_orders, "order") if n_orders else "",
        "house": house_words,
        "seed": wording.count(n_lots, "lot") if n_lots else "",
        "standing": wording.count(n_standing, "sowing") if n_standing else "",
    }
    return BeginView(
        heading="Nothing was taken in" if refused else _heading(n_orders, planned=planned),
        steps=tuple(_step(part, has[part]) for part in _STEPS),
        empty=not (planned or any(has.values())),
        demo=demo,
        today=wording.day(today, year=True),
        ready=n_orders > 0,
        planned=planned,
        house=house_name,
        said=said,
        refused=refused,
    )


_STEPS: Final = {
    "orders": (
        "Orders",
        "Who wants how many of what, and on which day. Everything is counted back from here.",
        "Nothing can be planned without them.",
        "/orders",
        "/orders/take-in/file",
    ),
    "house": (
        "The house",
        (
            "Where trays can stand and how warm it is there, who works when, which trays you own, "
            "your prices. With the weather of a typical year, sowing days follow your own spring."
        ),
        "A windowsill in a heated room stands in for it.",
        "/house",
        "/begin/house",
    ),
    "seed": (
        "Seed",
        (
            "Your lots with their germination tests: how many seeds to a cell, how many cells to "
            "sow, what to buy and by when."
        ),
        "Seed is bought for every sowing, and germinates as a usual lot of its crop does.",
        "/seed",
        "/begin/seed",
    ),
    "standing": (
        "What stands already",
        "Sowings that are in the house today take room and hands, and fill orders.",
        "The house is taken to be empty.",
        "/sowings",
        "/begin/standing",
    ),
}


def _step(part: str, has: str) -> BeginStep:
    title, gives, without, address, action = _STEPS[part]
    return BeginStep(
        part=part,
        title=title,
        gives=gives,
        without=without,
        has=has,
        needed=part == "orders",
        address=address,
        action=action,
        samples=samples_for(part),
    )


def _heading(n_orders: int, *, planned: bool) -> str:
    """Say what is so now."""
    if planned:
        return "The season is planned"
    if n_orders:
        return f"{wording.count(n_orders, 'order')} can be planned now"
    return "This book is empty: give it orders, and it can plan"


def _house_words(unit: Unit) -> tuple[str, str]:
    """Say what house the book has, even one that can no longer be read; and its name."""
    try:
        house, _, weather = house_of(unit)
    except InputFileError as error:
        return f"a house that cannot be read: {error.problems[0].message}", ""
    words = f"{house.name}: {wording.count(len(house.places), 'place')}"
    return (words if weather is None else f"{words}, with its weather"), house.name


def take_in_demo(desk: Desk) -> int:
    """Take the invented nursery into an empty book, and fix the day in the house.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    n_orders : int
        Orders that were taken in.

    Raises
    ------
    NotEmptyError
        If the book has anything already.
    InputFileError
        If the demo's weather is not installed.
    """
    with tempfile.TemporaryDirectory(prefix="sowbench-") as folder, desk.book.writing() as unit:
        counts = {
            "order": unit.orders_page.n_orders(),
            "lot": len(unit.lots.all()),
            "version of a house": len(unit.houses.versions()),
            "standing sowing": len(unit.standings.all()),
        }
        has = [wording.count(n, noun) for noun, n in counts.items() if n]
        if has or unit.plans.current() is not None:
            raise NotEmptyError(wording.listed(has) or "a plan")
        laid = lay_out_demo(Path(folder))
        taken = put_inputs(unit, laid.files, laid.from_date, desk.clock(), "demo")
        unit.settings.put(TODAY_SETTING, DEMO_FROM_DATE.isoformat())
        unit.commit()
    return taken.n_orders


def take_in_house(
    desk: Desk,
    file: str,
    content: bytes,
    weather_file: str = "",
    weather: bytes = b"",
    person: str = "",
) -> str:
    """Take in house.toml, with the weather that it names, or the weather alone.

    Parameters
    ----------
    desk : Desk
        The desk.
    file : str
        Name of the file as given.
    content : bytes
        house.toml; empty if only the weather is given.
    weather_file : str, default ""
        Name of the weather file as given.
    weather : bytes, default b""
        Its content; empty if none is given.
    person : str, default ""
        Who gives it.

    Returns
    -------
    said : str
        What was taken in.

    Raises
    ------
    InputFileError
        With every problem; nothing is taken then.
    """
    shown = base_name(file) or HOUSE_FILE
    weather_shown = base_name(weather_file)
    _check_size(shown, content, may_be_empty=bool(weather))
    if weather:
        _check_size(weather_shown, weather)
    now = desk.clock()
    with desk.book.writing() as unit:
        kept = unit.houses.current()
        text = decode_text(shown, content, "Save it as UTF-8.") if content else ""
        if not content:
            if kept is None:
                rule = "The book has no house yet: give house.toml with it."
                raise InputFileError([Problem(weather_shown, None, None, None, rule)])
            text = kept.text
        named = weather_name(text)
        if weather and named != weather_shown:
            rule = f'[house] must say weather = "{weather_shown}" for this file to count.'
            raise InputFileError([Problem(shown, None, "weather", named or None, rule)])
        year = weather or (unit.files.get(named) if named else None)
        if named and not year:
            rule = f"house.toml names the weather file {named!r}: give it beside it."
            raise InputFileError([Problem(shown, None, "weather", named, rule)])
        if weather:
            _checked(weather_shown, weather, read_weather)
        house, _, _ = read_house_text(text, year)
        if weather:
            unit.files.put(named, weather, now)
        if content:
            unit.houses.put(text, now, person, _REASON)
        unit.commit()
    return f"{house.name}: {wording.count(len(house.places), 'place')} taken in."


def take_in_seed(desk: Desk, file: str, content: bytes, person: str = "") -> str:
    """Take in seed.csv, or a workbook with the same headers.

    Parameters
    ----------
    desk : Desk
        The desk.
    file : str
        Name of the file as given.
    content : bytes
        Its content.
    person : str, default ""
        Who gives it.

    Returns
    -------
    said : str
        What was taken in.

    Raises
    ------
    InputFileError
        With every problem; nothing is taken then.
    """
    shown = base_name(file) or "seed.csv"
    _check_size(shown, content)
    with desk.book.writing() as unit:
        catalog = house_of(unit)[1]
        read = _checked(shown, content, lambda path: read_seed(path, resolve_crop=catalog.crop_id))
        n = unit.lots.put(read.lots, desk.clock(), person, _REASON)
        unit.commit()
    return _said(len(read.lots), n, "lot", read.notes)


def take_in_standing(desk: Desk, file: str, content: bytes, person: str = "") -> str:
    """Take in standing.csv, or a workbook with the same headers.

    Parameters
    ----------
    desk : Desk
        The desk.
    file : str
        Name of the file as given.
    content : bytes
        Its content.
    person : str, default ""
        Who gives it.

    Returns
    -------
    said : str
        What was taken in.

    Raises
    ------
    InputFileError
        With every problem; nothing is taken then.
    """
    shown = base_name(file) or "standing.csv"
    _check_size(shown, content)
    with desk.book.writing() as unit:
        house, catalog, _ = house_of(unit)
        orders = unit.orders.all()
        names = {each.id for each in orders} | {each.standing_of for each in orders}
        read = _checked(
            shown,
            content,
            lambda path: read_standing(
                path,
                resolve_crop=catalog.crop_id,
                container_cells={name: each.cells for name, each in catalog.containers.items()},
                places=[each.name for each in house.places],
                orders=names,
                resolve_container=lambda name: catalog.container(name).id,
            ),
        )
        n = unit.standings.put(read.standing, desk.clock(), person, _REASON)
        unit.commit()
    return _said(len(read.standing), n, "sowing", read.notes)


def _checked(file: str, content: bytes, reader: Callable[[Path], T]) -> T:
    """Read a file that was sent in."""
    read, problems = read_upload(file, content, reader)
    if read is None:
        raise InputFileError(problems)
    return read


def _check_size(file: str, content: bytes, *, may_be_empty: bool = False) -> None:
    """Refuse a file that is empty or too large."""
    if not content and not may_be_empty:
        rule = "No file was chosen, or it is empty; choose one and send it again."
        raise InputFileError([Problem(file, None, None, None, rule)])
    if len(content) > _MOST_BYTES:
        rule = f"is larger than {_MOST_BYTES // 2**20} MB; is this the right file?"
        raise InputFileError([Problem(file, None, None, f"{len(content)} bytes", rule)])


def _said(n_read: int, n_new: int, noun: str, notes: Sequence[str]) -> str:
    """Say what was taken in."""
    same = "" if n_new == n_read else f" ({n_read - n_new} of them the book had just so)"
    return " ".join([f"{wording.count(n_read, noun)} taken in{same}.", *notes])
