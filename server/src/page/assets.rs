//! What pages load. Each file has the sum of its bytes in its address: it never changes there, and a new one has a new address.

use std::sync::LazyLock;

use axum::http::header;
use axum::response::{IntoResponse, Response};

use super::kept::MOST_KEPT;
use crate::api::extract::InPath;
use crate::id::{hex, sum};
use crate::problem::{Kind, Problem};

/// Octets of the sum that stand in an address.
const SUM_OCTETS: usize = 8;

/// A file of the page.
pub struct Asset {
    /// Where it is.
    pub path: String,
    media_type: &'static str,
    /// What it holds.
    pub text: &'static str,
}

impl Asset {
    fn script(stem: &str, text: &'static str) -> Self {
        Self::new(stem, "js", "text/javascript; charset=utf-8", text)
    }

    fn new(stem: &str, ending: &str, media_type: &'static str, text: &'static str) -> Self {
        let digits = hex(&sum(text)[..SUM_OCTETS]);
        Self { path: format!("/assets/{stem}.{digits}.{ending}"), media_type, text }
    }
}

/// The style sheet.
pub static STYLE: LazyLock<Asset> =
    LazyLock::new(|| Asset::new("page", "css", "text/css; charset=utf-8", include_str!("page.css")));

/// The sign in the window's title: the speed over the delay, and where it is least.
pub static ICON: LazyLock<Asset> =
    LazyLock::new(|| Asset::new("icon", "svg", "image/svg+xml", include_str!("icon.svg")));

/// The modules of `/new`: files of one scope.
pub static ENTRY: LazyLock<Asset> = LazyLock::new(|| {
    const TEXT: &str = concat!(
        include_str!("entry/json.js"),
        include_str!("entry/model.js"),
        include_str!("entry/form.js"),
        include_str!("entry/faults.js"),
        include_str!("entry/keep.js"),
        include_str!("entry/weather.js"),
        include_str!("entry/ask.js"),
        include_str!("entry/start.js"),
    );
    Asset::script("entry", TEXT)
});

/// The day that `/new` begins with, if it is asked to.
pub static EXAMPLE_DAY: LazyLock<Asset> =
    LazyLock::new(|| Asset::new("meadow", "json", "application/json", include_str!("../../examples/days/meadow.json")));

/// Shows what a job has come to while it runs.
pub static PROGRESS: LazyLock<Asset> = LazyLock::new(|| Asset::script("progress", include_str!("progress.js")));

/// Has the browser keep what is opened.
pub static STORED: LazyLock<Asset> = LazyLock::new(|| Asset::script("stored", include_str!("stored.js")));

static ALL: [&LazyLock<Asset>; 6] = [&STYLE, &ICON, &ENTRY, &EXAMPLE_DAY, &PROGRESS, &STORED];

/// What a browser does in place of the network: it knows what pages load.
static OFFLINE: LazyLock<String> = LazyLock::new(|| {
    let paths: Vec<String> = ALL.into_iter().map(|asset| format!("{:?}", asset.path)).collect();
    format!("const ASSETS = [{}];\nconst MOST = {MOST_KEPT};\n{}", paths.join(", "), include_str!("offline.js"))
});

/// The worker. It asks this server alone, and runs nothing else; that there is a new one is seen at once.
pub async fn offline() -> Response {
    let headers = [
        (header::CONTENT_TYPE, "text/javascript; charset=utf-8"),
        (header::CACHE_CONTROL, "no-cache"),
        (header::CONTENT_SECURITY_POLICY, "default-src 'none'; connect-src 'self'"),
    ];
    (headers, OFFLINE.as_str()).into_response()
}

/// A file by its name.
pub async fn read(InPath(name): InPath<String>) -> Result<Response, Problem> {
    let found = ALL.into_iter().find(|asset| asset.path.strip_prefix("/assets/") == Some(&name));
    let asset = found.ok_or_else(|| {
        Problem::new(Kind::UnknownPath, "The page loads no such file. Load the page again: it names the present ones.")
    })?;
    let headers =
        [(header::CONTENT_TYPE, asset.media_type), (header::CACHE_CONTROL, "public, max-age=31536000, immutable")];
    Ok((headers, asset.text).into_response())
}
