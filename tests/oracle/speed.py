"""How fast SciPy's solve_ivp flies the 0.6 kg rocket of this directory's physics: for each method the loosest
tolerance that keeps the airspeed at ejection within 0.05 m/s, and ascents per second with it. Ascents only, without
what comes under the canopies. The solver runs through the corners of thrust and wind, and begins anew only where a
phase ends: this is about speed, where the oracle is about digits.

    speed.py FLIGHTS         one JSON object a line; $SLOWPOINT_ORACLE_EXPORT names the exporter
"""

import json
import math
import sys
import time
from bisect import bisect_right

from scipy.integrate import solve_ivp

from conftest import export
from flight import Flight, climb_free, until_zero

ROCKET, BOUND_M_S = "0.6 kg club", 0.05
METHODS = ["RK45", "DOP853", "LSODA"]
TOLERANCES = [10 ** (-k / 2) for k in range(4, 21)]
LONGEST_S = 1000.0


class Through(Flight):
    """A flight that is integrated phase by phase at a given tolerance."""

    def __init__(self, card, row, method, tolerance):
        super().__init__(card, row["drawn"], [node[0] for node in row["engine"]["wind_table"]])
        self.how = {"method": method, "rtol": tolerance, "atol": tolerance}
        own = self.rocket.burning
        last = len(self.corners) - 2
        # A stretch of the curve and a layer of the wind by looking them up, not by having stopped at their ends.
        self.rocket.burning = lambda t, segment: own(
            t, None if segment is None else min(max(bisect_right(self.corners, t) - 1, 0), last))
        at, heights = self.wind.at, self.wind.heights

        def wind_at(z):
            self.wind.layer = max(bisect_right(heights, z) - 1, 0)
            return at(z)

        self.wind.at = wind_at

    def stretch(self, rate, t, y, until, climb, goal=None):
        """On the rail: to the goal, under thrust."""
        self.segment = 0
        event = until_zero(lambda t, y: goal(y), 1)
        s = solve_ivp(rate, (t, min(until, self.corners[-1])), y, events=event, **self.how)
        return float(s.t[-1]), s.y[:, -1], len(s.t_events[0]) > 0

    def airspeeds(self, delays):
        """Airspeed at each ejection in the air, by delay."""
        t, state = self.leave_rail()
        fires = {delay: self.ejection_s(delay) for delay in delays}
        asked = sorted(fires.values())
        found = {}
        ground = until_zero(lambda t, y: climb_free(y)[0], -1)
        for end, self.segment in ((self.corners[-1], 0), (LONGEST_S, None)):
            times = [s for s in asked if t < s <= end] + [end]
            s = solve_ivp(self.free, (t, end), state, t_eval=times, events=ground, **self.how)
            found |= {time: self.airspeed(y) for time, y in zip(s.t, s.y.T) if time in times[:-1]}
            t, state = end, s.y[:, -1] if s.t[-1] == end else None
        return {delay: found[s] for delay, s in fires.items() if s in found}


def fly_all(card, rows, delays, method, tolerance):
    return [Through(card, row, method, tolerance).airspeeds(delays) for row in rows]


def apart(known, found):
    """The largest error; infinite where one ejects and the other does not."""
    pairs = [(a[d], b.get(d, math.inf)) for a, b in zip(known, found) for d in a]
    return max(abs(a - b) for a, b in pairs)


def main():
    rows = export("flights", sys.argv[1])
    card = next(card for card in rows["rocket"] if card["name"] == ROCKET)
    flights = [row for row in rows["flight"] if row["rocket"] == ROCKET and row["engine"]["sound"]]
    delays = [way["delay_s"] for way in flights[0]["engine"]["ways"]]
    known = fly_all(card, flights, delays, "DOP853", 1e-11)
    for method in METHODS:
        for tolerance in TOLERANCES:
            begin = time.perf_counter()
            found = fly_all(card, flights, delays, method, tolerance)
            seconds = time.perf_counter() - begin
            off = apart(known, found)
            if off <= BOUND_M_S:
                print(json.dumps({"method": method, "tolerance": tolerance, "largest_m_s": off, "flights": len(flights),
                                  "delays": len(delays), "flights_per_s": len(flights) / seconds}), flush=True)
                break


if __name__ == "__main__":
    main()
