//! The token of a browser, which cannot send `Authorization` of its own accord: a cookie, and from where what changes
//! something may come. No script sees the cookie, and no page of another site brings it along (`SameSite=Strict`).

use axum::http::uri::Authority;
use axum::http::{HeaderMap, HeaderValue, Uri, header};

use crate::config::Config;
use crate::problem::{Kind, Problem};

/// Name of the cookie over plain HTTP.
const PLAIN: &str = "slowpoint";
/// And over TLS: with this prefix a browser takes it from this very host alone, and only over TLS (RFC 6265bis, 4.1.3.2).
const SECURE: &str = "__Host-slowpoint";

/// How long a cookie stays that does not end with the browser, s.
pub const STAYS_S: u64 = 12 * 3600;

/// Whether the browser speaks TLS: to this server, or to the proxy in front of it, by its word.
pub fn secure(config: &Config, headers: &HeaderMap) -> bool {
    let said = headers.get("x-forwarded-proto").filter(|_| config.behind_proxy);
    matches!(config.tls(), Ok(Some(_))) || said.is_some_and(|scheme| scheme.as_bytes().eq_ignore_ascii_case(b"https"))
}

fn name(secure: bool) -> &'static str {
    if secure { SECURE } else { PLAIN }
}

/// The token of the cookie.
pub fn token<'a>(config: &Config, headers: &'a HeaderMap) -> Option<&'a str> {
    let name = name(secure(config, headers));
    let sent = headers.get_all(header::COOKIE).iter().filter_map(|value| value.to_str().ok());
    let mut pairs = sent.flat_map(|list| list.split(';')).filter_map(|pair| pair.trim().split_once('='));
    pairs.find_map(|(named, token)| (named == name && !token.is_empty()).then_some(token))
}

/// Has the browser keep a token, until it is closed or for a while.
pub fn begins(config: &Config, headers: &HeaderMap, token: &str, stays: bool) -> Option<HeaderValue> {
    let ends = if stays { format!("; Max-Age={STAYS_S}") } else { String::new() };
    cookie(config, headers, token, &ends)
}

/// Has the browser forget it.
pub fn ends(config: &Config, headers: &HeaderMap) -> Option<HeaderValue> {
    cookie(config, headers, "", "; Max-Age=0")
}

fn cookie(config: &Config, headers: &HeaderMap, token: &str, ends: &str) -> Option<HeaderValue> {
    let secure = secure(config, headers);
    let only = if secure { "; Secure" } else { "" };
    let text = format!("{}={token}; Path=/; HttpOnly; SameSite=Strict{only}{ends}", name(secure));
    let mut value = HeaderValue::from_str(&text).ok()?;
    value.set_sensitive(true);
    Some(value)
}

/// The address of this server as the browser knows it, by the page that sent the request: scheme, host and port. It is that of
/// a page of this server where it is what the request was sent to.
pub fn origin(config: &Config, headers: &HeaderMap) -> Option<String> {
    let origin: Uri = headers.get(header::ORIGIN)?.to_str().ok()?.parse().ok()?;
    let host: Authority = headers.get(header::HOST)?.to_str().ok()?.parse().ok()?;
    let (scheme, authority) = (origin.scheme_str()?, origin.authority()?);
    // Whether a proxy speaks TLS is known only where it says so.
    let fits = if secure(config, headers) { scheme == "https" } else { matches!(scheme, "http" | "https") };
    let same = authority.as_str().eq_ignore_ascii_case(host.as_str());
    (fits && same).then(|| format!("{scheme}://{authority}"))
}

/// Lets through what a page of this server sent, by the word of the browser. Over plain HTTP a browser gives it by `Origin`
/// alone (W3C, Fetch Metadata, 2.2).
pub fn own(config: &Config, headers: &HeaderMap) -> Result<(), Problem> {
    let own = match headers.get("sec-fetch-site") {
        Some(site) => site.as_bytes() == b"same-origin",
        None => origin(config, headers).is_some(),
    };
    if own {
        return Ok(());
    }
    Err(Problem::new(
        Kind::OtherSite,
        "What a browser sends with its cookie, or from a form, is taken from pages of this server alone. Open the page here and send it again; a proxy in front has to hand Host on as it came; a program sends the header Authorization.",
    ))
}

/// A path of this server to lead back to; `None` where it leads elsewhere, or might in the eyes of a browser, which reads `\` as
/// `/` and leaves out tabs and ends of lines.
pub fn own_path(path: &str) -> Option<&str> {
    let plain = path.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    (plain && path.starts_with('/') && !path.starts_with("//")).then_some(path)
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may fail loudly")]

    use super::*;

    fn headers(pairs: &[(&'static str, &str)]) -> HeaderMap {
        pairs.iter().map(|(name, value)| (name.parse().unwrap(), value.parse().unwrap())).collect::<HeaderMap>()
    }

    #[test]
    fn leads_back_to_paths_of_this_server_alone() {
        for (path, own) in [
            ("/", true),
            ("/days/1?units=us&theme=sun", true),
            ("//elsewhere.example/", false),
            ("/\\elsewhere.example/", false),
            ("\\\\elsewhere.example/", false),
            ("/\t/elsewhere.example/", false),
            ("/days/1\n", false),
            ("https://elsewhere.example/", false),
            ("javascript:alert(1)", false),
            ("days/1", false),
            ("/d\u{e4}ys", false),
            ("", false),
        ] {
            assert_eq!(own_path(path).is_some(), own, "{path:?}");
        }
    }

    #[test]
    fn cookies_are_bound_to_this_server() {
        let (plain, proxy) = (Config::default(), Config { behind_proxy: true, ..Config::default() });
        let text = |value: Option<HeaderValue>| value.unwrap().to_str().unwrap().to_string();
        let https = headers(&[("x-forwarded-proto", "https")]);
        assert_eq!(
            text(begins(&plain, &https, "slowpoint_1", false)),
            "slowpoint=slowpoint_1; Path=/; HttpOnly; SameSite=Strict"
        );
        assert_eq!(
            text(begins(&proxy, &https, "slowpoint_1", true)),
            "__Host-slowpoint=slowpoint_1; Path=/; HttpOnly; SameSite=Strict; Secure; Max-Age=43200"
        );
        let tls = Config { tls_cert: Some("a.pem".into()), tls_key: Some("b.pem".into()), ..Config::default() };
        assert!(secure(&tls, &HeaderMap::new()) && !secure(&plain, &HeaderMap::new()));
        assert_eq!(text(ends(&plain, &https)), "slowpoint=; Path=/; HttpOnly; SameSite=Strict; Max-Age=0");
        let sent = |cookie| headers(&[("cookie", cookie), ("x-forwarded-proto", "https")]);
        for (cookie, over_plain, over_tls) in [
            ("slowpoint=a", Some("a"), None),
            ("__Host-slowpoint=a", None, Some("a")),
            ("other=b; slowpoint=a;x", Some("a"), None),
            ("slowpoint=", None, None),
            ("notslowpoint=a", None, None),
        ] {
            assert_eq!(token(&plain, &sent(cookie)), over_plain, "{cookie}");
            assert_eq!(token(&proxy, &sent(cookie)), over_tls, "{cookie}");
        }
    }

    #[test]
    fn what_changes_something_comes_from_here() {
        let proxy = Config { behind_proxy: true, ..Config::default() };
        let host = ("host", "field.example:8080");
        for (sent, taken) in [
            (vec![host, ("sec-fetch-site", "same-origin")], true),
            (vec![host, ("sec-fetch-site", "same-site"), ("origin", "http://field.example:8080")], false),
            (vec![host, ("sec-fetch-site", "cross-site")], false),
            (vec![host, ("sec-fetch-site", "none")], false),
            (vec![host, ("origin", "http://field.example:8080")], true),
            (vec![host, ("origin", "http://FIELD.example:8080")], true),
            (vec![host, ("origin", "http://field.example")], false),
            (vec![host, ("origin", "http://field.example:8080.elsewhere.example")], false),
            (vec![host, ("origin", "http://elsewhere.example")], false),
            (vec![host, ("origin", "null")], false),
            (vec![("origin", "http://field.example:8080")], false),
            (vec![host], false),
        ] {
            assert_eq!(own(&proxy, &headers(&sent)).is_ok(), taken, "{sent:?}");
        }
        // Over TLS a page that came without it is of another origin.
        let tls = |origin| headers(&[host, ("origin", origin), ("x-forwarded-proto", "https")]);
        assert!(own(&proxy, &tls("https://field.example:8080")).is_ok());
        assert!(own(&proxy, &tls("http://field.example:8080")).is_err());
        assert_eq!(origin(&proxy, &tls("https://field.example:8080")).as_deref(), Some("https://field.example:8080"));
    }
}
