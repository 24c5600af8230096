"""Containers out of ``containers.csv``, as domain records with a fact for every value."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from functools import cache
from typing import Final

from sowbench.domain.records import Container, ContainerClass, Fact
from sowbench.reference.tables import number, read_table
from sowbench.science.errors import OutOfRangeError, UnknownNameError

__all__ = ["CONTAINER_KEYS", "own_container", "reference_containers"]

# Value of a container: label, unit, least and most; None for words and flags.
CONTAINER_KEYS: Final[Mapping[str, tuple[str, str, float | None, float | None]]] = {
    "name": ("name", "", None, None),
    "kind": ("kind", "", None, None),
    "container_class": ("class", "", None, None),
    "cells": ("cells, cubes, pots or pellets", "", 1, 5000),
    "rows": ("rows across", "", 1, 100),
    "cols": ("cells in a row", "", 1, 200),
    "outer_length_mm": ("outer length", "mm", 20, 3000),
    "outer_width_mm": ("outer width", "mm", 20, 3000),
    "cell_top_mm": ("width at the top", "mm", 3, 600),
    "cell_bottom_mm": ("width at the bottom", "mm", 1, 600),
    "depth_mm": ("depth", "mm", 3, 600),
    "cell_shape": ("shape", "", None, None),
    "cell_volume_ml": ("volume of one", "ml", 0.2, 50_000),
    "takes_mix": ("filled with mix", "", None, None),
    "reusable": ("used again", "", None, None),
    "price": ("price of one lifted unit", "money", 0, 10_000),
    "organic_ok": ("fit for organic growing", "", None, None),
}
_FLAGS: Final = frozenset({"takes_mix", "reusable", "organic_ok"})
_WORDS: Final = frozenset({"name", "kind", "container_class", "cell_shape"})
_CHOSEN: Final = frozenset({"takes_mix", "reusable", "price", "organic_ok", "name", "kind"})
_NEEDED: Final = (
    "container_class", "cells", "outer_length_mm", "outer_width_mm", "cell_volume_ml",
)  # fmt: skip
# What [[container]] of a house may say beside the values: its stock.
_BESIDE: Final = frozenset({"id", "like", "in_stock", "back_after_d", "wash_d", "per_rack", "note"})


@cache
def reference_containers() -> Mapping[str, Container]:
    """Every container of the reference, by id."""
    published = {row["container"]: row for row in read_table("data/crops/containers.csv")}
    found = {}
    for row in read_table("containers.csv"):
        facts = _facts(row, published)
        found[row["id"]] = _record(row["id"], facts)
    return found


def _facts(row: Mapping[str, str], published: Mapping[str, Mapping[str, str]]) -> dict[str, Fact]:
    """A fact for every value: printed by the source, chosen, or inferred by a stated rule."""
    inferred: dict[str, tuple[str, str]] = {}
    for each in row["inferred"].split(" | "):
        if each:
            column, basis, rule = each.split(": ", 2)
            inferred[column] = (basis, rule)
    facts = {}
    for key, (_, unit, _, _) in CONTAINER_KEYS.items():
        value = _value(key, row[key], row["id"])
        basis, why = inferred.get(key, (row["basis"], ""))
        source = row["source"]
        if key in _CHOSEN or key == "container_class":
            basis, source = "assumption", "assumption"
            why = _why_chosen(key)
        low = high = None
        if key == "cell_volume_ml":
            low, high = number(row["volume_low_ml"]), number(row["volume_high_ml"])
        others = tuple(
            fact
            for name in row["other_rows"].split(";")
            if name and (fact := _other(key, unit, published[name])) is not None
        )
        facts[key] = Fact(key, value, unit, low, high, source, basis, why, others)
    if row["note"]:
        facts["note"] = Fact("note", row["note"], "", None, None, row["source"], row["basis"])
    return facts


def _why_chosen(key: str) -> str:
    """Say why a value that no source gives is what it is."""
    return {
        "price": "a generic level; set your own under [[container]]",
        "reusable": "rigid and polystyrene trays and pots come back; sheets and inserts do not",
        "organic_ok": "mineral wool and foam are not accepted for organic growing",
        "takes_mix": "cubes, pellets and paper plugs come ready",
    }.get(key, "")


def _other(key: str, unit: str, row: Mapping[str, str]) -> Fact | None:
    """What another source prints for the same value."""
    if key in _CHOSEN or not row.get(key):
        return None
    text = row[key]
    value: float | str = text if number(text) is None else float(text)
    basis = "from memory" if row["basis"] == "memory" else "seen"
    return Fact(key, value, unit, None, None, row["source_id"], basis, row["container"])


def _value(key: str, text: object, whose: str) -> float | str | bool | None:
    """Check one value against its kind and limits."""
    name = f"{key} of {whose}"
    _, unit, least, most = CONTAINER_KEYS[key]
    if text is None or text == "":
        return None
    if key in _FLAGS:
        if isinstance(text, bool):
            return text
        if text in {"yes", "no"}:
            return text == "yes"
        raise OutOfRangeError(name, "yes or no", text)
    if key == "container_class":
        if text not in set(ContainerClass):
            raise OutOfRangeError(name, f"one of {', '.join(ContainerClass)}", text)
        return str(text)
    if key in _WORDS:
        return str(text)
    rule = f"a number from {least:g} to {most:g} {unit}".rstrip()
    if isinstance(text, bool) or not isinstance(text, int | float | str):
        raise OutOfRangeError(name, rule, text)
    try:
        value = float(text)
    except ValueError as error:
        raise OutOfRangeError(name, rule, text) from error
    if least is None or most is None or not least <= value <= most:
        raise OutOfRangeError(name, rule, text)
    return value


def _record(container: str, facts: Mapping[str, Fact]) -> Container:
    """Make the record from its facts."""

    def num(key: str) -> float | None:
        value = facts[key].value if key in facts else None
        return float(value) if isinstance(value, int | float) else None

    def sure(key: str) -> float:
        value = num(key)
        if value is None:
            raise OutOfRangeError(f"{key} of {container}", "given", None)
        return value

    rows, cols, cells = num("rows"), num("cols"), int(sure("cells"))
    if rows is not None and cols is not None and rows * cols != cells:
        rule = f"rows x cells in a row, {rows:g} x {cols:g} = {rows * cols:g}"
        raise OutOfRangeError(f"cells of {container}", rule, cells)
    return Container(
        id=container,
        name=str(facts["name"].value),
        kind=str(facts["kind"].value),
        container_class=ContainerClass(str(facts["container_class"].value)),
        cells=cells,
        rows=None if rows is None else int(rows),
        cols=None if cols is None else int(cols),
        outer_length_mm=sure("outer_length_mm"),
        outer_width_mm=sure("outer_width_mm"),
        cell_top_mm=num("cell_top_mm"),
        cell_bottom_mm=num("cell_bottom_mm"),
        depth_mm=num("depth_mm"),
        cell_shape=str(facts["cell_shape"].value),
        cell_volume_ml=sure("cell_volume_ml"),
        takes_mix=bool(facts["takes_mix"].value),
        reusable=bool(facts["reusable"].value),
        price=sure("price"),
        organic_ok=bool(facts["organic_ok"].value),
        facts=dict(facts),
    )


_NEW_DEFAULTS: Final[Mapping[str, str | float | bool]] = {
    "cell_shape": "square",
    "takes_mix": True,
    "reusable": False,
    "price": 0.0,
    "organic_ok": True,
}
_KIND_OF_CLASS: Final = {
    "plug": "plug tray",
    "cube": "own cube",
    "pellet": "peat pellet",
    "block": "own block",
    "pot": "pot",
}


def own_container(own: Mapping[str, object], known: Mapping[str, Container]) -> Container:
    """Make a house's own container, or a reference one with the house's own values.

    Parameters
    ----------
    own : mapping
        Values by key of `CONTAINER_KEYS`, with ``id`` and perhaps ``like``.
    known : mapping of str to Container
        Containers that may be changed or borrowed from.

    Returns
    -------
    container : Container
        The record; what the house gave has the basis ``house``.

    Raises
    ------
    UnknownNameError
        If a key is no value of a container, or ``like`` names none.
    OutOfRangeError
        If a value is out of its limits, or a new container lacks one that it needs.
    """
    container = str(own.get("id", "")).strip()
    if not container:
        raise OutOfRangeError("id of a [[container]]", "given", own.get("id"))
    facts: dict[str, Fact] = {}
    like = str(own.get("like", "") or container)
    if like in known:
        facts = dict(known[like].facts)
        if like != container:
            facts = {key: replace(each, why=f"as {like}") for key, each in facts.items()}
    elif "like" in own:
        raise UnknownNameError.among(like, "container", known)
    for key, value in own.items():
        if key in _BESIDE:
            continue
        if key not in CONTAINER_KEYS:
            raise UnknownNameError.among(key, "value of a container", CONTAINER_KEYS)
        before = facts.get(key)
        others = () if before is None else (replace(before, others=()), *before.others)
        unit = CONTAINER_KEYS[key][1]
        facts[key] = Fact(key, _value(key, value, container), unit, None, None, "house file",
                          "house", "the house's own value", others)  # fmt: skip
    _fill_new(container, own, facts)
    return _record(container, facts)


def _fill_new(container: str, own: Mapping[str, object], facts: dict[str, Fact]) -> None:
    """Give a new container what it may leave out, and ask for what it may not."""
    missing = [key for key in _NEEDED if key not in facts]
    if missing:
        rule = f"given in full or like a known one; missing: {', '.join(missing)}"
        raise OutOfRangeError(f"[[container]] {container}", rule, sorted(own))
    class_ = str(facts["container_class"].value)
    defaults: dict[str, str | float | bool] = {
        "name": container,
        "kind": _KIND_OF_CLASS[class_],
        **_NEW_DEFAULTS,
    }
    for key, value in defaults.items():
        if key not in facts:
            facts[key] = Fact(key, value, CONTAINER_KEYS[key][1], None, None, "assumption",
                              "assumption", "not given in the house file")  # fmt: skip
