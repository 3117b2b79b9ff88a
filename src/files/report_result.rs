//! What `report` made, as a document, `boxwright/report/1`.

use super::{InputFile, WrittenFile};
use crate::quantity::Finding;
use schemars::JsonSchema;
use serde::Serialize;

/// Name and version of this kind of document.
pub const REPORT_SCHEMA: &str = "boxwright/report/1";

/// The document.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReportDocument {
    /// [`REPORT_SCHEMA`].
    pub schema: String,
    /// Name and version of the program that made it.
    pub made_by: String,
    /// The job's file and the documents that were told.
    pub inputs: Vec<InputFile>,
    /// What shaped it.
    pub settings: ReportSettings,
    /// What there is to say about the record and its pictures.
    pub findings: Vec<Finding>,
    /// The page, and the pictures where they were wanted alone.
    pub files: Vec<WrittenFile>,
}

/// What shaped a report.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
pub struct ReportSettings {
    /// The job's folder.
    pub job: String,
    /// Where the pictures alone went.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub pictures: Option<String>,
}
