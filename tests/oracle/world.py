"""Air, gravity and wind of one flight, from their laws."""

import math
from bisect import bisect_left, bisect_right

import numpy as np
from scipy.linalg import expm, solve_continuous_lyapunov

# US Standard Atmosphere 1976 and WGS 84 (NIMA TR8350.2, table 3.1 and 3.4; equation 4-3 for gravity aloft).
GAS = 8314.32 / 28.9644
G0 = 9.80665
LAPSE = 0.0065
SEA_LEVEL = (288.15, 101325.0)
GEOPOTENTIAL_RADIUS = 6356766.0
EQUATOR, FLATTENING, ECCENTRICITY2 = 6378137.0, 1 / 298.257223563, 0.00669437999014
EQUATOR_GRAVITY, SOMIGLIANA, RATIO = 9.7803253359, 0.00193185265241, 0.00344978650684
EARTH_RATE = 7.292115e-5

ROUGHNESS = 0.03
FOOT = 0.3048


def gravity(latitude, height):
    """Normal gravity at a height above the ellipsoid."""
    sin2 = math.sin(latitude) ** 2
    on_it = EQUATOR_GRAVITY * (1 + SOMIGLIANA * sin2) / math.sqrt(1 - ECCENTRICITY2 * sin2)
    x = height / EQUATOR
    return on_it * (1 - 2 * (1 + FLATTENING + RATIO - 2 * FLATTENING * sin2) * x + 3 * x * x)


def geopotential(height):
    return GEOPOTENTIAL_RADIUS * height / (GEOPOTENTIAL_RADIUS + height)


def standard_temperature(h):
    """Up to 20 km."""
    return SEA_LEVEL[0] - LAPSE * min(h, 11000.0)


def hydrostatic(pressure, low, high, offset):
    """Pressure at one geopotential height from that at another, below the tropopause."""
    t = lambda h: SEA_LEVEL[0] + offset - LAPSE * h
    return pressure * (t(high) / t(low)) ** (G0 / (GAS * LAPSE))


class World:
    """One flight's air, gravity and wind."""

    def __init__(self, card, drawn, wind_heights):
        self.latitude, self.elevation = card["latitude_rad"], card["elevation_m"]
        self.omega = (0.0, EARTH_RATE * math.cos(self.latitude), EARTH_RATE * math.sin(self.latitude))
        pad = geopotential(self.elevation)
        self.pad = pad
        # No pressure is given: the standard's at the field's elevation.
        self.pressure = hydrostatic(SEA_LEVEL[1], 0.0, pad, 0.0) + drawn["pressure_error_pa"]
        self.offset = card["temperature_k"] + drawn["temperature_error_k"] - standard_temperature(pad)
        self.wind = Layers(Wind(card, drawn), wind_heights)

    def air(self, height):
        """Density and speed of sound at a height above the pad."""
        h = geopotential(self.elevation + height)
        temperature = standard_temperature(h) + self.offset
        pressure = hydrostatic(self.pressure, self.pad, min(h, 11000.0), self.offset)
        if h > 11000.0:
            pressure *= math.exp(-G0 * (h - 11000.0) / (GAS * temperature))
        return pressure / (GAS * temperature), math.sqrt(1.4 * GAS * temperature)

    def gravity(self, height):
        return gravity(self.latitude, self.elevation + height)


class Wind:
    """The drawn wind as a law: the logarithmic one near the ground, straight lines between winds aloft, and errors
    along and across it that are correlated over height, and gusts."""

    def __init__(self, card, drawn):
        self.reference, speed, direction = card["surface_wind"]
        towards = lambda s, d: (-s * math.sin(d), -s * math.cos(d))
        self.foot = ROUGHNESS
        self.law_top = max(self.reference, min(100.0, card["layers"][0][0] / 2))
        self.surface = towards(speed, direction)
        self.aloft = [(self.law_top, *self.lawful(self.law_top))]
        self.aloft += [(z, *towards(s, d)) for z, s, d in card["layers"]]
        # Gusts: the least of turbulence (EN 1991-1-4) and a third of the 5 m/s that a report may hide.
        sd = min(speed / math.log(self.reference / self.foot), 5.0 / 3.0)
        self.gusts = Gusts(card, drawn, sd / intensity(self.reference))
        self.towards = towards(1.0, direction)
        self.anchors = card["wind_anchors_m"]
        self.agreement = [math.exp(-(b - a) / card["wind_correlation_m"])
                          for a, b in zip(self.anchors, self.anchors[1:])]
        self.along, self.across = (self.chain(drawn[k]) for k in ("wind_along", "wind_across"))
        self.sd, self.growth = card["wind_error_m_s"], card["wind_error_growth_per_s"]
        self.direction_sd = card["wind_direction_error_rad"]

    def lawful(self, z):
        """The logarithmic law through the surface wind."""
        share = max(math.log(max(z, self.foot) / self.foot) / math.log(self.reference / self.foot), 0.0)
        return self.surface[0] * share, self.surface[1] * share

    def mean(self, z):
        if z <= self.law_top:
            return self.lawful(z)
        k = bisect_right(self.aloft, z, key=lambda row: row[0])
        if k == len(self.aloft):
            return self.aloft[-1][1:]
        low, high = self.aloft[k - 1], self.aloft[k]
        w = (z - low[0]) / (high[0] - low[0])
        return low[1] + (high[1] - low[1]) * w, low[2] + (high[2] - low[2]) * w

    def chain(self, normals):
        """Independent normals turned into a first-order chain."""
        chain = [normals[0]]
        for r, z in zip(self.agreement, normals[1:]):
            chain.append(r * chain[-1] + math.sqrt(1 - r * r) * z)
        return chain

    def error(self, chain, z):
        """A chain between its anchors, blown up to unit variance."""
        k = bisect_right(self.anchors, z) - 1
        if k < 0 or k == len(self.anchors) - 1:
            return chain[max(k, 0)]
        w = (z - self.anchors[k]) / (self.anchors[k + 1] - self.anchors[k])
        size = math.sqrt((1 - w) ** 2 + w * w + 2 * w * (1 - w) * self.agreement[k])
        return (chain[k] * (1 - w) + chain[k + 1] * w) / size

    def at(self, z, mean=None):
        """Towards east and north, without gusts; about the given mean wind where it is not the law's own."""
        z = max(z, 0.0)
        east, north = mean or self.mean(z)
        near = max(min(math.log(max(z, self.foot) / self.foot) / math.log(10.0 / self.foot), 1.0), 0.0)
        speed = math.hypot(east, north)
        if near == 0.0:
            return 0.0, 0.0
        east, north = east / speed, north / speed
        sd = self.sd + self.growth * max(z - self.aloft[-1][0], 0.0)
        along = speed + near * sd * self.error(self.along, z)
        across = near * math.hypot(sd, speed * self.direction_sd) * self.error(self.across, z)
        # Across: to the right of where it blows towards.
        return east * along + north * across, north * along - east * across

    def gust(self, z):
        """Towards east and north, along and across the surface wind."""
        (east, north), (along, across) = self.towards, self.gusts.at(z)
        return east * along + north * across, north * along - east * across


def intensity(height):
    """Standard deviation of a horizontal gust over the wind at 20 ft (MIL-F-8785C), held outside 10 to 1000 ft."""
    return 0.1 / (0.177 + 0.000823 * min(max(height / FOOT, 10.0), 1000.0)) ** 0.4


class Gusts:
    """Horizontal gusts of one flight: the published filter across the path, sigma sqrt(L/(pi V)) (1 + sqrt3 L s/V) /
    (1 + L s/V)^2, over white noise, from height to height by matrix exponentials (C. F. Van Loan, Computing integrals
    involving the matrix exponential, IEEE Trans. AC-23, 1978). Heights lie a fixed share of the local scale apart."""

    def __init__(self, card, drawn, wind_at_20_ft):
        self.heights, step = card["gust_heights_m"], card["gust_scales_per_step"]
        self.wind_at_20_ft = wind_at_20_ft
        # s in units of V/L; unit variance of the output takes noise of unit intensity.
        system = np.array([[0.0, 1.0], [-1.0, -2.0]])
        noise = np.array([[0.0, 0.0], [0.0, 1.0]])
        output = np.array([1.0, math.sqrt(3.0)])
        at_rest = solve_continuous_lyapunov(system, -noise)
        block = expm(np.block([[-system, noise], [np.zeros((2, 2)), system.T]]) * step)
        carry = block[2:, 2:].T
        root = np.linalg.cholesky(carry @ block[:2, 2:])
        # The gust at the ground is one direction of the states at rest, the first number the other.
        half = np.linalg.cholesky(at_rest)
        gust = half.T @ output
        other = np.array([gust[1], -gust[0]])
        numbers = iter(drawn["gust_normals"])
        states = [half @ (gust * g + other * next(numbers)) for g in drawn["gust"]]
        self.rows = [[output @ x for x in states]]
        for _ in self.heights[1:]:
            states = [carry @ x + root @ np.array([next(numbers), next(numbers)]) for x in states]
            self.rows.append([output @ x for x in states])
        self.alike = float(output @ carry @ at_rest @ output)

    def at(self, z):
        """Along and across the mean wind: linear between the heights, blown up to the published size, and nothing
        within the roughness."""
        if z <= ROUGHNESS:
            return 0.0, 0.0
        k = bisect_right(self.heights, z) - 1
        w = 0.0
        if k + 1 < len(self.heights):
            w = (z - self.heights[k]) / (self.heights[k + 1] - self.heights[k])
        next_row = self.rows[min(k + 1, len(self.rows) - 1)]
        size = self.wind_at_20_ft * intensity(z) / math.sqrt(w * w + (1 - w) ** 2 + 2 * w * (1 - w) * self.alike)
        return tuple(size * (a + (b - a) * w) for a, b in zip(self.rows[k], next_row))


def between(low, at_low, high, at_high, z):
    """The straight line between two winds."""
    w = (z - low) / (high - low)
    return [a + (b - a) * w for a, b in zip(at_low, at_high)]


class Layers:
    """The law laid down at its heights, linear between, and gusts on it at theirs, linear between and held above: what a drawn flight is defined to fly through.
    Half-way between two anchors of the errors there is a height of the errors alone, and inside the logarithmic law
    the mean wind runs straight past it. One layer at a time, whose line goes on beyond its ends: a solver that looks
    past a corner sees no corner."""

    def __init__(self, law, heights):
        halves = {(a + b) / 2 for a, b in zip(law.anchors, law.anchors[1:])}
        gusts = set(law.gusts.heights[1:])
        own = [z for z in heights if z not in gusts]
        steady = []
        for k, z in enumerate(own):
            mean = None
            if z in halves and z < law.law_top:
                mean = between(own[k - 1], law.mean(own[k - 1]), own[k + 1], law.mean(own[k + 1]), z)
            steady.append(law.at(z, mean))
        self.rows = []
        for z in heights:
            k = min(bisect_right(own, z), len(own) - 1)
            wind = between(own[k - 1], steady[k - 1], own[k], steady[k], z) if z < own[-1] else steady[-1]
            self.rows.append((z, *(a + b for a, b in zip(wind, law.gust(z)))))
        self.heights = heights
        self.layer = 0

    def enter(self, z, rising):
        """Takes the layer at a height, on a corner the one that is being entered; gives its ends."""
        k = bisect_right(self.heights, z + 1e-9) if rising else bisect_left(self.heights, z - 1e-9)
        self.layer = max(k - 1, 0)
        ends = self.heights[self.layer:self.layer + 2]
        return ends[0], ends[1] if len(ends) > 1 else math.inf

    def at(self, z):
        """Towards east and north."""
        low = self.rows[self.layer]
        if self.layer + 1 == len(self.rows):
            return low[1:]
        high = self.rows[self.layer + 1]
        w = (z - low[0]) / (high[0] - low[0])
        return low[1] + (high[1] - low[1]) * w, low[2] + (high[2] - low[2]) * w
