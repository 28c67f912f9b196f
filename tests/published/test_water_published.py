"""Every published value we hold for water chemistry, its source in the test's name."""

import csv
from collections.abc import Callable
from pathlib import Path

import pytest

from roewatch.water import ammonia, buffer, conductivity, electrode, equilibrium, hardness, oxygen

Given = dict[str, str]


def _rows() -> list[dict[str, str]]:
    with (Path(__file__).parent / "water_published.csv").open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def _given(inputs: str) -> Given:
    return dict(part.split("=", 1) for part in inputs.split(";") if "=" in part)


def _oxygen(given: Given) -> float:
    return oxygen.saturation(
        celsius=float(given["T_C"]),
        pressure_hpa=float(given["pressure_hPa"]),
        salinity=float(given["salinity"]),
    )


def _oxygen_molar(given: Given) -> float:
    return oxygen.saturation_umol(
        celsius=float(given["T_C"]),
        pressure_hpa=float(given["pressure_hPa"]),
        salinity=float(given["salinity"]),
    )


ANSWERS: dict[str, Callable[[Given], float]] = {
    "nh3_fraction": lambda g: ammonia.unionised_fraction(
        ph=float(g["pH"]), celsius=float(g["T_C"])
    ),
    "do_saturation": _oxygen,
    "do_saturation_molar": _oxygen_molar,
    "pK1_carbonic": lambda g: equilibrium.pk_first(float(g["T_C"])),
    "pK2_carbonic": lambda g: equilibrium.pk_second(float(g["T_C"])),
    "pKw": lambda g: equilibrium.pk_water(float(g["T_C"])),
    "pKH_CO2": lambda g: equilibrium.pk_henry(float(g["T_C"])),
    "conductivity_f25": lambda g: conductivity.factor_25(float(g["T_C"])),
    "kcl_0.01_molal_conductivity": lambda g: conductivity.of_standard(
        conductivity.Standard.KCL_001_MOLAL, float(g["T_C"])
    ),
    "kcl_84uS_standard": lambda g: conductivity.of_standard(
        conductivity.Standard.KCL_84, float(g["T_C"])
    ),
    "tds_equivalent": lambda g: conductivity.solids(
        conductivity=float(g["SC25_uS"]), salt=conductivity.Salt(g["salt"])
    ),
    "nernst_slope": lambda g: electrode.nernst_slope(float(g["T_C"])),
    "ph_slope_percent": lambda g: electrode.slope_percent(
        mv_change=float(g["dE_mV"]),
        ph_change=float(g["pH_hi"]) - float(g["pH_lo"]),
        celsius=float(g["T_C"]),
    ),
    "buffer_pH": lambda g: buffer.ph_of(buffer.Buffer(g["buffer"]), float(g["T_C"])),
}

German, Caco3, Meq = hardness.Degree.GERMAN, hardness.Degree.CACO3, hardness.Degree.MEQ
CONVERSIONS: dict[str, Callable[[], float]] = {
    "1 dH -> mg/L as CaCO3": lambda: hardness.converted(1, German, Caco3),
    "1 dH -> mmol/L alkaline earths": lambda: hardness.mmol_of_dgh(1),
    "1 dKH -> meq/L alkalinity": lambda: hardness.meq_of_dkh(1),
    "1 meq/L -> dKH": lambda: hardness.dkh_of_meq(1),
    "1 dH all calcium -> mg/L Ca": lambda: hardness.calcium_of_dgh(1),
    "1 dH all magnesium -> mg/L Mg": lambda: hardness.magnesium_of_dgh(1),
    "1 dKH all bicarbonate -> mg/L HCO3": lambda: hardness.bicarbonate_of_dkh(1),
    "1 meq/L -> mg/L as CaCO3": lambda: hardness.converted(1, Meq, Caco3),
    "72 mg/L Ca + 26 mg/L Mg -> mg/L as CaCO3": lambda: hardness.caco3_of_metals(
        calcium=72, magnesium=26
    ),
}


def _named(row: dict[str, str]) -> str:
    return f"{row['id']} {row['quantity']} {row['inputs']} [{row['source']}]"


@pytest.mark.parametrize("row", _rows(), ids=_named)
def test_a_published_value_is_met_within_its_tolerance(row: dict[str, str]) -> None:
    if row["quantity"] == "convert":
        answer = CONVERSIONS[row["inputs"]]()
    else:
        answer = ANSWERS[row["quantity"]](_given(row["inputs"]))
    assert answer == pytest.approx(float(row["expected"]), abs=float(row["tolerance_abs"]))


def test_all_188_rows_are_there() -> None:
    rows = _rows()
    assert len(rows) == 188
    assert all(row["source"] for row in rows)
