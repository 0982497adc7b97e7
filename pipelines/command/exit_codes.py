"""What the exit codes of each command mean, for scripts; the reference of commands is made from this.

All commands share the meaning of a code; here is what it means in each.
"""

from __future__ import annotations

#: Of a run that came to its end, and something that came with it has to go back.
LABORATORIES_ASKED = 4
#: Ended by the person who began it, or by a service manager.
INTERRUPTED = 130
INTERRUPTED_TOLD = "Interrupted; nothing is half-written, and the same command given again goes on from here."
#: of a command that has nothing more to say
_COMMON = {
    0: "Done.",
    2: "Something given cannot be used; what, and what to do, stands on standard error, and with `--json` as the "
    "answer, too. Nothing is half-written.",
    3: "A fault of manystrides.",
    INTERRUPTED: "Interrupted with Ctrl-C, or by a service manager (SIGTERM). Nothing is half-written.",
}
_OWN = {
    "run": {
        0: "Everything new was worked off, and nothing of it goes back; or, with `--plan`, it was shown.",
        1: "Judging again would move many trials into or out of the pool: nothing was published, `--yes` is needed.",
        2: "The study file, inbox or depot cannot be used, or an arrival could not be used just now.",
        3: "A check crashed, or manystrides failed on a delivery; the others were worked off.",
        LABORATORIES_ASKED: "Everything new was worked off, and of that a delivery was stopped or trials go back.",
    },
    "check": {
        0: "Nothing must be corrected; there may be notes.",
        1: "Something must be corrected: the depot would stop the delivery, return or withhold a trial, or a text may "
        "identify a person.",
        3: "A check crashed, which is nothing for the site to correct.",
    },
    "pack": {0: "The delivery is made, and the depot can open it. Whether its trials are good is for `check` to say."},
    "profile": {0: "The draft is made. Whether lines are open stands in it, and with `--to` on standard output."},
    "look": {1: "The file cannot be read as a C3D file."},
    "accept": {1: "The check is set aside, and the trial still goes back for another one."},
    "withdraw": {1: "The runner's id is still somewhere; the command says where."},
    "verify": {1: "Something is not as it was published; with `--repair`, something that has no source is left."},
    "ledger verify": {1: "A line of the ledger was changed, removed or inserted."},
}


def exit_codes(command: str) -> dict[int, str]:
    """Code -> meaning of one command, for example "ledger verify", in order."""
    return dict(sorted((_COMMON | _OWN.get(command, {})).items()))
