"""
The wiring drawing: whole, legible, the same every time, safe to put on a page.

Overlap is judged on the room each thing is given; that the room is enough is checked against the metrics of
the face itself where it is installed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from types import MappingProxyType
from xml.etree import ElementTree

import msgspec
import pytest
from hypothesis import given
from hypothesis import strategies as st

from humclick.arrangements.arrangement import arrangement, arrangements
from humclick.arrangements.machine import Machine
from humclick.circuit.drawing import describe_wiring, draw_svg, draw_text
from humclick.circuit.drawing_svg import clean
from humclick.circuit.layout import lay_out, machine_nodes
from humclick.circuit.layout_rows import lay_out_rows
from humclick.circuit.scene import Box, Scene, advance, wrap
from humclick.diagnosis.probes import probes_of
from humclick.errors import DataError, OutOfRange, Refused, Unknown
from humclick.messages import Message
from humclick.readings.shown import percent
from tests.sample import sampled

SVG = "{http://www.w3.org/2000/svg}"
KINDS = [(name, protector) for name in arrangements() for protector in arrangement(name).protectors]
FACE = Path("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf")

#: Every arrangement is drawn with one of its protectors; with each of them in the long run.
FIRST = {
    (name, arrangement(name).protectors[k % len(arrangement(name).protectors)])
    for k, name in enumerate(arrangements())
}
every_machine = pytest.mark.parametrize(
    ("name", "protector"),
    sampled(KINDS, FIRST),
)


def all_suspect(machine: Machine) -> dict[str, float]:
    """Suspect every part, so that every label has its longest form."""
    return {placed.id: 0.995 for placed in machine.parts}


def ids(element: ElementTree.Element) -> set[str]:
    return {e.attrib["id"] for e in element.iter() if "id" in e.attrib}


def words_of(svg: str) -> list[str]:
    return [e.text or "" for e in ElementTree.fromstring(svg).iter(f"{SVG}text")]


def solid(scene: Scene) -> list[tuple[str, Box]]:
    """Everything that must keep clear of everything else."""
    return [
        *((f"text {t.text!r}", t.box) for t in scene.texts),
        *((f"symbol of {s.part}", s.box) for s in scene.symbols),
        *((f"node {n.name}", n.box) for n in scene.nodes.values()),
    ]


def cuts(a: tuple[float, float], b: tuple[float, float], box: Box) -> bool:
    """Whether a straight piece of wire runs through the inside of a box (Liang and Barsky's clipping)."""
    low, high = 0.0, 1.0
    for start, delta, floor, ceiling in (
        (a[0], b[0] - a[0], box.left, box.right),
        (a[1], b[1] - a[1], box.top, box.bottom),
    ):
        if delta == 0:
            if not floor < start < ceiling:
                return False
            continue
        first, last = sorted(((floor - start) / delta, (ceiling - start) / delta))
        low, high = max(low, first), min(high, last)
    return high - low > 1e-6


def pieces(scene: Scene) -> Iterator[tuple[tuple[float, float], tuple[float, float]]]:
    for wire in scene.wires:
        yield from zip(wire.points, wire.points[1:], strict=False)


@every_machine
@pytest.mark.parametrize("suspected", [False, True])
def test_nothing_overlaps_and_nothing_leaves_the_page(name: str, protector: str, suspected: bool) -> None:
    """Texts, symbols and the room for probe marks keep clear of each other and inside the drawing."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine, all_suspect(machine) if suspected else None)
    page = Box(0, 0, 360, scene.height)
    things = solid(scene)
    assert [what for what, box in things if not page.holds(box)] == []
    assert [(a, b) for (a, p), (b, q) in combinations(things, 2) if p.meets(q)] == []


@every_machine
def test_text_stands_inside_an_outline_or_clear_of_it(name: str, protector: str) -> None:
    """No outline of outlet, cord, plug strip, shell or caution runs through a word or a symbol."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine, all_suspect(machine))
    struck = [
        (frame.kind, what)
        for frame in scene.frames
        for what, box in solid(scene)
        if not what.startswith("node ") and frame.box.meets(box) and not frame.box.holds(box)
    ]
    assert struck == []


@every_machine
def test_wires_run_through_no_word_and_no_symbol(name: str, protector: str) -> None:
    """A wire touches a symbol only at its ends and never crosses text."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine, all_suspect(machine))
    boxes = [(f"text {t.text!r}", t.box) for t in scene.texts]
    boxes += [(f"symbol of {s.part}", s.box) for s in scene.symbols if s.angle % 90 == 0]
    assert [(what, a, b) for what, box in boxes for a, b in pieces(scene) if cuts(a, b, box)] == []


@every_machine
def test_wires_cross_only_where_they_are_joined(name: str, protector: str) -> None:
    """Two wires meet only at a dot, a node or a corner of both."""
    scene = lay_out(Machine.of(name, protector))
    joints = {*scene.dots, *((n.x, n.y) for n in scene.nodes.values())}
    bad = []
    for (a, b), (c, d) in combinations(list(pieces(scene)), 2):
        upright, level = sorted(((a, b), (c, d)), key=lambda p: p[0][0] != p[1][0])
        if upright[0][0] != upright[1][0] or level[0][1] != level[1][1]:
            continue
        at = (upright[0][0], level[0][1])
        inside_level = min(p[0] for p in level) < at[0] < max(p[0] for p in level)
        inside_upright = min(p[1] for p in upright) < at[1] < max(p[1] for p in upright)
        if inside_level and inside_upright and at not in joints:
            bad.append(at)
    assert bad == []


@every_machine
def test_every_branching_of_wires_has_its_dot(name: str, protector: str) -> None:
    """Where three ways of wire meet there is a dot or a node, and no dot stands anywhere else."""
    scene = lay_out(Machine.of(name, protector))
    ways: dict[tuple[float, float], set[tuple[float, float]]] = {}
    for a, b in pieces(scene):
        for p in {end for piece in pieces(scene) for end in piece}:
            if min(a[0], b[0]) <= p[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= p[1] <= max(a[1], b[1]):
                if 0 not in (a[0] - b[0], a[1] - b[1]):
                    continue
                for end in (a, b):
                    if end != p:
                        step = ((end[0] > p[0]) - (end[0] < p[0]), (end[1] > p[1]) - (end[1] < p[1]))
                        ways.setdefault(p, set()).add(step)
    branchings = {p for p, steps in ways.items() if len(steps) > 2}
    nodes = {(n.x, n.y) for n in scene.nodes.values()}
    assert branchings - nodes == set(scene.dots) - nodes


@every_machine
def test_every_part_and_every_node_is_there(name: str, protector: str) -> None:
    """All parts have a shape, all nodes a place, and their names are written."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine)
    shapes = {symbol.part for symbol in scene.symbols} | {frame.part for frame in scene.frames}
    assert shapes - {""} == {placed.id for placed in machine.parts}
    assert set(scene.nodes) == machine_nodes(machine)
    written = words_of(draw_svg(machine))
    assert machine_nodes(machine) <= set(written)
    together = " ".join(written)
    for placed in machine.parts:
        assert set(placed.family.title.split()) <= set(together.split())


@every_machine
def test_each_element_is_wired_to_both_its_nodes(name: str, protector: str) -> None:
    """Following the drawn wires joins exactly the nodes the network joins without passing through a part."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine)
    conducting = [(n, n) for n in machine_nodes(machine)] + list(machine.wires)
    for part in ("supply", "wiring"):  # drawn as wires, with an outline round them
        if any(placed.id == part for placed in machine.parts):
            branches = machine.part(part).family.mode("healthy").branches
            place = machine.part(part).connect
            conducting += [(place[b.between[0]], place[b.between[1]]) for b in branches]
    drawn = _groups(_drawn_groups(scene), set(scene.nodes))
    assert drawn == _groups(conducting, machine_nodes(machine))


def _drawn_groups(scene: Scene) -> list[tuple[str, str]]:
    points = {(n.x, n.y): n.name for n in scene.nodes.values()}
    ends = [p for piece in pieces(scene) for p in piece]
    spots = {p: points.get(p, f"@{p}") for p in [*ends, *points]}
    joins = []
    for a, b in pieces(scene):
        for p, spot in spots.items():
            straight = abs((b[0] - a[0]) * (p[1] - a[1]) - (b[1] - a[1]) * (p[0] - a[0])) < 1e-6
            within = min(a[0], b[0]) <= p[0] <= max(a[0], b[0]) and min(a[1], b[1]) <= p[1] <= max(a[1], b[1])
            if straight and within:
                joins.append((spots[a], spot))
    return joins


def _groups(pairs: list[tuple[str, str]], names: set[str]) -> set[frozenset[str]]:
    group = {name: {name} for pair in pairs for name in pair} | {name: {name} for name in names}
    for a, b in pairs:
        if group[a] is not group[b]:
            merged = group[a] | group[b]
            for one in merged:
                group[one] = merged
    return {frozenset(n for n in one if n in names) for one in group.values()} - {frozenset()}


@every_machine
@pytest.mark.parametrize("dark", [False, True])
def test_svg_is_well_formed_accessible_and_self_contained(name: str, protector: str, dark: bool) -> None:
    """The drawing parses, names itself, and holds no script, style, event, link or picture."""
    machine = Machine.of(name, protector)
    svg = draw_svg(machine, machine.pins[:2], all_suspect(machine), dark)
    root = ElementTree.fromstring(svg)
    assert root.attrib["role"] == "img"
    assert set(root.attrib["aria-labelledby"].split()) == ids(root)
    assert all(root.findtext(f"{SVG}{tag}") for tag in ("title", "desc"))
    tags = {e.tag.removeprefix(SVG) for e in root.iter()}
    assert tags <= {"svg", "title", "desc", "rect", "path", "circle", "g", "text"}
    attributes = {a for e in root.iter() for a in e.attrib}
    assert not {a for a in attributes if a in ("style", "class") or a.startswith("on") or "href" in a}
    assert "url(" not in svg
    assert all(float(e.attrib["font-size"]) >= 13 for e in root.iter(f"{SVG}text"))
    assert root.attrib["viewBox"].split()[2] == "360"


@every_machine
def test_same_machine_same_bytes(name: str, protector: str) -> None:
    """Two machines put together alike draw alike, byte for byte."""
    first, second = Machine.of(name, protector), Machine.of(name, protector)
    pins = first.pins[:2]
    assert draw_svg(first, pins) == draw_svg(second, pins)
    assert draw_text(first, pins) == draw_text(second, pins)


@every_machine
def test_text_drawing_fits_a_terminal_and_loses_nothing(name: str, protector: str) -> None:
    """The plain drawing keeps to 78 columns and every word, node and symbol can be read in it."""
    machine = Machine.of(name, protector)
    scene = lay_out(machine)
    text = draw_text(machine)
    assert max(len(line) for line in text.splitlines()) <= 78
    missing = [t.text for t in scene.texts if t.text not in text]
    assert missing == []
    assert text.count("]") == sum(s.token.endswith("]") for s in scene.symbols)
    cells = re.findall(r"(?<![a-z(])o(?![a-z)])", text)
    assert len(cells) == len(scene.nodes)


@every_machine
def test_every_node_can_be_marked(name: str, protector: str) -> None:
    """Every node takes the mark 1 and the mark 2, told apart by outline as well as colour."""
    machine = Machine.of(name, protector)
    nodes = sorted(machine_nodes(machine))
    for pair in zip(nodes, nodes[1:] + nodes[:1], strict=True):
        root = ElementTree.fromstring(draw_svg(machine, pair))
        for tag, colour in (("circle", "#0072b2"), ("rect", "#a63d00")):
            assert [e.tag for e in root.iter() if e.get("stroke") == colour] == [f"{SVG}{tag}"]
        text = draw_text(machine, pair)
        assert text.count("(1)") == 2
        assert text.count("[2]") == 2


@every_machine
def test_the_points_of_every_probe_can_be_marked(name: str, protector: str) -> None:
    """Wherever a probe puts its two tips, also on a part measured by itself, the drawing has both places."""
    machine = Machine.of(name, protector)
    pairs = {probe.points for probe in probes_of(machine).values() if probe.points}
    assert pairs
    for pair in pairs:
        assert draw_text(machine, pair).count("(1)") == 2
        assert "<circle" in draw_svg(machine, pair)


def test_suspects_are_shaded_by_probability_and_written() -> None:
    """A likelier part is shaded darker, and its percentage stands beside it."""
    machine = Machine.of("rsir-ptc")
    svg = draw_svg(machine, suspects={"ptc": 0.81, "overload_protector": 0.12})
    assert {"81 %", "12 %"} <= set(words_of(svg))
    root = ElementTree.fromstring(svg)
    halos = [g.find(f"{SVG}rect") for g in root.iter(f"{SVG}g")]
    fills = [h.attrib["fill"] for h in halos if h is not None and h.get("stroke-dasharray")]
    blue = sorted(int(fill[5:], 16) for fill in fills)
    assert len(blue) == 2
    assert blue[0] < blue[1] < 255


@pytest.mark.parametrize(
    ("share", "written"),
    [(0.0, "0 %"), (0.004, "<1 %"), (0.5, "50 %"), (0.996, ">99 %"), (1.0, "100 %")],
)
def test_percent_never_claims_certainty_it_has_not(share: float, written: str) -> None:
    """Only 0 and 1 themselves are written as 0 % and 100 %."""
    assert percent(share) == written


@pytest.mark.parametrize("name", [name for name in arrangements() if arrangement(name).caution])
def test_machines_with_a_caution_carry_it(name: str) -> None:
    """The whole caution stands above the drawing."""
    machine = Machine.of(name)
    svg = draw_svg(machine)
    assert machine.arrangement.caution in " ".join(words_of(svg))
    assert machine.arrangement.caution in describe_wiring(machine)
    assert set(lay_out(machine).nodes) == machine_nodes(machine)


def test_a_row_that_nothing_joins_is_refused() -> None:
    """A frame whose rows no part and no wire joins cannot be drawn, and the message says which."""
    machine = Machine.of("three-phase", "internal")
    bare = replace(machine, arrangement=replace(machine.arrangement, gear=()))
    with pytest.raises(DataError, match="no part joins the rows 2 and 3"):
        lay_out_rows(Scene(), bare, {}, 0.0, str)


@given(title=st.text(max_size=120), family_title=st.text(min_size=1, max_size=60))
def test_any_name_is_escaped(title: str, family_title: str) -> None:
    """Whatever a machine or a part is called, the drawing stays well formed and gains no element."""
    machine = Machine.of("rsir-ptc")
    gear = tuple(
        replace(p, family=msgspec.structs.replace(p.family, title=family_title))
        for p in machine.arrangement.gear
    )
    named = Machine(replace(machine.arrangement, title=Message(title), gear=gear), "external")
    root = ElementTree.fromstring(draw_svg(named, ("C", "S"), {"ptc": 0.5}))
    plain = ElementTree.fromstring(draw_svg(machine, ("C", "S"), {"ptc": 0.5}))
    shapes = [e.tag for e in root.iter() if e.tag != f"{SVG}text"]
    assert shapes == [e.tag for e in plain.iter() if e.tag != f"{SVG}text"]
    assert max(len(line) for line in draw_text(named).split("\n")) <= 78


def test_markup_in_a_name_is_shown_as_written() -> None:
    """A name that looks like markup comes back letter for letter."""
    nasty = "<script>&\"'</svg>"
    kind = replace(arrangement("psc"), title=Message(nasty), abbreviation="")
    svg = draw_svg(Machine(kind, "external"))
    assert "<script" not in svg
    assert nasty in words_of(svg)
    assert clean("a\x00b\ud800") == "a\ufffdb\ufffd"


def test_wrong_probes_and_suspects_are_refused() -> None:
    """A node or part the machine has not, a node twice, and a probability beyond 1 are refused by name."""
    machine = Machine.of("psc")
    with pytest.raises(Unknown, match="node of psc 'q'"):
        draw_svg(machine, ("q", "C"))
    with pytest.raises(Refused, match="different nodes"):
        draw_text(machine, ("C", "C"))
    with pytest.raises(Unknown, match="part of psc"):
        draw_svg(machine, suspects={"ptc": 0.5})
    with pytest.raises(OutOfRange, match="between 0 and 1"):
        draw_svg(machine, suspects={"run_capacitor": 1.5})


#: Nodes of a machine, and one that is nowhere else.
STRAY = ("l", "n", "k", "r", "s", "c", "q", "w", "C", "shell")


def stray(ends: tuple[str, str]) -> Machine:
    """A machine with a second capacitor between two nodes where none stands."""
    kind = arrangement("csir-ptc")
    part = next(p for p in kind.gear if "capacitance" in p.family.sizes)
    more = replace(part, id="stray", connect=MappingProxyType(dict(zip("ab", ends, strict=True))))
    return Machine(replace(kind, gear=(*kind.gear, more)), "external")


STRAYS = [(ends,) for ends in combinations(STRAY, 2)]


@pytest.mark.parametrize("ends", sampled(STRAYS, STRAYS[::6]))
def test_a_part_on_no_path_has_a_row_of_its_own(ends: tuple[str, str]) -> None:
    """Wherever a part is joined it is drawn, with its nodes and apart from all else; none is left out."""
    machine = stray(ends)
    scene = lay_out(machine)
    assert "stray" in {symbol.part for symbol in scene.symbols}
    assert set(ends) <= set(scene.nodes) | {"shell"}
    boxes = [text.box for text in scene.texts if text.text.strip()]
    assert not any(one.meets(other) for one, other in combinations(boxes, 2))
    symbols = [symbol.box for symbol in scene.symbols]
    assert not any(one.meets(other) for one, other in combinations(symbols, 2))
    assert max(map(len, draw_text(machine).splitlines())) <= 78


def test_long_text_wraps_within_its_width() -> None:
    """No wrapped line is wider than allowed, and a cut is shown by an ellipsis."""
    lines = wrap("permanent split capacitor withaverylongwordthatmustbebroken indeed", 100, most=3)
    assert len(lines) == 3
    assert lines[-1].endswith("…")
    assert all(advance(line) <= 100 for line in lines)


@pytest.mark.skipif(not FACE.exists(), reason="needs the DejaVu faces to measure against")
def test_reserved_width_covers_the_widest_common_face() -> None:
    """The room reserved for every line is at least its width in DejaVu Sans, plain and bold."""
    ttlib = pytest.importorskip("fontTools.ttLib")
    faces = {False: FACE, True: FACE.with_name("DejaVuSans-Bold.ttf")}
    widths = {}
    for bold, path in faces.items():
        font = ttlib.TTFont(path)
        metrics, letters, em = font["hmtx"], font.getBestCmap(), font["head"].unitsPerEm
        widths[bold] = {chr(c): metrics[g][0] / em for c, g in letters.items() if c < 0x2100}
        font.close()
    for name, protector in KINDS:
        machine = Machine.of(name, protector)
        for text in lay_out(machine, all_suspect(machine)).texts:
            needed = sum(widths[text.bold][c] for c in text.text) * text.size
            assert needed <= text.box.right - text.box.left
