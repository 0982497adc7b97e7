"""The reference page of the commands: help, options and exit codes, from the program itself."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

from schemas.convert.to_markdown import markdown_table


def commands_page() -> str:
    """Every command with its help and options, from the program itself."""
    import typer.main

    from pipelines.command.exit_codes import exit_codes
    from pipelines.command.main import app

    lines = ["# Commands", "", "What `manystrides --help` says, command by command."]
    program = typer.main.get_command(app)
    lines += ["", "## manystrides", "", "Options of every command, which stand before it:", ""]
    lines += ["```", "manystrides [OPTIONS] COMMAND ...", "```", "", *_table(program)]
    for path, command in leaf_commands(program, ("manystrides",)):
        lines += ["", f"## {' '.join(path)}", "", *_help_lines(command.help)]
        arguments = [p for p in command.params if p.param_type_name == "argument"]
        words = " ".join(_argument_name(p) for p in arguments)
        lines += ["", "```", f"{' '.join(path)} {words}".rstrip() + " [OPTIONS]", "```"]
        if table := _table(command):
            lines += ["", *table]
        codes_here = [(f"`{code}`", meaning) for code, meaning in exit_codes(" ".join(path[1:])).items()]
        lines += ["", *markdown_table(("Exit code", "Meaning"), codes_here)]
    return "\n".join(lines) + "\n"


def leaf_commands(command: Any, path: tuple[str, ...]) -> Iterator[tuple[tuple[str, ...], Any]]:
    """The words of each command below ``command``, and what Typer knows of it; hidden ones are left out."""
    inner = getattr(command, "commands", None)
    if inner is None:
        yield path, command
        return
    for name in inner:
        if not inner[name].hidden:
            yield from leaf_commands(inner[name], (*path, name))


def _table(command: Any) -> list[str]:
    rows = [_parameter_row(p) for p in command.params if p.name != "help"]
    return list(markdown_table(("Argument or option", "Default", "Meaning"), rows)) if rows else []


def _help_lines(text: str | None) -> list[str]:
    # \b and \f are click's marks for "keep these lines" and "not in the help"
    visible = (text or "").split("\f")[0].replace("\b", "")
    return [line.rstrip() for line in visible.strip().splitlines()]


def _argument_name(argument: Any) -> str:
    return str(argument.metavar or argument.name).upper()


def _parameter_row(parameter: Any) -> tuple[str, str, str]:
    if parameter.param_type_name == "argument":
        name = f"`{_argument_name(parameter)}`"
    else:
        name = ", ".join(f"`{option}`" for option in (*parameter.opts, *parameter.secondary_opts))
    default = parameter.default
    if parameter.required:
        shown = "required"
    else:
        shown = "" if default is None or callable(default) or default is False else f"`{default}`"
    return name, shown, " ".join((getattr(parameter, "help", None) or "").split())
