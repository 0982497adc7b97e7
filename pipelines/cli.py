"""``python -m pipelines.cli`` is the ``manystrides`` command; all of it is in ``pipelines.command.main``."""

from pipelines.command.main import main

if __name__ == "__main__":
    main()
