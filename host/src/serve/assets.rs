//! The files of the pages, made once.

use crate::show::page::assets::{Asset, all};
use axum::extract::Path;
use axum::http::{StatusCode, header};
use axum::response::{IntoResponse, Response};
use std::sync::LazyLock;

static ASSETS: LazyLock<Vec<Asset>> = LazyLock::new(all);

/// One file by its name.
pub async fn one(Path(name): Path<String>) -> Response {
    match ASSETS.iter().find(|asset| asset.name == name) {
        // They change only with the program, which may be another one on this port tomorrow.
        Some(asset) => (
            [(header::CONTENT_TYPE, asset.media_type), (header::CACHE_CONTROL, "no-cache")],
            asset.bytes.as_slice(),
        )
            .into_response(),
        None => StatusCode::NOT_FOUND.into_response(),
    }
}
