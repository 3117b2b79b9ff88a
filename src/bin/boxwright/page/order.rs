//! What a page sends: a small JSON document, of which nothing beyond [`MOST_BYTES`] is ever held.

use super::refusal::Refusal;
use axum::body::to_bytes;
use axum::extract::{FromRequest, Request};
use axum::http::{StatusCode, header};
use serde::de::DeserializeOwned;

/// Argument lists and settings are shorter.
pub const MOST_BYTES: usize = 64 << 10;

/// The document that a request carries.
pub struct Order<T>(pub T);

impl<T: DeserializeOwned, S: Send + Sync> FromRequest<S> for Order<T> {
    type Rejection = Refusal;

    async fn from_request(request: Request, _: &S) -> Result<Self, Refusal> {
        let kind = request.headers().get(header::CONTENT_TYPE).and_then(|kind| kind.to_str().ok()).unwrap_or("");
        // A form of another page can send text/plain without asking anybody, but not this.
        if !kind.split(';').next().unwrap_or("").trim().eq_ignore_ascii_case("application/json") {
            let says = format!("a body of the kind {kind:?}, JSON is needed");
            return Err(Refusal::new(StatusCode::UNSUPPORTED_MEDIA_TYPE, says, "send it as application/json"));
        }
        let bytes = to_bytes(request.into_body(), MOST_BYTES).await.map_err(|_| too_large())?;
        serde_json::from_slice(&bytes).map(Order).map_err(|error| {
            let says = format!("the body is not what is expected here: {error}");
            Refusal::new(StatusCode::BAD_REQUEST, says, "send what the interface describes")
        })
    }
}

/// Whoever sends that much means something else.
pub fn too_large() -> Refusal {
    let says = format!("a body of more than {MOST_BYTES} bytes");
    Refusal::new(StatusCode::PAYLOAD_TOO_LARGE, says, "send an argument list, not a file")
}
