"""Ready rules out of ``ready_rules.csv``, the house's own, and those borrowed from kin."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import fields, replace
from functools import cache
from math import hypot
from typing import Any, Final

from sowbench.domain.records import ContainerClass, ReadyRule
from sowbench.reference.tables import number, read_table
from sowbench.science.errors import OutOfRangeError, UnknownNameError

__all__ = ["RuleKey", "borrowed_rule", "house_rules", "reference_rules"]

RuleKey = tuple[str, ContainerClass, str]

# Doubt added, in quadrature, to the spread of a rule that is borrowed from kin (assumption).
KIN_SIGMA: Final = 0.15
_NUMBERS: Final = {
    "days_ref": (1.0, 400.0, "d"),
    "temp_ref_c": (0.0, 45.0, "°C"),
    "dli_ref_mol_m2_d": (0.1, 65.0, "mol m-2 d-1"),
    "sigma_growth": (0.0, 1.5, ""),
    "window_d_ref": (0.5, 200.0, "d"),
    "leaves": (0.0, 60.0, "true leaves"),
    "tone_d": (0.0, 60.0, "d"),
    "pot_on_d_ref": (0.0, 400.0, "d"),
    "space_d_ref": (0.0, 400.0, "d"),
    "space_plants_per_m2": (0.1, 10_000.0, "plants per m2"),
}


@cache
def reference_rules() -> Mapping[RuleKey, ReadyRule]:
    """Every rule of the reference by (crop, container class, system)."""
    rules = {}
    for row in read_table("ready_rules.csv"):
        first = row["pot_on_from_class"]
        rule = ReadyRule(
            crop=row["crop"],
            container_class=ContainerClass(row["container_class"]),
            system=row["system"],
            days_ref=float(row["days_ref"]),
            temp_ref_c=float(row["temp_ref_c"]),
            dli_ref_mol_m2_d=float(row["dli_ref_mol_m2_d"]),
            sigma_growth=float(row["sigma_growth"]),
            window_d_ref=float(row["window_d_ref"]),
            leaves=float(row["leaves"]),
            tone_d=int(float(row["tone_d"])),
            pot_on_d_ref=number(row["pot_on_d_ref"]),
            pot_on_from_class=ContainerClass(first) if first else None,
            space_d_ref=number(row["space_d_ref"]),
            space_plants_per_m2=number(row["space_plants_per_m2"]),
            words=row["words"],
            source=row["source"],
            basis=row["basis"],
        )
        rules[rule.crop, rule.container_class, rule.system] = rule
    return rules


def borrowed_rule(
    crop: str,
    container_class: ContainerClass,
    system: str,
    kin: Iterable[str],
    rules: Mapping[RuleKey, ReadyRule],
) -> ReadyRule | None:
    """Borrow a rule from the crop's kin, marked and with a wider spread.

    Parameters
    ----------
    crop : str
        Crop that has no rule of its own here.
    container_class : ContainerClass
        Class of the container.
    system : str
        System; ``any`` serves where kin has no rule for it.
    kin : iterable of str
        Crops of the same kin, in the order of the table.
    rules : mapping
        Rules by (crop, container class, system).

    Returns
    -------
    rule : ReadyRule or None
        A copy with the crop's name and the basis ``kin``; None if no kin has one.
    """
    for other in kin:
        for name in (system, "any"):
            found = rules.get((other, container_class, name))
            if found is not None and found.basis != "house":
                return replace(
                    found,
                    crop=crop,
                    sigma_growth=hypot(found.sigma_growth, KIN_SIGMA),
                    source=f"{found.source} (as {other})",
                    basis="kin",
                )
    return None


def house_rules(
    crop: str, own: object, rules: Mapping[RuleKey, ReadyRule]
) -> dict[RuleKey, ReadyRule]:
    """Read a house's own ready rules of a crop.

    Parameters
    ----------
    crop : str
        Crop id.
    own : object
        A list of mappings with ``container_class``, perhaps ``system`` (``any``), and values of
        a rule; what is not given is taken from the rule it replaces.
    rules : mapping
        Rules known so far.

    Returns
    -------
    rules : dict
        The house's rules by (crop, container class, system).

    Raises
    ------
    OutOfRangeError
        If it is no list of mappings, a value is out of its limits, or a new rule is not whole.
    UnknownNameError
        If a key is no value of a ready rule.
    """
    if not isinstance(own, list | tuple) or not all(isinstance(each, Mapping) for each in own):
        raise OutOfRangeError(f"ready of {crop}", "a list of rules", own)
    found: dict[RuleKey, ReadyRule] = {}
    for each in own:
        rule = _house_rule(crop, each, rules)
        found[rule.crop, rule.container_class, rule.system] = rule
    return found


def _house_rule(
    crop: str, own: Mapping[str, object], rules: Mapping[RuleKey, ReadyRule]
) -> ReadyRule:
    """Read one rule."""
    class_ = own.get("container_class")
    if class_ not in set(ContainerClass):
        rule = f"one of {', '.join(ContainerClass)}"
        raise OutOfRangeError(f"container_class of a ready rule of {crop}", rule, class_)
    container_class = ContainerClass(str(class_))
    system = str(own.get("system", "any"))
    known = {each.name for each in fields(ReadyRule)}
    values: dict[str, Any] = {}
    for key, value in own.items():
        if key not in known:
            raise UnknownNameError.among(key, "value of a ready rule", known)
        if key in {"crop", "container_class", "system"}:
            continue
        values[key] = _checked(crop, key, value)
    before = rules.get((crop, container_class, system)) or rules.get((crop, container_class, "any"))
    mark: dict[str, Any] = {"source": "house file", "basis": "house"}
    if before is not None:
        return replace(before, system=system, **{**values, **mark})
    needed = [each for each in list(_NUMBERS)[:7] if each not in values]
    if needed:
        rule = f"whole, since there is none to start from; missing: {', '.join(needed)}"
        raise OutOfRangeError(f"ready rule of {crop} in {class_}", rule, sorted(own))
    return ReadyRule(
        crop=crop, container_class=container_class, system=system, **{**values, **mark}
    )


def _checked(crop: str, key: str, value: object) -> float | str:
    """Check one value of a rule."""
    if key == "pot_on_from_class":
        if value not in set(ContainerClass):
            raise OutOfRangeError(f"{key} of {crop}", f"one of {', '.join(ContainerClass)}", value)
        return ContainerClass(str(value))
    if key not in _NUMBERS:
        return str(value)
    least, most, unit = _NUMBERS[key]
    rule = f"a number from {least:g} to {most:g} {unit}".rstrip()
    if isinstance(value, bool) or not isinstance(value, int | float):
        raise OutOfRangeError(f"{key} of a ready rule of {crop}", rule, value)
    if not least <= value <= most:
        raise OutOfRangeError(f"{key} of a ready rule of {crop}", rule, value)
    return int(value) if key == "tone_d" else float(value)
