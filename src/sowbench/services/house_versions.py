"""The text of the house: edited as it stands, taken in from files, and every version of it."""

from __future__ import annotations

import difflib
import re
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import TYPE_CHECKING, Final

from sowbench.exchange.toml_edit import line_of, set_values
from sowbench.science.errors import InputFileError, OutOfRangeError, Problem, UnknownNameError
from sowbench.services.book_inputs import HOUSE_FILE, base_name, read_house_text, weather_name
from sowbench.services.house_forms import house_text
from sowbench.services.orders_intake import forget, keep_file, kept_file

if TYPE_CHECKING:
    from sowbench.domain.book import HouseVersion
    from sowbench.domain.ports import Unit
    from sowbench.services.desk import Desk

_WHERE: Final = re.compile(r"\[\[(\w+)\]\] (\d+)(?: \".*?\")?(?:\.(\w+))?|\[(\w+)\](?:\.(\w+))?")
_CONTEXT: Final = 2


@dataclass(frozen=True, slots=True)
class LineProblem:
    """One thing that is wrong with the text, and in which line; None where it is none."""

    line: int | None
    where: str
    found: str
    message: str


@dataclass(frozen=True, slots=True)
class TextForm:
    """The text of the house to edit."""

    text: str
    problems: tuple[LineProblem, ...] = ()
    file: str = HOUSE_FILE


@dataclass(frozen=True, slots=True)
class DiffLine:
    """One line of a difference; ``mark`` is "+", "-", " " or "…" where lines are left out."""

    mark: str
    text: str


@dataclass(frozen=True, slots=True)
class VersionLine:
    """One version in the list."""

    version: int
    at: datetime
    person: str
    reason: str
    n_added: int
    n_removed: int
    is_current: bool


@dataclass(frozen=True, slots=True)
class VersionView:
    """One version: what it changed against the one before, and its text."""

    version: int
    at: datetime
    person: str
    reason: str
    before: int | None
    lines: tuple[DiffLine, ...]
    text: str
    is_current: bool


def text_form(desk: Desk) -> TextForm:
    """Gather the text of the house to edit.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    form : TextForm
        The text.
    """
    with desk.book.reading() as unit:
        return TextForm(house_text(unit))


def save_text(
    desk: Desk, text: str, person: str = "", reason: str = "edited as text"
) -> TextForm | None:
    """Keep an edited text.

    Parameters
    ----------
    desk : Desk
        The desk.
    text : str
        The whole of house.toml.
    person : str, default ""
        Who.
    reason : str, default "edited as text"
        Why.

    Returns
    -------
    form : TextForm or None
        None once it is kept; else the text with every problem by its line.
    """
    return _keep(desk, text, None, person, reason)


def take_house_in(
    desk: Desk,
    house: bytes | None,
    weather: tuple[str, bytes] | None,
    person: str = "",
) -> TextForm | None:
    """Take in a house file, its weather file, or both; all of it or nothing.

    Parameters
    ----------
    desk : Desk
        The desk.
    house : bytes or None
        Content of house.toml; None keeps the one of the book.
    weather : tuple of (str, bytes) or None
        Name and content of the weather file; None keeps the one of the book.
    person : str, default ""
        Who.

    Returns
    -------
    form : TextForm or None
        None once it is kept; else the text with every problem.
    """
    text = _given(desk, house, weather)
    if isinstance(text, TextForm):
        return text
    reason = "taken in from a file" if house is not None else "weather taken in"
    return _keep(desk, text, weather, person, reason)


def _given(desk: Desk, house: bytes | None, weather: tuple[str, bytes] | None) -> str | TextForm:
    """Read the text that was given, or that of the book where weather alone was."""
    if house is None and weather is None:
        problem = LineProblem(None, "", "", "Choose house.toml, a weather file, or both.")
        return TextForm("", (problem,))
    if house is None:
        with desk.book.reading() as unit:
            return house_text(unit)
    try:
        return house.decode("utf-8-sig").replace("\r\n", "\n")
    except UnicodeDecodeError:
        rule = "The file is not UTF-8 text. Save it as UTF-8 in a text editor."
        return TextForm("", (LineProblem(None, HOUSE_FILE, "", rule),))


def _keep(
    desk: Desk, text: str, weather: tuple[str, bytes] | None, person: str, reason: str
) -> TextForm | None:
    """Keep a text, and the weather with it, if both are right."""
    with desk.book.writing() as unit:
        text, name, problems = _checked(unit, text, weather)
        if problems:
            return TextForm(text, problems)
        now = desk.clock()
        if weather is not None:
            unit.files.put(name, weather[1], now)
        if house_text(unit) != text or weather is not None:
            unit.houses.put(text, now, person, reason)
        unit.commit()
    return None


def _checked(
    unit: Unit, text: str, weather: tuple[str, bytes] | None
) -> tuple[str, str, tuple[LineProblem, ...]]:
    """Read a text with its weather: the text to be kept, the weather's name, and what is wrong."""
    text = text.replace("\r\n", "\n").strip("\n") + "\n"
    try:
        name = weather_name(text)
    except InputFileError as error:
        return text, "", _by_line(text, error.problems)
    if weather is not None:
        given = base_name(weather[0]) or "weather"
        if not name:
            try:
                text, name = set_values(text, "house", None, {"weather": given}).text, given
            except ValueError:
                name = ""  # the reader says below what is wrong with the text
        elif name != given:
            rule = f"The house names {name!r}; the weather file given is {given!r}."
            where = LineProblem(line_of(text, "house", None, "weather"), "[house].weather",
                                name, rule)  # fmt: skip
            return text, name, (where,)
    content = weather[1] if weather is not None else unit.files.get(name) if name else None
    return text, name, _problems(text, name, content)


@dataclass(frozen=True, slots=True)
class HouseLook:
    """A house file that was given and is not taken yet: what it would change.

    ``lines`` is empty where the text is the one of the book; ``weather_id`` is that under which a
    weather file is kept until it is taken; ``seen_version`` the version of the house against which
    it was compared, 0 if there is none.
    """

    text: str
    lines: tuple[DiffLine, ...]
    n_added: int
    n_removed: int
    weather_name: str
    weather_id: str
    is_first: bool
    seen_version: int

    @property
    def is_same(self) -> bool:
        """Whether it would change nothing."""
        return not self.lines and not self.weather_name


def look_at_house(
    desk: Desk, house: bytes | None, weather: tuple[str, bytes] | None
) -> HouseLook | TextForm:
    """Look at a house file, its weather file, or both, before they are taken.

    Parameters
    ----------
    desk : Desk
        The desk.
    house : bytes or None
        Content of house.toml; None keeps the one of the book.
    weather : tuple of (str, bytes) or None
        Name and content of the weather file; None keeps the one of the book.

    Returns
    -------
    look : HouseLook or TextForm
        What it would change; or the text with every problem.
    """
    read = _given(desk, house, weather)
    if isinstance(read, TextForm):
        return read
    with desk.book.reading() as unit:
        text, name, problems = _checked(unit, read, weather)
        before, current = house_text(unit), unit.houses.current()
    if problems:
        return TextForm(text, problems)
    lines = _difference(before, text) if before != text else ()
    return HouseLook(
        text=text,
        lines=lines,
        n_added=sum(each.mark == "+" for each in lines),
        n_removed=sum(each.mark == "-" for each in lines),
        weather_name=name if weather is not None else "",
        weather_id="" if weather is None else keep_file(desk, name, weather[1]),
        is_first=current is None,
        seen_version=0 if current is None else current.version,
    )


def take_looked_at(
    desk: Desk, text: str, weather_id: str, seen_version: int, person: str = ""
) -> TextForm | HouseLook | None:
    """Take in what was looked at.

    Parameters
    ----------
    desk : Desk
        The desk.
    text : str
        The text as it was shown.
    weather_id : str
        Under which the weather file is kept; blank if none was given.
    seen_version : int
        Version of the house against which it was shown.
    person : str, default ""
        Who.

    Returns
    -------
    form : TextForm, HouseLook or None
        None once it is kept; a new look if the house has changed in between; else every problem.

    Raises
    ------
    UnknownNameError
        If the weather file is not kept any more.
    """
    weather = kept_file(desk, weather_id) if weather_id else None
    with desk.book.reading() as unit:
        current = unit.houses.current()
    if (0 if current is None else current.version) != seen_version:
        return look_at_house(desk, text.encode(), weather)
    form = _keep(desk, text, weather, person, "taken in from a file")
    if form is None and weather_id:
        forget(desk, weather_id)
    return form


def _problems(text: str, name: str, content: bytes | None) -> tuple[LineProblem, ...]:
    """Read a text as the planner would."""
    if name and content is None:
        rule = f"The book has no weather file {name!r}; give it with the house."
        line = line_of(text, "house", None, "weather")
        return (LineProblem(line, "[house].weather", name, rule),)
    try:
        read_house_text(text, content)
    except InputFileError as error:
        return _by_line(text, error.problems)
    except OutOfRangeError as error:
        return (LineProblem(None, "", "", str(error)),)
    return ()


def _by_line(text: str, problems: Sequence[Problem]) -> tuple[LineProblem, ...]:
    """Find the lines of problems."""
    found = []
    for each in problems:
        line = each.row if each.file == HOUSE_FILE else None
        match = _WHERE.fullmatch(each.column or "")
        if line is None and match is not None:
            if match[1]:
                line = line_of(text, match[1], int(match[2]) - 1, match[3] or "")
            else:
                line = line_of(text, match[4], None, match[5] or "")
        where = each.column or ""
        if each.file != HOUSE_FILE:
            where = f"{each.file}{f', row {each.row}' if each.row else ''} {where}".strip()
        found.append(LineProblem(line, where, each.value or "", each.message))
    return tuple(sorted(found, key=lambda each: each.line or 0))


def versions_view(desk: Desk) -> tuple[VersionLine, ...]:
    """List the versions of the house, the newest first.

    Parameters
    ----------
    desk : Desk
        The desk.

    Returns
    -------
    lines : tuple of VersionLine
        Each with how many lines it added and took away.
    """
    with desk.book.reading() as unit:
        versions = unit.houses.versions()
    found = []
    for at, each in enumerate(versions):
        older = versions[at + 1].text if at + 1 < len(versions) else ""
        lines = _difference(older, each.text)
        found.append(
            VersionLine(
                version=each.version,
                at=each.at,
                person=each.person,
                reason=each.reason,
                n_added=sum(line.mark == "+" for line in lines),
                n_removed=sum(line.mark == "-" for line in lines),
                is_current=at == 0,
            )
        )
    return tuple(found)


def version_view(desk: Desk, version: int) -> VersionView:
    """Gather one version of the house.

    Parameters
    ----------
    desk : Desk
        The desk.
    version : int
        Its number.

    Returns
    -------
    view : VersionView
        What it changed.

    Raises
    ------
    UnknownNameError
        If there is no such version.
    """
    with desk.book.reading() as unit:
        found = _version(unit, version)
        current = unit.houses.current()
        older = unit.houses.get(version - 1) if version > 1 else None
    return VersionView(
        version=found.version,
        at=found.at,
        person=found.person,
        reason=found.reason,
        before=None if older is None else older.version,
        lines=_difference("" if older is None else older.text, found.text),
        text=found.text,
        is_current=current is not None and current.version == version,
    )


def bring_back(desk: Desk, version: int, person: str = "") -> TextForm | None:
    """Make an earlier version the current one, as a new version.

    Parameters
    ----------
    desk : Desk
        The desk.
    version : int
        Its number.
    person : str, default ""
        Who.

    Returns
    -------
    form : TextForm or None
        None once it is kept; else its text with what is wrong with it today.

    Raises
    ------
    UnknownNameError
        If there is no such version.
    """
    with desk.book.reading() as unit:
        text = _version(unit, version).text
    return _keep(desk, text, None, person, f"version {version} brought back")


def house_file(desk: Desk, name: str = HOUSE_FILE) -> bytes:
    """Return a file of the house.

    Parameters
    ----------
    desk : Desk
        The desk.
    name : str, default "house.toml"
        house.toml, or the name of its weather file.

    Returns
    -------
    content : bytes
        The file.

    Raises
    ------
    UnknownNameError
        If there is no such file.
    """
    with desk.book.reading() as unit:
        if name == HOUSE_FILE:
            return house_text(unit).encode("utf-8")
        content = unit.files.get(name)
        if content is None:
            raise UnknownNameError.among(name, "file", [HOUSE_FILE, *unit.files.names()])
        return content


def _version(unit: Unit, version: int) -> HouseVersion:
    """Return a version that must be there."""
    found = unit.houses.get(version)
    if found is None:
        raise UnknownNameError(str(version), "version of the house")
    return found


def _difference(before: str, after: str) -> tuple[DiffLine, ...]:
    """Lay two texts side by side, with a little of what stays around each change."""
    found: list[DiffLine] = []
    old, new = before.splitlines(), after.splitlines()
    matcher = difflib.SequenceMatcher(a=old, b=new, autojunk=False)
    for group in matcher.get_grouped_opcodes(_CONTEXT):
        if found or group[0][1] > 0:
            found.append(DiffLine("…", ""))
        for tag, a_from, a_to, b_from, b_to in group:
            if tag == "equal":
                found += [DiffLine(" ", each) for each in old[a_from:a_to]]
                continue
            found += [DiffLine("-", each) for each in old[a_from:a_to]]
            found += [DiffLine("+", each) for each in new[b_from:b_to]]
    return tuple(found)
