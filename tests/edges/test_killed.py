"""Killed at any place of an incident: no message is lost, and none comes more than once too often."""

from __future__ import annotations

import subprocess
import sys
from collections import Counter
from enum import Enum
from pathlib import Path

import pytest
from incident_story import TURN_MS, TURNS, Life, World, kinds_of, open_journal

from controller.core.vocabulary import Effect, SendMessage

STORY = Path(__file__).parent / "incident_story.py"


class Killed(BaseException):
    """The process is gone; nothing of ours may catch this."""


class Place(Enum):
    """Where in a turn the process dies."""

    BEFORE_COMMIT = "decided, not remembered"
    AFTER_COMMIT = "remembered, nothing handed over"
    AFTER_FIRST = "one message handed over, its outcome not remembered"


def live_through(folder: Path, *, dies_at: int, place: Place) -> tuple[World, list[SendMessage], int]:
    """Tell the story, die once at a commit, and go on; return the world, what was decided, and the commits."""
    world, decided, commits = World(), list[SendMessage](), 0
    dead = False

    def die_if(here: Place) -> None:
        nonlocal dead
        if not dead and commits == dies_at and place is here:
            dead = True
            raise Killed

    def before_commit(effects: tuple[Effect, ...]) -> None:
        nonlocal commits
        commits += 1
        die_if(Place.BEFORE_COMMIT)
        decided.extend(effect for effect in effects if isinstance(effect, SendMessage))

    world.tell = lambda _: die_if(Place.AFTER_FIRST)
    now = 0
    for _ in range(2):
        journal, left_ms = open_journal(folder)
        try:
            life = Life(journal, world, max(now, left_ms), before_commit, lambda: die_if(Place.AFTER_COMMIT))
            now = life.now
            life.tell_story()
        except Killed:
            now = max(now, left_ms) + TURN_MS // 6
        finally:
            journal.close()
        if not dead:
            break
    return world, decided, commits


def test_the_story_calls_answers_and_ends(tmp_path: Path) -> None:
    """Without a death everybody on duty is called, told who has it, and told that it is over."""
    world, _, commits = live_through(tmp_path, dies_at=0, place=Place.BEFORE_COMMIT)
    assert kinds_of(world.handed) == {
        ("keeper", "DUSKBELL EMERGENCY"),
        ("deputy", "DUSKBELL EMERGENCY"),
        ("porter", "DUSKBELL EMERGENCY"),
        ("deputy", "DUSKBELL ANSWERED"),
        ("porter", "DUSKBELL ANSWERED"),
        ("keeper", "DUSKBELL OVER"),
        ("deputy", "DUSKBELL OVER"),
        ("porter", "DUSKBELL OVER"),
    }
    assert commits > TURNS


@pytest.mark.parametrize("place", Place)
def test_a_death_at_any_commit_loses_no_message_and_doubles_none_twice(tmp_path: Path, place: Place) -> None:
    """At each commit in turn: what was decided reaches the world, once, or twice where nobody could know."""
    whole = kinds_of(live_through(tmp_path / "whole", dies_at=0, place=place)[0].handed)
    dies_at = 0
    commits = 1
    while dies_at < commits:
        dies_at += 1
        world, decided, commits = live_through(tmp_path / str(dies_at), dies_at=dies_at, place=place)
        times = Counter(message.effect_id for message in world.handed)
        told = f"{place.value}, commit {dies_at}"
        assert {message.effect_id for message in decided} <= set(times), f"lost: {told}"
        assert max(times.values(), default=0) <= 2, f"twice too often: {told}"
        assert whole <= kinds_of(world.handed), f"somebody was not told: {told}"
    assert dies_at > TURNS


def test_a_process_that_is_killed_again_and_again_tells_its_story(tmp_path: Path) -> None:
    """Real kills of a real process, each after some more messages: together its lives tell everybody."""
    lives: list[list[str]] = []
    for more in (1, 2, 1, 4, 99):
        child = subprocess.Popen(
            [sys.executable, str(STORY), str(tmp_path)], stdout=subprocess.PIPE, text=True
        )
        assert child.stdout is not None
        lives.append([])
        for count, line in enumerate(child.stdout, start=1):
            lives[-1].append(line.strip())
            if count == more:
                child.kill()
                break
        child.wait(20)
        child.stdout.close()
    assert lives[-1].pop() == "told"
    told = {(line.split()[1], line.split(" DUSKBELL ")[1].split(":")[0]) for life in lives for line in life}
    assert len(told) == 8, told
    for life in lives:
        assert len({line.split()[0] for line in life}) == len(life), "no life tells a thing twice"
