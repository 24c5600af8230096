"""`sowbench completion`: let a shell complete commands and options."""

from __future__ import annotations

import click
from click.shell_completion import get_completion_class

from sowbench.cli import shared

SHELLS = ("bash", "zsh", "fish")
_WHERE = {
    "bash": 'Add this line to ~/.bashrc:   eval "$(sowbench completion bash)"',
    "zsh": 'Add this line to ~/.zshrc:   eval "$(sowbench completion zsh)"',
    "fish": "Run once:   sowbench completion fish > ~/.config/fish/completions/sowbench.fish",
}


@click.command(name="completion")
@click.argument("shell", type=click.Choice(SHELLS))
@click.option("--json", "as_json", is_flag=True, help="Print JSON for programs, not text.")
@click.pass_context
def command(context: click.Context, /, shell: str, as_json: bool) -> None:
    """Print what lets SHELL complete sowbench's commands and options.

    For bash or zsh, add a line to ~/.bashrc or ~/.zshrc: eval "$(sowbench completion bash)", or
    the same with zsh. For fish, run once: sowbench completion fish >
    ~/.config/fish/completions/sowbench.fish
    """
    kind = get_completion_class(shell)
    if kind is None:  # pragma: no cover - click knows all three
        message = f"click knows no completion for {shell}."
        raise click.ClickException(message)
    root = context.find_root().command
    script = kind(root, {}, "sowbench", "_SOWBENCH_COMPLETE").source()
    if as_json:
        shared.print_json({"shell": shell, "script": script, "use": _WHERE[shell]})
    else:
        click.echo(script)
