"""The page as HTML: dark, large, in words and shapes as well as colours, and without anything from elsewhere.

It is read on a phone at three in the morning by somebody who has just been woken.
"""

from __future__ import annotations

import base64
import hashlib
from html import escape
from typing import Final

from controller.core.plan.alarm import Response
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.edges.page.view import AlarmView, PageView

STYLE: Final = """
:root { color-scheme: dark; }
* { box-sizing: border-box; }
body { margin: 0 auto; max-width: 44rem; padding: 1rem; background: #0d1117; color: #f0f3f6;
  font: 1.15rem/1.45 system-ui, sans-serif; }
h1 { font-size: 1.25rem; margin: 0 0 .25rem; }
h2 { font-size: 1.4rem; margin: 0 0 .5rem; overflow-wrap: anywhere; }
.at { color: #aab4c0; margin: 0 0 1rem; }
.card { border: 2px solid #3d4652; border-left-width: .6rem; border-radius: .5rem; padding: .9rem 1rem;
  margin: 0 0 1rem; background: #161b22; overflow-wrap: anywhere; }
.emergency { border-color: #ff6b5e; }
.today { border-color: #f2c14e; }
.note, .quiet { border-color: #7d8896; }
.well { border-color: #58c48b; }
.kind { font-weight: 700; letter-spacing: .04em; margin: 0 0 .3rem; }
.emergency .kind { color: #ff8f85; }
.today .kind { color: #f5d07c; }
.first { font-size: 1.3rem; font-weight: 700; margin: .6rem 0; }
dl { margin: 0; display: grid; grid-template-columns: auto 1fr; gap: .15rem .8rem; }
dt { color: #aab4c0; }
dd { margin: 0; }
label { display: block; margin: .8rem 0 .25rem; }
input, select, button { width: 100%; min-height: 3.2rem; font: inherit; font-size: 1.3rem; padding: .5rem .8rem;
  border-radius: .5rem; border: 2px solid #7d8896; background: #0d1117; color: inherit; }
input[name=code] { font-size: 2rem; letter-spacing: .4em; text-align: center; }
button { margin-top: 1rem; border-color: #58c48b; background: #1d5a3c; color: #fff; font-weight: 700; }
:focus-visible { outline: 3px solid #8ec5ff; outline-offset: 2px; }
a { color: #8ec5ff; display: inline-block; padding: .8rem 0; }
small { color: #aab4c0; font-size: 1rem; }
"""
"""Everything the page looks like; it is allowed by its own hash and nothing else is."""

POLICY: Final = (
    "default-src 'none'; style-src 'sha256-"
    + base64.b64encode(hashlib.sha256(STYLE.encode()).digest()).decode()
    + "'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
"""Content security policy: our own style, our own forms, nothing else."""

_SHAPE: Final = {Response.EMERGENCY: "\u25b2", Response.TODAY: "\u25cf", Response.NOTE: "\u25a0"}
"""A shape beside the word, for those who do not see the colour."""


def render_page(view: PageView, token: str, said: tuple[str, bool] | None = None) -> str:
    """Write the page; `said` is what became of what the person has just sent, and whether it was good."""
    calling = [alarm for alarm in view.alarms if not alarm.who and not alarm.silence]
    held = [alarm for alarm in view.alarms if alarm.who and not alarm.silence]
    quiet = [alarm for alarm in view.alarms if alarm.silence]
    phrases = view.phrases
    parts = [_say(said)]
    if not calling and not held:
        parts.append(
            f'<section class="card well"><p class="kind">\u2713 {escape(phrases.page_well)}</p></section>'
        )
    # The form stands right below the most urgent alarm, where a thumb finds it without reading on.
    parts += [_card(alarm, phrases) for alarm in calling[:1]]
    parts.append(_form(view, token))
    parts += [_card(alarm, phrases) for alarm in (*calling[1:], *held, *quiet)]
    parts += [
        f'<section class="card note"><p class="kind">\u25a0 {escape(phrases.page_itself)}</p>'
        f"<p>{escape(text)}</p></section>"
        for text in view.troubles
    ]
    return _frame(view.site, view.at, "".join(parts), phrases)


def render_door(
    site: str, token: str, said: tuple[str, bool] | None = None, phrases: Phrases = ENGLISH
) -> str:
    """Write the page of a house whose alarms are not for everybody: sign in, or answer with a code."""
    form = (
        f'<form class="card" method="post" action="/open"><input type="hidden" name="token" value="{escape(token)}">'
        f'<label for="door">{escape(phrases.page_door)}</label>'
        '<input id="door" name="word" type="password" autocomplete="current-password" required maxlength="200">'
        f"<button>{escape(phrases.page_show)}</button></form>"
    )
    return _frame(site, "", _say(said) + form, phrases)


def render_refusal(text: str, phrases: Phrases = ENGLISH) -> str:
    """Write a page that says why something was not done."""
    body = f'<section class="card today"><p class="kind">{escape(text)}</p></section>'
    return _frame("Duskbell", "", body, phrases)


def _frame(site: str, at: str, body: str, phrases: Phrases) -> str:
    return (
        f'<!doctype html><html lang="{escape(phrases.language)}"><head><meta charset="utf-8">'
        '<meta name="viewport" content="width=device-width, initial-scale=1"><meta name="robots" content="noindex">'
        f"<title>{escape(site)}</title><style>{STYLE}</style></head><body>"
        f'<h1>{escape(site)}</h1><p class="at">{escape(at)}</p><main>{body}</main>'
        f'<p><a href="/">{escape(phrases.page_again)}</a></p></body></html>'
    )


def _say(said: tuple[str, bool] | None) -> str:
    if said is None:
        return ""
    text, good = said
    sign = "\u2713" if good else "\u2717"
    kind = "well" if good else "today"
    return f'<section class="card {kind}" role="status"><p class="kind">{sign} {escape(text)}</p></section>'


def _card(alarm: AlarmView, phrases: Phrases) -> str:
    kind = "quiet" if alarm.silence else alarm.response.value
    holder = phrases.page_has_it.format(person=alarm.who) if alarm.who else alarm.state
    rows = [
        (phrases.page_what, alarm.detail),
        (phrases.page_where, alarm.place),
        (phrases.page_since, alarm.since),
        (phrases.page_harm, alarm.left),
        (phrases.page_state, alarm.silence or holder),
    ]
    lines = "".join(f"<dt>{escape(title)}</dt><dd>{escape(text)}</dd>" for title, text in rows if text)
    action = escape(phrases.page_first.format(action=alarm.action))
    first = "" if alarm.silence else f'<p class="first">{action}</p>'
    word = {
        Response.EMERGENCY: phrases.emergency,
        Response.TODAY: phrases.today,
        Response.NOTE: phrases.note,
    }[alarm.response]
    return (
        f'<section class="card {kind}"><p class="kind">{_SHAPE[alarm.response]} {escape(word)}</p>'
        f"<h2>{escape(alarm.name)}</h2>{first}<dl>{lines}</dl></section>"
    )


def _form(view: PageView, token: str) -> str:
    phrases = view.phrases
    options = "".join(f"<option>{escape(person)}</option>" for person in view.people)
    title = phrases.page_i_have_it if view.alarms else phrases.page_test
    button = phrases.page_act if view.alarms else phrases.page_answer
    word = (
        f'<label for="word">{escape(phrases.page_word)} <small>({escape(phrases.page_word_hint)})</small></label>'
        '<input id="word" name="word" type="password" maxlength="200" autocomplete="current-password">'
    )
    return (
        '<form class="card" method="post" action="/answer" autocomplete="off">'
        f'<input type="hidden" name="token" value="{escape(token)}">'
        f"<h2>{escape(title)}</h2>"
        f'<label for="code">{escape(phrases.page_code)}</label>'
        '<input id="code" name="code" inputmode="numeric" pattern="[0-9]{4}" maxlength="4" required>'
        f'<label for="person">{escape(phrases.page_who)}</label>'
        f'<select id="person" name="person"><option value="">{escape(phrases.page_choose)}</option>{options}</select>'
        f"{word if view.has_words else ''}<button>{escape(button)}</button>"
        f"<p><small>{escape(phrases.page_comes)}</small></p></form>"
    )
