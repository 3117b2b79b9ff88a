//! The report: one HTML file that needs nothing else, no network, no scripts, no fonts.
//!
//! Every text is escaped by the template library; the only thing taken as it is are our own pictures and style sheet.
//! Pictures keep their white paper in the dark too, because their colours are chosen for it.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::cautions::{Caution, LOCAL_CODES_FIRST};
use super::plot::{Picture, page_font_css};
use super::table::{Entry, severity_word, whereabouts_text, worst_first};
use super::{ReportError, Value};
use crate::quantity::{Finding, Severity};

/// What a report tells, from title to footer.
#[derive(Debug, Clone, PartialEq)]
pub struct Story {
    /// The name of the page.
    pub title: String,
    /// The answer in a few sentences, a paragraph each.
    pub summary: Vec<String>,
    /// The stages, in order.
    pub chapters: Vec<Chapter>,
    /// What to beware of; empty for none.
    pub cautions: Vec<Caution>,
    /// Name and version of what made it.
    pub made_by: String,
    /// What else stands in the footer, a line each, as date and licence.
    pub footer: Vec<String>,
}

/// A stage of the story; what is empty is left out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chapter {
    /// What stands above it.
    pub heading: String,
    /// What is told, a paragraph each.
    pub prose: Vec<String>,
    /// Pictures, in order.
    pub figures: Vec<Figure>,
    /// The numbers.
    pub numbers: Vec<Entry>,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// Settings and where the data came from, folded away until asked for.
    pub settings: Vec<Entry>,
}

/// A picture with the sentence beneath it.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The picture.
    pub picture: Picture,
    /// What to see in it.
    pub caption: String,
}

/// The report as the text of one HTML file.
///
/// # Errors
/// [`ReportError::Drawing`] if a picture cannot be drawn.
pub fn page_html(story: &Story) -> Result<String, ReportError> {
    let chapters = story.chapters.iter().enumerate().map(|(n, chapter)| chapter_html(n + 1, chapter));
    let chapters: Vec<Markup> = chapters.collect::<Result<_, _>>()?;
    let style = format!("{}\n{}", page_font_css(), include_str!("page.css"));
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(visible(&story.made_by));
                title { (visible(&story.title)) }
                style { (PreEscaped(style)) }
            }
            body {
                header {
                    h1 { (visible(&story.title)) }
                    @for paragraph in &story.summary { p { (visible(paragraph)) } }
                    (contents_html(story))
                }
                main {
                    @for chapter in &chapters { (chapter) }
                    @if !story.cautions.is_empty() { (cautions_html(&story.cautions)) }
                }
                footer {
                    p { "Numbers are shown as value ± 2u: twice the standard uncertainty, about 95 % of cases." }
                    @for line in &story.footer { p { (visible(line)) } }
                    p { "Made by " (visible(&story.made_by)) "." }
                }
            }
        }
    };
    Ok(page.into_string())
}

fn contents_html(story: &Story) -> Markup {
    html! {
        nav aria-label="Contents" {
            ul {
                @for (n, chapter) in story.chapters.iter().enumerate() {
                    li { a href=(format!("#stage-{}", n + 1)) { (visible(&chapter.heading)) } }
                }
                @if !story.cautions.is_empty() { li { a href="#cautions" { "Before you do this yourself" } } }
            }
        }
    }
}

fn chapter_html(number: usize, chapter: &Chapter) -> Result<Markup, ReportError> {
    let figures: Vec<Markup> = chapter.figures.iter().map(figure_html).collect::<Result<_, _>>()?;
    Ok(html! {
        section id=(format!("stage-{number}")) {
            h2 { (visible(&chapter.heading)) }
            @for paragraph in &chapter.prose { p { (visible(paragraph)) } }
            @for figure in &figures { (figure) }
            @if !chapter.numbers.is_empty() {
                h3 { "Numbers" }
                (entries_html("Quantity", &chapter.numbers))
            }
            @if !chapter.findings.is_empty() {
                h3 { "What was noticed" }
                (findings_html(&chapter.findings))
            }
            @if !chapter.settings.is_empty() {
                details {
                    summary { "Settings and origin" }
                    (entries_html("Setting", &chapter.settings))
                }
            }
        }
    })
}

fn figure_html(figure: &Figure) -> Result<Markup, ReportError> {
    let svg = figure.picture.svg_in_page()?;
    Ok(html! {
        figure {
            // Reached by keyboard where a narrow screen scrolls it.
            div class="across" tabindex="0" role="group" aria-label=(figure.picture.title()) { (PreEscaped(svg)) }
            figcaption { (visible(&figure.caption)) }
        }
    })
}

fn entries_html(first_column: &str, entries: &[Entry]) -> Markup {
    html! {
        table {
            thead { tr { th scope="col" { (first_column) } th scope="col" { "Value" } } }
            tbody {
                @for Entry { name, value } in entries {
                    tr { th scope="row" { (visible(name)) } td { (value_text(value)) } }
                }
            }
        }
    }
}

fn value_text(value: &Value) -> String {
    visible(&value.to_string())
}

fn findings_html(findings: &[Finding]) -> Markup {
    html! {
        ul class="findings" {
            @for finding in worst_first(findings) {
                li class=(severity_word(finding.severity)) {
                    p {
                        span class="severity" { (severity_word(finding.severity)) ", " (finding.code.to_string()) }
                        @if let Some(place) = whereabouts_text(&finding.at) { span class="soft" { " (" (place) ")" } }
                        ": " (visible(&finding.says))
                    }
                    @if !finding.advice.is_empty() { p class="soft" { "What to do: " (visible(&finding.advice)) } }
                    @if finding.severity == Severity::Fault { p class="soft" { "Don't trust what follows from this." } }
                }
            }
        }
    }
}

fn cautions_html(cautions: &[Caution]) -> Markup {
    html! {
        section id="cautions" {
            h2 { "Before you do this yourself" }
            p { (LOCAL_CODES_FIRST) }
            dl {
                @for caution in cautions {
                    dt { (caution.heading) }
                    dd { (caution.says) }
                }
            }
        }
    }
}

/// The text without control characters, which HTML cannot hold even escaped.
fn visible(text: &str) -> String {
    text.chars()
        .map(|c| if c.is_whitespace() { ' ' } else { c })
        .filter(|c| !c.is_control() && !matches!(c, '\u{FFFE}' | '\u{FFFF}'))
        .collect()
}
