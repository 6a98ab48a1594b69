//! The landing as KML 2.2 (OGC 07-147r2), for globes and phones.

use std::fmt::Write;

use super::cut;
use super::stored::{Chance, Delay, Globe, Landing, Patch, Site, Stored};
use super::xml::escaped;
use crate::wire::Figure;

/// Media type (IANA).
pub const MEDIA_TYPE: &str = "application/vnd.google-earth.kml+xml";

/// Styles: name, line, fill; colours are written aabbggrr. Blue for what is assessed, orange for what fails, greens to
/// greys are left to the imagery below.
const STYLES: [(&str, &str, &str); 4] = [
    ("area", "ffffffff", "33ffffff"),
    ("ellipse", "ffffc880", "00ffffff"),
    ("region", "ffc87028", "4dc87028"),
    ("failure", "ff2070e0", "1a2070e0"),
];

/// A document: the pad, the areas, and where one delay's flights come down, as assessed and if something fails.
pub fn landing(answer: &Stored, site: &Site, globe: &Globe, delay: &Delay) -> String {
    let mut kml = Kml { text: String::new(), globe };
    kml.text +=
        "<?xml version=\"1.0\" encoding=\"UTF-8\"?>\n<kml xmlns=\"http://www.opengis.net/kml/2.2\">\n<Document>\n";
    kml.tag("name", &format!("{}: {}", answer.name, delay.label));
    kml.tag(
        "description",
        &format!("{} {} flights, {}, id {}.", answer.caution, answer.flights, answer.engine, answer.id),
    );
    for (name, line, fill) in STYLES {
        // Writing to a String cannot fail.
        let _ = writeln!(
            kml.text,
            "<Style id=\"{name}\"><LineStyle><color>{line}</color><width>2</width></LineStyle><PolyStyle><color>{fill}</color></PolyStyle></Style>"
        );
    }
    kml.folder("Field", |kml| {
        kml.point(site.pad.name.as_deref().map_or("Pad".into(), |name| format!("Pad {name}")), [0.0, 0.0], &[]);
        for (k, area) in site.areas.iter().enumerate() {
            let chances = delay.landing.as_ref().and_then(|l| l.areas.get(k));
            let mut data = vec![("role", area.role.clone().unwrap_or_default())];
            if let Some(c) = chances {
                data.extend(chance("inside", &c.inside));
                data.extend(chance("outside", &c.outside));
            }
            let name = match (&area.role, chances) {
                (_, None) => area.name.clone(),
                (Some(role), Some(c)) if role == "field" => format!("{}: outside {}", area.name, c.outside.text),
                (_, Some(c)) => format!("{}: {}", area.name, c.inside.text),
            };
            kml.patches(&name, "area", &area.patches(), &data);
        }
    });
    if let Some(landing) = &delay.landing {
        kml.folder(&format!("Landing, {}", delay.label), |kml| kml.cloud(landing, site, "region"));
    }
    for failed in &answer.failures.each {
        for (landing, part) in failed.landings() {
            let of = if part { ": the part that falls" } else { "" };
            let title = format!("If {}{of} ({})", failed.meaning, answer.failures.flown_with);
            kml.folder(&title, |kml| kml.cloud(landing, site, "failure"));
        }
    }
    kml.text += "</Document>\n</kml>\n";
    kml.text
}

struct Kml<'a> {
    text: String,
    globe: &'a Globe,
}

impl Kml<'_> {
    fn tag(&mut self, name: &str, text: &str) {
        let _ = writeln!(self.text, "<{name}>{}</{name}>", escaped(text));
    }

    fn folder(&mut self, name: &str, fill: impl FnOnce(&mut Self)) {
        self.text += "<Folder>\n";
        self.tag("name", name);
        fill(self);
        self.text += "</Folder>\n";
    }

    /// A cloud, with its chances in the words of the folder and in the figures of its mean place.
    fn cloud(&mut self, landing: &Landing, site: &Site, style: &str) {
        let inside = site.areas.iter().zip(&landing.areas).map(|(area, c)| format!("{}: {}", area.name, c.inside.text));
        let outside = landing.outside_fields.iter().map(|c| format!("outside every field: {}", c.text));
        let chances: Vec<String> = inside.chain(outside).collect();
        if !chances.is_empty() {
            self.tag("description", &format!("Comes down inside {}.", chances.join("; ")));
        }
        let mean = [landing.mean_east_m, landing.mean_north_m];
        let mut data =
            vec![("east_m", figure(mean[0])), ("north_m", figure(mean[1])), ("flights", landing.flights.to_string())];
        data.extend(landing.outside_fields.iter().flat_map(|c| chance("outside_fields", c)));
        self.point("Mean place".into(), mean.map(|figure| figure.0), &data);
        for e in &landing.ellipses {
            let data = [
                ("share_asked", figure(e.share_asked)),
                ("share_held", figure(e.share_held)),
                ("semi_major_m", figure(e.semi_major_m)),
                ("semi_minor_m", figure(e.semi_minor_m)),
                ("bearing_deg", figure(e.bearing_deg)),
            ];
            let style = if style == "failure" { style } else { "ellipse" };
            self.patches(&format!("Ellipse of {}", percent(e.share_asked)), style, &[landing.ellipse(e)], &data);
        }
        for r in &landing.regions {
            let data = [
                ("share_asked", figure(r.share_asked)),
                ("share_held", figure(r.share_held)),
                ("share_expected", figure(r.share_expected)),
                ("area_m2", figure(r.area_m2)),
            ];
            self.patches(&format!("{} land here", percent(r.share_asked)), style, &r.outline, &data);
        }
    }

    fn point(&mut self, name: String, place_m: [f64; 2], data: &[(&str, String)]) {
        self.text += "<Placemark>\n";
        self.tag("name", &name);
        self.data(data);
        let [longitude, latitude] = self.globe.degrees(place_m);
        let _ = writeln!(self.text, "<Point><coordinates>{longitude},{latitude}</coordinates></Point>\n</Placemark>");
    }

    fn patches(&mut self, name: &str, style: &str, patches: &[Patch], data: &[(&str, String)]) {
        self.text += "<Placemark>\n";
        self.tag("name", name);
        self.tag("styleUrl", &format!("#{style}"));
        self.data(data);
        self.text += "<MultiGeometry>\n";
        for rings in patches.iter().flat_map(|patch| cut::polygons(self.globe, patch)) {
            self.text += "<Polygon>";
            for (k, ring) in rings.iter().enumerate() {
                let edge = if k == 0 { "outerBoundaryIs" } else { "innerBoundaryIs" };
                let places: Vec<String> =
                    ring.iter().map(|[longitude, latitude]| format!("{longitude},{latitude}")).collect();
                let _ = write!(
                    self.text,
                    "<{edge}><LinearRing><coordinates>{}</coordinates></LinearRing></{edge}>",
                    places.join(" ")
                );
            }
            self.text += "</Polygon>\n";
        }
        self.text += "</MultiGeometry>\n</Placemark>\n";
    }

    fn data(&mut self, data: &[(&str, String)]) {
        if data.is_empty() {
            return;
        }
        self.text += "<ExtendedData>";
        for (name, value) in data {
            let _ = write!(self.text, "<Data name=\"{}\"><value>{}</value></Data>", escaped(name), escaped(value));
        }
        self.text += "</ExtendedData>\n";
    }
}

fn figure(f: Figure) -> String {
    f.rounded().map_or(String::new(), |x| x.to_string())
}

fn percent(share: Figure) -> String {
    format!("{} %", (1000.0 * share.0).round() / 10.0)
}

fn chance(what: &'static str, c: &Chance) -> [(&'static str, String); 4] {
    let [estimate, lower, upper, text] = match what {
        "inside" => ["inside_estimate", "inside_lower", "inside_upper", "inside"],
        "outside_fields" => {
            ["outside_fields_estimate", "outside_fields_lower", "outside_fields_upper", "outside_fields"]
        }
        _ => ["outside_estimate", "outside_lower", "outside_upper", "outside"],
    };
    [(estimate, figure(c.estimate)), (lower, figure(c.lower)), (upper, figure(c.upper)), (text, c.text.clone())]
}
