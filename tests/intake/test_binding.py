"""A binding cannot be wrong in a way that only the first message would show."""

import pytest

from roewatch.intake.binding import Binding, Format, by_topic
from roewatch.room.quantity import Quantity


def bound(topic: str = "t", **more: str) -> Binding:
    return Binding(
        topic=topic, probe="p", quantity=Quantity.PH, format=Format.JSON, **{"pointer": "", **more}
    )


@pytest.mark.parametrize("pointer", ["ph", "/a~2", "/~"])
def test_a_pointer_against_rfc_6901_is_refused(pointer: str) -> None:
    with pytest.raises(ValueError, match="is not a JSON pointer"):
        bound(pointer=pointer)
    with pytest.raises(ValueError, match="is not a JSON pointer"):
        bound(time_pointer=pointer)


def test_a_unit_that_does_not_measure_the_quantity_is_refused() -> None:
    with pytest.raises(ValueError, match="does not measure ph"):
        bound(unit="°C")


def test_bindings_are_grouped_by_topic_in_their_order() -> None:
    one, two, three = bound("a"), bound("b"), bound("a", pointer="/x")
    assert by_topic([one, two, three]) == {"a": (one, three), "b": (two,)}
