"""A PostgreSQL server of our own on loopback, where Debian's is installed, and a store on either database."""

from __future__ import annotations

import os
import pwd
import shutil
import socket
import subprocess
import tempfile
from collections.abc import Iterator
from pathlib import Path

import pytest


class Postgres:
    """A server in a folder of its own; it can be stopped as if the network had gone, and started again."""

    def __init__(self, bin_folder: Path, folder: Path) -> None:
        self._bin, self._folder = bin_folder, folder
        self._data = folder / "data"
        self._as_user = {}
        if os.geteuid() == 0:
            entry = pwd.getpwnam("postgres")
            self._as_user = {"user": entry.pw_uid, "group": entry.pw_gid, "extra_groups": []}
            os.chown(folder, entry.pw_uid, entry.pw_gid)
        with socket.socket() as probe:
            probe.bind(("127.0.0.1", 0))
            self.port = probe.getsockname()[1]
        self._run("initdb", "-D", self._data, "-U", "brew", "-A", "trust", "--no-sync", "-E", "UTF8")

    def _run(self, program: str, *arguments: object) -> None:
        done = subprocess.run(
            [str(self._bin / program), *map(str, arguments)],
            cwd=self._folder,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.DEVNULL,
            stderr=subprocess.PIPE,
            text=True,
            timeout=150,
            **self._as_user,
        )
        assert done.returncode == 0, f"{program}: {done.stderr}"

    def start(self) -> None:
        settings = f"-p {self.port} -c listen_addresses=127.0.0.1 -c unix_socket_directories={self._folder}"
        self._run("pg_ctl", "-D", self._data, "-l", self._folder / "log", "-o", settings, "-w", "-t", 120, "start")

    def stop(self) -> None:
        self._run("pg_ctl", "-D", self._data, "-m", "immediate", "-w", "stop")

    def new_database(self) -> str:
        """The address of an empty database."""
        name = f"d{os.urandom(6).hex()}"
        where = ["-h", "127.0.0.1", "-p", self.port, "-U", "brew"]
        self._run("psql", *where, "-d", "postgres", "-q", "-c", f"CREATE DATABASE {name}")
        return f"postgresql+psycopg://brew@127.0.0.1:{self.port}/{name}"


@pytest.fixture(scope="session")
def postgres() -> Iterator[Postgres]:
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/pg_ctl"))
    if not found:
        pytest.skip("no PostgreSQL server under /usr/lib/postgresql")
    pytest.importorskip("psycopg", reason="the PostgreSQL driver (fleet extra) is not installed")
    if os.geteuid() == 0:
        try:
            pwd.getpwnam("postgres")
        except KeyError:
            pytest.skip("the server does not run as root and there is no postgres user")
    memory = Path("/dev/shm")  # a busy disk makes a server on it wait for minutes
    roomy = memory.is_dir() and shutil.disk_usage(memory).free > 500_000_000
    folder = Path(tempfile.mkdtemp(prefix="brewwater-pg-", dir=memory if roomy else None))
    server = Postgres(found[-1].parent, folder)
    server.start()
    yield server
    server.stop()
    shutil.rmtree(folder, ignore_errors=True)


@pytest.fixture(params=["sqlite", "postgresql"])
def store_url(request: pytest.FixtureRequest, tmp_path: Path) -> str:
    """The address of an empty store, once on each database."""
    if request.param == "sqlite":
        return f"sqlite:///{tmp_path / 'brewwater.sqlite3'}"
    server: Postgres = request.getfixturevalue("postgres")
    return server.new_database()
