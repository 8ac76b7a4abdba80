"""A student's case beside the planner: what each measurement was worth, and what ``next`` comes to."""

from __future__ import annotations

from dataclasses import replace

from circuitcheck.learn.debrief import Debrief, Followed
from circuitcheck.learn.follow import follow
from circuitcheck.learn.workshop import Workshop
from circuitcheck.learn.worth import worth_of
from circuitcheck.locate.locate import Locator
from circuitcheck.plan.planner import Planner


def set_beside_next(
    found: Debrief, workshop: Workshop, followed: Followed | None = None
) -> Debrief:
    """A debrief with what each measurement was worth, and what following ``next`` comes to.

    Takes seconds: the planner works out everything that could be tested, again and again.

    :param followed: if it has been worked out already
    """
    planner = Planner(workshop.harness, Locator(workshop.harness))
    worths = worth_of(workshop.case, workshop.log, planner)
    told = tuple(replace(one, could=worth.could, told=worth.told) if worth else one
                 for one, worth in zip(found.told, worths, strict=True))  # fmt: skip
    return replace(found, told=told, followed=followed or follow(workshop.case, planner))
