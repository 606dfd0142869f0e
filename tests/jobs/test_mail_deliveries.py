"""A published list by mail: the list attached, one recipient a mail, and a way to end it."""

import io
from datetime import timedelta
from email import message_from_bytes, policy

import pytest
from pypdf import PdfReader

from service.clients.mail import mailer_for
from service.errors import NotFoundError
from service.store.tables.organisation import Organisation
from service.usecases.access.caller import system_caller
from service.usecases.deliveries import subscribe
from tests.clients.inbox import receiving
from tests.jobs.conftest import FRIDAY_MORNING, Node, Workshop
from tests.jobs.vans import add_due_van


def test_a_list_comes_as_text_html_and_pdf(workshop, database, clock):
    with receiving() as inbox:
        node = Node(database, clock, mailer=mailer_for(inbox.url))
        row = workshop.subscribe("workshop@example.org", "mail")
        workshop.subscribe("other@example.org", "mail")
        node.publish()
        node.send()
    assert sorted(envelope.rcpt_tos for envelope in inbox.envelopes) == [
        ["other@example.org"],
        ["workshop@example.org"],
    ]
    mails = [message_from_bytes(envelope.content, policy=policy.default) for envelope in inbox.envelopes]
    mail = next(one for one in mails if one["To"] == "workshop@example.org")
    assert [part.get_content_type() for part in mail.walk() if not part.is_multipart()] == [
        "text/plain",
        "text/html",
        "application/pdf",
    ]
    assert mail["Subject"] == "Due list 2026-W19: 0 lines, Invented Haulage"
    assert mail["Message-ID"] == f"<due-list.{row.organisation_id}.2026-W19.{row.id}@fleet.example.org>"
    stop = f"<https://fleet.example.org/v1/unsubscribe/{row.unsubscribe_code}>"
    # RFC 8058: one click needs both headers, and an https address.
    assert mail["List-Unsubscribe"].replace("\n ", "") == stop
    assert mail["List-Unsubscribe-Post"] == "List-Unsubscribe=One-Click"
    (attached,) = mail.iter_attachments()
    assert attached.get_filename() == "due-list-2026-W19.pdf"
    assert "2026-W19" in PdfReader(io.BytesIO(attached.get_content())).pages[0].extract_text()


@pytest.mark.parametrize(("vans", "told"), [(("VAN-1",), "1 line"), (("VAN-1", "VAN-2"), "2 lines")])
def test_a_subject_counts_lines_as_people_do(operator, database, clock, vans, told):
    clock.present = FRIDAY_MORNING
    for van in vans:
        add_due_van(operator, van, "2026-05-06")
    with receiving() as inbox:
        node = Node(database, clock, mailer=mailer_for(inbox.url))
        Workshop(database, clock, system_caller(operator.organisation_id, "test")).subscribe(
            "workshop@example.org", "mail"
        )
        node.publish()
        node.send()
    mail = message_from_bytes(inbox.envelopes[-1].content, policy=policy.default)
    assert mail["Subject"] == f"Due list 2026-W19: {told}, Invented Haulage"


def test_a_name_with_markup_stays_text(found, database, clock):
    with receiving() as inbox:
        workshop = found("<b>Öl & Söhne</b>, Inc.; =cmd")
        workshop.subscribe("workshop@example.org", "mail")
        node = Node(database, clock, mailer=mailer_for(inbox.url))
        node.publish()
        node.send()
    mail = message_from_bytes(inbox.envelopes[0].content, policy=policy.default)
    assert mail["Subject"].endswith("<b>Öl & Söhne</b>, Inc.; =cmd")
    assert "<b>" not in mail.get_body(["html"]).get_content()


def test_a_name_that_would_be_a_header_is_no_header_and_stops_no_other_mail(found, database, clock):
    """No door lets such a name in; written into the table by hand it still adds no recipient."""
    with receiving() as inbox:
        evil, other = found("Evil"), found("Other")
        for workshop in (evil, other):
            workshop.subscribe("workshop@example.org", "mail")
        with database.transaction() as session:
            session.get(
                Organisation, evil.caller.organisation_id
            ).name = "Evil\r\nBcc: spy@example.org\r\n\r\nX"
        node = Node(database, clock, mailer=mailer_for(inbox.url))
        node.publish()
        node.send()
    (envelope,) = inbox.envelopes
    assert envelope.rcpt_tos == ["workshop@example.org"]
    assert b"spy@" not in envelope.content
    assert [row.state for row in evil.messages() + other.messages()] == ["waiting", "sent"]


def test_the_server_away_or_one_address_refused_loses_nothing(workshop, database, clock):
    with receiving() as inbox:
        port_of_the_day = inbox.url
    workshop.subscribe("workshop@example.org", "mail")
    workshop.subscribe("refused@example.org", "mail")
    node = Node(database, clock, mailer=mailer_for(port_of_the_day))
    node.publish()
    node.send()
    assert {row.state for row in workshop.messages()} == {"waiting"}
    clock.advance(timedelta(hours=1))
    with receiving() as inbox:
        Node(database, clock, mailer=mailer_for(inbox.url)).send()
    assert [envelope.rcpt_tos for envelope in inbox.envelopes] == [["workshop@example.org"]]
    sent, refused = workshop.messages()
    assert (sent.state, refused.state) == ("sent", "waiting")
    assert "550" in refused.last_error


def test_a_copy_after_a_kill_has_the_same_message_id(workshop, database, clock, monkeypatch):
    from service.usecases.deliveries import deliver

    def die(*_arguments):
        raise RuntimeError("killed")

    with receiving() as inbox:
        node = Node(database, clock, mailer=mailer_for(inbox.url))
        workshop.subscribe("workshop@example.org", "mail")
        node.publish()
        monkeypatch.setattr(deliver, "settle_sent", die)
        node.send()
        monkeypatch.undo()
        clock.advance(node.deliveries.lease)
        node.send()
        node.send()
    mails = [message_from_bytes(envelope.content) for envelope in inbox.envelopes]
    assert len(mails) == 2
    assert len({mail["Message-ID"] for mail in mails}) == 1


def test_a_reader_can_end_the_mails(workshop, node, clock):
    row = workshop.subscribe("workshop@example.org", "mail")
    with workshop.database.transaction() as session:
        subscribe.unsubscribe(session, clock.now(), row.unsubscribe_code)
        with pytest.raises(NotFoundError):
            subscribe.unsubscribe(session, clock.now(), "made-up")
    node.publish()
    assert workshop.messages() == []
