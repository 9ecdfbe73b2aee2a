"""``loopworthy hold``: the hold points of a unit, and passing one on the evidence of the moment."""

from __future__ import annotations

import click

from loopworthy.doors.cli.base import Group, argument, helped, say
from loopworthy.doors.cli.names import Known
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.identity import short

hold = Group("hold", help=helped("hold"), no_args_is_help=True)


@hold.command("list", help=helped("hold_list"))
@argument("unit", "unit", type=Known("unit"))
@click.pass_obj
def list_all(settings: Settings, unit: str) -> None:
    """List a unit's hold points, who passed them last, and whether the record still says the same."""
    from loopworthy.doors.cli import plain
    from loopworthy.judgement.replay import check_passings

    workplace = settings.open()
    found = workplace.unit(unit)
    words = settings.words(workplace)
    verdict = workplace.verdict(found, words.clock.now)
    passings = workplace.book().passings.get(found, [])
    disagreements = check_passings(workplace.record.events(), workplace.catalogue, found)
    settings.answer(
        lambda: {
            "holds": [plain.hold(words, one) for one in verdict.holds],
            "passings": [
                {
                    "event": one.event,
                    "hold": one.passed.hold,
                    "verdict": one.passed.verdict,
                    "passed_at": one.occurred.at,
                    "passed_by": workplace.name(one.person) or None,
                }
                for one in passings
            ],
            "disagreements": [
                {
                    "event": one.event,
                    "hold": one.hold,
                    "said": one.said,
                    "found": one.found,
                    "catalogue_differs": one.catalogue_differs,
                }
                for one in disagreements
            ],
        },
        lambda: [
            *(
                f"{say('hold', hold=one.hold.id, title=one.hold.title, word=one.word.value)}; "
                f"{words.hold_sentence(one)}"
                for one in verdict.holds
            ),
            *(
                say(
                    "was_passed",
                    hold=one.passed.hold,
                    when=words.clock.when(one.occurred.epoch_ms),
                    who=workplace.name(one.person) or say("nobody"),
                    word=one.passed.verdict,
                )
                for one in passings
            ),
            *(
                say("disagrees", event=short(one.event), hold=one.hold, said=one.said, found=one.found)
                for one in disagreements
            ),
        ],
    )


@hold.command("pass", help=helped("hold_pass"))
@argument("unit", "unit", type=Known("unit"))
@argument("hold_id", "hold", metavar="HOLD", type=Known("hold"))
@click.pass_obj
def pass_one(settings: Settings, unit: str, hold_id: str) -> None:
    """Record that somebody passes a hold point on the verdict of this moment."""
    from loopworthy.desk.mending import pass_hold

    workplace = settings.open()
    found = workplace.unit(unit)
    person = settings.actor(workplace)
    event = pass_hold(workplace, found, hold_id.strip().upper(), person=person)
    settings.answer(
        lambda: {"recorded": [{"event": event, "kind": "judgement.hold-passed"}]},
        lambda: [say("recorded_passing", hold=hold_id.upper(), unit=workplace.name(found), event=short(event))],
    )
