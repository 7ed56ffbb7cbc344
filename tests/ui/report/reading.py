"""A page read back as a browser would, with what it would load and run."""

import re
from dataclasses import dataclass, field
from html.parser import HTMLParser

from typing_extensions import override

VOID = {"meta", "img", "br", "hr", "input", "link"}
LOADING = {"src", "srcset", "href", "xlink:href", "data", "action", "poster"}
LOADING |= {"background", "formaction", "ping", "cite"}


@dataclass
class Read(HTMLParser):
    """What was found on a page.

    Attributes:
        tags: every element in order, with its attributes.
        words: every text outside of style sheets, by the elements around it.
        style: the style sheets' text.
    """

    tags: list[tuple[str, dict[str, str | None]]] = field(default_factory=list)
    words: list[tuple[tuple[str, ...], str]] = field(default_factory=list)
    style: str = ""
    open: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        super().__init__(convert_charrefs=True)

    @override
    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if tag not in VOID:
            self.open.append(tag)

    @override
    def handle_startendtag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))

    @override
    def handle_endtag(self, tag: str) -> None:
        assert self.open, f"</{tag}> closes nothing"
        assert self.open.pop() == tag, f"</{tag}> in the wrong place"

    @override
    def handle_data(self, data: str) -> None:
        if "style" in self.open:
            self.style += data
        elif data.strip():
            self.words.append((tuple(self.open), " ".join(data.split())))

    def text(self) -> str:
        """Everything that can be read."""
        return " ".join(words for _, words in self.words)

    def within(self, tag: str) -> list[str]:
        """Texts inside such elements."""
        return [words for around, words in self.words if tag in around]

    def references(self) -> list[str]:
        """Everything that the page points at, from attributes and styles."""
        found = [
            value or ""
            for _, attributes in self.tags
            for name, value in attributes.items()
            if name in LOADING
        ]
        styles = [self.style]
        styles += [a["style"] or "" for _, a in self.tags if a.get("style")]
        styles += [a["clip-path"] or "" for _, a in self.tags if a.get("clip-path")]
        for style in styles:
            found += re.findall(r"url\(\s*['\"]?([^)'\"]*)", style)
            found += re.findall(r"@import\s+(\S+)", style)
        return found


def read(text: str) -> Read:
    """Parse a page; every element must be closed in its place."""
    page = Read()
    page.feed(text)
    page.close()
    assert page.open == [], f"never closed: {page.open}"
    return page
