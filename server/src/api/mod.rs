//! One resource per file: parameters, response, handler. A handler extracts, converts, calls, converts.

pub mod assessments;
pub mod days;
pub mod description;
pub mod docs;
pub mod events;
pub mod extract;
pub mod files;
pub mod flights;
pub mod front;
pub mod health;
pub mod jobs;
pub mod price;
pub mod problems;
pub mod shares;
pub mod sweeps;
pub mod validator;
pub mod weather;
pub mod work;

use crate::threads::blocking;
