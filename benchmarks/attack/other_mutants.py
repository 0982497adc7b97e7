"""Makes hostile tables, descriptors, archives, second files and study files: sound ones damaged, and ones made to hurt.

Each function takes the sound bytes and a seeded generator, like those for C3D files.
"""

from __future__ import annotations

import io
import stat
import struct
import warnings
import zipfile
from collections.abc import Callable

import numpy as np

from benchmarks.attack.c3d_mutants import HOSTILE_TEXTS, Rng

CELLS = (
    b"",
    b"=1+1",
    b"-1e999",
    b"nan",
    b"inf",
    b"9" * 400,
    b"0x10",
    b'"',
    b'"x',
    b"a\nb",
    b"a\rb",
    b"\xc3\x28",
    "é".encode(),
)
CELLS += (b"1,5", b"2026-02-30", b"x" * 140_000, b"TRUE", *HOSTILE_TEXTS)
YAML_TRICKS = (
    b"a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n",
    b"x: !!python/object/apply:os.system [id]\n",
    b"x: !!binary aGk=\n",
    b"<<: {title: other}\n",
    b"title: one\ntitle: two\n",
    b"x: " + b"[" * 3000,
    b"x: " + b"{a: " * 3000,
    b"x: 1" + b":59" * 30_000 + b"\n",
    b"x: " + b"9" * 50_000 + b"\n",
    b"x: .inf\n",
    b"? [a, b]\n: c\n",
    b"x: 2026-02-30\n",
    b"%YAML 9.9\n---\n",
    b"---\na: 1\n---\nb: 2\n",
    b"x: |\n" + b" y\n" * 5000,
    b"\ttabs: no\n",
    b"sites: {brack: {profile: ../../../../etc/passwd}}\n",
    b"sites: {brack: {profile: /dev/zero}}\n",
    b"\x00\x01\x02",
    b"\xff\xfe" + "x: 1\n".encode("utf-16-le"),
    b'x: "\\U00110000"\n',
    b"x: 0b" + b"1" * 20_000 + b"\n",
    b"x: 1_" + b"0_" * 20_000 + b"\n",
    b"{" * 500 + b"\n",
    b"- a\n" * 2000,
)
JSON_TRICKS = (
    b"[" * 100_000,
    b'{"resources": ' * 5000,
    b'{"resources": [' + b"{}," * 20_000 + b"{}]}",
    b'{"resources": [{"path": "../../../../etc/passwd"}]}',
    b'{"resources": [{"path": "/dev/zero"}]}',
    b'{"resources": [{"path": ["trials.csv", 3]}]}',
    b'{"resources": [{"path": "\\ud800"}]}',
    b'{"resources": [{"path": "' + b"a/" * 5000 + b'"}]}',
    b'{"resources": [{"path": "a\\u0000b"}]}',
    b'{"resources": null}',
    b"NaN",
    b"1" * 5000,
    b'"' + b"x" * 100_000 + b'"',
    b'{"resources": [], "resources": 1}',
)


def damaged(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Cut, bytes changed, parts doubled or taken out, anywhere; the name before a null byte, if any, stays."""
    name, null, body = data.partition(b".csv\0")
    if null:
        return name + null + damaged(body, other, rng)
    changed = bytearray(data)
    for _ in range(int(rng.integers(1, 6))):
        at = int(rng.integers(0, len(changed) + 1))
        what = rng.integers(5)
        if what == 0:
            del changed[at : at + int(rng.integers(1, 200))]
        elif what == 1:
            changed[at:at] = changed[at : at + int(rng.integers(1, 200))]
        elif what == 2:
            changed[at:at] = HOSTILE_TEXTS[rng.integers(len(HOSTILE_TEXTS))]
        elif what == 3 and rng.random() < 0.3:
            del changed[at:]
        elif at < len(changed):
            changed[at] = int(rng.integers(0, 256))
    return bytes(changed)


def csv_cells(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Cells, header words, separators and line ends of a table replaced by hostile ones."""
    name, _, body = data.partition(b"\0")
    rows = [line.split(b",") for line in body.split(b"\n")]
    for _ in range(int(rng.integers(1, 8))):
        row = rows[rng.integers(len(rows))]
        row[rng.integers(len(row))] = CELLS[rng.integers(len(CELLS))]
        if rng.random() < 0.2:
            rows.insert(int(rng.integers(len(rows) + 1)), list(row))
        if rng.random() < 0.1 and len(row) < 100 and sum(map(len, row)) < 2000:
            row *= int(rng.integers(2, 2000))
    joiner = (b"\n", b"\n", b"\r\n", b"\r", b"\n\n")[rng.integers(5)]
    return name + b"\0" + joiner.join(b",".join(row) for row in rows)


def csv_floods(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Millions of rows, cells, blank lines or quoted line breaks."""
    name, _, body = data.partition(b"\0")
    header, _, rest = body.partition(b"\n")
    flood = (
        lambda n: b"\n" * n,
        lambda n: b"," * n,
        lambda n: b'"\n",' * (n // 4),
        lambda n: (rest.split(b"\n")[0] + b"\n") * (n // 100),
        lambda n: b"x\n" * (n // 2),
        lambda n: b'"' + b"x" * n,
        lambda n: b"a" * n,
        lambda n: (b"," * header.count(b",") + b"\n") * (n // (header.count(b",") + 2)),
    )[rng.integers(8)](int(rng.choice([200_000, 3_000_000, 31_000_000])))
    return name + b"\0" + (header + b"\n" if rng.random() < 0.8 else b"") + flood


def json_tricks(data: bytes, other: bytes, rng: Rng) -> bytes:
    """One of a list, alone or within the sound descriptor."""
    trick = JSON_TRICKS[rng.integers(len(JSON_TRICKS))]
    if rng.random() < 0.6:
        return trick
    at = int(rng.integers(len(data)))
    return data[:at] + trick + data[at:]


def yaml_tricks(data: bytes, other: bytes, rng: Rng) -> bytes:
    """One of a list, before, within or after the sound study file, or alone."""
    trick = YAML_TRICKS[rng.integers(len(YAML_TRICKS))]
    lines = data.splitlines(keepends=True)
    at = (0, int(rng.integers(len(lines))), len(lines))[rng.integers(3)]
    return trick if rng.random() < 0.3 else b"".join(lines[:at]) + trick + b"".join(lines[at:])


def edf_header(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Fields of the header set to extremes, no numbers, or other counts."""
    words = (
        b"0",
        b"-1",
        b"1e308",
        b"nan",
        b"inf",
        b"99999999",
        b"1e-300",
        b"",
        b"0.1",
        b"1.5",
        b"\xff\xff",
        b"1_0",
        b"-0",
    )
    changed = bytearray(data)
    count = int(data[252:256] or 1)
    starts = [(184, 8), (192, 44), (236, 8), (244, 8), (252, 4), (0, 8), (168, 8), (176, 8)]
    offsets = ((0, 16), (96, 8), (104, 8), (112, 8), (120, 8), (128, 80), (216, 8))
    starts += [(256 + at * count + width * int(rng.integers(count)), width) for at, width in offsets]
    for _ in range(int(rng.integers(1, 4))):
        at, width = starts[rng.integers(len(starts))]
        changed[at : at + width] = words[rng.integers(len(words))].ljust(width)[:width]
    return bytes(changed)


def edf_records(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Records lost, doubled or exchanged, the count put right: as a slow card and a broken link leave them."""
    header, records = int(data[184:192]), int(data[236:244])
    size = (len(data) - header) // records
    parts = [data[header + i * size : header + (i + 1) * size] for i in range(records)]
    at, many = int(rng.integers(records)), int(rng.integers(1, 4))
    what = rng.integers(4)
    if what == 0:
        del parts[at : at + many]
    elif what == 1:
        parts[at:at] = parts[at : at + many]
    elif what == 2:
        other_at = int(rng.integers(records))
        parts[at], parts[other_at] = parts[other_at], parts[at]
    else:
        parts[at] = bytes(size)
    count = str(len(parts)).encode().ljust(8)
    return data[:236] + count + data[244:header] + b"".join(parts)


def zip_directory(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Fields of the archive's directory set to extremes."""
    changed = bytearray(data)
    begins = [at for at in range(len(data) - 46) if data[at : at + 4] == b"PK\x01\x02"]
    for _ in range(int(rng.integers(1, 4))):
        at = begins[rng.integers(len(begins))]
        offset, form = (
            (8, "H"),
            (10, "H"),
            (16, "I"),
            (20, "I"),
            (24, "I"),
            (28, "H"),
            (30, "H"),
            (38, "I"),
            (42, "I"),
        )[rng.integers(9)]
        value = int(
            rng.choice([0, 1, 8, 0xFFFE, 0xFFFF] if form == "H" else [0, 1, 0x7FFFFFFF, 0xFFFFFFFE, 0xFFFFFFFF])
        )
        struct.pack_into("<" + form, changed, at + offset, value)
    return bytes(changed)


def zip_tricks(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Paths that lead out, links, doubles and case twins, bombs, deep folders, many members; beside sound ones."""
    buffer = io.BytesIO()
    with warnings.catch_warnings(), zipfile.ZipFile(buffer, "w", zipfile.ZIP_DEFLATED) as archive:
        warnings.simplefilter("ignore")  # of a name that stands twice
        archive.writestr("brack-001/bagit.txt", "BagIt-Version: 1.0\n")
        what = rng.integers(9)
        if what == 0:
            paths = ("../out", "/tmp/out", "brack-001/../../out", "C:\\out", "brack-001/..\\out", "~/out", "a\x1b[2J/x")
            archive.writestr(paths[rng.integers(len(paths))], b"x")
        elif what == 1:
            link = zipfile.ZipInfo("brack-001/data/link")
            link.external_attr = (stat.S_IFLNK | 0o777) << 16
            archive.writestr(link, "/etc/passwd")
        elif what == 2:
            archive.writestr("brack-001/data/A.csv", "1")
            archive.writestr(
                ("brack-001/data/a.csv", "brack-001/data/A.csv", "brack-001/data/A.csv/x")[rng.integers(3)], "2"
            )
        elif what == 3:
            archive.writestr("brack-001/data/zeros", bytes(int(rng.integers(2, 40)) << 20))
        elif what == 4:
            for i in range(int(rng.integers(2000, 25_000))):
                archive.writestr(zipfile.ZipInfo(f"brack-001/data/{i}"), b"")
        elif what == 5:
            archive.writestr("brack-001/" + "d/" * int(rng.integers(100, 3000)) + "x", b"x")
        elif what == 6:
            archive.writestr("brack-001/" + "n" * int(rng.integers(100, 5000)), b"x")
        elif what == 7:
            kind = zipfile.ZipInfo("brack-001/data/device")
            kind.external_attr = int(rng.choice([stat.S_IFIFO, stat.S_IFCHR, stat.S_IFSOCK, stat.S_IFBLK])) << 16
            archive.writestr(kind, b"x")
        else:
            archive.writestr("brack-001/data/inner.zip", data)
    return buffer.getvalue()


def study_floods(data: bytes, other: bytes, rng: Rng) -> bytes:
    """Far more settings than any study has."""
    flood = (
        lambda n: b"".join(b"k%d: 1\n" % i for i in range(n // 8)),
        lambda n: b"x: [" + b"1, " * (n // 3) + b"1]\n",
        lambda n: b"x: '" + b"y" * n + b"'\n",
        lambda n: b"# " + b"c" * n + b"\n",
        lambda n: b"x: 1" + b":59" * (n // 3) + b"\n",
    )[rng.integers(5)](int(rng.choice([20_000, 200_000, 1_040_000])))
    return data + flood


Make = Callable[[bytes, bytes, Rng], bytes]
#: target -> kind -> how it is made, and how many of a thousand.
KINDS: dict[str, dict[str, tuple[Make, int]]] = {
    "csv": {"damaged": (damaged, 110), "cells replaced": (csv_cells, 130), "floods": (csv_floods, 30)},
    "json": {"damaged": (damaged, 80), "tricks": (json_tricks, 80)},
    "zip": {"damaged": (damaged, 70), "directory at extremes": (zip_directory, 70), "tricks": (zip_tricks, 60)},
    "edf": {"damaged": (damaged, 90), "header at extremes": (edf_header, 110), "records moved": (edf_records, 60)},
    "yaml": {"damaged": (damaged, 70), "tricks": (yaml_tricks, 80), "floods": (study_floods, 20)},
}


def seeded(*parts: int) -> Rng:
    """A generator of its own for every mutant, so that each can be made again alone."""
    return np.random.default_rng(parts)
