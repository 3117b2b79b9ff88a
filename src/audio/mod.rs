//! The sound card, or what stands in for it.
