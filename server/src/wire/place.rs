//! Where a field lies and what is on it, as it comes in. The comments here are the published description.

use serde::{Deserialize, Serialize};
use serde_json::{Value, json};
use slowpoint_sim::case::Role;
use utoipa::openapi::schema::{AdditionalProperties, ArrayBuilder, ObjectBuilder, SchemaType, Type};
use utoipa::openapi::{RefOr, Schema};
use utoipa::{PartialSchema, ToSchema};

use super::request::{Angle, Length, Quantity, string_or_number};

/// A bearing.
#[derive(Debug, Clone, PartialEq, Deserialize, Serialize)]
#[serde(transparent)]
pub struct Bearing(pub Quantity);

impl PartialSchema for Bearing {
    fn schema() -> RefOr<Schema> {
        let what = "An angle clockwise from true north (degrees when bare), or from magnetic north where the text ends in \
                    \"magnetic\": \"240 deg magnetic\" needs `site.declination`.";
        string_or_number(what.into(), "240 deg")
    }
}

impl ToSchema for Bearing {}

/// A place on Earth by WGS 84, in which satellites' receivers and web maps speak.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PositionRequest {
    /// Latitude, north positive: decimal degrees.
    #[schema(required = true, nullable = false)]
    pub latitude: Option<Angle>,
    /// Longitude, east positive: decimal degrees, negative in the Americas.
    #[schema(required = true, nullable = false)]
    pub longitude: Option<Angle>,
}

/// A launch pad: by `east` and `north` of the site's origin, or by its own `position`.
#[derive(Debug, Clone, Default, Deserialize, Serialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct PadRequest {
    /// Its name, which `launch.pad` repeats.
    #[schema(required = true, nullable = false, min_length = 1, max_length = 100, example = "A")]
    pub name: Option<String>,
    /// East of the site's origin; 0 when left out.
    pub east: Option<Length>,
    /// North of the site's origin; 0 when left out.
    pub north: Option<Length>,
    /// Where it is, in place of `east` and `north`. Needs `site.position`.
    pub position: Option<PositionRequest>,
}

/// What an area is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize, ToSchema)]
#[serde(rename_all = "snake_case")]
pub enum AreaRole {
    /// Where a landing is wanted.
    Field,
    /// People who watch.
    Spectators,
    /// Parked cars.
    Parking,
    /// A road.
    Road,
    /// A building.
    Building,
    /// Water.
    Water,
    /// Trees.
    Trees,
    /// Nothing is fetched from there.
    NoRecovery,
}

impl From<AreaRole> for Role {
    fn from(role: AreaRole) -> Self {
        match role {
            AreaRole::Field => Self::Field,
            AreaRole::Spectators => Self::Spectators,
            AreaRole::Parking => Self::Parking,
            AreaRole::Road => Self::Road,
            AreaRole::Building => Self::Building,
            AreaRole::Water => Self::Water,
            AreaRole::Trees => Self::Trees,
            AreaRole::NoRecovery => Self::NoRecovery,
        }
    }
}

/// The geometries that have an area.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Deserialize, Serialize)]
pub enum GeometryType {
    /// One patch.
    Polygon,
    /// Several.
    MultiPolygon,
}

/// A geometry of GeoJSON with an area. Its coordinates are read by hand, for the sake of the faults.
#[derive(Debug, Clone, Default, Deserialize, Serialize)]
pub struct Geometry {
    /// Which.
    #[serde(rename = "type")]
    pub kind: Option<GeometryType>,
    /// Nested lists of positions, longitude first.
    pub coordinates: Option<Value>,
}

/// What a feature says of its area. GeoJSON leaves room for more, which is not read.
#[derive(Debug, Clone, Default, Deserialize, Serialize)]
pub struct FeatureProperties {
    /// Its name.
    pub name: Option<String>,
    /// What it is.
    pub role: Option<AreaRole>,
    /// People in it.
    pub people: Option<f64>,
}

/// A feature of GeoJSON.
#[derive(Debug, Clone, Default, Deserialize, Serialize)]
pub struct Feature {
    /// What it says.
    pub properties: Option<FeatureProperties>,
    /// Where it is.
    pub geometry: Option<Geometry>,
}

/// A map as GeoJSON.
#[derive(Debug, Clone, Default, Deserialize, Serialize)]
pub struct AreaMap {
    /// Its features.
    pub features: Option<Vec<Feature>>,
    /// What its coordinates count in, as GeoJSON of before RFC 7946 says.
    pub crs: Option<Value>,
}

fn text(description: &str) -> ObjectBuilder {
    ObjectBuilder::new().schema_type(Type::String).description(Some(description))
}

/// An object of GeoJSON, which may hold more than is read.
fn open(description: &str) -> ObjectBuilder {
    ObjectBuilder::new()
        .schema_type(Type::Object)
        .description(Some(description))
        .additional_properties(Some(AdditionalProperties::FreeForm(true)))
}

fn geometry() -> ObjectBuilder {
    let anything = ObjectBuilder::new().schema_type(SchemaType::AnyValue);
    let coordinates = ArrayBuilder::new().items(anything).description(Some(
        "Positions of longitude and latitude in degrees (RFC 7946: WGS 84, longitude first), in rings that end where they \
         begin: the outer edge, then the gaps in it. At most 500 corners in all.",
    ));
    open("A Polygon or MultiPolygon of GeoJSON (RFC 7946). Needs `site.position`.")
        .property("type", text("Which of the two.").enum_values(Some(["Polygon", "MultiPolygon"])))
        .property("coordinates", coordinates)
        .required("type")
        .required("coordinates")
        .examples([json!({
            "type": "Polygon",
            "coordinates": [[[-71.002, 42.699], [-70.998, 42.699], [-70.998, 42.701], [-71.002, 42.701], [-71.002, 42.699]]],
        })])
}

impl PartialSchema for Geometry {
    fn schema() -> RefOr<Schema> {
        geometry().into()
    }
}

impl ToSchema for Geometry {}

impl PartialSchema for AreaMap {
    fn schema() -> RefOr<Schema> {
        // Null means "not given", and a list of words must hold it then.
        let or_null = |t| SchemaType::from_iter([t, Type::Null]);
        let roles = Role::ALL.iter().map(|role| Some(role.name())).chain([None]);
        let role = text("What it is.").schema_type(or_null(Type::String)).enum_values(Some(roles));
        let people =
            ObjectBuilder::new().schema_type(or_null(Type::Number)).description(Some("People in it, evenly spread."));
        let properties = open("What the area is. Other properties are not read.")
            .property("name", text("Its name.").min_length(Some(1)).max_length(Some(100)))
            .property("role", role)
            .property("people", people)
            .required("name");
        let feature = open("An area.")
            .property("type", text("\"Feature\".").enum_values(Some(["Feature"])))
            .property("properties", properties)
            .property("geometry", geometry())
            .required("type")
            .required("properties")
            .required("geometry");
        open(
            "Areas as a FeatureCollection of GeoJSON (RFC 7946), as map editors write it: each feature is a Polygon or \
             MultiPolygon with a `name`, and perhaps a `role` and `people`, among its properties. Needs `site.position`. \
             They follow those of `areas`. RFC 7946 knows WGS 84 alone; a member `crs` of older files may name it, and no other.",
        )
        .property("type", text("\"FeatureCollection\".").enum_values(Some(["FeatureCollection"])))
        .property("features", ArrayBuilder::new().items(feature).max_items(Some(50)).description(Some("Its areas.")))
        .required("type")
        .required("features")
        .into()
    }
}

impl ToSchema for AreaMap {}

#[cfg(test)]
mod tests {
    use super::*;

    /// The words of the request are the engine's names.
    #[test]
    fn roles_have_one_name() {
        for role in Role::ALL {
            let read: Option<AreaRole> = serde_json::from_value(json!(role.name())).ok();
            assert_eq!(read.map(Role::from), Some(role));
        }
    }
}
