"""``python -m pipelines.cli`` is the ``manystrides`` command; all of it is in ``pipelines.command.main``."""

from __future__ import annotations


def main() -> None:
    """Run the command; an interruption while it is being loaded ends it with one sentence, too."""
    try:
        from pipelines.command.main import main as command
    except KeyboardInterrupt:
        raise SystemExit(_told()) from None
    command()


def _told() -> int:
    import sys

    from pipelines.command.exit_codes import INTERRUPTED, INTERRUPTED_TOLD

    print(INTERRUPTED_TOLD, file=sys.stderr)
    return INTERRUPTED


if __name__ == "__main__":
    main()
