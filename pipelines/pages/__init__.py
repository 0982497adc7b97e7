"""Static pages for people: overview, worklist, answers, a page per site, a fix sheet per returned trial and others.

No network, and one script of ours that narrows and sorts lists; all is there without it.
"""

from pipelines.pages.build import write_pages
from pipelines.pages.safety import write_safety

__all__ = ["write_pages", "write_safety"]
