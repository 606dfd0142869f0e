"""The mail that brings a published due list: text, HTML, and the list as PDF."""

from dataclasses import dataclass
from datetime import datetime
from email.message import EmailMessage
from email.utils import format_datetime
from html import escape
from typing import Final
from urllib.parse import urlsplit

from service.store.repositories.due_lists import day_of
from service.store.tables.operations import OutboxMessage
from service.store.tables.subscriptions import Subscription
from service.usecases.week.render_due_list import FileKind, presentation_of, render_due_list
from service.usecases.week.show_due_list import ShownList

LISTED_LINES: Final = 40
"""Lines in the text itself; all of them are in the attachment."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Sender:
    """Who sends, and where this service is reached."""

    mail_from: str
    public_url: str

    @property
    def domain(self) -> str:
        """Right-hand side of identifiers."""
        return urlsplit(self.public_url).hostname or "sumpwise.invalid"


def compose_mail(
    shown: ShownList, message: OutboxMessage, receiver: Subscription, sender: Sender, now: datetime
) -> EmailMessage:
    """Write the mail for one recipient; the same message has the same Message-ID over all tries."""
    n_lines = "1 line" if len(shown.lines) == 1 else f"{len(shown.lines)} lines"
    subject = f"Due list {shown.week}: {n_lines}, {shown.organisation.name}"
    link = f"{sender.public_url}/due-lists/{shown.week}"
    stop = f"{sender.public_url}/v1/unsubscribe/{receiver.unsubscribe_code}"
    mail = EmailMessage()
    mail["Subject"] = subject
    mail["From"] = sender.mail_from
    mail["To"] = receiver.target
    mail["Date"] = format_datetime(message.created_at)
    mail["Message-ID"] = f"<{message.message_key.replace('/', '.')}@{sender.domain}>"
    mail["Auto-Submitted"] = "auto-generated"
    mail["List-Unsubscribe"] = f"<{stop}>"
    mail["List-Unsubscribe-Post"] = "List-Unsubscribe=One-Click"
    lines = _lines(shown)
    mail.set_content("\n".join([subject, "", *lines, "", link, "", f"To end these mails: {stop}", ""]))
    mail.add_alternative(_html(subject, lines, link, stop), subtype="html")
    content, name = render_due_list(shown, FileKind.PDF, now, sender.public_url)
    mail.add_attachment(content, maintype="application", subtype="pdf", filename=name)
    return mail


def _lines(shown: ShownList) -> list[str]:
    told = []
    presentation = presentation_of(shown.organisation)
    for line, events in shown.lines[:LISTED_LINES]:
        planned_on = day_of(line, events)
        day = presentation.day(planned_on) if planned_on else "no day yet"
        told.append(f"{day}  {line.vehicle}, {line.compartment}: {presentation.sentence(line.reason)}")
    more = len(shown.lines) - len(told)
    return [*told, f"… and {more} more in the attachment."] if more > 0 else told or ["Nothing is due."]


def _html(subject: str, lines: list[str], link: str, stop: str) -> str:
    items = "".join(f"<li>{escape(line)}</li>" for line in lines)
    return (
        f'<!doctype html><html lang="en"><head><meta charset="utf-8"><title>{escape(subject)}</title></head>'
        f"<body><h1>{escape(subject)}</h1><ul>{items}</ul>"
        f'<p><a href="{escape(link)}">Open the list</a></p>'
        f'<p><a href="{escape(stop)}">End these mails</a></p></body></html>'
    )
