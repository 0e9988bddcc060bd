"""The dashboard over a programme of two sites, people of every role, and browsers for them.

F1 and F2 are of North, F3 of South. F1 has a contact and a language, and its log holds a note.
Line L1's sheet has a column of its own, a second way to reach somebody.
"""

from __future__ import annotations

import re
import shutil
from collections.abc import Iterator
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import Any

import pytest

from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from analysis.vocabulary import Role
from dashboard.app import create_app
from dashboard.config import DashboardConfig
from dashboard.session.service import Service

HOST = "127.0.0.1:8461"
PASSWORD = "kettle orbit maple seven"  # invented, for tests
NOW = datetime(2031, 3, 4, 9, tzinfo=UTC)

CONTACT, LANGUAGE, OTHER_CONTACT = "ward phone 11", "Finnish", "bell at the back door"
LINES = f"""\
line_id,child_id,family_id,site,nurse,line_type,placed_on,home_from,dressing_type,dressing_on,language,contact,second way
L1,C1,F1,North,N1,tunneled_cvc,2030-12-01,2030-12-10,transparent,2030-12-09,{LANGUAGE},{CONTACT},{OTHER_CONTACT}
L2,C2,F2,North,N1,picc,2030-12-01,2030-12-10,transparent,2030-12-09,,,
L3,C3,F3,South,N2,tunneled_cvc,2030-12-01,2030-12-10,transparent,2030-12-09,,,
"""
HOME_LOG = """\
entry_id,line_id,done_at,kind,findings,note
e1,L1,2031-03-03T07:30,skin_check,redness;fever,felt hot in the night
e2,L2,2031-02-20,dressing_change,none,
e3,L3,2031-02-18,dressing_change,none,
"""

PEOPLE = (
    ("manager", Role.MANAGER, None, False),
    ("manager.north", Role.MANAGER, ["North"], False),
    ("manager.south", Role.MANAGER, ["South"], False),
    ("N1", Role.NURSE, None, False),
    ("prevention", Role.PREVENTION, None, False),
    ("prevention.granted", Role.PREVENTION, None, True),
    ("educator", Role.EDUCATOR, None, False),
    ("educator.north", Role.EDUCATOR, ["North"], False),
    ("educator.granted", Role.EDUCATOR, None, True),
    ("reader", Role.READER, None, False),
    ("reader.granted", Role.READER, None, True),
    ("reader.granted.south", Role.READER, ["South"], True),
)
"""Code, role, sites, whether single families are granted."""


def is_named(code: str, page: str) -> bool:
    """Whether a page names a code; a random token that holds its letters does not count."""
    shown = re.sub(r"\\(u[0-9a-fA-F]{4}|.)", " ", page)  # what JSON escapes is no part of a code
    return re.search(rf"(?<![\w-]){re.escape(code)}(?![\w-])", shown) is not None


class Clock:
    """A clock that a test moves."""

    def __init__(self) -> None:
        self.now = NOW

    def __call__(self) -> datetime:
        return self.now

    def move(self, **by: float) -> None:
        self.now += timedelta(**by)


class Browser:
    """What one browser sends; it keeps its cookies."""

    def __init__(self, app: Any) -> None:
        self.app = app
        self.client = app.server.test_client()

    def get(self, path: str, **headers: str) -> Any:
        return self.client.get(path, headers={"Host": HOST, **headers})

    def post(self, path: str, form: dict[str, str], **headers: str) -> Any:
        return self.client.post(path, data=form, headers={"Host": HOST, **headers})

    def cookie(self, name: str) -> str | None:
        found = self.client.get_cookie(name, domain="127.0.0.1")
        return None if found is None else found.value

    def form_token(self) -> str:
        """The token of the page to sign in."""
        found = re.search(r'name="csrf_token" value="([^"]+)"', self.get("/sign-in").text)
        assert found is not None
        return found[1]

    def sign_in(self, code: str, password: str = PASSWORD, to: str = "/") -> Any:
        token = self.form_token()
        form = {"code": code, "password": password, "to": to, "csrf_token": token}
        return self.post("/sign-in", form)

    def sign_out(self) -> Any:
        self.get("/definitions")
        return self.post("/sign-out", {"csrf_token": self.cookie("_csrf_token") or ""})

    def ask(self, body: Any, **headers: str) -> Any:
        """Put a callback's question, with the token of the page."""
        sent = {"Host": HOST, "X-CSRFToken": self.cookie("_csrf_token") or "", **headers}
        return self.client.post("/_dash-update-component", json=body, headers=sent)

    def page(self, path: str, search: str = "") -> Any:
        """Ask for what a page shows."""
        return self.ask(page_request(path, search))


def page_request(path: str, search: str = "") -> dict[str, Any]:
    """What a browser sends to have a page drawn."""
    return {
        "output": "page.children",
        "outputs": {"id": "page", "property": "children"},
        "inputs": [{"id": "url", "property": "pathname", "value": path}],
        "state": [{"id": "url", "property": "search", "value": search}],
        "changedPropIds": ["url.pathname"],
    }


def callback_request(app: Any, output: str, **values: Any) -> dict[str, Any]:
    """A well-formed request to a callback; values by "id.property", the rest stay empty."""
    callback = app.callback_map[output]

    def part(wanted: dict[str, str]) -> Any:
        if wanted["id"].startswith("{"):
            return []  # no component that the pattern matches
        name = f"{wanted['id']}.{wanted['property']}"
        return {"id": wanted["id"], "property": wanted["property"], "value": values.get(name)}

    inputs, state = ([part(p) for p in callback[name]] for name in ("inputs", "state"))
    outputs = [
        {"id": o.rsplit(".", 1)[0], "property": o.rsplit(".", 1)[1]}
        for o in output.strip(".").split("...")
    ]
    return {
        "output": output,
        "outputs": outputs if output.startswith("..") else outputs[0],
        "inputs": inputs,
        "state": state,
        "changedPropIds": [f"{p['id']}.{p['property']}" for p in inputs[:1] if p],
    }


@pytest.fixture(scope="session")
def programme_file(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A store with the programme and its people."""
    folder = tmp_path_factory.mktemp("programme")
    (folder / "lines.csv").write_text(LINES)
    (folder / "home_log.csv").write_text(HOME_LOG)
    file = folder / "programme.sqlite"
    with Store.open(f"sqlite:///{file}") as store:
        files = [folder / "lines.csv", folder / "home_log.csv"]
        received = datetime(2031, 3, 3, 20, tzinfo=UTC)
        summary = ingest(store, files, shipped_policy(), received_at=received)
        assert summary.refused == 0
        for code, role, sites, families in PEOPLE:
            store.people.add(
                code, PASSWORD, role, NOW, by="command line", sites=sites, families=families
            )
    return file


@pytest.fixture
def store_url(programme_file: Path, tmp_path: Path) -> str:
    """A copy that a test may write to."""
    return f"sqlite:///{shutil.copy(programme_file, tmp_path / 'programme.sqlite')}"


@pytest.fixture
def clock() -> Clock:
    """The dashboard's clock."""
    return Clock()


_known: dict[Path, Any] = {}


def knows(service: Service, file: Path) -> Service:
    """A service over a copy of a file, which knows what others found of it until anything is stored."""
    if file not in _known:
        _known[file] = service._snapshots.get(service.as_of())
    service._snapshots._present = _known[file]
    return service


@pytest.fixture
def app(store_url: str, clock: Clock, programme_file: Path) -> Iterator[Any]:
    """The dashboard of the programme."""
    made = create_app(DashboardConfig(store_url=store_url, clock=clock))
    knows(made.service, programme_file)
    yield made
    made.service.close()


@pytest.fixture(scope="session")
def app_looked_at(programme_file: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Any]:
    """The dashboard for tests that write nothing; what it answered is kept between them."""
    file = shutil.copy(programme_file, tmp_path_factory.mktemp("looked-at") / "programme.sqlite")
    made = create_app(DashboardConfig(store_url=f"sqlite:///{file}", clock=Clock()))
    yield made
    made.service.close()


@pytest.fixture
def browser(app: Any) -> Browser:
    """A browser that nobody has signed in with yet."""
    return Browser(app)


def browser_of(app: Any, code: str) -> Browser:
    """A browser with which somebody has signed in and opened a page."""
    found = Browser(app)
    assert found.sign_in(code).status_code == 303
    assert found.get("/definitions").status_code == 200
    return found


def record_of(app: Any) -> list[tuple[str | None, str, str | None]]:
    """Who, what and family of the access record, oldest first."""
    rows = app.service.store.people.accesses()[::-1].astype("object")
    rows = rows.where(rows.notna(), None)
    return [
        (who, str(what), family)
        for who, what, family in zip(rows["who"], rows["what"], rows["family_id"], strict=True)
    ]


def without_marks(page: str) -> str:
    """A page without the marks that keep a code on one line."""
    return re.sub(r'<span class="unbroken">([^<]*)</span>', r"\1", page)
