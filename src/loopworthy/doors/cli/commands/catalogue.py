"""``loopworthy catalogue``: the steps, evidence, changes, bounds and holds that verdicts are made by."""

from __future__ import annotations

from collections.abc import Iterable
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from loopworthy.doors.cli.base import Group, argument, helped, say
from loopworthy.doors.cli.settings import Settings
from loopworthy.vocabulary.errors import UnknownNameError

if TYPE_CHECKING:
    from loopworthy.judgement.catalogue.model import Catalogue

catalogue = Group("catalogue", help=helped("catalogue"), no_args_is_help=True)


@catalogue.command("show", help=helped("catalogue_show"))
@argument("name", "catalogue_name", required=False)
@click.pass_obj
def show_one(settings: Settings, name: str | None) -> None:
    """Show what the catalogue holds, or one entry of it."""
    from loopworthy.bootstrap import catalogue_for

    known = catalogue_for(settings.owner_texts())
    if name is None:
        counts = _counts(known)
        settings.answer(
            lambda: {"revision": known.revision, "digest": known.digest, **counts},
            lambda: [
                say("catalogue", revision=known.revision, digest=known.digest[:16]),
                *(f"  {say(f'counted_{what}', count=count)}" for what, count in counts.items()),
                *(f"  {one.id} {one.title}: {', '.join(one.needs)}" for one in known.holds),
            ],
        )
        return
    told, lines = _entry(known, name)
    settings.answer(lambda: told, lambda: lines)


@catalogue.command("check", help=helped("catalogue_check"))
@argument("files", "owner_files", nargs=-1, type=click.Path(dir_okay=False, path_type=Path))
@click.pass_obj
def check(settings: Settings, files: tuple[Path, ...]) -> None:
    """Read the catalogue with an owner's files and tell what they add and tighten."""
    from dataclasses import replace

    from loopworthy.bootstrap import catalogue_for

    chosen = replace(settings, owner_files=(*settings.owner_files, *files))
    shipped, known = catalogue_for(), catalogue_for(chosen.owner_texts())
    added = [one for one in known.steps.values() if one.id not in shipped.steps]
    tightened = [
        (one, shipped.limits[one.id])
        for one in known.limits.values()
        if one.id in shipped.limits and one != shipped.limits[one.id]
    ]
    settings.answer(
        lambda: {
            "revision": known.revision,
            "digest": known.digest,
            **_counts(known),
            "files": [path.name for path in chosen.owner_files],
            "added": [{"step": one.id, "title": one.title} for one in added],
            "tightened": [
                {"limit": one.id, "value": one.value, "before": before.value, "unit": one.unit, "source": one.source}
                for one, before in tightened
            ],
        },
        lambda: [
            say("catalogue_reads", files=", ".join(path.name for path in chosen.owner_files) or say("none")),
            *(f"  {say('adds_step', step=one.id, title=one.title)}" for one in added),
            *(
                f"  {say('tightens', limit=one.id, before=before.value, value=one.value, unit=one.unit)}"
                for one, before in tightened
            ),
        ],
    )


def _counts(known: Catalogue) -> dict[str, int]:
    return {
        "steps": len(known.steps),
        "evidence": len(known.evidence),
        "changes": len(known.changes),
        "bounds": len(known.bounds),
        "holds": len(known.holds),
        "pages": len(known.pages),
        "limits": len(known.limits),
    }


def _entry(known: Catalogue, name: str) -> tuple[Any, Iterable[str]]:
    import msgspec

    from loopworthy.doors.cli import plain, show

    upper = name.upper()
    if name in known.steps or upper in known.steps:
        step = known.steps.get(name) or known.steps[upper]
        return plain.step(step), show.step(None, step)
    if upper in known.evidence:
        kind = known.evidence[upper]
        told = {
            **msgspec.to_builtins(kind),
            "made_by": [step.id for step in known.steps_making[kind.id]],
            "changed_by": [f"{rule.change}: {rule.effect.value}" for rule in known.rules_hitting[kind.id]],
        }
        return told, _kind_lines(known, upper)
    if name in known.changes:
        return plain.change(known.changes[name]), show.change(known.changes[name])
    for hold in known.holds:
        if hold.id == upper:
            lines = [f"{hold.id} {hold.title}"]
            lines += [f"  {kind}: {known.evidence[kind].title}" for kind in hold.needs]
            return {"hold": hold.id, "title": hold.title, "needs": hold.needs, "when": hold.when.describe()}, lines
    for page in known.pages:
        if page.id == name:
            steps = [one for one in known.steps.values() if one.page == page.id]
            lines = [f"{page.id}: {page.title} ({page.hold})", *(f"  {one.id} {one.title}" for one in steps)]
            return {**msgspec.to_builtins(page), "steps": [one.id for one in steps]}, lines
    places = (*(one.id for one in known.holds), *(one.id for one in known.pages))
    names = (*known.steps, *known.evidence, *known.changes, *places)
    raise UnknownNameError("entry of the catalogue", name, names)


def _kind_lines(known: Catalogue, name: str) -> Iterable[str]:
    kind = known.evidence[name]
    yield f"{kind.id} {kind.title}"
    yield f"  {say('kind_produced_by', text=kind.produced_by)}"
    yield f"  {say('kind_voided_by', text=kind.voided_by)}"
    yield f"  {say('kind_expires', text=kind.expires, origin=kind.origin.value)}"
    if kind.recheck_by:
        yield f"  {say('kind_recheck', step=kind.recheck_by)}"
    if kind.not_proven:
        yield f"  {say('not_proven', not_proven=kind.not_proven)}"
    yield f"  {say('kind_made_by', steps=', '.join(step.id for step in known.steps_making[name]))}"
