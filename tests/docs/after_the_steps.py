"""What a changed copy of the project does with a store and a backup made before the change.

    python tests/docs/after_the_steps.py FOLDER

Prints as JSON what `test_how_to.py` asserts. Runs the program that is first on the path.
"""

import csv
import io
import json
import sys
from contextlib import redirect_stderr, redirect_stdout
from datetime import UTC, date, datetime
from pathlib import Path

import analysis
from analysis.cli import main
from analysis.ingest import ingest
from analysis.policy import shipped_policy
from analysis.store import Store
from dashboard import DashboardConfig, create_app

AS_OF = date(2031, 4, 1)
CLOSED_ON = date(2031, 5, 1)
"""An extract of this day has all days before `AS_OF`."""
LATER = datetime(2031, 4, 1, 6, tzinfo=UTC)


def command(*words):
    """Whether a command was done, or its complaint; and its output."""
    out, error = io.StringIO(), io.StringIO()
    sys.argv = ["linedays", *map(str, words)]
    with redirect_stdout(out), redirect_stderr(error):
        try:
            main()
        except SystemExit as stop:
            if stop.code:
                return error.getvalue(), ""
    return "done", out.getvalue()


def moods(store):
    """Mood by entry; a blank entry id stands for an entry without one."""
    log = store.records().home_log
    texts = log[["entry_id", "mood"]].astype("string").fillna("")
    return sorted(map(list, texts.itertuples(index=False, name=None)))


def ingested(url, *files):
    """Rows read, stored, the same as before and refused."""
    with Store.open(url, create=False) as store:
        tables = ingest(
            store, list(files), shipped_policy(), received_at=LATER, ingested_at=LATER
        ).tables
        return [[t.stored, t.same_as_before, t.refused] for t in tables], moods(store)


def main_here(folder: Path):
    old, log = f"sqlite:///{folder / 'old.sqlite'}", folder / "home_log.csv"
    found = {"program": str(Path(analysis.__file__).parents[1])}

    restored = f"sqlite:///{folder / 'restored.sqlite'}"
    found["restore"] = command("restore", folder / "before.zip", "--store", restored)[0]
    with Store.open(restored, create=False) as store:
        found["restored"] = moods(store)

    found["again"], found["moods_again"] = ingested(old, folder / "lines.csv", log)
    found["third"], _ = ingested(old, folder / "lines.csv", log)
    found["new"], found["moods_new"] = ingested(old, folder / "newer.csv")

    found["backup"] = command("backup", folder / "after.zip", "--store", old)[0]
    second = f"sqlite:///{folder / 'second.sqlite'}"
    found["restore_new"] = command("restore", folder / "after.zip", "--store", second)[0]
    with Store.open(second, create=False) as store:
        found["moods_second"] = moods(store)

    where = ("--store", old, "--as-of", AS_OF)
    found["export"] = command("export", "--write", folder / "plain", *where)[0]
    plain = [p.read_bytes() for p in (folder / "plain").rglob("*") if p.is_file()]
    found["in_plain_export"] = any(b"cheerful" in text for text in plain)
    closed = ("--store", old, "--as-of", CLOSED_ON)
    found["deidentified"] = command(
        "export", "deidentified", "--write", folder / "outside", *closed
    )[0]
    outside = [p.read_bytes() for p in (folder / "outside").rglob("*") if p.is_file()]
    found["in_extract"] = any(b"cheerful" in text for text in outside)

    _, rates = command("rates", "--event", "crust", *where, "--format", "csv")
    found["crust_events"] = [row["events"] for row in csv.DictReader(io.StringIO(rates))]

    app = create_app(DashboardConfig(store_url=old, as_of=AS_OF, demo=True))
    client = app.server.test_client()
    here = {"base_url": "http://127.0.0.1"}
    pages = {path: client.get(path, **here) for path in ("/", "/family/F1", "/definitions")}
    found["pages"] = {path: page.status_code for path, page in pages.items()}
    return found


if __name__ == "__main__":
    result = main_here(Path(sys.argv[1]))
    sys.stdout.write(json.dumps(result) + "\n")
