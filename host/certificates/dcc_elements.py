"""Elements of a digital calibration certificate."""

import xml.etree.ElementTree as ET
from collections.abc import Sequence

from calibration.uncertainty.budget import COVERAGE_PROBABILITY
from host.certificates.dcc_units import dsi_unit

DCC = "https://ptb.de/dcc"
SI = "https://ptb.de/si"
NOT_STATED = "not stated"


def dcc(parent: ET.Element, name: str, text: str | None = None, **attributes: str) -> ET.Element:
    """A new element of the certificate's own namespace."""
    element = ET.SubElement(parent, f"{{{DCC}}}{name}", attributes)
    element.text = text
    return element


def si(parent: ET.Element, name: str, text: str | None = None) -> ET.Element:
    """A new element of the D-SI namespace."""
    element = ET.SubElement(parent, f"{{{SI}}}{name}")
    element.text = text
    return element


def said(parent: ET.Element, name: str, *texts: str) -> ET.Element:
    """An element that holds texts; one that says nothing says so."""
    element = dcc(parent, name)
    for text in texts or (NOT_STATED,):
        dcc(element, "content", text or NOT_STATED, lang="en")
    return element


def one_line(parent: ET.Element, name: str, text: str) -> ET.Element:
    """An element that must not be empty."""
    return dcc(parent, name, text or NOT_STATED)


def contact(
    parent: ET.Element, name: str, person: str, address: str = "", *, located: bool = True
) -> ET.Element:
    """A contact; its address is one text, since the shop types it as one."""
    element = dcc(parent, name)
    said(element, "name", person)
    if located:
        said(dcc(element, "location"), "further", address)
    return element


def statement(parent: ET.Element, tag: str, name: str, *texts: str, ref_type: str = "") -> ET.Element:
    """A named statement."""
    element = dcc(parent, tag, **({"refType": ref_type} if ref_type else {}))
    said(element, "name", name)
    said(element, "declaration", *texts)
    return element


def number_list(
    parent: ET.Element,
    texts: Sequence[str],
    unit: str,
    *,
    u_texts: Sequence[str] = (),
    k_texts: Sequence[str] = (),
    labels: Sequence[str] = (),
) -> ET.Element:
    """Numbers in the characters of the paper, each with its unit and, where given, its expanded uncertainty.

    Raises
    ------
    ValueError
        If the lists are not of one length: the schema would let that pass.
    """
    if labels and len(labels) != len(texts):
        raise ValueError(f"{len(texts)} values and {len(labels)} labels")
    if u_texts and not len(texts) == len(u_texts) == len(k_texts):
        raise ValueError(f"{len(texts)} values, {len(u_texts)} uncertainties and {len(k_texts)} factors")
    element = si(parent, "realListXMLList")
    if labels:
        si(element, "labelXMLList", " ".join(labels))
    si(element, "valueXMLList", " ".join(text or "NaN" for text in texts))
    si(element, "unitXMLList", " ".join([dsi_unit(unit)] * len(texts)))
    if u_texts:
        outer = si(si(element, "measurementUncertaintyUnivariateXMLList"), "expandedMUXMLList")
        si(outer, "valueExpandedMUXMLList", " ".join(u_texts))
        si(outer, "coverageFactorXMLList", " ".join(k_texts))
        si(outer, "coverageProbabilityXMLList", " ".join([str(COVERAGE_PROBABILITY)] * len(texts)))
    return element
