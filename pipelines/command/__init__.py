"""The ``manystrides`` command: arguments, printing, exit codes, and the pages made from them. It decides nothing."""
