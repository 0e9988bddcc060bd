"""How does a class of options become a command of the command line?"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable, Iterable, Iterator, Mapping
from dataclasses import MISSING, Field, dataclass, fields
from datetime import date, datetime
from enum import StrEnum
from types import NoneType
from typing import Annotated, Any, get_args, get_type_hints

import typer
from typer.core import TyperCommand, TyperGroup, TyperOption

from analysis.cautions import CAUTIONS
from analysis.cli.options.declared import Command, first_paragraph
from analysis.cli.options.shared import SHARED
from analysis.errors import nearest

ABOUT = "Which families to call about a central line at home, and why."
_PLAIN: Mapping[str, Any] = {"pretty_exceptions_enable": False, "rich_markup_mode": None}
_NOT_ASKED = dict.fromkeys(("help", "install_completion", "show_completion"), False)
"""Flags that typer would otherwise read with pydantic when they are not given, which takes long to load."""
_NO_CHOICE = re.compile(r"'(?P<given>.*)' is not one of (?P<choices>.*)\.$")


def application(
    commands: Mapping[str, Command], run: Callable[[str, Command, object], None]
) -> Callable[..., None]:
    """Build the command line.

    Parameters
    ----------
    commands : mapping
        Commands by name, of one word or two.
    run : callable
        Runs a command, given its name and an object of its class of options.

    Returns
    -------
    callable
        Reads the words of the command line and ends the program.
    """
    app = typer.Typer(
        name="linedays",
        cls=_Group,
        help=f"{ABOUT}\n\n{' '.join(CAUTIONS)}",
        no_args_is_help=True,
        context_settings={"default_map": _NOT_ASKED},
        **_PLAIN,
    )
    app.callback()(_with_version)
    group: Any = typer.main.get_command(app)
    group.commands = _Commands(commands, run)
    return group


def _with_version(
    *,
    shown: Annotated[
        bool,
        typer.Option(
            "--version", help="Show the version and exit.", callback=_show_version, is_eager=True
        ),
    ] = False,
) -> None:
    pass


def _show_version(asked: bool) -> None:
    if asked:
        from importlib.metadata import version

        typer.echo(f"linedays {version('linedays')}")
        raise typer.Exit


def _callback(
    name: str, command: Command, run: Callable[[str, Command, object], None]
) -> Callable[..., None]:
    """Make a function whose parameters are the fields of a class of options."""

    def call(**given: Any) -> None:
        run(name, command, command.options(**given))

    hints = get_type_hints(command.options)
    own = [f for f in fields(command.options) if f.name not in SHARED]
    own.sort(key=lambda f: f.default is not MISSING)
    shared = [f for name in SHARED for f in fields(command.options) if f.name == name]
    parameters = [
        inspect.Parameter(
            f.name,
            inspect.Parameter.KEYWORD_ONLY,
            default=inspect.Parameter.empty if f.default is MISSING else f.default,
            annotation=Annotated[hints[f.name], _as_typer(f, hints[f.name])],
        )
        for f in [*own, *shared]
    ]
    vars(call)["__signature__"] = inspect.Signature(parameters)
    call.__annotations__ = {}
    call.__doc__ = inspect.getdoc(command.options)
    return call


def _as_typer(declared: Field[Any], kind: Any) -> Any:
    """The option or argument that a field declares."""
    settings = dict(declared.metadata)
    reader = next((_READERS[k] for k in (kind, *get_args(kind)) if k in _READERS), {})
    if "name" not in settings:
        return typer.Argument(**settings)
    name = settings.pop("name") or declared.name.replace("_", "-")
    return typer.Option(f"--{name}", **reader, **settings)


def _day(text: str) -> date:
    try:
        return date.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(f"{text!r} is not a date; write it like 2031-03-01") from None


def _moment(text: str) -> datetime:
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        raise typer.BadParameter(
            f"{text!r} is not a date and time; write it like 2031-03-01T08:00"
        ) from None


_READERS: Mapping[Any, Mapping[str, Any]] = {
    date: {"parser": _day, "metavar": "DATE"},
    datetime: {"parser": _moment, "metavar": "MOMENT"},
}
"""How words of a type are read that the parser does not know."""


def _needs_a_second_word(word: str, commands: Mapping[str, Command]) -> Callable[[], None]:
    seconds = [name.split()[1] for name in commands if name.startswith(f"{word} ")]

    def call() -> None:
        raise typer.BadParameter(f"'linedays {word}' needs one of: {', '.join(seconds)}.")

    call.__doc__ = f"One of: {', '.join(seconds)}."
    return call


class _Commands(Mapping[str, TyperCommand]):
    """Commands by name, each made when it is asked for: to make all of them takes long."""

    def __init__(
        self, declared: Mapping[str, Command], run: Callable[[str, Command, object], None]
    ) -> None:
        self._declared = declared
        self._run = run
        self._made: dict[str, TyperCommand] = {}
        self.first_words = list(dict.fromkeys(name.split()[0] for name in declared))
        self._names = list(dict.fromkeys([*declared, *self.first_words]))

    def __getitem__(self, name: str) -> TyperCommand:
        if name not in self._made:
            if name in self._declared:
                call = _callback(name, self._declared[name], self._run)
            elif name in self.first_words:
                call = _needs_a_second_word(name, self._declared)
            else:
                raise KeyError(name)
            app = typer.Typer(add_completion=False, **_PLAIN)
            settings = {"default_map": _NOT_ASKED}
            app.command(name, cls=_Command, context_settings=settings)(call)
            made: Any = typer.main.get_command(app)
            if name in self._declared:
                _read_here(made.params, get_type_hints(self._declared[name].options))
            self._made[name] = made
        return self._made[name]

    def __iter__(self) -> Iterator[str]:
        return iter(self._names)

    def __len__(self) -> int:
        return len(self._names)

    def listed(self) -> dict[str, str]:
        """Each command with its short help."""
        return {name: command.about for name, command in self._declared.items()}

    def further(self, word: str) -> dict[str, str]:
        """Second words of a command, each with its short help."""
        return {
            name.split()[1]: text
            for name, text in self.listed().items()
            if name.startswith(f"{word} ")
        }


@dataclass(frozen=True)
class _Word:
    """A word that a shell may complete."""

    value: str
    help: str
    type: str = "plain"


class _Group(TyperGroup):
    """Commands whose names may be two words."""

    commands: Any  # of `_Commands`

    def format_commands(self, ctx: Any, formatter: Any) -> None:  # noqa: ARG002 - a method of typer's
        with formatter.section("Commands"):
            formatter.write_dl([*self.commands.listed().items()])

    def resolve_command(self, ctx: Any, args: list[str]) -> Any:
        two = " ".join(args[:2])
        if len(args) > 1 and two in self.commands:
            return two, self.commands[two], args[2:]
        found = super().resolve_command(ctx, args)
        _, command, rest = found
        seconds = self.commands.further(args[0])
        takes_words = command and any(p.param_type_name == "argument" for p in command.params)
        if rest and seconds and not takes_words and not rest[0].startswith("-"):
            ctx.fail(
                f"No such command {two!r}.{nearest(rest[0], seconds)} Commands: "
                f"{', '.join(f'{args[0]} {second}' for second in seconds)}."
            )
        return found

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        if incomplete.startswith("-"):
            return super().shell_complete(ctx, incomplete)
        words = self.commands.first_words
        return [
            _Word(word, self.commands[word].get_short_help_str())
            for word in words
            if word.startswith(incomplete)
        ]


class _Option(TyperOption):
    """An option that is left out or is a plain word: read here.

    Typer reads it with pydantic, which takes long to load. It reads all others, and reports what is
    wrong with a word.
    """

    kind: type[Any]

    def process_value(self, ctx: Any, value: Any) -> Any:
        if isinstance(value, self.kind) or (value is None and not self.required):
            return value
        if self.kind in _READERS and value is not None:
            return _READERS[self.kind]["parser"](value)
        if issubclass(self.kind, StrEnum) and value in {str(word) for word in self.kind}:
            return self.kind(value)
        return super().process_value(ctx, value)


def _read_here(options: Iterable[Any], hints: Mapping[str, Any]) -> None:
    """Have options of one word read by `_Option`."""
    for option in options:
        hint = hints[option.name]
        kind = next((k for k in get_args(hint) if k is not NoneType), hint)
        is_one_word = option.__class__ is TyperOption and not option.multiple
        if is_one_word and isinstance(kind, type):
            option.__class__ = _Option
            option.kind = kind


class _Command(TyperCommand):
    """A command that lists its further tables, and names the nearest value of a misspelt one."""

    def format_options(self, ctx: Any, formatter: Any) -> None:
        super().format_options(ctx, formatter)
        seconds = ctx.parent.command.commands.further(self.name) if ctx.parent else {}
        if seconds:
            with formatter.section("Further tables"):
                formatter.write_dl(
                    [(f"{self.name} {word}", text) for word, text in seconds.items()]
                )

    def get_short_help_str(self, limit: int = 45) -> str:  # noqa: ARG002 - nothing is cut off
        return first_paragraph(self.help or "")

    def make_context(self, *args: Any, **more: Any) -> Any:
        try:
            return super().make_context(*args, **more)
        except typer.BadParameter as fault:
            found = _NO_CHOICE.search(fault.message)
            if found:
                choices = re.findall(r"'([^']*)'", found["choices"])
                fault.message = f"{found[0]}{nearest(found['given'], choices)}"
            raise

    def shell_complete(self, ctx: Any, incomplete: str) -> Any:
        found: list[Any] = list(super().shell_complete(ctx, incomplete))
        if ctx.parent and not incomplete.startswith("-"):
            found += [
                _Word(word, text)
                for word, text in ctx.parent.command.commands.further(self.name).items()
                if word.startswith(incomplete)
            ]
        return found
