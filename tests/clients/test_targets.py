"""Where a webhook may lead: public machines over TLS, and what the operator named."""

import pytest

from service.clients.addresses import is_public, parse_networks
from service.clients.targets import TargetRules
from service.errors import InvalidInputError, UpstreamError

PUBLIC = "93.184.215.14"


def rules_for(addresses, allowed=""):
    return TargetRules(parse_networks(allowed), lambda _host, _port: addresses)


# Server-side request forgery as OWASP's prevention cheat sheet and ASVS 5.0 (1.3.6, 13.2.4) describe it: other ways to
# write the loopback, private and link-local ranges of RFC 6890, and IPv4 addresses inside IPv6 ones.
@pytest.mark.parametrize(
    "url",
    [
        "http://127.0.0.1/",
        "https://127.0.0.1/",
        "https://127.1/",
        "https://0x7f000001/",
        "https://2130706433/",
        "https://0177.0.0.1/",
        "https://localhost/",
        "https://localhost./",
        "https://0.0.0.0/",
        "https://0/",
        "https://[::1]/",
        "https://[::]/",
        "https://[::ffff:127.0.0.1]/",
        "https://[::ffff:7f00:1]/",
        "https://[::127.0.0.1]/",
        "https://[64:ff9b::127.0.0.1]/",
        "https://[64:ff9b:1::7f00:1]/",
        "https://[2002:7f00:1::]/",
        "https://[2001:0:1::1]/",
        "https://[fe80::1]/",
        "https://[fe80::1%25lo]/",
        "https://[fc00::1]/",
        "https://[fec0::1]/",
        "https://[ff02::1]/",
        "https://10.0.0.1/",
        "https://172.16.0.1/",
        "https://192.168.1.1/",
        "https://100.64.0.1/",
        "https://169.254.169.254/latest/meta-data/",
        "https://168.63.129.16/",
        "https://192.88.99.1/",
        "https://198.18.0.1/",
        "https://224.0.0.1/",
        "https://240.0.0.1/",
        "https://255.255.255.255/",
        "http://93.184.215.14/",
        "https://93.184.215.14:22/",
        "https://93.184.215.14:25/",
        "https://93.184.215.14:6379/",
        "https://93.184.215.14:0/",
        "https://93.184.215.14:99999/",
        "https://user@93.184.215.14/",
        "https://93.184.215.14#@127.0.0.1/",
        "https://93.184.215.14\\@127.0.0.1/",
        "https://93.184.215.14 .example/",
        "https:///hook",
        "https://",
        "//93.184.215.14/",
        "ftp://93.184.215.14/",
        "file:///etc/hostname",
        "gopher://93.184.215.14:443/_",
        "javascript:alert(1)",
        "https://93.184.215.14/\r\nX-Injected: 1",
        "https://ⓛocalhost/",
        "https://93.184.215.14/" + "a" * 500,
    ],
)
def test_addresses_that_are_refused(url):
    with pytest.raises((InvalidInputError, UpstreamError)):
        TargetRules().find_route(url)


def test_a_public_machine_over_tls_is_taken_and_pinned():
    route = rules_for([PUBLIC]).find_route("https://hooks.example.org/a?b=1")
    assert (route.host, route.port, route.address) == ("hooks.example.org", 443, PUBLIC)
    assert route.pinned_url == f"https://{PUBLIC}:443/a?b=1"
    assert route.host_header == "hooks.example.org"
    assert rules_for(["2606:4700::1111"]).find_route("https://x.example:8443/").pinned_url == (
        "https://[2606:4700::1111]:8443/"
    )


def test_a_name_is_refused_when_any_of_its_addresses_is_private():
    with pytest.raises(InvalidInputError):
        rules_for([PUBLIC, "10.0.0.7"]).find_route("https://hooks.example.org/")
    with pytest.raises(UpstreamError):
        rules_for([]).find_route("https://hooks.example.org/")


def test_the_operator_s_networks_are_reached_by_plain_http_but_not_their_databases():
    rules = rules_for(["10.1.2.3"], "10.1.0.0/16, fd00::/8")
    assert rules.find_route("http://hooks.internal/").port == 80
    assert rules.find_route("http://hooks.internal:18080/").port == 18080
    for port in (22, 25, 5432, 6379, 9200):
        with pytest.raises(InvalidInputError):
            rules.find_route(f"http://hooks.internal:{port}/")
    with pytest.raises(InvalidInputError):
        rules_for(["10.2.0.1"], "10.1.0.0/16").find_route("https://hooks.internal/")


def test_an_ipv4_address_inside_an_ipv6_one_is_judged_by_the_inner_one():
    """RFC 6052 (NAT64), RFC 3056 (6to4), RFC 4291 2.5.5.2 (mapped)."""
    assert is_public("64:ff9b::5db8:d70e") is True
    assert is_public("64:ff9b::7f00:1") is False
    assert is_public("2002:5db8:d70e::") is True
    assert is_public("2002:c0a8:101::") is False
    assert is_public("::ffff:10.0.0.1") is False


def test_networks_that_are_none_are_told():
    with pytest.raises(InvalidInputError, match=r"10\.1\.0\.0/16"):
        parse_networks("10.1.0.0/99")
