"""How is an option declared: a field of a class with its help, and a command by its class?

The type of a field decides how its words are read, its name is the option's name unless another
is stated, and the docstring of a command's class is the command's help.
"""

from __future__ import annotations

import gc
import inspect
import sys
from collections.abc import Callable
from dataclasses import MISSING, dataclass, field
from functools import partial
from importlib import import_module
from types import ModuleType
from typing import Any, TypeVar, dataclass_transform

Options = TypeVar("Options")


def option(help: str, *, name: str = "", default: Any = None, **settings: Any) -> Any:  # noqa: A002
    """Declare an option: `name` without dashes, `settings` as of `typer.Option`."""
    return field(default=default, metadata={**settings, "help": help, "name": name})


required = partial(option, default=MISSING)
flag = partial(option, default=False)


def argument(help: str, metavar: str, *, default: Any = MISSING) -> Any:  # noqa: A002
    """Declare words that follow the command without the name of an option."""
    return field(default=default, metadata={"help": help, "metavar": metavar})


@dataclass_transform(
    kw_only_default=True, frozen_default=True, field_specifiers=(option, required, flag, argument)
)
def options(declared: type[Options]) -> type[Options]:
    """Make a class of options that several commands have.

    Of the methods of a dataclass only the one is made that is used: to make all takes long.
    mypy sees to it that no option is changed.
    """
    return dataclass(kw_only=True, repr=False, eq=False)(declared)


@dataclass(frozen=True)
class Command:
    """What a command is asked with, and by which function of `analysis.cli` it is answered."""

    name: str
    """A name of two words is a further table of the first word's command."""
    options: type[Any]
    answered_by: str
    """Module of `analysis.cli`, a colon, the function."""

    @property
    def about(self) -> str:
        """What it does, in a sentence."""
        return first_paragraph(inspect.getdoc(self.options) or "")

    def answer(self, asked: object) -> None:
        """Load what the command needs and run it."""
        module, name = self.answered_by.split(":")
        getattr(_loaded(f"analysis.cli.{module}"), name)(asked)


def _loaded(module: str) -> ModuleType:
    """A module of a command. What is loaded stays: to look for garbage in it takes a fifth of a command's time."""
    if module in sys.modules:
        return sys.modules[module]
    gc.disable()
    try:
        found = import_module(module)
        gc.freeze()
    finally:
        gc.enable()
    return found


@dataclass_transform(
    kw_only_default=True, frozen_default=True, field_specifiers=(option, required, flag, argument)
)
def command(name: str, answered_by: str) -> Callable[[type[Options]], type[Options]]:
    """Make a class of options a command; the function that answers it is loaded when it runs."""

    def made(declared: type[Options]) -> type[Options]:
        kind = options(declared)
        setattr(kind, "command", Command(name, kind, answered_by))  # noqa: B010
        return kind

    return made


def first_paragraph(text: str) -> str:
    """Return the first paragraph of a text as one line."""
    return text.partition("\n\n")[0].replace("\n", " ")
