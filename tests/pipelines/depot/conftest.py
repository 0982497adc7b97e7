"""Books for tests, in SQLite and in PostgreSQL: a private cluster that listens on a socket only, started once."""

from __future__ import annotations

import os
import pwd
import shutil
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest

from pipelines.depot.books.book import Books
from pipelines.depot.books.opening import open_books

_NOBODY = "postgres"  # PostgreSQL refuses to run as root; its package makes this user


def _programs() -> Path | None:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin"), key=lambda p: float(p.parent.name))
    return found[-1] if found else None


@pytest.fixture(scope="session")
def cluster() -> Iterator[str]:
    """The URL of a fresh PostgreSQL, without the name of a database."""
    programs = _programs()
    if programs is None:
        pytest.skip("PostgreSQL is not installed (Debian: apt-get install postgresql)")
    as_user: list[str] = []
    if os.getuid() == 0:
        try:
            owner = pwd.getpwnam(_NOBODY)
        except KeyError:
            pytest.skip(f"PostgreSQL cannot run as root, and there is no user {_NOBODY}")
        as_user = ["runuser", "-u", _NOBODY, "--"]
    folder = Path(tempfile.mkdtemp(prefix="pg-", dir="/tmp"))  # a socket's path may not be long
    if as_user:
        os.chown(folder, owner.pw_uid, owner.pw_gid)
    data, settings = folder / "data", f"-k {folder} -c listen_addresses='' -c fsync=off"
    control = [*as_user, str(programs / "pg_ctl"), "-D", str(data), "-l", str(folder / "log"), "-w"]
    quiet = {"check": True, "stdout": subprocess.DEVNULL, "stderr": subprocess.DEVNULL, "cwd": folder}
    subprocess.run(
        [*as_user, str(programs / "initdb"), "-D", str(data), "-A", "trust", "-U", "test", "--no-sync"], **quiet
    )
    subprocess.run([*control, "-o", settings, "start"], **quiet)
    try:
        yield f"postgresql+psycopg://test@/{{}}?host={folder}"
    finally:
        subprocess.run([*control, "-m", "immediate", "stop"], **quiet)
        shutil.rmtree(folder, ignore_errors=True)


def a_database(cluster: str, name: str) -> str:
    """The URL of a new, empty database."""
    import sqlalchemy as sa

    made = sa.create_engine(cluster.format("postgres"), isolation_level="AUTOCOMMIT")
    with made.connect() as connection:
        connection.exec_driver_sql(f"DROP DATABASE IF EXISTS {name} WITH (FORCE)")
        connection.exec_driver_sql(f"CREATE DATABASE {name}")
    made.dispose()
    return cluster.format(name)


@pytest.fixture
def database(cluster: str) -> str:
    """The URL of a new, empty database."""
    return a_database(cluster, "books")


@pytest.fixture(params=["sqlite", "postgresql"])
def url(request: pytest.FixtureRequest) -> str | None:
    """Where the books are: in the depot, or in a database of their own."""
    return None if request.param == "sqlite" else str(request.getfixturevalue("database"))


@pytest.fixture
def books(tmp_path: Path, url: str | None) -> Iterator[Books]:
    """New books."""
    made = open_books(tmp_path / "depot", url)
    yield made
    made.close()
