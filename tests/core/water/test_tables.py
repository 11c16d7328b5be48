"""Whole tables, asked of the command line: every cell within the tolerance that a reader of the table would grant.

The other tests pin single figures; here a slip in one corner of a range would show.
"""

from __future__ import annotations

import argparse
import contextlib
import io
import json
import shlex
from math import log
from typing import Any

import gsw
import psychrolib
from periodictable import formula

from controller.reckon import add_reckon, run_reckon

# Standard Methods 4500-O, table of Benson & Krause 1984 (from memory): 0 to 40 C, moist air at 101.325 kPa. [mg/L]
STANDARD_METHODS = (
    14.621, 14.216, 13.829, 13.460, 13.107, 12.770, 12.447, 12.139, 11.843, 11.559, 11.288, 11.027, 10.777, 10.537,
    10.306, 10.084, 9.870, 9.665, 9.467, 9.276, 9.092, 8.915, 8.743, 8.578, 8.418, 8.263, 8.113, 7.968, 7.827, 7.691,
    7.559, 7.430, 7.305, 7.183, 7.065, 6.950, 6.837, 6.727, 6.620, 6.515, 6.412,
)  # fmt: skip

# The same table's columns of chlorinity 5, 10 and 20 g/kg (from memory); salinity is 1.80655 times that. [mg/L]
BY_CHLORINITY = {
    (0, 5): 13.728, (0, 10): 12.888, (0, 20): 11.355, (10, 5): 10.656, (10, 10): 10.058, (10, 20): 8.959,
    (20, 5): 8.621, (20, 10): 8.174, (20, 20): 7.346, (30, 5): 7.194, (30, 10): 6.845, (30, 20): 6.197,
}  # fmt: skip

# The un-ionised share as Francis-Floyd et al. print it, UF/IFAS FA16, from Emerson et al. 1975 (first row), and by
# Emerson's formula worked out apart from this project. US EPA tables stand a little higher: they take 0 C as 273.2 K.
EMERSON = {
    (24, 7.0): 0.0052, (24, 7.4): 0.0131, (20, 8.0): 0.0381, (24, 8.0): 0.0502, (28, 8.0): 0.0654, (30, 8.0): 0.0743,
    (20, 6.5): 0.0013, (20, 7.0): 0.0039, (20, 7.5): 0.0124, (20, 8.5): 0.1112, (20, 9.0): 0.2836, (24, 6.5): 0.0017,
    (24, 7.5): 0.0164, (24, 8.5): 0.1431, (24, 9.0): 0.3456, (28, 6.5): 0.0022, (28, 7.0): 0.0069, (28, 7.5): 0.0216,
    (28, 8.5): 0.1812, (28, 9.0): 0.4116,
}  # fmt: skip

# Harned & Davis 1943, J. Am. Chem. Soc. 65:2030-2037: first dissociation of carbonic acid (from memory).
PK1 = {0: 6.579, 5: 6.517, 10: 6.464, 15: 6.419, 20: 6.381, 25: 6.352, 30: 6.327, 35: 6.309}

SPELLINGS = {
    ("KOH", 1): ("KOH", "koh", "potassium hydroxide", "potassium-hydroxide", "Potassium_Hydroxide", "caustic potash"),
    ("Ca(OH)2", 2): ("Ca(OH)2", "CaOH2", "Ca(OH)\u2082", "calcium hydroxide", "calcium-hydroxide", "hydrated lime"),
    ("NaHCO3", 1): (
        "NaHCO3", "nahco3", "NaHCO\u2083", "sodium bicarbonate", "sodium-bicarbonate", "Sodium Bicarbonate",
        "baking soda", "baking-soda", "bicarbonate of soda", "sodium hydrogen carbonate",
    ),
    ("Na2CO3", 2): ("Na2CO3", "sodium carbonate", "sodium-carbonate", "soda ash", "soda-ash"),
    ("Na2CO3+10H2O", 2): ("Na2CO3.10H2O", "washing soda", "soda crystals", "sodium carbonate decahydrate"),
    ("K2CO3", 2): ("K2CO3", "potassium carbonate", "potassium-carbonate", "potash"),
    ("KHCO3", 1): ("KHCO3", "potassium bicarbonate", "potassium-bicarbonate", "potassium hydrogen carbonate"),
    ("CaCO3", 2): ("CaCO3", "calcium carbonate", "calcium-carbonate", "limestone"),
    ("CaO", 2): ("CaO", "calcium oxide", "quicklime"),
}  # fmt: skip

PARSER = argparse.ArgumentParser(prog="duskbell")
add_reckon(PARSER.add_subparsers(dest="command", required=True))


def ask(line: str) -> Any:  # noqa: ANN401 - a JSON number or null
    """Ask the command line and give the value of its JSON."""
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert run_reckon(PARSER.parse_args(["reckon", *shlex.split(line), "--json"])) == 0
    return json.loads(out.getvalue())["value"]


def find_off(cells: dict[str, float], *, within: float = 0.0, share: float = 0.0) -> list[str]:
    """List the lines whose answer is off the table by more than a distance or a share."""
    off = []
    for line, expected in cells.items():
        found = ask(line)
        if abs(found - expected) > within + share * abs(expected):
            off.append(f"{line}: {found:.5g}, table {expected:.5g}")
    return off


def test_the_whole_column_of_fresh_water_is_met() -> None:
    """41 cells of oxygen at saturation, within 0.002 mg/L; the old tables' 11.33 at 10 C is not among them."""
    cells = {f"oxygen --temperature-c {t}": mg_l for t, mg_l in enumerate(STANDARD_METHODS)}

    assert find_off(cells, within=0.002) == []


def test_the_columns_of_salty_water_are_met() -> None:
    """Twelve cells of Standard Methods and 189 of gsw (TEOS-10; Garcia & Gordon 1992), within 0.01 mg/L."""
    cells = {
        f"oxygen --temperature-c {t} --salinity-g-kg {1.80655 * chlorinity}": mg_l
        for (t, chlorinity), mg_l in BY_CHLORINITY.items()
    }
    for t in range(0, 41, 2):
        for salinity in (0.0, 0.1, 0.5, 1.0, 2.0, 5.0, 10.0, 20.0, 35.0):
            outside = (
                gsw.O2sol_SP_pt(salinity, t) * 31.998e-6 * gsw.rho_t_exact(gsw.SR_from_SP(salinity), t, 0.0)
            )
            cells[f"oxygen --temperature-c {t} --salinity-g-kg {salinity}"] = float(outside)

    assert find_off(cells, within=0.01) == []


def test_pressure_and_height_are_met_over_the_whole_range() -> None:
    """Dalton's law with psychrolib's vapour pressure and height (ASHRAE), within 0.01 mg/L: 246 cells.

    What is left out, the second virial coefficient, is under 0.005 mg/L here.
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    cells = {}
    for t, full in enumerate(STANDARD_METHODS):
        vapour_pa = psychrolib.GetSatVapPres(max(t, 0.02))
        for line, pa in [
            *((f"--pressure-hpa {hpa}", 100.0 * hpa) for hpa in (850, 950, 1040)),
            *((f"--elevation-m {m}", psychrolib.GetStandardAtmPressure(m)) for m in (0, 500, 1500)),
        ]:
            cells[f"oxygen --temperature-c {t} {line}"] = full * (pa - vapour_pa) / (101_325.0 - vapour_pa)

    assert find_off(cells, within=0.01) == []


def test_the_table_of_un_ionised_ammonia_is_met() -> None:
    """Twenty cells of four places, within 0.0001."""
    cells = {
        f"ammonia --total-ammonia-mg-l 1 --ph {ph} --temperature-c {t}": share
        for (t, ph), share in EMERSON.items()
    }

    assert find_off(cells, within=1e-4) == []


def test_un_ionised_ammonia_follows_from_heat_and_free_energy() -> None:
    """The CODATA heat and free energy of dissociation give the share within 3 % of itself over pH 6 to 9.5, 5 to 35 C.

    NH4+ = NH3 + H+ at 25 C: 52.22 kJ/mol of heat, pK 9.245 (CODATA key values 1989, from memory; van 't Hoff).
    A law that owes nothing to Emerson's fit: a wrong slope or zero kelvin would show at the ends.
    """
    cells = {}
    for t in range(5, 36, 5):
        pk = 9.245 + 52_220.0 / (8.314_46 * log(10.0)) * (1.0 / (t + 273.15) - 1.0 / 298.15)
        for ph in (6.0, 6.5, 7.0, 7.5, 8.0, 8.5, 9.0, 9.5):
            cells[f"ammonia --total-ammonia-mg-l 1 --ph {ph} --temperature-c {t}"] = 1.0 / (
                1.0 + 10.0 ** (pk - ph)
            )

    assert find_off(cells, share=0.03) == []


def test_carbon_dioxide_is_met_with_another_constant() -> None:
    """`CO2 = Alk / 50.04 x 10^(pK1 - pH) x 44.01` with Harned & Davis' constant: 160 cells within 5 %.

    Up to pH 8.2; above it carbonate and hydroxide are a part of the alkalinity, which this short form leaves out.
    """
    cells = {
        f"carbonate --ph {ph} --alkalinity-mg-l {alkalinity} --temperature-c {t}": alkalinity
        / 50.0435
        * 10.0 ** (pk1 - ph)
        * 44.0095
        for t, pk1 in PK1.items()
        for ph in (6.0, 6.5, 7.0, 7.6, 8.2)
        for alkalinity in (10.0, 50.0, 120.0, 300.0)
    }

    assert find_off(cells, share=0.05) == []


def test_grams_of_every_base_by_every_name_and_assay_are_met() -> None:
    """Molar masses of periodictable (IUPAC standard atomic weights), 5 raises and assays: within 0.1 %."""
    cells = {}
    for (text, equivalents), names in SPELLINGS.items():
        per_equivalent = formula(text).mass / equivalents / (formula("CaCO3").mass / 2.0)
        for name in names:
            for rise, volume, assay in [
                (30, 1000, 100),
                (1, 50, 85),
                (12.5, 4000, 90),
                (100, 250, 56),
                (500, 1e5, 10),
            ]:
                line = (
                    f"base --raise-alkalinity-mg-l {rise} --volume-l {volume} --chemical {shlex.quote(name)}"
                )
                cells[f"{line} --assay-percent {assay}"] = (
                    per_equivalent * rise * volume / 1e3 / (assay / 100.0)
                )

    assert find_off(cells, share=0.001) == []


def test_the_dew_point_is_met_over_the_whole_house() -> None:
    """Psychrolib (ASHRAE) above 0 C and the Magnus form of the WMO guide below, within 0.05 C: 0 to 45 C, 10 to 100 %.

    Below 0 C over water, as weather services state it: WMO-No. 8, annex 4.B, 6.112 exp(17.62 t / (243.12 + t)).
    """
    psychrolib.SetUnitSystem(psychrolib.SI)
    cells = {}
    for t in range(0, 46, 3):
        for humidity in (10, 20, 35, 50, 65, 80, 95, 100):
            share = log(humidity / 100.0) + 17.62 * t / (243.12 + t)
            dew_c = 243.12 * share / (17.62 - share)
            if dew_c > 0.5:
                dew_c = psychrolib.GetTDewPointFromRelHum(t, humidity / 100.0)
            cells[f"dew-point --temperature-c {t} --humidity-percent {humidity}"] = dew_c

    assert find_off(cells, within=0.05) == []
