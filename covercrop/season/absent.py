"""Why a value of a plan is not there, in one word each, so that what was left out is not taken for never."""

from __future__ import annotations

#: Left out of the plan, since nobody asked for it.
NOT_ASKED_FOR = "not-asked-for"

#: It does not come to that this season, or not often enough.
NOT_REACHED = "not-reached"

#: The season is not known so far, or the cover not well enough.
NOT_KNOWN = "not-known"

#: There is no call for it.
NOT_NEEDED = "not-needed"

#: The time for it has most likely gone by.
PAST = "past"

#: It has been done.
DONE = "done"

#: The stand is dead.
DEAD = "dead"

WHY = (NOT_ASKED_FOR, NOT_REACHED, NOT_KNOWN, NOT_NEEDED, PAST, DONE, DEAD)
