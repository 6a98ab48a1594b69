"""One drawn flight by SciPy's DOP853, from equations written for this purpose alone.

State in free flight: place and velocity in east-north-up axes, attitude as a quaternion from body axes (first axis
towards the nose) to east-north-up, angular velocity across the axis. Angles of attack are real angles here, forces
act at their own places and moments are r x F. The integration stops at every corner of thrust, wind and canopy
filling and begins anew there, so that the solver's tolerance means what it says.
"""

import math
from bisect import bisect_right

import numpy as np
from scipy.integrate import solve_ivp
from scipy.optimize import brentq

from rocket import FRICTION, TAIL_FIRST, Rocket
from world import World

# The descent forgets its errors, so it needs fewer digits for a millimetre.
TOLERANCE, HANGING_TOLERANCE = 1e-10, 1e-8


class Lost(Exception):
    """The flight did not go where it was expected."""


class Landed(Lost):
    """It reached the ground, at a time and in a state."""

    def __init__(self, time, state):
        super().__init__(f"it is on the ground at {time:.3f} s")
        self.time, self.state = time, state


def cross(a, b):
    return (a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0])


def dot(a, b):
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2]


def plus(a, b, s=1.0):
    return (a[0] + s * b[0], a[1] + s * b[1], a[2] + s * b[2])


def times(a, s):
    return (a[0] * s, a[1] * s, a[2] * s)


def nose_of(q):
    """First column of the rotation matrix of a quaternion, whatever its length."""
    w, x, y, z = q
    n = w * w + x * x + y * y + z * z
    return ((w * w + x * x - y * y - z * z) / n, 2 * (x * y + w * z) / n, 2 * (x * z - w * y) / n)


def quaternion_to(nose):
    """The shortest turn of the first axis to a direction."""
    q = np.array([1 + nose[0], 0.0, -nose[2], nose[1]])
    return q / np.linalg.norm(q)


class Flight:
    """Flies one drawn flight through its wind laid down at the given heights.

    `drag_error`, and a canopy that comes down without the Earth's rotation, make it wrong on purpose.
    """

    def __init__(self, card, drawn, wind_heights, drag_error=1.0, finer=1.0, rotation_under_canopy=True):
        self.card, self.drawn, self.finer = card, drawn, finer
        self.rotation_under_canopy = rotation_under_canopy
        self.rocket = Rocket(card, drawn)
        self.rocket.drag_factor *= drag_error
        self.world = World(card, drawn, wind_heights)
        self.wind = self.world.wind
        self.corners = sorted({0.0, *(row[0] for row in self.rocket.thrust_nodes)})
        self.segment = 0
        tilt, across = card["tilt_rad"] + drawn["rail_error_rad"][0], drawn["rail_error_rad"][1]
        azimuth = card["azimuth_rad"]
        lean = (math.sin(tilt) * math.sin(azimuth), math.sin(tilt) * math.cos(azimuth), math.cos(tilt))
        right = (math.cos(azimuth), -math.sin(azimuth), 0.0)
        self.rail = plus(times(lean, math.cos(across)), right, math.sin(across))

    # Forces

    def loads(self, t, r, v, nose, spin):
        """Force without gravity, moment about the centre of gravity, and the mass properties."""
        rocket, drawn = self.rocket, self.drawn
        thrust, rate, left = rocket.burning(t, self.segment)
        mass, cg, inertia = rocket.mass(left)
        density, sound = self.world.air(r[2])
        wind = self.wind.at(r[2])
        u = (v[0] - wind[0], v[1] - wind[1], v[2])
        axial = dot(u, nose)
        sideways = plus(u, nose, -axial)
        across = math.sqrt(dot(sideways, sideways))
        speed = math.hypot(axial, across)
        angle = math.atan2(across, axial)
        mach = speed / sound
        pressure = density * speed * speed / 2
        fin_slope = rocket.fins[0] * rocket.fin_factor(mach)

        force, moment = [0.0, 0.0, 0.0], [0.0, 0.0, 0.0]

        def push(f, place):
            arm = times(nose, cg - place)
            m = cross(arm, f)
            for i in range(3):
                force[i] += f[i]
                moment[i] += m[i]

        # Normal force of nose and fins, and broadside drag, against the sideways flow.
        away = times(sideways, -1 / across) if across > 1e-12 else (0.0, 0.0, 0.0)
        sine, cosine = math.sin(angle), abs(math.cos(angle))
        push(times(away, pressure * rocket.area * rocket.nose[0] * sine * cosine), rocket.nose[1])
        push(times(away, pressure * rocket.area * fin_slope * sine * cosine), rocket.fins[1])
        push(times(away, pressure * rocket.cross_area * sine * sine), rocket.cross_place)
        # Axial force: -1/2 rho S C V (v.a) a.
        coefficient = rocket.axial(mach, self.segment is not None) * (TAIL_FIRST if axial < 0 else 1.0)
        push(times(nose, thrust - pressure * rocket.area * coefficient * math.cos(angle)), cg)

        # Misaligned thrust and fins, in transverse axes that count the roll from the given horizontal direction.
        e1 = cross(nose, (*drawn["roll_reference"], 0.0))
        e1 = times(e1, 1 / math.sqrt(max(dot(e1, e1), 1e-4)))
        e2 = cross(nose, e1)
        roll = drawn["roll_rad"] + drawn["roll_rate_rad_s"] * t
        turned = lambda x, y: plus(times(e1, x * math.cos(roll) - y * math.sin(roll)), e2,
                                   x * math.sin(roll) + y * math.cos(roll))
        if thrust > 0.0:
            push(times(turned(*drawn["thrust_misalignment_rad"]), thrust), rocket.nozzle)
        push(times(turned(*drawn["fin_misalignment_rad"]), pressure * rocket.area * fin_slope * cosine), rocket.fins[1])

        # Pitch damping of every part at its own lever; the jet's, with the propellant's radius of gyration.
        damping = density * speed * rocket.area / 2 * (
            rocket.nose[0] * (rocket.nose[1] - cg) ** 2 + fin_slope * (rocket.fins[1] - cg) ** 2)
        gyration2 = rocket.gyration2 + (rocket.propellant_place - cg) ** 2
        damping += rate * ((rocket.nozzle - cg) ** 2 - gyration2)
        return force, plus(moment, spin, -damping), mass, cg, inertia

    def field(self, r, v):
        """Gravity and Coriolis acceleration."""
        turn = cross(self.world.omega, v)
        return (-2 * turn[0], -2 * turn[1], -2 * turn[2] - self.world.gravity(r[2]))

    def free(self, t, y):
        y = y.tolist()
        r, v, q, spin = y[0:3], y[3:6], y[6:10], y[10:13]
        force, moment, mass, _, inertia = self.loads(t, r, v, nose_of(q), spin)
        a = plus(self.field(r, v), force, 1 / mass)
        return (*v, *a, *self.turning(q, spin), *times(moment, 1 / inertia))

    @staticmethod
    def turning(q, spin):
        """Half the product of the angular velocity with the quaternion."""
        w, x, y, z = q
        p, s, u = spin
        return (-(p * x + s * y + u * z) / 2, (p * w + s * z - u * y) / 2, (s * w + u * x - p * z) / 2,
                (u * w + p * y - s * x) / 2)

    # The rail

    def along_rail(self, t, place, speed):
        """Acceleration along the rail with both guides on it: they carry all that presses across, and rub."""
        r = plus(self.rest, self.rail, place)
        v = times(self.rail, speed)
        force, _, mass, _, _ = self.loads(t, r, v, self.rail, (0.0, 0.0, 0.0))
        a = plus(self.field(r, v), force, 1 / mass)
        pull = dot(a, self.rail)
        pressing = plus(a, self.rail, -pull)
        return pull - FRICTION * math.sqrt(dot(pressing, pressing))

    def guided(self, t, y):
        return (y[1], self.along_rail(t, y[0], y[1]))

    def tip_off(self, t, y):
        """The aft guide alone: its acceleration across the rail is nil. The two unknown parts of the rail's force
        follow from a linear system, for a friction that follows from them in turn."""
        y = y.tolist()
        r, v, q, spin = y[0:3], y[3:6], y[6:10], y[10:13]
        nose = nose_of(q)
        force, moment, mass, cg, inertia = self.loads(t, r, v, nose, spin)
        a = plus(self.field(r, v), force, 1 / mass)
        arm = times(nose, cg - self.rocket.aft_guide)

        def of_guide(acceleration, angular):
            return plus(plus(acceleration, cross(angular, arm)), cross(spin, cross(spin, arm)))

        def answer(f):
            """Change of the guide's acceleration by a force on it."""
            return plus(times(f, 1 / mass), cross(times(cross(arm, f), 1 / inertia), arm))

        first, second = self.across_rail
        bare = of_guide(a, times(moment, 1 / inertia))
        (a11, a21), (a12, a22) = ([dot(answer(f), axis) for axis in (first, second)] for f in (first, second))
        rub = (0.0, 0.0, 0.0)
        for _ in range(6):
            held = plus(bare, answer(rub))
            b1, b2 = -dot(held, first), -dot(held, second)
            n1, n2 = (b1 * a22 - b2 * a12) / (a11 * a22 - a12 * a21), (a11 * b2 - a21 * b1) / (a11 * a22 - a12 * a21)
            rub = times(self.rail, -FRICTION * math.hypot(n1, n2))
        held = plus(plus(times(first, n1), second, n2), rub)
        a = plus(a, held, 1 / mass)
        moment = plus(moment, cross(arm, held))
        return (*v, *a, *self.turning(q, spin), *times(moment, 1 / inertia))

    def filling(self, t, y):
        """Under a canopy that grows with the square of the air path: a point mass."""
        return self.hanging(t, y, (y[6] / self.rocket.fill_path) ** 2)

    def hanging(self, t, y, open_share=1.0):
        """Under a canopy that is open, or a share of it: a point mass."""
        rocket = self.rocket
        x, y, z, vx, vy, vz, _ = y.tolist()
        wind = self.wind.at(z)
        u = (vx - wind[0], vy - wind[1], vz)
        speed = math.sqrt(dot(u, u))
        area = rocket.bare_area + rocket.canopy_area * open_share
        still = (0.0, 0.0, -self.world.gravity(z))
        field = self.field((x, y, z), (vx, vy, vz)) if self.rotation_under_canopy else still
        a = plus(field, u, -self.world.air(z)[0] * speed * area / 2 / rocket.dry)
        return (vx, vy, vz, *a, speed)

    # Integration

    def stretch(self, rate, t, y, until, climb, goal=None):
        """From one time to another, with a new start at every corner of thrust and wind. `climb` gives height and
        rate of climb of a state; `goal`, a function of the state, ends the stretch by rising to zero, which is
        told."""
        while t < until:
            k = bisect_right(self.corners, t + 1e-12)
            burning = k < len(self.corners)
            self.segment = k - 1 if burning else None
            end = min(self.corners[k], until) if burning else until
            z, rising = climb(y)
            low, high = self.wind.enter(z, rising > 0)
            events = [until_zero(lambda t, y: climb(y)[0] - high, 1), until_zero(lambda t, y: climb(y)[0] - low, -1)]
            if goal:
                events.append(until_zero(lambda t, y: goal(y), 1))
            digits = (HANGING_TOLERANCE if rate in (self.filling, self.hanging) else TOLERANCE) / self.finer
            s = solve_ivp(rate, (t, end), y, method="DOP853", events=events, rtol=digits, atol=digits)
            if s.status < 0:
                raise Lost(s.message)
            t, y = float(s.t[-1]), s.y[:, -1]
            if goal and len(s.t_events[-1]):
                return t, y, True
            if low <= 0.0 and len(s.t_events[1]):
                raise Landed(t, y)
        return t, y, False

    def lift_off(self):
        """When thrust first beats weight and friction."""
        net = lambda t: self.along_rail(t, 0.0, 0.0)
        self.segment = 0
        self.wind.enter(self.rest[2], True)
        if net(0.0) > 0:
            return 0.0
        for self.segment, (low, high) in enumerate(zip(self.corners, self.corners[1:])):
            if net(high) > 0:
                return brentq(net, low, high, xtol=1e-14)
        raise Lost("it never leaves the rail")

    def leave_rail(self):
        """From rest to the end of the rail: time and state there."""
        rocket = self.rocket
        _, cg, _ = rocket.mass(rocket.propellant)
        self.rest = (0.0, 0.0, (self.card["length_m"] - cg) * self.rail[2])
        climb = lambda y: (self.rest[2] + y[0] * self.rail[2], max(y[1], 1e-9) * self.rail[2])
        start = self.lift_off()
        t, y, left = self.stretch(self.guided, start, np.zeros(2), start + 10.0, climb,
                                  lambda y: y[0] - rocket.forward_travel)
        if not left:
            raise Lost("it stays on the rail")
        state = np.array([*plus(self.rest, self.rail, y[0]), *times(self.rail, y[1]), *quaternion_to(self.rail),
                          0.0, 0.0, 0.0])
        first = cross(self.rail, (1.0, 0.0, 0.0))
        first = times(first, 1 / math.sqrt(dot(first, first)))
        self.across_rail = first, cross(self.rail, first)
        _, _, remaining = rocket.burning(t, self.segment)
        lever = rocket.aft_guide - rocket.mass(remaining)[1]
        guide = lambda y: dot(plus(y[0:3], nose_of(y[6:10]), -lever), self.rail)
        goal = guide(state) + rocket.last_travel - rocket.forward_travel
        t, state, left = self.stretch(self.tip_off, t, state, t + 5.0, climb_free, lambda y: guide(y) - goal)
        if not left:
            raise Lost("it stays on the aft guide")
        return t, state

    def land(self, t, state):
        """Time and place of landing under the canopy that begins to fill here."""
        y = np.array([*state[0:6], 0.0])
        try:
            t, y, _ = self.stretch(self.filling, t, y, t + 1e5, climb_free, lambda y: y[6] - self.rocket.fill_path)
            self.stretch(self.hanging, t, y, t + 1e5, climb_free)
        except Landed as down:
            return down.time, down.state[0], down.state[1]
        raise Lost("it never comes down")

    def airspeed(self, state):
        wind = self.wind.at(state[2])
        return math.sqrt((state[3] - wind[0]) ** 2 + (state[4] - wind[1]) ** 2 + state[5] ** 2)

    def ejection_s(self, delay):
        """Burnout, the delay, and its error in units of the tolerance: 20 %, at least 1.5 s and at most 3 s."""
        error = self.drawn["delay_in_tolerances"] * min(max(0.2 * delay, 1.5), 3.0)
        return self.rocket.burnout + max(delay + error, 0.0)

    def fly(self, delays):
        """Rail exit, and for each delay the ejection's time and airspeed and the landing's time and place."""
        t, state = self.leave_rail()
        result = {"rail_exit_s": t, "rail_exit_m_s": float(np.dot(state[3:6], self.rail)), "ways": {}}
        fires = {delay: self.ejection_s(delay) for delay in delays}
        lag = self.drawn["line_stretch_lag_s"]
        stops = sorted([(s, "fires", d) for d, s in fires.items()] + [(s + lag, "opens", d) for d, s in fires.items()])
        for stop, what, delay in stops:
            t, state, _ = self.stretch(self.free, t, state, stop, climb_free)
            if what == "fires":
                result["ways"][delay] = {"ejection_s": stop, "airspeed_m_s": self.airspeed(state)}
            else:
                down = self.land(t, state)
                result["ways"][delay] |= dict(zip(("landing_s", "east_m", "north_m"), map(float, down)))
        return result


def climb_free(y):
    return y[2], y[5]


def until_zero(function, direction):
    """An event that ends an integration."""
    function.terminal, function.direction = True, direction
    return function
