"""
The wiring of one machine, drawn from its network: as SVG for paper and phone, as text for a terminal.

The drawing is made from the same parts, nodes and wires the solver works on; nothing in it is kept by hand.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from zlib import crc32

from humclick.arrangements.machine import Machine
from humclick.circuit import drawing_svg, drawing_text
from humclick.circuit.layout import lay_out, machine_nodes, node_name
from humclick.errors import Refused, Unknown
from humclick.messages import Message, listed
from humclick.readings.shown import percent

__all__ = ["describe_wiring", "draw_svg", "draw_text"]


def _checked(machine: Machine, probe: tuple[str, str] | None) -> tuple[str, ...]:
    if probe is None:
        return ()
    nodes = machine_nodes(machine)
    for name in probe:
        if name not in nodes:
            raise Unknown(
                Message("node of {arrangement}", arrangement=machine.arrangement.id), name, sorted(nodes)
            )
    if probe[0] == probe[1]:
        raise Refused(
            Message("the two probes must stand on different nodes, got {node} twice", node=probe[0])
        )
    return probe


def describe_wiring(
    machine: Machine,
    probe: tuple[str, str] | None = None,
    suspects: Mapping[str, float] | None = None,
    clamp: tuple[str, str] | None = None,
) -> Message:
    """The drawing in sentences, for a reader who cannot see it."""
    marked = _checked(machine, probe)
    joined = []
    for placed in machine.parts:
        ends = tuple(map(node_name, dict.fromkeys(placed.connect.values())))
        if len(ends) > 1:
            joined.append(Message("{part} joins {nodes:and}", part=placed.family.title, nodes=ends))
    joined += [
        Message("a wire joins {first} and {second}", first=node_name(a), second=node_name(b))
        for a, b in machine.wires
    ]
    sentences = [Message("{what:semicolon}.", what=tuple(joined))]
    if marked:
        sentences.append(
            Message(
                "Probe 1 on {first}, probe 2 on {second}.",
                first=node_name(marked[0]),
                second=node_name(marked[1]),
            )
        )
    if clamp is not None:
        sentences.append(
            Message("The clamp round the wire between {first} and {second}.", first=clamp[0], second=clamp[1])
        )
    for part, share in (suspects or {}).items():
        title = machine.part(part).family.title
        sentences.append(Message("{part}: {chance}.", part=title, chance=percent(share)))
    if machine.arrangement.caution:
        sentences.append(machine.arrangement.caution)
    return listed(sentences, "space")


def draw_svg(
    machine: Machine,
    probe: tuple[str, str] | None = None,
    suspects: Mapping[str, float] | None = None,
    dark: bool = False,
    clamp: tuple[str, str] | None = None,
    translate: Callable[[str], str] = str,
) -> str:
    """
    Draw a machine's wiring as one SVG document.

    Parameters
    ----------
    probe : tuple of str, optional
        Two nodes to put the probes on: marked 1 in a ring and 2 in a square.
    suspects : mapping of part id to float, optional
        Probability that a part is at fault: shades it and is written beside it. [-]
    dark : bool
        Light lines on a dark ground.
    clamp : tuple of str, optional
        Ends of the wire a clamp goes round: marked by a ring with an A half-way.
    translate : callable
        A message into what is written: another language.

    Returns
    -------
    str
        SVG, 360 units wide, the same bytes for the same input.

    Raises
    ------
    Unknown
        If a probe stands on no node, or a suspect is no part, of the machine.
    Refused
        If both probes stand on the same node.
    OutOfRange
        If a probability is not within 0 to 1.
    """
    marked = _checked(machine, probe)
    suspects = suspects or {}
    scene = lay_out(machine, suspects, translate)
    title = translate(Message("Wiring: {arrangement}", arrangement=machine.arrangement.title))
    desc = translate(describe_wiring(machine, probe, suspects, clamp))
    tag = f"w{crc32(f'{title}{desc}{dark}'.encode(errors='replace')):08x}"
    palette = drawing_svg.DARK if dark else drawing_svg.LIGHT
    ends = [scene.nodes[name] for name in _checked(machine, clamp)]
    half_way = (sum(n.x for n in ends) / 2, sum(n.y for n in ends) / 2) if ends else None
    return drawing_svg.render(scene, title, desc, palette, marked, suspects, tag, half_way)


def draw_text(
    machine: Machine,
    probe: tuple[str, str] | None = None,
    clamp: tuple[str, str] | None = None,
    translate: Callable[[str], str] = str,
) -> str:
    """
    Draw a machine's wiring as plain text of at most 78 columns.

    Nodes with a probe are marked ``(1)`` and ``[2]``; the ends of the wire a clamp goes round alike, with a
    line below that says so. Raises as `draw_svg`.
    """
    marked = _checked(machine, clamp or probe)
    text = drawing_text.text_sheet(lay_out(machine, translate=translate), marked)
    if clamp is not None:
        below = Message(
            "the clamp round the one wire between (1) {first} and [2] {second}, on neither of them",
            first=clamp[0],
            second=clamp[1],
        )
        text += f"\n{translate(below)}\n"
    elif marked:
        below = Message("(1) on {first}   [2] on {second}", first=marked[0], second=marked[1])
        text += f"\n{translate(below)}\n"
    return text
