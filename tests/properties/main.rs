//! What holds for every card and every seed: how often intervals cover, and properties of random cards.

mod cards;
mod coverage;
