//! What is posted: invented cards, each another by its seed.

use serde_json::{Value, json};

/// An invented card, flown so many times: the one of the service's own tests.
pub fn card(seed: u64, flights: u64) -> Value {
    let card = include_str!("../../../../server/tests/support/card.json");
    // A card that is no JSON is refused by the service, which every subject counts.
    let mut card: Value = serde_json::from_str(card).unwrap_or_default();
    card["flights"] = json!(flights);
    card["seed"] = json!(seed);
    card
}

/// The same as prepared JSON, in which another seed can be written.
pub struct Prepared {
    json: Vec<u8>,
    seed_at: usize,
}

impl Prepared {
    /// Twelve digits: whatever is added leaves as many.
    const FIRST_SEED: u64 = 100_000_000_000;

    /// Of a card.
    pub fn new(flights: u64) -> Self {
        let json = card(Self::FIRST_SEED, flights).to_string();
        let seed_at = json.find(&Self::FIRST_SEED.to_string()).unwrap_or_else(|| panic!("{json} has its seed"));
        Self { json: json.into_bytes(), seed_at }
    }

    /// With the seed of this number.
    pub fn numbered(&mut self, number: u64) -> &[u8] {
        let seed = (Self::FIRST_SEED + number).to_string();
        self.json[self.seed_at..][..seed.len()].copy_from_slice(seed.as_bytes());
        &self.json
    }
}

/// A day of some flights of that card.
pub fn day(seed: u64, flights: u64, entries: u64) -> Value {
    let card = card(seed, flights);
    let entry = |k: u64| json!({"name": format!("flight {k}"), "card": card["card"], "delays": [4 + k]});
    json!({
        "entries": (0..entries).map(entry).collect::<Vec<_>>(),
        "launch": card["launch"], "wind": card["wind"], "flights": flights, "seed": seed,
    })
}

/// A sweep of that card over some tilts.
pub fn sweep(seed: u64, flights: u64, tilts: u64) -> Value {
    json!({"base": card(seed, flights), "axes": {"tilts": (0..tilts).collect::<Vec<_>>()}})
}

/// Numbers of works that take longer than a turn, by as much as fast machines need: an assessment, which halts at one of its
/// last pieces at the latest while others have their turn, and a day, which gives way after some of its entries.
pub const LENGTHY: u64 = 3 << 40;

/// Work of each kind in turn, as its path and its body: pieces of some 20 to 100 ms of two cores, and 4 s for what is lengthy.
pub fn work(number: u64) -> (&'static str, Value) {
    match number % 3 {
        0 if number >= LENGTHY => ("/v1/days", day(number, 12_000, 10)),
        1 if number >= LENGTHY => ("/v1/assessments", card(number, 140_000)),
        0 => ("/v1/days", day(number, 256, 5)),
        1 => ("/v1/sweeps", sweep(number, 1024, 6)),
        _ => ("/v1/assessments", card(number, 1024)),
    }
}
