"""The standard atmosphere against `ambiance` (ICAO Doc 7488, 1993)."""

import numpy as np
from ambiance import Atmosphere


def test_against_ambiance(tables, figures):
    rows = tables["air"]
    assert len(rows) > 100
    other = Atmosphere([row["height_m"] for row in rows])
    worst = {}
    for key, value in {
        "temperature_k": other.temperature, "pressure_pa": other.pressure, "density_kg_m3": other.density,
        "speed_of_sound_m_s": other.speed_of_sound, "viscosity_pa_s": other.dynamic_viscosity,
    }.items():
        mine = np.array([row[key] for row in rows])
        worst[key] = np.max(np.abs(mine / value - 1))
        # ICAO 1993 has R = 287.05287, US Standard Atmosphere 1976 287.05307: 7e-7, and thrice that in the exponent at
        # 19 km.
        assert worst[key] < 1e-5, key
    figures.append("atmosphere against ambiance, largest relative differences: "
                   + ", ".join(f"{key} {off:.1e}" for key, off in worst.items()))
