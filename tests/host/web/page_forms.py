"""Every form that a desk shows, found by walking from page to page as a person would."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from html.parser import HTMLParser
from typing import Any
from urllib.parse import urldefrag

#: Inputs that take whatever is typed.
_WORDS = ("text", "search", "password", "email", "tel", "url", "date", "number")


@dataclass
class Form:
    """One form of one page: where it goes, what it sends untouched, and which fields take words."""

    page: str
    action: str
    method: str
    data: dict[str, str] = field(default_factory=dict)
    words: list[str] = field(default_factory=list)


class _Reader(HTMLParser):
    def __init__(self, page: str) -> None:
        super().__init__()
        self.page, self.links, self.forms = page, [], []
        self._form: Form | None = None
        self._textarea = self._select = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        said = {name: value or "" for name, value in attrs}
        if tag == "a" and said.get("href", "").startswith("/"):
            self.links.append(urldefrag(said["href"])[0])
        if tag == "form":
            action = said.get("action") or self.page
            self._form = Form(page=self.page, action=action, method=said.get("method", "get"))
            self.forms.append(self._form)
        if self._form is None or not (said.get("name") or tag == "option"):
            return
        name, kind = said.get("name", ""), said.get("type", "text")
        if tag == "textarea":
            self._form.words.append(name)
            self._textarea = name
            self._form.data[name] = ""
        elif tag == "select":
            self._select = name
        elif tag == "option" and self._select and ("selected" in said or self._select not in self._form.data):
            self._form.data[self._select] = said.get("value", "")
        elif tag == "input" and kind in _WORDS:
            self._form.words.append(name)
            self._form.data[name] = said.get("value", "")
        elif tag == "input" and kind in ("hidden", "checkbox", "radio"):
            if kind == "hidden" or "checked" in said:
                self._form.data[name] = said.get("value", "on")

    def handle_endtag(self, tag: str) -> None:
        if tag == "form":
            self._form = None
        if tag == "textarea":
            self._textarea = ""
        if tag == "select":
            self._select = ""

    def handle_data(self, data: str) -> None:
        if self._textarea and self._form is not None:
            self._form.data[self._textarea] += data


def pages_of(reader: Any, *begin: str, without: str = "\0") -> Iterator[tuple[str, str, list[Form]]]:
    """Address, text and forms of every page that can be reached by links, help and papers left out."""
    waiting, seen = list(begin or ("/",)), set(begin or ("/",))
    while waiting:
        address = waiting.pop(0)
        answer = reader.get(address)
        if answer.mimetype != "text/html":
            answer.close()
            continue
        assert answer.status_code < 500, address
        text = answer.get_data(as_text=True)
        parsed = _Reader(address)
        parsed.feed(text)
        yield address, text, parsed.forms
        for link in parsed.links:
            is_other = without in link or link.startswith("/help") or "." in link
            if link not in seen and not is_other:
                seen.add(link)
                waiting.append(link)
