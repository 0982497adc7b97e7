"""Static pages for people: an overview, a page per site, a fix sheet per returned trial. No script, no network."""

from pipelines.pages.build import write_pages

__all__ = ["write_pages"]
