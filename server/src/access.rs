//! Who asks, and what they may: one table of routes, looked at before any handler.
//!
//! While there never was a token, nobody is asked for one and clients are told apart by their addresses. From the first token
//! on every request but the plain ones needs one, and an answer is read by whoever posted its input or holds a link that
//! shares it. The token is looked at first: where it may not read, or is none, the link beside it does. A route that the table
//! does not name is for administrators.

use std::net::{IpAddr, SocketAddr};
use std::sync::{Arc, Mutex, PoisonError};
use std::time::Duration;

use axum::extract::rejection::RawPathParamsRejection;
use axum::extract::{ConnectInfo, MatchedPath, Query, RawPathParams, Request, State as Held};
use axum::http::{HeaderMap, HeaderValue, Method, Uri, header};
use axum::middleware::Next;
use axum::response::Response;
use serde::Deserialize;

use crate::State;
use crate::api::extract::not_text;
use crate::id::{ContentId, hex, sum};
use crate::problem::{Kind, Problem};
use crate::session;
use crate::store::{Scope, SecretSum, Shelf, Store, Token};
use crate::threads::{self, Bounded};

/// Begins every token, so that one that got out is found where it should not be.
const PREFIX: &str = "slowpoint_";

/// A store that hangs keeps whoever watches from its answer no longer than this.
const LOOK: Duration = Duration::from_secs(1);

/// Whoever asks.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Client {
    /// What its answers, jobs and budget are kept under: its kind, a colon and what tells it from others of that kind. The kind
    /// comes first, so that no token can be called as an address or a link is.
    pub name: String,
    /// Whether tokens are asked for: only then an answer is somebody's.
    pub known: bool,
    scope: Scope,
    /// Of its token, where it has one.
    token: Option<SecretSum>,
}

impl Client {
    /// While nobody is asked for a token.
    fn at(address: &str) -> Self {
        Self { name: format!("address:{address}"), known: false, scope: Scope::Admin, token: None }
    }

    fn with_token(token: &Token, sum: SecretSum) -> Self {
        Self { name: token.client(), known: true, scope: token.scope, token: Some(sum) }
    }

    /// Each link is a client of its own. Its name leads back to no secret.
    fn with_link(sum: &SecretSum) -> Self {
        Self { name: format!("link:{}", ContentId::of_sum(sum)), known: true, scope: Scope::Read, token: None }
    }

    /// Whether its token holds still, neither revoked nor ended: what is sent for long asks again and again.
    pub async fn holds(&self, state: &State) -> Result<bool, Problem> {
        let Some(sum) = self.token else { return Ok(true) };
        Ok(held(state, sum).await?.is_some())
    }

    /// Whether it has a token, which may end.
    pub fn may_end(&self) -> bool {
        self.token.is_some()
    }

    /// On whose behalf a job is given up: of all, where nobody is told apart, and by an administrator.
    pub fn gives_up_for(&self) -> Option<&str> {
        (self.known && self.scope < Scope::Admin).then_some(&self.name)
    }

    /// Whose links it sees and ends: an administrator everybody's. Who nobody asked for a token sees no address of others.
    pub fn links_of(&self) -> Option<&str> {
        (!self.known || self.scope < Scope::Admin).then_some(&self.name)
    }

    /// Whether an answer may be read.
    pub fn may_read(&self, store: &dyn Store, shelf: Option<Shelf>, id: &ContentId) -> std::io::Result<bool> {
        Ok(!self.known || self.scope == Scope::Admin || store.owns(&self.name, shelf, id)?)
    }
}

/// Whether there ever was a token, as it was last seen: what holds while the store cannot be asked.
pub struct Tokens {
    seen: Mutex<Option<bool>>,
    /// Looks of whoever watches.
    looks: Bounded,
}

impl Tokens {
    /// Looks for the first time.
    pub fn of(store: &dyn Store) -> Self {
        Self { seen: Mutex::new(store.any_token().ok()), looks: Bounded::new(LOOK) }
    }

    /// Looks, unless one was seen before.
    fn any(&self, store: &dyn Store) -> std::io::Result<bool> {
        if self.last() == Some(true) {
            return Ok(true);
        }
        let any = store.any_token()?;
        *self.seen.lock().unwrap_or_else(PoisonError::into_inner) = Some(any);
        Ok(any)
    }

    fn last(&self) -> Option<bool> {
        *self.seen.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// What a route needs.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Need {
    /// Nothing: it tells of the service alone.
    Nothing,
    /// A scope.
    Scope(Scope),
    /// A scope, and that the answer is the client's own.
    Own(Scope, Option<Shelf>),
    /// The same for reading, or a link that shares it.
    OwnOrShared(Shelf),
}

fn need(method: &Method, route: &str) -> Need {
    let reads = !changes(method);
    let parts: Vec<&str> = route.split('/').skip(1).collect();
    match parts.as_slice() {
        [""] | ["livez" | "readyz" | "openapi.json"] | ["docs", ..] | ["problems", _] if reads => Need::Nothing,
        ["assets", _] | ["new" | "offline" | "offline.js"] if reads => Need::Nothing,
        ["sign-in" | "sign-out"] => Need::Nothing,
        ["jobs"] if reads => Need::Scope(Scope::Read),
        ["jobs", "{id}"] if reads => Need::Own(Scope::Read, None),
        ["jobs", "{id}", "dismiss"] => Need::Own(Scope::Compute, None),
        // Whoever has a link makes no other of it.
        ["flights", "{id}", "share"] => Need::Own(Scope::Compute, Some(Shelf::Assessments)),
        ["days", "{id}", "share"] => Need::Own(Scope::Compute, Some(Shelf::Days)),
        ["sweeps", "{id}", "share"] => Need::Own(Scope::Compute, Some(Shelf::Sweeps)),
        ["flights", "{id}", ..] if reads => Need::OwnOrShared(Shelf::Assessments),
        ["days", "{id}", ..] if reads => Need::OwnOrShared(Shelf::Days),
        ["sweeps", "{id}", ..] if reads => Need::OwnOrShared(Shelf::Sweeps),
        ["v1", "jobs"] if reads => Need::Scope(Scope::Read),
        ["v1", "jobs", "{id}", ..] if reads => Need::Own(Scope::Read, None),
        ["v1", "jobs", "{id}", ..] => Need::Own(Scope::Compute, None),
        ["v1", "weather", ..] | ["v1", "shares", ..] => Need::Scope(Scope::Compute),
        ["v1", shelf, rest @ ..] => match (Shelf::of_name(shelf), rest) {
            (Some(_), []) => Need::Scope(Scope::Compute),
            (Some(shelf), ["{id}", ..]) if reads => Need::OwnOrShared(shelf),
            (Some(shelf), ["{id}", ..]) => Need::Own(Scope::Compute, Some(shelf)),
            _ => Need::Scope(Scope::Admin),
        },
        _ => Need::Scope(Scope::Admin),
    }
}

impl Need {
    /// The least scope.
    fn scope(self) -> Scope {
        match self {
            Self::Nothing | Self::OwnOrShared(_) => Scope::Read,
            Self::Scope(least) | Self::Own(least, _) => least,
        }
    }

    /// Where the answer is kept that has to be the client's own; the inner `None` is any shelf.
    fn owned(self) -> Option<Option<Shelf>> {
        match self {
            Self::Nothing | Self::Scope(_) => None,
            Self::Own(_, shelf) => Some(shelf),
            Self::OwnOrShared(shelf) => Some(Some(shelf)),
        }
    }
}

/// Whether a request may change something.
fn changes(method: &Method) -> bool {
    !matches!(*method, Method::GET | Method::HEAD)
}

/// Whether a route is one of the API; else it is of a page.
fn of_api(route: &str) -> bool {
    route.starts_with("/v1/")
}

/// Whether a link can open a route.
pub fn takes_link(method: &Method, route: &str) -> bool {
    matches!(need(method, route), Need::OwnOrShared(_))
}

/// What a request to a route can be refused with here, before any handler sees it.
pub fn refusals(method: &Method, route: &str) -> Vec<Kind> {
    let need = need(method, route);
    if need == Need::Nothing {
        return Vec::new();
    }
    let mut kinds = vec![Kind::TokenNeeded, Kind::StorageFailed, Kind::Internal];
    if changes(method) {
        kinds.push(Kind::OtherSite);
    }
    if need.scope() > Scope::Read {
        kinds.push(Kind::ScopeTooSmall);
    }
    if let Some(shelf) = need.owned() {
        kinds.extend([Kind::InvalidPath, unknown(shelf)]);
    }
    if takes_link(method, route) {
        kinds.extend([Kind::ShareOver, Kind::InvalidQuery]);
    }
    kinds
}

/// What of the query decides who may read.
#[derive(Debug, Default, Deserialize)]
struct Asked {
    share: Option<String>,
    since: Option<String>,
    look: Option<String>,
}

/// The secret of the link that a page was asked with, for the links on it.
#[derive(Clone)]
pub struct Shared(pub String);

/// Lets a request through that may pass, with its client.
pub async fn permit(
    Held(state): Held<Arc<State>>,
    route: MatchedPath,
    params: Result<RawPathParams, RawPathParamsRejection>,
    mut request: Request,
    next: Next,
) -> Result<Response, Problem> {
    let need = need(request.method(), route.as_str());
    // A program says who it is by the header; what brings a cookie is a browser, and so is what sends a form.
    let cookie = session::token(&state.config, request.headers()).map(sum);
    // A proxy may ask for a password of its own, which is no token; then the cookie counts.
    let by_header = bearer(request.headers()).filter(|token| token.is_ok() || cookie.is_none());
    let by_cookie = cookie.filter(|_| by_header.is_none());
    if changes(request.method()) && (by_cookie.is_some() || !of_api(route.as_str())) {
        session::own(&state.config, request.headers())?;
    }
    if need == Need::Nothing {
        return Ok(next.run(request).await);
    }
    let asked = match Query::<Asked>::try_from_uri(request.uri()) {
        Ok(Query(asked)) => asked,
        // What decides who may read is read once and whole, or not at all.
        Err(_) if matches!(need, Need::OwnOrShared(_)) || !of_api(route.as_str()) => {
            let detail = "The query cannot be read, or gives share, since or look twice.";
            return Err(Problem::new(Kind::InvalidQuery, detail));
        }
        Err(_) => Asked::default(),
    };
    let params = params.map_err(|_| not_text())?;
    let ids: Vec<ContentId> = params
        .iter()
        .filter_map(|(name, value)| (name == "id").then_some(value))
        .chain(asked.since.as_deref())
        .chain(asked.look.as_deref())
        .filter_map(ContentId::parse)
        .collect();
    let secret = by_header.or(by_cookie.map(Ok));
    let peer = peer(&request, state.config.behind_proxy);
    let fallback = peer.clone();
    let (looked, share) = (Arc::clone(&state), asked.share.clone());
    let look = move || look(&looked, need, secret, share.as_deref(), &ids, &peer);
    // Whoever watches is not kept waiting by a store that hangs.
    let found = match need {
        Need::Scope(Scope::Admin) => state.tokens.looks.run(look).await.map_err(|_| Problem::internal())?,
        _ => threads::blocking(look).await?,
    };
    let client = match found {
        Ok(client) => client?,
        Err(_) if need == Need::Scope(Scope::Admin) && state.tokens.last() == Some(false) => Client::at(&fallback),
        Err(error) => return Err(Problem::storage(&error)),
    };
    without_share(request.uri_mut());
    if let (Need::OwnOrShared(_), Some(secret)) = (need, asked.share) {
        request.extensions_mut().insert(Shared(secret));
    }
    request.extensions_mut().insert(client);
    Ok(next.run(request).await)
}

/// The client, if it may do what it asks.
fn look(
    state: &State,
    need: Need,
    secret: Option<Result<SecretSum, ()>>,
    share: Option<&str>,
    ids: &[ContentId],
    peer: &str,
) -> std::io::Result<Result<Client, Problem>> {
    let store = &*state.store;
    if !state.tokens.any(store)? {
        return Ok(Ok(Client::at(peer)));
    }
    let link = share.filter(|_| matches!(need, Need::OwnOrShared(_))).map(sum);
    let token = match secret {
        Some(Ok(sum)) => store.token(&sum)?.filter(Token::holds).map(|token| (token, sum)),
        _ => None,
    };
    let client = match (&token, &link) {
        (Some((token, sum)), _) => Client::with_token(token, *sum),
        (None, Some(link)) => Client::with_link(link),
        (None, None) => return Ok(Err(unauthenticated(secret.is_some()))),
    };
    if client.scope < need.scope() {
        let (has, needs) = (client.scope.name(), need.scope().name());
        let detail =
            format!("The token has the scope \"{has}\"; this needs \"{needs}\". Ask whoever runs this server for one.");
        return Ok(Err(Problem::new(Kind::ScopeTooSmall, detail)));
    }
    let Some(shelf) = need.owned() else { return Ok(Ok(client)) };
    for id in ids {
        if client.may_read(store, shelf, id)? {
            continue;
        }
        let shared = match (&link, shelf) {
            (Some(link), Some(shelf)) => store.shared(link, shelf, id)?,
            _ => false,
        };
        if !shared {
            return Ok(Err(if link.is_some() { not_shared(secret.is_some()) } else { not_theirs(shelf, id) }));
        }
    }
    Ok(Ok(client))
}

fn unknown(shelf: Option<Shelf>) -> Kind {
    shelf.map_or(Kind::UnknownJob, Kind::unknown)
}

/// The same whether there is such an answer or not.
pub fn not_theirs(shelf: Option<Shelf>, id: &ContentId) -> Problem {
    Problem::new(
        unknown(shelf),
        format!(
            "Nothing that this token may read is known under {id}. Post its input: the same input gets the same id, and can be read by whoever posted it."
        ),
    )
}

/// The same whether there is such an answer or not.
fn not_shared(beside_token: bool) -> Problem {
    let token = if beside_token { ", and the token beside it may not read it either" } else { "" };
    let detail =
        format!("The link does not share this, or its time is over{token}. Ask whoever gave it to you for another.");
    Problem::new(Kind::ShareOver, detail)
}

/// The token whose secret has this sum, if it counts now.
pub async fn held(state: &State, sum: SecretSum) -> Result<Option<Token>, Problem> {
    let store = Arc::clone(&state.store);
    let found = threads::blocking(move || store.token(&sum)).await?.map_err(|error| Problem::storage(&error))?;
    Ok(found.filter(Token::holds))
}

/// Whether anybody is asked for a token.
pub async fn asked(state: &Arc<State>) -> Result<bool, Problem> {
    let this = Arc::clone(state);
    threads::blocking(move || this.tokens.any(&*this.store)).await?.map_err(|error| Problem::storage(&error))
}

/// No token, or one that does not count.
pub fn unauthenticated(shown: bool) -> Problem {
    let (detail, challenge) = if shown {
        (
            "The token is not known, was revoked, or its time is over. Ask whoever runs this server for another.",
            "Bearer realm=\"slowpoint\", error=\"invalid_token\"",
        )
    } else {
        (
            "Send the header Authorization: Bearer TOKEN. Whoever runs this server makes one with `slowpoint token add NAME`.",
            "Bearer realm=\"slowpoint\"",
        )
    };
    Problem::new(Kind::TokenNeeded, detail).with_header(header::WWW_AUTHENTICATE, HeaderValue::from_static(challenge))
}

/// A new secret: 256 random bits.
pub fn new_secret() -> String {
    let bits: [u8; 32] = rand::random();
    format!("{PREFIX}{}", hex(&bits))
}

/// What the client shows; an error where it cannot be a token.
fn bearer(headers: &HeaderMap) -> Option<Result<SecretSum, ()>> {
    let text = headers.get(header::AUTHORIZATION)?.to_str();
    let token = text.ok().and_then(|text| text.split_once(' '));
    let token = token.filter(|(scheme, _)| scheme.eq_ignore_ascii_case("bearer")).map(|(_, token)| token.trim());
    Some(token.map(sum).ok_or(()))
}

/// The client's address. Behind a proxy the last that it names: those before it anybody can make up. Addresses of one IPv6
/// network are one client's.
fn peer(request: &Request, behind_proxy: bool) -> String {
    let named = request.headers().get_all("x-forwarded-for").iter().next_back().filter(|_| behind_proxy);
    let named = named.and_then(|list| list.to_str().ok()?.rsplit(',').next()?.trim().parse::<IpAddr>().ok());
    let direct = request.extensions().get::<ConnectInfo<SocketAddr>>().map(|info| info.0.ip());
    match named.or(direct).map(|address| address.to_canonical()) {
        Some(IpAddr::V6(address)) => {
            let [a, b, c, d, ..] = address.segments();
            format!("{a:x}:{b:x}:{c:x}:{d:x}::/64")
        }
        Some(address) => address.to_string(),
        None => "unknown".into(),
    }
}

/// Handlers do not see the secret of a link.
pub fn without_share(uri: &mut Uri) {
    let Some(query) = uri.query().filter(|query| query.contains("share")) else { return };
    let rest: Vec<&str> = query.split('&').filter(|pair| !pair.starts_with("share=")).collect();
    let rest = rest.join("&");
    let path = if rest.is_empty() { uri.path().to_string() } else { format!("{}?{rest}", uri.path()) };
    let mut parts = uri.clone().into_parts();
    if let Ok(path) = path.parse() {
        parts.path_and_query = Some(path);
        if let Ok(whole) = Uri::from_parts(parts) {
            *uri = whole;
        }
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use axum::body::Body;

    use super::*;

    #[test]
    fn what_no_row_names_is_for_administrators() {
        for (method, route) in [
            (Method::GET, "/v1/secrets"),
            (Method::GET, "/metrics"),
            (Method::POST, "/livez"),
            (Method::GET, "/v2/assessments/{id}"),
            (Method::GET, "/v1/assessments/all"),
            (Method::GET, "/flights/all"),
            (Method::POST, "/flights/{id}"),
            (Method::POST, "/jobs/{id}"),
            (Method::GET, "/jobs/{id}/all"),
        ] {
            assert_eq!(need(&method, route), Need::Scope(Scope::Admin), "{method} {route}");
        }
    }

    #[test]
    fn no_client_has_the_name_of_another_kind() {
        let secret = new_secret();
        let name = Client::with_link(&sum(&secret)).name;
        assert!(name.len() == "link:".len() + 32 && !secret.contains(&name["link:".len()..]), "{name}");
        let created = jiff::Timestamp::UNIX_EPOCH;
        for called in ["192.0.2.7", "address:192.0.2.7", &name] {
            let token = Token { name: called.into(), scope: Scope::Admin, created, expires: None, revoked: None };
            assert_eq!(Client::with_token(&token, sum("secret")).name, format!("token:{called}"));
        }
        assert_eq!(Client::at("192.0.2.7").name, "address:192.0.2.7");
    }

    /// What the description says of each route.
    #[test]
    fn refuses_by_the_table() {
        let of = |method, route| {
            let mut slugs: Vec<_> = refusals(&method, route).into_iter().map(Kind::slug).collect();
            slugs.sort_unstable();
            (slugs, takes_link(&method, route))
        };
        assert_eq!(of(Method::GET, "/livez"), (vec![], false));
        assert_eq!(of(Method::GET, "/v1/jobs"), (vec!["internal", "storage-failed", "token-needed"], false));
        let compute = vec!["internal", "other-site", "scope-too-small", "storage-failed", "token-needed"];
        assert_eq!(of(Method::POST, "/v1/weather/grib"), (compute, false));
        let shared = vec![
            "internal",
            "invalid-path",
            "invalid-query",
            "share-over",
            "storage-failed",
            "token-needed",
            "unknown-day",
        ];
        assert_eq!(of(Method::GET, "/v1/days/{id}/changes"), (shared, true));
        let own = vec![
            "internal",
            "invalid-path",
            "other-site",
            "scope-too-small",
            "storage-failed",
            "token-needed",
            "unknown-job",
        ];
        assert_eq!(of(Method::DELETE, "/v1/jobs/{id}"), (own, false));
    }

    #[test]
    fn clients_are_told_apart_by_address() {
        let from = |peer: Option<&str>, forwarded: &[&str], behind_proxy| {
            let mut request = Request::get("/").body(Body::empty()).unwrap();
            for list in forwarded {
                request.headers_mut().append("x-forwarded-for", list.parse().unwrap());
            }
            if let Some(peer) = peer {
                request.extensions_mut().insert(ConnectInfo(peer.parse::<SocketAddr>().unwrap()));
            }
            super::peer(&request, behind_proxy)
        };
        assert_eq!(from(Some("192.0.2.7:5000"), &["198.51.100.1"], false), "192.0.2.7");
        assert_eq!(from(Some("192.0.2.7:5000"), &["203.0.113.9, 198.51.100.1"], true), "198.51.100.1");
        assert_eq!(from(Some("192.0.2.7:5000"), &["203.0.113.9", "198.51.100.2"], true), "198.51.100.2");
        assert_eq!(from(Some("192.0.2.7:5000"), &["nonsense"], true), "192.0.2.7");
        assert_eq!(from(Some("[::ffff:192.0.2.7]:5000"), &[], false), "192.0.2.7");
        assert_eq!(from(Some("[2001:db8:1:2:3:4:5:6]:5000"), &[], false), "2001:db8:1:2::/64");
        assert_eq!(from(None, &[], false), "unknown");
    }

    #[test]
    fn the_secret_of_a_link_is_taken_out() {
        for (sent, seen) in [
            ("/v1/days/0?share=a", "/v1/days/0"),
            ("/v1/days/0?share=a&delay=7", "/v1/days/0?delay=7"),
            ("/v1/days/0?delay=7&share=a", "/v1/days/0?delay=7"),
            ("/v1/days/0?shared=1", "/v1/days/0?shared=1"),
            ("/v1/days/0", "/v1/days/0"),
        ] {
            let mut uri: Uri = sent.parse().unwrap();
            without_share(&mut uri);
            assert_eq!(uri.to_string(), seen);
        }
    }

    #[test]
    fn tokens_are_read_from_their_header() {
        let of = |value: &str| {
            let mut headers = HeaderMap::new();
            headers.insert(header::AUTHORIZATION, value.parse().unwrap());
            bearer(&headers)
        };
        assert_eq!(of("Bearer abc"), Some(Ok(sum("abc"))));
        assert_eq!(of("bearer  abc "), Some(Ok(sum("abc"))));
        assert_eq!(of("Basic abc"), Some(Err(())));
        assert_eq!(of("abc"), Some(Err(())));
        assert_eq!(bearer(&HeaderMap::new()), None);
        assert!(new_secret().len() == PREFIX.len() + 64 && new_secret() != new_secret());
    }
}
