"""What is meant for rehearsals does not start in production (OWASP ASVS 5.0, 13.4)."""

import pytest
from pydantic import ValidationError

from service.settings import Settings

KEY = "a-secret-of-more-than-thirty-two-characters"
FOR_REHEARSALS = {
    "test_clock_start": "2026-05-04T08:00:00Z",
    "test_clock_speed": 60.0,
    "test_clock_skew_seconds": -90.0,
    "test_clock_epoch_seconds": 1.0,
    "smtp_url": "file:///tmp/mails",
    "outbound_allow": "10.1.0.0/16, 127.0.0.0/8",
}


@pytest.mark.parametrize("name", FOR_REHEARSALS)
def test_production_does_not_start_with_a_setting_for_rehearsals(name):
    given = {name: FOR_REHEARSALS[name]}
    with pytest.raises(ValidationError, match=f"SUMPWISE_{name.upper()[:9]}"):
        Settings(environment="production", secret_key=KEY, **given)
    assert getattr(Settings(environment="test", **given), name) is not None


@pytest.mark.parametrize("networks", ["127.0.0.1/32", "127.8.0.0/16", "0.0.0.0/0", "::1/128", "::/0"])
def test_production_calls_nobody_on_its_own_machine(networks):
    with pytest.raises(ValidationError, match="SUMPWISE_OUTBOUND_ALLOW"):
        Settings(environment="production", secret_key=KEY, outbound_allow=networks)


def test_production_takes_networks_of_the_operator_and_a_mail_server():
    allowed = {"outbound_allow": "10.1.0.0/16, fd00::/8", "smtp_url": "smtp://mail.example.org:587"}
    assert Settings(environment="production", secret_key=KEY, **allowed).outbound_allow


@pytest.mark.parametrize("key", ["", "short"])
def test_production_has_a_secret_key(key):
    with pytest.raises(ValidationError, match="SUMPWISE_SECRET_KEY"):
        Settings(environment="production", secret_key=key)
