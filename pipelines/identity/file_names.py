"""Names of files and folders that may be shown: made of known words, or such as operating systems give by themselves.

How a name that may not be shown is told of instead stands here, too. Names of systems from memory of what they write,
kinds of files common practice.
"""

from __future__ import annotations

import re
from pathlib import PurePosixPath

from pipelines.identity.vocabulary import Vocabulary

#: Folders and files that operating systems and shared storage leave behind, in small letters.
SYSTEM_FOLDERS = frozenset(
    {
        *("__macosx", ".spotlight-v100", ".trashes", ".fseventsd", ".temporaryitems", ".documentrevisions-v100"),
        *("$recycle.bin", "system volume information"),
        *("@eadir", "#recycle", ".@__thumb"),  # of storage that many people share
    }
)
SYSTEM_FILES = frozenset({".ds_store", ".localized", ".directory", "thumbs.db", "ehthumbs.db", "desktop.ini"})
_KINDS = frozenset(
    f".{kind}"
    for line in (
        "c3d edf csv tsv txt log md json xml yaml yml pdf doc docx odt rtf xls xlsx ods ppt pptx",
        "zip gz tar 7z rar mat npy h5 parquet py r m ipynb html ini db dat bin bak tmp",
        "jpg jpeg png gif tif tiff bmp mp4 mov avi wav mp3",
    )
    for kind in line.split()
)
#: The files that BagIt itself puts round a payload; the names of checksums are those that a bag may use.
OWN_TAG_FILES = re.compile(r"(?:tag)?manifest-(?i:md5|sha1|sha224|sha256|sha384|sha512)\.txt|bagit\.txt|bag-info\.txt")

#: Fields of bag-info.txt that RFC 8493 (section 2.2.2) names, and those of a delivery, in small letters.
INFO_FIELDS = frozenset(
    {
        *("source-organization", "organization-address", "contact-name", "contact-phone", "contact-email"),
        *("external-description", "bagging-date", "external-identifier", "bag-size", "payload-oxum", "bag-count"),
        *("bag-group-identifier", "internal-sender-identifier", "internal-sender-description"),
        *("bagit-profile-identifier", "contact-role", "site", "study", "delivery-number", "invented"),
    }
)


def fits(path: str, plain: Vocabulary) -> bool:
    """Whether a name or path (forward slashes) is made of known words and names of systems alone, on one line."""
    if not path.isprintable():  # a line break would forge a line, an escape obey on somebody's screen
        return False
    parts = path.split("/")
    if OWN_TAG_FILES.fullmatch(path) or path == "fetch.txt":
        return True
    return plain.fits("/".join(p for p in parts if p.lower() not in SYSTEM_FOLDERS | SYSTEM_FILES))


def kind_of(path: str) -> str:
    """What a name ends in, if that is a known kind of file, in small letters; else ""."""
    suffix = PurePosixPath(path).suffix.lower()
    return suffix if suffix in _KINDS else ""


def told_of(text: str) -> str:
    """What stands in the place of a name or word that is not shown."""
    kind = kind_of(text)
    return f"({len(text)} characters{f' ending in {kind}' if kind else ''}, not shown)"
