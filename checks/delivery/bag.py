"""Whether a delivery came whole: archive, bag, bag-info and the files it carries. The rows are for ``tables``."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import TYPE_CHECKING, Any

from checks.registry import Looked, Subject, Weight, check, looked, nothing
from schemas.catalogue import tables_of
from schemas.model import Layer
from schemas.received import Problem, Received
from schemas.said import not_shown
from schemas.study import Study

if TYPE_CHECKING:
    import pandas as pd

NOT_OPENED = "the delivery could not be opened, which another check reports"
IDS = ("trial_id", "session_id", "participant_id")
#: Files of the payload that describe it and need no row of their own.
_DESCRIBING = ("datapackage.json",)


_COPY_AGAIN = (
    "Copy the delivery again from the folder it was made in. If files were changed on purpose after the bag was made, "
    "make the bag again, so that its checksums are those of the new files"
)
_NAME_IT = (
    "In bag-info.txt give the site's short name as in the study file, the study's title and the next delivery number, "
    "make the bag again, and put it into that site's folder of the inbox"
)
_ZIP_AGAIN = "Zip the bag's own folder again: plain files and folders only, no shortcuts, no files from outside it"


def faults_of(problems: Iterable[Problem]) -> list[dict[str, Any]]:
    """Problems that intake met, as faults of the check that answers for them."""
    return [
        {
            "problem": _sentence(problem.seen),
            "wanted": _sentence(problem.expected),
            "file": problem.file,
            "place": problem.place,
            **{name: getattr(problem, name) for name in IDS if getattr(problem, name)},
        }
        for problem in map(not_shown, problems)
    ]


def of_kind(delivery: Received, *kinds: str) -> list[Problem]:
    """The delivery's problems of these kinds."""
    return [problem for problem in delivery.problems if problem.kind in kinds]


def ids_of(row: pd.Series) -> dict[str, Any]:
    """The ids a row carries, so that its finding reaches the trials it touches."""
    return {name: row[name] for name in IDS if name in row.index and known(row[name])}


def _with_remedy(problems: Sequence[Problem], usual: str) -> list[dict[str, Any]]:
    """Faults whose remedy is the problem's own, or else the usual one."""
    faults = zip(faults_of(problems), problems, strict=True)
    return [{**fault, "what_to_do": problem.mend or usual} for fault, problem in faults]


def known(value: object) -> bool:
    """Whether a cell holds something: not None, NaN, NA or an empty string."""
    return not (value is None or type(value).__name__ == "NAType" or value != value or value == "")


def _sentence(text: str) -> str:
    """With a capital, unless it begins with a path, an id or a column name."""
    text = " ".join(str(text).split()).rstrip(".")
    return text[:1].upper() + text[1:] if text.partition(" ")[0].isalpha() else text


@check(
    about=Subject.DELIVERY,
    weight=Weight.STOPS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="{what_to_do}.",
    words=("problem", "wanted", "what_to_do"),
)
def archive_unpacks_safely(delivery: Received) -> Looked:
    """A zipped delivery unpacks into its own folder, to a sane size, and holds nothing but files and folders.

    An archive can write over files elsewhere or fill the disk while it is unpacked; one that would is not unpacked at
    all, whether meant so or not.
    """
    problems = of_kind(delivery, "archive")
    if not problems and not delivery.arrived_as.lower().endswith(".zip"):
        return nothing("the delivery came as a folder")
    return looked(max(1, len(delivery.files)), _with_remedy(problems, _ZIP_AGAIN))


@check(
    about=Subject.DELIVERY,
    weight=Weight.STOPS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="{what_to_do}.",
    words=("problem", "wanted", "what_to_do"),
)
def bag_is_complete_and_unchanged(delivery: Received) -> Looked:
    """The bag holds exactly the files its manifests list, byte for byte (BagIt, RFC 8493).

    A file cut short on the way often still opens, and its trial then ends in the middle of a step.
    """
    problems = of_kind(delivery, "bag")
    if not problems and not delivery.files:
        return nothing(NOT_OPENED)
    return looked(max(1, len(delivery.files)), _with_remedy(problems, _COPY_AGAIN))


@check(
    about=Subject.DELIVERY,
    weight=Weight.STOPS,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="{what_to_do}.",
    words=("problem", "wanted", "what_to_do"),
)
def bag_info_names_site_and_number(delivery: Received, study: Study) -> Looked:
    """The bag's bag-info.txt names the site, whose inbox it came to, and the number of the delivery.

    Axes, labels and plates are taken from the site's profile, so data under another site's name would be turned
    and scaled as if they were theirs; and without a number a resent trial cannot be distinguished from the earlier one.
    """
    problems = of_kind(delivery, "bag_info")
    if not problems and not (delivery.files or delivery.bag_info):
        return nothing(NOT_OPENED)
    return looked(1, _with_remedy(problems or _bag_info_problems(delivery, study), _NAME_IT))


def _bag_info_problems(delivery: Received, study: Study) -> list[Problem]:
    """What is wrong with site and number where intake itself met no problem."""
    sites = "one of the study's sites: " + ", ".join(study.sites)
    found = []
    if not delivery.site:
        found.append(("no site is named", sites))
    elif delivery.site not in study.sites:
        found.append((f"the site is called '{delivery.site}'", sites))
    elif delivery.inbox_site and delivery.site != delivery.inbox_site:
        inbox = delivery.inbox_site
        found.append((f"the bag is from '{delivery.site}' but came to the inbox of '{inbox}'", "the same site"))
    if delivery.number is None or delivery.number < 1:
        found.append(("there is no delivery number", "a whole number from 1, one more for each delivery"))
    return [Problem("bag_info", seen, expected, "bag-info.txt") for seen, expected in found]


@check(
    about=Subject.DELIVERY,
    weight=Weight.RETURNS,
    seen="Trial {trial} names {path}, which is not in the bag{hint}.",
    expected="Every file that trials.csv names is in the payload, under exactly this path.",
    remedy="Add the file to the folder or correct the path in trials.csv (forward slashes, capital and "
    "small letters as in the file's name), then pack the delivery again.",
    words=("trial", "path", "hint"),
)
def trial_files_are_in_the_bag(delivery: Received) -> Looked:
    """Every trial and sidecar file named in trials.csv is in the bag.

    A trial without its file leaves a hole in the runner's visit that nobody notices until the analysis.
    """
    trials = delivery.tables.get("sent_trials")
    if trials is None or not len(trials):
        return nothing("no trials are listed")
    faults, examined = [], 0
    for _, row in trials.iterrows():
        for column in ("file", "sidecar"):
            path = row.get(column)
            if not known(path):
                continue
            examined += 1
            if path not in delivery.paths:
                faults.append(
                    {
                        **ids_of(row),
                        "trial": row["trial_id"],
                        "path": path,
                        "hint": _hint(str(path), delivery.paths),
                        "file": "trials.csv",
                        "place": f"trial_id {row['trial_id']}, column {column}",
                    }
                )
    return looked(examined, faults) if examined else nothing("no trial names a file")


def _hint(path: str, paths: Iterable[str]) -> str:
    """Where a file of the same name lies, if there is one."""
    wanted = path.replace("\\", "/").rpartition("/")[2].lower()
    near = sorted(other for other in paths if other.rpartition("/")[2].lower() == wanted)
    return f"; {near[0]} is" if near else ""


@check(
    about=Subject.DELIVERY,
    weight=Weight.NOTES,
    seen="{problem}.",
    expected="{wanted}.",
    remedy="If it is a trial that was forgotten, add its row to trials.csv and send it with the next delivery; if it "
    "has no business in the delivery, leave it out next time. It is not used.",
    words=("problem", "wanted"),
)
def every_file_is_named_in_a_table(delivery: Received) -> Looked:
    """Every file of the delivery belongs to its bag, and every file of the payload is a table or is named in one.

    A recording without a row is a recording nobody will analyse, and a stray file may hold what should not leave the
    site. What operating systems leave in folders by themselves is passed over.
    """
    if not delivery.paths:
        return nothing(NOT_OPENED)
    named = {table.file_name for table in tables_of(Layer.DELIVERY)} | set(_DESCRIBING)
    trials = delivery.tables.get("sent_trials")
    if trials is not None:
        for column in ("file", "sidecar"):
            named |= set(trials[column].dropna())
    wanted = "Every file of the payload is a table of the delivery or is named in trials.csv"
    faults: list[dict[str, Any]] = [
        {"problem": f"{path} is in the bag, but no table names it", "wanted": wanted, "file": path}
        for path in sorted(delivery.paths - named)
    ]
    return looked(len(delivery.paths), faults + faults_of(of_kind(delivery, "beside")))
