"""The siren at the house: a relay that ends each sounding by itself, and may fail or stick.

What the daemon's own adapter would tell it is told here: the siren's word, and after the wait of the settings that
it does not obey.
"""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from controller.core.plan.alarm import Watched
from controller.core.vocabulary import EffectDone, EffectFailed, SirenReported, SoundSiren, TroubleSeen

if TYPE_CHECKING:
    from simulators.clockwork import Clockwork

SAYS_AFTER_MS: Final = 700
"""The siren's board hears a command and says what it does within this. [ms]"""


class Siren:
    """A siren.

    Attributes
    ----------
    dead : bool
        Its relay does nothing. Settable.
    stuck : bool
        Its relay stays closed once it has sounded, until it is mended. Settable.
    sounds : bool
        Whether it sounds now.
    """

    def __init__(self) -> None:
        self.dead = False
        self.stuck = False
        self.sounds = False
        self._last = ""
        self._disobeyed = False

    def command(self, run: Clockwork, effect: SoundSiren) -> None:
        """Take a command of the daemon."""
        now = run.now_utc_ms
        if run.link.down or run.plan.siren is None:
            run.tell_later(now, EffectFailed(effect.effect_id, "there is no connection"))
            return
        self._last = effect.effect_id
        wanted = effect.run_at_most_ms > 0
        run.tell_later(now, EffectDone(effect.effect_id))
        run.later(now + SAYS_AFTER_MS, lambda: self._switch(run, on=wanted))
        if wanted:
            run.later(now + effect.run_at_most_ms, lambda: self._end(run, effect.effect_id))
        judged_ms = now + round(run.plan.siren.confirm_s * 1000.0)
        run.later(judged_ms, lambda: self._judge(run, effect.effect_id, wanted=wanted))

    def _switch(self, run: Clockwork, *, on: bool) -> None:
        """Switch the relay, as far as it obeys, and say what it does."""
        if not self.dead and (on or not self.stuck):
            self.sounds = on
        run.turn(SirenReported(self.sounds))

    def _end(self, run: Clockwork, command: str) -> None:
        """End a sounding by itself, unless a later command has come."""
        if command == self._last and self.sounds:
            self._switch(run, on=False)

    def _judge(self, run: Clockwork, command: str, *, wanted: bool) -> None:
        """Tell whether it has obeyed, as the daemon's adapter does after its wait."""
        if command != self._last:
            return
        if self.sounds is not wanted:
            self._disobeyed = True
            text = "it does not sound" if wanted else "it does not fall silent"
            run.turn(TroubleSeen(Watched.SIREN, text))
        elif self._disobeyed:
            self._disobeyed = False
            run.turn(TroubleSeen(Watched.SIREN, None))

    def mend(self, run: Clockwork) -> None:
        """Mend the relay; it falls silent, and its board says so."""
        self.dead = self.stuck = False
        if self.sounds:
            self._switch(run, on=False)
