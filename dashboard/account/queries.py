"""What is known of a person's own sign-in, and does a change of it go through?"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

from analysis.store import LEAST_CHARACTERS, StoreError, authenticator_address, number_of
from dashboard.account.views import AccountView, SignInRow
from dashboard.security.roles import NAMES, Page
from dashboard.session.session import Session

SET_UP = "Two-step sign-in is set up. Keep the recovery codes below where only you find them."
DEMANDED = "Your role signs in in two steps, so it cannot be ended here."
NOT_THE_SAME = "The two new passwords differ. Type the new one twice."


class AccountQueries:
    """Questions and changes of the account of the person who asks; of nobody else's."""

    def __init__(self, session: Session, token: str, address: str) -> None:
        session.reader.must_open(Page.ACCOUNT)
        self.session = session
        self._token = token
        self._address = address

    def account(self) -> AccountView:
        """The person's role, sites and open sign-ins."""
        session = self.session
        reader, zone = session.reader, session.policy.zone
        found = session.store.people.open_sign_ins(session.config.clock(), reader.code)
        this = number_of(self._token)
        two_steps, left = session.store.people.has_two_steps(reader.code)
        return AccountView(
            context=session.context(),
            role=NAMES[reader.role],
            sites="all" if reader.sites is None else ", ".join(sorted(reader.sites)),
            sign_ins=tuple(
                SignInRow(
                    one.number,
                    one.began_at.astimezone(zone),
                    one.last_used_at.astimezone(zone),
                    one.address or "not known",
                    one.number == this,
                )
                for one in found
            ),
            least_characters=LEAST_CHARACTERS,
            has_password=session.store.people.has_password(reader.code),
            two_steps=two_steps,
            recovery_codes_left=left,
            must_have_two_steps=reader.role in session.config.web.two_steps_for,
        )

    def change_password(self, sent: Mapping[str, str]) -> AccountView:
        """Set the password of the form, if the present one is right."""
        if sent.get("new", "") != sent.get("again", ""):
            return replace(self.account(), fault=NOT_THE_SAME)
        session = self.session
        try:
            session.store.people.change_password(
                session.reader.code,
                sent.get("present", ""),
                sent.get("new", ""),
                self._address,
                session.config.clock(),
                token=self._token,
            )
        except StoreError as fault:
            return replace(self.account(), fault=str(fault))
        done = "Your password was changed. All your other sign-ins ended."
        return replace(self.account(), done=done)

    def two_steps(self, sent: Mapping[str, str]) -> AccountView:
        """Begin, confirm or end two-step sign-in, as the form's button asks."""
        people, code = self.session.store.people, self.session.reader.code
        at, present = self.session.config.clock(), sent.get("present", "")
        try:
            if sent.get("act") == "begin":
                secret = people.begin_two_steps(code, present, self._address, at)
                return _with_secret(self.account(), secret, code)
            if sent.get("act") == "confirm":
                made = tuple(people.confirm_two_steps(code, sent.get("typed", ""), at))
                return replace(self.account(), done=SET_UP, recovery_codes=made)
            if self.session.reader.role in self.session.config.web.two_steps_for:
                return replace(self.account(), fault=DEMANDED)
            people.end_two_steps(code, present, self._address, at)
        except StoreError as fault:
            return replace(self.account(), fault=str(fault))
        return replace(self.account(), done="You sign in with your password alone from now on.")

    def end_sign_in(self, sent: Mapping[str, str]) -> AccountView:
        """End one open sign-in of the person."""
        session, code = self.session, self.session.reader.code
        number, at = sent.get("number", ""), session.config.clock()
        if number in {one.number for one in self.account().sign_ins if not one.is_this}:
            session.store.people.end_sign_ins(code, at, by=code, number=number)
        return replace(self.account(), done="That sign-in ended.")


def _with_secret(view: AccountView, secret: str, code: str) -> AccountView:
    import segno

    picture = segno.make(authenticator_address(secret, code), error="m")
    return replace(
        view, secret=secret, picture=picture.svg_data_uri(scale=4, border=4, light="white")
    )
