//! A whole day against its cards one by one, and a sweep that ends early against all its settings flown to the end, over HTTP.

use core::fmt;
use std::time::Instant;

use serde_json::{Value, json};
use slowpoint_sim::case::Inputs;

use crate::asked::request;
use crate::served::Service;

const CARDS: u64 = 20;
/// Flights of each card.
const FLIGHTS: u64 = 10_000;
/// Flights of each setting of the sweep.
const SWEPT: u64 = 4000;
const HOURS: u64 = 24;
const TILTS: u64 = 9;
/// The day flies at most so many times what its cards fly one by one.
const DAY_MOST: f64 = 1.05;
/// The sweep flies less than this share of the flights of all its settings, with intervals as narrow.
const SWEEP_MOST: f64 = 0.6;

/// Seconds from sending to the last byte, and the answer.
pub fn ask(service: &Service, body: &Value) -> Result<(f64, Value), String> {
    ask_long(service, "/v1/assessments", body)
}

/// Seconds until a job, if it is one, has its answer, and the answer.
fn ask_long(service: &Service, path: &str, body: &Value) -> Result<(f64, Value), String> {
    let (begin, client) = (Instant::now(), service.client());
    let mut reply = client.post(path, body)?;
    if let Some(job) = reply.json()["jobID"].as_str() {
        client.ended(job)?;
        reply = client.get(&format!("/v1/jobs/{job}/results"))?;
    }
    let seconds = begin.elapsed().as_secs_f64();
    if reply.status != 200 {
        return Err(reply.told());
    }
    Ok((seconds, reply.json()))
}

/// What both came to.
pub struct Whole {
    answered: usize,
    together_s: f64,
    alone_s: f64,
    /// Flights by the service's own count.
    together: f64,
    alone: f64,
    swept: [Swept; 2],
}

struct Swept {
    seconds: f64,
    flights: f64,
    widest: f64,
}

impl Whole {
    /// Of a card with five delays or more; the sweep has all its delays.
    pub fn of(inputs: &Inputs) -> Result<Self, String> {
        let service = Service::start(&[])?;
        let mut card = request(inputs, FLIGHTS, 1);
        card["delays"].as_array_mut().ok_or("no delays")?.truncate(5);
        let entry = |k: u64| {
            let mut own = card["card"].clone();
            own["airframe"]["mass"] = json!(format!("{} g", 600 + k));
            own
        };
        let mut day = card.clone();
        day["entries"] = (0..CARDS).map(|k| json!({"name": format!("card {k}"), "card": entry(k)})).collect();
        day.as_object_mut().ok_or("no object")?.remove("card");
        // The cards by themselves with another seed, so that nothing comes from the store.
        let mut alone_s = 0.0;
        for k in 0..CARDS {
            let mut one = card.clone();
            one["card"] = entry(k);
            one["seed"] = json!(2);
            alone_s += ask(&service, &one)?.0;
        }
        let (together_s, answer) = ask_long(&service, "/v1/days", &day)?;
        let answered = answer["entries"].as_array().into_iter().flatten().filter(|e| e["problem"].is_null()).count();
        let [together, alone] = flown(&service)?;
        // The naive way with intervals at the same level as those of `until`: it is not to be narrow.
        let naive = swept(&service, inputs, "0.01 %".into())?;
        let ended = swept(&service, inputs, naive.widest.into())?;
        Ok(Self { answered, together_s, alone_s, together, alone, swept: [naive, ended] })
    }

    fn day_ratio(&self) -> f64 {
        self.together / self.alone
    }

    fn sweep_share(&self) -> f64 {
        self.swept[1].flights / self.swept[0].flights
    }

    /// Whether both fly as little as they must.
    pub fn reached(&self) -> bool {
        let [naive, ended] = &self.swept;
        self.answered as u64 == CARDS
            && self.day_ratio() <= DAY_MOST
            && self.sweep_share() < SWEEP_MOST
            && naive.flights == (HOURS * TILTS * SWEPT) as f64
            && ended.widest <= naive.widest
    }
}

impl fmt::Display for Whole {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let [naive, ended] = &self.swept;
        writeln!(
            f,
            "A day of {CARDS} cards with 5 delays and {FLIGHTS} flights each ({} answered): {:.1} s, {:.3} x the same cards one by one, {:.3} x their flights (at most {DAY_MOST})",
            self.answered,
            self.together_s,
            self.together_s / self.alone_s,
            self.day_ratio()
        )?;
        writeln!(
            f,
            "A sweep of 24 hours, 9 tilts and 8 delays, each setting flown {SWEPT} times: {:.1} s, widest half-width {:.2} points.",
            naive.seconds,
            100.0 * naive.widest
        )?;
        write!(
            f,
            "  until no interval is wider: {:.1} % of those flights (below {:.0}), {:.2} x the time, widest half-width {:.2} points",
            100.0 * self.sweep_share(),
            100.0 * SWEEP_MOST,
            ended.seconds / naive.seconds,
            100.0 * ended.widest
        )
    }
}

/// Flights of days and of assessments so far, as the service counts them.
fn flown(service: &Service) -> Result<[f64; 2], String> {
    let page = String::from_utf8_lossy(&service.client().get("/metrics")?.body).into_owned();
    Ok(["days", "assessments"].map(|kind| {
        let start = format!("slowpoint_flights_total{{kind=\"{kind}\"");
        let lines = page.lines().filter(|line| line.starts_with(&start));
        lines.filter_map(|line| line.rsplit_once(' ')?.1.parse::<f64>().ok()).sum()
    }))
}

fn swept(service: &Service, inputs: &Inputs, half_width: Value) -> Result<Swept, String> {
    let mut base = request(inputs, SWEPT, 1);
    let members = base.as_object_mut().ok_or("no object")?;
    members.remove("flights");
    members.insert("until".into(), json!({"half_width": half_width, "within": SWEPT}));
    // A day's wind, from a morning's breath to the afternoon and back.
    let hour = |k: u32| {
        let speed = 4.5 - 3.5 * f64::cos(core::f64::consts::TAU * (f64::from(k) - 3.0) / 24.0);
        let from = 180 + 5 * k;
        let surface = json!({"speed": speed, "direction": from, "measuring_height": 10});
        let layers = [(300, 1.6), (1200, 2.2)].map(
            |(height, factor)| json!({"height_above_ground": height, "speed": factor * speed, "direction": from + 20}),
        );
        json!({"label": format!("{k:02}:00"), "wind": {"surface": surface, "layers": layers}})
    };
    let axes = json!({
        "hours": (0..HOURS as u32).map(hour).collect::<Vec<_>>(),
        "tilts": (0..TILTS as u32).map(|k| 2.5 * f64::from(k)).collect::<Vec<_>>(),
    });
    let (seconds, answer) = ask_long(service, "/v1/sweeps", &json!({"base": base, "axes": axes}))?;
    Ok(Swept { seconds, flights: answer["flights"].as_f64().unwrap_or(f64::NAN), widest: widest(&answer)? })
}

/// Half the width of the widest interval of a sweep.
fn widest(sweep: &Value) -> Result<f64, String> {
    let limits = sweep["cells"].as_array().into_iter().flatten();
    let limits = limits.flat_map(|c| c["delays"].as_array().into_iter().flatten());
    let limits = limits.flat_map(|d| d["limits"].as_array().into_iter().flatten());
    let number = |l: &Value, name: String| l[&name].as_f64().ok_or_else(|| format!("{name} is missing"));
    let mut widest = Err("no setting has a limit".into());
    for limit in limits {
        for name in ["over", "unsafe_opening"] {
            let wide = number(limit, format!("{name}_upper"))? - number(limit, format!("{name}_lower"))?;
            widest = Ok(f64::max(widest.unwrap_or(0.0), 0.5 * wide));
        }
    }
    widest
}
