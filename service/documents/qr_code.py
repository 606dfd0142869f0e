"""An address as a drawing that a phone reads."""

import io

import segno

from service.documents.text import clean_text


def qr_svg(address: str, title: str) -> str:
    """Draw an address as a QR code (ISO/IEC 18004) with a title, in black on white so that it scans.

    It has proportions and no size: it is as large as the place that it stands in.
    """
    buffer = io.BytesIO()
    code = segno.make(clean_text(address), error="m", micro=False)
    code.save(buffer, kind="svg", border=4, light="#fff", title=title, omitsize=True, xmldecl=False, nl=False)
    return buffer.getvalue().decode()
