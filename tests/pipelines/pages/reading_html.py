"""Reads a page the way a test wants it: elements with their attributes and text, by the standard library's parser."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser
from pathlib import Path

_VOID = {"meta", "br", "img", "link", "hr", "input"}


@dataclass
class Element:
    tag: str
    attributes: dict[str, str]
    parent: Element | None = None
    children: list[Element | str] = field(default_factory=list)

    @property
    def text(self) -> str:
        return "".join(c if isinstance(c, str) else c.text for c in self.children)

    @property
    def words(self) -> str:
        return " ".join(self.text.split())

    def all(self, *tags: str) -> list[Element]:
        found = []
        for child in self.children:
            if isinstance(child, Element):
                found += [child] if not tags or child.tag in tags else []
                found += child.all(*tags)
        return found


class _Reader(HTMLParser):
    def __init__(self) -> None:
        super().__init__(convert_charrefs=True)
        self.top = self.here = Element("#page", {})
        self.closed_wrongly: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        element = Element(tag, {k: v or "" for k, v in attrs}, self.here)
        self.here.children.append(element)
        if tag not in _VOID:
            self.here = element

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.here.children.append(Element(tag, {k: v or "" for k, v in attrs}, self.here))

    def handle_endtag(self, tag: str) -> None:
        if self.here.tag != tag or self.here.parent is None:
            self.closed_wrongly.append(f"</{tag}> closes <{self.here.tag}>")
            return
        self.here = self.here.parent

    def handle_data(self, data: str) -> None:
        self.here.children.append(data)


def read(path: Path) -> Element:
    """The page's elements; an element closed by another's end tag is refused."""
    reader = _Reader()
    reader.feed(path.read_text(encoding="utf-8"))
    reader.close()
    assert not reader.closed_wrongly, (path, reader.closed_wrongly[:3])
    assert reader.here is reader.top, f"{path}: <{reader.here.tag}> is never closed"
    return reader.top
