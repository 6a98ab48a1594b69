//! Flight cards that cannot be flown: every fault in one reply, each with its place and words that help.

use serde_json::{Value, json};
use slowpoint_server::wire::{self, FieldFault, Rejected};

/// A card without fault.
fn good() -> Value {
    json!({
        "card": {
            "name": "Test",
            "airframe": {
                "diameter": "54 mm", "length": "980 mm", "mass": "620 g", "centre_of_gravity": "620 mm",
                "centre_of_pressure": "730 mm", "drag_coefficient": 0.55
            },
            "motor": {"thrust_curve": [[0, 0], [0.05, 60], [1.2, 55], [1.4, 0]], "propellant_mass": "45 g"},
            "recovery": {"first": {"kind": "parachute", "diameter": "60 cm"}}
        },
        "launch": {"rail_length": "1.8 m"},
        "wind": {"surface": {"speed": "4 m/s", "direction": 250, "measuring_height": "10 m"}},
        "delays": [5, 7]
    })
}

/// Puts a value at a pointer, making the way there; `Null` takes it out.
fn put(card: &mut Value, pointer: &str, value: Value) {
    let (parent, name) = pointer.rsplit_once('/').unwrap_or(("", pointer));
    if card.pointer(parent).is_none() {
        put(card, parent, json!({}));
    }
    match card.pointer_mut(parent) {
        Some(Value::Object(members)) if value.is_null() => drop(members.remove(name)),
        Some(Value::Object(members)) => drop(members.insert(name.replace("~0", "~"), value)),
        Some(Value::Array(items)) => {
            let index: usize = name.parse().unwrap_or(items.len());
            if index < items.len() { items[index] = value } else { items.push(value) }
        }
        _ => panic!("{pointer} has no place"),
    }
}

fn with(changes: &[(&str, Value)]) -> Value {
    let mut card = good();
    for (pointer, value) in changes {
        put(&mut card, pointer, value.clone());
    }
    card
}

fn faults(card: &Value) -> Vec<FieldFault> {
    match wire::read(card.to_string().as_bytes()) {
        Ok(_) => Vec::new(),
        Err(Rejected::Faults(faults)) => faults,
        Err(Rejected::NotJson(e)) => panic!("{e}"),
    }
}

/// One change of the good card makes exactly one fault, at a place, with these words.
#[track_caller]
fn refuses(changes: &[(&str, Value)], pointer: &str, problem: &str, remedy: &str) {
    let found = faults(&with(changes));
    assert_eq!(found.len(), 1, "{changes:?}: {found:#?}");
    let fault = &found[0];
    assert_eq!(fault.pointer, pointer, "{fault:?}");
    assert!(fault.problem.contains(problem), "{pointer}: {}", fault.problem);
    assert!(fault.remedy.contains(remedy), "{pointer}: {}", fault.remedy);
    assert!(!fault.remedy.ends_with("; "), "{pointer}: {}", fault.remedy);
    for word in ["safe ", " go ", "approved", "NaN", "line 1 column"] {
        assert!(!format!("{} {}", fault.problem, fault.remedy).contains(word), "{pointer}: {fault:?}");
    }
}

#[test]
fn the_good_card_is_good() {
    assert_eq!(faults(&good()), Vec::new());
}

#[test]
fn units_that_slipped() {
    let at = "/card/airframe";
    for (pointer, sent, problem, remedy) in [
        (format!("{at}/mass"), json!(640), "640 kg", "did you mean \"640 g\" or \"640 oz\"?"),
        (format!("{at}/diameter"), json!(54), "54 m", "did you mean \"54 mm\" or \"54 cm\"?"),
        (format!("{at}/length"), json!(980), "980 m", "did you mean \"980 mm\" or \"980 cm\"?"),
        ("/site/station_pressure".into(), json!(1013), "1013 Pa", "did you mean \"1013 hPa\"?"),
        ("/site/temperature".into(), json!(20), "20 K", "did you mean \"20 C\" or \"20 F\"?"),
        ("/site/temperature".into(), json!("95 C"), "95 C", "give -50 to 60 C"),
        ("/launch/tilt".into(), json!(85), "85 deg", "did you mean \"5 deg\"?"),
        ("/launch/tilt".into(), json!("1.4 rad"), "1.4 rad", "give 0 to 1.0472 rad"),
        ("/launch/rail_length".into(), json!(1800), "1800 m", "did you mean \"1800 mm\"?"),
        ("/launch/rail_length".into(), json!(72), "72 m", "did you mean \"72 in\" or \"72 cm\"?"),
        (format!("{at}/diameter"), json!(2.1), "2.1 m", "did you mean \"2.1 in\" or \"2.1 cm\"?"),
        (format!("{at}/length"), json!(39), "39 m", "did you mean \"39 in\" or \"39 cm\" or \"39 ft\"?"),
        ("/site/elevation".into(), json!(5280), "5280 m", "did you mean \"5280 ft\"?"),
        ("/wind/surface/speed".into(), json!(45), "45 m/s", "did you mean \"45 mph\" or \"45 kt\" or \"45 km/h\"?"),
        ("/condition/chance".into(), json!(5), "is 5", "did you mean \"5 %\"?"),
        ("/card/recovery/first/diameter".into(), json!("54 furlongs"), "no unit of length", "use m, cm, mm"),
        (format!("{at}/length"), json!("0,98 m"), "comma", "decimal point"),
        (format!("{at}/mass"), json!("620 mm"), "no unit of mass", "kg, g, oz, lb"),
        (format!("{at}/mass"), json!("heavy"), "does not begin with a number", "\"640 g\""),
        ("/wind/surface/speed".into(), json!("1e999 m/s"), "too large", "35 mph"),
    ] {
        refuses(&[(&pointer, sent)], &pointer, problem, remedy);
    }
}

#[test]
fn a_report_in_inches_of_mercury() {
    let report = [("/site/elevation", json!("120 m")), ("/site/altimeter_setting", json!(29.92))];
    refuses(&report, "/site/altimeter_setting", "29.92 Pa", "did you mean \"29.92 inHg\"?");
}

#[test]
fn shapes_that_are_wrong() {
    for (pointer, sent, problem, remedy) in [
        ("/card/airframe/lenght", json!("980 mm"), "no field \"lenght\"", "did you mean \"length\"?"),
        ("/card/airframe/colour", json!("red"), "no field \"colour\"", "known here: centre_of_gravity"),
        ("/card/mass", json!("640 g"), "no field \"mass\"", "it belongs to /card/airframe/mass"),
        ("/site/pressure", json!(1), "no field", "did you mean \"altimeter_setting\" or \"station_pressure\"?"),
        ("/launch/elevation", json!("85 deg"), "no field", "did you mean \"tilt\"? it is measured from vertical"),
        ("/launch/elevation", json!("400 ft"), "no field", "belongs to /site/elevation"),
        ("/launch/mass", json!("640 g"), "no field \"mass\"", "it belongs to /card/airframe/mass"),
        ("/launch/a~0b", json!(5), "no field \"a~b\"", "known here"),
        ("/card/airframe/mass", json!(true), "true stands here", "text with a unit or a bare number"),
        ("/card/airframe/mass", json!({"value": 640}), "an object stands here", "\"640 g\""),
        ("/card/airframe/drag_coefficient", json!("0.55"), "the text \"0.55\"", "send 0.55 without quotation marks"),
        ("/flights", json!(12.5), "the number 12.5", "a whole number"),
        ("/flights", json!(1e30), "it is 1e", "give 64 to 1000000"),
        ("/drivers", json!(100), "it is 100", "give 256 to 16384"),
        ("/drivers", json!(1e6), "it is 1000000", "give 256 to 16384"),
        ("/drivers", json!(true), "true stands here", "a whole number"),
        ("/seed", json!(-1), "it is -1", "give 0 to 9007199254740991"),
        ("/card/recovery/first/kind", json!("parachut"), "\"parachut\" is not known", "did you mean \"parachute\"?"),
        ("/points", json!("halton"), "\"halton\" is not known", "\"sobol\", \"random\""),
        ("/delays", json!("5,7"), "the text", "give a list, such as [5, 7, 10]"),
        ("/limits/deploy_speed", json!(35), "the number 35", "give a list, such as [\"35 mph\", \"100 mph\"]"),
        ("/card/motor/thrust_curve/1", json!(5), "the number 5", "give a list, such as [0.1, 40]"),
        ("/delays", json!(5), "the number 5", "give a list"),
        ("/delays", json!((0..40).collect::<Vec<_>>()), "40 items", "at most 32"),
        ("/delays/1", json!([7]), "a list stands here", "\"7 s\""),
        ("/card/motor/thrust_curve/1", json!([0.05]), "the list has 1 items", "exactly 2"),
        ("/rule_set", json!("uk"), "\"uk\" is not known", "or give an object"),
        ("/card/name", json!(""), "empty", "write"),
        ("/card/name", json!("a\u{1b}[2J"), "control characters", "plain text"),
    ] {
        refuses(&[(pointer, sent)], pointer, problem, remedy);
    }
}

#[test]
fn things_that_are_missing() {
    for (pointer, at, remedy) in [
        ("/card/airframe/mass", "/card/airframe/mass", "with motor, propellant"),
        ("/card/recovery", "/card/recovery", "What opens"),
        ("/launch", "/launch", "The rail"),
        ("/wind", "/wind", "calm is never assumed"),
        ("/card/airframe/centre_of_pressure", "/card/airframe/centre_of_pressure", "shape"),
        ("/card/airframe/drag_coefficient", "/card/airframe/drag_coefficient", "shape"),
        ("/card/motor/thrust_curve", "/card/motor/thrust_curve", "\"C6-5\""),
        ("/card/recovery/first/diameter", "/card/recovery/first/diameter", "laid flat"),
        ("/wind/surface/measuring_height", "/wind/surface/measuring_height", "10 m in a weather report"),
        ("/wind/surface/direction", "/wind/surface/direction", "variable"),
        ("/delays", "/delays", "electronics"),
    ] {
        let problem = if pointer == "/delays" {
            "nothing to compare"
        } else if pointer == "/card/motor/thrust_curve" {
            "neither"
        } else {
            "missing"
        };
        refuses(&[(pointer, Value::Null)], at, problem, remedy);
    }
    refuses(&[("/wind/surface", Value::Null)], "/wind", "no wind", "calm is never assumed");
    refuses(&[("/delays", json!([]))], "/delays", "nothing to compare", "electronics");
}

#[test]
fn things_that_contradict_each_other() {
    refuses(&[("/card/kind", json!("glider"))], "/card/kind", "gliders are not modelled", "rocket");
    refuses(&[("/card/kind", json!("boost glider"))], "/card/kind", "gliders are not modelled", "rocket");
    refuses(&[("/card/stages", json!(2))], "/card/stages", "staging", "one stage");
    refuses(&[("/launch/bearings", json!("magnetic"))], "/launch/bearings", "magnetic", "declination");
    refuses(
        &[("/site/station_pressure", json!("1000 hPa")), ("/site/altimeter_setting", json!("1013 hPa"))],
        "/site/altimeter_setting",
        "station_pressure as well",
        "one of the two",
    );
    refuses(
        &[("/card/airframe/drag_table", json!([{"mach": 0.3, "drag_coefficient": 0.5}]))],
        "/card/airframe/drag_table",
        "drag_coefficient as well",
        "one of the two",
    );
    refuses(&[("/card/motor/code", json!("G60-7"))], "/card/motor/code", "thrust_curve as well", "leave out the code");
    refuses(&[("/delays", json!([5, 7, "5 s"]))], "/delays/2", "twice", "once");
    refuses(&[("/limits/deploy_speed", json!(["35 mph", "15.6464 m/s"]))], "/limits/deploy_speed/1", "twice", "once");
    refuses(
        &[("/condition/limit", json!("50 mph"))],
        "/condition/limit",
        "none of limits.deploy_speed",
        "\"15.6464 m/s\" (35 mph), \"44.704 m/s\" (100 mph), or leave it out for the first",
    );
    refuses(
        &[("/site/areas", json!([{"name": "a", "circle": {"radius": 5}, "polygon": [[0, 0], [1, 0], [1, 1]]}]))],
        "/site/areas/0/polygon",
        "a circle as well",
        "one of the two",
    );
    refuses(&[("/site/areas", json!([{"name": "a"}]))], "/site/areas/0", "neither", "circle");
}

#[test]
fn a_layer_under_the_field_is_faulted_unless_the_list_is_a_sounding() {
    let layer = |height: &str, name: &str| json!({name: height, "speed": "10 kt", "direction": 270});
    let elevation = ("/site/elevation", json!("89 m"));
    let mixed = json!([layer("89.2 m", "height_above_sea"), layer("300 m", "height_above_ground")]);
    refuses(
        &[("/wind/layers", mixed), elevation.clone()],
        "/wind/layers/0/height_above_sea",
        "0.2 m above the field",
        "check site.elevation",
    );
    let under = json!([layer("10 m", "height_above_sea"), layer("80 m", "height_above_sea")]);
    refuses(&[("/wind/layers", under), elevation.clone()], "/wind/layers", "none of the 2 layers", "site.elevation");
    let sounding = json!([
        layer("10 m", "height_above_sea"),
        layer("263 m", "height_above_sea"),
        layer("904 m", "height_above_sea")
    ]);
    let body = with(&[("/wind/layers", sounding), elevation]).to_string();
    let Ok(asked) = wire::read(body.as_bytes()) else { panic!("the sounding was refused") };
    let heights: Vec<f64> = asked.case.inputs.wind.layers.iter().map(|l| l.height_above_ground_m).collect();
    assert_eq!(heights, [174.0, 815.0]);
    assert!(asked.case.assumed.iter().any(|a| a.input == "wind.layers" && a.value.contains("1 of 3")));
}

#[test]
fn faults_of_the_engine_point_into_the_request() {
    refuses(
        &[("/card/airframe/centre_of_pressure", json!("600 mm"))],
        "/card/airframe/centre_of_pressure",
        "unstable",
        "nose weight",
    );
    let behind = faults(&with(&[("/card/airframe/centre_of_gravity", json!("1.2 m"))]));
    let told = |f: &FieldFault| f.pointer == "/card/airframe/centre_of_gravity" && f.problem.contains("behind the end");
    assert!(behind.iter().any(told), "{behind:#?}");
    refuses(
        &[("/card/motor/thrust_curve", json!([[0, 0], [0.1, 3], [1, 0]]))],
        "/card/motor/thrust_curve",
        "never lifts",
        "newtons",
    );
    refuses(
        &[("/card/motor/thrust_curve", json!([[0, 0], [0.1, 60], [0.1, 50], [1, 0]]))],
        "/card/motor/thrust_curve/2/0",
        "does not come after",
        "rise",
    );
    // So near that the impulse is 0 in rounding.
    refuses(
        &[("/card/motor/thrust_curve", json!([[0, 60], [5e-324, 60], [1e-323, 0]]))],
        "/card/motor/thrust_curve/1/0",
        "less than a microsecond",
        "0.001 s apart",
    );
    refuses(
        &[("/card/motor/thrust_curve", json!("s, N\n0, 0\n0.1, 60\n0.1, 50\n1, 0"))],
        "/card/motor/thrust_curve",
        "line 4: ",
        "rise",
    );
    refuses(
        &[("/card/motor/thrust_curve", json!("0, 0\n0,1; 60\n1, 0"))],
        "/card/motor/thrust_curve",
        "line 2",
        "decimal points",
    );
    refuses(
        &[("/card/motor/thrust_curve", Value::Null), ("/card/motor/code", json!("A1"))],
        "/card/motor/code",
        "never lifts",
        "newtons",
    );
    refuses(
        &[("/card/motor/thrust_curve", Value::Null), ("/card/motor/code", json!("Q9-3"))],
        "/card/motor/code",
        "no impulse class",
        "C6-5",
    );
    refuses(
        &[("/spread/mass", json!({"normal": {"sd": "60 %"}}))],
        "/spread/mass",
        "one flight in a million",
        "truncated",
    );
    refuses(
        &[("/spread/mass", json!({"fixed": 1, "uniform": {"low": 1, "high": 2}}))],
        "/spread/mass",
        "2 distributions",
        "exactly one",
    );
    refuses(
        &[("/spread/apogee_lag", json!({"normal": {"sd": "0.1 s"}}))],
        "/spread/apogee_lag/normal/mean",
        "missing",
        "give it",
    );
    refuses(
        &[("/wind/turbulence", json!("terrain")), ("/wind/turbulence_wind_at_20_ft", json!("15 kt"))],
        "/wind/turbulence_wind_at_20_ft",
        "described twice",
        "give one of",
    );
    refuses(
        &[("/wind/turbulence_wind_at_20_ft", json!("90 kt"))],
        "/wind/turbulence_wind_at_20_ft",
        "is 90 kt",
        "severe",
    );
    for (exponent, said) in [(1e9, "is 1000000000"), (1.0, "is 1"), (0.0, "is 0"), (-0.2, "is -0.2")] {
        let (at, remedy) = ("/wind/power_exponent", "give 0.02 to 0.6; 0.10 over open water");
        refuses(&[(at, json!(exponent))], at, said, remedy);
        // Where weather is only decoded as well.
        let weather = json!({"layers": "agl, direction, speed\n300, 240, 8", "power_exponent": exponent});
        let Err(Rejected::Faults(found)) = wire::read_weather(weather.to_string().as_bytes()) else {
            panic!("{exponent} is taken")
        };
        assert_eq!((found.len(), &*found[0].pointer), (1, "/power_exponent"), "{found:?}");
        assert!(found[0].problem.contains(said) && found[0].remedy.contains(remedy), "{found:?}");
    }
    refuses(
        &[("/failures", json!({"no_ejection": "60 %", "fin_lost": 0.5}))],
        "/failures",
        "add up to 1.1",
        "one failure at most",
    );
    refuses(&[("/failures", json!({"main_at_once": 0.1}))], "/failures/main_at_once", "fail so", "main canopy");
    refuses(
        &[("/site/areas", json!([{"name": "a", "circle": {"radius": 2}, "people": 1000}]))],
        "/site/areas/0/people",
        "more than 6 on every square metre",
        "whole area",
    );
    refuses(&[("/failures", json!({"no_ejection": 1.5}))], "/failures/no_ejection", "is 1.5", "give 0 to 1");
    refuses(
        &[("/site/areas", json!([{"name": "a", "circle": {"radius": 50}, "people": -1}]))],
        "/site/areas/0/people",
        "is -1",
        "evenly",
    );
    refuses(&[("/wind/surface/gust", json!("2 m/s"))], "/wind/surface/gust", "slower than the mean", "peak");
}

#[test]
fn an_end_that_cannot_be_flown_to() {
    for (until, at, problem, remedy) in [
        (json!({"half_width": 0.5, "within": 4000}), "/half_width", "is 0.5", "did you mean \"0.5 %\"?"),
        (json!({"half_width": "0 %", "within": 4000}), "/half_width", "is 0 %", "give 0.01 to 10 %"),
        (json!({"half_width": true, "within": 4000}), "/half_width", "true stands here", "\"3 %\""),
        (json!({"half_width": "1 m", "within": 4000}), "/half_width", "no unit of", "%"),
        (json!({"half_width": "1 %", "within": 255}), "/within", "it is 255", "give 256 to 1000000"),
        (json!({"half_width": "1 %", "within": 1_000_001}), "/within", "it is 1000001", "give 256 to 1000000"),
        (json!({"half_width": "1 %", "within": "many"}), "/within", "the text \"many\"", "a whole number"),
        (json!({"half_width": "1 %"}), "/within", "missing", "The most flights"),
        (json!({"within": 4000}), "/half_width", "missing", "Half the width"),
        (json!({"half_width": "1 %", "within": 4000, "most": 1}), "/most", "no field \"most\"", "known here"),
        (json!(0.01), "", "the number 0.01", "an object"),
    ] {
        refuses(&[("/until", until)], &format!("/until{at}"), problem, remedy);
    }
    let until = json!({"half_width": "1 %", "within": 4000});
    let both = [("/flights", json!(4000)), ("/until", until.clone())];
    refuses(&both, "/until", "there are flights as well", "one of the two");
    let Ok(asked) = wire::read(with(&[("/until", until)]).to_string().as_bytes()) else { panic!("until alone") };
    let question = &asked.case.inputs.question;
    assert_eq!((question.flights, question.until_half_width), (4000, Some(0.01)));
    assert!(asked.case.assumed.iter().all(|a| a.input != "flights"));
}

#[test]
fn cords_that_cannot_be_tied() {
    let part = |change: &dyn Fn(&mut Value)| {
        let mut part = json!({"length": "3 m", "strength": "900 N", "stiffness": "6 kN"});
        change(&mut part);
        part
    };
    let plain = json!({
        "nose_mass": "90 g",
        "arrangements": [{"name": "line", "edge_width": "3 mm", "runs": [[part(&|_| ())]]}],
        "wall": {"material": "paper", "thickness": "1 mm"}
    });
    assert_eq!(faults(&with(&[("/cords", plain.clone())])), Vec::new());
    let line = "/arrangements/0";
    let piece = format!("{line}/runs/0/0");
    for (at, value, faulted, problem, remedy) in [
        ("/nose_mass", json!(900), "/nose_mass", "900 kg", "did you mean \"900 g\""),
        ("/nose_mass", json!(90), "/nose_mass", "90 kg leave too little", "a bare number means kilograms"),
        ("/nose_mass", json!("610 g"), "/nose_mass", "leave too little", "whole rocket"),
        ("/nose_mass", Value::Null, "/nose_mass", "missing", "comes off with the nose"),
        ("/nose_drag_area", json!(30), "/nose_drag_area", "30 m^2", "or \"30 cm^2\"?"),
        ("/nose_drag_area", json!("4 m^2"), "/nose_drag_area", "times the body's cross-section", "without any canopy"),
        ("/airframe_drag_area", json!("-1 cm^2"), "/airframe_drag_area", "-1 cm^2", "drag coefficient times area"),
        ("/parting_speed", json!({"normal": {"sd": "1 m/s"}}), "/parting_speed/normal/mean", "missing", "give it"),
        ("/parting_speed", json!({"fixed": "300 m/s"}), "/parting_speed", "reach from 300", "0.2 and 100"),
        ("/parting_speed", json!({"fixed": "9 kg"}), "/parting_speed/fixed", "no unit of speed", "m/s"),
        ("/stiffness_factor", json!({"fixed": 50}), "/stiffness_factor", "reach from 50", "1 means nominal"),
        ("/damping_factor", json!({"normal": {"sd": 3}}), "/damping_factor", "reach from", "narrow it"),
        ("/strength_log_sd", json!(9), "/strength_log_sd", "is 9", "did you mean \"9 %\""),
        ("/arrangements", json!([]), "/arrangements", "0 items", "1 to 6"),
        ("/arrangements", Value::Null, "/arrangements", "missing", "tying both together"),
        ("/wall", Value::Null, "/wall", "missing", "wall of the tube"),
        ("/wall/thickness", Value::Null, "/wall", "neither a resistance alone", "from trials of your own"),
        ("/wall/thickness", json!(1.2), "/wall/thickness", "1.2 m", "did you mean \"1.2 mm\""),
        ("/wall/material", json!("wood"), "/wall/material", "\"wood\" is not known", "\"phenolic\""),
        ("/wall/resistance", json!("50 N/mm"), "/wall", "neither a resistance alone", "\"resistance\""),
        ("/wall", json!({"resistance": 50}), "/wall/resistance", "50 N/m", "did you mean \"50 N/mm\""),
        ("/wall", json!({"resistance": "50 N"}), "/wall/resistance", "no unit of load", "N/mm"),
        ("/wall/log_sd", json!("300 %"), "/wall/log_sd", "300 %", "factor of 1.65"),
        (&format!("{line}/edge_width"), json!(3), &format!("{line}/edge_width"), "3 m", "did you mean \"3 mm\""),
        (&format!("{line}/legs"), json!(0), &format!("{line}/legs"), "it is 0", "give 1 to 8"),
        (&format!("{line}/name"), json!("a\u{7}b"), &format!("{line}/name"), "control characters", "plain text"),
        (&format!("{line}/runs"), json!([]), &format!("{line}/runs"), "0 items", "1 to 4"),
        (&format!("{line}/runs/0"), json!([]), &format!("{line}/runs/0"), "parts in a run is 0", "give 1 to 6"),
        (&format!("{piece}/length"), json!("1 mm"), &format!("{piece}/length"), "1 mm", "before it is stretched"),
        (&format!("{piece}/strength"), Value::Null, &format!("{piece}/strength"), "missing", "breaks"),
        (&format!("{piece}/strength"), json!("0 N"), &format!("{piece}/strength"), "0 N", "tension at which it breaks"),
        (&format!("{piece}/fibre"), json!("nylon"), &format!("{piece}/fibre"), "a stiffness as well", "one of the two"),
        (&format!("{piece}/fibre"), json!("silk"), &format!("{piece}/fibre"), "\"silk\" is not known", "\"aramid\""),
        (&format!("{piece}/stiffness"), Value::Null, &format!("{piece}/stiffness"), "neither a stiffness", "\"fibre\""),
        (&format!("{piece}/loss_factor"), json!(3), &format!("{piece}/loss_factor"), "is 3", "0.1 is the default"),
        (
            &format!("{piece}/locked_stiffness"),
            json!("9 kN"),
            &format!("{piece}/locked_stiffness"),
            "nothing says where it locks",
            "locks_at_strain",
        ),
        (&format!("{piece}/locks_at_strain"), json!(80), &format!("{piece}/locks_at_strain"), "is 80", "\"80 %\""),
    ] {
        let mut cords = plain.clone();
        put(&mut cords, at, value);
        refuses(&[("/cords", cords)], &format!("/cords{faulted}"), problem, remedy);
    }
    let mut twice = plain.clone();
    let again = twice["arrangements"][0].clone();
    put(&mut twice, "/arrangements/1", again);
    refuses(&[("/cords", twice)], "/cords/arrangements/1/name", "another arrangement", "its own");
    let nothing = [("/cords", plain), ("/card/recovery/first", json!({"kind": "none"}))];
    refuses(&nothing, "/cords", "nothing is ejected", "what opens");
}

/// Everything at once: no fault hides another, and none is told twice.
#[test]
fn all_faults_in_one_reply() {
    let found = faults(&with(&[
        ("/card/airframe/lenght", json!("980 mm")),
        ("/card/airframe/length", Value::Null),
        ("/card/airframe/mass", json!(640)),
        ("/card/airframe/diameter", json!("54 mmm")),
        ("/card/recovery/first", json!({"kind": "parachute"})),
        ("/launch", json!("six feet")),
        ("/wind/layers", json!([{"height_above_ground": "0.1 m", "speed": "x", "direction": 400}])),
        ("/delays", json!([5, 5, "soon", 99])),
        ("/flights", json!(1)),
        ("/site/latitude", json!(120)),
    ]));
    let mut at: Vec<&str> = found.iter().map(|f| f.pointer.as_str()).collect();
    at.sort_unstable();
    assert_eq!(
        at,
        [
            "/card/airframe/diameter",
            "/card/airframe/lenght",
            "/card/airframe/mass",
            "/card/recovery/first/diameter",
            "/delays/1",
            "/delays/2",
            "/delays/3",
            "/flights",
            "/launch",
            "/site/latitude",
            "/wind/layers/0/direction",
            "/wind/layers/0/height_above_ground",
            "/wind/layers/0/speed",
        ]
    );
    let mass = found.iter().find(|f| f.pointer == "/card/airframe/mass");
    assert_eq!(mass.and_then(|f| f.sent.clone()), Some(json!(640)));
}

#[test]
fn bodies_that_are_no_request() {
    for body in ["", "{", "nothing", "{\"flights\": 1e999}", &"[".repeat(100_000)] {
        assert!(matches!(wire::read(body.as_bytes()), Err(Rejected::NotJson(_))), "{body:.20}");
    }
    for body in ["[]", "5", "null", "\"x\""] {
        let Err(Rejected::Faults(found)) = wire::read(body.as_bytes()) else { panic!("{body}") };
        assert_eq!((found.len(), found[0].pointer.as_str()), (1, ""), "{body}");
    }
    let many: serde_json::Map<String, Value> = (0..100_000).map(|i| (format!("x{i}"), json!(i))).collect();
    let found = faults(&Value::Object(many));
    assert!(
        found.len() <= 101 && found.iter().any(|f| f.problem.contains("the first 100 are listed")),
        "{}",
        found.len()
    );
}

#[test]
fn wind_without_its_surface_is_told_at_once() {
    let found = faults(&with(&[("/wind", json!({"speed": 5, "direction": 270}))]));
    assert_eq!(found.len(), 2, "{found:#?}");
    assert!(
        found.iter().any(|f| f.remedy == "it belongs to /wind/surface/speed, beside measuring_height"),
        "{found:#?}"
    );
}

#[test]
fn heights_above_sea_need_the_elevation() {
    let layers = json!([{"height_above_sea": "1000 ft", "speed": "8 kt", "direction": 265}]);
    refuses(&[("/wind/layers", layers.clone())], "/site/elevation", "missing", "heights above sea level");
    refuses(&[("/site/altimeter_setting", json!("1016 hPa"))], "/site/elevation", "missing", "altimeter setting");
}

#[test]
fn an_unread_way_of_deploying_is_told_once() {
    refuses(&[("/delays", Value::Null), ("/electronics", json!(5))], "/electronics", "the number 5", "give a list");
    let motor = json!({"code": "Q9-3"});
    refuses(&[("/delays", Value::Null), ("/card/motor", motor)], "/card/motor/code", "no impulse class", "C6-5");
    let two = json!([{"fires_at": "never"}, {"fires_at": "apogee"}]);
    refuses(&[("/electronics", two)], "/electronics/0/fires_at", "not known", "apogee");
}

#[test]
fn a_repeated_name_is_refused() {
    let text = good().to_string().replacen("\"mass\":", "\"mass\":\"1 kg\",\"mass\":", 1);
    let Err(Rejected::Faults(found)) = wire::read(text.as_bytes()) else { panic!("{text}") };
    assert_eq!((found.len(), found[0].pointer.as_str()), (1, "/card/airframe/mass"), "{found:?}");
    assert!(found[0].problem.contains("twice"), "{found:?}");
}

#[test]
fn texts_of_other_encodings() {
    let text = good().to_string();
    assert!(wire::read(format!("\u{feff}{text}").as_bytes()).is_ok(), "a mark in front does no harm");
    let wide: Vec<u8> = text.encode_utf16().flat_map(u16::to_le_bytes).collect();
    let Err(Rejected::NotJson(reason)) = wire::read(&wide) else { panic!("UTF-16 was read") };
    assert!(reason.contains("UTF-8"), "{reason}");
    refuses(&[("/card/name", json!("a\u{202e}b"))], "/card/name", "not seen", "by hand");
}

/// A number that fits well in the wrong unit is said aloud.
#[test]
fn bare_numbers_are_said_aloud() {
    let card = with(&[
        ("/wind/surface/speed", json!(12)),
        ("/wind/surface/gust", json!("20 mph")),
        (
            "/wind/layers",
            json!([
                {"height_above_ground": 3000, "speed": 15, "direction": 265},
                {"height_above_ground": 6000, "speed": 20, "direction": 265}
            ]),
        ),
        ("/launch/rail_length", json!(6)),
        ("/site/elevation", json!(1200)),
        ("/card/recovery/first/diameter", json!(2)),
        ("/wind/surface/gust", json!(14)),
    ]);
    let Ok(asked) = wire::read(card.to_string().as_bytes()) else { panic!("{:#?}", faults(&card)) };
    let told: Vec<&str> = asked.cautions.iter().map(|c| c.message.as_str()).collect();
    for text in [
        "wind.surface.speed: 12 was read as 12 m/s (26.8 mph); if 12 mph was meant, send \"12 mph\".",
        "wind.layers.0.speed: 15 was read as 15 m/s (29.2 kt); if 15 kt was meant, send \"15 kt\". The same holds for 1 more of the list.",
        "launch.rail_length: 6 was read as 6 m (19.7 ft); if 6 ft was meant, send \"6 ft\".",
        "site.elevation: 1200 was read as 1200 m (3937 ft); if 1200 ft was meant, send \"1200 ft\".",
        "card.recovery.first.diameter: 2 was read as 2 m (6.56 ft); if 2 ft was meant, send \"2 ft\".",
    ] {
        assert!(told.contains(&text), "{text} is not in {told:#?}");
    }
    assert!(asked.cautions.iter().all(|c| c.topic == "unit" && c.rule == "a bare number is SI"));
    let Ok(asked) = wire::read(good().to_string().as_bytes()) else { panic!("the good card") };
    assert_eq!(asked.cautions, [], "units that were written down are not doubted");
}

/// Kind where nothing is lost by it.
#[test]
fn what_is_taken_all_the_same() {
    for changes in [
        vec![("/site/elevation", Value::Null), ("/flights", json!(2000.0))],
        vec![("/launch/azimuth", json!(360)), ("/wind/surface/direction", json!("360°"))],
        vec![("/wind/surface", json!({"speed": 0, "measuring_height": "2 m"}))],
        vec![("/wind/surface/direction", json!("variable"))],
        vec![("/delays", Value::Null), ("/electronics", json!([{"fires_at": "height", "height": "500 ft"}]))],
        vec![("/card/airframe/mass", json!("0.62Kg"))],
        vec![("/rule_set", json!({"own": {"wind": "15 mph"}}))],
    ] {
        assert_eq!(faults(&with(&changes)), Vec::new(), "{changes:?}");
    }
    let mut nulls = good();
    nulls["site"] = json!({"elevation": null, "station_pressure": "1000 hPa"});
    nulls["note"] = Value::Null;
    assert_eq!(faults(&nulls), Vec::new());
    let coded = with(&[
        ("/delays", Value::Null),
        ("/card/motor", json!({"code": "G60-7"})),
        ("/spread", json!({"roll_rate": {"fixed": 2}, "impulse": {"normal": {"sd": "3 %"}}})),
    ]);
    let Ok(asked) = wire::read(coded.to_string().as_bytes()) else { panic!("{:?}", faults(&coded)) };
    assert_eq!(asked.case.inputs.question.ways.len(), 1);
    assert_eq!(asked.case.inputs.question.ways[0].motor_delay_s, Some(7.0));
    assert!(asked.case.assumed.iter().any(|a| a.input == "delays"));
    assert!(asked.case.inputs.spread.roll_rate == Some(slowpoint_sim::draw::Law::Fixed(2.0 * core::f64::consts::TAU)));
}

/// The order of names in an object changes nothing about the identity.
#[test]
fn canonical_form_has_sorted_names() {
    let text = good().to_string();
    let turned = format!("{{\"delays\":[5,7],{}", &text[1..].replace(",\"delays\":[5,7]", ""));
    let (Ok(a), Ok(b)) = (wire::read(text.as_bytes()), wire::read(turned.as_bytes())) else { panic!("{turned}") };
    assert_eq!(a.canonical(), b.canonical());
}
