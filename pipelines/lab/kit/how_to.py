"""The page that a kit begins with: how to install, fill in, check, pack and send. Plain text, line by line short."""

from __future__ import annotations

from pipelines.lab.kit.wheel import usual_name
from schemas.study import Study

_INSTALL = """\
1. Install, once
----------------
You need Python 3.11, 3.12 or 3.13, a connection to the Python package index
and 350 MB of disk. Open a terminal in this folder and give one command:

Windows   py -m venv .tool && .tool\\Scripts\\python -m pip install --no-compile {what}
macOS     python3 -m venv .tool && .tool/bin/python -m pip install --no-compile {what}
Linux     python3 -m venv .tool && .tool/bin/python -m pip install --no-compile {what}

(In PowerShell of version 5 give the two halves one after the other. Debian
and Ubuntu: apt install python3-venv first.)
{asked}
From here on "manystrides" stands for .tool\\Scripts\\manystrides on Windows
and .tool/bin/manystrides on macOS and Linux.
"""


_UNFINISHED = """\
The profile of {site} is not finished: nothing can be checked before it is.
Draft it from a few of your own recordings, standing and running:

manystrides profile RECORDINGS --site {site} --study study.yaml --to new_profile.yaml

Read every line of new_profile.yaml, correct those that begin with #?, lay it
over sites/{site}.yaml, and send it to the data manager.

"""


def how_to(study: Study, site: str, wheel: str | None, *, unfinished: bool = False) -> str:
    """The page. wheel: the file in the kit to install from; None if it comes in another way.

    unfinished: whether the profile still has to be filled in.
    """
    asked = "" if wheel else f"\nThe file {usual_name()} comes from the data manager: lay it here first.\n"
    what = f"./{wheel or usual_name()}"
    profile = _UNFINISHED.format(site=site) if unfinished else ""
    invented = "\n(Invented demonstration study: no runner, laboratory or result is real.)\n" if study.invented else ""
    return f"""\
{" ".join(study.title.split())}: kit for the site {site}
{invented}
Everything below runs on your own machine. Nothing is sent anywhere.

{_INSTALL.format(what=what, asked=asked)}
2. Fill in the tables
---------------------
Make a working folder beside this one, my_folder. Copy into it the files of
tables/ that you need (participants, consents, sessions and trials always),
or fill in tables.xlsx and save each sheet in it as "CSV UTF-8 (comma
delimited)" under the sheet's name, such as participants.csv. All its cells are
text, so that codes and numbers stay as you type them.
The second line of each table is an example of an invented runner: replace it.
tables/columns_explained.csv says what each column is, its unit, which words it
takes and whether it must be filled in. Put the recordings (C3D) into
my_folder/trials. No names, no dates, no record numbers, anywhere.

3. Look, check, pack
--------------------
{profile}Does the profile fit your recordings? Look into one of them:

manystrides look my_folder/trials/FILE.c3d --outcomes --profile sites/{site}.yaml
manystrides check my_folder --study study.yaml --site {site} --report what_to_mend
manystrides pack my_folder --study study.yaml --to {site}-001.zip --site {site} --number 1 --contact-role "site lead"

Open what_to_mend/index.html, mend, check again. Each delivery has a number of
its own, one higher than the last. If recordings are made in another way than
the profile says, draft it anew: manystrides profile RECORDINGS --site {site}
--study study.yaml --to new_profile.yaml, and send it to the data manager.

4. Send
-------
Send {site}-001.zip to the data manager in the way you agreed on. What comes
back is a letter, a receipt, and a page for each recording that has to be
mended. It also says if this kit is no longer the newest.
"""
