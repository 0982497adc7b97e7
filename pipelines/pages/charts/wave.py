"""The wave of the page head."""

from __future__ import annotations

import math

from markupsafe import Markup


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
