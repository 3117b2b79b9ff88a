//! The report: one HTML file that needs nothing else, no network, no fonts, and no script but the one it brings.
//!
//! Every text is escaped by the template library; the only things taken as they are are our own style sheet, our own
//! script, and pictures that were drawn or read by `plot`. A policy in the head lets a browser run that script alone.
//! Pictures keep their white paper in the dark too, because their colours are chosen for it.

use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::Value;
use super::cautions::{Caution, LOCAL_CODES_FIRST};
use super::plot::{PagePicture, page_font_css};
use super::policy::policy;
use super::table::{Entry, severity_word, whereabouts_text, worst_first};
use crate::quantity::{Finding, Severity};

/// What a report tells, from title to footer.
#[derive(Debug, Clone, PartialEq)]
pub struct Story {
    /// The name of the page.
    pub title: String,
    /// The answer in a few sentences, a paragraph each.
    pub summary: Vec<String>,
    /// What was decided, a sentence each.
    pub answers: Vec<String>,
    /// The stages, in order.
    pub chapters: Vec<Chapter>,
    /// What to beware of; empty for none.
    pub cautions: Vec<Caution>,
    /// Name and version of what made it.
    pub made_by: String,
    /// What else stands in the footer, a line each, as date and licence.
    pub footer: Vec<String>,
}

/// A stage of the story, or a part of one; what is empty is left out.
#[derive(Debug, Clone, Default, PartialEq)]
pub struct Chapter {
    /// What stands above it.
    pub heading: String,
    /// What has to be known before the rest is believed, as that it is out of date; a line each.
    pub warnings: Vec<String>,
    /// What is told, a paragraph each.
    pub prose: Vec<String>,
    /// Pictures, in order.
    pub figures: Vec<Figure>,
    /// Pictures that are folded away until asked for.
    pub more_figures: Vec<Figure>,
    /// The numbers.
    pub numbers: Vec<Entry>,
    /// What stands above their two columns, where they are the chapter itself and need no heading.
    pub columns: Option<[&'static str; 2]>,
    /// What was noticed.
    pub findings: Vec<Finding>,
    /// Settings and where the data came from, folded away until asked for.
    pub settings: Vec<Entry>,
    /// What it consists of, in order.
    pub parts: Vec<Chapter>,
}

/// A picture with the sentence beneath it.
#[derive(Debug, Clone, PartialEq)]
pub struct Figure {
    /// The picture.
    pub picture: PagePicture,
    /// What to see in it.
    pub caption: String,
}

/// What pictures answer with: values under the pointer, curves on and off.
const SCRIPT: &str = include_str!("report.js");

/// The report as the text of one HTML file.
pub fn page_html(story: &Story) -> String {
    let style = format!("{}\n{}", page_font_css(), include_str!("page.css"));
    let page = html! {
        (DOCTYPE)
        html lang="en" {
            head {
                meta charset="utf-8";
                meta http-equiv="Content-Security-Policy" content=(policy(SCRIPT));
                meta name="viewport" content="width=device-width, initial-scale=1";
                meta name="generator" content=(visible(&story.made_by));
                title { (visible(&story.title)) }
                style { (PreEscaped(style)) }
            }
            body {
                header {
                    h1 { (visible(&story.title)) }
                    @for paragraph in &story.summary { p { (visible(paragraph)) } }
                    @if !story.answers.is_empty() {
                        ul class="answers" { @for answer in &story.answers { li { (visible(answer)) } } }
                    }
                    (contents_html(story))
                }
                main {
                    @for (n, chapter) in story.chapters.iter().enumerate() {
                        (chapter_html(chapter, &format!("stage-{}", n + 1), 2))
                    }
                    @if !story.cautions.is_empty() { (cautions_html(&story.cautions)) }
                }
                footer {
                    p { "Numbers are shown as value ± 2u: twice the standard uncertainty, about 95 % of cases." }
                    @for line in &story.footer { p { (visible(line)) } }
                    p { "Made by " (visible(&story.made_by)) "." }
                }
                script { (PreEscaped(SCRIPT)) }
            }
        }
    };
    page.into_string()
}

fn contents_html(story: &Story) -> Markup {
    html! {
        nav aria-label="Contents" {
            ul {
                @for (n, chapter) in story.chapters.iter().enumerate() {
                    li {
                        a href=(format!("#stage-{}", n + 1)) { (visible(&chapter.heading)) }
                        @if !chapter.parts.is_empty() {
                            ul {
                                @for (part, of) in chapter.parts.iter().enumerate() {
                                    li { a href=(format!("#stage-{}-{}", n + 1, part + 1)) { (visible(&of.heading)) } }
                                }
                            }
                        }
                    }
                }
                @if !story.cautions.is_empty() { li { a href="#cautions" { "Before you do this yourself" } } }
            }
        }
    }
}

/// A heading of a level; HTML has six.
fn heading_html(level: usize, text: &str) -> Markup {
    let text = visible(text);
    match level {
        2 => html! { h2 { (text) } },
        3 => html! { h3 { (text) } },
        4 => html! { h4 { (text) } },
        5 => html! { h5 { (text) } },
        _ => html! { h6 { (text) } },
    }
}

fn chapter_html(chapter: &Chapter, id: &str, level: usize) -> Markup {
    html! {
        section id=(id) {
            (heading_html(level, &chapter.heading))
            @for warning in &chapter.warnings { p class="warning" { (visible(warning)) } }
            @for paragraph in &chapter.prose { p { (visible(paragraph)) } }
            @for figure in &chapter.figures { (figure_html(figure)) }
            @if !chapter.more_figures.is_empty() {
                details {
                    summary { "More pictures" }
                    @for figure in &chapter.more_figures { (figure_html(figure)) }
                }
            }
            @if !chapter.numbers.is_empty() {
                @if chapter.columns.is_none() { (heading_html(level + 1, "Numbers")) }
                (entries_html(chapter.columns.unwrap_or(["Quantity", "Value"]), &chapter.numbers))
            }
            @if !chapter.findings.is_empty() {
                (heading_html(level + 1, "What was noticed"))
                (findings_html(&chapter.findings))
            }
            @if !chapter.settings.is_empty() {
                details {
                    summary { "Settings and origin" }
                    (entries_html(["Setting", "Value"], &chapter.settings))
                }
            }
            @for (n, part) in chapter.parts.iter().enumerate() {
                (chapter_html(part, &format!("{id}-{}", n + 1), level + 1))
            }
        }
    }
}

fn figure_html(figure: &Figure) -> Markup {
    html! {
        figure {
            // Reached by keyboard where a narrow screen scrolls it.
            div class="across" tabindex="0" role="group" aria-label=(visible(figure.picture.title())) {
                div class="drawing" { (PreEscaped(figure.picture.svg())) }
            }
            figcaption { (visible(&figure.caption)) }
        }
    }
}

fn entries_html(columns: [&str; 2], entries: &[Entry]) -> Markup {
    html! {
        table {
            thead { tr { @for column in columns { th scope="col" { (column) } } } }
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

#[cfg(test)]
mod tests {
    use super::super::{CAUTIONS, LevelCurve, Origin, PhasePanel, ResponsePicture};
    use super::*;
    use crate::quantity::{Code, Quantity, Unit, Whereabouts};
    use html5gum::{Token, Tokenizer};

    const HOSTILE: &str =
        "</style></svg><script>alert(1)</script><img src=\"http://example.org/x\" onerror='x'>&\u{0}\u{1b}";

    /// A page in which every text that can come from outside is hostile.
    fn hostile_page() -> String {
        let text = || HOSTILE.to_owned();
        let curve = LevelCurve {
            name: text(),
            origin: Origin::Measured,
            frequency_hz: vec![100.0, 1000.0],
            level_db: vec![80.0, 81.0],
            u_db: vec![0.1, 0.1],
            phase_deg: Vec::new(),
        };
        let picture = ResponsePicture {
            title: text(),
            level_reference: text(),
            curves: vec![curve],
            valid_hz: None,
            shown_hz: None,
            phase: PhasePanel::Absent,
        };
        let finding = Finding {
            code: Code::Noisy,
            severity: Severity::Fault,
            says: text(),
            advice: text(),
            at: Whereabouts { channel: Some(1), ..Whereabouts::default() },
        };
        let entry = Entry::text(HOSTILE, HOSTILE);
        let number = Entry::quantity("arrival", Quantity { value: 3.2, u: 0.05, unit: Unit::Millisecond });
        let chapter = Chapter {
            heading: text(),
            prose: vec![text()],
            warnings: vec![text()],
            figures: vec![Figure { picture: picture.picture().in_page().unwrap(), caption: text() }],
            more_figures: vec![Figure { picture: picture.picture().in_page().unwrap(), caption: text() }],
            numbers: vec![entry.clone(), number],
            columns: None,
            findings: vec![finding],
            settings: vec![entry],
            parts: vec![Chapter { heading: text(), prose: vec![text()], ..Chapter::default() }],
        };
        let story = Story {
            title: text(),
            summary: vec![text()],
            answers: vec![text()],
            chapters: vec![chapter.clone(), chapter],
            cautions: CAUTIONS.to_vec(),
            made_by: text(),
            footer: vec![text()],
        };
        page_html(&story)
    }

    /// Names of all opening tags with their attributes, as an independent reader of HTML sees them; fails on what is
    /// left open or closed twice.
    fn tags(page: &str) -> Vec<(String, Vec<(String, String)>)> {
        const VOID: [&str; 2] = ["meta", "br"];
        let read = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).unwrap();
        let (mut open, mut tags) = (Vec::new(), Vec::new());
        // What stands in a script is no HTML; a tokenizer alone does not know that.
        let plain = page.replacen(SCRIPT, "", 1);
        for token in Tokenizer::new(&plain) {
            match token.unwrap() {
                Token::StartTag(tag) => {
                    let name = read(&tag.name);
                    if !tag.self_closing && !VOID.contains(&name.as_str()) {
                        open.push(name.clone());
                    }
                    let attributes = tag.attributes.iter().map(|(name, value)| (read(name), read(value))).collect();
                    tags.push((name, attributes));
                }
                Token::EndTag(tag) => assert_eq!(open.pop(), Some(read(&tag.name))),
                Token::Error(error) => panic!("{error:?}"),
                _ => {}
            }
        }
        assert!(open.is_empty(), "left open: {open:?}");
        tags
    }

    #[test]
    fn hostile_texts_stay_texts() {
        let page = hostile_page();
        let tags = tags(&page);
        assert!(tags.iter().all(|(name, _)| !matches!(name.as_str(), "img" | "iframe" | "link" | "object" | "base")));
        let handlers = tags.iter().flat_map(|(_, attributes)| attributes).filter(|(name, _)| name.starts_with("on"));
        assert_eq!(handlers.count(), 0);
        // Seen where it should be seen: heading, prose, caption … of both chapters.
        assert!(page.matches("&lt;script&gt;alert(1)").count() > 20);
        assert!(page.chars().all(|c| c == '\n' || !c.is_control()));
    }

    #[test]
    fn exactly_our_script_stands_in_the_page_and_may_run() {
        let page = hostile_page();
        assert_eq!(tags(&page).iter().filter(|(name, _)| name == "script").count(), 1);
        let (_, rest) = page.split_once("<script>").unwrap();
        let (inside, after) = rest.split_once("</script>").unwrap();
        assert_eq!((inside, after), (SCRIPT, "</body></html>"));
        let is_policy = |(name, attributes): &&(String, Vec<(String, String)>)| {
            name == "meta" && attributes.contains(&("http-equiv".into(), "Content-Security-Policy".into()))
        };
        let found: Vec<_> =
            tags(&page).iter().filter(is_policy).map(|(_, attributes)| attributes[0].1.clone()).collect();
        assert_eq!(found, [policy(SCRIPT)]);
        // It stands before anything that it has to bind.
        assert!(page.find("Content-Security-Policy").unwrap() < page.find("<style>").unwrap());
    }

    #[test]
    fn the_page_asks_for_nothing_from_outside() {
        let page = hostile_page();
        for (name, value) in tags(&page).into_iter().flat_map(|(_, attributes)| attributes) {
            match name.as_str() {
                "href" => assert!(value.starts_with('#'), "{value}"),
                "src" | "srcset" | "data" | "action" => panic!("{name}={value}"),
                _ => {}
            }
        }
        let style = page.split("<style>").nth(1).and_then(|rest| rest.split("</style>").next()).unwrap();
        assert_eq!(style.matches("url(").count(), style.matches("url(data:font/woff2;base64,").count());
        assert!(!style.contains("@import"));
    }

    #[test]
    fn headings_descend_one_step_at_a_time_and_tables_have_header_cells() {
        let tags = tags(&hostile_page());
        let level = |name: &str| name.strip_prefix('h').and_then(|level| level.parse::<u8>().ok());
        let levels: Vec<u8> = tags.iter().filter_map(|(name, _)| level(name)).collect();
        assert_eq!(levels[..2], [1, 2]);
        assert!(levels.windows(2).all(|pair| pair[1] <= pair[0] + 1 && pair[1] > 1), "{levels:?}");
        let has = |name: &str, attribute: &str, value: &str| {
            let matching = |(a, v): &(String, String)| a == attribute && v == value;
            tags.iter().filter(|(tag, attributes)| tag == name && attributes.iter().any(matching)).count()
        };
        // Two chapters: a table of two numbers and one of a setting each.
        assert_eq!((has("th", "scope", "col"), has("th", "scope", "row")), (8, 6));
        assert_eq!((has("svg", "role", "img"), has("html", "lang", "en")), (4, 1));
    }

    /// WCAG 2.2, success criterion 1.4.3: 4.5 to 1 for text; luminance as defined there.
    #[test]
    fn every_colour_of_text_stands_out_from_its_ground_in_light_and_dark() {
        let css = include_str!("page.css");
        let luminance = |hex: &str| -> f64 {
            let part = |at: usize| f64::from(u8::from_str_radix(&hex[at..at + 2], 16).unwrap()) / 255.0;
            let linear = |c: f64| if c <= 0.04045 { c / 12.92 } else { ((c + 0.055) / 1.055).powf(2.4) };
            0.2126 * linear(part(0)) + 0.7152 * linear(part(2)) + 0.0722 * linear(part(4))
        };
        let schemes: Vec<&str> =
            css.split(":root {").skip(1).take(2).map(|rest| rest.split('}').next().unwrap()).collect();
        for scheme in schemes {
            let colour =
                |name: &str| luminance(scheme.split(&format!("--{name}: #")).nth(1).unwrap().get(..6).unwrap());
            for text in ["ink", "soft", "note", "caution", "fault"] {
                for ground in ["paper", "card"] {
                    let (a, b) = (colour(text), colour(ground));
                    let contrast = (a.max(b) + 0.05) / (a.min(b) + 0.05);
                    assert!((4.5..=21.0).contains(&contrast), "{text} on {ground}: {contrast:.2}");
                }
            }
        }
    }
}
