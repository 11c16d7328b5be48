"""What must fit together between keys and tables, beyond what each key allows by itself."""

from __future__ import annotations

from typing import TYPE_CHECKING

from controller.settings.checks.alarms import check_alarms
from controller.settings.checks.causes import check_causes
from controller.settings.checks.curtains import check_curtains
from controller.settings.checks.people import check_people
from controller.settings.checks.place import check_place
from controller.settings.checks.proof import check_proof
from controller.settings.checks.reach import check_reach
from controller.settings.checks.roster import check_roster
from controller.settings.checks.sensors import check_sensors
from controller.settings.checks.waters import check_waters

if TYPE_CHECKING:
    from controller.settings.draft import Draft
    from controller.settings.problems import Fault


def check_all(draft: Draft) -> list[Fault]:
    """Find everything that does not fit together, as far as the tables could be validated."""
    checks = (
        check_place,
        check_sensors,
        check_waters,
        check_curtains,
        check_alarms,
        check_causes,
        check_people,
        check_roster,
        check_proof,
        check_reach,
    )
    return [fault for check in checks for fault in check(draft) if draft.is_sure(fault)]
