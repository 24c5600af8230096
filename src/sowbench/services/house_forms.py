"""Filling in one table of a house: texts to values, checked by the reader of house.toml."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import TYPE_CHECKING, Any, Final

from sowbench.exchange.fields import parse_day, parse_number, parse_whole
from sowbench.exchange.toml_edit import Edited, set_values, take_out
from sowbench.exchange.toml_tables import WEEKDAYS, weekday
from sowbench.reference.crop_keys import CROP_KEYS, Kind
from sowbench.science.errors import InputFileError, OutOfRangeError, Problem, UnknownNameError
from sowbench.services import wording
from sowbench.services.book_inputs import house_of, read_house_text, weather_name
from sowbench.services.house_fields import (
    FLAG_AS_CHOICE,
    LISTS,
    OWN_CONTAINER,
    TABLES,
    TITLES,
    FieldKind,
    HouseField,
    in_words,
    with_money,
)

if TYPE_CHECKING:
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

NEW_KEY: Final = "new_key"
NEW_VALUE: Final = "new_value"


@dataclass(frozen=True, slots=True)
class HouseForm:
    """One table of the house to fill in.

    ``at`` is which of a list of tables, None for a single one; ``more`` are fields that few need;
    ``others`` are problems elsewhere in the house; ``doubts`` are said and do not stop it.
    """

    table: str
    at: int | None
    title: str
    is_new: bool
    fields: tuple[HouseField, ...]
    more: tuple[HouseField, ...]
    values: Mapping[str, str]
    problems: Mapping[str, list[str]] = field(default_factory=dict)
    others: tuple[str, ...] = ()
    doubts: tuple[str, ...] = ()
    offered: Mapping[str, tuple[tuple[str, str], ...]] = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class HouseKept:
    """A house that was kept: its version, and whether its comments stayed."""

    version: int
    kept_comments: bool


def house_form(
    desk: Desk, table: str, at: int | None, values: Mapping[str, str] | None = None
) -> HouseForm:
    """Gather the form of one table.

    Parameters
    ----------
    desk : Desk
        The desk.
    table : str
        Name of the table, as ``place``.
    at : int or None
        Which of a list, from 0; beyond the last it is a new one.
    values : mapping of str to str or None, default None
        Texts to start from.

    Returns
    -------
    form : HouseForm
        The form.

    Raises
    ------
    UnknownNameError
        If there is no such table.
    """
    with desk.book.reading() as unit:
        return _form(unit, table, at, values)


def save_table(
    desk: Desk, table: str, at: int | None, values: Mapping[str, str], person: str = ""
) -> tuple[HouseKept | None, HouseForm | None]:
    """Keep one table that was filled in.

    Parameters
    ----------
    desk : Desk
        The desk.
    table : str
        Name of the table.
    at : int or None
        Which of a list, from 0; beyond the last it is added.
    values : mapping of str to str
        Texts by key; a blank takes the key out.
    person : str, default ""
        Who.

    Returns
    -------
    kept : HouseKept or None
        The new version; None if something is wrong.
    form : HouseForm or None
        The form with every problem; None once it is kept.

    Raises
    ------
    UnknownNameError
        If there is no such table.
    """
    with desk.book.writing() as unit:
        form = _form(unit, table, at, values)
        text = house_text(unit)
        changes, problems = _changes(form, _table_of(tomllib.loads(text), table, form.at), values)
        if problems:
            return None, _with(unit, form, values, problems, ())
        edited = set_values(text, table, form.at, changes)
        found = _check(unit, edited.text)
        if found:
            name = _table_name(edited.text, table, form.at)
            mine, others = _sorted_problems(found, name)
            return None, _with(unit, form, values, mine, others)
        if edited.text == text:
            version = unit.houses.current()
            return HouseKept(version.version if version else 0, kept_comments=True), None
        version_number = unit.houses.put(
            edited.text, desk.clock(), person, f"{form.title.lower()} changed"
        )
        unit.commit()
        return HouseKept(version_number, edited.kept_comments), None


def take_table_out(
    desk: Desk, table: str, at: int, person: str = ""
) -> tuple[HouseKept | None, tuple[str, ...]]:
    """Take one of a list of tables out of the house.

    Parameters
    ----------
    desk : Desk
        The desk.
    table : str
        Name of the table.
    at : int
        Which, from 0.
    person : str, default ""
        Who.

    Returns
    -------
    kept : HouseKept or None
        The new version; None if the house would not be right without it.
    problems : tuple of str
        What would be wrong.

    Raises
    ------
    UnknownNameError
        If there is no such table.
    """
    with desk.book.writing() as unit:
        text = house_text(unit)
        tables = tomllib.loads(text).get(table, [])
        if table not in LISTS or not isinstance(tables, list) or at >= len(tables):
            raise UnknownNameError(f"{table} {at + 1}", "part of the house")
        edited: Edited = take_out(text, table, at)
        found = _check(unit, edited.text)
        if found:
            return None, tuple(str(each) for each in found)
        name = tables[at].get("name", tables[at].get("id", table))
        version = unit.houses.put(edited.text, desk.clock(), person, f"{name} taken out")
        unit.commit()
    return HouseKept(version, edited.kept_comments), ()


def house_text(unit: Unit) -> str:
    """Return house.toml as the book has it; blank where it has none.

    Parameters
    ----------
    unit : Unit
        A unit of work of the book.

    Returns
    -------
    text : str
        The text.
    """
    version = unit.houses.current()
    return "" if version is None else version.text


def shown_value(value: object) -> str:
    """Write a value of house.toml as it is filled in.

    Parameters
    ----------
    value : object
        As `tomllib` gives it.

    Returns
    -------
    text : str
        Lists with commas, weekday minutes as "Mon 240, Thu 480".
    """
    if value is None:
        return ""
    if isinstance(value, bool):
        return "yes" if value else "no"
    if isinstance(value, float):
        return f"{value:.10g}"
    if isinstance(value, Mapping):
        return ", ".join(f"{key} {shown_value(each)}" for key, each in value.items())
    if isinstance(value, list):
        return ", ".join(shown_value(each) for each in value)
    return str(value)


def _form(unit: Unit, table: str, at: int | None, values: Mapping[str, str] | None) -> HouseForm:
    """Gather a form within a unit of work."""
    if table not in TITLES:
        raise UnknownNameError.among(table, "part of the house", TITLES)
    document = tomllib.loads(house_text(unit))
    n_tables = len(document.get(table, [])) if table in LISTS else 0
    at = min(max(at or 0, 0), n_tables) if table in LISTS else None
    known = _table_of(document, table, at)
    texts = {key: shown_value(value) for key, value in known.items()} if values is None else values
    fields = TABLES.get(table, ())
    more: tuple[HouseField, ...] = ()
    if table == "container":
        more = OWN_CONTAINER
    elif table == "crop":
        fields = _crop_fields(known)
    offered = _offered(unit, table)
    currency = str(document.get("prices", {}).get("currency", ""))
    return HouseForm(
        table=table,
        at=at,
        title=TITLES[table],
        is_new=at is not None and at == n_tables,
        fields=with_money(fields, currency),
        more=with_money(more, currency),
        values=texts,
        doubts=_doubts(unit, table, known),
        offered=offered,
    )


def _with(
    unit: Unit,
    form: HouseForm,
    values: Mapping[str, str],
    problems: Mapping[str, list[str]],
    others: Sequence[str],
) -> HouseForm:
    """Lay problems over a form, in the words of its labels."""
    own = (*form.fields, *form.more)
    said = {key: [in_words(each, own) for each in found] for key, found in problems.items()}
    every = [field for fields in TABLES.values() for field in fields]
    return HouseForm(
        form.table, form.at, form.title, form.is_new, form.fields, form.more, dict(values), said,
        tuple(in_words(each, every) for each in others), form.doubts, _offered(unit, form.table),
    )  # fmt: skip


def _table_of(document: Mapping[str, Any], table: str, at: int | None) -> Mapping[str, Any]:
    """Return one table; empty where it is not there yet."""
    found = document.get(table, {} if at is None else [])
    if at is None:
        return found if isinstance(found, Mapping) else {}
    return found[at] if at < len(found) and isinstance(found[at], Mapping) else {}


def _crop_fields(known: Mapping[str, Any]) -> tuple[HouseField, ...]:
    """List the fields of a crop's own values: those that are there."""
    found = [HouseField("id", "Crop", help="a crop of the handbook, or one of your own")]
    for key in known:
        spec = CROP_KEYS.get(key)
        if key == "id" or isinstance(known[key], Mapping):
            continue
        label = spec.label if spec else key
        found.append(HouseField(key, label, _kind_of(key), spec.unit if spec else ""))
    return tuple(found)


def _kind_of(key: str) -> FieldKind:
    """Say how a value of a crop is filled in."""
    spec = CROP_KEYS.get(key)
    if spec is None or spec.kind in {Kind.TEXT, Kind.SPAN}:
        return FieldKind.TEXT
    return {
        Kind.NUMBER: FieldKind.NUMBER,
        Kind.WHOLE: FieldKind.WHOLE,
        Kind.FLAG: FieldKind.FLAG,
        Kind.LIST: FieldKind.LIST,
    }[spec.kind]


def _offered(unit: Unit, table: str) -> dict[str, tuple[tuple[str, str], ...]]:
    """List what may be chosen where the list depends on the book or the handbook."""
    if table == "house":
        return {"weather": tuple((each, each) for each in unit.files.names())}
    if table not in {"container", "machine", "crop"}:
        return {}
    try:
        _, catalog, _ = house_of(unit)
    except InputFileError:
        return {}
    if table == "crop":
        crops = sorted((each.id, each.name) for each in catalog.crops.values())
        keys = tuple(
            (key, f"{spec.label}{f' [{spec.unit}]' if spec.unit else ''}, {key}")
            for key, spec in CROP_KEYS.items()
        )
        return {"id": tuple(crops), NEW_KEY: keys}
    containers = tuple(sorted((each.id, each.name) for each in catalog.containers.values()))
    return {"id": containers, "containers": containers}


def _doubts(unit: Unit, table: str, known: Mapping[str, Any]) -> tuple[str, ...]:
    """Say what hangs on a place."""
    name = known.get("name")
    if table != "place" or not isinstance(name, str):
        return ()
    there = unit.season_page.trays_now([name])
    n_trays = sum(each.n_trays for each in there)
    if not n_trays:
        return ()
    said = (
        f"{wording.count(n_trays, 'tray')} stand in {name} now. Under another name the place is"
        " empty until they are moved there."
    )
    return (said,)


def _changes(
    form: HouseForm, known: Mapping[str, Any], values: Mapping[str, str]
) -> tuple[dict[str, object], dict[str, list[str]]]:
    """Read the texts; what is as it was is left alone."""
    changes: dict[str, object] = {}
    problems: dict[str, list[str]] = {}
    for each in (*form.fields, *form.more):
        text = _text(each, values)
        if text == shown_value(known.get(each.key)):
            continue
        value = _value(each, text)
        if isinstance(value, _Wrong):
            problems[each.key] = [value.message]
        elif not (each.kind is FieldKind.FLAG and value is False and each.key not in known):
            changes[each.key] = value
    new_key, new_value = values.get(NEW_KEY, "").strip(), values.get(NEW_VALUE, "").strip()
    if new_key or new_value:
        if new_key not in CROP_KEYS:
            error = UnknownNameError.among(new_key, "value of a crop", CROP_KEYS)
            problems[NEW_KEY] = [str(error) if new_key else "Choose which value it is."]
        else:
            value = _value(HouseField(new_key, new_key, _kind_of(new_key)), new_value)
            if isinstance(value, _Wrong):
                problems[NEW_VALUE] = [value.message]
            else:
                changes[new_key] = value
    return changes, problems


def _text(of: HouseField, values: Mapping[str, str]) -> str:
    """Return what was filled in; of weekdays, those that were ticked."""
    if of.kind is FieldKind.WEEKDAYS and of.key not in values:
        return ", ".join(each for each in WEEKDAYS if values.get(f"{of.key}.{each}"))
    return values.get(of.key, "").strip()


@dataclass(frozen=True, slots=True)
class _Wrong:
    """A text that is no value, with what would be right."""

    message: str


def _value(of: HouseField, text: str) -> object:
    """Read one text; None takes the key out."""
    if not text:
        return False if of.kind is FieldKind.FLAG else None
    if of.kind is FieldKind.NUMBER:
        value = parse_number(text)
        if isinstance(value, str):
            return _Wrong(f"{of.key} must be a number. {value}".strip())
        # A house file says 480, not 480.0, where a person wrote 480.
        return int(value) if value.is_integer() and "." not in text else value
    if of.kind is FieldKind.WHOLE:
        whole = parse_whole(text)
        if isinstance(whole, str):
            return _Wrong(f"{of.key} must be a whole number. {whole}".strip())
        return whole
    if of.kind is FieldKind.FLAG or of.key in FLAG_AS_CHOICE:
        folded = text.casefold()
        if folded in {"yes", "no", "true", "false"}:
            return folded in {"yes", "true"}
        return _Wrong(f"{of.key} must be yes or no.")
    parts = [each.strip() for each in re.split(r"[,|;]", text) if each.strip()]
    if of.kind is FieldKind.DAYS:
        return _days(of, parts)
    if of.kind in {FieldKind.LIST, FieldKind.WEEKDAYS}:
        return parts
    return _week(of, text, parts) if of.kind is FieldKind.WEEK else text


def _days(of: HouseField, parts: Sequence[str]) -> object:
    """Read several days."""
    found: list[date] = []
    for each in parts:
        day = parse_day(each)
        if isinstance(day, str):
            return _Wrong(f"{of.key}: {each} is no day. {day}".strip())
        found.append(day)
    return sorted(set(found))


def _week(of: HouseField, text: str, parts: Sequence[str]) -> object:
    """Read minutes by weekday, or one number for Monday to Friday."""
    number = parse_number(text)
    if isinstance(number, float):
        return int(number) if number.is_integer() else number
    found: dict[str, float] = {}
    for each in parts:
        name, _, amount = each.partition(" ")
        day, minutes = weekday(name), parse_number(amount.strip())
        if day is None or isinstance(minutes, str):
            return _Wrong(f"{of.key} must be as Mon 240, Thu 480; got {each}.")
        found[WEEKDAYS[day]] = int(minutes) if minutes.is_integer() else minutes
    return found


def _check(unit: Unit, text: str) -> list[Problem]:
    """Let the reader of house.toml check a text with the weather that the book has."""
    try:
        name = weather_name(text)
        read_house_text(text, unit.files.get(name) if name else None)
    except InputFileError as error:
        return error.problems
    except OutOfRangeError as error:
        return [Problem("house.toml", None, None, None, str(error))]
    return []


def _table_name(text: str, table: str, at: int | None) -> str:
    """Name a table as problems do."""
    if at is None:
        return f"[{table}]"
    values = tomllib.loads(text)[table][at]
    own = values.get("name", values.get("id"))
    return f'[[{table}]] {at + 1} "{own}"' if isinstance(own, str) and own else (
        f"[[{table}]] {at + 1}"
    )  # fmt: skip


def _sorted_problems(
    problems: Sequence[Problem], name: str
) -> tuple[dict[str, list[str]], list[str]]:
    """Part problems into those of a table's fields and those elsewhere."""
    mine: dict[str, list[str]] = {}
    others: list[str] = []
    for each in problems:
        column = each.column or ""
        got = "" if each.value is None else f" Got {each.value}."
        if column == name:
            mine.setdefault("", []).append(each.message)
        elif column.startswith(f"{name}."):
            key = column.removeprefix(f"{name}.").split(".")[0]
            mine.setdefault(key, []).append(each.message + got)
        else:
            others.append(f"{column}: {each.message}{got}" if column else each.message)
    return mine, others
