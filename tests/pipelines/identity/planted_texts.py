"""Identifying and innocent texts of the trade, planted where deliveries have them; looked at while the scanner was built."""

from __future__ import annotations

import random
from collections.abc import Iterator

from pipelines.identity.identifiers import scan, scan_path

#: (place, text): place "file" is the name of a file.
Planted = tuple[str, str]

_PEOPLE = (
    "Anneli Tormaenen", "Oddvar Brekkestad", "Siobhan Kilbride", "Wojtek Zielonka", "Thandiwe Mokoena",
    "Ileana Dragomirescu", "Haruki Shimabukuro", "Bronwen Llewelyn", "Gudrun Eisenhardt", "Farrokh Daneshvar",
    "Noemi Szentgyorgyi", "Ximena Arrascaeta", "Callum Featherstonehaugh", "Agnieszka Wrobel", "Torbjorn Lindqvist",
)  # fmt: skip
_ALONE = ("Kirsten", "Matthew", "Ragnhild", "Giulia", "Mehmet", "Solveig", "Katharina", "Benjamin")
_TOLD = (
    "{} came late",
    "second run with {} watching", "{} felt pain in the left heel", "shoes of {} used", "redone, {} had not slept",
    "marker placed by {}", "consent form of {} is missing", "treadmill stopped by {}",
)  # fmt: skip
_MONTHS = ("January", "February", "March", "April", "June", "July", "August", "September", "October", "November")
_STREETS = ("Alderbrook Street", "Thistledown Road", "Quarrymoor Avenue", "Low Mill Lane")


def identifying(seed: int = 4) -> list[Planted]:
    """At least 300 texts that identify somebody, where they are found in real deliveries."""
    texts = [*_names(), *_days(random.Random(seed)), *_numbers(random.Random(seed))]
    return list(dict.fromkeys(texts))


def _names() -> Iterator[Planted]:
    for i, person in enumerate(_PEOPLE):
        first, last = person.split(" ")
        yield "comment", _TOLD[i % len(_TOLD)].format(person)
        yield "SUBJECTS:NAMES", person
        yield "operator", last
        yield "TRIAL:NOTE", f"Recorded by {person}"
        yield "Contact-Name", person
        yield "comment", f"Dr {last} asked for a break"
        yield "PATIENT:NAME", f"{last}, {first}"
        yield "comment", f"see mail of {first[0]}. {last}"
        yield "SUBJECTS:LABEL_PREFIXES", first
    for i, name in enumerate(_ALONE):
        yield "comment", _TOLD[i % len(_TOLD)].format(name)
        yield "file", f"trials/{name.lower()}_run_{i}.c3d"
        yield "file", f"trials/{name}{i}.c3d"


def _days(draw: random.Random) -> Iterator[Planted]:
    for _ in range(8):
        year, month, day = draw.randint(1950, 2025), draw.randint(1, 12), draw.randint(1, 28)
        hour, minute = draw.randint(7, 19), draw.randint(0, 59)
        word = _MONTHS[draw.randrange(len(_MONTHS))]
        yield "comment", f"repeated on {day}.{month}.{year}"
        yield "comment", f"measured {day:02d}/{month:02d}/{year % 100:02d} because of illness"
        yield "TRIAL:NOTE", f"{year}-{month:02d}-{day:02d}T{hour:02d}:{minute:02d}:07"
        yield "comment", f"visit moved to {word} {day}, {year}"
        yield "comment", f"runner was ill on {day} {word}"
        yield "file", f"trials/{year}{month:02d}{day:02d}_overground.c3d"
        yield "SUBJECTS:DATE_OF_BIRTH", f"{day:02d}{month:02d}{year}"
        yield "date", f"{day}-{word[:3].upper()}-{year}"
        yield "comment", f"started at {hour:02d}:{minute:02d}"
        yield "comment", f"runner is {draw.randint(90, 104)} years old"


def _numbers(draw: random.Random) -> Iterator[Planted]:
    def digits(n: int) -> str:
        return str(draw.randint(1, 9)) + "".join(str(draw.randint(0, 9)) for _ in range(n - 1))

    for i in range(6):
        last = _PEOPLE[i].split(" ")[1].lower()
        yield "comment", f"write to {last}{i}@lab{i}.example"
        yield "comment", f"+44 20 {digits(4)} {digits(4)}"
        yield "comment", f"tel. {digits(2)} {digits(2)} {digits(2)} {digits(2)}"
        yield "comment", f"fax {digits(3)}-{digits(4)}"
        yield "comment", f"call ({digits(3)}) {digits(3)}-{digits(4)}"
        yield "comment", f"SSN {digits(3)}-{digits(2)}-{digits(4)}"
        yield "TRIAL:NOTE", f"MRN: {digits(7)}"
        yield "comment", f"hospital number {digits(6)}"
        yield "comment", f"insurance no. {digits(9)}"
        yield "comment", f"paid to account {digits(8)}"
        yield "comment", f"GB{digits(2)} FELL {digits(4)} {digits(4)} {digits(4)} {digits(2)}"
        yield "comment", f"coaching licence {digits(6)}"
        yield "comment", f"parked outside, number plate FX{digits(2)} LKD"
        yield "EMG:NOTE", f"sensor S/N {digits(6)}"
        yield "DEVICE:SERIAL_NUMBER", digits(7)
        yield "comment", f"track at https://runs.example/{digits(6)}"
        yield "comment", f"www.fellresults.example/r/{digits(4)}"
        yield "RECORDING:NOTE", f"saved from 192.168.{draw.randint(0, 255)}.{draw.randint(1, 254)}"
        yield "comment", "adapter " + ":".join(f"{draw.randint(16, 255):02x}" for _ in range(6))
        yield "comment", f"lives at {draw.randint(1, 99)} {_STREETS[i % 4]}"
        yield "comment", f"postcode LA{draw.randint(1, 9)} {draw.randint(1, 9)}QT"
        yield "comment", f"gps {draw.uniform(50, 60):.5f}, {draw.uniform(-5, 9):.5f}"
        yield "TRIAL:PATH", f"C:\\Users\\{last}\\capture\\t{i}.c3d"
        yield "file", f"photos/start_{i}.jpg"
        yield "comment", f"bib {digits(4)} in the race"


_SIDES, _MUSCLES = ("left", "right"), ("gastrocnemius medialis", "soleus", "tibialis anterior", "rectus femoris")
_INNOCENT_TOLD = (
    "Left heel marker fell off after {} steps", "repeated, foot missed plate {}", "Force plate {} was zeroed again",
    "run of {} min before the trial", "version 2.{}.1 of the export", "firmware 1.2.3.{}", "set speed 3.{} m/s",
    "trial {} of 10", "week {} of 12", "gaps of {} frames filled", "sampling at 1{}00 Hz", "{} % of body weight",
    "study day {}", "plate corners 0.{}, 0.600, 0.000 m", "aged {} weeks, shoes worn", "filter 20-4{}0 Hz, order 4",
    "ratio 1:{}", "channels 1-{} swapped", "pace 4:3{} min/km", "may {} be too low", "peak 2.{} BW at 0.1{} s",
)  # fmt: skip
_INNOCENT_PLAIN = (
    "Butterworth low-pass, zero lag", "Shoe lace came loose", "Runner stumbled", "Standing trial repeated",
    "Right Foot hit the rail", "Vertical Force drifts", "Treadmill belt slipped", "Too warm in the hall",
    "Optical system restarted", "No problem", "Ground Reaction Force checked", "march in place before start",
    "Fore-aft channel noisy", "Mean of three trials", "Second attempt", "Barefoot, dry skin", "EMG electrode replaced",
    "The Fellside footwear study", "Invented data of a simulated runner. No person was measured.", "consented, form 2",
)  # fmt: skip


def innocent(seed: int = 5) -> list[Planted]:
    """At least 300 texts of the trade that look similar and identify nobody."""
    draw = random.Random(seed)
    texts: list[Planted] = [("comment", text) for text in _INNOCENT_PLAIN]
    for text in _INNOCENT_TOLD:
        texts += [("comment", text.format(n, draw.randint(2, 9))) for n in range(2, 10)]
    for i in range(16):
        texts += [
            ("SUBJECTS:NAMES", f"FS-{i:02d}"),
            ("SUBJECTS:NAMES", f"Subject {i}"),
            ("file", f"trials/FS-{i:02d}-w{i}-brack-cushioned-{i}.c3d"),
            ("POINT:LABELS", f"lateral_malleolus_{_SIDES[i % 2]}"),
            ("ANALOG:LABELS", f"P{i}.Fz"),
            ("muscle", _MUSCLES[i % 4]),
            ("trial_id", f"FS-{i:02d}-w10-corrie-unshod-{i}"),
            ("age", str(14 + 5 * i)),
            ("birth_year", str(1960 + i)),
            ("POINT:DESCRIPTIONS", f"Head of metatarsal {i}, Left Foot"),
            ("EZC3D:VERSION", f"1.7.{i}"),
            ("form_version", f"2.{i}"),
            ("ANALOG:UNITS", ("N", "Nmm", "V", "mV")[i % 4]),
        ]
    return list(dict.fromkeys(texts))


def measure() -> tuple[float, float, list[Planted], list[Planted]]:
    """Recall, false alarm rate, and what was missed and wrongly told."""
    planted, plain = identifying(), innocent()
    missed = [one for one in planted if not _finds(*one)]
    wrong = [one for one in plain if _finds(*one)]
    return 1 - len(missed) / len(planted), len(wrong) / len(plain), missed, wrong


def _finds(place: str, text: str) -> bool:
    return bool(scan_path(text) if place == "file" else scan(text, place))
