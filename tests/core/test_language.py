"""A house that speaks another language speaks it everywhere: calls, digest, replies, page."""

from __future__ import annotations

from html import escape

from makers import House, make_entry, make_person, make_plan, make_step

from controller.core.alarms.lifecycle import Phase
from controller.core.plan.alarm import Response
from controller.core.plan.people import Way
from controller.core.plan.phrases import ENGLISH, Phrases
from controller.core.plan.reach import Modem
from controller.core.plan.supervision import Supervision
from controller.core.replies import write_correction, write_thanks
from controller.core.vocabulary import AnswerGiven, ReplyReceived
from controller.edges.page.render import render_door, render_page, render_refusal
from controller.edges.page.view import AlarmView, PageView
from controller.page_host import write_left

MARK = "zz "
LISTS = {"weekdays", "months", "yes_words", "no_words", "language"}
"""Lists of words, and the language's own short name; they hold no phrase that could be marked."""


def mark(name: str, text: str) -> str:
    """Mark a phrase, in both its forms where it has two."""
    return text if name in LISTS else "|".join(f"{MARK}{form}" for form in text.split("|"))


MARKED = Phrases(**{name: mark(name, text) for name, text in ENGLISH.model_dump().items()})
"""Another language: every phrase marked, every word in braces in its place."""


def make_house(phrases: Phrases) -> House:
    """Make a house of one language, and let a morning pass with an emergency that somebody answers by text."""
    plan = make_plan(
        alarm=(make_entry(),),
        person=(make_person("keeper").model_copy(update={"phone": "+447700900123"}),),
        call=(
            make_step(0, "keeper", ways=(Way.TEXT, Way.EMAIL)),
            make_step(0, "keeper", response=Response.TODAY),
        ),
        modem=Modem(device="/dev/ttyUSB0"),
        supervision=Supervision(digest_time="13:30", heartbeat_min=0.0),
    ).with_phrases(phrases)
    return House(plan)


def listen(phrases: Phrases) -> list[str]:
    """Gather everything that is written to people in that story."""
    house = make_house(phrases)
    said: list[str] = []
    for speaking in ({"tank_oxygen": 3.0}, {"tank_oxygen": 8.0}):
        for _ in range(8):
            house.wait(1, speaking=speaking)
            said += [f"{message.subject}\n{message.text}" for message in house.messages]
        house.tell(ReplyReceived(Way.TEXT, "+447700900123", "0000"))
        said += [f"{message.subject}\n{message.text}" for message in house.messages]
    assert house.alarm().phase is Phase.RETURNED
    house.tell(ReplyReceived(Way.TEXT, "+447700900123", house.alarm().code))
    said += [f"{message.subject}\n{message.text}" for message in house.messages]
    house.wait(60, speaking={"tank_oxygen": 8.0})
    return [*said, *(f"{message.subject}\n{message.text}" for message in house.messages)]


def test_what_is_written_to_people_is_in_the_house_s_language() -> None:
    """Word for word the English messages with every phrase marked: no phrase comes from elsewhere."""
    english, marked = listen(ENGLISH), listen(MARKED)
    assert [text.replace(MARK, "") for text in marked] == english
    for text in marked:
        assert MARK in text, f"no phrase of the language in: {text}"
    assert any("all well" in text for text in english), "a digest is among them"


def test_every_reply_is_in_the_house_s_language() -> None:
    """Thanks, corrections with and without a code, with and without open alarms."""
    for codes in ((), ("0000",)):
        for alarms in ({}, {"4821": "Oxygen low"}, {str(code): "x" * 40 for code in range(1000, 1009)}):
            text = write_correction(codes, alarms, MARKED)
            assert text.count(MARK) >= 2
            assert (
                "alarm" not in text.replace(write_correction(codes, alarms), "").replace(MARK, "")
                or MARK in text
            )
    assert MARK in write_thanks("4821", "Oxygen low", "keeper", MARKED)


def make_view(phrases: Phrases) -> PageView:
    """Make a page with an alarm of each kind, one of them held and one silenced."""
    alarms = (
        AlarmView("Air", Response.EMERGENCY, phrases.page_nobody, "off", "main", "1", write_left(87.0, phrases), "go"),
        AlarmView("Oxygen", Response.TODAY, "", "low", "tank", "02:10", write_left(0.0, phrases), "go", "keeper"),
        AlarmView("Damp", Response.NOTE, "", "96 %", "", "", write_left(300.0, phrases), "go", silence="shelved"),
    )  # fmt: skip
    return PageView("Wharf", "02:31", alarms, ("mail is down",), ("keeper",), has_words=True, phrases=phrases)


def test_the_page_is_in_the_house_s_language() -> None:
    """Every word on it that is not a name or a value, with an alarm and without, and at the door."""
    pages = [
        (render_page(make_view(phrases), "t"), render_page(PageView("W", "1", (), (), (), phrases=phrases), "t"),
         render_door("W", "t", None, phrases), render_refusal("x", phrases))
        for phrases in (ENGLISH, MARKED)
    ]  # fmt: skip
    for english, marked in zip(*pages, strict=True):
        assert marked.replace(MARK, "") == english
    plain = {
        name: text
        for name, text in ENGLISH.model_dump().items()
        if (name.startswith("page_") and "{" not in text) or name in {"emergency", "today", "note"}
    }
    shown = {name for name, text in plain.items() if any(f">{escape(text)}<" in page for page in pages[0])}
    assert len(shown) > 15
    for name in shown:
        assert any(f">{MARK}{escape(plain[name])}<" in page for page in pages[1]), name


def test_a_call_for_what_is_over_says_so() -> None:
    """Whoever is woken by the second round must not run for what has ended."""
    house = make_house(ENGLISH)
    house.wait(4, speaking={"tank_oxygen": 3.0}).wait(4, speaking={"tank_oxygen": 8.0})
    assert house.alarm().phase is Phase.RETURNED
    calls = []
    for _ in range(15):
        house.wait(1, speaking={"tank_oxygen": 8.0})
        calls += [message for message in house.messages if "EMERGENCY" in message.text]
    assert {message.way for message in calls} == {Way.TEXT, Way.EMAIL}
    for message in calls:
        assert "OVER" in message.text or "It is over, and nobody has answered" in message.text
        assert "Harm" not in message.text
        assert house.alarm().code in message.text
    house.tell(AnswerGiven(house.alarm().code, "keeper", "page")).wait(30, speaking={"tank_oxygen": 8.0})
    assert not [message for message in house.messages if "EMERGENCY" in message.text]
