"""From cells to values: whole numbers, numbers, days, yes or no, choices and names.

Each check that fails leaves a problem with row, column, value and what would be right, and the
reader goes on, so that every bad row of a file is reported at once.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Collection, Mapping, Sequence
from datetime import date, datetime, time, timedelta

from sowbench.exchange.tables import Cell, Records, Row, Table
from sowbench.science.errors import Problem, UnknownNameError

MAX_WHOLE = 1_000_000_000
FIRST_YEAR, LAST_YEAR = 1900, 2199

_ISO = re.compile(r"\d{4}-\d{2}-\d{2}", re.ASCII)
_WHOLE = re.compile(r"[+-]?\d{1,18}(\.0{1,2})?", re.ASCII)
_NUMBER = re.compile(r"[+-]?(\d{1,18}(\.\d{0,18})?|\.\d{1,18})", re.ASCII)
_SPACED = re.compile(r"[+-]?\d{1,3}([ \u00a0\u202f\u2009'’_]\d{3})+([.,]\d+)?", re.ASCII)
_COMMA_THOUSANDS = re.compile(r"[+-]?\d{1,3}(,\d{3})+(\.\d+)?", re.ASCII)
_POINT_THOUSANDS = re.compile(r"[+-]?\d{1,3}(\.\d{3})+(,\d+)?", re.ASCII)
_DECIMAL_COMMA = re.compile(r"[+-]?\d*,\d+", re.ASCII)
_PERCENT = re.compile(r"(\d+([.,]\d+)?)\s*%", re.ASCII)
_MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_YES = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}
_WHERE_LISTED = {
    "crop": " The handbook lists all crops, as `sowbench crops` does; a crop of your own is"
    " described as [[crop]] in house.toml.",
    "container": " The handbook lists all containers, as `sowbench containers` does.",
}
"""Where names stand, for one that is like none of them."""

_EXCEL_DAY_0 = date(1899, 12, 30)


def iso_candidates(text: str) -> list[date]:
    """List the days that a date written in another order may have meant.

    Parameters
    ----------
    text : str
        Date in any of the usual forms: day, month and year in any order with points, slashes,
        blanks or hyphens, month names in English, two-figure years, no separators at all.

    Returns
    -------
    candidates : list of date
        Days in order of likelihood, without repeats; empty if the text is no date.

    Examples
    --------
    >>> [str(each) for each in iso_candidates("03/08/2027")]
    ['2027-08-03', '2027-03-08']
    >>> [str(each) for each in iso_candidates("8-Mar-2027")]
    ['2027-03-08']
    """
    parts = re.findall(r"\d+|[A-Za-z]+", text.split("T", maxsplit=1)[0])
    if len(parts) == 1 and re.fullmatch(r"\d{8}", parts[0], re.ASCII):
        parts = [parts[0][:4], parts[0][4:6], parts[0][6:]]
    names = [each for each in parts if each.isalpha() and each[:3].casefold() in _MONTHS]
    numbers = [each for each in parts if each.isascii() and each.isdigit() and len(each) <= 4]
    tries: list[tuple[str, int, str]] = []
    if len(names) == 1 and len(numbers) >= 2:
        month = _MONTHS.index(names[0][:3].casefold()) + 1
        first, second = numbers[:2]
        tries = [(first, month, second)] if len(first) == 4 else [(second, month, first)]
    elif not names and len(numbers) >= 3:
        first, second, third = numbers[:3]
        if len(first) == 4:
            tries = [(first, int(second), third), (first, int(third), second)]
        else:
            tries = [(third, int(second), first), (third, int(first), second)]
    found: list[date] = []
    for year_text, month, day_text in tries:
        year = int(year_text) + (2000 if len(year_text) <= 2 else 0)
        try:
            day = date(year, month, int(day_text))
        except ValueError:
            continue
        if FIRST_YEAR <= year <= LAST_YEAR and day not in found:
            found.append(day)
    return found


def parse_day(cell: Cell) -> date | str:
    """Read a day written in ISO 8601, or say what is wrong with it.

    Parameters
    ----------
    cell : Cell
        Text such as 2027-03-08, or a true date cell of a workbook.

    Returns
    -------
    day : date or str
        The day, or the message of what would be right.
    """
    if isinstance(cell, datetime):
        if cell.time() != time(0):
            return f"This is a time of day; give the day alone: {cell.date().isoformat()}."
        day = cell.date()
    elif isinstance(cell, date):
        day = cell
    else:
        text = str(cell).strip()
        if not _ISO.fullmatch(text):
            return _date_advice(text)
        try:
            day = date.fromisoformat(text)
        except ValueError:
            return "There is no such day in the calendar."
    if not FIRST_YEAR <= day.year <= LAST_YEAR:
        return f"The year must be between {FIRST_YEAR} and {LAST_YEAR}."
    return day


def _date_advice(text: str) -> str:
    """Say how a date is written here and which day the text may have meant."""
    rule = "A day is written year-month-day, as 2027-03-08"
    may_be = [each.isoformat() for each in iso_candidates(text)]
    if not may_be and re.fullmatch(r"\d{5}(\.0+)?", text, re.ASCII):
        # Spreadsheets count days from the end of 1899 (common practice of their file formats).
        may_be = [(_EXCEL_DAY_0 + timedelta(days=int(text[:5]))).isoformat()]
        return f"{rule}; this may be a spreadsheet's day number for {may_be[0]}."
    return f"{rule}; this may mean {' or '.join(may_be)}." if may_be else f"{rule}."


def number_advice(text: str) -> str:
    """Say how a number that cannot be read would be written.

    Parameters
    ----------
    text : str
        Number with a decimal comma, digit groups, a percent sign or a currency.

    Returns
    -------
    advice : str
        A sentence with the right form where it can be told, else an empty text.

    Examples
    --------
    >>> number_advice("0,95")
    'Write it with a decimal point: 0.95.'
    >>> number_advice("1 000")
    'Write it without digit groups: 1000.'
    """
    percent = _PERCENT.fullmatch(text)
    if percent:
        return f"Write it as a fraction of 1: {float(percent[1].replace(',', '.')) / 100:g}."
    if _SPACED.fullmatch(text):
        plain = re.sub(r"[^\d.,+-]", "", text, flags=re.ASCII).replace(",", ".")
        return f"Write it without digit groups: {plain}."
    if _COMMA_THOUSANDS.fullmatch(text):
        plain = text.replace(",", "")
        if text.count(",") == 1 and "." not in text:
            return f"Write it without a comma: {plain}, or {text.replace(',', '.')} if it is less."
        return f"Write it without digit groups: {plain}."
    if _POINT_THOUSANDS.fullmatch(text) and (text.count(".") > 1 or "," in text):
        plain = text.replace(".", "").replace(",", ".")
        return f"Write it without digit groups: {plain}."
    if _DECIMAL_COMMA.fullmatch(text):
        return f"Write it with a decimal point: {text.replace(',', '.')}."
    inner = re.search(r"\d+([.,]\d+)?", text, re.ASCII)
    if inner and len(text) <= 40:
        return f"Give the number alone, without unit or sign: {inner[0].replace(',', '.')}."
    return ""


def parse_number(cell: Cell) -> float | str:
    """Read a number with a decimal point, or say what would be right.

    Parameters
    ----------
    cell : Cell
        Text or a number of a workbook.

    Returns
    -------
    number : float or str
        The number, finite, or the advice.
    """
    if isinstance(cell, (bool, date, time)):
        return ""
    if isinstance(cell, (int, float)):
        return float(cell) if math.isfinite(cell) else ""
    text = str(cell).strip()
    return float(text) if _NUMBER.fullmatch(text) else number_advice(text)


class Fields:
    """The cells of one row, read one by one into values while problems are gathered.

    Parameters
    ----------
    table : Table or Records
        The table of the row, for its file's name.
    row : Row
        The row.
    problems : list of Problem
        Where problems go; shared by all rows of a file.
    """

    def __init__(self, table: Table | Records, row: Row, problems: list[Problem]) -> None:
        self._file = table.file
        self._row = row
        self._problems = problems
        self._n_before = len(problems)

    @property
    def number(self) -> int:
        """Number of the row."""
        return self._row.number

    @property
    def ok(self) -> bool:
        """Whether this row has had no problem so far."""
        return len(self._problems) == self._n_before

    def problem(self, column: str | None, message: str) -> None:
        """Note that a cell is wrong, with its value as found."""
        cell = None if column is None else self._row.cells.get(column)
        shown = None if cell is None or cell == "" else shown_cell(cell)
        self._problems.append(Problem(self._file, self._row.number, column, shown, message))

    def has(self, column: str) -> bool:
        """Tell whether the cell is there and not blank."""
        cell = self._row.cells.get(column)
        return cell is not None and cell != ""

    def text(self, column: str, *, required: bool = False) -> str:
        """Read a text; a number of a workbook is taken as it reads."""
        if not self.has(column):
            if required:
                self.problem(column, f"{column} must not be blank.")
            return ""
        text = shown_cell(self._row.cells[column])
        if re.fullmatch(r"#(REF!|N/A|NAME\?|VALUE!|DIV/0!|NULL!|NUM!)", text):
            self.problem(column, "This is an error of a spreadsheet, not a value.")
            return ""
        # Our own tables put an apostrophe before a text that a spreadsheet would calculate.
        return text[1:] if len(text) > 1 and text[0] == "'" and text[1] in "=+-@" else text

    def name(self, column: str) -> str:
        """Read a required name: one line, without `|`, which parts names."""
        text = self.text(column, required=True)
        if "|" in text or not text.isprintable():
            self.problem(column, f"{column} must be one line of text without '|'.")
        return text

    def names(self, column: str) -> tuple[str, ...]:
        """Read names parted by `|`, in order, without repeats and blanks."""
        parts = (each.strip() for each in self.text(column).split("|"))
        return tuple(dict.fromkeys(each for each in parts if each))

    def number_of(
        self,
        column: str,
        *,
        least: float = -math.inf,
        most: float = math.inf,
        above: float = -math.inf,
        rule: str = "",
        required: bool = False,
    ) -> float | None:
        """Read a number between bounds, which belong to the range; `above` does not."""
        if not self._given(column, required=required):
            return None
        value = parse_number(self._row.cells[column])
        rule = rule or _range_rule(least, most, above)
        if isinstance(value, str):
            self.problem(column, f"{column} must be a number{rule}. {value}".strip())
            return None
        if not (least <= value <= most and value > above):
            self.problem(column, f"{column} must be a number{rule}.")
            return None
        return value

    def share(self, column: str, least: float, most: float, *, above: float = -1.0) -> float | None:
        """Read a share of 1; a percent is refused with the share it means."""
        if not self.has(column):
            return None
        cell = self._row.cells[column]
        value = parse_number(cell)
        lower = f"above {above:g} and at most" if above >= 0 else f"between {least:g} and"
        rule = f"{column} must be a share of 1, {lower} {most:g}."
        if isinstance(value, str):
            self.problem(column, f"{rule} {value}".strip())
            return None
        if least <= value <= most and value > above:
            return value
        as_share = value / 100
        meant = value > 1 and least <= as_share <= most and as_share > above
        self.problem(column, f"{rule} Write {value:g} % as {as_share:g}." if meant else rule)
        return None

    def whole(
        self, column: str, *, least: int = 0, most: int = MAX_WHOLE, required: bool = False
    ) -> int | None:
        """Read a whole number between bounds, which belong to the range."""
        if not self._given(column, required=required):
            return None
        cell = self._row.cells[column]
        rule = f"{column} must be a whole number, " + (
            f"at least {least:,}" if most == MAX_WHOLE else f"from {least:,} to {most:,}"
        )
        value = parse_whole(cell)
        if isinstance(value, str):
            self.problem(column, f"{rule}. {value}".strip())
            return None
        if not least <= value <= most:
            self.problem(column, f"{rule}.")
            return None
        return value

    def day(self, column: str, *, required: bool = False) -> date | None:
        """Read a day."""
        if not self._given(column, required=required):
            return None
        value = parse_day(self._row.cells[column])
        if isinstance(value, str):
            self.problem(column, value)
            return None
        return value

    def yes_no(self, column: str, *, default: bool = False) -> bool:
        """Read yes or no."""
        if not self.has(column):
            return default
        cell = self._row.cells[column]
        if isinstance(cell, bool):
            return cell
        value = _YES.get(str(cell).strip().casefold())
        if value is None:
            self.problem(column, f"{column} must be yes or no.")
            return default
        return value

    def choice(self, column: str, choices: Mapping[str, str], default: str) -> str:
        """Read one of the given words, upper and lower case alike."""
        text = self.text(column)
        if not text:
            return default
        value = choices.get(" ".join(text.casefold().split()))
        if value is None:
            allowed = list(dict.fromkeys(choices.values()))
            near = UnknownNameError.among(text, column, choices).nearest
            advice = f" Did you mean {near[0]!r}?" if near else ""
            self.problem(column, f"{column} must be {one_of(allowed)}.{advice}")
            return default
        return value

    def resolved(self, column: str, resolve: Callable[[str], str], *, required: bool = True) -> str:
        """Read a name through a resolver that knows every spelling or raises UnknownNameError."""
        text = self.text(column, required=required)
        if not text:
            return ""
        try:
            return resolve(text)
        except UnknownNameError as error:
            advice = "" if error.nearest else _WHERE_LISTED.get(error.kind, "")
            self.problem(column, f"{error}{advice}")
            return ""

    def known(
        self,
        column: str,
        names: Sequence[str],
        known: Collection[str] | None,
        resolve: Callable[[str], str] | None = None,
    ) -> list[str]:
        """Check names against those known, upper and lower case alike; None takes any.

        A name that is not among them may be another spelling that `resolve` knows.
        """
        folded = {each.casefold(): each for each in known or ()}
        found = []
        for name in names:
            match = folded.get(name.casefold(), name if known is None and resolve is None else None)
            error = UnknownNameError.among(name, column, known or ())
            if match is None and resolve is not None:
                try:
                    resolved = resolve(name)
                except UnknownNameError as unknown:
                    error = unknown if unknown.nearest else error
                else:
                    match = resolved if known is None or resolved in known else None
            if match is None:
                self.problem(column, str(error))
            else:
                found.append(match)
        return found

    def _given(self, column: str, *, required: bool) -> bool:
        """Tell whether there is something to read, noting a blank that must not be."""
        if self.has(column):
            return True
        if required:
            self.problem(column, f"{column} must not be blank.")
        return False


def parse_whole(cell: Cell) -> int | str:
    """Read a whole number, or say what would be right.

    Parameters
    ----------
    cell : Cell
        Text or a number of a workbook.

    Returns
    -------
    number : int or str
        The number, or the advice, which may be empty.
    """
    if isinstance(cell, (bool, date, time)):
        return ""
    if isinstance(cell, int):
        return cell
    if isinstance(cell, float):
        return int(cell) if math.isfinite(cell) and cell == math.floor(cell) else ""
    text = str(cell).strip()
    if _WHOLE.fullmatch(text):
        return int(float(text)) if "." in text else int(text)
    if _POINT_THOUSANDS.fullmatch(text) and text.count(".") == 1 and "," not in text:
        plain = text.replace(".", "")
        return f"Write it without a point: {plain}, or {float(text):g} if it is less."
    if _NUMBER.fullmatch(text) or _PERCENT.fullmatch(text):
        return ""
    is_fraction = _DECIMAL_COMMA.fullmatch(text) and not _COMMA_THOUSANDS.fullmatch(text)
    return "" if is_fraction else number_advice(text)


def shown_cell(cell: Cell) -> str:
    """Show a cell as its reader would write it.

    Parameters
    ----------
    cell : Cell
        Any cell.

    Returns
    -------
    text : str
        Whole numbers without a decimal point, days in ISO 8601, yes and no as words.
    """
    if cell is None:
        return ""
    if isinstance(cell, bool):
        return "yes" if cell else "no"
    if isinstance(cell, float) and cell.is_integer() and abs(cell) < 1e15:
        return str(int(cell))
    if isinstance(cell, datetime):
        return cell.date().isoformat() if cell.time() == time(0) else cell.isoformat(" ")
    if isinstance(cell, (date, time)):
        return cell.isoformat()
    return str(cell).strip()


def one_of(words: Sequence[str]) -> str:
    """Join words as a choice.

    Parameters
    ----------
    words : sequence of str
        The words, at least one.

    Returns
    -------
    text : str
        The words with commas and an "or".

    Examples
    --------
    >>> one_of(["asked", "promised", "cancelled"])
    'asked, promised or cancelled'
    """
    if len(words) == 1:
        return words[0]
    return f"{', '.join(words[:-1])} or {words[-1]}"


def _range_rule(least: float, most: float, above: float) -> str:
    """Put a range in words, to follow "a number"."""
    if above > -math.inf:
        return f" above {above:g}" + (f" and at most {most:,.10g}" if most < math.inf else "")
    if least > -math.inf and most < math.inf:
        return f" between {least:,.10g} and {most:,.10g}"
    return f" of at least {least:,.10g}" if least > -math.inf else ""
