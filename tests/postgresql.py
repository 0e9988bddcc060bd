"""PostgreSQL servers of our own, on a socket in a folder, that end with this process."""

from __future__ import annotations

import atexit
import os
import pwd
import shutil
import signal
import subprocess
import tempfile
import time
from pathlib import Path

import psycopg

STOPS_AT_ONCE = signal.SIGQUIT
"""As a server ends that is killed: without finishing anything."""


def server_programs() -> Path | None:
    """Folder of PostgreSQL's server programs, if they are installed."""
    found = sorted(Path("/usr/lib/postgresql").glob("*/bin/initdb"))
    on_path = shutil.which("initdb")
    return found[-1].parent if found else Path(on_path).resolve().parent if on_path else None


class Server:
    """A server that can be stopped and started again."""

    def __init__(self) -> None:
        programs = server_programs()
        assert programs is not None
        self.programs = programs
        self.folder = Path(tempfile.mkdtemp(prefix="linedays-"))
        self._as_owner = ["setpriv", "--pdeathsig", "INT"]
        if os.geteuid() == 0:  # the server refuses to run as root
            owner = pwd.getpwnam("postgres")
            os.chown(self.folder, owner.pw_uid, owner.pw_gid)
            ids = [f"--reuid={owner.pw_uid}", f"--regid={owner.pw_gid}", "--clear-groups"]
            self._as_owner += ids
        self._data = str(self.folder / "data")
        made = ["-D", self._data, "-A", "trust", "-U", "linedays", "-E", "UTF8", "--no-sync"]
        subprocess.run(
            self._program("initdb", *made), check=True, cwd=self.folder, stdout=subprocess.DEVNULL
        )
        self._databases = 0
        self._running: subprocess.Popen[bytes] | None = None
        self.start()
        atexit.register(self.remove)

    def _program(self, name: str, *words: str) -> list[str]:
        return [*self._as_owner, str(self.programs / name), *words]

    def start(self) -> None:
        """Start it and wait until it answers."""
        listen = ["-c", "listen_addresses=", "-c", f"unix_socket_directories={self.folder}"]
        words = self._program("postgres", "-D", self._data, *listen, "-c", "fsync=off")
        with (self.folder / "log").open("a") as log:
            self._running = subprocess.Popen(words, cwd=self.folder, stdout=log, stderr=log)
        deadline = time.monotonic() + 60
        while not self._answers():
            assert self._running.poll() is None, (self.folder / "log").read_text()
            assert time.monotonic() < deadline, "the server doesn't answer"
            time.sleep(0.05)

    def stop(self, how: signal.Signals = signal.SIGINT) -> None:
        """Stop it."""
        if self._running is not None:
            self._running.send_signal(how)
            self._running.wait()
            self._running = None

    def remove(self) -> None:
        """Stop it and remove its folder."""
        self.stop()
        shutil.rmtree(self.folder)

    def new_database(self) -> str:
        """Address of a new and empty database."""
        self._databases += 1
        name = f"store_{self._databases}"
        self.say(f"CREATE DATABASE {name}")
        return f"postgresql://linedays@/{name}?host={self.folder}"

    def say(self, statement: str) -> None:
        """Run a statement as the owner."""
        with psycopg.connect(
            host=str(self.folder), user="linedays", dbname="postgres", autocommit=True
        ) as connection:
            connection.execute(statement)  # type: ignore[call-overload]

    def cut_connections(self) -> None:
        """End every connection to a store."""
        self.say(
            "SELECT pg_terminate_backend(pid) FROM pg_stat_activity WHERE datname LIKE 'store_%'"
        )

    def _answers(self) -> bool:
        try:
            psycopg.connect(host=str(self.folder), user="linedays", dbname="postgres").close()
        except psycopg.OperationalError:
            return False
        return True
