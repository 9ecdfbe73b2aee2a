"""What the label of a part says: the fields that ask for it, and the thing that they describe."""

from __future__ import annotations

from loopworthy.desk.units import NewThing
from loopworthy.doors.web.asked import Asked, Form
from loopworthy.doors.web.fields import Field, text_field
from loopworthy.unit.things import Thing
from loopworthy.vocabulary.reading import Reading, parse_number


def label_fields(asked: Asked, kind: str, form: Form, prefix: str, known: Thing | None = None) -> list[Field]:
    """What a label says beside the serial number: batch and dates, and for a cylinder its size."""
    say = asked.say

    def value(name: str) -> str | None:
        return (getattr(known, name) or None) if known is not None else None

    found = []
    if kind != "cylinder":
        found.append(text_field(f"{prefix}batch", say("parts_page.batch"), form, value=value("batch")))
    made, opened = say("parts_page.made_on"), say("parts_page.opened_on")
    found.append(text_field(f"{prefix}made-on", made, form, kind="date", value=value("made_on")))
    if kind == "cylinder":
        volume = known.attributes.get("volume") if known is not None else None
        typed = form.get(f"{prefix}volume") or (volume.value if isinstance(volume, Reading) else None)
        found.append(
            Field(name=f"{prefix}volume", label=say("parts_page.volume"), kind="number", unit="L", value=typed)
        )
    else:
        found.append(text_field(f"{prefix}opened-on", opened, form, kind="date", value=value("opened_on")))
    return found


def label_in(form: Form, prefix: str) -> NewThing:
    """The thing that these fields describe.

    Raises
    ------
    InputError
        If the volume is no number.
    """
    volume = form.get(f"{prefix}volume")
    attributes: dict[str, str | Reading] = {}
    if volume:
        attributes["volume"] = Reading(value=parse_number(f"{prefix}volume", volume), unit="L")
    return NewThing(
        serial=form.get(f"{prefix}serial"),
        batch=form.get(f"{prefix}batch"),
        made_on=form.get(f"{prefix}made-on"),
        opened_on=form.get(f"{prefix}opened-on"),
        attributes=attributes,
    )
