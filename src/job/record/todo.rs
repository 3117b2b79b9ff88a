//! Which commands bring everything up to date, in which order.

use super::found::Found;
use super::place::shown;
use super::standing::{Standing, State};
use crate::files::CommandToRun;
use std::path::{Path, PathBuf};

/// Which results are made anew.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Anew {
    /// Those that are out of date.
    OutOfDate,
    /// All whose command is known.
    All,
}

/// The commands, each once, those first on whose results others rest.
///
/// What can't be made again because something is lost is left out.
pub fn todo(found: &Found, standings: &[Standing], anew: Anew) -> Vec<CommandToRun> {
    let wanted = |at: &usize| match standings[*at].state {
        State::OutOfDate => true,
        State::Current => anew == Anew::All,
        State::Unknown => false,
    };
    let can = |at: &usize| can_be_made(*at, standings, &mut Vec::new());
    let mut commands: Vec<CommandToRun> = Vec::new();
    for at in in_order(standings).into_iter().filter(|at| wanted(at) && can(at)) {
        let result = &found.results[at];
        let command = CommandToRun {
            command: result.provenance.command.clone(),
            run_in: shown(result.run_in.as_deref().unwrap_or(Path::new(""))),
            says: says(&result.path, &standings[at]),
        };
        let is_double = |one: &CommandToRun| one.command == command.command && one.run_in == command.run_in;
        if !commands.iter().any(is_double) {
            commands.push(command);
        }
    }
    commands
}

fn says(path: &Path, standing: &Standing) -> String {
    match standing.state {
        State::Current => format!("{}: anew", shown(path)),
        _ => format!("{}: {}", shown(path), standing.because.join("; ")),
    }
}

/// Results with those that they come from before them; among equals by path.
fn in_order(standings: &[Standing]) -> Vec<usize> {
    fn visit(at: usize, standings: &[Standing], seen: &mut [bool], order: &mut Vec<usize>) {
        if std::mem::replace(&mut seen[at], true) {
            return;
        }
        standings[at].from.iter().for_each(|&maker| visit(maker, standings, seen, order));
        order.push(at);
    }
    let (mut seen, mut order) = (vec![false; standings.len()], Vec::new());
    (0..standings.len()).for_each(|at| visit(at, standings, &mut seen, &mut order));
    order
}

fn can_be_made(at: usize, standings: &[Standing], above: &mut Vec<usize>) -> bool {
    if above.contains(&at) {
        return false;
    }
    above.push(at);
    let can = standings[at].lost.is_empty()
        && standings[at]
            .from
            .iter()
            .all(|&maker| standings[maker].state != State::OutOfDate || can_be_made(maker, standings, above));
    above.pop();
    can
}

/// What is gone and keeps results from being made again, each once.
pub fn lost(standings: &[Standing]) -> Vec<PathBuf> {
    let mut all: Vec<PathBuf> = standings.iter().flat_map(|standing| standing.lost.iter().cloned()).collect();
    all.sort();
    all.dedup();
    all
}
