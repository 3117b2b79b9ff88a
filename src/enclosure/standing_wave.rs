//! Where the air inside a box stands in waves.
