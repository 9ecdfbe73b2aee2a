"""The question about a moment that lies long ago or before what it is about, in the words of a page."""

from __future__ import annotations

from loopworthy.desk.late import LateMomentError
from loopworthy.doors.web.asked import Asked


def question_about(asked: Asked, problem: object) -> str:
    """What to ask where a form was refused because of its moment; '' where it was refused for something else."""
    if not isinstance(problem, LateMomentError):
        return ""
    clock = asked.words.clock
    when = asked.say("late.when", when=clock.when(problem.moment.epoch_ms), days=problem.days)
    if problem.since is None:
        return asked.say("late.long_ago", when=when)
    since = clock.when(problem.since.epoch_ms)
    return asked.say(f"late.{problem.code.replace('-', '_')}", when=when, what=problem.what, since=since)
