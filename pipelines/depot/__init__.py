"""What the depot holds and knows: bytes, deliveries, consents, decisions, ledger, releases."""
