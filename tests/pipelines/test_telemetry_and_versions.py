"""Nothing is sent: each switch is looked up in the installed library. And versions follow the sources."""

from __future__ import annotations

import inspect
import os
import shutil
import subprocess
import sys
from pathlib import Path

import duckdb
import pytest

from pipelines import telemetry
from pipelines.assets.serve import quiet_dagster_home
from pipelines.versions import code_version, package_version, sources_hash

REPO = Path(__file__).resolve().parents[2]


def test_dagster_would_not_upload(monkeypatch: pytest.MonkeyPatch) -> None:
    from dagster._core import telemetry_upload

    for name in ("BUILDKITE", "TF_BUILD", "DAGSTER_DISABLE_TELEMETRY"):
        monkeypatch.delenv(name, raising=False)
    assert not telemetry_upload.is_running_in_test(), "the switch does nothing: the upload is off without it"
    telemetry.switch_off()
    assert telemetry_upload.is_running_in_test()
    assert "is_running_in_test()" in inspect.getsource(telemetry_upload.upload_logs)


def test_dagsters_settings_in_the_depot_switch_telemetry_and_questions_off(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    import dagster as dg
    from dagster_shared.telemetry import get_telemetry_enabled_from_dagster_yaml

    monkeypatch.setenv("DAGSTER_HOME", str(quiet_dagster_home(tmp_path)))
    assert not get_telemetry_enabled_from_dagster_yaml()
    with dg.DagsterInstance.get() as instance:
        assert not instance.telemetry_enabled
        assert not instance.nux_enabled


def test_great_expectations_has_no_sender_or_is_switched_off() -> None:
    """The installed version either reads the switch or carries nothing that sends."""
    import importlib.util

    telemetry.switch_off()
    assert os.environ["GX_ANALYTICS_ENABLED"] == "false"
    if importlib.util.find_spec("great_expectations.analytics") is None:
        spec = importlib.util.find_spec("great_expectations")
        assert spec is not None
        assert spec.origin is not None
        senders = [
            p for p in Path(spec.origin).parent.rglob("*.py") if "import posthog" in p.read_text(encoding="utf-8")
        ]
        assert senders == []
    else:
        from great_expectations.analytics.config import ENV_CONFIG

        assert ENV_CONFIG.gx_analytics_enabled is False


_VALIDATE_AND_LISTEN = """
import sys
from pipelines import telemetry
telemetry.switch_off()
asked = []
sys.addaudithook(lambda event, args: asked.append((event, repr(args)[:80])) if event.startswith("socket.") else None)
import pandas as pd
from checks.site.expectations import Expected, carry_out
rows = pd.DataFrame({"value": [1.0, 2.0, 3.0]})
(answer,) = carry_out(rows, [Expected("expect_column_median_to_be_between", "value", {}, {"min_value": 2, "max_value": 2})])
assert answer.met
validated = len(asked)
import socket
try:
    socket.create_connection(("127.0.0.1", 9), timeout=0.2)
except OSError:
    pass
print([a for a in asked[:validated] if a[0] in ("socket.connect", "socket.getaddrinfo", "socket.sendto")], len(asked) > validated)
"""


def test_great_expectations_opens_no_connection_and_asks_for_no_address_while_it_validates(tmp_path: Path) -> None:
    """Listened to from before its import, with an interpreter's audit hook, which does hear a connection of our own."""
    done = subprocess.run(
        [sys.executable, "-c", _VALIDATE_AND_LISTEN],
        cwd=tmp_path,
        env={**os.environ, "PYTHONPATH": str(REPO)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert done.stdout.strip() == "[] True"
    assert list(tmp_path.iterdir()) == [], "and it leaves no file behind"


def test_great_expectations_never_asks_for_its_newest_version() -> None:
    """The class that would ask a package index is there; nothing in the installed version uses it."""
    import great_expectations

    root = Path(str(great_expectations.__file__)).parent
    users = [p for p in root.rglob("*.py") if "_VersionChecker" in p.read_text(encoding="utf-8")]
    assert [p.name for p in users] in ([], ["_version_checker.py"])


def test_duckdb_neither_fetches_nor_loads_extensions_by_itself() -> None:
    with duckdb.connect(config=dict(telemetry.DUCKDB_CONFIG)) as connection:
        settings = dict(connection.execute("SELECT name, value FROM duckdb_settings()").fetchall())
    assert {name: settings[name] for name in telemetry.DUCKDB_CONFIG} == telemetry.DUCKDB_CONFIG


@pytest.mark.parametrize("module", ["pipelines.command.main", "pipelines.assets.definitions"])
def test_the_switches_are_set_on_import(module: str) -> None:
    code = f"import os, {module}; print([os.environ.get(n) for n in {list(telemetry.SWITCHES)}])"
    clean = {k: v for k, v in os.environ.items() if k not in telemetry.SWITCHES}
    done = subprocess.run([sys.executable, "-c", code], cwd=REPO, env=clean, capture_output=True, text=True, check=True)
    assert done.stdout.strip() == str(list(telemetry.SWITCHES.values()))


def test_a_changed_check_changes_the_code_version_and_a_changed_page_does_not(tmp_path: Path) -> None:
    for package in ("schemas", "checks", "pipelines"):
        shutil.copytree(REPO / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    before, shown = sources_hash(tmp_path), sources_hash(tmp_path, what_is_only_shown=True)
    style = next((tmp_path / "pipelines" / "pages").rglob("*.css"))
    style.write_text(style.read_text() + "\n")
    assert sources_hash(tmp_path) == before
    assert sources_hash(tmp_path, what_is_only_shown=True) != shown
    check = tmp_path / "checks" / "force" / "plates.py"
    check.write_text(check.read_text() + "\n# a comment\n")
    assert sources_hash(tmp_path) == before
    check.write_text(check.read_text() + "\nADDED = 1\n")
    assert sources_hash(tmp_path) != before


def test_what_is_kept_of_the_sources_changes_no_version_also_when_it_is_damaged(tmp_path: Path) -> None:
    for package in ("schemas", "checks", "pipelines"):
        shutil.copytree(REPO / package, tmp_path / package, ignore=shutil.ignore_patterns("__pycache__"))
    code = "from pipelines.versions import code_version; print(code_version())"
    around = {k: v for k, v in os.environ.items() if k != "PYTHONDONTWRITEBYTECODE"}

    def told() -> str:
        return subprocess.run(
            [sys.executable, "-c", code], cwd=tmp_path, env=around, capture_output=True, text=True, check=True
        ).stdout

    first = told()
    (kept,) = (tmp_path / "pipelines" / "__pycache__").glob("forms-*.json")
    assert told() == first
    kept.write_text('{"a": 1}')
    assert told() == first
    check = tmp_path / "checks" / "force" / "plates.py"
    check.write_text(check.read_text() + "\nADDED = 1\n")
    assert told() != first


def test_the_version_is_the_packages_with_eight_hex_digits() -> None:
    version, _, digest = code_version().partition("+")
    assert version == package_version()
    assert len(digest) == 8
    assert int(digest, 16) >= 0
