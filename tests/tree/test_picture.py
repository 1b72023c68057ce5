"""The picture of a route: nothing in it touches anything else, on light ground and on dark."""

import itertools
import re
import xml.etree.ElementTree as ElementTree
from collections.abc import Iterator
from dataclasses import replace

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from faulttree.tree.car import describe_car
from faulttree.tree.graph import NodeId, next_on_route
from faulttree.tree.load import load_all
from faulttree.tree.model import Knowledge
from faulttree.tree.outline import TEST, Outline, Step, outline
from faulttree.tree.picture import as_svg, extent, wrap
from faulttree.tree.places import shipped

SVG = "{http://www.w3.org/2000/svg}"
Box = tuple[float, float, float, float]

# Advances of DejaVu Sans and DejaVu Sans Bold 2.37, in thousandths of the size, from the fonts'
# own `hmtx` tables: of the fonts without serifs that systems come with, they are the widest.
WIDTHS = {
    False: {
        275: "'", 278: "ijl", 295: "IJ", 318: " ,.", 337: "/:;\\|", 352: "f", 361: "-",
        390: "()[]", 392: "t", 401: "!", 411: "r", 460: '"', 500: "*_`", 521: "s", 525: "z",
        531: "?", 550: "c", 557: "L", 575: "F", 579: "k", 592: "vxy", 603: "P", 611: "TY",
        612: "o", 613: "a", 615: "e", 632: "E", 634: "hnu", 635: "Sbdgpq", 636: "$0123456789{}",
        656: "K", 684: "AV", 685: "XZ", 686: "B", 695: "R", 698: "C", 732: "U", 748: "N",
        752: "H", 770: "D", 775: "G", 780: "&", 787: "OQ", 818: "w", 838: "#+<=>^~", 863: "M",
        873: "○●◌", 769: "▶", 945: "■", 950: "%", 974: "m", 989: "W", 1000: "@…",
    },
    True: {
        306: "'", 343: "ijl", 348: " ", 365: "/\\|", 372: "IJ", 380: ",.", 400: ":;", 415: "-",
        435: "f", 456: "!", 457: "()[]", 478: "t", 493: "r", 500: "_`", 521: '"', 523: "*",
        580: "?", 582: "z", 593: "c", 595: "s", 637: "L", 645: "x", 652: "vy", 665: "k",
        675: "a", 678: "e", 682: "T", 683: "EF", 687: "o", 696: "$0123456789", 712: "hnu{}",
        716: "bdgpq", 720: "S", 724: "Y", 725: "Z", 733: "P", 734: "C", 762: "B", 770: "R",
        771: "X", 774: "AV", 775: "K", 812: "U", 821: "G", 830: "D", 837: "HN", 838: "#+<=>^~",
        850: "OQ", 872: "&", 924: "w", 995: "M", 1000: "@…", 1002: "%", 1042: "m", 1103: "W",
    },
}  # fmt: skip
SHARE = {
    bold: {c: wide / 1000 for wide, letters in table.items() for c in letters}
    for bold, table in WIDTHS.items()
}


def width_of(text: str, size: float, *, bold: bool) -> float:
    """How wide a text comes out in the widest common font."""
    return sum(SHARE[bold][character] for character in text) * size


@pytest.fixture(scope="module")
def pictures() -> dict[str, ElementTree.Element]:
    """The picture of every shipped tree, and of one with the way of a walk on it."""
    shop = load_all(shipped("trees"))
    made = {tree: ElementTree.fromstring(as_svg(outline(shop, tree))) for tree in shop.trees}
    return {**made, "walked": ElementTree.fromstring(as_svg(walked(shop)))}


def walked(shop: Knowledge) -> Outline:
    """A shipped tree on which somebody has taken the way of all that is expected."""
    tree = shop.trees["idle-unsteady"]
    readings = {test: shop.tests[test].expect for test in list(tree.route)[:12]}
    return outline(shop, tree.id, [next_on_route(shop, tree.id, readings, describe_car(shop))])


def box_of(rect: ElementTree.Element) -> Box:
    """Left, top, right and bottom of a rectangle."""
    x, y, wide, high = (float(rect.get(key, 0)) for key in ("x", "y", "width", "height"))
    return x, y, x + wide, y + high


def boxes(picture: ElementTree.Element) -> list[Box]:
    """Every box and every label's patch."""
    return [box_of(rect) for group in picture.iter(f"{SVG}g") for rect in group.iter(f"{SVG}rect")]


def apart(one: Box, other: Box, gap: float) -> bool:
    """Whether two boxes have at least a gap between them, across or down."""
    return (
        one[2] + gap <= other[0]
        or other[2] + gap <= one[0]
        or one[3] + gap <= other[1]
        or other[3] + gap <= one[1]
    )


def points(path: str) -> Iterator[tuple[float, float]]:
    """Points close together along a path of straight lines and Bezier curves."""
    here = (0.0, 0.0)
    for kind, numbers in re.findall(r"([MLC])([-\d. ]+)", path):
        values = list(map(float, numbers.split()))
        ends = list(zip(values[::2], values[1::2], strict=True))
        if kind != "M":
            control = [here, *ends]
            for step in range(1, 33):
                yield _at(control, step / 32)
        here = ends[-1]


def _at(control: list[tuple[float, float]], t: float) -> tuple[float, float]:
    """De Casteljau's point of a curve with any number of control points."""
    while len(control) > 1:
        control = [
            (a[0] + (b[0] - a[0]) * t, a[1] + (b[1] - a[1]) * t)
            for a, b in itertools.pairwise(control)
        ]
    return control[0]


def test_no_two_boxes_or_labels_touch(pictures: dict[str, ElementTree.Element]) -> None:
    """In every shipped tree's picture there is room between any two boxes and labels."""
    for name, picture in pictures.items():
        there = boxes(picture)
        assert len(there) > 30
        for one, other in itertools.combinations(there, 2):
            assert apart(one, other, 8.0), (name, one, other)


def test_all_lies_within_the_picture(pictures: dict[str, ElementTree.Element]) -> None:
    """No box, label or line leaves the picture, and title and legend fit its width."""
    for picture in pictures.values():
        wide, high = float(picture.get("width", 0)), float(picture.get("height", 0))
        for left, top, right, bottom in boxes(picture):
            assert 0 <= left < right <= wide
            assert 0 <= top < bottom <= high
        for path in picture.findall(f"{SVG}path"):
            for x, y in points(path.get("d", "")):
                assert 0 <= x <= wide
                assert 0 <= y <= high
        for text in picture.findall(f"{SVG}text"):
            bold = text.get("font-weight") == "bold"
            size = float(text.get("font-size", 12))
            shown = width_of(text.text or "", size, bold=bold)
            assert float(text.get("x", 0)) + shown <= wide


def test_every_text_fits_its_box_in_the_widest_font(
    pictures: dict[str, ElementTree.Element],
) -> None:
    """Names and bands stay within their boxes and patches, measured with a real font's widths."""
    for name, picture in pictures.items():
        for group in picture.iter(f"{SVG}g"):
            rect = group.find(f"{SVG}rect")
            assert rect is not None
            left, top, right, bottom = box_of(rect)
            for text in group.iter(f"{SVG}text"):
                bold = text.get("font-weight") == "bold"
                size = float(text.get("font-size", 12))
                half = width_of(text.text or "", size, bold=bold) / 2
                x, y = float(text.get("x", 0)), float(text.get("y", 0))
                assert left <= x - half, (name, text.text)
                assert x + half <= right, (name, text.text)
                # DejaVu rises 0.76 of its size above the line for capitals, falls 0.24 below it.
                assert top <= y - 0.76 * size
                assert y + 0.24 * size <= bottom


def test_no_line_runs_through_a_box_or_a_label_of_another(
    pictures: dict[str, ElementTree.Element],
) -> None:
    """A line touches the box that it leaves, its own label and the box that it leads to."""
    for name, picture in pictures.items():
        there = boxes(picture)
        for path in picture.findall(f"{SVG}path"):
            touched = set()
            for x, y in points(path.get("d", "")):
                for at, (left, top, right, bottom) in enumerate(there):
                    if left < x < right and top < y < bottom:
                        touched.add(at)
            assert len(touched) <= 1, (name, path.get("d"))  # its label: it ends at boxes' edges


def test_walked_way_differs_by_more_than_colour(pictures: dict[str, ElementTree.Element]) -> None:
    """The way that was taken has thick lines and boxes and bold labels, each of them both ways."""
    picture = pictures["walked"]
    thick = [p for p in picture.findall(f"{SVG}path") if p.get("stroke-width") == "3.5"]
    labels = [g for g in picture.iter(f"{SVG}g") if g.get("class") == "label"]
    bold = [g for g in labels if g.find(f"{SVG}text[@font-weight='bold']") is not None]
    rects = [r for g in picture.iter(f"{SVG}g") for r in g.iter(f"{SVG}rect")]
    framed = [rect for rect in rects if rect.get("stroke-width") == "3.5"]
    assert len(thick) == len(bold) == len(framed) - 1 >= 5
    assert {p.get("stroke") for p in picture.findall(f"{SVG}path")} == {"black"}
    plain = pictures["idle-unsteady"]
    assert not [p for p in plain.findall(f"{SVG}path") if p.get("stroke-width") == "3.5"]


def luminance(colour: str) -> float:
    """Relative luminance of a colour (WCAG 2.2, W3C Recommendation, definition of the term)."""
    named = {"white": "#ffffff", "black": "#000000"}
    code = named.get(colour, colour)
    parts = [int(code[at : at + 2], 16) / 255 for at in (1, 3, 5)]
    linear = [p / 12.92 if p <= 0.04045 else ((p + 0.055) / 1.055) ** 2.4 for p in parts]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]


def test_picture_is_legible_on_light_and_on_dark_ground(
    pictures: dict[str, ElementTree.Element],
) -> None:
    """Letters and lines stand out from the ground by 7 to 1 or more in both (WCAG 2.2, 1.4.6).

    Everything that is filled or drawn with a colour has a class that the dark style knows, so that
    no black line is left on dark ground.
    """
    picture = pictures["walked"]
    style = picture.findtext(f"{SVG}style") or ""
    assert style.startswith("@media (prefers-color-scheme:dark){")
    rules = dict(re.findall(r"([.\w,]+)\{((?:fill|stroke):#\w+)\}", style))
    dark = {name: value for names, value in rules.items() for name in names.split(",")}
    assert dark.keys() == {".paper", ".line", "text", ".head"}
    ground = dark[".paper"].partition(":")[2]
    for name in (".line", "text", ".head"):
        ink = dark[name].partition(":")[2]
        assert (luminance(ink) + 0.05) / (luminance(ground) + 0.05) >= 7
    assert (luminance("white") + 0.05) / (luminance("black") + 0.05) >= 7
    for element in picture.iter():
        classes = (element.get("class") or "").split()
        if element.get("fill") == "white":
            assert "paper" in classes
        if element.get("stroke") not in (None, "none"):
            assert "line" in classes
        if element.tag == f"{SVG}path" and element.get("fill") is None:
            assert "head" in classes
        assert element.get("fill") in (None, "none", "white")


@settings(max_examples=150, deadline=None)
@given(
    text=st.text(alphabet=st.characters(min_codepoint=32, max_codepoint=126), max_size=80),
    bold=st.booleans(),
)
def test_extent_is_no_less_than_the_widest_font_takes(text: str, bold: bool) -> None:
    """What a text is taken to need is at least what it takes in a real wide font."""
    assert extent(text, 12, bold=bold) >= width_of(text, 12, bold=bold) - 1e-9


@settings(max_examples=150, deadline=None)
@given(text=st.text(max_size=120), wide=st.floats(20, 200), most=st.integers(1, 5))
def test_wrapped_lines_fit_and_lose_nothing_in_silence(text: str, wide: float, most: int) -> None:
    """No line is too wide, and either all words are there or the last line ends in an ellipsis."""
    lines = wrap(text, wide, 12, most)
    assert 1 <= len(lines) <= most
    for line in lines:
        assert extent(line, 12) <= wide or len(line) == 1
    whole = "".join(text.split())
    shown = "".join("".join(lines).split())
    assert shown == whole or (shown.endswith("…") and whole.startswith(shown[:-1]))


def test_many_wide_labels_get_room() -> None:
    """However many long bands leave a test, each has a place of its own below it."""
    start: NodeId = ("test", "a")
    ends: list[NodeId] = [("cause", f"c{at}") for at in range(9)]
    steps = tuple(Step(start, end, ("WWW MMM @@@ " * 5,), walked=True) for end in ends)
    made = Outline(
        title="W" * 200,
        first=start,
        names=dict.fromkeys((start, *ends), "W" * 90),
        signs=dict.fromkeys((start, *ends), TEST),
        depths={start: 0, **dict.fromkeys(ends, 1)},
        steps=steps,
        ahead={},
    )
    for each in (made, replace(made, walked=True)):
        picture = ElementTree.fromstring(as_svg(each))
        there = boxes(picture)
        assert len(there) == 10 + 9
        for one, other in itertools.combinations(there, 2):
            assert apart(one, other, 8.0)
