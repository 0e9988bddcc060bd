"""Behind a proxy: the right host, encrypted, the real client's address, and nobody past the proxy."""

from __future__ import annotations

import re
from urllib.parse import urlencode

import pytest

from dashboard.setup import Proxy
from tests.proxied import HOST, proxied
from tests.signed_in import NOW, PASSWORD, programme_file, store_url

__all__ = ["programme_file", "store_url"]


@pytest.mark.parametrize("proxy", list(Proxy))
def test_a_sign_in_from_another_machine_is_recorded_with_its_own_address(
    store_url, tmp_path, proxy
):
    with proxied(store_url, tmp_path, proxy, clock=lambda: NOW) as served:
        page = served.ask("GET", "/sign-in", come_from="127.0.0.77")
        assert page.status == 200
        cookies = page.msg.get_all("Set-Cookie")
        assert all("Secure" in c and c.startswith("__Host-") for c in cookies)
        assert "max-age=" in page.headers["Strict-Transport-Security"]
        token = re.search(r'name="csrf_token" value="([^"]+)"', page.text)[1]
        form = {"code": "N1", "password": PASSWORD, "csrf_token": token}
        sent = {
            "Cookie": "; ".join(c.split(";")[0] for c in cookies),
            "Content-Type": "application/x-www-form-urlencoded",
            "Origin": served.address,
            "X-Forwarded-For": "10.6.6.6",  # forged by the client
        }
        body = urlencode(form).encode()
        answer = served.ask("POST", "/sign-in", body=body, come_from="127.0.0.77", **sent)
        assert answer.status == 303
        assert answer.headers["Location"] == "/"
        other = served.ask("GET", "/", Host="elsewhere.example.org")
        assert other.status in {403, 421, 404} or "linedays" not in other.text
        assert served.ask("GET", "/metrics").status == 403
        foreign = served.ask("POST", "/sign-in", body=body, **{**sent, "Origin": f"https://{HOST}"})
        assert foreign.status == 403  # another port is another origin
        record = served.app.service.store.people.accesses(1)
        assert record["what"].astype(str).tolist() == ["signed_in"]
        assert record["about"].tolist() == ["127.0.0.77"]
        # Nobody gets past the proxy, whatever they state.
        stated = {"X-Forwarded-Proto": "https", "X-Forwarded-For": "10.6.6.6"}
        past = served.ask_past_the_proxy("/sign-in", come_from="127.0.0.78", **stated)
        assert (past.status, past.text) == (403, "Open this page with https.\n")
        assert served.ask_past_the_proxy("/health").text == "alive\n"
        assert served.ask_past_the_proxy("/ready").text == "ready\n"
        metrics = served.ask_past_the_proxy("/metrics").text
        assert 'linedays_requests_total{kind="form",status="3xx"} 1.0' in metrics
        assert "linedays_open_sign_ins 1.0" in metrics
        assert not re.search(r"N1|F[123]\b|127\.0", metrics)


@pytest.mark.parametrize("proxy", list(Proxy))
def test_a_proxy_logs_no_address_of_a_page_not_even_of_an_unencrypted_request(
    store_url, tmp_path, proxy
):
    with proxied(store_url, tmp_path, proxy, clock=lambda: NOW) as served:
        encrypted = served.ask("GET", "/family/F1")
        assert encrypted.status == 303
        unencrypted = served.ask_unencrypted("/family/F2")
        assert unencrypted.status in {301, 308}
        assert unencrypted.headers["Location"].startswith("https://")
    logged = [file.read_text() for file in tmp_path.glob("*.log")]
    assert logged
    assert not re.search("/family", "".join(logged))
