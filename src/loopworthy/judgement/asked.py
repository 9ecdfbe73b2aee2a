"""Which steps are asked for a kind of evidence at a hold point.

A step belongs to the first hold at which it is asked (its page's), so a later step is never asked earlier. Steps that
are only asked on request count where nothing else makes the evidence.
"""

from __future__ import annotations

from loopworthy.judgement.catalogue.model import Catalogue, Step
from loopworthy.unit.configuration import Configuration


def hold_of(catalogue: Catalogue, step: Step) -> str:
    """The first hold point at which a step is asked."""
    return next(page.hold for page in catalogue.pages if page.id == step.page)


def asked_steps(catalogue: Catalogue, kind: str, hold: str, configuration: Configuration) -> tuple[Step, ...]:
    """The steps that make a kind of evidence for a unit so configured, by the time of a hold point."""
    # A record of weeks asks this thousands of times for the same few answers; they were a sixth of its fold.
    key = (kind, hold, tuple(configuration.choices.items()))
    known = catalogue.asked.get(key)
    if known is None:
        known = catalogue.asked[key] = _asked_steps(catalogue, kind, hold, configuration)
    return known


def _asked_steps(catalogue: Catalogue, kind: str, hold: str, configuration: Configuration) -> tuple[Step, ...]:
    place = {one.id: number for number, one in enumerate(catalogue.holds)}
    page_place = {page.id: place[page.hold] for page in catalogue.pages}
    applicable = tuple(
        step
        for step in catalogue.steps_making[kind]
        if page_place[step.page] <= place[hold] and step.when.holds(configuration)
    )
    return tuple(step for step in applicable if not step.on_request) or applicable
