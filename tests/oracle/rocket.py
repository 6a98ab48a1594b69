"""A flight card and one flight's draws, turned into the numbers that forces need.

Sources: J. S. Barrowman's method (1966/67) for slopes and places, Diederich (NACA TN 2335) for fins against Mach
number, Allen and Perkins (NACA R-1048) with Jorgensen's factor (NASA TR R-474) broadside; what a card leaves open
is filled in as README and the answer's `assumed` say.
"""

import math
from bisect import bisect_right

from scipy.integrate import quad

# Cross-flow drag of a long cylinder and of a flat plate, and Jorgensen's factor against length over diameter.
ACROSS = 1.2
JORGENSEN = [(5, 0.624), (8, 0.663), (10, 0.684), (12, 0.701), (15, 0.724), (18, 0.742), (20, 0.753), (25, 0.775),
             (30, 0.792), (40, 0.818)]
TAIL_FIRST = 1.5
FRICTION = 0.1
CANOPY_DRAG = 0.75
FILL_DIAMETERS = 8.0


def linear(xs, ys, x):
    """Linear between nodes, held beyond both ends."""
    k = bisect_right(xs, x)
    if k == 0 or k == len(xs):
        return ys[max(k - 1, 0)]
    return ys[k - 1] + (ys[k] - ys[k - 1]) * (x - xs[k - 1]) / (xs[k] - xs[k - 1])


def jorgensen(fineness):
    """Drag of a cylinder of finite length over that of a long one."""
    return linear(*zip(*JORGENSEN), fineness)


def prandtl_glauert(mach):
    """The compressibility factor, held at 0.6 near Mach 1."""
    return max(math.sqrt(abs(1 - mach * mach)), 0.6)


def silhouette(radius, nose_m, length_m, diameter_m):
    """Area seen from the side and its centroid: a nose of the given profile, then a tube."""
    area = quad(lambda x: 2 * radius(x), 0, nose_m, epsabs=1e-14)[0]
    first = quad(lambda x: 2 * radius(x) * x, 0, nose_m, epsabs=1e-14)[0]
    tube = (length_m - nose_m) * diameter_m
    return area + tube, (first + tube * 0.5 * (nose_m + length_m)) / (area + tube)


class Rocket:
    """One flight's rocket."""

    def __init__(self, card, drawn):
        self.area = math.pi * card["diameter_m"] ** 2 / 4
        self.shape(card) if card["shape"] else self.figures(card)
        shift = drawn["centre_of_pressure_error_m"]
        factor = drawn["slope_factor"]
        self.nose = (self.nose[0] * factor, self.nose[1] + shift)
        self.fins = (self.fins[0] * factor, self.fins[1] + shift)
        self.drag_factor = drawn["drag_factor"]
        self.drag_machs, *self.drag_tables = zip(*card["drag"])
        self.masses(card, drawn)
        self.motor(card, drawn)
        # The body drags as nose first under its canopy, at the card's own drag.
        self.bare_area = self.drag_tables[0][0] * self.area
        self.canopy_area = CANOPY_DRAG * math.pi * card["parachute_m"] ** 2 / 4 * drawn["canopy_factor"]
        self.fill_path = FILL_DIAMETERS * card["parachute_m"]
        self.nozzle = card["length_m"]
        # Guides: the forward one at the card's centre of gravity, the aft one near the tail.
        self.aft_guide = 0.95 * card["length_m"]
        self.last_travel = card["rail_length_m"]
        self.forward_travel = self.last_travel - (self.aft_guide - card["centre_of_gravity_m"])

    def figures(self, card):
        """From a card without a shape: a nose of slope 2, and fins so that the centre of pressure comes out."""
        length, diameter = card["length_m"], card["diameter_m"]
        nose_m = min(4 * diameter, length / 4)
        slope, centre = card["normal_force_slope_per_rad"], card["centre_of_pressure_m"]
        self.nose = (2.0, 0.466 * nose_m)
        self.fins = (slope - 2, (slope * centre - 2 * self.nose[1]) / (slope - 2))
        assert self.fins[1] <= length, "fins behind the tail: a card that this oracle does not know"
        arc = (diameter * diameter / 4 + nose_m * nose_m) / diameter
        body, centroid = silhouette(
            lambda x: math.sqrt(arc * arc - (nose_m - x) ** 2) - arc + diameter / 2, nose_m, length, diameter)
        plates = self.fins[0] * self.area / 3.1
        self.broadside(body * jorgensen(length / diameter), centroid, plates, self.fins[1])
        # Diederich's wing of aspect ratio 2 without sweep.
        wing = lambda beta: 1 / (2 + math.sqrt(4 + 4 * beta * beta))
        self.fin_factor = lambda mach: wing(prandtl_glauert(mach)) / wing(1.0)

    def shape(self, card):
        """From the outside: a cone on a tube with one set of three or four fins."""
        length, diameter, fins = card["length_m"], card["diameter_m"], card["shape"]["fins"]
        cone = card["shape"]["cone_length_m"]
        root, tip, span, sweep = (fins[k] for k in ("root_chord_m", "tip_chord_m", "span_m", "sweep_m"))
        assert 3 <= fins["count"] <= 4, "interference of more fins is not written here"
        chord_line = math.hypot(span, sweep + (tip - root) / 2)
        body_radius = fins["body_diameter_m"] / 2

        def slope(beta):
            lift = 4 * fins["count"] * (span / diameter) ** 2
            lift /= 1 + math.sqrt(1 + (2 * beta * chord_line / (root + tip)) ** 2)
            return lift * (1 + body_radius / (span + body_radius))

        place = fins["station_m"] + sweep / 3 * (root + 2 * tip) / (root + tip)
        place += (root + tip - root * tip / (root + tip)) / 6
        self.nose, self.fins = (2.0, 2 / 3 * cone), (slope(1.0), place)
        self.fin_factor = lambda mach: slope(prandtl_glauert(mach)) / slope(1.0)
        body, centroid = silhouette(lambda x: diameter / 2 * x / cone, cone, length, diameter)
        # A trapezoid seen from the side: its centroid by integrating chord by chord over the span.
        chord = lambda y: root + (tip - root) * y / span
        plate = quad(chord, 0, span)[0]
        first = quad(lambda y: chord(y) * (sweep * y / span + chord(y) / 2), 0, span)[0]
        self.broadside(body * jorgensen(length / diameter), centroid, fins["count"] / 2 * plate,
                       fins["station_m"] + first / plate)

    def broadside(self, body, body_place, plates, plates_place):
        """Drag area across the flow and where it acts."""
        self.cross_area = ACROSS * (body + plates)
        self.cross_place = ACROSS * (body * body_place + plates * plates_place) / self.cross_area

    def masses(self, card, drawn):
        """A light or heavy airframe, and propellant that is what it is, at a fixed place."""
        length, diameter = card["length_m"], card["diameter_m"]
        stick, calibre = card["motor_length_m"], card["motor_diameter_m"]
        self.propellant = card["propellant_kg"]
        dry = card["mass_kg"] - self.propellant
        self.propellant_place = length - stick / 2
        self.gyration2 = stick * stick / 12 + calibre * calibre / 16
        place = (card["mass_kg"] * card["centre_of_gravity_m"] - self.propellant * self.propellant_place) / dry
        inertia = dry * (length * length / 12 + diameter * diameter / 16)
        lift_off = card["mass_kg"] * drawn["mass_factor"]
        self.dry = lift_off - self.propellant
        # The drawn error is one of the whole rocket's centre of gravity at lift-off.
        self.dry_place = place + drawn["centre_of_gravity_error_m"] * lift_off / self.dry
        self.dry_inertia = inertia * drawn["mass_factor"]

    def motor(self, card, drawn):
        """The thrust curve as drawn: (time, thrust, propellant burned per second, propellant burned)."""
        nominal = card["thrust_curve"]
        impulse = sum((b[0] - a[0]) * (a[1] + b[1]) / 2 for a, b in zip(nominal, nominal[1:]))
        self.thrust_nodes = []
        burned = 0.0
        for time, thrust in nominal:
            t = time * drawn["burn_factor"]
            rate = thrust / drawn["burn_factor"] * self.propellant / impulse
            if self.thrust_nodes:
                before = self.thrust_nodes[-1]
                burned += (t - before[0]) * (rate + before[2]) / 2
            self.thrust_nodes.append((t, thrust * drawn["impulse_factor"] / drawn["burn_factor"], rate, burned))
        self.burn_end = self.thrust_nodes[-1][0]
        level = 0.05 * max(row[1] for row in self.thrust_nodes)
        a, b = [pair for pair in zip(self.thrust_nodes, self.thrust_nodes[1:]) if pair[0][1] >= level][-1]
        self.burnout = a[0] + (level - a[1]) / (b[1] - a[1]) * (b[0] - a[0])

    def burning(self, t, segment):
        """Thrust, propellant burned per second and propellant left, in a stretch of the curve."""
        if segment is None:
            return 0.0, 0.0, 0.0
        a, b = self.thrust_nodes[segment], self.thrust_nodes[segment + 1]
        w = (t - a[0]) / (b[0] - a[0])
        rate = a[2] + (b[2] - a[2]) * w
        return a[1] + (b[1] - a[1]) * w, rate, self.propellant - a[3] - (t - a[0]) * (a[2] + rate) / 2

    def mass(self, left):
        """Mass, centre of gravity and transverse inertia with so much propellant left."""
        mass = self.dry + left
        place = (self.dry * self.dry_place + left * self.propellant_place) / mass
        inertia = self.dry_inertia + self.dry * (self.dry_place - place) ** 2
        inertia += left * (self.gyration2 + (self.propellant_place - place) ** 2)
        return mass, place, inertia

    def axial(self, mach, burning):
        """Axial force coefficient nose first."""
        return self.drag_factor * linear(self.drag_machs, self.drag_tables[burning], mach)
