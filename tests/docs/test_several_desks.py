"""The section of the guide on a server for several desks, carried out as it is written."""

from __future__ import annotations

import http.client
import re
import shlex
import signal
import subprocess
import sys
import time
from pathlib import Path

import pytest
import sqlalchemy as sa

from analysis.store import Store, migrate
from analysis.store.database import Database
from analysis.store.instants import microseconds
from analysis.store.passwords import hashed
from dashboard.settings import read_settings
from tests.ports import free_port
from tests.signed_in import NOW, PASSWORD

GUIDE = (Path(__file__).parents[2] / "DEVELOPERS.md").read_text(encoding="utf-8")
SECTION = re.search(r"## For several desks\n(.*?)\n## ", GUIDE, re.DOTALL)[1]
BLOCKS = [block.splitlines() for block in re.findall(r"```sh\n(.*?)```", SECTION, re.DOTALL)]
PROGRAM = Path(sys.executable).parent / "linedays"
PATIENCE_SECONDS = 240


class Machine:
    """Carries out lines of the guide with its folders below one of the test."""

    def __init__(self, folder: Path) -> None:
        self.folder, self.port = folder, free_port()
        self.served: subprocess.Popen[bytes] | None = None
        for name in ("etc/linedays", "var/lib/linedays", "var/log/linedays"):
            (folder / name).mkdir(parents=True)
        self.log = folder / "var/log/linedays/linedays.log"

    def run(self, lines: list[str]) -> None:
        for line in lines:
            words = shlex.split(re.sub(r"/(etc|var)/", rf"{self.folder}/\1/", line), comments=True)
            if words == ["systemctl", "start", "linedays"]:
                self.start()
            elif words == ["systemctl", "stop", "linedays"]:
                self.stop()
            elif words:
                words[0] = str(PROGRAM) if words[0] == "linedays" else words[0]
                subprocess.run(words, cwd=self.folder, check=True, capture_output=True)

    def start(self) -> None:
        unit = (self.folder / "files/linedays.service").read_text()
        words = shlex.split(re.search(r"^ExecStart=(.*)$", unit, re.MULTILINE)[1])
        words = [word.replace("/etc/", f"{self.folder}/etc/") for word in words]
        self.served = subprocess.Popen([*words, "--processes", "1"], cwd=self.folder)
        until = time.monotonic() + PATIENCE_SECONDS
        while self.ask("/ready") != "ready\n":
            assert self.served.poll() is None
            assert time.monotonic() < until
            time.sleep(0.1)

    def stop(self) -> None:
        assert self.served is not None
        self.served.send_signal(signal.SIGTERM)
        assert self.served.wait(PATIENCE_SECONDS) in {0, -signal.SIGTERM}
        self.served = None

    def ask(self, path: str) -> str:
        connection = http.client.HTTPConnection("127.0.0.1", self.port, timeout=30)
        try:
            connection.request("GET", path)
            return connection.getresponse().read().decode()
        except OSError:
            return ""
        finally:
            connection.close()


@pytest.fixture
def machine(tmp_path):
    made = Machine(tmp_path)
    yield made
    if made.served is not None:
        made.served.kill()


def revision(file: Path) -> str:
    with sa.create_engine(f"sqlite:///{file}").connect() as connection:
        return str(connection.execute(sa.text("select version_num from alembic_version")).scalar())


def a_user_of_then(file: Path) -> None:
    values = {"code": "N1", "hash": hashed(PASSWORD), "role": "manager", "at": microseconds(NOW)}
    add = (
        "insert into users (code, password_hash, role, families, active, added_at) "
        "values (:code, :hash, :role, 0, 1, :at)"
    )
    with sa.create_engine(f"sqlite:///{file}").begin() as connection:
        connection.execute(sa.text(add), values)


def test_it_is_set_up_upgraded_and_taken_back_and_its_log_rotates(machine, monkeypatch):
    setup, backup, upgrade, back = BLOCKS
    machine.run([f"{setup[0]} --port {machine.port}"])
    written = machine.folder / "files"
    assert {file.name for file in written.iterdir()} == {
        *("linedays.toml", "linedays.service", "logrotate-linedays", "nginx-linedays.conf"),
        *("linedays-backup.service", "linedays-backup.timer"),
    }
    assert all(f"`{file.name}`" in SECTION for file in written.iterdir())
    settings = written / "linedays.toml"
    text = settings.read_text().replace('"/var/', f'"{machine.folder}/var/')
    (machine.folder / "etc/linedays/linedays.toml").write_text(text)
    store = machine.folder / "var/lib/linedays/linedays.sqlite"
    assert (
        read_settings(machine.folder / "etc/linedays/linedays.toml").store == f"sqlite:///{store}"
    )

    def to_an_earlier_one(database: Database, revision: str = "0016") -> None:
        to_the_newest(database, revision)

    to_the_newest = migrate.upgrade
    monkeypatch.setattr(migrate, "upgrade", to_an_earlier_one)
    Store.open(f"sqlite:///{store}").close()
    a_user_of_then(store)
    assert revision(store) == "0016"
    machine.run(["systemctl start linedays"])
    assert revision(store) > "0016"
    assert machine.ask("/health") == "alive\n"
    machine.run(backup)
    kept = machine.folder / "var/lib/linedays/backups"
    assert (kept / "last-backup.txt").read_text().startswith("done ")
    assert backup[0].removeprefix("linedays ") in (written / "linedays-backup.service").read_text()
    rotated = machine.log.with_suffix(".1")
    machine.log.rename(rotated)
    machine.run(upgrade)
    assert "started" in rotated.read_text()
    assert "started" in machine.log.read_text()
    machine.run(back)
    assert (machine.folder / "var/lib/linedays/before.sqlite").exists()
    assert revision(store) == revision(machine.folder / "var/lib/linedays/before.sqlite")
    assert 'kind="page"' in machine.ask("/metrics")
    machine.stop()


def test_the_settings_of_a_provider_in_the_guide_can_be_read(tmp_path):
    (stated,) = re.findall(r"```toml\n(.*?)```", SECTION, re.DOTALL)
    (tmp_path / "linedays.toml").write_text(stated)
    provider = read_settings(tmp_path / "linedays.toml").web.provider
    assert provider.access_of(["line-team-north"]).sites == ("north",)
    assert provider.access_of(["line-team-managers", "line-team-north"]).sites == ()
