//! Driver in a vented box: response, alignments, what the peaks of its impedance tell.
