"""What HAPPENS, in order: intake, consent, outcomes, checks, warehouse, pages; and the ``manystrides`` command."""
