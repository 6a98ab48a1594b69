//! `/new`: a day is written down and asked for.
//!
//! The page is made from one table of fields (`fields.rs`). Every field names its place in the API's own day; the modules keep
//! that day as JSON, and the page is a view of it: what has no field is shown and kept. They are several files of one scope that
//! are sent as one: a module that loads another would have to know its address, which holds the sum of its bytes.

mod fields;
mod told;

use axum::extract::Request;
use axum::http::HeaderMap;
use axum::response::Response;
use maud::{Markup, html};

use self::fields::{DAY, FLIGHT, Forms, How, Part};
use self::told::{FLIGHTS, joined, left_out, place, words};
use super::assets;
use super::sent;
use super::view::{Page, View};
use crate::wire::units;
use slowpoint_sim::limits;

/// Longer texts have several lines.
const ONE_LINE: u64 = 500;
/// Flights of the quick look: the first estimate.
const LOOK_FLIGHTS: u64 = 128;

/// Shows an empty day.
pub async fn page(headers: HeaderMap, request: Request) -> Response {
    let view = View::at_front(&request);
    let body = body();
    let scripts = [&*assets::ENTRY];
    sent(
        Page { title: "A new day", path: "/new", own: &[], answer: "", scripts: &scripts, body }.whole(&view),
        &headers,
    )
}

fn body() -> Markup {
    html! {
        noscript {
            p.weather.aged {
                "Writing a day down here takes script. Without it, write it as JSON and send it: "
                a href="/" { "the front page" } " says how, and " a href="/docs/" { "the description" } " names every field. What is answered is read without script."
            }
        }
        form #day hidden autocomplete="off" novalidate data-example=(assets::EXAMPLE_DAY.path) data-look=(LOOK_FLIGHTS) data-learn=(limits::CALIBRATION_FLIGHTS.min) {
            section #faults tabindex="-1" aria-labelledby="faults-title" hidden {
                h2 #faults-title { "To be mended" }
                ul {}
                p.press { button #anyway type="button" hidden { "Ask for the other flights without mending" } }
            }
            nav aria-label="Parts of the day" {
                ul.links {
                    li { a href="#kept-title" { "This day" } }
                    li { a href="#flights-title" { "The flights" } }
                    @for part in DAY {
                        @if let Part::Group { title, .. } = part { li { a href={ "#" (anchor(title)) } { (title) } } }
                    }
                    li { a href="#ask-title" { "Ask" } }
                }
            }
            (kept())
            section aria-labelledby="flights-title" {
                h2 #flights-title tabindex="-1" { "The flights" }
                ol #flights {}
                p.press {
                    button #add type="button" { "Add a flight" }
                    button #copy type="button" { "Copy this flight" }
                    button #remove type="button" { "Remove this flight" }
                    button #back type="button" hidden { "Put it back" }
                }
                div #flight role="group" aria-labelledby="flight-title" {}
            }
            template #of-flight {
                h3 #flight-title tabindex="-1" {}
                p.press { button #write-out type="button" hidden { "Write this copy out in full" } }
                (parts(FLIGHT, FLIGHTS, 4))
                (leftovers("flight-kept", "Kept as it is, of this flight", 4))
            }
            @for part in DAY {
                (parts(std::slice::from_ref(part), "", 2))
                @if matches!(part, Part::Group { at: "weather", .. }) { (decoding()) }
            }
            (leftovers("day-kept", "Kept as it is", 2))
            @for forms in Forms::ALL { (templates(forms)) }
            (asking())
        }
        (unit_tables())
    }
}

/// Days that this browser keeps, and files.
fn kept() -> Markup {
    html! {
        section aria-labelledby="kept-title" {
            h2 #kept-title { "This day" }
            div.field {
                label for="called" { "Kept in this browser as" }
                input #called type="text" maxlength="80" aria-describedby="called:about keeping";
                p.hint id="called:about" { "The day is kept while it is written. It is sent to nobody before it is asked for." }
            }
            p #keeping role="status" {}
            div.field #others hidden {
                label for="other" { "Other days kept here" }
                select #other {}
                p.press {
                    button #open-other type="button" { "Open it" }
                    button #forget type="button" { "Forget it" }
                }
            }
            p.press {
                button #example type="button" { "Begin with an invented day" }
                button #empty type="button" { "Begin with an empty day" }
                button #save type="button" { "Save as a file" }
            }
            div.field {
                label for="file" { "Open a file" }
                input #file type="file" accept=".json,application/json";
                p.hint { "A day as JSON, as it was saved here or written by hand. What it holds that has no field here is kept and sent as it is." }
            }
            p.hint {
                "Write each figure with its unit, as people write it: " code { "54 mm" } ", " code { "12 oz" } ", " code { "35 mph" }
                ". " a href="#units-title" { "All units" } ". Leave empty what is not known: what is taken then stands beside the field."
            }
        }
    }
}

/// What a day holds that no field of the page is for.
fn leftovers(id: &str, title: &str, level: u8) -> Markup {
    let titled = format!("{id}-title");
    html! {
        section.leftover id=(id) aria-labelledby=(titled) hidden {
            (heading(level, Some(&titled), title))
            p.hint { "No field of this page is for these; they are sent as they stand." }
            ul {}
        }
    }
}

/// What a message says, decoded.
fn decoding() -> Markup {
    html! {
        section aria-labelledby="decoded-title" {
            h2 #decoded-title { "What the messages say" }
            p.press { button #decode type="button" { "Decode the messages" } }
            p #decoding role="status" {}
            div #decoded {}
        }
    }
}

fn asking() -> Markup {
    html! {
        section aria-labelledby="ask-title" {
            h2 #ask-title { "Ask" }
            p.press {
                button.first #ask type="submit" { "Ask" }
                button #price type="button" { "What it would cost" }
                button #cancel type="button" hidden { "Cancel" }
            }
            p #asking role="status" {}
            p #where hidden { a #sign-in href="/sign-in" { "Sign in" } }
            section #look tabindex="-1" aria-labelledby="look-title" hidden {
                h3 #look-title { "A first estimate" }
                p.note #look-note {}
                div {}
            }
        }
    }
}

/// Every unit that is read.
fn unit_tables() -> Markup {
    html! {
        section aria-labelledby="units-title" {
            h2 #units-title { "Units" }
            dl.units {
                @for table in units::ALL {
                    dt { (table.quantity) ", such as " code { (table.example) } }
                    dd { (table.list()) }
                }
            }
        }
    }
}

fn heading(level: u8, id: Option<&str>, title: &str) -> Markup {
    html! {
        @match level {
            2 => { h2 id=[id] { (title) } }
            3 => { h3 id=[id] { (title) } }
            _ => { h4 id=[id] { (title) } }
        }
    }
}

fn parts(parts: &[Part], below: &str, level: u8) -> Markup {
    html! {
        @for part in parts {
            @match part {
                Part::Field { at, label, example, how } => { (field(&joined(below, at), label, example, *how)) }
                Part::Group { at, title, about, folded, taken_out, parts: inner } => {
                    @let at = joined(below, at);
                    @let inner = html! { div.fields { (self::parts(inner, &at, level + 1)) } (taking_out(&at, taken_out)) };
                    (group((title, about), *folded, level, &inner))
                }
                Part::List { at, title, one, parts: inner } => { (list(&joined(below, at), title, one, inner)) }
                Part::One { at, label, forms } => { (one(&joined(below, at), at.is_empty(), label, *forms)) }
            }
        }
    }
}

/// Where a part of the day begins.
fn anchor(title: &str) -> String {
    let words = title.split(|c: char| !c.is_ascii_alphabetic()).filter(|word| !word.is_empty());
    format!("part-{}", words.collect::<Vec<_>>().join("-").to_lowercase())
}

fn group((title, about): (&str, &str), folded: bool, level: u8, inner: &Markup) -> Markup {
    // Parts of the day are led to; flights have the same titles again and again.
    let id = (level == 2).then(|| anchor(title));
    html! {
        @if folded {
            details.group id=[id] {
                summary { (title) }
                div role="group" aria-label=(title) {
                    @if !about.is_empty() { p.hint { (about) } }
                    (inner)
                }
            }
        } @else {
            fieldset.group id=[id.as_deref()] tabindex=[id.as_ref().map(|_| "-1")] {
                @if !title.is_empty() { legend { (heading(level, None, title)) } }
                @if !about.is_empty() { p.hint { (about) } }
                (inner)
            }
        }
    }
}

/// Takes a part of the day out at once, for whoever gives another in its place.
fn taking_out(at: &str, taken_out: &str) -> Markup {
    html! {
        @if !taken_out.is_empty() {
            p.press {
                button type="button" data-takes=(at) { "Take out " (taken_out) }
                button type="button" data-puts-back=(at) hidden { "Put back " (taken_out) }
            }
        }
    }
}

/// Any number of the same: the modules make each from the template.
fn list(at: &str, title: &str, one: &str, inner: &[Part]) -> Markup {
    html! {
        fieldset.list id=(at) data-list=(at) tabindex="-1" {
            legend { (title) }
            @if let Some(place) = place(at) { p.hint id={ (at) ":about" } { (words(&place.about, at)) } }
            (items(&format!("{at}/-"), one, inner))
            p.press { button type="button" data-add { "Add " (one) } }
        }
    }
}

/// Where the items of a list stand, and the template of one, which may be a list itself.
fn items(item: &str, one: &str, inner: &[Part]) -> Markup {
    html! {
        div.items {}
        template {
            @if let [Part::List { at: "", title, one: part, parts: inner }] = inner {
                fieldset.item id=(item) data-item=(item) data-list=(item) data-one-called=(one) tabindex="-1" {
                    legend { (one) }
                    p.hint { (title) "." }
                    (items(&format!("{item}/-"), part, inner))
                    p.press {
                        button type="button" data-add { "Add " (part) }
                        button type="button" data-remove { "Remove " (one) }
                    }
                }
            } @else {
                fieldset.item id=(item) data-item=(item) data-one-called=(one) tabindex="-1" {
                    legend { (one) }
                    div.fields { (parts(inner, item, 6)) }
                    p.press { button type="button" data-remove { "Remove " (one) } }
                }
            }
        }
    }
}

/// One of several forms: the modules make the one that is chosen.
fn one(at: &str, beside: bool, label: &str, forms: Forms) -> Markup {
    let id = if beside { format!("{at}:{}", forms.name()) } else { at.to_string() };
    let (about, chosen) = (format!("{id}:about"), format!("{id}:form"));
    let said = place(at).filter(|_| !beside);
    html! {
        div.field.one id=(id) data-one=(at) data-forms=(forms.name()) tabindex="-1" {
            label for=(chosen) { (label) }
            select id=(chosen) data-form aria-describedby=(about) {
                option value="" { @if beside { "choose" } @else { "left out" } }
                @for word in said.iter().flat_map(|place| &place.words) { option value=(word) data-word { (shown(word)) } }
                @for (name, called, _) in forms.each() { option value=(name) { (called) } }
            }
            p.hint id=(about) {
                @if let Some(place) = &said { (words(&place.about, at)) " " (left_out(at)) } @else { "A circle or corners in metres, or degrees as GeoJSON." }
            }
            div.form role="group" aria-label=(label) {}
        }
    }
}

fn templates(forms: Forms) -> Markup {
    html! {
        @for (name, _, inner) in forms.each() {
            template data-forms=(forms.name()) data-form=(name) data-base=(forms.base()) { (parts(inner, forms.base(), 6)) }
        }
    }
}

/// What a field is in HTML.
#[derive(Clone, Copy, PartialEq, Eq)]
enum Kind {
    Text,
    Value,
    List,
    Rows,
    Columns,
    Table,
    Json,
    Some,
}

impl Kind {
    fn name(self) -> &'static str {
        match self {
            Self::Text => "text",
            Self::Value => "value",
            Self::List => "list",
            Self::Rows => "rows",
            Self::Columns => "columns",
            Self::Table => "table",
            Self::Json => "json",
            Self::Some => "some",
        }
    }
}

fn field(at: &str, label: &str, example: &str, how: How) -> Markup {
    // Every field is in the schema: a test holds that.
    let Some(place) = place(at) else { return html! {} };
    let kind = match how {
        How::List => Kind::List,
        How::Rows => Kind::Rows,
        How::Columns => Kind::Columns,
        How::Table(_) => Kind::Table,
        How::Json => Kind::Json,
        How::Some => Kind::Some,
        How::Lines | How::Plain if place.types.iter().all(|t| t == "string") => Kind::Text,
        How::Lines | How::Plain => Kind::Value,
    };
    let columns = if let How::Table(names) = how { Some(names.join(" ")) } else { None };
    let long = how == How::Lines || matches!(kind, Kind::Rows | Kind::Columns | Kind::Table | Kind::Json);
    let long = long || (kind == Kind::Text && place.longest.is_some_and(|most| most > ONE_LINE));
    let (about, from_file) = (format!("{at}:about"), format!("{at}:file"));
    let named = html! { (label) @if place.needed { " " span.needed { "needed" } } };
    let hint = html! {
        p.hint id=(about) {
            @if !example.is_empty() { "Such as " code { (example) } ". " }
            (words(&place.about, at)) " " (left_out(at))
        }
    };
    let required = place.needed.then_some("true");
    html! {
        @if kind == Kind::Some {
            fieldset.field id=(at) data-field=(at) data-kind=(kind.name()) aria-describedby=(about) tabindex="-1" {
                legend { (named) }
                @for word in &items_of(at) {
                    label.check { input type="checkbox" value=(word); " " (shown(word)) }
                }
                (hint)
            }
        } @else {
            div.field.long[long] {
                label for=(at) { (named) }
                @if place.words.is_empty() || !place.types.iter().all(|t| t == "string") {
                    @if long {
                        textarea id=(at) data-field=(at) data-kind=(kind.name()) data-columns=[columns] aria-describedby=(about) aria-required=[required]
                            rows="4" spellcheck="false" autocapitalize="off" {}
                    } @else {
                        input type="text" id=(at) data-field=(at) data-kind=(kind.name()) aria-describedby=(about) aria-required=[required]
                            spellcheck="false" autocapitalize="off";
                    }
                } @else {
                    select id=(at) data-field=(at) data-kind=(kind.name()) aria-describedby=(about) aria-required=[required] {
                        option value="" { @if place.needed { "choose" } @else { "left out" } }
                        @for word in &place.words { option value=(word) { (shown(word)) } }
                    }
                }
                @if matches!(kind, Kind::Json | Kind::Columns) {
                    label.file for=(from_file) { "from a file" }
                    input type="file" id=(from_file) data-into=(at) aria-label={ (label) ", from a file" };
                }
                (hint)
            }
        }
    }
}

/// Words of which a list is made.
fn items_of(at: &str) -> Vec<String> {
    place(&format!("{at}/-")).map(|item| item.words).unwrap_or_default()
}

/// A word of the schema as people read it.
fn shown(word: &str) -> String {
    word.replace('_', " ")
}
