"""Small pictures for the record, and a reader of its page."""

import io
from html.parser import HTMLParser

import numpy as np
from PIL import Image

SETTINGS = '[panel]\nname = "Roof <cover> 7"\n'


def png(shape=(30, 40)):
    store = io.BytesIO()
    Image.fromarray(np.full((*shape, 3), 120, np.uint8)).save(store, format="PNG")
    return store.getvalue()


PICTURES = {
    "front_lines": png(),
    "curve": png(),
    "squared": png(),
    "plan": b"<svg xmlns='a'></svg>",
}
VOID = {"meta", "img", "br", "hr", "link", "input"}


class Page(HTMLParser):
    """Checks that tags nest, and keeps the text, the tags and the references."""

    def __init__(self, text):
        super().__init__()
        self.open, self.tags, self.words, self.references = [], [], [], []
        self.feed(text)
        self.close()
        assert self.open == []

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.references += [v for k, v in attrs if k in ("src", "href", "xlink:href", "action")]
        if tag not in VOID:
            self.open.append(tag)

    def handle_startendtag(self, tag, attrs):
        self.handle_starttag(tag, attrs)
        if tag not in VOID:
            self.open.pop()

    def handle_endtag(self, tag):
        assert self.open.pop() == tag

    def handle_data(self, data):
        if self.open and self.open[-1] != "style" and data.strip():
            self.words.append(" ".join(data.split()))
