"""The HTML pages: overview, one per site, one fix sheet per returned trial."""
