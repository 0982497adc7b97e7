"""Header against parameters against bytes of a C3D file.

Source of what must agree: the public C3D user guide, by which the header is a copy of parameters. Where a count is
stated twice and the size of the file allows only one of the values, that one is known to be right and the file is
untidy; where it allows several, or none, nobody can know, and the trial goes back.
"""

from __future__ import annotations

import math
from collections.abc import Iterator

from checks.self_description.rule import Rule, Said, untidy, wrong
from schemas.self_description import SelfDescription

#: Own choice: copies of one 32-bit float differ by rounding only.
SAME = 1e-6
#: Own choice: a rate that differs by less moves a time within a contact by less than a third of a millisecond.
HARMLESS_RATE = 1e-3
#: Bytes of a block: files are filled up to whole ones, and the filling need not be blank.
BLOCK = 512
#: Hz; ANALOG:RATE is often rounded to a whole number.
RATE_ROUNDED_HZ = 0.5


def _usable(number: float | None) -> bool:
    return number is not None and math.isfinite(number) and number != 0


def _apart(one: float, other: float, share: float) -> bool:
    return abs(one - other) > share * max(abs(one), abs(other))


def _by_size(description: SelfDescription, sentence: str) -> Said:
    """Untidy where only one value fits the size of the file, else wrong."""
    if description.read_as.size_decides:
        return untidy(f"{sentence}; only that fits the size of the file")
    return wrong(f"{sentence}, and the size of the file does not tell which is right")


def _scale(description: SelfDescription) -> Iterator[Said]:
    header, parameter = description.header.scale, description.parameters.scale
    stored = "floats" if description.read_as.storage == "float" else "16-bit integers"
    if parameter is None or not (_usable(header) and _usable(parameter)):
        if not (parameter is None and _usable(header)):
            yield untidy(f"The header's scale is {header:g} and POINT:SCALE is {_shown(parameter)}; one is no scale")
        return
    both = f"The header's scale is {header:g} and POINT:SCALE is {parameter:g}"
    if (header < 0) != (parameter < 0):
        yield wrong(f"{both}: by the sign of one the data are floats, by the other integers; {stored} were read")
    elif _apart(header, parameter, SAME):
        if description.read_as.storage == "int":
            yield wrong(f"{both}; every position depends on it, and the header's was used")
        else:
            yield untidy(f"{both}; positions stored as floats do not depend on it")


def _rate(description: SelfDescription) -> Iterator[Said]:
    header, parameter = description.header.rate_hz, description.parameters.rate_hz
    used = f"{description.read_as.point_rate_hz:g} Hz was used"
    if parameter is None:
        yield untidy(f"POINT:RATE is missing; the header's {used}")
    elif not (_usable(parameter) and parameter > 0):
        yield untidy(f"POINT:RATE is {parameter:g}, no rate; the header's {used}")
    elif not (_usable(header) and header > 0):
        yield untidy(f"The header's frame rate is {header:g}, no rate; POINT:RATE of {used}")
    elif _apart(header, parameter, HARMLESS_RATE):
        yield wrong(f"The header says {header:g} frames per second and POINT:RATE {parameter:g}; {used}")
    elif _apart(header, parameter, SAME):
        yield untidy(f"The header says {header:.8g} frames per second and POINT:RATE {parameter:.8g}; {used}")
    camera, divider = description.parameters.camera_rate_hz, description.parameters.rate_divider
    if camera is not None and _usable(camera) and camera > 0:
        stated = camera / divider if divider is not None and _usable(divider) and divider > 1 else camera
        if _apart(stated, description.read_as.point_rate_hz, HARMLESS_RATE):
            yield wrong(f"TRIAL:CAMERA_RATE is {camera:g} frames per second; for markers {used}")


def _points(description: SelfDescription) -> Iterator[Said]:
    header, parameter, read = description.header.points, description.parameters.points, description.read_as.points
    if parameter is not None and parameter != header:
        said = f"The header counts {header} points and POINT:USED {parameter}; {read} were read"
        yield _by_size(description, said)


def _frames(description: SelfDescription) -> Iterator[Said]:
    says, read = description.parameters, description.read_as.frames
    stated = {"POINT:FRAMES": says.frames, "POINT:LONG_FRAMES": says.long_frames, "TRIAL:ACTUAL_*_FIELD": None}
    if says.first_frame is not None and says.last_frame is not None and says.last_frame >= says.first_frame:
        stated["TRIAL:ACTUAL_*_FIELD"] = says.last_frame - says.first_frame + 1
    whole = description.header.last_frame != 65535 and read <= 65535  # beyond, counters of 16 bits are full
    apart = [f"{name} {n}" for name, n in stated.items() if n is not None and n != read and (whole or n > 65535)]
    if whole and description.header.frames != read:
        apart.insert(0, f"the header {description.header.frames}")
    if apart:
        told = f"{', '.join(apart)} frames are stated and {read} were read"
        yield _by_size(description, told[:1].upper() + told[1:])


def _first_frame(description: SelfDescription) -> Iterator[Said]:
    header, parameter = description.header.first_frame, description.parameters.first_frame
    if parameter is not None and parameter != header and parameter <= 65535:
        yield untidy(
            f"The header calls the first frame {header} and TRIAL:ACTUAL_START_FIELD {parameter}; times count from the "
            "first frame whatever its number"
        )


def _analog_per_frame(description: SelfDescription) -> Iterator[Said]:
    read = description.read_as
    held = read.channels * read.samples_per_frame
    if description.header.analog_per_frame != held:
        said = f"The header counts {description.header.analog_per_frame} analog values a frame; {held} were read"
        yield _by_size(description, said)
    channels = description.parameters.channels
    if channels is not None and channels != read.channels:
        yield _by_size(description, f"ANALOG:USED is {channels}; {read.channels} analog channels were read")


def _analog_rate(description: SelfDescription) -> Iterator[Said]:
    read, stated = description.read_as, description.parameters.analog_rate_hz
    if not read.channels:
        return
    held = read.samples_per_frame * read.point_rate_hz
    if stated is None:
        yield untidy(f"ANALOG:RATE is missing; {held:g} Hz follows from the samples in a frame")
    elif not math.isfinite(stated) or _apart(stated, held, SAME):
        said = (
            f"ANALOG:RATE is {stated:.8g} Hz, and {read.samples_per_frame} samples in each of {read.point_rate_hz:.8g} "
            f"frames a second make {held:.8g} Hz"
        )
        near = math.isfinite(stated) and (
            not _apart(stated, held, HARMLESS_RATE)
            or (stated == round(stated) and abs(stated - held) < RATE_ROUNDED_HZ)
        )
        yield untidy(f"{said}, which was used") if near else wrong(said)
    samples = description.header.samples_per_frame
    if samples != read.samples_per_frame:
        yield _by_size(
            description, f"The header counts {samples} analog samples a frame; {read.samples_per_frame} were read"
        )


def _data_start(description: SelfDescription) -> Iterator[Said]:
    header, parameter = description.header.data_block, description.parameters.data_block
    if parameter is not None and parameter != header:
        said = f"The header starts the data in block {header} and POINT:DATA_START in {parameter}"
        used = f"{said}; block {description.read_as.data_block} was used"
        yield untidy(used) if _no_block(parameter) else _by_size(description, used)


def _no_block(number: int) -> bool:
    """A number that cannot be the first block of data: header and parameters come before it."""
    return number < 3


def _bytes(description: SelfDescription) -> Iterator[Said]:
    read = description.read_as
    if read.left_over < BLOCK:
        return
    told = f"{read.left_over} bytes follow the last of {read.frames} frames"
    if read.left_over_blank:
        if read.left_over >= 2 * BLOCK:
            yield untidy(f"{read.left_over} bytes of filling follow the last frame")
    elif read.frames_unread == 1 and read.frame_bytes > 2 * BLOCK and read.left_over - read.frame_bytes < 2 * BLOCK:
        yield untidy(f"{told}, as many as one frame takes: it was not counted and not read")
    else:
        yield wrong(
            f"{told}, as many as {read.left_over / read.frame_bytes:.3g} frames take, and were not read: something was "
            "lost from the counts, or a block was put in"
        )


def _analog_scales(description: SelfDescription) -> Iterator[Said]:
    says, channels = description.parameters, description.read_as.channels
    if not channels:
        return
    if says.general_scale is not None and not _usable(says.general_scale):
        yield wrong(f"ANALOG:GEN_SCALE is {says.general_scale:g}, which makes every analog value so")
    if says.general_scale is None:
        yield untidy("ANALOG:GEN_SCALE is missing; 1 was used")
    if says.scale_entries < channels:
        yield wrong(f"ANALOG:SCALE has {says.scale_entries} entries for {channels} channels")
    if says.offset_entries < channels:
        said = f"ANALOG:OFFSET has {says.offset_entries} entries for {channels} channels; the others were taken as 0"
        yield wrong(said) if says.offset_entries else untidy(said)


def _labels(description: SelfDescription) -> Iterator[Said]:
    count, labels = description.read_as.points, description.parameters.point_labels
    if labels < count:
        yield untidy(f"POINT:LABELS names {labels} of {count} points; the others have no name")


def _events(description: SelfDescription) -> Iterator[Said]:
    used, times = description.parameters.events, description.parameters.event_times
    if used and times < used:
        yield untidy(f"EVENT:USED counts {used} events and EVENT:TIMES holds {times}")
    frame, read = 1 / description.read_as.point_rate_hz, description.read_as
    end = (max(description.header.first_frame, 1) + read.frames) * frame
    header = description.header_events_s
    outside = [time for time in header if not -frame <= time <= end + frame]
    if outside:
        yield untidy(f"The header has an event at {outside[0]:g} s, and the recording ends at {end:g} s")
    alone = [t for t in header if not any(abs(t - o) <= 2 * frame for o in description.parameters.event_seconds)]
    if used and alone:
        yield untidy(f"The header has an event at {alone[0]:g} s that is none of the {used} in the group EVENT")


def _shown(number: float | None) -> str:
    return "missing" if number is None else f"{number:g}"


_UNKNOWN = "the size of the file allows more than one of the values, or none"
_KNOWN = "the size of the file allows only one of the values, which is used"

C3D_RULES: tuple[Rule, ...] = (
    Rule(
        "scale of positions",
        ("header words 7 and 8", "POINT:SCALE"),
        "the signs differ (floats or integers?), or the values differ and positions are stored as integers",
        "the values differ and positions are stored as floats, or one of them is no number or 0",
        _scale,
    ),
    Rule(
        "frame rate",
        ("header words 11 and 12", "POINT:RATE", "TRIAL:CAMERA_RATE and VIDEO_RATE_DIVIDER"),
        "they differ by more than 0.1 %",
        "they differ by less, or one is missing or no rate",
        _rate,
    ),
    Rule("number of points", ("header word 2", "POINT:USED", "size of the file"), _UNKNOWN, _KNOWN, _points),
    Rule(
        "number of frames",
        (
            "header words 4 and 5",
            "POINT:FRAMES",
            "POINT:LONG_FRAMES",
            "TRIAL:ACTUAL_START_FIELD and ACTUAL_END_FIELD",
            "size of the file",
        ),
        _UNKNOWN,
        _KNOWN,
        _frames,
    ),
    Rule("first frame", ("header word 4", "TRIAL:ACTUAL_START_FIELD"), "", "they differ", _first_frame),
    Rule(
        "analog values in a frame",
        ("header word 3", "ANALOG:USED", "size of the file"),
        _UNKNOWN,
        _KNOWN,
        _analog_per_frame,
    ),
    Rule(
        "analog rate",
        ("header word 10", "ANALOG:RATE", "POINT:RATE"),
        "ANALOG:RATE is not the samples of a frame times the frame rate (to 0.1 %, or rounded to whole Hz), or "
        + _UNKNOWN,
        "ANALOG:RATE is missing, or not exactly that, or " + _KNOWN,
        _analog_rate,
    ),
    Rule(
        "first block of the data",
        ("header word 9", "POINT:DATA_START", "size of the file"),
        _UNKNOWN,
        _KNOWN + ", or POINT:DATA_START names a block before any data could begin",
        _data_start,
    ),
    Rule(
        "bytes after the last frame",
        ("the counts above", "size of the file"),
        "a block or more that is not blank is left, and it is not one frame that was not counted",
        "one frame (of two blocks or more) was not counted; or two blocks or more of blanks are left",
        _bytes,
    ),
    Rule(
        "analog scale and offset",
        ("ANALOG:USED", "ANALOG:SCALE", "ANALOG:OFFSET", "ANALOG:GEN_SCALE"),
        "the general scale is 0 or no number, or fewer channels have a scale or an offset than the file holds",
        "there is no offset at all, or no general scale",
        _analog_scales,
    ),
    Rule("labels of points", ("POINT:USED", "POINT:LABELS"), "", "fewer labels than points", _labels),
    Rule(
        "events",
        ("EVENT:USED", "EVENT:TIMES", "header words 150 to 188"),
        "",
        "fewer times than events, or an event of the header is outside the recording or not in the group",
        _events,
    ),
)
