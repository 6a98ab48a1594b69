//! How whoever looks wants it shown, and the frame that every page has. Nothing is kept between two pages: what was chosen,
//! and the link that shares, stand in the address and are carried on by every link of the page.

use std::sync::Arc;

use axum::Extension;
use axum::extract::{FromRequestParts, OptionalFromRequestParts, Query, Request};
use axum::http::request::Parts;
use maud::{DOCTYPE, Markup, html};
use serde::Deserialize;
use slowpoint_sim::report::FIRST_CAUTION;

use super::assets::{self, Asset};
use super::told::Units;
use crate::State;
use crate::access::Shared;
use crate::api::extract::Asked;
use crate::problem::Problem;

/// What stands for the name of this server where a page has lines to copy: what a client calls it in `Host` is not to be trusted.
pub const YOUR_SERVER: &str = "YOUR-SERVER";
/// The service.
pub const NAME: &str = "Slowpoint";

/// Colours.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Theme {
    /// Light or dark, as the device has it.
    #[default]
    Auto,
    /// Dark on white.
    Light,
    /// Light on black.
    Dark,
    /// Black on white, larger: to be read in the sun.
    Sun,
}

impl Theme {
    /// Every choice.
    pub const ALL: [Self; 4] = [Self::Auto, Self::Light, Self::Dark, Self::Sun];

    /// As the query and the style sheet have it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Auto => "auto",
            Self::Light => "light",
            Self::Dark => "dark",
            Self::Sun => "sun",
        }
    }

    /// As the link to it says.
    fn words(self) -> &'static str {
        match self {
            Self::Sun => "sunlight",
            other => other.name(),
        }
    }

    /// Its class; by itself the device decides.
    fn class(self) -> Option<&'static str> {
        (self != Self::Auto).then(|| self.name())
    }
}

/// In which order flights of a day stand.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Sort {
    /// As they were sent.
    #[default]
    Card,
    /// By the chance of an unsafe opening at their best delay, the greatest first; what could not be flown before all.
    Chance,
    /// By how many reasons there are to hold, the most first.
    Hold,
    /// By name.
    Name,
}

impl Sort {
    /// Every order.
    pub const ALL: [Self; 4] = [Self::Card, Self::Chance, Self::Hold, Self::Name];

    /// As the query has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::Card => "card",
            Self::Chance => "chance",
            Self::Hold => "hold",
            Self::Name => "name",
        }
    }

    /// As the link to it says.
    pub fn words(self) -> &'static str {
        match self {
            Self::Card => "as on the card",
            Self::Chance => "by the best delay, worst first",
            Self::Hold => "most reasons to hold first",
            Self::Name => "by name",
        }
    }
}

/// Which flights of a day are shown.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Only {
    /// All.
    #[default]
    All,
    /// Those of which no delay meets the condition.
    Unmet,
    /// Those with reasons to hold.
    Hold,
    /// Those that could not be flown.
    Failed,
}

impl Only {
    /// Every kind.
    pub const ALL: [Self; 4] = [Self::All, Self::Unmet, Self::Hold, Self::Failed];

    /// As the query has it.
    pub fn name(self) -> &'static str {
        match self {
            Self::All => "all",
            Self::Unmet => "unmet",
            Self::Hold => "hold",
            Self::Failed => "failed",
        }
    }

    /// As the link to it says.
    pub fn words(self) -> &'static str {
        match self {
            Self::All => "all flights",
            Self::Unmet => "no delay meets the condition",
            Self::Hold => "with reasons to hold",
            Self::Failed => "could not be flown",
        }
    }
}

/// What the query may hold.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields, default)]
pub struct Wishes {
    /// Units.
    pub units: Units,
    /// Colours.
    pub theme: Theme,
    /// Of a flight: which delay's landing is drawn.
    pub delay: Option<String>,
    /// Of a day: the order.
    pub sort: Sort,
    /// Of a day: which flights.
    pub only: Only,
    /// Of a day: the day that it is compared with.
    pub since: Option<String>,
    /// Of a day's sheet: which part, from 1.
    pub part: Option<usize>,
    /// Of a job: the day of few flights that is looked at until its own are flown.
    pub look: Option<String>,
    /// Of signing in: where it leads back to.
    pub next: Option<String>,
}

/// How it is shown.
#[derive(Debug, Default)]
pub struct View {
    /// What was asked.
    pub wishes: Wishes,
    /// The secret of the link that shares what is read.
    share: Option<String>,
}

impl FromRequestParts<Arc<State>> for View {
    type Rejection = Problem;

    async fn from_request_parts(parts: &mut Parts, state: &Arc<State>) -> Result<Self, Problem> {
        let Asked(wishes) = Asked::from_request_parts(parts, state).await?;
        let shared = <Extension<Shared> as OptionalFromRequestParts<_>>::from_request_parts(parts, state).await;
        let share = shared.ok().flatten().map(|Extension(Shared(secret))| secret);
        Ok(Self { wishes, share })
    }
}

impl View {
    /// Of the front page, which is nobody's.
    pub fn at_front(request: &Request) -> Self {
        let wishes = Query::try_from_uri(request.uri()).map(|Query(wishes)| wishes).unwrap_or_default();
        Self { wishes, share: None }
    }

    /// The units that are shown.
    pub fn units(&self) -> Units {
        self.wishes.units
    }

    /// Units and colours alone.
    pub fn plainly(&self) -> Self {
        let wishes = Wishes { units: self.wishes.units, theme: self.wishes.theme, ..Wishes::default() };
        Self { wishes, share: None }
    }

    /// A link to the front page, which is nobody's.
    pub fn front(&self) -> String {
        self.plainly().page("/")
    }

    /// The class of the document.
    pub fn class(&self) -> Option<&'static str> {
        self.wishes.theme.class()
    }

    /// A link to another page, shown as this one.
    pub fn page(&self, path: &str) -> String {
        self.page_with(path, &[])
    }

    /// The same with something of that page's own.
    pub fn page_with(&self, path: &str, own: &[(&str, &str)]) -> String {
        self.linked(path, own, self.wishes.units, self.wishes.theme)
    }

    /// The page on which a link to this one is made; whoever reads by a link makes no other.
    pub fn sharing(&self, path: &str) -> Option<String> {
        self.share.is_none().then(|| self.page(&format!("{path}/share")))
    }

    /// A link to a file or picture, or to the answer.
    pub fn file(&self, path: &str, own: &[(&str, &str)]) -> String {
        self.linked(path, own, Units::default(), Theme::default())
    }

    fn linked(&self, path: &str, own: &[(&str, &str)], units: Units, theme: Theme) -> String {
        let mut pairs = own.to_vec();
        if units == Units::Us {
            pairs.push(("units", "us"));
        }
        if theme != Theme::Auto {
            pairs.push(("theme", theme.name()));
        }
        if let Some(secret) = &self.share {
            pairs.push(("share", secret));
        }
        // Pairs of texts are always written.
        let query = serde_urlencoded::to_string(&pairs).unwrap_or_default();
        if query.is_empty() { path.to_string() } else { format!("{path}?{query}") }
    }
}

/// A page.
pub struct Page<'a> {
    /// What it is, in the window's title and as its heading.
    pub title: &'a str,
    /// Its own path, and what of its query is neither units nor colours.
    pub path: &'a str,
    /// See `path`.
    pub own: &'a [(&'a str, &'a str)],
    /// The answer whose numbers it shows; places of numbers are in it.
    pub answer: &'a str,
    /// What it runs.
    pub scripts: &'a [&'a Asset],
    /// What stands on it.
    pub body: Markup,
}

impl Page<'_> {
    /// The whole document.
    pub fn whole(&self, view: &View) -> String {
        self.with_head(view, html! {})
    }

    /// The same, which a browser without script loads anew after so many seconds.
    pub fn renewed(&self, view: &View, after_s: u32) -> String {
        self.with_head(view, html! { noscript { meta http-equiv="refresh" content=(after_s); } })
    }

    fn with_head(&self, view: &View, head: Markup) -> String {
        let (units, theme) = (view.wishes.units, view.wishes.theme);
        let choice = |text: &str, href: String, current: bool| {
            html! { a href=(href) aria-current=[current.then_some("true")] { (text) } }
        };
        let body = html! {
            a.skip href="#main" { "To the figures" }
            header.top {
                p.mark { a href=(view.front()) { "Slowpoint" } }
                nav aria-label="How it is shown" {
                    span.choices {
                        (choice("m/s", view.linked(self.path, self.own, Units::Si, theme), units == Units::Si))
                        (choice("mph", view.linked(self.path, self.own, Units::Us, theme), units == Units::Us))
                    }
                    span.choices {
                        @for each in Theme::ALL { (choice(each.words(), view.linked(self.path, self.own, units, each), theme == each)) }
                    }
                }
            }
            main #main tabindex="-1" data-answer=[(!self.answer.is_empty()).then_some(self.answer)] {
                h1 { (self.title) }
                (first_caution())
                (self.body)
            }
        };
        document_with(head, self.title, view.class(), self.scripts, &body)
    }
}

/// What has to be read before anything else.
pub fn first_caution() -> Markup {
    html! { p.caution { strong { (FIRST_CAUTION) } } }
}

/// What a browser is told of the colours that a class has.
pub fn scheme(class: Option<&str>) -> &'static str {
    match class {
        Some("light" | "sun" | "sheet") => "light",
        Some("dark") => "dark",
        _ => "light dark",
    }
}

/// A document from its body.
pub fn document(title: &str, class: Option<&str>, scripts: &[&Asset], body: &Markup) -> String {
    document_with(html! {}, title, class, scripts, body)
}

fn document_with(head: Markup, title: &str, class: Option<&str>, scripts: &[&Asset], body: &Markup) -> String {
    html! {
        (DOCTYPE)
        html lang="en" class=[class] {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="color-scheme" content=(scheme(class));
                title { (title) @if title != NAME { " - " (NAME) } }
                link rel="stylesheet" href=(assets::STYLE.path);
                link rel="icon" href=(assets::ICON.path);
                @for script in scripts { script type="module" src=(script.path) {} }
                // What is printed or framed is not for keeping.
                @if !matches!(class, Some("sheet" | "frame")) { script type="module" src=(assets::STORED.path) {} }
                (head)
            }
            body { (body) }
        }
    }
    .into_string()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_carry_what_was_chosen_and_the_link_that_shares() {
        let wishes = Wishes { units: Units::Us, theme: Theme::Sun, ..Wishes::default() };
        let view = View { wishes, share: Some("a b&c".into()) };
        assert_eq!(view.page("/days/1"), "/days/1?units=us&theme=sun&share=a+b%26c");
        assert_eq!(view.file("/v1/x.svg", &[("delay", "7")]), "/v1/x.svg?delay=7&share=a+b%26c");
        assert_eq!(view.front(), "/?units=us&theme=sun");
        assert_eq!(View::default().page("/"), "/");
    }
}
