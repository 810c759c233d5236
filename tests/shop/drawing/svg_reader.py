"""Reading a drawing back: elements by class and by shape, so that tests speak of marks."""

from __future__ import annotations

from xml.etree import ElementTree

NS = "{http://www.w3.org/2000/svg}"


def parse(svg: str) -> ElementTree.Element:
    """Parse a drawing; broken markup or a style attribute fails the test at once."""
    root = ElementTree.fromstring(svg)
    for element in root.iter():
        assert "style" not in element.attrib, "the content policy forbids inline style"
        assert element.tag != f"{NS}style"
    return root


def found(svg: str, name: str, **attributes: str) -> list[ElementTree.Element]:
    """Return the elements of a name whose attributes have exactly these values."""
    wanted = {key.rstrip("_").replace("_", "-"): value for key, value in attributes.items()}
    return [
        element
        for element in parse(svg).iter(f"{NS}{name}")
        if all(element.get(key) == value for key, value in wanted.items())
    ]


def words(svg: str) -> list[str]:
    """Return the texts written in a drawing."""
    return [element.text or "" for element in parse(svg).iter(f"{NS}text")]
