"""The words that linedays does not use, and a report of where they still are.

Everything that a person reads is ordinary clinical or software English: strings, docstrings,
comments and names of the program, its templates, scripts and documents.

    python tests/docs/plain_english.py [FOLDER OR FILE ...]
"""

from __future__ import annotations

import ast
import io
import re
import sys
import tokenize
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

ROOT = Path(__file__).parents[2]
PROGRAM = ("analysis", "dashboard", "synthetic_data", "notebooks")
DOCUMENTS = ("README.md", "DEVELOPERS.md")
TEXTS = {".html", ".jinja", ".j2", ".txt", ".md", ".toml", ".mako"}


@dataclass(frozen=True)
class Rule:
    """A wording that is not used, and what to write in its place."""

    pattern: re.Pattern[str]
    instead: str
    only: tuple[str, ...] = ()
    """Where it counts; nothing: everywhere."""


def rule(pattern: str, instead: str, *only: str) -> Rule:
    """A rule; a space in the pattern matches a line break too."""
    return Rule(re.compile(pattern.replace(" ", r"\s+"), re.IGNORECASE), instead, only)


SCREENS = ("dashboard", "analysis/reports", "analysis/cli", *DOCUMENTS)

RULES = (
    rule(r"\btold\b|\btells? (?:of|apart|nothing|no)\b", "shown, reported; differs; no evidence of"),
    rule(r"\b(?:can not|cannot|can't|can) tell\b", "cannot show, no evidence of"),
    rule(r"\b(?:said|says)\b", "shown, shows, reports, returns, states"),
    rule(r"\bsay (?:whether|who|which|what|how|when|since)\b", "choose, give, enter"),
    rule(r"\b(?:stands?|stood)\b(?! for)|\bstanding (?!order)", "is, is listed, is next to; differs from"),
    rule(r"\banew\b|\bonce more\b", "again"),
    rule(r"\bbeside\b", "next to, with"),
    rule(r"\bwhom\b|\bwhoever\b|\bwhomever\b", "who; anyone who"),
    rule(r"\bwhatever\b", "anything that (or rephrase)"),
    rule(r"\b(?:some|no)body (?:was|is|were) reached\b|\breached (?:some|no)body\b", "reached the family; no answer"),
    rule(r"\b(?:take|takes|taken|taking|took)\b(?: \w+){0,3} back\b", "undo"),
    rule(r"\bwithdr(?:aw|aws|ew|awn|awing|awal)\b", "undo (a call), void (a row), remove (a note)", *SCREENS),
    rule(r"\bset(?:s|ting)?(?: \w+){0,3} aside\b|\bset-aside\b", "postpone(d)"),
    rule(r"\bput off\b|\bputs? (?:it |them |a family )?off\b", "postpone(d)"),
    rule(r"\bspells?\b", "period"),
    rule(r"\blooked at\b|\bold day\b|\bturn(?:ed|s)? back\b", "checked; view an earlier day"),
    rule(r"\bwork(?:s|ed|ing)?(?: it| them)? out\b", "calculate(d)"),
    rule(r"\bpapers\b|\bsheets? of paper\b|\b(?:a|an|one|each|every|this|that|of the) paper\b", "report; print"),
    rule(r"\bdrawn toward", "adjusted towards the average"),
    rule(r"\bdrawn\b(?! from)", "shown, plotted", *SCREENS),
    rule(r"\b(?:as of|known at|known on)\b", "data up to (day), received by (day)", "dashboard", "analysis/reports"),
    rule(r"\ballowed for\b|\ballow(?:s|ing)? for\b", "adjusted for"),
    rule(r"\bmend(?:s|ed|ing)?\b", "fix, correct"),
    rule(r"\b(?:bring|brings|brought|bringing)\b(?: \w+){0,2} in\b", "import, upload"),
    rule(r"\b(?:take|takes|taken|taking|took) in\b", "import, ingest"),
    rule(r"\b(?:take|takes|taken|taking|took)(?: it| them)?(?: |-)out\b", "export, download; removed"),
    rule(r"\b(?:go|goes|going|went|gone) in\b", "is imported, is stored"),
    rule(r"\bwho opened what\b", "access log"),
    rule(r"\bwhat happened when\b", "notes on the chart"),
    rule(r"\bwaits\b|\blisted again\b", "call again on; back on the list on"),
    rule(r"\broom\b", "capacity; package", *PROGRAM, *DOCUMENTS),
    rule(r", for (?:they|it|he|she|there|we|nobody|no)\b", "because"),
    rule(r",? since (?:it|they|there|we|he|she|nobody)\b", "because"),
    rule(r"\b(?:door|doors|entrance|desk|(?<!several.)desks)\b", "interface, service, session (the field's word)"),
    rule(r"\bemergency instructions?\b", "emergency protocol"),
    rule(r"\ballowed until\b", "due by"),
    rule(r"\bproves? it\b|\bproof\b", "log entries", "dashboard", "analysis/reports"),
    rule(r"\bcry wolf\b|\bcries wolf\b", "raise false alarms"),
    rule(r"\b(?:is|are|has|have) to be called\b", "needs a call, need a call"),
    rule(r"\balmost surely\b", "very likely"),
    rule(r"\balone and right\b", "independent"),
    rule(r"\bfinds? its own\b|\bits own way\b", "rephrase"),
)  # fmt: skip
"""The project's own list: what is not written, and what is."""

NAMES = re.compile(
    r"(?:^|_)(?:told|tells?|said|drawn|door|doors|entrance|desk|desks|room|rooms|anew|beside|whom|mend"
    r"|mended|mending|spell|spells|papers|aside|stands|house)(?:_|$)",
)
"""Parts of names of modules, classes, functions, arguments and fields that are not used."""

STORED = "the name of a code or column that stores hold"
EXCEPTIONS: dict[tuple[str, str], str] = {
    ("analysis/vocabulary.py", "SET_ASIDE"): STORED,
    ("analysis/vocabulary.py", "SET_FAMILY_ASIDE"): STORED,
    ("analysis/vocabulary.py", "MENDED_ROW"): STORED,
    ("analysis/cli/options/lists.py", "SET_ASIDE"): STORED,
    ("analysis/store/writing.py", "mends"): STORED,
    ("analysis/store/migrations/versions/0001_first.py", "mends"): STORED,
    ("analysis/ingest/synonyms.toml", "looked at"): "a word that sheets have",
}
"""(file or folder, text found): why it may be there."""


@dataclass(frozen=True)
class Found:
    """A wording of the list in a file."""

    file: str
    line: int
    kind: str
    text: str
    instead: str
    around: str


def _around(text: str, start: int, end: int) -> str:
    return " ".join(text[max(0, start - 45) : end + 45].split())


def in_text(file: str, line: int, kind: str, text: str) -> Iterator[Found]:
    for one in RULES:
        if one.only and not file.startswith(one.only):
            continue
        for match in one.pattern.finditer(text):
            words = match.group().strip()
            if (file, words.lower()) in EXCEPTIONS:
                continue
            at = line + text.count("\n", 0, match.start())
            yield Found(file, at, kind, words, one.instead, _around(text, *match.span()))


def _names(tree: ast.AST) -> Iterator[tuple[int, str]]:
    for node in ast.walk(tree):
        if isinstance(node, ast.FunctionDef | ast.ClassDef | ast.AsyncFunctionDef):
            yield node.lineno, node.name
        elif isinstance(node, ast.arg):
            yield node.lineno, node.arg
        elif isinstance(node, ast.Name) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.id
        elif isinstance(node, ast.Attribute) and isinstance(node.ctx, ast.Store):
            yield node.lineno, node.attr


def _snake(name: str) -> str:
    return re.sub(r"(?<=[a-z0-9])(?=[A-Z])", "_", name).lower()


def in_name(file: str, line: int, name: str) -> Iterator[Found]:
    match = NAMES.search(_snake(name))
    word = match.group().strip("_") if match else ""
    if match and (file, name) not in EXCEPTIONS:
        yield Found(file, line, "name", word, "the field's word", name)


IDENTIFIER = re.compile(r"[a-z0-9_.#-]+")


def _in_python(file: str, source: str) -> Iterator[Found]:
    tree = ast.parse(source)
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            if IDENTIFIER.fullmatch(node.value):
                continue  # the name of a column or an element
            yield from in_text(file, node.lineno, "string", node.value)
    for line, name in _names(tree):
        yield from in_name(file, line, name)
    for token in tokenize.generate_tokens(io.StringIO(source).readline):
        if token.type == tokenize.COMMENT:
            yield from in_text(file, token.start[0], "comment", token.string)


_SCRIPT_TEXT = re.compile(
    r"/\*.*?\*/|//[^\n]*|'(?:\\.|[^'\\\n])*'|\"(?:\\.|[^\"\\\n])*\"|`(?:\\.|[^`\\])*`", re.DOTALL
)


def _in_script(file: str, source: str) -> Iterator[Found]:
    for match in _SCRIPT_TEXT.finditer(source):
        line = 1 + source.count("\n", 0, match.start())
        if " " not in match.group():
            continue  # an identifier
        yield from in_text(file, line, "script", match.group())


def _blank(match: re.Match[str]) -> str:
    return re.sub(r"[^\n]", " ", match.group())


def _in_file(path: Path) -> Iterator[Found]:
    file = path.relative_to(ROOT).as_posix()
    if path.suffix == ".py":
        yield from in_name(file, 1, path.stem)
        yield from _in_python(file, path.read_text(encoding="utf-8"))
    elif path.suffix in {".js", ".css"} and not path.name.endswith(".min.js"):
        yield from _in_script(file, path.read_text(encoding="utf-8"))
    elif path.suffix in TEXTS:
        text = path.read_text(encoding="utf-8")
        # Code is checked where it is written, not where it is quoted.
        text = re.sub(
            r"```.*?```|\b(?:class|id)=\"[^\"]*\"|`[^`\n]*`|\{\{.*?\}\}|\{%.*?%\}",
            _blank,
            text,
            flags=re.DOTALL,
        )
        yield from in_text(file, 1, "text", text)


def files(only: list[str] | None = None) -> list[Path]:
    """Everything that the list is about, or those files of it below the given paths."""
    places = [path for name in PROGRAM for path in sorted((ROOT / name).rglob("*"))]
    places += [ROOT / name for name in DOCUMENTS]
    chosen = [(ROOT / name).resolve() for name in only or []]
    return [
        path
        for path in places
        if path.is_file()
        and "__pycache__" not in path.parts
        and (not chosen or any(path == one or one in path.parents for one in chosen))
    ]


def found_in(only: list[str] | None = None) -> list[Found]:
    """Every wording of the list, in the order of files and lines."""
    return [found for path in files(only) for found in sorted(_in_file(path), key=lambda f: f.line)]


def part(file: str) -> str:
    return "/".join(file.split("/")[:2]) if "/" in file else file


def report(only: list[str] | None = None) -> str:
    """Counts by part and by word, then every place."""
    found = found_in(only)
    of_part, of_word = Counter(part(f.file) for f in found), Counter(f.text.lower() for f in found)
    lines = [f"{len(found)} places", ""]
    lines += [f"{n:5} {part}" for part, n in sorted(of_part.items())]
    lines += ["", ", ".join(f"{word} {n}" for word, n in of_word.most_common(40)), ""]
    lines += [
        f"{f.file}:{f.line}: [{f.kind}] {f.text!r} -> {f.instead} | {f.around}" for f in found
    ]
    return "\n".join(lines)


if __name__ == "__main__":
    sys.stdout.write(report(sys.argv[1:]) + "\n")
