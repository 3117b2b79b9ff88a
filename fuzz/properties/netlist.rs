//! A network from any text, and its voltages and currents with a load: finite, or refused with a reason.

use crate::refusal::one_sentence;
use boxwright::network::{GROUND, Loads, Netlist};
use num_complex::Complex64;

/// Frequencies at which it is worked out, Hz: beyond the ends of what people ask for, and within.
const FREQUENCIES_HZ: [f64; 5] = [0.1, 20.0, 1000.0, 20_000.0, 1e6];
/// With more nodes than this a run takes too long to try many.
const MOST_NODES: usize = 40;

/// Reads the bytes as a netlist, works it out, and checks what came of it.
pub fn check(bytes: &[u8]) {
    let text = String::from_utf8_lossy(bytes);
    let netlist = match Netlist::of_text(&text) {
        Ok(netlist) => netlist,
        Err(error) => {
            one_sentence(&error.to_string());
            return one_sentence(error.advice());
        }
    };
    netlist.notes.iter().for_each(|note| one_sentence(note));
    assert!(!netlist.parts.is_empty() && netlist.nodes.len() >= 2);
    for part in &netlist.parts {
        assert!(part.value > 0.0 && part.value.is_finite() && part.series_ohm >= 0.0 && part.series_ohm.is_finite());
        assert!(part.nodes[0] != part.nodes[1] && part.nodes.iter().all(|node| *node < netlist.nodes.len()));
    }
    for (place, name) in netlist.nodes.iter().enumerate() {
        assert_eq!(netlist.node(name), Some(place), "{name}");
    }
    if netlist.nodes.len() <= MOST_NODES {
        worked_out(&netlist);
    }
}

fn worked_out(netlist: &Netlist) {
    let last = netlist.nodes.len() - 1;
    let between = vec![[last, GROUND]];
    let loads = Loads::apart(between.clone(), &[Complex64::new(6.4, 2.0)]);
    if let Some(node) = netlist.floating(&between) {
        return assert!(netlist.nodes.iter().any(|known| known == node));
    }
    for hz in FREQUENCIES_HZ {
        match netlist.at(hz, &loads) {
            Ok(solved) => {
                let all = solved.node_v.iter().chain([&solved.input_a]);
                assert!(
                    all.clone().all(|number| number.re.is_finite() && number.im.is_finite()),
                    "{hz} Hz: {solved:?}"
                );
                assert_eq!(solved.node_v.len(), netlist.nodes.len());
                for part in &netlist.parts {
                    let across_v = solved.node_v[part.nodes[0]] - solved.node_v[part.nodes[1]];
                    let heat_w = part.heat_w(std::f64::consts::TAU * hz, across_v);
                    assert!(heat_w.is_finite(), "{part:?} at {hz} Hz: {heat_w} W");
                }
            }
            Err(error) => one_sentence(&error.to_string()),
        }
    }
}
