//! The landing as GeoJSON (RFC 7946): WGS 84, longitude first, outer edges counter-clockwise, cut where longitude leaps.

use serde_json::{Map, Value, json};

use super::cut::{self, Rings};
use super::stored::{Chance, Delay, Globe, Landing, Patch, Site, Stored};
use crate::wire::Figure;

/// Media type (RFC 7946).
pub const MEDIA_TYPE: &str = "application/geo+json";

/// A feature collection: the pad, the areas, and where one delay's flights come down, as assessed and if something fails.
pub fn landing(answer: &Stored, site: &Site, globe: &Globe, delay: &Delay) -> Value {
    let mut features = vec![feature(point(globe, [0.0, 0.0]), json!({"kind": "pad", "name": site.pad.name}))];
    for (k, area) in site.areas.iter().enumerate() {
        let chances = delay.landing.as_ref().and_then(|l| l.areas.get(k));
        let properties = json!({
            "kind": "area", "name": area.name, "role": area.role, "radius_m": area.circle.map(|c| c.radius_m),
            "inside": chances.map(|c| chance(&c.inside)), "outside": chances.map(|c| chance(&c.outside)),
            "failures": failures(answer, k),
        });
        features.push(feature(polygons(globe, &area.patches()), properties));
    }
    if let Some(landing) = &delay.landing {
        cloud(&mut features, globe, landing, &json!({"delay": delay.label}));
    }
    for failed in &answer.failures.each {
        for (landing, part) in failed.landings() {
            let told = json!({
                "delay": answer.failures.flown_with, "failure": failed.failure, "meaning": failed.meaning, "part": part,
                "outside_fields": landing.outside_fields.as_ref().map(chance),
            });
            cloud(&mut features, globe, landing, &told);
        }
    }
    json!({
        "type": "FeatureCollection", "caution": answer.caution, "id": answer.id, "engine": answer.engine,
        "name": answer.name, "site": site.name, "delay": delay.label, "flights": answer.flights,
        "outside_fields": delay.landing.as_ref().and_then(|l| l.outside_fields.as_ref()).map(chance),
        "features": features,
    })
}

/// The chances of one area with each failure.
fn failures(answer: &Stored, area: usize) -> Vec<Value> {
    let mut all = Vec::new();
    for failed in &answer.failures.each {
        for (landing, part) in failed.landings() {
            if let Some(c) = landing.areas.get(area) {
                all.push(json!({
                    "delay": answer.failures.flown_with, "failure": failed.failure, "part": part,
                    "inside": chance(&c.inside), "outside": chance(&c.outside),
                }));
            }
        }
    }
    all
}

/// Mean place, ellipses and regions.
fn cloud(features: &mut Vec<Value>, globe: &Globe, landing: &Landing, told: &Value) {
    let mut add = |geometry: Value, properties: Value| {
        let mut all = Map::new();
        for members in [properties, told.clone()].iter().filter_map(Value::as_object) {
            all.extend(members.clone());
        }
        features.push(feature(geometry, Value::Object(all)));
    };
    let mean = [landing.mean_east_m, landing.mean_north_m];
    add(
        point(globe, mean.map(|figure| figure.0)),
        json!({"kind": "mean", "east_m": mean[0], "north_m": mean[1], "flights": landing.flights}),
    );
    for e in &landing.ellipses {
        let properties = json!({
            "kind": "ellipse", "share_asked": e.share_asked, "share_held": e.share_held, "semi_major_m": e.semi_major_m,
            "semi_minor_m": e.semi_minor_m, "bearing_deg": e.bearing_deg,
        });
        add(polygons(globe, &[landing.ellipse(e)]), properties);
    }
    for r in &landing.regions {
        let properties = json!({
            "kind": "region", "share_asked": r.share_asked, "share_held": r.share_held,
            "share_expected": r.share_expected, "area_m2": r.area_m2,
        });
        add(polygons(globe, &r.outline), properties);
    }
}

fn feature(geometry: Value, properties: Value) -> Value {
    json!({"type": "Feature", "geometry": geometry, "properties": properties})
}

fn point(globe: &Globe, place_m: [f64; 2]) -> Value {
    json!({"type": "Point", "coordinates": globe.degrees(place_m)})
}

fn polygons(globe: &Globe, patches: &[Patch]) -> Value {
    let all: Vec<Rings> = patches.iter().flat_map(|patch| cut::polygons(globe, patch)).collect();
    match &all[..] {
        [one] => json!({"type": "Polygon", "coordinates": one}),
        several => json!({"type": "MultiPolygon", "coordinates": several}),
    }
}

fn chance(c: &Chance) -> Value {
    let figure = |f: Figure| f.rounded();
    json!({"estimate": figure(c.estimate), "lower": figure(c.lower), "upper": figure(c.upper), "text": c.text})
}
