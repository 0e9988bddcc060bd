"""How is the profile of a table put together from its head, its cells and answers?"""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from analysis.errors import nearest
from analysis.ingest import evidence
from analysis.ingest.days import are_days
from analysis.ingest.faults import ProfileError
from analysis.ingest.grid import Grid
from analysis.ingest.header_row import LEAST_DAYS, Header, columns_of
from analysis.ingest.heads import KIND, alike, joined_heads
from analysis.ingest.matching import matches, plain, sure, synonyms
from analysis.ingest.moments import DateOrder, DateStyle
from analysis.ingest.profile import TableProfile, Tick
from analysis.policy import Policy
from analysis.tables.columns import Column
from analysis.tables.incoming import INCOMING, ON_EVERY_ROW
from analysis.tables.kinds import Kind
from analysis.vocabulary import NOTHING_SEEN

LEAVE = "-"
"""Answer that leaves a head or word as it is: the column is not ours, the row is refused."""
_ANY_SEPARATOR = re.compile(r"[;,/|+&\n]")
_MOST_WORDS = 40
"""Different words of a column above which it holds texts and not words for codes."""


@dataclass(frozen=True)
class Question:
    """What has to be answered: `key` for the command line, the answers, the likeliest first."""

    key: str
    text: str
    answers: tuple[str, ...]


@dataclass(frozen=True)
class Meaning:
    """A head and what it is proposed to be; `column` is None where it is not one of ours."""

    head: str
    column: str | None
    examples: tuple[str, ...]


@dataclass(frozen=True)
class WordMeaning:
    """A word of a column of codes, the code that is proposed for it, and all codes."""

    column: str
    word: str
    code: str
    codes: tuple[str, ...]

    @property
    def key(self) -> str:
        """Of the answer that names another code."""
        return f"word:{self.column}:{self.word}"


@dataclass
class Draft:
    """A table's profile while it is put together."""

    header: Header
    policy: Policy
    answers: Mapping[str, str]
    columns: dict[int, str] = field(default_factory=dict)
    times: dict[str, int] = field(default_factory=dict)
    ticks: dict[int, Tick] = field(default_factory=dict)
    fixed: dict[str, str] = field(default_factory=dict)
    values: dict[str, dict[str, str]] = field(default_factory=dict)
    separators: dict[str, tuple[str, ...]] = field(default_factory=dict)
    names: tuple[str, ...] = ()
    sheet_name: str = ""
    day_columns: str = ""
    days: frozenset[int] = frozenset()
    same: list[Grid] = field(default_factory=list)
    questions: list[Question] = field(default_factory=list)
    answered: list[Question] = field(default_factory=list)
    words: list[WordMeaning] = field(default_factory=list)

    @property
    def rows(self) -> Sequence[Sequence[str]]:
        """Rows below the head, in all sheets of the table."""
        above = self.header.skip_rows + self.header.head_rows
        return [row for grid in (self.header.grid, *self.same) for row in grid.rows[above:]]

    def cells(self, at: int) -> list[str]:
        """Filled cells of a column."""
        return [row[at] for row in self.rows if at < len(row) and row[at]]

    def cells_of(self, kinds: set[Kind]) -> list[str]:
        """Filled cells of all columns of some kinds."""
        return [
            cell
            for at, name in self.columns.items()
            if self._kind(name) in kinds
            for cell in self.cells(at)
        ]

    def _kind(self, name: str) -> Kind:
        every = (*INCOMING[self.header.table].columns, *ON_EVERY_ROW)
        return next(c.kind for c in every if c.name == name)

    def _ask(self, key: str, text: str, answers: Sequence[str]) -> str | None:
        """The answer to a question; without one it is listed."""
        question = Question(key, text, tuple(dict.fromkeys(answers)))
        if key in self.answers:
            self.answered.append(question)
            return self.answers[key]
        self.questions.append(question)
        return None

    def _column_answered(self, key: str) -> str | None:
        """The column that an answer names; None: the head is not one of ours."""
        answer = self.answers[key]
        names = [c.name for c in (*INCOMING[self.header.table].columns, *ON_EVERY_ROW)]
        if answer != LEAVE and answer not in names:
            raise ProfileError(
                f"{answer!r} is no column of {self.header.table} (asked by {key}); known are "
                f"{', '.join(names)}.{nearest(answer, names)}"
            )
        return None if answer == LEAVE else answer

    def _order_answered(self) -> DateOrder:
        """The order of dates that an answer names; day, month, year without one."""
        answer = self.answers.get("date_order", DateOrder.DMY)
        if answer not in list(DateOrder):
            raise ProfileError(f"{answer!r} is no order of dates; write dmy, mdy or iso.")
        return DateOrder(answer)

    def read_days(self) -> None:
        """Ask what the cells below the days hold, in a sheet with one column a day."""
        head, table = self.header.head, self.header.table
        style = evidence.date_style([cell for cell in head if cell])
        as_written = DateStyle(style.order or self._order_answered(), style.short_years)
        days = [at for at, day in enumerate(are_days(head, as_written)) if day]
        if table != "home_log" or len(days) < LEAST_DAYS:
            return
        self.days = frozenset(days)
        text = f"What do the cells below the days hold (such as {self._examples(days[0])})?"
        answer = self._ask("days", text, ["kind", "findings", "dressing_condition", "kits_left"])
        self.day_columns = answer or "kind"

    def read_heads(self) -> None:
        """Find what each head is: the surest first."""
        table, ranked = self.header.table, []
        for at, head in enumerate(self.header.head):
            if head and at not in self.days:
                ranked.append((matches(head, columns_of(table), "columns"), at, head))
        ranked.sort(key=lambda one: -(one[0][0].likeness if one[0] else 0))
        for found, at, head in ranked:
            key = f"head:{head}"
            if key in self.answers:
                if (answer := self._column_answered(key)) is not None:
                    self.columns[at] = answer
                continue
            free = [match for match in found if match.meaning not in self.columns.values()]
            proposed = sure(free)
            if self._is_tick(at, head) or self._is_clock(at):
                continue
            if proposed is not None:
                self.columns[at] = proposed
            elif likely := [m.meaning for m in free[:4]] or self._by_words(at):
                column = self._ask_head(key, head, at, likely)
                if column is not None:
                    self.columns[at] = column
        self._keep_one_kind()

    def _keep_one_kind(self) -> None:
        """Ticks of kinds of entries mean nothing where a column holds the kind."""
        if KIND in self.columns.values() or self.days:
            self.ticks = {at: tick for at, tick in self.ticks.items() if tick.column != KIND}

    def _by_words(self, at: int) -> list[str]:
        """Columns of codes most of whose words a column holds, though its head is unlike theirs."""
        cells = dict.fromkeys(self.cells(at))
        words = {part.strip() for cell in cells for part in _ANY_SEPARATOR.split(cell)} - {""}
        if not 0 < len(words) <= _MOST_WORDS:
            return []
        found = []
        for column in INCOMING[self.header.table].columns:
            if column.kind not in {Kind.CODE, Kind.CODES} or column.name in self.columns.values():
                continue
            labels = self._meanings(column)
            known = sum(sure(matches(word, labels, "codes", labels)) is not None for word in words)
            if 2 * known >= len(words):
                found.append(column.name)
        return found

    def _meanings(self, column: Column) -> Mapping[str, str]:
        """Codes that a column can hold, with words for them."""
        if column.kind is Kind.CODES:
            return {**self._labels(column.name), NOTHING_SEEN: "nothing seen"}
        return {code: code for code in column.allowed}

    def _ask_head(self, key: str, head: str, at: int, likely: Sequence[str]) -> str | None:
        text = f'What is the column "{head}" (such as {self._examples(at)})?'
        answer = self._ask(key, text, [*likely, LEAVE])
        return None if answer == LEAVE else answer

    def _examples(self, at: int) -> str:
        return ", ".join(dict.fromkeys(self.cells(at)[:20]))[:60] or "blank"

    def _is_tick(self, at: int, head: str) -> bool:
        """Whether a column means one code, ticked or not."""
        words = {word.casefold() for word in self.cells(at)}
        known = synonyms()["ticks"]
        yes, no = frozenset(known["yes"]), frozenset(known["no"])
        if self.header.table != "home_log" or not words <= yes | no or len(words) > 4:
            return False
        coded = [c for c in INCOMING["home_log"].columns if c.kind in {Kind.CODES, Kind.CODE}]
        found = [
            (column, code)
            for column in sorted(coded, key=lambda c: c.kind is Kind.CODE)
            if (code := self._sure_code(column, head)) is not None
        ]
        if not found:
            return False
        likely = [f"{column.name}: {code}" for column, code in found]
        answer: str | None = likely[0]
        if len(found) > 1 and found[0][0].kind is Kind.CODE:
            text = f'What does a tick in the column "{head}" mean?'
            answer = self._ask(f"tick:{head}", text, [*likely, LEAVE])
        if answer in likely:
            column, code = found[likely.index(answer)]
            self.ticks[at] = Tick(column.name, head, code, yes, no)
        return True

    def _sure_code(self, column: Column, head: str) -> str | None:
        """The code of a column that a head surely means."""
        labels = self._meanings(column)
        code = sure(matches(head, labels, "codes", labels))
        return None if code == NOTHING_SEEN else code

    def _is_clock(self, at: int) -> bool:
        """Whether a column holds the time of day of the table's moment."""
        moments = [c.name for c in INCOMING[self.header.table].columns if c.kind is Kind.INSTANT]
        cells = self.cells(at)
        if not moments or not cells or not all(evidence.is_clock(cell) for cell in cells):
            return False
        self.times[moments[0]] = at
        return True

    def _labels(self, column: str) -> Mapping[str, str]:
        """Codes of a column of lists, with the words of the policy."""
        codes: dict[str, str] = {}
        for edition in self.policy.editions:
            of_column = edition.findings if column == "findings" else edition.steps
            codes |= {code: about.label for code, about in of_column.items()}
        return codes

    # Sheets, and columns that no head names

    def read_sheets(self, others: Sequence[Grid]) -> None:
        """Find sheets of the same table, and whether their names hold the line or family."""
        header = self.header
        if header.grid.sheet is None:
            return
        own = [alike(cell) for cell in header.head]
        above = slice(header.skip_rows, header.skip_rows + header.head_rows)
        self.same = [g for g in others if [alike(c) for c in joined_heads(g.rows[above])] == own]
        sheets = [header.grid.sheet, *(str(grid.sheet) for grid in self.same)]
        self.names = evidence.patterns(sheets) if self.same else tuple(sheets)
        if len(sheets) > 1 and not {"line_id", "family_id"} & set(self.columns.values()):
            self.sheet_name = f"{evidence.common_start(sheets)}{{family_id}}"

    def read_missing(self) -> None:
        """Ask for columns that the table needs and no head names."""
        table = self.header.table
        given = {*self.columns.values(), *(t.column for t in self.ticks.values())}
        given |= {self.day_columns, "done_at"} if self.days else set()
        needed = [c for c in INCOMING[table].columns if c.required and c.name not in given]
        names = [c.name for c in needed]
        if table == "home_log" and not self.sheet_name and not {"line_id", "family_id"} & given:
            names.insert(0, "line_id")
        free = {
            head: at
            for at, head in enumerate(self.header.head)
            if head and at not in {*self.columns, *self.ticks, *self.days}
        }
        for name in names:
            allowed = next(c.allowed for c in INCOMING[table].columns if c.name == name)
            text = (
                f"No column is {name}, which {table} needs. Which column holds it"
                f"{', or which value has it in every row' if allowed else ''}?"
            )
            answer = self._ask(f"column:{name}", text, [*free, *allowed])
            if answer is None:
                continue
            at = next((free[head] for head in free if alike(head) == alike(answer)), None)
            if at is not None:
                self.columns[at] = name
                self.questions = [
                    q for q in self.questions if q.key != f"head:{self.header.head[at]}"
                ]
            else:
                self.fixed[name] = answer

    # Dates and words

    def read_dates(self) -> DateStyle:
        """The style of the dates; asked where days and months could be either way round."""
        dates = self.cells_of({Kind.DATE, Kind.INSTANT, Kind.MONTH})
        found = evidence.date_style([*dates, *(self.header.head[at] for at in sorted(self.days))])
        if found.order is not None:
            return DateStyle(found.order, found.short_years, found.day_numbers)
        text = f"Is {found.example} day/month/year (dmy) or month/day/year (mdy)?"
        answer = self._ask("date_order", text, [DateOrder.DMY, DateOrder.MDY])
        order = DateOrder.ISO if answer is None else self._order_answered()
        return DateStyle(order, found.short_years, found.day_numbers)

    def read_words(self) -> None:
        """Find the code of each word of the columns of codes."""
        of_days = dict.fromkeys(sorted(self.days), self.day_columns)
        every = {**self.columns, **of_days}
        for name in dict.fromkeys(every.values()):
            column = next((c for c in INCOMING[self.header.table].columns if c.name == name), None)
            if column is None or column.kind not in {Kind.CODE, Kind.CODES}:
                continue
            labels = self._meanings(column)
            words = [word for at, one in every.items() if one == name for word in self.cells(at)]
            if column.kind is Kind.CODES:
                marks = evidence.separators(
                    words, set(labels) | {plain(v) for v in labels.values()}
                )
                if marks:
                    self.separators[name] = marks
                words = [part for word in words for part in evidence.split(word, marks or (";",))]
            self._read_words_of(name, dict.fromkeys(word.strip() for word in words), labels)

    def _read_words_of(
        self, name: str, words: Mapping[str, None], labels: Mapping[str, str]
    ) -> None:
        distinct = {word.casefold(): word for word in words if word}
        for folded, word in list(distinct.items())[:_MOST_WORDS]:
            if folded in labels:
                continue
            found = matches(word, labels, "codes", labels)
            code = sure(found)
            if code is None:
                text = f'What does "{word}" in the column {name} mean?'
                likely = [match.meaning for match in found[:4]]
                code = self._ask(f"word:{name}:{word}", text, [*likely, LEAVE, *labels])
            else:
                self.words.append(WordMeaning(name, word, code, tuple(labels)))
                code = self.answers.get(self.words[-1].key, code)
            if code is not None and code != LEAVE:
                self.values.setdefault(name, {})[folded] = code

    def looks(self) -> TableProfile:
        """The table's profile."""
        head = self.header.head
        return TableProfile(
            names=self.names,
            header=tuple(cell for at, cell in enumerate(head) if cell and at not in self.days),
            day_columns=self.day_columns,
            moment="done_at" if self.days else "",
            skip_rows=self.header.skip_rows,
            head_rows=self.header.head_rows,
            heads={head[at]: name for at, name in sorted(self.columns.items())},
            fixed=self.fixed,
            values=self.values,
            ticks=tuple(tick for _, tick in sorted(self.ticks.items())),
            separators=self.separators,
            times={name: head[at] for name, at in self.times.items()},
            sheet_name=self.sheet_name,
        )

    def meanings(self) -> list[Meaning]:
        """Every head with what it is proposed to be."""
        means = dict(self.columns)
        means |= {at: f"{tick.column}: {tick.code}" for at, tick in self.ticks.items()}
        means |= dict.fromkeys(self.days, f"a day of {self.day_columns}")
        means |= {at: f"{name}: time of day" for name, at in self.times.items()}
        return [
            Meaning(head, means.get(at), tuple(dict.fromkeys(self.cells(at)[:20]))[:3])
            for at, head in enumerate(self.header.head)
            if head
        ]
