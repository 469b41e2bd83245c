"""Read a report's HTML with the standard library, strictly: every tag must be closed in order."""

from __future__ import annotations

from dataclasses import dataclass, field
from html.parser import HTMLParser

VOID = {"meta", "col", "img"}
"""The elements without an end tag that reports use (HTML Living Standard, 13.1.2)."""


@dataclass
class Element:
    """One element: its tag, attributes and text, in document order."""

    tag: str
    attributes: dict[str, str]
    text: str = ""


@dataclass
class Page(HTMLParser):
    """A parsed page; ``faults`` are tags closed out of order or never."""

    elements: list[Element] = field(default_factory=list)
    faults: list[str] = field(default_factory=list)
    open: list[Element] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Set up the parser."""
        super().__init__(convert_charrefs=True)

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Open an element."""
        element = Element(tag, {name: value or "" for name, value in attrs})
        self.elements.append(element)
        if tag not in VOID:
            self.open.append(element)

    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element of SVG that closes itself."""
        self.elements.append(Element(tag, {name: value or "" for name, value in attrs}))

    def handle_endtag(self, tag: str) -> None:
        """Close the innermost element, which must be ``tag``."""
        if not self.open or self.open[-1].tag != tag:
            self.faults.append(f"</{tag}> at {self.getpos()}")
        else:
            self.open.pop()

    def handle_data(self, data: str) -> None:
        """Give the text to all open elements."""
        for element in self.open:
            element.text += data

    def all(self, *tags: str) -> list[Element]:
        """Return the elements with these tags, in order."""
        return [element for element in self.elements if element.tag in tags]


def read(html: str) -> Page:
    """Return the page that ``html`` is."""
    page = Page()
    page.feed(html)
    page.close()
    page.faults += [f"<{element.tag}> is never closed" for element in page.open]
    return page
