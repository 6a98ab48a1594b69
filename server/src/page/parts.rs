//! What several pages share.

use jiff::Timestamp;
use maud::{Markup, html};

use super::standing::Weather;
use super::told::{At, Quantity, Units, limit};
use crate::wire::RARE_OUTCOME;

/// A table that scrolls by itself where it is wider than the screen; the keyboard reaches it.
pub fn wide(name: &str, table: Markup) -> Markup {
    html! { div.wide role="region" aria-label=(name) tabindex="0" { table { (table) } } }
}

/// The chances of every delay at each limit. One limit stands below the other, so that a phone shows all of a row: over it, and
/// an unsafe opening, with what is said `beside` that. Rows at the limit `led_to`, by its number, are led to by the cells above.
pub fn chances(
    name: &str,
    caption: &Markup,
    (delays, limits): (&[At], &[Markup]),
    beside: impl Fn(usize, &At) -> Markup,
    led_to: Option<usize>,
) -> Markup {
    wide(
        name,
        html! {
            (caption)
            thead { tr { th scope="col" { "Delay" } th scope="col" { "Over the limit" } th scope="col" { "Unsafe opening" } } }
            @for (k, limit) in limits.iter().enumerate() {
                tbody.limit {
                    tr { th scope="rowgroup" colspan="3" { "At " (limit) } }
                    @for (row, delay) in delays.iter().enumerate() {
                        @let at_limit = delay.get("limits").nth(k);
                        tr id=[(led_to == Some(k)).then(|| format!("delay-{row}"))] {
                            th scope="row" { (delay.get("label").words()) }
                            td { (at_limit.get("over").chance()) }
                            td { (at_limit.get("unsafe_opening").chance()) " " (beside(k, delay)) }
                        }
                    }
                }
            }
        },
    )
}

/// A picture. Its room is there before it comes, so that nothing is pushed away when it does; `later` it is brought once it is
/// scrolled to.
pub fn picture(source: &str, told: &str, size: Option<[u32; 2]>, later: bool) -> Markup {
    html! {
        img.picture src=(source) alt=(told) width=[size.map(|s| s[0])] height=[size.map(|s| s[1])] loading=[later.then_some("lazy")];
    }
}

/// A line of code that scrolls by itself.
pub fn code(name: &str, text: &str) -> Markup {
    html! { div.wide role="region" aria-label=(name) tabindex="0" { pre { code { (text) } } } }
}

/// So many of something, whose name takes an s where they are more than one.
pub fn many(count: usize, name: &str) -> String {
    format!("{count} {name}{}", if count == 1 { "" } else { "s" })
}

/// A moment, to the minute.
pub fn moment(at: Timestamp) -> Markup {
    html! { time datetime=(at) { (moment_in_words(at)) } }
}

/// The same where nothing but text may stand.
pub fn moment_in_words(at: Timestamp) -> String {
    at.strftime("%-d %B %Y, %H:%M UTC").to_string()
}

/// Where, when, in which wind, how many flights.
pub fn about(at: &At) -> Markup {
    let (site, pad) = (at.down("site.name"), at.down("site.pad.name"));
    html! {
        p.about {
            @if site.is_there() { (site.words()) ". " }
            @if pad.is_there() { "Pad " (pad.words()) ". " }
            @if at.down("weather.launch_at").is_there() { "Launch at " (at.down("weather.launch_at").words()) ". " }
            (at.get("flights").count()) " flights."
        }
    }
}

/// How old the weather is, where it is decided.
pub fn weather_line(at: &At, weather: Weather) -> Markup {
    let of = at.get("weather");
    let wind = at.down("nominal.surface_wind_m_s");
    // Paper has no colours to speak of.
    let uncoloured = html! { span.hue { "So \u{201c}under limit\u{201d} has no colour of its own here." } };
    html! {
        p.weather.aged[weather != Weather::Dated] {
            strong { "Weather: " }
            @match weather {
                Weather::Undated if !at.is_there() => { "not known: no answer of a flight is left that tells it. " (uncoloured) }
                Weather::Undated if of.is_there() => { (of.get("source").words()) ". How old it is at launch is not known: no time of launch was given. " (uncoloured) }
                Weather::Undated => { "wind by hand, of no time: how old it is at launch is not known. " (uncoloured) }
                Weather::Dated | Weather::Cautioned | Weather::Assumed | Weather::Old => {
                    (of.get("source").words())
                    @if of.get("age_h").is_there() { ", " (of.get("age_h").plain(1, Some("h"))) " from launch" }
                    @match weather {
                        Weather::Old => { ". The cautions say what is old. " (uncoloured) }
                        Weather::Cautioned => { ". There is a caution on the wind. " (uncoloured) }
                        Weather::Assumed => { ". A part of the wind is by hand or assumed. " (uncoloured) }
                        _ => { "." }
                    }
                }
            }
            @if wind.is_there() {
                " Mean surface wind " (wind.plain(1, Some("m/s"))) " (" (at.down("nominal.surface_wind_mph").plain(1, Some("mph"))) ")."
            }
        }
    }
}

/// What a delay is held against.
pub fn condition(advice: &At, units: Units) -> Markup {
    html! {
        p {
            strong { "Condition: " } "at most " (advice.get("condition_chance").short_percent())
            " of flights with an unsafe opening at " (limit(advice, units)) ", by the upper end of the interval."
        }
    }
}

/// Advice and suggestions, in the words of the answer.
pub fn advice(at: &At) -> Markup {
    let texts = ["advice.text", "advice.between.text", "wind_limit.text", "rail_advice.text"];
    html! { @for name in texts { @let text = at.down(name); @if text.is_there() { p { (text.words()) } } } }
}

/// Cautions: those on the same subject by the same rule together, in the order of the first of them.
pub fn cautions(list: &At) -> Markup {
    let mut groups: Vec<Vec<At>> = Vec::new();
    for caution in list.items() {
        let alike =
            |other: &At| ["topic", "rule"].iter().all(|name| other.get(name).text() == caution.get(name).text());
        match groups.iter_mut().find(|group| group.first().is_some_and(alike)) {
            Some(group) => group.push(caution),
            None => groups.push(vec![caution]),
        }
    }
    html! {
        section.cautions aria-labelledby="cautions" {
            h2 #cautions { "Cautions" }
            @if groups.is_empty() { p { "None of those that are looked for. That is no leave to fly." } }
            ul {
                @for group in &groups {
                    li {
                        @for caution in group { p { (caution.get("message").words()) } }
                        @if let Some(first) = group.first() { small { "Rule: " (first.get("rule").words()) "." } }
                    }
                }
            }
        }
    }
}

/// The slowest instant and the highest point.
pub fn slowest(at: &At, units: Units) -> Markup {
    let (slowest, apogee) = (at.get("slowest"), at.down("apogee.height_above_pad_m"));
    let ceiling = at.get("above_ceiling");
    html! {
        p {
            @if slowest.is_there() {
                "Slowest, by the median: " (slowest.down("airspeed_m_s.p50").measure(Quantity::Speed, units)) ", "
                (slowest.down("delay_s.p50").measure(Quantity::Time, units)) " after burnout. "
            }
            @if apogee.is_there() {
                "Highest point " (apogee.get("p50").measure(Quantity::Length, units)) " above the pad, 90 % between "
                (apogee.get("p05").bare(Quantity::Length, units)) " and " (apogee.get("p95").measure(Quantity::Length, units)) ". "
            }
            @if ceiling.is_there() { "Above the ceiling: " (ceiling.chance()) "." }
        }
    }
}

/// Whether an outcome is one to tell of.
pub fn told_of(outcome: &At) -> bool {
    outcome.get("outcome").text() != "opened"
        && outcome.get("share").number().is_some_and(|share| share >= RARE_OUTCOME)
}

/// The weather it was flown in.
pub fn weather(at: &At, weather: Weather) -> Markup {
    let of = at.get("weather");
    html! {
        section aria-labelledby="weather" {
            h2 #weather { "The weather it was flown in" }
            (weather_line(at, weather))
            @if of.is_there() {
                ul {
                    @for sentence in of.get("assumed").items() { li { (sentence.words()) } }
                    @for sentence in of.get("skipped").items() { li { "Left out: " (sentence.words()) } }
                }
            }
        }
    }
}

/// What makes the same answer again.
pub fn identity(at: &At) -> Markup {
    html! {
        footer.identity {
            p {
                "Id " code { (at.get("id").words()) } ", " (at.get("engine").words())
                @if at.get("seed").is_there() { ", seed " (at.get("seed").count()) }
                ". The same flight card has the same id and the same figures."
            }
        }
    }
}
