//! What holds for every card: properties of random cards, and every input at its bounds and beyond.

mod cards;
