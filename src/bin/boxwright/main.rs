//! `boxwright`: the program. It sees only what the library makes public.

fn main() {}
