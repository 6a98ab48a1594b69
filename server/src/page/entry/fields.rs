//! What a person fills in, in the order of the page: one table. It holds labels in the trade's words and examples; what a field
//! means, whether it is needed and which words it takes is said by the published schema of a day, and what holds if it is left
//! out by the engine (`told.rs`).

/// A part of the page.
#[derive(Debug)]
pub enum Part {
    /// One field.
    Field {
        /// Where it lies in what it belongs to.
        at: &'static str,
        /// What it is called.
        label: &'static str,
        /// As people write it; empty where the schema's words say enough.
        example: &'static str,
        /// How it is written, where the schema leaves that open.
        how: How,
    },
    /// Fields under a heading.
    Group {
        /// Where they lie in what they belong to.
        at: &'static str,
        /// The heading.
        title: &'static str,
        /// A line below it.
        about: &'static str,
        /// Whether they are folded: most people need none of them.
        folded: bool,
        /// What is taken out by one press with all that lies there, also what stands in other groups; empty where nothing is.
        taken_out: &'static str,
        /// The fields.
        parts: &'static [Part],
    },
    /// Any number of the same. Where each is a list itself, its only part is a list with an empty `at`.
    List {
        /// Where the list lies.
        at: &'static str,
        /// What all of them are.
        title: &'static str,
        /// What one is called.
        one: &'static str,
        /// The fields of one.
        parts: &'static [Part],
    },
    /// One of several forms.
    One {
        /// Where it lies; empty: beside what it belongs to.
        at: &'static str,
        /// What is chosen.
        label: &'static str,
        /// The forms.
        forms: Forms,
    },
}

/// How a field is written.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum How {
    /// As the schema's type has it.
    Plain,
    /// Values parted by commas.
    List,
    /// A row a line: columns parted by commas or blanks.
    Rows,
    /// The same, sent as the text it is.
    Columns,
    /// A row a line, each an object of these members.
    Table(&'static [&'static str]),
    /// JSON, pasted or from a file; other text is sent as it is.
    Json,
    /// Several lines of text.
    Lines,
    /// Some of the words that are known.
    Some,
}

/// Forms of which one is chosen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Forms {
    /// A distribution.
    Law,
    /// An area.
    Area,
    /// A set of rules.
    Rules,
}

impl Forms {
    /// Every kind.
    pub const ALL: [Self; 3] = [Self::Law, Self::Area, Self::Rules];

    /// What its forms are kept under.
    pub fn name(self) -> &'static str {
        match self {
            Self::Law => "law",
            Self::Area => "area",
            Self::Rules => "rules",
        }
    }

    /// A place at which one of them is chosen, below which the fields of its forms are said.
    pub fn base(self) -> &'static str {
        match self {
            Self::Law => "/spread/-",
            Self::Area => "/site/areas/-",
            Self::Rules => "/rule_set",
        }
    }

    /// The forms: the member that each is, what it is called, its fields.
    pub fn each(self) -> &'static [(&'static str, &'static str, &'static [Part])] {
        match self {
            Self::Law => LAWS,
            Self::Area => AREAS,
            Self::Rules => RULES,
        }
    }
}

const fn field(at: &'static str, label: &'static str, example: &'static str) -> Part {
    how(at, label, example, How::Plain)
}

const fn how(at: &'static str, label: &'static str, example: &'static str, how: How) -> Part {
    Part::Field { at, label, example, how }
}

const fn group(at: &'static str, title: &'static str, about: &'static str, parts: &'static [Part]) -> Part {
    optional(at, title, about, "", parts)
}

const fn optional(
    at: &'static str,
    title: &'static str,
    about: &'static str,
    taken_out: &'static str,
    parts: &'static [Part],
) -> Part {
    Part::Group { at, title, about, folded: false, taken_out, parts }
}

const fn more(at: &'static str, title: &'static str, about: &'static str, parts: &'static [Part]) -> Part {
    Part::Group { at, title, about, folded: true, taken_out: "", parts }
}

const fn list(at: &'static str, title: &'static str, one: &'static str, parts: &'static [Part]) -> Part {
    Part::List { at, title, one, parts }
}

const fn law(at: &'static str, label: &'static str) -> Part {
    Part::One { at, label, forms: Forms::Law }
}

/// A day but for its flights.
pub static DAY: &[Part] = &[
    group("launch", "The rail", "As most flights of the day have it; a flight may say otherwise.", RAIL),
    group("", "Delays and altimeters", "As most flights of the day have them; a flight may say otherwise.", DEPLOYING),
    group(
        "site",
        "The field",
        "",
        &[
            field("name", "Name of the field", "Long Meadow"),
            field("latitude", "Latitude", "42.7 deg"),
            field("elevation", "Height above the sea", "400 ft"),
            field("temperature", "Air temperature", "18 C"),
            field("altimeter_setting", "Altimeter setting", "29.92 inHg"),
            field("ceiling", "Ceiling", "2500 ft"),
            more(
                "",
                "Where on the globe, and the compass",
                "A map in degrees needs the position of the origin.",
                &[
                    field("position/latitude", "Latitude of the origin", "42.7001 deg"),
                    field("position/longitude", "Longitude of the origin", "-71.0002 deg"),
                    field("declination", "Magnetic declination", "-14 deg"),
                    field("station_pressure", "Pressure measured at the field", "1002 hPa"),
                ],
            ),
            list(
                "areas",
                "Areas",
                "area",
                &[
                    field("name", "Name of the area", "spectators"),
                    field("role", "What it is", ""),
                    Part::One { at: "", label: "Drawn as", forms: Forms::Area },
                    field("people", "People in it", "40"),
                ],
            ),
            how("map", "Areas as GeoJSON, pasted or from a file", "", How::Json),
            list(
                "pads",
                "Pads",
                "pad",
                &[
                    field("name", "Name of the pad", "A"),
                    field("east", "East of the origin", "20 m"),
                    field("north", "North of the origin", "0 m"),
                    more(
                        "position",
                        "By degrees instead",
                        "",
                        &[
                            field("latitude", "Latitude of the pad", "42.7003 deg"),
                            field("longitude", "Longitude of the pad", "-71.0005 deg"),
                        ],
                    ),
                ],
            ),
        ],
    ),
    optional(
        "wind",
        "Wind by hand",
        "Give this, or messages below; a calm day is a speed of 0.",
        "the wind by hand",
        WINDS,
    ),
    more(
        "wind",
        "More of the wind by hand",
        "",
        &[
            field("source", "Where these figures come from", "hand-held, 10:15"),
            field("age", "Age of these figures at launch", "2 h"),
            list("members", "Members of an ensemble", "member", WINDS),
            group("", "Ground and gusts", "", GROUND),
        ],
    ),
    optional(
        "weather",
        "Weather from messages",
        "Paste a message as it was issued, decode it and see what it says.",
        "the messages",
        &[
            field("date", "Date in UTC near which it was issued", "2026-11-25"),
            how("metar", "METAR or SPECI", "KABQ 100156Z 32010KT 10SM FEW033 19/14 A2999", How::Lines),
            how("winds_aloft", "Winds-aloft bulletin, with its heading", "", How::Lines),
            field("station", "Station of the bulletin", "ABQ"),
            how("sounding", "Sounding", "TTAA 81001 72518 ...", How::Lines),
            more(
                "",
                "Other forms of winds aloft",
                "",
                &[
                    how(
                        "layers",
                        "Winds by height, as a table",
                        "height_above_ground ft, direction deg, speed kt",
                        How::Json,
                    ),
                    how("coverage", "CoverageJSON, pasted or from a file", "", How::Json),
                    how("decoded", "What was decoded before, pasted or from a file", "", How::Json),
                    how("members", "Members of an ensemble", "", How::Json),
                ],
            ),
            more("", "Ground and gusts", "", GROUND),
        ],
    ),
    group(
        "",
        "The hour",
        "",
        &[field("launch_at", "Launch, with the offset of its clock", "2026-11-25T10:30:00-07:00")],
    ),
    group(
        "",
        "What it is held against",
        "",
        &[
            how("limits/deploy_speed", "Limits of the airspeed when it opens", "35 mph, 100 mph", How::List),
            field("condition/chance", "Largest chance that is taken", "5 %"),
            field("condition/limit", "at which of the limits", "35 mph"),
            more(
                "",
                "More of limits and rules",
                "",
                &[
                    field("limits/applies_to", "Airspeed at", ""),
                    Part::One { at: "rule_set", label: "Rules that the cautions quote", forms: Forms::Rules },
                ],
            ),
        ],
    ),
    more(
        "",
        "How many flights",
        "",
        &[
            field("flights", "Flights of each card", "2000"),
            field("until/half_width", "or until each chance is known to", "0.5 %"),
            field("until/within", "within so many flights", "100000"),
            field("seed", "Seed of the draws", "1"),
            field("points", "Drawn by", ""),
            how("advise", "Also tried", "", How::Some),
        ],
    ),
    more("spread", "How uncertain each figure is", "What is assumed of each, and why, stands beside it.", SPREAD),
    more("failures", "Shares of failures", "None is assumed.", FAILURES),
    more(
        "",
        "Rare events",
        "Sought where they happen, by flights beside those above: for chances far below one in a thousand.",
        &[list(
            "rare",
            "Rare events",
            "rare event",
            &[
                field("landing_in", "Lands in the area called", "spectators"),
                field("opening_over", "or opens faster than", "60 mph"),
                field("flown_with", "Flown with", "delay 7 s"),
                field("flights", "Flights of a round", "8192"),
            ],
        )],
    ),
    group("", "A note", "", &[how("note", "Note to keep with the day", "", How::Lines)]),
];

/// A flight of a day.
pub static FLIGHT: &[Part] = &[
    field("name", "What the flight is called today", "pad 3, second flight"),
    group(
        "card",
        "The card",
        "Of a copy of another flight only what differs is needed.",
        &[
            field("name", "Name of the rocket", "Example one (invented)"),
            field("airframe/mass", "Ready to fly it weighs", "620 g"),
            field("airframe/centre_of_gravity", "Ready to fly it balances, from the nose tip, at", "632 mm"),
            field("airframe/length", "Length from nose tip to tail", "980 mm"),
            field("airframe/diameter", "Largest diameter", "54 mm"),
        ],
    ),
    group(
        "card/motor",
        "Motor",
        "Its code, or its thrust curve, which says more.",
        &[
            field("code", "Code", "C6-5"),
            how("thrust_curve", "or thrust curve: seconds and newtons, a pair a line", "", How::Columns),
            field("propellant_mass", "Propellant", "52 g"),
            field("diameter", "Diameter of the motor", "29 mm"),
            field("length", "Length of the motor", "124 mm"),
            more(
                "",
                "Clusters, burnout, where the propellant lies",
                "",
                &[
                    field("propellant_centre", "Middle of the propellant, from the nose tip", "918 mm"),
                    field("count", "Motors lit together", "1"),
                    field("ring_radius", "Their distance from the axis", "20 mm"),
                    field("one_unlit_share", "One stays unlit in", "2 %"),
                    field("burnout", "Burnt out at", ""),
                    field("delay_from", "Delay counts from", ""),
                ],
            ),
        ],
    ),
    group("", "Delays and altimeters", "Where they differ from those of the day.", DEPLOYING),
    group("card/recovery/first", "What opens first", "", DEVICE),
    more(
        "card/recovery",
        "What opens second",
        "",
        &[field("main_height", "Coming down, at", "500 ft"), group("main", "The second", "", DEVICE)],
    ),
    group(
        "card/airframe",
        "Measured: how air pushes it",
        "Give centre of pressure and drag, or the outside below.",
        &[
            field("centre_of_pressure", "Centre of pressure, from the nose tip", "765 mm"),
            field("drag_coefficient", "Drag coefficient", "0.55"),
            more(
                "",
                "More that was measured",
                "",
                &[
                    how(
                        "drag_table",
                        "or drag against Mach number: two columns",
                        "",
                        How::Table(&["mach", "drag_coefficient"]),
                    ),
                    field("normal_force_slope", "Normal-force slope per radian", "10"),
                    field("tail_first_factor", "Drag flying tail first, over nose first", "1.2"),
                    field("centre_of_gravity_burnout", "Balances after burnout at", "600 mm"),
                    field("pitch_inertia", "Moment of inertia at lift-off", "0.05 kg m^2"),
                    field("pitch_inertia_burnout", "Moment of inertia after burnout", "0.045 kg m^2"),
                ],
            ),
        ],
    ),
    more(
        "card/airframe/shape",
        "The outside: nose, body, fins",
        "Centre of pressure and drag follow from it.",
        &[
            field("nose/form", "Nose, curve", ""),
            field("nose/length", "Nose, length", "200 mm"),
            field("nose/base_diameter", "Nose, diameter where it meets the body", "54 mm"),
            list(
                "shoulders_and_boattails",
                "Shoulders and boattails",
                "shoulder or boattail",
                &[
                    field("station", "Begins, from the nose tip, at", "900 mm"),
                    field("length", "Length along the body", "80 mm"),
                    field("front_diameter", "Diameter in front", "54 mm"),
                    field("rear_diameter", "Diameter behind", "40 mm"),
                ],
            ),
            list(
                "fins",
                "Fins",
                "set of fins",
                &[
                    field("count", "How many", "3"),
                    field("span", "Span of one, from the body", "55 mm"),
                    field("root_chord", "Chord at the body", "100 mm"),
                    field("tip_chord", "Chord at the tip", "50 mm"),
                    field("sweep", "Sweep of the leading edge", "45 mm"),
                    field("thickness", "Thickness", "3 mm"),
                    field("edges", "Edges", ""),
                    field("station", "Leading edge at the body, from the nose tip", "880 mm"),
                    field("body_diameter", "Diameter of the body there", "54 mm"),
                ],
            ),
            list(
                "guides",
                "Rail guides",
                "rail guide",
                &[
                    field("station", "Middle, from the nose tip", "600 mm"),
                    field("frontal_area", "Area seen from the front", "90 mm^2"),
                    field("wetted_area", "Area that air touches", "500 mm^2"),
                ],
            ),
            field("roughness", "Roughness of the surface", "20 um"),
        ],
    ),
    more("launch", "Rail of this flight", "Where it differs from that of the day.", RAIL),
    more("spread", "How uncertain its figures are", "Where that differs from what the day says of it.", SPREAD),
    more("failures", "Shares of its failures", "Where they differ from those of the day.", FAILURES),
    more(
        "calibration",
        "Flights flown and logged",
        "What was logged of this rocket before says how its drag, its motors and the wind are off.",
        FLOWN,
    ),
    more("cords", "Cord and tube edge", "How hard the cord pulls, and whether it tears the tube.", CORDS),
    more(
        "",
        "Hour of this flight, and copies",
        "",
        &[
            field("launch_at", "Launch, with the offset of its clock", "2026-11-25T11:15:00-07:00"),
            field("copy_of", "Copied from the flight called", "pad 1"),
        ],
    ),
];

/// A rail, of the day or of one flight.
const RAIL: &[Part] = &[
    field("rail_length", "Rail or rod, travel until the last guide leaves", "8 ft"),
    field("tilt", "Tilt from vertical", "5 deg"),
    field("azimuth", "Leaning towards", "250 deg"),
    more(
        "",
        "More of the rail",
        "",
        &[
            field("pad", "Pad", "A"),
            field("friction", "Friction of the guides", "0.1"),
            field("forward_guide", "Forward rail guide, from the nose tip", "600 mm"),
            field("aft_guide", "Aft rail guide, from the nose tip", "900 mm"),
        ],
    ),
];

/// What has it open, of the day or of one flight.
const DEPLOYING: &[Part] = &[
    how("delays", "Delays of the ejection charge", "5, 7, 10", How::List),
    list(
        "electronics",
        "Altimeters",
        "altimeter",
        &[
            field("fires_at", "Fires at", ""),
            field("height", "at a height of", "150 m"),
            field("backup_delay", "Motor's delay behind it", "10 s"),
        ],
    ),
];

/// What opens, first or second.
const DEVICE: &[Part] = &[
    field("kind", "Opens", ""),
    field("diameter", "Parachute: diameter of the cloth", "24 in"),
    field("length", "Streamer: length", "1.2 m"),
    field("width", "Streamer: width", "100 mm"),
    more(
        "",
        "Drag and filling",
        "",
        &[
            field("drag_coefficient", "Drag coefficient of the cloth", "0.75"),
            field("fill_constant", "Diameters of air path until full", "8"),
        ],
    ),
];

/// A wind, the one that there is or one that may come.
const WINDS: &[Part] = &[
    group(
        "surface",
        "Near the ground",
        "",
        &[
            field("speed", "Mean wind", "8 mph"),
            field("direction", "Blowing from", "250 deg"),
            field("measuring_height", "Height of the instrument", "2 m"),
            field("gust", "Gusts up to", "14 mph"),
        ],
    ),
    list(
        "layers",
        "Winds aloft",
        "wind aloft",
        &[
            field("height_above_ground", "Height above ground", "1000 ft"),
            field("height_above_sea", "or height above the sea", "5000 ft"),
            field("speed", "Speed", "12 kt"),
            field("direction", "Blowing from", "265 deg"),
        ],
    ),
];

/// What the wind blows over, whoever tells it.
const GROUND: &[Part] = &[
    field("terrain", "Surroundings", ""),
    field("roughness_length", "or roughness length", "30 mm"),
    field("power_exponent", "or exponent of the power law", "0.15"),
    field("turbulence", "Gusts by", ""),
    field("turbulence_wind_at_20_ft", "or by a wind at 20 ft", "15 kt"),
];

/// How uncertain figures are, of the day or of one flight.
const SPREAD: &[Part] = &[
    law("impulse", "Impulse"),
    law("burn_time", "Burn time"),
    law("delay", "Delay"),
    field("delay_out_of_tolerance_share", "Delays outside their tolerance", "5 %"),
    law("mass", "Mass"),
    law("centre_of_gravity", "Centre of gravity"),
    law("centre_of_pressure", "Centre of pressure"),
    law("drag", "Drag"),
    law("normal_force_slope", "Normal-force slope"),
    law("thrust_misalignment", "Thrust off the axis"),
    law("fin_misalignment", "Fins off the axis"),
    law("roll_rate", "Roll"),
    law("rail_angle", "Rail off its setting"),
    law("canopy_drag", "Drag of what opens"),
    law("line_stretch_lag", "Ejection to line stretch"),
    law("apogee_lag", "Lag of an altimeter at apogee"),
    law("sensed_height", "Height that an altimeter senses"),
    law("temperature", "Air temperature"),
    law("pressure", "Air pressure"),
    field("wind/component_sd", "Wind, each component", "1.5 m/s"),
    field("wind/growth_per_hour", "Wind, more for each hour of age", "0.04 m/s"),
    field("wind/direction_sd", "Wind, direction", "10 deg"),
    field("wind/correlation_length", "Wind, height over which errors agree", "1000 m"),
];

/// How often what goes wrong, of the day or of one flight.
const FAILURES: &[Part] = &[
    field("no_ejection", "No ejection", "1 %"),
    field("nothing_fills", "Nothing fills", "1 %"),
    field("early_ejection", "Ejects too early", "1 %"),
    field("delay_out_of_tolerance", "Delay far off", "1 %"),
    field("wrong_delay", "Wrong delay fitted", "1 %"),
    field("impulse_short", "Motor gives too little", "1 %"),
    field("first_fails", "First does not fill", "1 %"),
    field("main_at_once", "Main opens with the first", "1 %"),
    field("parts_separate", "Cord breaks", "1 %"),
    field("motor_ejected", "Motor driven out", "1 %"),
    field("fin_lost", "Fin lost", "1 %"),
    field("motor_bursts", "Motor bursts", "1 %"),
];

/// Flights that were flown and logged.
const FLOWN: &[Part] = &[
    list(
        "flown",
        "Flights flown",
        "flight flown",
        &[
            field("apogee", "Apogee logged", "312 m"),
            field("apogee_time", "Time of the apogee", "7.4 s"),
            field("opening_time", "Time of the opening", "8.6 s"),
            field("opening_speed", "Airspeed at the opening", "11 m/s"),
            field("flown_with", "Flown with", "delay 7 s"),
            how(
                "conditions",
                "What was otherwise than today, as JSON",
                r#"{"wind": {"surface": {"speed": "5 m/s", "direction": "240 deg"}}}"#,
                How::Json,
            ),
            more(
                "",
                "Errors of the instrument",
                "",
                &[
                    field("apogee_error", "Standard error of the apogee", "6 m"),
                    field("apogee_time_error", "Standard error of its time", "0.2 s"),
                    field("opening_time_error", "Standard error of the time of opening", "0.2 s"),
                    field("opening_speed_error", "Standard error of the airspeed", "1.5 m/s"),
                ],
            ),
        ],
    ),
    how("csv", "or as a table: a line of names, then a line a flight", "", How::Columns),
    field("flights", "Flights drawn in the conditions of each", "8192"),
    field("bias_share", "Share that all flights have in common", "50 %"),
];

/// Cord and tube edge.
const CORDS: &[Part] = &[
    field("nose_mass", "Nose section weighs", "85 g"),
    field("wall/material", "Wall of the tube, made of", ""),
    field("wall/thickness", "Thickness of the wall", "1.2 mm"),
    field("wall/resistance", "or load at which half of all edges tear, by trials of your own", "40 N/mm"),
    list(
        "arrangements",
        "Arrangements of cord",
        "arrangement",
        &[
            field("name", "Name of the arrangement", "thin line"),
            field("edge_width", "Width on the edge", "3 mm"),
            field("legs", "Legs on the edge", "1"),
            list("runs", "Runs of cord", "run", &[list("", "Parts one after the other", "part", PART)]),
        ],
    ),
    more(
        "",
        "What drives both apart, and spread",
        "",
        &[
            law("parting_speed", "Speed that the charge gives"),
            field("nose_drag_area", "Drag area of the nose section", "23 cm^2"),
            field("airframe_drag_area", "Drag area of the airframe", "20 cm^2"),
            law("stiffness_factor", "Stiffness of every part"),
            law("damping_factor", "Damping of every part"),
            field("strength_log_sd", "Strength, standard deviation of the logarithm", "10 %"),
            field("wall/log_sd", "Wall, standard deviation of the logarithm", "50 %"),
        ],
    ),
];

/// A part of a run of cord.
const PART: &[Part] = &[
    field("length", "Length", "2.5 m"),
    field("strength", "Breaks at", "900 N"),
    field("fibre", "Made of", ""),
    field("stiffness", "or tension per strain", "50 N"),
    more(
        "",
        "What it loses, and where it locks",
        "",
        &[
            field("loss_factor", "Loss factor", "0.1"),
            field("locks_at_strain", "Locks at a stretch of", "80 %"),
            field("locked_stiffness", "Tension per strain from there on", "2000 N"),
        ],
    ),
];

/// Without examples, but for a share: the same form is offered for factors, lengths, times and angles, and what holds for one is
/// refused for another.
const LAWS: &[(&str, &str, &[Part])] = &[
    ("fixed", "always one value", &[field("fixed", "Value", "")]),
    ("normal", "normal", &[field("normal/mean", "Mean", ""), field("normal/sd", "Standard deviation", "")]),
    (
        "truncated_normal",
        "normal, cut at both ends",
        &[
            field("truncated_normal/mean", "Mean before the cut", ""),
            field("truncated_normal/sd", "Standard deviation before the cut", ""),
            field("truncated_normal/low", "Lower end", ""),
            field("truncated_normal/high", "Upper end", ""),
        ],
    ),
    (
        "log_normal",
        "lognormal",
        &[
            field("log_normal/median", "Median", ""),
            field("log_normal/log_sd", "Standard deviation of the logarithm", "10 %"),
        ],
    ),
    ("uniform", "uniform", &[field("uniform/low", "Lower end", ""), field("uniform/high", "Upper end", "")]),
    (
        "triangular",
        "triangular",
        &[
            field("triangular/low", "Lower end", ""),
            field("triangular/mode", "Most likely", ""),
            field("triangular/high", "Upper end", ""),
        ],
    ),
    ("sample", "one of some values", &[how("sample", "Values, parted by commas", "", How::List)]),
];

const AREAS: &[(&str, &str, &[Part])] = &[
    (
        "circle",
        "a circle",
        &[
            field("circle/east", "Middle, east of the origin", "0 m"),
            field("circle/north", "Middle, north of the origin", "-80 m"),
            field("circle/radius", "Radius", "400 m"),
        ],
    ),
    ("polygon", "corners", &[how("polygon", "Corners: east and north, a pair a line", "-60, -60", How::Rows)]),
    ("geometry", "a geometry of GeoJSON", &[how("geometry", "Geometry, pasted or from a file", "", How::Json)]),
];

const RULES: &[(&str, &str, &[Part])] = &[(
    "own",
    "own numbers",
    &[
        field("own/wind", "Wind limit", "20 mph"),
        field("own/tilt", "Limit of the tilt", "20 deg"),
        field("own/thrust_to_weight", "Least thrust over weight", "5"),
    ],
)];
