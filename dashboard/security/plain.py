"""Which pages are sent as plain HTML, before anybody is signed in or where there is nothing?"""

from __future__ import annotations

from html import escape

from flask import Response, make_response

from dashboard.layout import words
from dashboard.security.csrf import token

PAGE = """<!DOCTYPE html>
<html lang="en">
  <head>
    <meta charset="utf-8">
    <meta name="viewport" content="width=device-width, initial-scale=1">
    <title>{title} · linedays</title>
    <link rel="icon" type="image/svg+xml" href="/assets/mark.svg">
    <link rel="stylesheet" href="/assets/linedays.css">
  </head>
  <body class="plain-page">
    <header class="head">
      <a class="brand" href="/"><span class="mark" aria-hidden="true"></span>linedays</a>
    </header>
    <main id="main">{content}</main>
    <aside class="cautions" aria-label="Cautions"><p>{cautions}</p></aside>
  </body>
</html>
"""
SIGN_IN = """
      <div class="sign-in">
      <h1>Sign in</h1>
      {told}
      <form class="form" method="post" action="/sign-in">
        <input type="hidden" name="csrf_token" value="{token}">
        <input type="hidden" name="to" value="{to}">
        <div class="field">
          <label for="code">Your staff code</label>
          <input id="code" name="code" type="text" value="{code}" maxlength="40" required
            autocomplete="username" autocapitalize="none" spellcheck="false"{code_first}>
        </div>
        <div class="field">
          <label for="password">Password</label>
          <input id="password" name="password" type="password" maxlength="256" required
            autocomplete="current-password"{password_first}>
        </div>
        <button class="main-action" type="submit">Sign in</button>
      </form>
      <p class="hint">Not able to sign in? Who runs linedays here can give you a new password.</p>
      </div>
"""


def sign_in_page(to: str, told: str | None, code: str, *, status: int = 200) -> Response:
    """The page to sign in, with what is to be told; the password is never sent back."""
    said = "" if told is None else f'<p class="fault" role="alert">{escape(told)}</p>'
    content = SIGN_IN.format(
        told=said,
        token=escape(token()),
        to=escape(to),
        code=escape(code[:40]),
        code_first="" if code else " autofocus",
        password_first=" autofocus" if code else "",
    )
    return _page("Sign in", content, status)


def nothing_here(what: str) -> Response:
    """There is no such page, or no such family for this person."""
    return _told("Nothing here", what, 404)


def not_for_this_role(what: str) -> Response:
    """There is such a page, and this person's role does not include it."""
    return _told("Not for your role", what, 403)


def cannot(what: str) -> Response:
    """What was asked for is not possible on this machine."""
    return _told("Not possible on this machine", what, 501)


def _told(title: str, what: str, status: int) -> Response:
    content = (
        f'<h1>{escape(title)}</h1><p>{escape(what)}</p><p><a href="/">Go to your first page</a></p>'
    )
    return _page(title, content, status)


def _page(title: str, content: str, status: int) -> Response:
    text = PAGE.format(
        title=escape(title), content=content, cautions=escape(" ".join(words.CAUTIONS))
    )
    return make_response(text, status, {"Content-Type": "text/html; charset=utf-8"})
