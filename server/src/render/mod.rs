//! Other forms: of an answer, made from the answer alone, and of its flights.

pub mod csv;
pub mod geojson;
pub mod kml;
pub mod stored;
pub mod terminal;
mod xml;
