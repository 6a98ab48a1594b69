//! Where a field lies: positions, pads, declination, and areas in degrees.

#![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

mod support;

use serde_json::{Value, json};
use slowpoint_server::wire::{self, FieldFault, Rejected};

/// Northern Massachusetts; an invented field.
fn site() -> Value {
    json!({"position": {"latitude": 42.7, "longitude": "-71.0 deg"}})
}

fn with(changes: &[(&str, Value)]) -> Value {
    let mut card = support::card();
    card["site"] = site();
    card["launch"]["azimuth"] = json!("90 deg");
    for (pointer, value) in changes {
        let (parent, name) = pointer.rsplit_once('/').unwrap();
        let members = card.pointer_mut(parent).unwrap_or_else(|| panic!("{parent}")).as_object_mut().unwrap();
        if value.is_null() { drop(members.remove(name)) } else { drop(members.insert(name.into(), value.clone())) }
    }
    card
}

fn read(card: &Value) -> wire::Asked {
    wire::read(card.to_string().as_bytes()).unwrap()
}

fn faults(card: &Value) -> Vec<FieldFault> {
    match wire::read(card.to_string().as_bytes()) {
        Ok(_) => Vec::new(),
        Err(Rejected::Faults(faults)) => faults,
        Err(Rejected::NotJson(e)) => panic!("{e}"),
    }
}

#[track_caller]
fn refuses(changes: &[(&str, Value)], pointer: &str, problem: &str, remedy: &str) {
    let found = faults(&with(changes));
    assert_eq!(found.len(), 1, "{changes:?}: {found:#?}");
    assert_eq!(found[0].pointer, pointer, "{found:?}");
    assert!(found[0].problem.contains(problem), "{pointer}: {}", found[0].problem);
    assert!(found[0].remedy.contains(remedy), "{pointer}: {}", found[0].remedy);
}

/// A square about the origin, some 400 m wide, as a ring of positions.
fn ring(half_deg: f64) -> Value {
    let [w, e] = [-1.0, 1.0].map(|side| -71.0 + side * half_deg / 0.735);
    let [s, n] = [-1.0, 1.0].map(|side| 42.7 + side * half_deg);
    json!([[w, s], [e, s], [e, n], [w, n], [w, s]])
}

fn area(name: &str, role: &str, geometry: Value) -> Value {
    json!({"name": name, "role": role, "geometry": geometry})
}

fn polygon(rings: Value) -> Value {
    json!({"type": "Polygon", "coordinates": rings})
}

#[test]
fn bearings_by_the_compass() {
    let azimuth_deg = |azimuth: &str, declination: Value| {
        let card = with(&[("/launch/azimuth", json!(azimuth)), ("/site/declination", declination)]);
        read(&card).case.launch.azimuth_rad.to_degrees()
    };
    for (azimuth, declination, expected) in [
        ("240 deg magnetic", json!("-14.0 deg"), 226.0),
        ("5 Magnetic", json!(-14), 351.0),
        ("355° magnetic", json!(14), 9.0),
        ("240 deg true", json!(-14), 240.0),
        ("240 deg", json!(-14), 240.0),
    ] {
        let got = azimuth_deg(azimuth, declination);
        assert!((got - expected).abs() < 1e-6, "{azimuth}: {got}");
    }
    let by = |direction: &str| {
        let wind = json!({
            "surface": {"speed": 4, "direction": direction, "measuring_height": 2},
            "layers": [{"height_above_ground": 500, "speed": 9, "direction": direction}]
        });
        let mut card = with(&[("/site/declination", json!(10))]);
        card["wind"] = wind;
        read(&card).case.inputs.wind
    };
    assert_eq!(by("260 deg magnetic"), by("270 deg"), "surface and layers alike");
    let needs = "it is magnetic, and the declination is not known";
    refuses(&[("/launch/azimuth", json!("240 deg magnetic"))], "/launch/azimuth", needs, "give site.declination");
    refuses(&[("/launch/azimuth", json!("240 mm magnetic"))], "/launch/azimuth", "no unit of angle", "use deg");
    refuses(&[("/site/declination", json!(190))], "/site/declination", "190 deg", "east positive");
    refuses(&[("/launch/bearings", json!("magnetic"))], "/launch/bearings", "said of each", "\"240 deg magnetic\"");
}

#[test]
fn an_area_in_degrees_is_the_same_in_metres() {
    // Corners by geographiclib 2.1 (Karney's geodesic): 200 m west and east, 150 m south and north of the origin.
    let geometry = polygon(json!([[
        [-71.00244091, 42.69864968],
        [-70.99755909, 42.69864968],
        [-70.99755909, 42.70135027],
        [-71.00244091, 42.70135027],
        [-71.00244091, 42.69864968]
    ]]));
    let asked = read(&with(&[("/site/areas", json!([area("field", "field", geometry)]))]));
    let answer = serde_json::to_value(answered(&asked)).unwrap();
    let corners = answer["site"]["areas"][0]["outline"][0]["exterior_m"].as_array().unwrap();
    for (corner, expected) in corners.iter().zip([[-200.0, -150.0], [200.0, -150.0], [200.0, 150.0], [-200.0, 150.0]]) {
        for k in 0..2 {
            assert!((corner[k].as_f64().unwrap() - expected[k]).abs() < 0.02, "{corner} {expected:?}");
        }
    }
    // The chances are those of the same area in metres.
    let metres =
        json!([{"name": "field", "role": "field", "polygon": [[-200, -150], [200, -150], [200, 150], [-200, 150]]}]);
    let local = serde_json::to_value(answered(&read(&with(&[("/site/areas", metres)])))).unwrap();
    for (a, b) in answer["delays"].as_array().unwrap().iter().zip(local["delays"].as_array().unwrap()) {
        assert_eq!(a["landing"]["areas"], b["landing"]["areas"]);
        assert_eq!(a["landing"]["outside_fields"], b["landing"]["outside_fields"]);
        assert_eq!(a["landing"]["outside_fields"], a["landing"]["areas"][0]["outside"], "there is one field");
    }
    let failed = &answer["failures"]["each"][0]["landing"];
    assert_eq!(failed["outside_fields"], failed["areas"][0]["outside"]);
}

fn answered(asked: &wire::Asked) -> wire::Assessment {
    let report = slowpoint_sim::assess(&asked.case, &std::sync::atomic::AtomicBool::new(false)).unwrap();
    wire::answer("an-id", "an-engine", asked, &report)
}

/// Two fields side by side: what lies in one is outside the other, and inside their union.
#[test]
fn outside_all_fields() {
    let areas = json!([
        {"name": "west", "role": "field", "polygon": [[-5000, -5000], [0, -5000], [0, 5000], [-5000, 5000]]},
        {"name": "east", "role": "field", "polygon": [[0, -5000], [5000, -5000], [5000, 5000], [0, 5000]]},
        {"name": "road", "role": "road", "polygon": [[-20000, 30], [20000, 30], [20000, 40], [-20000, 40]]},
    ]);
    let answer = answered(&read(&with(&[("/site/areas", areas)])));
    for delay in &answer.delays {
        let landing = delay.landing.as_ref().unwrap();
        let figure = |c: &wire::ChanceFigures| c.estimate.0;
        let apart: f64 = landing.areas[..2].iter().map(|a| figure(&a.inside)).sum();
        assert!((apart - 1.0).abs() < 1e-12, "{apart}");
        assert_eq!(figure(landing.outside_fields.as_ref().unwrap()), 0.0);
    }
    let none = answered(&read(&with(&[])));
    assert!(none.delays[0].landing.as_ref().unwrap().outside_fields.is_none(), "without a field nothing is outside it");
}

#[test]
fn a_map_from_an_editor() {
    let map = json!({
        "type": "FeatureCollection", "name": "meadow", "bbox": [-71.1, 42.6, -70.9, 42.8],
        "features": [
            {"type": "Feature", "id": 7, "properties": {"name": "field", "role": "field", "fill": "#00ff00"}, "geometry": polygon(json!([ring(0.004), ring(0.001)]))},
            {"type": "Feature", "properties": {"name": "ponds", "role": "water"},
             "geometry": {"type": "MultiPolygon", "coordinates": [[ring(0.001)]]}},
        ]
    });
    let card = with(&[
        ("/site/map", map),
        ("/site/areas", json!([{"name": "spectators", "role": "spectators", "circle": {"south": 0, "radius": 20}}])),
    ]);
    let found = faults(&card);
    assert_eq!(found.len(), 1, "unknown names are still refused in an area: {found:?}");
    let mut card = card;
    card["site"]["areas"][0]["circle"] = json!({"north": -80, "radius": 20});
    let answer = serde_json::to_value(answered(&read(&card))).unwrap();
    support::check_described("Assessment", &answer);
    let areas = answer["site"]["areas"].as_array().unwrap();
    let told: Vec<_> = areas.iter().map(|a| (a["name"].as_str().unwrap(), a["role"].as_str().unwrap())).collect();
    assert_eq!(told, [("spectators", "spectators"), ("field", "field"), ("ponds", "water")]);
    assert_eq!(areas[1]["outline"][0]["holes_m"].as_array().unwrap().len(), 1);
    let chances = answer["delays"][0]["landing"]["areas"].as_array().unwrap();
    assert_eq!(chances[1]["role"], "field");
}

/// RFC 7946, 3.1.9: what crosses the 180th meridian is cut there; other tools let longitude run on beyond 180, or leap. All
/// three are the same field.
#[test]
fn a_field_across_the_180th_meridian() {
    let across = |west: f64, east: f64| json!([[west, 11.9], [east, 11.9], [east, 12.1], [west, 12.1], [west, 11.9]]);
    let cut = json!({"type": "MultiPolygon", "coordinates": [[across(179.9, 180.0)], [across(-180.0, -179.9)]]});
    let fields = [cut, polygon(json!([across(179.9, 180.1)])), polygon(json!([across(179.9, -179.9)]))];
    let answers = fields.map(|geometry| {
        let card = with(&[
            ("/site/position", json!({"latitude": 12, "longitude": -179.999})),
            ("/site/pads", json!([{"name": "west", "position": {"latitude": 12, "longitude": 179.999}}])),
            ("/launch/pad", json!("west")),
            ("/site/areas", json!([area("field", "field", geometry)])),
        ]);
        serde_json::to_value(answered(&read(&card))).unwrap()
    });
    // 0.002 deg along the parallel of 12 deg by geographiclib 2.1.
    let west_m = answers[0]["site"]["pad"]["east_of_origin_m"].as_f64().unwrap();
    assert!((west_m + 217.805).abs() < 0.01, "{west_m}");
    for answer in &answers[1..] {
        for (a, b) in answers[0]["delays"].as_array().unwrap().iter().zip(answer["delays"].as_array().unwrap()) {
            assert_eq!(a["landing"]["areas"], b["landing"]["areas"]);
        }
    }
}

#[test]
fn pads() {
    let field = json!([{"name": "field", "polygon": [[-50, -50], [50, -50], [50, 50], [-50, 50]]}]);
    let card = with(&[
        ("/site/pads", json!([{"name": "A"}, {"name": "B", "east": 30, "north": "-20 m"}])),
        ("/site/areas", field),
        ("/launch/pad", json!("B")),
    ]);
    let answer = serde_json::to_value(answered(&read(&card))).unwrap();
    let site = &answer["site"];
    assert_eq!(site["pad"]["name"], "B");
    assert_eq!((&site["pad"]["east_of_origin_m"], &site["pad"]["north_of_origin_m"]), (&json!(30.0), &json!(-20.0)));
    assert_eq!(site["areas"][0]["outline"][0]["exterior_m"][0], json!([-80.0, -30.0]), "from the pad, not the origin");
    // 30 m east and 20 m south at 42.7 deg by geographiclib 2.1.
    let position = &site["pad"]["position"];
    assert!((position["longitude_deg"].as_f64().unwrap() - -70.99963386).abs() < 2e-7, "{position}");
    assert!((position["latitude_deg"].as_f64().unwrap() - 42.69981996).abs() < 2e-7, "{position}");
    let by_position = with(&[
        ("/site/pads", json!([{"name": "B", "position": {"latitude": 42.69981996, "longitude": -70.99963386}}])),
        ("/launch/pad", json!("B")),
    ]);
    let [east_m, north_m] = read(&by_position).placed.pad_m;
    assert!((east_m - 30.0).abs() < 0.01 && (north_m + 20.0).abs() < 0.01, "{east_m} {north_m}");

    let a = ("/site/pads", json!([{"name": "A"}]));
    refuses(&[a.clone(), ("/launch/pad", json!("C"))], "/launch/pad", "no pad is called \"C\"", "name one of \"A\"");
    refuses(&[("/launch/pad", json!("C"))], "/launch/pad", "no pad is called", "list it under site.pads");
    refuses(&[("/site/pads", json!([{"name": "A"}, {"name": "A"}]))], "/site/pads/1/name", "two pads", "own name");
    let here = json!({"latitude": 42.7, "longitude": -71});
    refuses(
        &[("/site/pads", json!([{"name": "A", "east": 3, "position": here}]))],
        "/site/pads/0/position",
        "as well",
        "one",
    );
    refuses(
        &[("/site/position", Value::Null), ("/site/pads", json!([{"name": "A", "position": here}]))],
        "/site/position",
        "it is missing",
        "a pad's position",
    );
    let far = json!({"latitude": 52.7, "longitude": -71});
    refuses(
        &[("/site/pads", json!([{"name": "A", "position": far}]))],
        "/site/pads/0/position",
        "100 km",
        "check both",
    );
}

#[test]
fn positions_that_are_wrong() {
    let at = "/site/position";
    refuses(&[(at, json!({"latitude": 42.7}))], "/site/position/longitude", "it is missing", "add \"longitude\"");
    refuses(&[(at, json!({"latitude": 97, "longitude": 3}))], "/site/position/latitude", "97 deg", "-90 to 90");
    refuses(&[(at, json!({"latitude": 7, "longitude": 203}))], "/site/position/longitude", "203 deg", "east positive");
    refuses(&[(at, json!({"lat": 7, "longitude": 3}))], "/site/position/lat", "no field", "did you mean \"latitude\"?");
    refuses(&[("/site/latitude", json!(42))], "/site/latitude", "a position as well", "leave it out");
}

#[test]
fn areas_that_are_wrong() {
    let one = |geometry: Value| [("/site/areas", json!([area("field", "field", geometry)]))];
    let at = "/site/areas/0/geometry";
    let here = format!("{at}/coordinates");
    let open = json!([[-71.002, 42.699], [-70.998, 42.699], [-70.998, 42.701], [-71.002, 42.701]]);
    refuses(&one(polygon(json!([open]))), &format!("{here}/0"), "does not end where it began", "RFC 7946");
    let swapped = json!([[42.699, -71.002], [42.699, -70.998], [42.701, -70.998], [42.699, -71.002]]);
    refuses(
        &one(polygon(json!([swapped]))),
        &format!("{here}/0/0"),
        "more than 100 km",
        "did you mean [-71.002, 42.699]?",
    );
    let far = json!([[-73.002, 42.699], [-70.998, 42.699], [-70.998, 42.701], [-73.002, 42.699]]);
    refuses(&one(polygon(json!([far]))), &format!("{here}/0/0"), "longitude -73.002", "check it and site.position");
    let bow = json!([[-71.002, 42.699], [-70.998, 42.701], [-70.998, 42.699], [-71.002, 42.701], [-71.002, 42.699]]);
    refuses(&one(polygon(json!([bow]))), &format!("{here}/0"), "crosses itself", "in order");
    let several = json!({"type": "MultiPolygon", "coordinates": [[ring(0.001)], [bow]]});
    refuses(&one(several), &format!("{here}/1/0"), "crosses itself", "in order");
    let thin = json!([[-71.0, 42.7], [-71.0, 42.701], [-71.0, 42.7]]);
    refuses(&one(polygon(json!([thin]))), &format!("{here}/0"), "3 positions", "three corners");
    refuses(&one(polygon(ring(0.001))), &format!("{here}/0/0"), "a position of longitude", "a Polygon nests");
    refuses(&one(polygon(json!([[["a", "b"]]]))), &format!("{here}/0/0"), "no position", "two numbers");
    refuses(&one(polygon(json!([]))), &here, "a list of rings", "nests");
    refuses(&one(polygon(json!([ring(1e-6)]))), at, "m^2", "digits");
    refuses(&one(json!({"type": "Point", "coordinates": [1, 2]})), &format!("{at}/type"), "have no area", "Polygon");
    refuses(&one(json!({"type": "Polygon"})), &here, "it is missing", "Positions");
    refuses(
        &[one(polygon(json!([ring(0.001)])))[0].clone(), ("/site/position", Value::Null)],
        "/site/position",
        "it is missing",
        "an area in degrees",
    );
    let both = json!([{"name": "f", "circle": {"radius": 9}, "geometry": polygon(json!([ring(0.001)]))}]);
    refuses(&[("/site/areas", both)], "/site/areas/0/geometry", "a circle as well", "one of the two");
    refuses(&[("/site/areas", json!([{"name": "f"}]))], "/site/areas/0", "neither circle", "geometry (GeoJSON");
    let role = json!([{"name": "f", "role": "no-recovery", "circle": {"radius": 9}}]);
    refuses(&[("/site/areas", role)], "/site/areas/0/role", "not known", "did you mean \"no_recovery\"?");
}

#[test]
fn maps_that_are_wrong() {
    let feature = |name: Value, people: Value, geometry: Value| json!({"type": "Feature", "properties": {"name": name, "people": people}, "geometry": geometry});
    let map = |features: &[Value]| [("/site/map", json!({"type": "FeatureCollection", "features": features}))];
    let good = feature(json!("a"), Value::Null, polygon(json!([ring(0.001)])));
    let at = "/site/map/features";
    let unnamed = feature(Value::Null, Value::Null, polygon(json!([ring(0.001)])));
    refuses(&map(&[good.clone(), unnamed]), &format!("{at}/1/properties/name"), "it is missing", "Its name");
    refuses(
        &map(&[good.clone(), good.clone()]),
        &format!("{at}/1/properties/name"),
        "two areas are called",
        "own name",
    );
    let crowd = feature(json!("b"), json!(999_999), polygon(json!([ring(0.0001)])));
    refuses(&map(&[good.clone(), crowd]), &format!("{at}/1/properties/people"), "more than 6", "in the whole area");
    let hole = feature(json!("b"), Value::Null, polygon(json!([ring(0.001), ring(0.002)])));
    refuses(&map(&[hole]), &format!("{at}/0/geometry/coordinates/1"), "outside its patch", "MultiPolygon");
    refuses(&[("/site/map", json!({"type": "FeatureCollection"}))], "/site/map/features", "it is missing", "Its areas");
    // A ring that cannot be read says nothing of how many people stand in it.
    let unread = feature(json!("b"), json!(60), polygon(json!([[["a", "b"]]])));
    refuses(&map(&[unread]), &format!("{at}/0/geometry/coordinates/0/0"), "no position", "two numbers");
    // Names by EPSG's register and by OGC's.
    let by = |name: &str| {
        let crs = json!({"type": "name", "properties": {"name": name}});
        [("/site/map", json!({"type": "FeatureCollection", "crs": crs, "features": [good]}))]
    };
    for name in ["urn:ogc:def:crs:OGC:1.3:CRS84", "urn:ogc:def:crs:EPSG::4326", "EPSG:4326"] {
        assert!(faults(&with(&by(name))).is_empty(), "{name}");
    }
    for name in ["urn:ogc:def:crs:EPSG::4267", "EPSG:3857", "EPSG:24326"] {
        refuses(&by(name), "/site/map/crs", &format!("by \"{name}\""), "export the map anew");
    }
}
