//! Other forms: of an answer, made from the answer alone, and of its flights.

pub mod cords;
pub mod csv;
mod cut;
pub mod deploy_speed;
pub mod flight_paths;
pub mod geojson;
pub mod heat_map;
pub mod kml;
pub mod landing_map;
pub mod png;
pub mod stored;
pub mod svg;
pub mod terminal;
pub mod wind_profile;
pub mod winds;
mod xml;
