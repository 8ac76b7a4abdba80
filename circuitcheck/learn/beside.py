"""A student's case beside the planner: what each measurement was worth, and what ``next`` comes to."""

from __future__ import annotations

from dataclasses import replace
from multiprocessing import get_context
from multiprocessing.connection import Connection

from circuitcheck.errors import CircuitcheckError
from circuitcheck.harness.load import load_harness
from circuitcheck.learn.case import Case, draw_case
from circuitcheck.learn.debrief import Debrief, Followed
from circuitcheck.learn.follow import follow
from circuitcheck.learn.workshop import Workshop
from circuitcheck.learn.worth import worth_of
from circuitcheck.locate.locate import Locator
from circuitcheck.plan.planner import Planner


class Ahead:
    """The case followed in a process of its own, while the student is at work on it.

    It ends with the process that began it, and can be left unread.
    """

    def __init__(self, source: str, level: int, seed: int, *, thorough: bool = False) -> None:
        context = get_context("spawn")
        self._answer, end = context.Pipe(duplex=False)
        self._process = context.Process(
            target=_work, args=(end, source, level, seed, thorough), daemon=True
        )
        self._process.start()
        end.close()

    def followed(self) -> Followed | None:
        """What came of it, waited for; None if it came to grief."""
        try:
            found = self._answer.recv()
        except EOFError:
            return None
        assert isinstance(found, Followed)
        return found


def _work(answer: Connection, source: str, level: int, seed: int, thorough: bool) -> None:
    """Follow ``next`` on a case, and hand back what came of it."""
    try:
        harness = load_harness(source)
        planner = Planner(harness, Locator(harness))
        answer.send(follow(draw_case(harness, level, seed), planner, thorough=thorough))
    except (CircuitcheckError, ValueError, RuntimeError):
        answer.close()  # told by its silence; the debrief then does without


def set_beside_next(
    found: Debrief, workshop: Workshop, followed: Followed | None = None, *, thorough: bool = False
) -> Debrief:
    """A debrief with what each measurement was worth, and what following ``next`` comes to.

    Takes seconds: the planner works out everything that could be tested, again and again.

    :param followed: if it has been worked out already
    :param thorough: what following ``next --thorough`` comes to
    """
    planner = Planner(workshop.harness, Locator(workshop.harness))
    worths = worth_of(workshop.case, workshop.log, planner)
    told = tuple(
        replace(one, could=worth.could, told=worth.told) if worth else one
        for one, worth in zip(found.told, worths, strict=True)
    )
    return replace(found, told=told, followed=followed or _followed(workshop.case, planner, thorough))


def _followed(case: Case, planner: Planner, thorough: bool) -> Followed | None:
    """What following ``next`` comes to; None where it asks for what cannot be said in practice."""
    try:
        return follow(case, planner, thorough=thorough)
    except RuntimeError:
        return None
