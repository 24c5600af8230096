"""The command line: each command a thin call to a service.

`main` is a click group that imports the module of a command only when that command is asked for,
so that ``sowbench --help`` needs neither the solver nor the science libraries.
"""

from __future__ import annotations

import importlib
from typing import NamedTuple

import click

import sowbench


class LazyCommand(NamedTuple):
    """Where a command lives, and what it is for.

    Parameters
    ----------
    target : str
        Place of the click command, as ``module:attribute``.
    help_text : str
        One line for the list of commands; the command's own help says more.
    """

    target: str
    help_text: str


# One line a command, in the order in which help shows them.
COMMANDS: dict[str, LazyCommand] = {
    "serve": LazyCommand(
        "sowbench.cli.serve:command", "Open the house book and serve its pages on this machine."
    ),
    "try": LazyCommand(
        "sowbench.cli.try_one:command", "Say when and how to sow, with no file at all."
    ),
    "plan": LazyCommand("sowbench.cli.plan:command", "Plan a season from orders, house and seed."),
    "check": LazyCommand(
        "sowbench.cli.check:command", "Recompute a plan and name what does not hold."
    ),
    "promise": LazyCommand(
        "sowbench.cli.promise:command", "Say whether one more order fits beside a plan."
    ),
    "crop": LazyCommand("sowbench.cli.crop:one", "Print a crop's values with their sources."),
    "crops": LazyCommand("sowbench.cli.crop:every", "List the crops."),
    "container": LazyCommand(
        "sowbench.cli.container:one", "Print a container's values with their sources."
    ),
    "containers": LazyCommand("sowbench.cli.container:every", "List the containers."),
    "water": LazyCommand(
        "sowbench.cli.water:command", "Judge a water report, and reckon the acid it wants."
    ),
    "demo": LazyCommand("sowbench.cli.demo:command", "Plan and check an invented nursery."),
    "ahead": LazyCommand(
        "sowbench.cli.ahead:command", "Which stands will be short or late, and what to count."
    ),
    "learned": LazyCommand(
        "sowbench.cli.learned:command", "How the house differs from the handbook."
    ),
    "back": LazyCommand(
        "sowbench.cli.back:command", "Say what a past season promised, gave and cost."
    ),
    "rebuild": LazyCommand(
        "sowbench.cli.rebuild:command", "Make the state of the house book anew from its journal."
    ),
    "completion": LazyCommand(
        "sowbench.cli.completion:command", "Let a shell complete commands and options."
    ),
}


class LazyGroup(click.Group):
    """A click group whose commands are imported when they are first used."""

    def list_commands(self, ctx: click.Context) -> list[str]:
        """Return the names of all commands, in the order of the table."""
        return [*COMMANDS, *super().list_commands(ctx)]

    def get_command(self, ctx: click.Context, cmd_name: str) -> click.Command | None:
        """Return a command by its name, importing its module; None if there is none."""
        lazy = COMMANDS.get(cmd_name)
        if lazy is None:
            return super().get_command(ctx, cmd_name)
        module_name, _, attribute = lazy.target.partition(":")
        command = getattr(importlib.import_module(module_name), attribute)
        if not isinstance(command, click.Command):
            message = f"{lazy.target} must be a click command; got {type(command).__name__}."
            raise TypeError(message)
        return command

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write the list of commands from the table, without importing any of them."""
        rows = [(name, lazy.help_text) for name, lazy in COMMANDS.items()]
        for name in super().list_commands(ctx):
            command = self.commands[name]
            rows.append((name, command.get_short_help_str()))
        if rows:
            with formatter.section("Commands"):
                formatter.write_dl(rows)


@click.group(cls=LazyGroup, context_settings={"help_option_names": ["-h", "--help"]})
@click.version_option(sowbench.__version__, prog_name="sowbench")
def main() -> None:
    """Plan the work of a propagation house: transplants raised from seed."""
