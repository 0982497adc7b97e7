"""The planted fault and the clean case of every check: ``PLANTED`` and ``CLEAN`` of the test modules in this folder."""

from __future__ import annotations

import importlib
import pkgutil
from collections.abc import Callable
from functools import cache
from typing import NoReturn

import pytest

import tests.checks
from checks.context import Context
from checks.registry import catalogue
from tests.checks.running_checks import Case

Cases = tuple[dict[str, Case], dict[str, Callable[[], Context]]]


@cache
def every_case() -> Cases:
    """Check name -> its planted fault; check name -> its clean case."""
    planted: dict[str, Case] = {}
    clean: dict[str, Callable[[], Context]] = {}
    for found in pkgutil.walk_packages(tests.checks.__path__, "tests.checks."):
        if found.name.rpartition(".")[2].startswith("test_"):
            module = importlib.import_module(found.name)
            planted |= getattr(module, "PLANTED", {})
            clean |= getattr(module, "CLEAN", {})
    return planted, clean


def planted(name: str) -> Case:
    """The planted fault of a check; where there is none the test fails and says where it belongs."""
    return every_case()[0].get(name) or _lacking(name, "PLANTED", "a fault that it finds")


def clean(name: str) -> Context:
    """The clean case of a check."""
    make = every_case()[1].get(name)
    return make() if make is not None else _lacking(name, "CLEAN", "a case that it looks at and accepts")


def _lacking(name: str, where: str, what: str) -> NoReturn:
    folder = catalogue()[name].topic.partition(".")[0]
    pytest.fail(f"{name}: {what} is missing. Add it to {where} in a test module of tests/checks/{folder}/.")
