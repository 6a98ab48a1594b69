//! What is to be shared, as JSON in.

use serde::Deserialize;
use utoipa::ToSchema;

use super::{Rejected, convert, json_of};
/// What is to be shared.
#[derive(Debug, Clone, Default, Deserialize, ToSchema)]
#[serde(deny_unknown_fields)]
pub struct ShareRequest {
    /// Path of the answer
    #[schema(
        required = true,
        nullable = false,
        pattern = "^/v1/(assessments|days|sweeps)/[0-9a-f]{32}$",
        example = "/v1/days/00000000000000000000000000000000"
    )]
    pub answer: Option<String>,
    /// For how long, h: a year at most
    #[schema(required = true, nullable = false, minimum = 1, maximum = 8784, example = 48)]
    pub hours: Option<u64>,
}

/// What can be shared.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AskedShare<A> {
    /// The answer.
    pub answer: A,
    /// For how long, h.
    pub hours: u64,
}

/// Reads what is to be shared: every fault in one reply. `answer_of` knows what the path of an answer means.
pub fn read_share<A>(body: &[u8], answer_of: impl Fn(&str) -> Option<A>) -> Result<AskedShare<A>, Rejected> {
    let (sent, twice) = json_of(body)?;
    convert::share(&sent, &twice, answer_of).map_err(Rejected::Faults)
}
