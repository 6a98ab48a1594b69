"""Figures of the Earth: WGS 84's ellipsoid and the plane about a field against geographiclib, and gravity against the
normal potential itself.
"""

import math

import numpy as np
from geographiclib.geodesic import Geodesic

# Defining constants of WGS 84 (NIMA TR8350.2, table 3.1); the ellipsoid's come from geographiclib.
GM, OMEGA = 3.986004418e14, 7.292115e-5
A, F = Geodesic.WGS84.a, Geodesic.WGS84.f
B = A * (1 - F)
E = math.sqrt(A * A - B * B)


def q(u):
    return ((1 + 3 * u * u / (E * E)) * math.atan(E / u) - 3 * u / E) / 2


def potential(x, z):
    """Normal potential at a distance from the axis and from the equator's plane, in the closed form of Heiskanen and
    Moritz, Physical Geodesy (1967), 2-62."""
    s = x * x + z * z - E * E
    u = math.sqrt(s / 2 * (1 + math.sqrt(1 + 4 * E * E * z * z / (s * s))))
    beta = math.atan2(z * math.sqrt(u * u + E * E), u * x)
    turning = OMEGA * OMEGA
    return (GM / E * math.atan(E / u) + turning * A * A / 2 * q(u) / q(B) * (math.sin(beta) ** 2 - 1 / 3)
            + turning / 2 * (u * u + E * E) * math.cos(beta) ** 2)


def gravity(latitude_deg, height):
    """Length of the potential's gradient, by central differences."""
    phi = math.radians(latitude_deg)
    prime = A / math.sqrt(1 - F * (2 - F) * math.sin(phi) ** 2)
    x, z = (prime + height) * math.cos(phi), (prime * (1 - F) ** 2 + height) * math.sin(phi)
    step = 50.0
    slope = lambda dx, dz: (potential(x + dx, z + dz) - potential(x - dx, z - dz)) / (2 * step)
    return math.hypot(slope(step, 0), slope(0, step))


def test_normal_gravity_is_the_gradient_of_the_normal_potential(tables, figures):
    rows = tables["gravity"]
    off = np.array([row["gravity_m_s2"] / gravity(row["latitude_deg"], row["height_m"]) - 1 for row in rows])
    figures.append(f"gravity against the gradient of the normal potential: {np.max(np.abs(off)):.1e} of it at most")
    assert len(rows) > 100
    # An inverse square for the fall with height is the engine's stated simplification: under 1e-5 below 20 km. The
    # differences of the potential hold 1e-10.
    assert np.max(np.abs(off)) < 1e-5
    on_the_ellipsoid = [o for o, row in zip(off, rows) if row["height_m"] == 0]
    assert np.max(np.abs(on_the_ellipsoid)) < 1e-8


def test_the_ellipsoid(tables):
    (row,) = tables["ellipsoid"]
    assert row["semi_major_m"] == A
    assert math.isclose(row["flattening"], F, rel_tol=1e-15)
    assert math.isclose(row["eccentricity_squared"], F * (2 - F), rel_tol=1e-11)
    assert math.isclose(row["gravity_ratio"], OMEGA * OMEGA * A * A * B / GM, rel_tol=1e-10)
    assert row["rotation_rad_s"] == OMEGA


def test_the_plane_about_a_field(tables, figures):
    """Distance and direction on the plane against the geodesic from the origin (Karney 2013). A chord that is laid flat
    is shorter than the arc by s^3 / (6 R^2), R no less than the smallest radius of curvature, that of the meridian at the
    equator; the normal section turns from the geodesic by less than that."""
    rows = tables["plane"]
    smallest = A * (1 - F) ** 2
    worst = {}
    for row in rows:
        east, north = row["place_m"]
        to = Geodesic.WGS84.Inverse(*row["origin_deg"], *row["at_deg"])
        arc, azimuth = to["s12"], math.radians(to["azi1"])
        off = math.hypot(arc * math.sin(azimuth) - east, arc * math.cos(azimuth) - north)
        # Half as much again for the terms that are left out; geodesic and plane are good to 15 nm and to 0.1 um.
        assert off <= 1.5 * arc**3 / (6 * smallest**2) + 1e-6
        assert math.dist(row["back_m"], row["place_m"]) < 1e-6
        worst[round(arc, -2)] = max(off, worst.get(round(arc, -2), 0))
    figures.append("the plane about a field against geodesics: " + ", ".join(
        f"{off * 1000:.3g} mm at {arc / 1000:g} km" for arc, off in sorted(worst.items()) if arc))
    assert len(rows) == 95
