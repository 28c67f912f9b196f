"""JSON pointers against the examples of the standard itself."""

import json

import pytest

from roewatch.intake.document import document, member, parts_of

# RFC 6901, "JavaScript Object Notation (JSON) Pointer", IETF 2013, section 5:
# https://www.rfc-editor.org/rfc/rfc6901#section-5
SECTION_5 = r"""{
  "foo": ["bar", "baz"],
  "": 0,
  "a/b": 1,
  "c%d": 2,
  "e^f": 3,
  "g|h": 4,
  "i\\j": 5,
  "k\"l": 6,
  " ": 7,
  "m~n": 8
}"""


@pytest.mark.parametrize(
    ("pointer", "value"),
    [
        ("", json.loads(SECTION_5)),
        ("/foo", ["bar", "baz"]),
        ("/foo/0", "bar"),
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ('/k"l', 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ],
)
def test_the_standards_pointers_lead_where_it_says(pointer: str, value: object) -> None:
    assert member(document(SECTION_5.encode()), parts_of(pointer)) == value


@pytest.mark.parametrize("pointer", ["/foo/2", "/foo/-", "/foo/00", "/foo/+1", "/foo/0/0", "/bar"])
def test_a_pointer_to_nothing_is_unreadable(pointer: str) -> None:
    # section 4: leading zeros and signs are no indices, "-" is the element that does not exist yet
    with pytest.raises(ValueError, match="nothing at"):
        member(document(SECTION_5.encode()), parts_of(pointer))
