"""The same form sent twice records once.

Every form that is sent carries a name made by chance when it was drawn (an act), and what it records carries it too. A
double tap, a page sent again after going back, or after the server was started anew, is answered with what was
recorded the first time. A form that was refused keeps its name until it has recorded something.
"""

from __future__ import annotations

import re
import secrets
from typing import Final

from markupsafe import Markup

from loopworthy.doors.web.answers import Answer, SeeOther
from loopworthy.doors.web.asked import Asked
from loopworthy.doors.web.routes import Handler
from loopworthy.record.acts import RecordedBeforeError
from loopworthy.record.record import Record
from loopworthy.vocabulary.errors import InputError

ACT: Final = "once"
"""The name of the hidden field."""

_FORM: Final = r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}"
_SHAPE: Final = re.compile(_FORM + r":[0-9a-f]{32}\Z")


def act_in(text: str) -> str:
    """The act that a form or an address names; '' where it names none.

    Raises
    ------
    InputError
        If it is not one that a form of this program was drawn with.
    """
    if text and not _SHAPE.match(text):
        raise InputError(
            ACT, text[:80], "what the form was drawn with", next_step="Open the page anew and send it again"
        )
    return text


def once(asked: Asked, handler: Handler) -> Answer:
    """Answer a request; one that was sent before is answered with what it recorded then."""
    act = act_in(asked.form.get(ACT)) if asked.posts else ""
    if not act:
        return handler(asked)
    record = asked.workplace.record
    before = SeeOther(address=asked.links.recorded(act))
    if record.events_of_act(act):
        return before
    try:
        with record.acting(act):
            return handler(asked)
    except RecordedBeforeError:  # another program on the same file was faster
        return before


def act_field(record: Record, form: str, sent: str = "") -> Markup:
    """The hidden field of a form.

    Parameters
    ----------
    form : str
        Tells the forms of one page apart.
    sent : str
        The act of the form that was sent and is drawn again; it is kept where it belongs to this form and recorded
        nothing.
    """
    kept = sent.startswith(f"{form}:") and bool(_SHAPE.match(sent)) and not record.events_of_act(sent)
    act = sent if kept else f"{form}:{secrets.token_hex(16)}"
    return Markup('<input type="hidden" name="{}" value="{}">').format(ACT, act)
