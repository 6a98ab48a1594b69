//! What tests of pages share: pages as they are read, and what stands in them.

#![allow(
    dead_code,
    clippy::unwrap_used,
    missing_docs,
    reason = "test support: not every test uses all of it, and a test may fail loudly"
)]

use scraper::{ElementRef, Html, Selector};

use crate::support::Reply;

/// A page; read as HTML without a fault.
pub fn read(reply: &Reply) -> Html {
    assert_eq!(reply.header("content-type"), "text/html; charset=utf-8", "{reply:?}");
    let page = Html::parse_document(&reply.text());
    assert_eq!(page.errors, Vec::<String>::new(), "{}", reply.text());
    page
}

pub fn all<'a>(page: &'a Html, selector: &str) -> Vec<ElementRef<'a>> {
    let selector = Selector::parse(selector).unwrap();
    page.select(&selector).collect()
}

/// The text of an element, as it stands.
pub fn words(element: ElementRef) -> String {
    element.text().collect()
}

/// The same, as a browser shows its blanks.
pub fn shown(element: ElementRef) -> String {
    words(element).split_whitespace().collect::<Vec<_>>().join(" ")
}

/// The texts of all elements of a kind.
pub fn words_of(page: &Html, selector: &str) -> String {
    all(page, selector).into_iter().map(words).collect()
}
