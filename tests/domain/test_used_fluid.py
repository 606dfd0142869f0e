"""Which waste codes are offered where a yard is."""

import pytest

from service.domain.used_fluid import STREAM_RULES, WasteStream, codes_in


@pytest.mark.parametrize("region", ["DE", "DE-BY", "GB", "NO", "", None])
def test_the_european_list_is_offered_where_it_holds_and_where_nobody_said_where_the_yard_is(region):
    """Directive 2008/98/EC, article 7, and the guide of the United Kingdom (from memory: it is EEA law as well)."""
    assert codes_in(WasteStream.COOLANT, region) == STREAM_RULES[WasteStream.COOLANT].codes


@pytest.mark.parametrize("region", ["US", "US-CA", "AU", "CA-QC"])
def test_elsewhere_no_code_is_offered(region):
    """40 CFR part 279 of the United States, for one, has none of these codes."""
    assert codes_in(WasteStream.LUBRICATING_OIL, region) == ()
