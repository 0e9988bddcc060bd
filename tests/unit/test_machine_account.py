"""A cookie that another account of the machine has read opens nothing."""

from __future__ import annotations

import os
import socket

import pytest

from dashboard import machine_account
from dashboard.config import DashboardConfig, Web
from dashboard.machine_account import account_of
from tests.ports import free_port
from tests.proxied import in_thread
from tests.served import Person
from tests.signed_in import NOW, programme_file, store_url

__all__ = ["programme_file", "store_url"]

HEAD = "  sl  local_address rem_address   st tx_queue rx_queue tr tm->when retrnsmt   uid  timeout"
ENDS = {
    "127.0.0.1": "0100007F",
    "::1": "00000000000000000000000001000000",
}
"""Addresses as a machine with the lower byte first writes them."""


@pytest.fixture
def person(store_url):
    """Somebody signed in at a dashboard on loopback."""
    port = free_port()
    config = DashboardConfig(store_url=store_url, clock=lambda: NOW, port=port, web=Web(port=port))
    with in_thread(config):
        found = Person(port, "manager")
        yield found
        found.open.close()


def test_a_cookie_is_of_no_use_to_another_account(person, monkeypatch):
    person.open.close()
    person.connect()
    assert person.send("GET", "/_dash-layout")[0] == 200
    monkeypatch.setattr("dashboard.receiving.account_of", lambda *_: "4242")
    person.open.close()
    person.connect()
    assert person.send("GET", "/_dash-layout")[0] == 401
    stated = {"Linedays-Account": str(os.getuid())}
    assert person.send("GET", "/_dash-layout", heads=stated)[0] == 401


def test_the_account_is_that_of_the_program_at_the_other_end():
    with (
        socket.create_server(("127.0.0.1", 0)) as listening,
        socket.create_connection(listening.getsockname()) as client,
    ):
        taken, address = listening.accept()
        with taken:
            assert client.getsockname() == address
            assert account_of(address, taken.getsockname()) == str(os.getuid())


@pytest.mark.parametrize("address", ENDS)
def test_an_account_is_read_from_the_connection_s_own_row(tmp_path, monkeypatch, address):
    end = ENDS[address]
    rows = [
        f"0: {end}:1F90 {end}:C350 01 00000000:00000000 00:00000000 00000000 7 0 11 1",
        f"1: {end}:C350 {end}:1F90 01 00000000:00000000 00:00000000 00000000 1003 0 12 1",
    ]
    file = tmp_path / "tcp"
    file.write_text("\n".join([HEAD, *rows]))
    monkeypatch.setattr(machine_account, "CONNECTIONS", (tmp_path / "none", file))
    assert account_of((address, 50_000), (address, 8080)) == "1003"
    assert account_of((address, 50_001), (address, 8080)) == ""
    assert account_of(("192.0.2.7", 50_000), (address, 8080)) == ""
