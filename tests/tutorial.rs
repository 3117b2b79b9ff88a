//! The tutorial and the README's evening with a driver, typed along: every command runs, and prints what they say that it prints.
//!
//! In `docs/tutorial.md` a block `console` holds commands after `$` and what they print on standard output; `…` stands for anything, alone on a line
//! for any lines. A block with `file=` or `append=` holds what is written to that file. In the README a block `sh` holds commands of one shell, and a
//! block `text` after it how what they print begins.
#![allow(clippy::unwrap_used)] // helpers of tests are tests, which clippy's own exception does not see

use std::path::{Path, PathBuf};
use std::process::Command;

/// A block: what stands behind its fence, and its lines.
struct Block<'a> {
    kind: &'a str,
    lines: Vec<&'a str>,
}

fn blocks(text: &str) -> Vec<Block<'_>> {
    let (mut blocks, mut open) = (Vec::new(), None::<Block<'_>>);
    for line in text.lines() {
        match (line.strip_prefix("```"), &mut open) {
            (Some(_), Some(_)) => blocks.extend(open.take()),
            (Some(kind), None) => open = Some(Block { kind, lines: Vec::new() }),
            (None, Some(block)) => block.lines.push(line),
            (None, None) => {}
        }
    }
    assert!(open.is_none(), "a block is left open");
    blocks
}

/// Whether a line is one that the tutorial shows, `…` being anything.
fn fits(line: &str, shown: &str) -> bool {
    let parts: Vec<&str> = shown.split('…').collect();
    let [first, middle @ .., last] = parts.as_slice() else { return line == shown };
    let Some(mut rest) = line.strip_prefix(first) else { return false };
    for part in middle {
        let Some(at) = rest.find(part) else { return false };
        rest = &rest[at + part.len()..];
    }
    rest.ends_with(last)
}

/// The first line that is missing, if there is one.
fn missing<'a>(printed: &str, shown: &[&'a str]) -> Option<&'a str> {
    let mut lines = printed.lines().peekable();
    let mut skips = false;
    for line in shown {
        if *line == "…" {
            skips = true;
            continue;
        }
        let found =
            if skips { lines.any(|one| fits(one, line)) } else { lines.next().is_some_and(|one| fits(one, line)) };
        if !found {
            return Some(line);
        }
        skips = false;
    }
    // Lines that stand there in blank, as the last one may.
    (!skips && lines.any(|line| !line.is_empty())).then_some("the end of the output")
}

#[test]
fn an_ellipsis_stands_for_anything_and_nothing_else_does() {
    assert!(fits("mean level 88.7 dB", "mean level 88.… dB") && !fits("mean level 89.7 dB", "mean level 88.… dB"));
    assert!(fits("abc", "abc") && !fits("abcd", "abc") && fits("abcd", "abc…") && !fits("xabc", "abc"));
    assert_eq!(missing("a\nb\nc\n", &["a", "…", "c"]), None);
    assert_eq!(missing("a\nb\nc\n", &["a", "c"]), Some("c"));
    assert_eq!(missing("a\nb\n", &["a"]), Some("the end of the output"));
    assert_eq!(missing("", &["a"]), Some("a"));
}

#[test]
fn the_tutorial_does_what_it_says() {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("docs/tutorial.md")).unwrap();
    let at = tempfile::tempdir().unwrap();
    let mut folder = at.path().to_owned();
    let mut commands = 0;
    for block in blocks(&text) {
        let named = |key: &str| block.kind.split_once(key).map(|(_, name)| folder.join(name));
        let content = || block.lines.join("\n") + "\n";
        if let Some(path) = named("file=") {
            std::fs::write(path, content()).unwrap();
        } else if let Some(path) = named("append=") {
            let before = std::fs::read_to_string(&path).unwrap();
            std::fs::write(path, before + &content()).unwrap();
        } else if block.kind == "console" {
            for typed in by_command(&block.lines) {
                commands += 1;
                let (command, shown) = typed.split_first().unwrap();
                run(&mut folder, command.strip_prefix("$ ").unwrap(), shown);
            }
        }
    }
    assert!(commands > 20, "{commands} commands");
}

#[test]
fn the_readmes_evening_with_a_driver_does_what_it_says() {
    let text = std::fs::read_to_string(Path::new(env!("CARGO_MANIFEST_DIR")).join("README.md")).unwrap();
    let evening = text.split("## An evening with a driver").nth(1).unwrap().split("\n## ").next().unwrap();
    let at = tempfile::tempdir().unwrap();
    let all = blocks(evening);
    const END: &str = "=== the end of a block";
    let scripts: Vec<String> = { all.iter() }
        .filter_map(|block| match block.kind {
            "sh" => Some(format!("{}\necho '{END}'\n", block.lines.join("\n"))),
            "toml" => Some(format!("cat > sheet.toml <<'EOF'\n{}\nEOF\n", block.lines.join("\n"))),
            _ => None,
        })
        .collect();
    let (out, err) = printed(at.path(), &format!("set -e\n{}", scripts.concat()));
    let end = format!("{END}\n");
    let mut outputs = out.split(&end);
    let mut shown = 0;
    let mut printed = "";
    for block in &all {
        match block.kind {
            "sh" => printed = outputs.next().unwrap(),
            "text" => {
                let begun: Vec<&str> = block.lines.iter().copied().chain(["…"]).collect();
                let line = missing(printed, &begun);
                assert!(
                    line.is_none(),
                    "printed\n{printed}\n{err}\nbut the README shows\n{}",
                    line.unwrap_or_default()
                );
                shown += 1;
            }
            _ => {}
        }
    }
    assert_eq!(shown, 3);
}

/// What a shell prints on standard output and on standard error, all of it done.
fn printed(folder: &Path, script: &str) -> (String, String) {
    let program = Path::new(env!("CARGO_BIN_EXE_boxwright")).parent().unwrap();
    let path = format!("{}:{}", program.display(), std::env::var("PATH").unwrap());
    let done = Command::new("sh").args(["-c", script]).env("PATH", path).current_dir(folder).output().unwrap();
    let (out, err) = (String::from_utf8(done.stdout).unwrap(), String::from_utf8(done.stderr).unwrap());
    assert!(done.status.success(), "{script}: {err}");
    (out, err)
}

/// Types a command; `cd` moves on.
fn run(folder: &mut PathBuf, command: &str, shown: &[&str]) {
    if let Some(name) = command.strip_prefix("cd ") {
        folder.push(name);
        return;
    }
    let (out, _) = printed(folder, command);
    if let Some(line) = missing(&out, shown) {
        panic!("{command}\nprinted\n{out}\nbut the tutorial shows\n{line}");
    }
}

/// Lines by the command that begins them.
fn by_command<'b, 'a>(lines: &'b [&'a str]) -> Vec<&'b [&'a str]> {
    let starts: Vec<usize> = (0..lines.len()).filter(|at| lines[*at].starts_with("$ ")).collect();
    assert!(starts.first() == Some(&0), "a console block begins with a command");
    let ends = starts.iter().skip(1).copied().chain([lines.len()]);
    starts.iter().zip(ends).map(|(&from, to)| &lines[from..to]).collect()
}
