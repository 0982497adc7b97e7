"""The kinds of identifying text, as findings call them, and the item of the Safe Harbor list each belongs to.

Source of the list: 45 CFR 164.514(b)(2)(i), items A to R. It is one country's rule, used here as the longest common
list; what a study must remove is for its own ethics board to say.
"""

from __future__ import annotations

NAME = "name of a person"
#: This and what else is called "perhaps" is shown to whoever looks.
MAYBE_NAME = "perhaps the name of a person"
PLACE = "address or other place smaller than a country"
DATE = "date"
MAYBE_DATE = "perhaps a date"
TIME = "time of day"
OLD_AGE = "age over 89"
PHONE = "telephone or fax number"
MAIL = "mail address"
NATIONAL = "national identity number"
RECORD = "record number"
INSURANCE = "insurance number"
ACCOUNT = "account or card number"
LICENCE = "licence or certificate number"
VEHICLE = "vehicle number"
DEVICE = "serial number of a device"
WEB = "web address"
NETWORK = "network address"
BODY = "finger, voice or other print of the body"
PICTURE = "picture, film or voice"
OTHER_NUMBER = "other number or name of one person"
MAYBE_NUMBER = "perhaps a number of one person"
PATH = "path on somebody's computer"
#: What keeps nothing out.
ONLY_LIKELY = frozenset({MAYBE_NAME, MAYBE_DATE, MAYBE_NUMBER})

SAFE_HARBOR: dict[str, tuple[str, ...]] = {
    "A": (NAME, MAYBE_NAME, PATH),
    "B": (PLACE,),
    "C": (DATE, MAYBE_DATE, TIME, OLD_AGE),
    "D": (PHONE,),
    "E": (PHONE,),
    "F": (MAIL,),
    "G": (NATIONAL,),
    "H": (RECORD,),
    "I": (INSURANCE,),
    "J": (ACCOUNT,),
    "K": (LICENCE,),
    "L": (VEHICLE,),
    "M": (DEVICE,),
    "N": (WEB,),
    "O": (NETWORK,),
    "P": (BODY,),
    "Q": (PICTURE,),
    "R": (OTHER_NUMBER, MAYBE_NUMBER),
}
