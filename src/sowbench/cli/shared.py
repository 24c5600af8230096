"""What the commands share: options for files, JSON out, errors, and the status they end with."""

from __future__ import annotations

import functools
import sys
from collections.abc import Callable, Iterable
from datetime import date, datetime
from enum import IntEnum
from typing import TYPE_CHECKING, Any, ParamSpec, TypeVar

import click

from sowbench.science.errors import InputFileError, SowbenchError

if TYPE_CHECKING:
    from sowbench.reference.card_layout import Card
    from sowbench.services.inputs import InputFiles
    from sowbench.services.parts import Parts

P = ParamSpec("P")
R = TypeVar("R")
Command = TypeVar("Command", bound=Callable[..., Any])


class Status(IntEnum):
    """What a command ends with."""

    DONE = 0
    NOT_ALL = 1
    WRONG_INPUT = 2


class Day(click.ParamType[date]):
    """A day in ISO 8601."""

    name = "date"

    def convert(self, value: Any, param: click.Parameter | None, ctx: click.Context | None) -> date:
        """Read a day, refusing any other order of year, month and day."""
        if isinstance(value, datetime):
            return value.date()
        if isinstance(value, date):
            return value
        try:
            return date.fromisoformat(str(value))
        except ValueError:
            self.fail(f"must be a day as 2027-05-15; got {value!r}.", param, ctx)


DAY = Day()
FILE = click.Path(dir_okay=False, path_type=str)
FILE_OR_FOLDER = click.Path(path_type=str)

_FILE_OPTIONS = (
    ("--orders", "Orders: who wants how many of what on which day (CSV or XLSX).", FILE),
    ("--house", "The house: places, crew, containers, prices (TOML). Without: a windowsill.", FILE),
    ("--seed", "Seed lots with their tests. Without: lots to be bought.", FILE),
    ("--standing", "What stands in the house on the first day.", FILE),
    ("--keep", "Plan to stay close to: its plan.json, or its folder.", FILE_OR_FOLDER),
    ("--done", "Journal of what has happened since the kept plan.", FILE),
    ("--pins", "What is fixed by hand for an order or a sowing.", FILE),
)


def file_options(command: Command) -> Command:
    """Give a command the options for the files of a plan."""
    return _with_file_options(command, needs_orders=True)


def made_from_options(command: Command) -> Command:
    """Give a command the same options, of which none is needed: the plan knows its files."""
    return _with_file_options(command, needs_orders=False)


def _with_file_options(command: Command, *, needs_orders: bool) -> Command:
    for name, words, kind in reversed(_FILE_OPTIONS):
        needed = needs_orders and name == "--orders"
        option = click.option(name, type=kind, metavar="FILE", required=needed, help=words)
        command = option(command)
    return command


def from_option(command: Command) -> Command:
    """Give a command the option for the first day."""
    option = click.option(
        "--from",
        "from_date",
        type=DAY,
        metavar="DATE",
        help="First day on which anything can be done. Without: today.",
    )
    return option(command)


_QUESTION_OPTIONS = (
    click.option(
        "--plants",
        type=click.IntRange(min=1),
        required=True,
        metavar="N",
        help="Usable plants wanted.",
    ),
    click.option(
        "--on", "wanted", type=DAY, required=True, metavar="DATE", help="Day they are wanted."
    ),
    click.option("--earliest", type=DAY, metavar="DATE", help="First day that still serves."),
    click.option("--latest", type=DAY, metavar="DATE", help="Last day that still serves."),
    click.option(
        "--system",
        default="any",
        show_default=True,
        metavar="NAME",
        help="Where they go: channel, raft, bucket, bed, field, sale or class.",
    ),
    click.option("--container", default="", metavar="ID", help="What to raise them in."),
    click.option(
        "--confidence",
        type=click.FloatRange(0.5, 0.999),
        metavar="SHARE",
        help="Chance wanted that there are enough, as 0.95.",
    ),
)


def question_options(command: Command) -> Command:
    """Give a command the options of a question: how many plants, on which day, for what."""
    for option in reversed(_QUESTION_OPTIONS):
        command = option(command)
    return command


def search_options(seconds: float) -> Callable[[Command], Command]:
    """Give a command the options of the search, with its own ceiling."""

    def add(command: Command) -> Command:
        for option in (
            click.option(
                "--rounds",
                type=click.IntRange(min=0),
                metavar="N",
                help="Work limit in search rounds; with it, the same inputs give the same plan.",
            ),
            click.option(
                "--random",
                "random_start",
                type=click.IntRange(min=0),
                default=0,
                show_default=True,
                metavar="N",
                help="Where the search's random numbers start.",
            ),
            click.option(
                "--seconds",
                type=click.FloatRange(min=0, min_open=True),
                default=seconds,
                show_default=True,
                metavar="N",
                help="Ceiling on the search.",
            ),
        ):
            command = option(command)
        return command

    return add


def json_option(command: Command) -> Command:
    """Give a command the option for machine-readable output."""
    option = click.option(
        "--json", "as_json", is_flag=True, help="Print JSON for programs, not text."
    )
    return option(command)


def url_option(command: Command) -> Command:
    """Give a command the option for the address of the database."""
    option = click.option(
        "--url",
        envvar="SOWBENCH_URL",
        show_envvar=True,
        metavar="URL",
        help="Database, as postgresql://...; without: a file. With a password in it, give it in"
        " the environment, where no list of processes shows it.",
    )
    return option(command)


_FILE_NAMES = tuple(name.removeprefix("--") for name, _, _ in _FILE_OPTIONS)


def input_files(values: dict[str, Any]) -> InputFiles:
    """Take the files out of a command's options."""
    from sowbench.services.inputs import InputFiles

    return InputFiles(**{name: values[name] for name in _FILE_NAMES})


def input_files_if_given(values: dict[str, Any]) -> InputFiles | None:
    """Take the files out of a command's options; None if no file is given."""
    given = [name for name in _FILE_NAMES if values[name] is not None]
    if given and "orders" not in given:
        message = f"--{given[0]} needs --orders beside it; without any file the plan's own count."
        raise click.UsageError(message)
    return input_files(values) if given else None


def parts_of(context: click.Context) -> Parts:
    """Return the parts that a command works with: the real ones, unless a test has wired others."""
    from sowbench import bootstrap
    from sowbench.services.parts import Parts

    return context.obj if isinstance(context.obj, Parts) else bootstrap.real_parts()


def today() -> date:
    """Read the clock: the only place where a day comes from it."""
    return date.today()  # noqa: DTZ011 - the day in the house, where the computer stands


def print_lines(lines: Iterable[str]) -> None:
    """Print lines of text."""
    click.echo("\n".join(lines))


def print_json(value: Any) -> None:
    """Print plain values and records as JSON."""
    import msgspec

    encoded = msgspec.json.format(msgspec.json.encode(value), indent=2)
    click.echo(encoded.decode("utf-8"))


def print_card(card: Card, *, as_json: bool) -> None:
    """Print a card of the reference."""
    from sowbench.cli.text import page_width
    from sowbench.reference.card_layout import card_dict, render_text

    if as_json:
        print_json({"format": f"sowbench-{card.kind}/1", "card": card_dict(card)})
    else:
        click.echo(render_text(card, page_width()))


def tell(words: str) -> None:
    """Say something on stderr, away from the output."""
    click.echo(words, err=True)


def answers_errors(command: Callable[P, R]) -> Callable[P, R]:
    """End a command with what is wrong in its input, and status 2, in place of a trace."""

    @functools.wraps(command)
    def run(*args: P.args, **kwargs: P.kwargs) -> R:
        try:
            return command(*args, **kwargs)
        except InputFileError as error:
            n_problems = len(error.problems)
            noun = "thing is" if n_problems == 1 else "things are"
            tell(f"{n_problems} {noun} not right in the input; nothing was taken or written.")
            for each in error.problems:
                tell(f"  {each}")
        except SowbenchError as error:
            tell(str(error))
        except OSError as error:
            name = f" {error.filename}" if error.filename else ""
            tell(f"The file{name} could not be used: {error.strerror or error}.")
        except KeyboardInterrupt:
            tell("Given up.")
            sys.exit(130)
        sys.exit(Status.WRONG_INPUT)

    return run
