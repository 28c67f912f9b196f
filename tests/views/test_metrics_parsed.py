"""/metrics as another program reads it: the OpenMetrics parser of prometheus_client."""

import math

from prometheus_client.openmetrics.parser import text_string_to_metric_families
from tests.views.reader import client_of
from tests.views.room_of_glass import usual

from roewatch.views.ports import RefusedView


def test_an_independent_parser_takes_every_family_and_every_sample() -> None:
    glass = usual()
    odd = 'odd "topic"\\\n'
    glass[1].not_read = [RefusedView(topic=odd, count=3, example="x", why="y")]
    with client_of(glass) as client:
        text = client.get("/metrics").text
    read = text_string_to_metric_families(text)  # type: ignore[no-untyped-call]
    families = {family.name: family for family in read}
    samples = [sample for family in families.values() for sample in family.samples]
    assert len(samples) == sum(not line.startswith("#") for line in text.splitlines())
    assert all(math.isfinite(sample.value) for sample in samples)
    (refused,) = families["roewatch_payloads_refused"].samples
    assert refused.labels == {"topic": odd}, "what was escaped comes back as it was"
    assert refused.value == 3
    assert families["roewatch_payloads_refused"].type == "counter"
