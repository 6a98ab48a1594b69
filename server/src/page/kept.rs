//! What pages say of what a device keeps. Which of it holds, a module knows (`stored.js`): without it, nothing is kept.

use axum::extract::Request;
use axum::response::Response;
use maud::{Markup, html};

use super::as_html;
use super::view::{Page, View};

/// Most pages and pictures that a device keeps.
pub const MOST_KEPT: usize = 2400;

/// What is said where nothing is kept.
fn nothing() -> Markup {
    html! {
        p.note data-keeping="not" {
            "Nothing is kept on this device: browsers let a page keep something only over HTTPS, or on the machine that serves it. "
            "\u{201c}Save this day\u{201d} on a day's page always gives one file that opens without the network."
        }
    }
}

/// The pages that are kept, with their ages.
pub fn here() -> Markup {
    html! {
        section aria-labelledby="kept" {
            h2 #kept { "Kept on this device" }
            div data-keeping="here" hidden {
                p #kept-none { "Nothing yet." }
                ul #kept-list {}
                p.note { "Days, flights and sweeps that are opened on this device are kept on it, " (MOST_KEPT) " pages and pictures at most, until you sign out. What came by a link that shares is found by that link alone." }
            }
            (nothing())
        }
    }
}

/// Keeps a day before it is needed.
pub fn this_day() -> Markup {
    html! {
        p data-keeping="here" hidden {
            button #keep-day type="button"
                data-done="All of it is kept here: {} pages and pictures."
                data-failed="Not all of it could be kept: the server does not answer, or this device has no room for it." { "Keep this day here" }
            " " span #kept-day role="status" {}
        }
        (nothing())
    }
}

/// `/offline`: in place of what is not kept, while the server is away.
pub async fn nowhere(request: Request) -> Response {
    let view = View::at_front(&request);
    let body = html! {
        p { strong { "The server does not answer, and this page was not opened on this device while it did." } }
        p { "Try again where there is a network. What is kept can be opened all the same." }
        (here())
    };
    as_html(Page { title: "Not kept here", path: "/offline", own: &[], answer: "", scripts: &[], body }.whole(&view))
}
