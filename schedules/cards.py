"""The printed card of a household: a code that leads to the answer page."""

import io

import segno

from equipment.models import Site
from schedules.addresses import absolute
from shared import signing
from shared.signing import Purpose


def households(site: Site) -> int:
    """How many people have left the home so far: a card opens for the household that it was printed for."""
    return site.roles.exclude(until=None).count()


def card_token(site: Site) -> str:
    """What opens the answer page of ``site`` for its present household."""
    return signing.make(Purpose.ANSWER, f"site:{site.pk}:{households(site)}")


def answer_code(site: Site) -> dict[str, str]:
    """Address and QR code (SVG text) of the answer page of ``site``."""
    address = absolute("answer", card_token(site))
    return {"address": address, "code": code_of(address)}


def code_of(address: str) -> str:
    """The QR code of an address as SVG text."""
    out = io.BytesIO()
    # With a viewBox and no size of its own the whole code scales, its quiet zone included.
    segno.make(address, error="m").save(out, kind="svg", xmldecl=False, svgns=True, omitsize=True, title="QR")
    return out.getvalue().decode()
