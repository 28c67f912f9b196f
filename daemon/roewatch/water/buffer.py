"""A buffer: a solution of known pH, and its pH at the temperature it is used at."""

from enum import StrEnum

from roewatch.water.curve import read_between
from roewatch.water.refusal import within


class Buffer(StrEnum):
    """Buffers a keeper can buy. The text value is what is typed.

    Makers' technical buffers differ by 0.01-0.02: where the bottle prints a table, use that.
    """

    PHTHALATE = "phthalate 0.05 m"
    PHOSPHATE = "phosphate 1:1 0.025 m"
    BORAX = "borax 0.01 m"
    CARBONATE = "carbonate 0.025 m"
    TECHNICAL_4 = "technical 4.00"
    TECHNICAL_7 = "technical 7.00"
    TECHNICAL_10 = "technical 10.01"


_CELSIUS = (0, 5, 10, 15, 20, 25, 30, 35, 40, 50)
_PH: dict[Buffer, tuple[float, ...]] = {
    # IUPAC 2002 / NIST standard values; they agree with JIS Z 8802 to 0.01
    Buffer.PHTHALATE: (4.000, 3.998, 3.997, 3.998, 4.000, 4.005, 4.011, 4.018, 4.027, 4.050),
    Buffer.PHOSPHATE: (6.984, 6.951, 6.923, 6.900, 6.881, 6.865, 6.853, 6.844, 6.838, 6.833),
    Buffer.BORAX: (9.464, 9.395, 9.332, 9.276, 9.225, 9.180, 9.139, 9.102, 9.068, 9.010),
    Buffer.CARBONATE: (
        10.317, 10.245, 10.179, 10.118, 10.062, 10.012, 9.966, 9.925, 9.889, 9.828,
    ),
    # technical buffers of phthalate, phosphate and carbonate, as an analyser maker prints them
    Buffer.TECHNICAL_4: (4.00, 4.00, 4.00, 4.00, 4.00, 4.00, 4.01, 4.02, 4.03, 4.06),
    Buffer.TECHNICAL_7: (7.12, 7.09, 7.06, 7.04, 7.02, 7.00, 6.99, 6.99, 6.98, 6.97),
    Buffer.TECHNICAL_10: (10.32, 10.25, 10.18, 10.12, 10.06, 10.01, 9.97, 9.93, 9.89, 9.83),
}  # fmt: skip


def ph_of(buffer: Buffer, celsius: float) -> float:
    """pH of a buffer at its own temperature, 0-50 °C, straight lines between printed points.

    Source: beside the table. Raises RefusedError outside 0-50 °C.
    """
    within(celsius, 0.0, 50.0, what="buffer temperature", unit="°C")
    return read_between(_CELSIUS, _PH[buffer], celsius)


def cautions(buffer: Buffer) -> tuple[str, ...]:
    """What to mind about a buffer."""
    if buffer in {Buffer.TECHNICAL_10, Buffer.CARBONATE}:
        return ("pH 10 buffer takes up CO2 from the air within hours: open it fresh, never reuse.",)
    return ()
