"""The settings of a server: what they may hold, and the sentence where they do not fit."""

from __future__ import annotations

from pathlib import Path

import pytest

from analysis.vocabulary import Role
from dashboard.config import Web
from dashboard.settings import SettingsError, read_settings

GOOD = """
hosts = ["Linedays.example.org"]
proxies = ["127.0.0.1", "10.0.0.0/24"]
store = "sqlite:////var/lib/linedays/linedays.sqlite"
policy = "ours.toml"
log = "/var/log/linedays.log"
second_factor_key = "factors.key"
two_steps_for = ["manager", "nurse"]
texts = ["texts-es.toml"]
"""


def read(tmp_path: Path, text: str):
    file = tmp_path / "linedays.toml"
    file.write_text(text)
    return read_settings(file)


def test_settings_are_read_and_files_are_named_from_their_folder(tmp_path):
    found = read(tmp_path, GOOD)
    assert found.web == Web(
        hosts=("linedays.example.org",),
        proxies=("127.0.0.1", "10.0.0.0/24"),
        log=Path("/var/log/linedays.log"),
        second_factor_key=tmp_path / "factors.key",
        two_steps_for=(Role.MANAGER, Role.NURSE),
    )
    assert found.web.encrypted
    assert found.policy == tmp_path / "ours.toml"
    assert found.texts == (tmp_path / "texts-es.toml",)
    assert found.store == "sqlite:////var/lib/linedays/linedays.sqlite"
    assert read(tmp_path, "").web == Web()
    assert not read(tmp_path, "").web.encrypted


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("host = 1", "host is no setting. There are: address, certificate"),
        ("port = 0", "port is a number from 1 to 65535"),
        ('port = "8461"', "port is a number"),
        ('hosts = ["not a name"]', "not a name is no host name"),
        ('hosts = ["a.example.org"]', "name the addresses of the proxies that encrypt"),
        ('proxies = ["127.0.0.1"]', "hosts is missing"),
        ('proxies = ["everybody"]\nhosts = ["a.example.org"]', "everybody is no address"),
        ('address = "0.0.0.0"', "passwords would travel there unencrypted"),
        ('address = "here"', "here is no address such as 127.0.0.1"),
        ('two_steps_for = ["boss"]', "boss is no role such as manager"),
        ('certificate = "a.crt"', "certificate and key go together"),
        ('certificate = "a"\nkey = "b"\nhosts = ["a.b"]\nproxies = ["::1"]', "not both"),
        ("hosts = [", "is not TOML"),
    ],
)
def test_settings_that_do_not_fit_are_reported_with_what_to_do(tmp_path, text, sentence):
    with pytest.raises(SettingsError, match="linedays.toml") as fault:
        read(tmp_path, text)
    assert sentence in str(fault.value)
