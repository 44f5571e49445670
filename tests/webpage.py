"""A check of HTML files that have to stand alone: balanced, named, with nothing from elsewhere."""

from __future__ import annotations

from html.parser import HTMLParser

VOID = {"meta", "img", "br", "hr", "link", "input", "col", "source", "wbr"}
POINTING = {"src", "href", "data", "poster", "action", "srcset", "background"}


class Page(HTMLParser):
    """A parsed page.

    Attributes
    ----------
    faults : list of str
        What is wrong with it.
    tags : list of str
        Every element that it opens, in order.
    texts : list of str
        Its visible text, piece by piece.
    """

    def __init__(self, text: str) -> None:
        super().__init__()
        self.faults: list[str] = []
        self.tags: list[str] = []
        self.texts: list[str] = []
        self._open: list[str] = []
        self.feed(text)
        self.close()
        self.faults += [f"<{tag}> stays open" for tag in self._open]
        if not text.startswith("<!DOCTYPE html>"):
            self.faults.append("has no document type")
        for tag in ("html", "head", "title", "body"):
            if self.tags.count(tag) != 1:
                self.faults.append(f"has {self.tags.count(tag)} <{tag}>")
        for word in ("@import", "url(", "http-equiv"):
            if word in text:
                self.faults.append(f"contains {word}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note an element; what it points to must lie in the page."""
        self.tags.append(tag)
        if tag not in VOID:
            self._open.append(tag)
        for name, value in attrs:
            if name in POINTING and not (value or "").startswith(("data:", "#")):
                self.faults.append(f"<{tag}> points to {value}")
            if name.startswith("on"):
                self.faults.append(f"<{tag}> has {name}")
        if tag == "img" and not dict(attrs).get("alt"):
            self.faults.append("an image has no words")

    def handle_endtag(self, tag: str) -> None:
        """Take the innermost element, which must be this one."""
        if not self._open or self._open.pop() != tag:
            self.faults.append(f"</{tag}> closes something else")

    def handle_data(self, data: str) -> None:
        """Keep text, except that of the style."""
        if self._open and self._open[-1] not in ("style", "script") and data.strip():
            self.texts.append(data)

    @property
    def text(self) -> str:
        """All visible text, with single blanks."""
        return " ".join(" ".join(self.texts).split())
