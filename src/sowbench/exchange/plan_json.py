"""The plan out and in: plan.json under the names of the door, and back to the record."""

from __future__ import annotations

import math
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import msgspec

from sowbench.domain.plan import Plan
from sowbench.exchange.files import write_atomically
from sowbench.exchange.tables import decode_text, read_bytes
from sowbench.science.errors import InputFileError, OutOfRangeError, Problem

FORMAT = "sowbench-plan/1"
PRICED = ("place", "crew", "container", "machine", "lot", "order", "lot change")


def plan_to_json(plan: Plan) -> bytes:
    """Encode a plan as plan.json has it.

    Parameters
    ----------
    plan : Plan
        The plan.

    Returns
    -------
    data : bytes
        UTF-8 JSON, two blanks a level, keys in the order of formats; None is left out.

    Raises
    ------
    OutOfRangeError
        If a number of the plan is not finite, which JSON cannot say, or a price is of no known
        kind.
    """
    values = _without_none(msgspec.to_builtins(plan, enc_hook=_plain_number))
    _check_finite(values, "plan")
    for unmet in values["unmet"]:
        unmet["offers"] = [_filled(each) for each in unmet["offers"]]
    values["prices"] = [_price_out(each) for each in values["prices"]]
    ordered = {"format": values.pop("format"), **values}
    return msgspec.json.format(msgspec.json.encode(ordered), indent=2) + b"\n"


def plan_from_json(data: bytes, file: str = "plan.json") -> Plan:
    """Decode a plan.

    Parameters
    ----------
    data : bytes
        Content of a plan.json.
    file : str, default "plan.json"
        Name for messages.

    Returns
    -------
    plan : Plan
        The plan.

    Raises
    ------
    InputFileError
        If this is no JSON, no plan, or a plan of another version.
    """
    text = decode_text(file, data, "Write the plan again.")
    try:
        values = msgspec.json.decode(text)
    except (msgspec.DecodeError, RecursionError) as error:
        raise _refused(file, None, None, f"This is not JSON: {error}.") from None
    if not isinstance(values, dict):
        raise _refused(file, None, None, "A plan is one JSON object.")
    _check_format(file, values.get("format"))
    prices = values.get("prices")
    if isinstance(prices, list):
        values["prices"] = [_price_in(file, at, each) for at, each in enumerate(prices)]
    try:
        return msgspec.convert(values, Plan)
    except msgspec.ValidationError as error:
        what, _, where = str(error).partition(" - at ")
        raise _refused(file, where.strip("`") or None, None, f"{what}.") from None


def write_plan(plan: Plan, path: str | Path) -> None:
    """Write plan.json so that it is there whole or not at all.

    Parameters
    ----------
    plan : Plan
        The plan.
    path : str or Path
        File to write; an older one is replaced.

    Raises
    ------
    OutOfRangeError
        If the plan holds what JSON cannot say; nothing is written then.
    OSError
        If the file cannot be written; an older one is as it was then.
    """
    write_atomically(Path(path), plan_to_json(plan))


def read_plan(path: str | Path) -> Plan:
    """Read plan.json.

    Parameters
    ----------
    path : str or Path
        File to read.

    Returns
    -------
    plan : Plan
        The plan.

    Raises
    ------
    InputFileError
        If there is no such file, or it is no plan of this version.
    """
    return plan_from_json(read_bytes(path), str(path))


def _refused(file: str, where: str | None, value: str | None, message: str) -> InputFileError:
    """Make the error for a plan that cannot be used."""
    return InputFileError([Problem(file, None, where, value, message)])


def _check_format(file: str, found: object) -> None:
    """Refuse a plan of another version."""
    if found == FORMAT:
        return
    message = f"A plan begins with format {FORMAT!r}."
    name, _, version = found.partition("/") if isinstance(found, str) else ("", "", "")
    if name == FORMAT.partition("/")[0] and version.isascii() and version.isdigit():
        message = f"This sowbench reads {FORMAT!r}; plan again, or use the version that wrote it."
    raise _refused(file, "format", None if found is None else str(found)[:80], message)


def _plain_number(value: Any) -> Any:
    """Turn a number of numpy into a plain one."""
    item = getattr(value, "item", None)
    if item is None:
        raise TypeError(f"plan.json cannot hold {type(value).__name__}: {value!r}")
    return item()


def _filled(offer: Mapping[str, Any]) -> dict[str, Any]:
    """Drop what an offer leaves blank, so that it shows only what it would change."""
    return {key: value for key, value in offer.items() if value != "" or key == "kind"}


def _without_none(value: Any) -> Any:
    """Drop keys that hold None, at every depth."""
    if isinstance(value, dict):
        return {key: _without_none(each) for key, each in value.items() if each is not None}
    if isinstance(value, list | tuple):
        return [_without_none(each) for each in value]
    return value


def _check_finite(value: Any, where: str) -> None:
    """Refuse a number that JSON cannot say, naming its place in the plan."""
    if isinstance(value, dict):
        for key, each in value.items():
            _check_finite(each, f"{where}.{key}")
    elif isinstance(value, list):
        for at, each in enumerate(value):
            _check_finite(each, f"{where}[{at}]")
    elif isinstance(value, float) and not math.isfinite(value):
        raise OutOfRangeError(where, "a finite number", value)


def _price_out(price: Mapping[str, Any]) -> dict[str, Any]:
    """Name the priced thing by its kind, as plan.json does."""
    if price["kind"] not in PRICED:
        raise OutOfRangeError("kind of a price", f"one of {', '.join(PRICED)}", price["kind"])
    return {price["kind"]: price["name"], "date": price["date"], "price": price["price"]}


def _price_in(file: str, at: int, price: Any) -> dict[str, Any]:
    """Turn a price of plan.json into kind and name."""
    kinds = [each for each in PRICED if isinstance(price, dict) and each in price]
    if len(kinds) != 1:
        raise _refused(
            file,
            f"$.prices[{at}]",
            str(price)[:80],
            f"A price names exactly one of {', '.join(PRICED)}.",
        )
    rest = {key: value for key, value in price.items() if key != kinds[0]}
    return {"kind": kinds[0], "name": price[kinds[0]], **rest}
