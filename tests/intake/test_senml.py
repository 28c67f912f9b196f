"""SenML packs: the examples of RFC 8428 itself, and the rules of its sections 4.4 to 4.6.

Source of every pack and every resolved record marked with a section: RFC 8428, "Sensor Measurement
Lists (SenML)", IETF 2018, https://www.rfc-editor.org/rfc/rfc8428.
"""

import json

import pytest

from roewatch.intake.binding import Binding, Format
from roewatch.intake.decode import Decoded, decode
from roewatch.intake.senml import Record, named, resolved
from roewatch.intake.written import UnreadableError
from roewatch.room.moment import at_ms_of_iso
from roewatch.room.quantity import Quantity

NOON = at_ms_of_iso("2026-03-01T12:00:00Z")
DEVICE = "urn:dev:ow:10e2073a01080063"

SECTION_5_1_1 = '[{"n":"urn:dev:ow:10e2073a01080063","u":"Cel","v":23.1}]'

SECTION_5_1_2_NOW = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"voltage","u":"V","v":120.1},
  {"n":"current","u":"A","v":1.2}
]"""

SECTION_5_1_2_TIMED = """[
  {"bn":"urn:dev:ow:10e2073a0108006:","bt":1.276020076001e+09,"bu":"A","bver":5,
   "n":"voltage","u":"V","v":120.1},
  {"n":"current","t":-5,"v":1.2},
  {"n":"current","t":-4,"v":1.3},
  {"n":"current","t":-3,"v":1.4},
  {"n":"current","t":-2,"v":1.5},
  {"n":"current","t":-1,"v":1.6},
  {"n":"current","v":1.7}
]"""

SECTION_5_1_3 = """[
  {"bn":"urn:dev:ow:10e2073a01080063","bt":1.320067464e+09,"bu":"%RH","v":20},
  {"u":"lon","v":24.30621},
  {"u":"lat","v":60.07965},
  {"t":60,"v":20.3},
  {"u":"lon","t":60,"v":24.30622},
  {"u":"lat","t":60,"v":60.07965},
  {"t":120,"v":20.7},
  {"u":"lon","t":120,"v":24.30623},
  {"u":"lat","t":120,"v":60.07966},
  {"u":"%EL","t":150,"v":98},
  {"t":180,"v":21.2},
  {"u":"lon","t":180,"v":24.30628},
  {"u":"lat","t":180,"v":60.07967}
]"""

SECTION_5_1_4 = [  # the pack above, resolved: unit, time, value
    ("%RH", 1.320067464e09, 20),
    ("lon", 1.320067464e09, 24.30621),
    ("lat", 1.320067464e09, 60.07965),
    ("%RH", 1.320067524e09, 20.3),
    ("lon", 1.320067524e09, 24.30622),
    ("lat", 1.320067524e09, 60.07965),
    ("%RH", 1.320067584e09, 20.7),
    ("lon", 1.320067584e09, 24.30623),
    ("lat", 1.320067584e09, 60.07966),
    ("%EL", 1.320067614e09, 98),
    ("%RH", 1.320067644e09, 21.2),
    ("lon", 1.320067644e09, 24.30628),
    ("lat", 1.320067644e09, 60.07967),
]

SECTION_5_1_5 = """[
  {"bn":"urn:dev:ow:10e2073a01080063:","n":"temp","u":"Cel","v":23.1},
  {"n":"label","vs":"Machine Room"},
  {"n":"open","vb":false},
  {"n":"nfv-reader","vd":"aGkgCg"}
]"""

SECTION_5_1_6 = """[
  {"bn":"2001:db8::2/","bt":1.320078429e+09,"n":"temperature","u":"Cel","v":25.2},
  {"n":"humidity","u":"%RH","v":30},
  {"bn":"2001:db8::1/","n":"temperature","u":"Cel","v":12.3},
  {"n":"humidity","u":"%RH","v":67}
]"""


def records(pack: str) -> list[Record]:
    return resolved(json.loads(pack))


def read(pack: str, quantity: Quantity, name: str = "") -> list[tuple[int, float, bool]]:
    binding = Binding(topic="t", probe="p", quantity=quantity, format=Format.SENML, name=name)
    decoded, refused = decode("t", pack.encode(), [binding], arrival_ms=NOON, retained=False)
    assert refused == []
    return [(one.at_ms, one.raw, one.own_time) for one in decoded]


def test_a_single_data_point() -> None:
    assert records(SECTION_5_1_1) == [Record(DEVICE, "Cel", 23.1, 0)]
    assert read(SECTION_5_1_1, Quantity.TEMPERATURE) == [(NOON, 23.1, False)]


def test_a_base_name_goes_before_each_name() -> None:
    assert records(SECTION_5_1_2_NOW) == [
        Record(f"{DEVICE}:voltage", "V", 120.1, 0),
        Record(f"{DEVICE}:current", "A", 1.2, 0),
    ]


def test_times_are_added_to_the_base_time_and_the_base_unit_fills_in() -> None:
    # "current at Tue Jun 8 18:01:16.001 UTC 2010 and at each second for the previous 5 seconds"
    found = records(SECTION_5_1_2_TIMED)
    assert found[0].unit == "V"
    assert [(one.unit, one.value) for one in found[1:]] == [
        ("A", value) for value in (1.2, 1.3, 1.4, 1.5, 1.6, 1.7)
    ]
    last_ms = at_ms_of_iso("2010-06-08T18:01:16.001Z")
    assert [round(one.time_s * 1000) for one in found[1:]] == [
        last_ms - 1000 * back for back in (5, 4, 3, 2, 1, 0)
    ]


def test_the_resolved_pack_is_the_one_the_standard_prints() -> None:
    assert records(SECTION_5_1_3) == [
        Record(DEVICE, unit, value, time) for unit, time, value in SECTION_5_1_4
    ]


def test_quantities_under_one_name_are_told_apart_by_their_units() -> None:
    humid = [(round(time * 1000), value) for unit, time, value in SECTION_5_1_4 if unit == "%RH"]
    assert read(SECTION_5_1_3, Quantity.HUMIDITY) == [(at, raw, True) for at, raw in humid]


def test_records_of_other_types_are_no_readings() -> None:
    assert records(SECTION_5_1_5) == [Record(f"{DEVICE}:temp", "Cel", 23.1, 0)]
    assert read(SECTION_5_1_5, Quantity.TEMPERATURE, "temp") == [(NOON, 23.1, False)]


def test_a_later_base_name_replaces_the_first_and_the_base_time_stays() -> None:
    # "the last record would use the Base Name from the 3rd record but the Base Time from the first"
    at_ms = at_ms_of_iso("2011-10-31T16:27:09Z")
    assert read(SECTION_5_1_6, Quantity.TEMPERATURE, "2001:db8::1/temperature") == [
        (at_ms, 12.3, True)
    ]
    assert read(SECTION_5_1_6, Quantity.HUMIDITY, "2001:db8::2/humidity") == [(at_ms, 30, True)]


def test_times_below_two_to_the_28_are_relative_to_now() -> None:
    # §4.5.3; "the smallest absolute Time value that can be expressed (2**28) is
    # 1978-07-04 21:24:16 UTC"
    pack = '[{"n":"x","u":"Cel","t":%s,"v":24}]'
    assert read(pack % "-90", Quantity.TEMPERATURE) == [(NOON - 90_000, 24, False)]
    assert read(pack % "2.5", Quantity.TEMPERATURE) == [(NOON + 2_500, 24, False)]
    (smallest,) = records(pack % 268435456)
    assert smallest.absolute
    assert round(smallest.time_s * 1000) == at_ms_of_iso("1978-07-04T21:24:16Z")
    assert not records(pack % 268435455)[0].absolute


def test_a_base_value_is_added_and_stands_in_for_a_missing_one() -> None:
    # §4.5.4: "the missing field(s) is considered to have a value of zero"
    pack = '[{"bn":"x","bv":20,"v":4.5,"t":-1},{"v":-1.5,"t":-2},{"t":-3}]'
    assert [one.value for one in records(pack)] == [24.5, 18.5, 20]


def test_a_sum_alone_is_no_reading() -> None:
    assert records('[{"n":"x","u":"J","s":12},{"n":"x","bv":3,"s":4}]') == []


def test_a_record_of_base_fields_alone_is_no_reading() -> None:
    # §5.1.7 starts its pack with one
    assert len(records('[{"bn":"urn:dev:ow:10e2073a01080063:"},{"n":"temp","v":23.1}]')) == 1


def test_unknown_fields_are_ignored() -> None:  # §4.4
    assert records('[{"n":"x","v":1,"colour":"green","b_x":2}]') == [Record("x", "", 1, 0)]


@pytest.mark.parametrize(
    ("pack", "part"),
    [
        ('[{"n":"x","v":1,"must_":2}]', "must be understood"),  # §4.4
        ('[{"bver":11,"n":"x","v":1}]', "must not be used"),  # §4.4
        ('{"n":"x","v":1}', "want an array"),  # §5
        ("[1]", "record 0 is not an object"),
        ('[{"v":1},{"n":2,"v":1}]', "record 1: n is not a string"),
        ('[{"n":"x","v":"1"}]', "v is not a number"),
        ('[{"n":"x","v":true}]', "v is not a number"),
        ('[{"n":"x","v":1,"t":NaN}]', "finite"),
        ('[{"n":"x","v":1,"bt":1e400}]', "finite"),
    ],
)
def test_a_pack_against_the_rules_is_refused_whole(pack: str, part: str) -> None:
    with pytest.raises(UnreadableError, match=part):
        records(pack)


def test_one_lost_probe_does_not_spoil_its_neighbours() -> None:
    pack = b'[{"bn":"b:","n":"temp","u":"Cel","v":NaN},{"n":"ph","u":"pH","v":6.8}]'
    bindings = [
        Binding(topic="t", probe=name, quantity=quantity, format=Format.SENML, name=name)
        for name, quantity in (("temp", Quantity.TEMPERATURE), ("ph", Quantity.PH))
    ]
    decoded, refused = decode("t", pack, bindings, arrival_ms=NOON, retained=False)
    assert decoded == [Decoded("ph", NOON, 6.8, own_time=False)]
    assert [one.why for one in refused] == ["temp: nan is not a finite number"]


def test_a_gateways_pack_that_speaks_of_other_probes_only_is_refused_once_nobody_is_in_it() -> None:
    bindings = [
        Binding(
            topic="t", probe=name, quantity=Quantity.TEMPERATURE, format=Format.SENML, name=name
        )
        for name in ("a1", "a2")
    ]

    def refused(pack: bytes) -> list[str]:
        return [one.why for one in decode("t", pack, bindings, arrival_ms=NOON, retained=False)[1]]

    assert refused(b'[{"bn":"g/","n":"a2","u":"Cel","v":24}]') == []
    assert refused(b'[{"bn":"g/","n":"a9","u":"Cel","v":24}]') == [
        'a1: no record is named "a1"; names here: "g/a9"',
        'a2: no record is named "a2"; names here: "g/a9"',
    ]
    assert refused(b'[{"bn":"g/","n":"a1","u":"%RH","v":24}]')[0].startswith(
        'a1: no record in a unit of temperature; units here: "%RH"'
    )


def test_two_numbers_for_now_are_refused_because_one_of_them_is_older() -> None:
    binding = Binding(topic="t", probe="p", quantity=Quantity.TEMPERATURE, format=Format.SENML)
    pack = b'[{"n":"x","u":"Cel","v":24},{"n":"y","u":"Cel","v":25}]'
    decoded, refused = decode("t", pack, [binding], arrival_ms=NOON, retained=False)
    assert decoded == []
    assert "give each its own time" in refused[0].why


def test_a_measurement_far_in_the_future_is_refused() -> None:
    binding = Binding(topic="t", probe="p", quantity=Quantity.TEMPERATURE, format=Format.SENML)
    pack = b'[{"n":"x","u":"Cel","t":86400,"v":24}]'
    decoded, refused = decode("t", pack, [binding], arrival_ms=NOON, retained=False)
    assert decoded == []
    assert "no probe can know that" in refused[0].why


@pytest.mark.parametrize(
    ("name", "wanted", "fits"),
    [
        ("urn:dev:ow:10e2073a01080063:temp", "temp", True),
        ("2001:db8::2/temperature", "temperature", True),
        ("rack/a1/temp", "a1/temp", True),
        ("temp", "temp", True),
        ("anything", "", True),
        ("watertemp", "temp", False),
        ("temp/raw", "temp", False),
    ],
)
def test_a_name_is_matched_whole_or_by_its_last_part(name: str, wanted: str, fits: bool) -> None:
    assert named(name, wanted) is fits
