//! Why a request is not answered: status, what was wrong, what to do.

use crate::cli::Failure;
use axum::Json;
use axum::extract::rejection::{PathRejection, QueryRejection};
use axum::http::StatusCode;
use axum::response::{IntoResponse, Response};
use serde_json::json;

/// What a page shows of why; a body that is all one word would come back whole.
pub const MOST_LETTERS: usize = 500;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq)]
pub struct Refusal {
    pub status: StatusCode,
    pub says: String,
    pub advice: String,
}

impl Refusal {
    /// With a status of its own.
    pub fn new(status: StatusCode, says: impl Into<String>, advice: impl Into<String>) -> Self {
        // Advice may name what was sent as well.
        let [says, advice] = [says.into(), advice.into()].map(|words: String| shortened(&words));
        Self { status, says, advice }
    }

    /// What was asked for can't be done.
    pub fn cannot(says: impl std::fmt::Display, advice: &str) -> Self {
        Self::new(StatusCode::UNPROCESSABLE_ENTITY, says.to_string(), advice)
    }

    /// What was asked for is not this page's to give.
    pub fn forbidden(says: impl Into<String>, advice: &str) -> Self {
        Self::new(StatusCode::FORBIDDEN, says, advice)
    }

    /// An address that can't be read.
    fn address(says: String) -> Self {
        let says = format!("the address is not what is expected here: {says}");
        Self::new(StatusCode::BAD_REQUEST, says, "send what the interface describes")
    }

    /// The program itself is at fault.
    pub fn own(says: impl std::fmt::Display) -> Self {
        let advice = "report this, it is a fault of the program";
        Self::new(StatusCode::INTERNAL_SERVER_ERROR, says.to_string(), advice)
    }
}

fn shortened(says: &str) -> String {
    match says.char_indices().nth(MOST_LETTERS) {
        Some((end, _)) => format!("{}…", &says[..end]),
        None => says.to_owned(),
    }
}

impl From<Failure> for Refusal {
    fn from(failure: Failure) -> Self {
        let (says, advice) = failure.parts();
        Self::cannot(says, advice)
    }
}

impl From<QueryRejection> for Refusal {
    fn from(rejection: QueryRejection) -> Self {
        Self::address(rejection.body_text())
    }
}

impl From<PathRejection> for Refusal {
    fn from(rejection: PathRejection) -> Self {
        Self::address(rejection.body_text())
    }
}

impl IntoResponse for Refusal {
    fn into_response(self) -> Response {
        (self.status, Json(json!({ "error": { "says": self.says, "advice": self.advice } }))).into_response()
    }
}
