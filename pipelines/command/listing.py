"""How the list of commands in a help is written: each with its whole first sentence, wrapped and never cut."""

from __future__ import annotations

from typing import Any

from typer.core import TyperGroup

_NO_LIMIT = 10_000


class Commands(TyperGroup):
    """A group of commands whose help tells all of what each is for."""

    def format_commands(self, ctx: Any, formatter: Any) -> None:
        """Write the list of commands."""
        listed = ((name, self.get_command(ctx, name)) for name in self.list_commands(ctx))
        rows = [(name, one.get_short_help_str(_NO_LIMIT)) for name, one in listed if one is not None and not one.hidden]
        with formatter.section("Commands"):
            formatter.write_dl(rows)
