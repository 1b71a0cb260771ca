"""The map of a run sheet as SVG, with "you are here".

Presentation attributes only: no style, no script, nothing that a strict content security policy would refuse
when the drawing stands inside a page.
"""

from __future__ import annotations

import re
from collections.abc import Collection
from xml.sax.saxutils import escape, quoteattr

from bittern.engines.pairing.cautions import list_behind_no_return
from bittern.engines.pairing.map import MEASURES, MapEdge, MapNode, SheetMap, layout_map
from bittern.engines.pairing.sheet import RunSheet, Step

PAPER = "#fbf8f1"
INK = "#1f1d1a"
SOFT_INK = "#5d574d"
BRASS = "#8a6414"
BRASS_TINT = "#f3e3ba"
WALKED = "#ebe5d6"
BAR_WIDTH = 7.0
LEGEND_HEIGHT = 34.0
LEGEND_WIDTH = 440.0

# Characters that XML 1.0 cannot carry at all, escaped or not.
_UNFIT = re.compile("[^\t\n\r\u0020-\ud7ff\ue000-\ufffd\U00010000-\U0010ffff]")


def render_map(
    sheet: RunSheet, current: str | None = None, visited: Collection[str] = (), *, name: str = "map"
) -> str:
    """Return the map of ``sheet`` as one ``<svg>`` element.

    Parameters
    ----------
    sheet
        Any run sheet.
    current
        Id of the step at hand, marked "you are here"; None for a map without a run.
    visited
        Ids of steps that were left at least once, marked "done".
    name
        Prefix of the ids of title and description, so that two maps can stand in one page.
    """
    drawing = layout_map(sheet)
    behind = frozenset(list_behind_no_return(sheet))
    legend = LEGEND_HEIGHT if behind else 0.0
    wide = max(drawing.width, LEGEND_WIDTH if behind else 0.0)
    width, height = f"{wide:.0f}", f"{drawing.height + legend:.0f}"
    title, words = _attribute(f"{name}-title"), _attribute(f"{name}-desc")
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width} {height}" width="{width}" '
        f'height="{height}" role="img" aria-labelledby={_attribute(f"{name}-title {name}-desc")} '
        f'font-family="sans-serif" font-size="{MEASURES.text_size:g}">',
        f"<title id={title}>{_text('Map: ' + (sheet.title or sheet.id))}</title>",
        f"<desc id={words}>{_text(_describe(sheet, drawing, behind, current, visited))}</desc>",
        f'<rect width="100%" height="100%" fill="{PAPER}"/>',
    ]
    # Outlines lie under the lines, so that no arrow is hidden, and boxes above them.
    for node in drawing.nodes:
        mark = f"{name}-here" if node.step_id == current else ""
        parts += _draw_outlines(node, sheet.steps[node.step_id], mark=mark)
    parts += [_draw_line(edge, crossing=_crosses(edge, sheet, behind)) for edge in drawing.edges]
    parts += [_draw_label(edge) for edge in drawing.edges if edge.label]
    for node in drawing.nodes:
        step = sheet.steps[node.step_id]
        here, done = node.step_id == current, node.step_id in visited
        parts.append(_draw_node(node, step, here=here, done=done, behind=node.step_id in behind))
    if behind:
        parts.append(_draw_legend(drawing.height, sheet.census))
    return "\n".join([*parts, "</svg>"]) + "\n"


def _text(text: str) -> str:
    return escape(_UNFIT.sub("\ufffd", text))


def _attribute(text: str) -> str:
    return quoteattr(_UNFIT.sub("\ufffd", text))


def _crosses(edge: MapEdge, sheet: RunSheet, behind: Collection[str]) -> bool:
    """Return whether the way leads past a point of no return."""
    return sheet.steps[edge.source].no_return and edge.to in behind and edge.kind != "fail"


def _describe(
    sheet: RunSheet,
    drawing: SheetMap,
    behind: Collection[str],
    current: str | None,
    visited: Collection[str],
) -> str:
    """Return the map in words, for people who do not see it."""
    sentences = []
    for node in drawing.nodes:
        step = sheet.steps[node.step_id]
        marks = [node.head]
        marks += ["no way back"] if step.no_return else []
        marks += ["behind a point of no return"] if node.step_id in behind else []
        marks += ["you are here"] if node.step_id == current else []
        marks += ["done"] if node.step_id in visited else []
        ways = [
            (" ".join(edge.label) + ": " if edge.label else "") + f"to {edge.to}"
            for edge in drawing.edges
            if edge.source == node.step_id
        ]
        onward = "; ".join(ways)
        sentences.append(f"{node.step_id} ({', '.join(marks)}){': ' + onward if onward else ''}.")
    return " ".join(sentences)


def _draw_line(edge: MapEdge, *, crossing: bool) -> str:
    x, y = edge.points[0]
    path = [f"M{x:.1f} {y:.1f}"]
    for x1, y1 in edge.points[1:]:
        if edge.source == edge.to or abs(x1 - x) < 0.05:
            path.append(f"L{x1:.1f} {y1:.1f}")
        else:
            middle = (y + y1) / 2
            path.append(f"C{x:.1f} {middle:.1f} {x1:.1f} {middle:.1f} {x1:.1f} {y1:.1f}")
        x, y = x1, y1
    failing = edge.kind == "fail"
    dash = ' stroke-dasharray="5 4"' if failing else ""
    colour = SOFT_INK if failing else INK
    width = "3.6" if crossing else "1.6"
    line = f'<path d="{" ".join(path)}" fill="none" stroke="{colour}" stroke-width="{width}"{dash}/>'
    return line + _draw_arrow(edge, colour)


def _draw_arrow(edge: MapEdge, colour: str) -> str:
    x, y = edge.points[-1]
    if edge.source == edge.to:
        corners = f"{x:.1f},{y:.1f} {x + 9:.1f},{y - 4.5:.1f} {x + 9:.1f},{y + 4.5:.1f}"
    else:
        tail = y + 9 if edge.back else y - 9
        corners = f"{x:.1f},{y:.1f} {x - 4.5:.1f},{tail:.1f} {x + 4.5:.1f},{tail:.1f}"
    return f'<polygon points="{corners}" fill="{colour}"/>'


def _draw_label(edge: MapEdge) -> str:
    x, y = edge.label_at
    height = 15.0 * len(edge.label)
    width = max(len(line) for line in edge.label) * MEASURES.small_letter
    parts = [
        f'<rect x="{x - width / 2:.1f}" y="{y - height / 2:.1f}" width="{width:.1f}" height="{height:.1f}" '
        f'fill="{PAPER}"/>'
    ]
    slant = ' font-style="italic"' if edge.kind == "fail" else ""
    for number, line in enumerate(edge.label):
        baseline = y - height / 2 + 15.0 * number + 11.5
        parts.append(
            f'<text x="{x:.1f}" y="{baseline:.1f}" font-size="12.5" text-anchor="middle" fill="{INK}"{slant}>'
            f"{_text(line)}</text>"
        )
    return "".join(parts)


def _draw_outlines(node: MapNode, step: Step, *, mark: str) -> list[str]:
    # The id is what a page scrolls to.
    parts = [f"<g id={_attribute(mark)}>{_rect(node, 9, PAPER, BRASS, 4, _round(step))}</g>"] if mark else []
    return parts + ([_rect(node, 5, PAPER, INK, 2, _round(step))] if step.no_return else [])


def _round(step: Step) -> float:
    return 18 if step.kind == "end" else 3


def _draw_node(node: MapNode, step: Step, *, here: bool, done: bool, behind: bool) -> str:
    fill = BRASS_TINT if here else WALKED if done else PAPER
    # By its step a page finds the box, to mark where the person stands.
    parts = [f"<g data-step={_attribute(step.id)}>"]
    parts.append(f"<title>{_text(step.id + ': ' + (step.say or node.head))}</title>")
    width = 2.6 if step.no_return or step.outcome == "stranded" else 1.6
    parts.append(_rect(node, 0, fill, INK, width, _round(step)))
    if behind:
        parts.append(_draw_bar(node.x, node.y, node.height, _round(step)))
    x, y = node.x + 14, node.y + 22
    marks = (", done" if done else "") + (" — you are here" if here else "")
    weight = ' font-weight="bold"' if here else ""
    parts.append(
        f'<text x="{x:.1f}" y="{y:.1f}" font-size="12.5" fill="{INK if here else SOFT_INK}"{weight}>'
        f"{_text(node.head + marks)}</text>"
    )
    if step.no_return:
        y += MEASURES.line
        parts.append(f'<text x="{x:.1f}" y="{y:.1f}" font-weight="bold" fill="{INK}">no way back</text>')
    for line in node.lines:
        y += MEASURES.line
        parts.append(f'<text x="{x:.1f}" y="{y:.1f}" fill="{INK}">{_text(line)}</text>')
    return "".join([*parts, "</g>"])


def _draw_bar(x: float, y: float, height: float, inset: float) -> str:
    """Return the bar at the left edge of what lies behind a point of no return; clear of rounded corners."""
    return (
        f'<rect x="{x - 1:.1f}" y="{y + inset:.1f}" width="{BAR_WIDTH:g}" '
        f'height="{height - 2 * inset:.1f}" fill="{INK}"/>'
    )


def _draw_legend(y: float, census: str) -> str:
    x, words = MEASURES.margin, "Behind a point of no return"
    words += "." if census == "all" else ": keys may have stopped working."
    return (
        f'<g>{_draw_bar(x, y, 18.0, 0.0)}<text x="{x + 16:.1f}" y="{y + 14:.1f}" font-size="12.5" '
        f'fill="{INK}">{words}</text></g>'
    )


def _rect(node: MapNode, out: float, fill: str, stroke: str, width: float, round_by: float) -> str:
    return (
        f'<rect x="{node.x - out:.1f}" y="{node.y - out:.1f}" width="{node.width + 2 * out:.1f}" '
        f'height="{node.height + 2 * out:.1f}" rx="{round_by + out:g}" fill="{fill}" stroke="{stroke}" '
        f'stroke-width="{width:g}"/>'
    )
