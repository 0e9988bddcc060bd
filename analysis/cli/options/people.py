"""Options of the commands on who may sign in to the dashboard."""

from __future__ import annotations

from datetime import date

from analysis.cli.options.declared import argument, command, flag, option, options, required
from analysis.cli.options.shared import Output, StoreOption
from analysis.vocabulary import Role


@options
class OfUser(StoreOption):
    """A user."""

    code: str = argument("Staff code, such as N12.", "CODE")


@options
class WithPassword(OfUser):
    """A user, and where the password is from."""

    password_stdin: bool = flag("Read the password from the first line of the input.")


@command("user add", "people:add")
class UserAdd(WithPassword):
    """Add a person who may sign in."""

    role: Role = required("What this person does here.")
    site: list[str] | None = option(
        "Only families of this site; may be repeated [all].", metavar="SITE"
    )
    caseload: str | None = option(
        "For a nurse: the code in the line registry whose families this person calls [CODE].",
        metavar="NURSE",
    )
    families: bool = flag("Grant single families to prevention or reader, contacts to educator.")


@command("user list", "people:everybody")
class UserList(StoreOption, Output):
    """Everybody who may sign in, or could in the past."""


@command("user end", "people:end")
class UserEnd(OfUser):
    """End a person's access at once; what they recorded stays."""


@command("user password", "people:new_password")
class UserPassword(WithPassword):
    """Give a person a new password and end their sign-ins."""


@command("user unlock", "people:unlock")
class UserUnlock(OfUser):
    """Let a person sign in without waiting after wrong passwords."""


@command("user two-step-off", "people:two_step_off")
class UserTwoStepOff(OfUser):
    """End a person's two-step sign-in (phone and recovery codes lost)."""


@command("user sign-ins", "people:sign_ins")
class UserSignIns(StoreOption, Output):
    """Open sign-ins: whose, since when, last used, from which address."""

    code: str | None = argument("Of this person only [everybody].", "[CODE]", default=None)


@command("user sign-out", "people:sign_out")
class UserSignOut(OfUser):
    """End a person's open sign-ins; they may sign in again."""

    number: str | None = option("Only the sign-in with this number (see user sign-ins).")


@command("user record", "people:record")
class UserRecord(StoreOption, Output):
    """Access log: who opened or exported what, recorded a call, signed in or was refused."""

    who: str | None = option("Only what this person did.", metavar="CODE")
    family: str | None = option("Only what was done about this family.")
    first: date | None = option("From this day on, in UTC.", name="from")
    last: date | None = option("Up to this day, in UTC.", name="to")
