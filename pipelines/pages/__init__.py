"""Static pages for people: overview, curves, a page per site, a fix sheet per returned trial, the safety lead's page.

No script, no network.
"""

from pipelines.pages.build import write_pages

__all__ = ["write_pages"]
