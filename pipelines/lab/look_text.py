"""A look at one file as a page of plain text for a lab engineer. Takes the dictionary of ``look``; reads nothing."""

from __future__ import annotations

from typing import Any

#: footfall columns of the printed table: name, heading, format
_COLUMNS = (
    ("side", "side", "s"),
    ("contact_s", "initial contact s", ".4f"),
    ("contact_time_s", "stance s", ".4f"),
    ("flight_time_s", "flight s", ".4f"),
    ("step_time_s", "step s", ".4f"),
    ("impact_peak_bw", "impact peak BW", ".2f"),
    ("active_peak_bw", "active peak BW", ".2f"),
    ("average_loading_rate_bw_per_s", "VALR BW/s", ".1f"),
    ("foot_strike_angle_deg", "foot strike angle deg", ".1f"),
    ("strike_index_percent", "strike index %", ".0f"),
)


def render_look(seen: dict[str, Any]) -> str:
    """The whole page, lines of at most about 110 characters, ending without a line break.

    Nothing of the file reaches the screen that a terminal would obey instead of showing it.
    """
    seen = _on_screen(seen)
    if not seen["readable"]:
        return f"{seen['file']}\n  cannot be read: {seen['problem']}"
    parts = [
        _heading(seen),
        _points(seen),
        _analog(seen),
        _plates(seen),
        _events(seen),
        _list("Text that may tell who or when", [f"{i['place']}: {i['kind']}" for i in seen["text_like_identity"]]),
        _list("Odd", seen["oddities"]),
    ]
    if seen.get("missing_labels"):
        missing = [f"{label} ({role})" for role, label in seen["missing_labels"].items()]
        parts.append(_list("Labels of the profile that are not in the file", missing))
    if "footfalls" in seen:
        parts.append(_footfalls(seen))
    return "\n\n".join(parts)


def _on_screen(value: Any) -> Any:
    """The same with every character in its texts that is not printed, such as those that steer a terminal, as "?"."""
    if isinstance(value, dict):
        return {_on_screen(key): _on_screen(item) for key, item in value.items()}
    if isinstance(value, list):
        return [_on_screen(item) for item in value]
    return "".join(c if c.isprintable() else "?" for c in value) if isinstance(value, str) else value


def _heading(seen: dict[str, Any]) -> str:
    encoding = seen["encoding"]
    return (
        f"{seen['file']}\n  {encoding['processor']} processor, {encoding['storage']} storage, "
        f"{seen['duration_s']:.2f} s"
    )


def _points(seen: dict[str, Any]) -> str:
    p = seen["points"]
    missing = f", {p['missing_fraction']:.1%} missing" if p["missing_fraction"] else ""
    head = (
        f"Points: {p['count']}, {p['frames']} frames at {p['rate_hz']:g} Hz, unit {p['unit'] or 'not named'}{missing}"
    )
    return "\n".join([head, *_wrapped(seen["labels"])])


def _analog(seen: dict[str, Any]) -> str:
    a = seen["analog"]
    if not a["count"]:
        return "Analog channels: none"
    head = f"Analog channels: {a['count']}, {a['samples']} samples at {a['rate_hz']:g} Hz"
    named = [
        f"{label} [{unit}]" if unit else label
        for label, unit in zip(seen["analog_labels"], seen["analog_units"], strict=True)
    ]
    return "\n".join([head, *_wrapped(named)])


def _plates(seen: dict[str, Any]) -> str:
    lines = [f"Force plates: {len(seen['plates']) or 'none'}"]
    for plate in seen["plates"]:
        if plate["problem"]:
            lines.append(f"  {plate['number']}  type {plate['type']}, cannot be used: {plate['problem']}")
            continue
        force = plate["mean_vertical_force_n"]
        told = "no samples" if force is None else f"mean vertical force {force:.1f} N along {plate['vertical']}"
        lines.append(f"  {plate['number']}  type {plate['type']}, {told}, channels {', '.join(plate['channels'])}")
        corners = "  ".join("(" + ", ".join(f"{_number(x)}" for x in c) + ")" for c in plate["corners"])
        lines.append(f"     corners {corners} {seen['points']['unit']}")
    return "\n".join(lines)


def _number(value: float | None) -> str:
    return "-" if value is None else f"{value:.4g}"


def _events(seen: dict[str, Any]) -> str:
    listed = [f"{_moment(e)} {e['context']} {e['label']}{_outside(e)}{_taken(e)}" for e in seen["event_list"]]
    listed += [f"{_moment(e)} {e['label']} (in the header){_outside(e)}" for e in seen["header_events"]]
    return _list("Events", listed)


def _moment(event: dict[str, Any]) -> str:
    """When an event was; both times where the file was cut at its beginning."""
    stated, inside = event["time_s"], event["in_recording_s"]
    if stated == inside or stated is None:
        return f"{_number(stated)} s"
    return f"{_number(stated)} s ({_number(inside)} s after the first frame of the file)"


def _outside(event: dict[str, Any]) -> str:
    return ", outside the recording" if event["outside"] else ""


def _taken(event: dict[str, Any]) -> str:
    if event["taken_for"] is None:
        return "; neither a contact nor a toe-off of one foot"
    side, kind = event["taken_for"]
    return f"; a {kind.replace('_', '-')} of the {side} foot"


def _footfalls(seen: dict[str, Any]) -> str:
    trial = seen["trial"]
    words = {"given": "as given", "force": "from the mean vertical force", "none": "not known"}
    mass = "not known" if trial["mass_used_kg"] is None else f"{trial['mass_used_kg']:.1f} kg"
    speed = "not known" if trial["speed_m_per_s"] is None else f"{trial['speed_m_per_s']:.2f} m/s"
    head = f"Footfalls: {len(seen['footfalls'])}, body mass {mass} ({words[trial['mass_source']]}), speed {speed}"
    wide = [max(8, len(heading) + 2) for _, heading, _ in _COLUMNS]
    headings = (f"{heading:>{w}}" for (_, heading, _), w in zip(_COLUMNS, wide, strict=True))
    lines = [head, "  " + "".join(headings)]
    for footfall in seen["footfalls"]:
        cells = ("-" if footfall.get(n) is None else format(footfall[n], form) for n, _, form in _COLUMNS)
        lines.append("  " + "".join(f"{cell:>{w}}" for cell, w in zip(cells, wide, strict=True)))
    lines.append(
        "  Stance is contact time; VALR is the vertical average loading rate; BW are body weights; - is not known."
    )
    if seen.get("standing_problem"):
        lines.append("  " + seen["standing_problem"])
    return "\n".join(lines)


def _list(title: str, items: list[str]) -> str:
    return "\n".join([f"{title}: {len(items) or 'none'}", *(f"  {item}" for item in items)])


def _wrapped(words: list[str], width: int = 108) -> list[str]:
    """Words side by side in lines that start with two spaces."""
    lines, line = [], ""
    for word in words:
        if line and len(line) + len(word) + 2 > width:
            lines.append("  " + line)
            line = ""
        line += ("  " if line else "") + word
    return [*lines, "  " + line] if line else lines
