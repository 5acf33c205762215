"""The MusicXML 4.0 schema, loaded without the network.

The schema stands in the package `musicxml`. The two small schemas it imports, of the xml and
xlink attributes, are given here with the attributes that MusicXML uses of them.
"""

from functools import cache
from importlib.util import find_spec
from pathlib import Path
from tempfile import TemporaryDirectory

from lxml import etree

XLINK = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
  targetNamespace="http://www.w3.org/1999/xlink">
  <xs:attribute name="href" type="xs:anyURI"/><xs:attribute name="type" type="xs:string"/>
  <xs:attribute name="role" type="xs:string"/><xs:attribute name="title" type="xs:string"/>
  <xs:attribute name="show" type="xs:string"/><xs:attribute name="actuate" type="xs:string"/>
</xs:schema>"""
XML = b"""<xs:schema xmlns:xs="http://www.w3.org/2001/XMLSchema"
  targetNamespace="http://www.w3.org/XML/1998/namespace">
  <xs:attribute name="lang" type="xs:language"/>
  <xs:attribute name="space">
    <xs:simpleType><xs:restriction base="xs:NCName">
      <xs:enumeration value="default"/><xs:enumeration value="preserve"/>
    </xs:restriction></xs:simpleType>
  </xs:attribute>
</xs:schema>"""


def folder() -> Path:
    found = find_spec("musicxml")
    assert found is not None
    assert found.origin is not None
    return Path(found.origin).parent / "generate_classes"


@cache
def schema() -> etree.XMLSchema:
    with TemporaryDirectory() as name:
        here = Path(name)
        whole = (folder() / "musicxml_4_0.xsd").read_text(encoding="utf-8")
        (here / "musicxml.xsd").write_text(whole.replace("http://www.musicxml.org/xsd/", ""), encoding="utf-8")
        (here / "xml.xsd").write_bytes(XML)
        (here / "xlink.xsd").write_bytes(XLINK)
        return etree.XMLSchema(etree.parse(here / "musicxml.xsd", etree.XMLParser(no_network=True)))


def faults(data: bytes) -> list[str]:
    """What the schema finds wrong in a file, with its lines; nothing in a valid one."""
    checked = schema()
    if checked.validate(etree.fromstring(data)):
        return []
    return [f"line {e.line}: {e.message}" for e in checked.error_log]
