"""From an Altair chart to one tidy <svg> element for a page: no browser, no network, no script.

Colours are those of Okabe & Ito (2008); no chart needs them, since shapes, labels and lightness say the same. What is
drawn is in ``charts``.
"""

from __future__ import annotations

import json
import math
import re
import xml.etree.ElementTree as ElementTree
from typing import TYPE_CHECKING, Any

from markupsafe import Markup

if TYPE_CHECKING:
    import altair as alt

INK, MUTED = "#1d2b36", "#4c5b67"
BLUE, ORANGE, VERMILLION, GREEN, PURPLE, BLACK = "#0072B2", "#E69F00", "#D55E00", "#009E73", "#CC79A7", "#000000"
_SVG = "http://www.w3.org/2000/svg"
_ALLOWED = {"svg", "g", "path", "line", "rect", "circle", "text", "tspan", "defs", "clipPath"}
_LONG = re.compile(r"-?\d+\.\d{3,}(?:e-?\d+)?")
_CONTROL = re.compile(r"[\x00-\x1f\x7f-\x9f\u2028-\u202e\u2066-\u2069\ufffe\uffff]")


def values(rows: list[dict[str, Any]]) -> alt.InlineData:
    """Rows for a chart; characters that an SVG may not hold, or that turn text round, are replaced."""
    import altair as alt

    said = [{k: clean(v) if isinstance(v, str) else v for k, v in row.items()} for row in rows]
    # as one string: Altair copies a list of rows, row by row, with every layer it is given to
    return alt.InlineData(values=json.dumps(said), format=alt.DataFormat(alt.JsonDataFormat(type="json")))


def clean(text: str) -> str:
    """The text without characters that an SVG may not hold, or that turn text round."""
    return _CONTROL.sub("�", text)


def svg(chart: alt.TopLevelMixin, key: str, title: str, summary: str) -> Markup:
    """The chart as one <svg> element with its own title and description."""
    import vl_convert

    axis = {
        "labelColor": INK,
        "titleColor": INK,
        "gridColor": "#e7e3d8",
        "domainColor": MUTED,
        "tickColor": MUTED,
        "labelFontSize": 13,
        "titleFontSize": 13,
        "titleFontWeight": "normal",
        "labelLimit": 150,
        "titlePadding": 8,
    }
    settings: dict[str, Any] = {
        "font": "sans-serif",
        "background": "transparent",
        "aria": False,
        "padding": 4,
        "view": {"stroke": None},
        "axis": axis,
        "header": {"labelColor": INK, "labelFontSize": 13, "labelPadding": 3},
    }
    spec = chart.to_dict(validate=False)
    # no address is allowed, so that a chart cannot reach out even by mistake
    drawn = vl_convert.vegalite_to_svg(spec, config=settings, allowed_base_urls=[])
    return _tidy(drawn, key, clean(title), clean(summary))


def _tidy(drawn: str, key: str, title: str, summary: str) -> Markup:
    ElementTree.register_namespace("", _SVG)
    root = ElementTree.fromstring(drawn)
    ids: dict[str, str] = {}
    for element in root.iter():
        tag = element.tag.removeprefix(f"{{{_SVG}}}")
        if tag not in _ALLOWED:
            raise ValueError(f"a chart may not contain <{tag}>")
        for name in list(element.attrib):
            if name.startswith("aria-") or name in ("role", "class"):
                del element.attrib[name]
            elif name != "fill" and not name.startswith("font"):
                element.set(name, _LONG.sub(lambda m: f"{float(m[0]):.2f}", element.attrib[name]))
        if old := element.get("id"):
            ids[old] = f"{key}-{len(ids)}"
            element.set("id", ids[old])
    for element in root.iter():
        for name, value in element.attrib.items():
            if value.startswith("url(#"):
                element.set(name, f"url(#{ids[value[5:-1]]})")
    for place, (tag, text) in enumerate((("title", title), ("desc", summary))):
        child = ElementTree.Element(f"{{{_SVG}}}{tag}", {"id": f"{key}-{tag}"})
        child.text = text
        root.insert(place, child)
    root.attrib.update({"role": "img", "aria-labelledby": f"{key}-title", "aria-describedby": f"{key}-desc"})
    return Markup(ElementTree.tostring(root, encoding="unicode"))


def wave() -> Markup:
    """The wave of the page head: vertical force of a run, one half-sine to a footfall, each with its first impact."""
    step, high = 44, 19
    paths = []
    for side in (0, 1):
        bumps = []
        for number in range(side, 34, 2):
            x0 = number * step
            curve = []
            for i in range(17):
                phase = i / 16
                y = math.sin(math.pi * phase) + 0.32 * math.exp(-(((phase - 0.14) / 0.055) ** 2))
                curve.append(f"{x0 + phase * 31:.1f},{22 - high * y:.1f}")
            bumps.append("M" + "L".join(curve))
        paths.append(f'<path d="{"".join(bumps)}" class="{"one" if side == 0 else "other"}"/>')
    return Markup(
        '<svg class="wave" viewBox="0 0 1490 26" preserveAspectRatio="xMinYMid slice" aria-hidden="true" '
        f'focusable="false"><path d="M0,22H1490" class="ground"/>{"".join(paths)}</svg>'
    )
